"""The columns of the tables that scoring writes, and how rows get into them."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

import pandas as pd

from pipeline.store import Store

_TYPES = {"VARCHAR": "string", "BIGINT": "Int64", "DOUBLE": "Float64", "BOOLEAN": "boolean"}

TABLES: dict[str, dict[str, str]] = {
    "misruling_name": {
        "topic": "VARCHAR",
        "component": "VARCHAR",
        "ruled": "VARCHAR",
        "right_value": "VARCHAR",
        "stake": "VARCHAR",
        "misruling_code": "VARCHAR",
        "title": "VARCHAR",
        "consequence": "VARCHAR",
        "place": "BIGINT",
    },
    "readiness": {
        "umpire_id": "VARCHAR",
        "name": "VARCHAR",
        "level": "VARCHAR",
        "level_title": "VARCHAR",
        "target_level": "VARCHAR",
        "target_title": "VARCHAR",
        "verdict": "VARCHAR",
        "decided_by": "VARCHAR",
        "probability": "DOUBLE",
        "games": "BIGINT",
        "calls": "BIGINT",
        "evaluators": "BIGINT",
        "evidence_ok": "BOOLEAN",
        "nearest_area": "VARCHAR",
        "nearest_cut": "DOUBLE",
        "nearest_estimate": "DOUBLE",
        "reasons_for": "VARCHAR",
        "reasons_against": "VARCHAR",
        "would_change": "VARCHAR",
        "looks_needed": "BIGINT",
        "games_needed": "BIGINT",
        "evaluators_needed": "BIGINT",
        "quiz_answers_needed": "BIGINT",
        "looks_areas": "VARCHAR",
        "linked_group": "BIGINT",
    },
    "standard": {
        "umpire_id": "VARCHAR",
        "target_level": "VARCHAR",
        "area": "VARCHAR",
        "area_title": "VARCHAR",
        "cut": "DOUBLE",
        "estimate": "DOUBLE",
        "low": "DOUBLE",
        "high": "DOUBLE",
        "probability": "DOUBLE",
        "calls": "BIGINT",
        "holds": "VARCHAR",
        "looks_needed": "BIGINT",
    },
    "sensitivity": {
        "umpire_id": "VARCHAR",
        "area": "VARCHAR",
        "shift": "DOUBLE",
        "probability": "DOUBLE",
        "verdict": "VARCHAR",
        "changes": "BOOLEAN",
    },
    "growth": {
        "umpire_id": "VARCHAR",
        "area": "VARCHAR",
        "games": "BIGINT",
        "days": "BIGINT",
        "first_on": "VARCHAR",
        "last_on": "VARCHAR",
        "outcome": "VARCHAR",
        "rate_early": "DOUBLE",
        "rate_late": "DOUBLE",
        "change": "DOUBLE",
        "change_low": "DOUBLE",
        "change_high": "DOUBLE",
        "p_better": "DOUBLE",
        "common_change": "DOUBLE",
        "growth_sd": "DOUBLE",
        "drift_sd": "DOUBLE",
    },
    "ranking": {
        "level": "VARCHAR",
        "area_or_overall": "VARCHAR",
        "rank": "BIGINT",
        "rank_low": "BIGINT",
        "rank_high": "BIGINT",
        "tie_group": "BIGINT",
        "umpire_id": "VARCHAR",
        "name": "VARCHAR",
        "adjusted_rate": "DOUBLE",
        "low": "DOUBLE",
        "high": "DOUBLE",
        "raw_rate": "DOUBLE",
        "p_ahead_of_next": "DOUBLE",
        "linked_group": "BIGINT",
    },
    "umpire_rate": {
        "umpire_id": "VARCHAR",
        "area": "VARCHAR",
        "calls": "BIGINT",
        "right_calls": "BIGINT",
        "raw_rate": "DOUBLE",
        "raw_low": "DOUBLE",
        "raw_high": "DOUBLE",
        "adjusted_rate": "DOUBLE",
        "adjusted_low": "DOUBLE",
        "adjusted_high": "DOUBLE",
        "evaluator_points": "DOUBLE",
        "situation_points": "DOUBLE",
        "shrinkage_points": "DOUBLE",
        "games": "BIGINT",
        "evaluators": "BIGINT",
    },
    "misruling": {
        "misruling_code": "VARCHAR",
        "title": "VARCHAR",
        "topic": "VARCHAR",
        "area": "VARCHAR",
        "consequence": "VARCHAR",
        "consequence_weight": "DOUBLE",
        "times": "BIGINT",
        "umpires": "BIGINT",
        "chances": "BIGINT",
        "rate": "DOUBLE",
        "rate_low": "DOUBLE",
        "rate_high": "DOUBLE",
        "umpire_share": "DOUBLE",
        "clinic_score": "DOUBLE",
        "explanation": "VARCHAR",
        "rule_refs": "VARCHAR",
        "example_call_ids": "VARCHAR",
    },
    "level_misruling": {
        "level": "VARCHAR",
        "misruling_code": "VARCHAR",
        "times": "BIGINT",
        "chances": "BIGINT",
    },
    "evaluator": {
        "evaluator_id": "VARCHAR",
        "name": "VARCHAR",
        "level": "VARCHAR",
        "calls": "BIGINT",
        "games": "BIGINT",
        "umpires": "BIGINT",
        "severity_points": "DOUBLE",
        "severity_low": "DOUBLE",
        "severity_high": "DOUBLE",
        "drift_points_per_30_days": "DOUBLE",
        "drift_low": "DOUBLE",
        "drift_high": "DOUBLE",
        "grades": "BIGINT",
        "agree": "BIGINT",
        "agree_rate": "DOUBLE",
        "agree_low": "DOUBLE",
        "agree_high": "DOUBLE",
        "facts_recorded_share": "DOUBLE",
        "other_code_suspect": "VARCHAR",
        "other_code_calls": "BIGINT",
        "message": "VARCHAR",
    },
    "evaluator_misgrade": {
        "evaluator_id": "VARCHAR",
        "call_id": "VARCHAR",
        "topic": "VARCHAR",
        "rule_ids": "VARCHAR",
        "evaluator_grade": "VARCHAR",
        "our_verdict": "VARCHAR",
        "because": "VARCHAR",
        "other_code": "VARCHAR",
    },
    "evaluator_health": {
        "evaluator_id": "VARCHAR",
        "measure": "VARCHAR",
        "part": "VARCHAR",
        "cases": "BIGINT",
        "found": "BIGINT",
        "value": "DOUBLE",
        "low": "DOUBLE",
        "high": "DOUBLE",
        "median": "DOUBLE",
        "evaluators": "BIGINT",
        "p_value": "DOUBLE",
        "p_corrected": "DOUBLE",
        "stands_out": "BOOLEAN",
        "rule_ids": "VARCHAR",
        "call_ids": "VARCHAR",
        "remark": "VARCHAR",
    },
    "evaluator_agreement": {
        "aspect": "VARCHAR",
        "looks": "BIGINT",
        "evaluators": "BIGINT",
        "alpha": "DOUBLE",
        "alpha_low": "DOUBLE",
        "alpha_high": "DOUBLE",
    },
    "evaluator_pair": {
        "aspect": "VARCHAR",
        "evaluator_id": "VARCHAR",
        "other_id": "VARCHAR",
        "looks": "BIGINT",
        "same": "BIGINT",
        "kappa": "DOUBLE",
    },
    "quiz_umpire": {
        "umpire_id": "VARCHAR",
        "name": "VARCHAR",
        "quiz_id": "VARCHAR",
        "items": "BIGINT",
        "answered": "BIGINT",
        "right_answers": "BIGINT",
        "percent": "DOUBLE",
        "low": "DOUBLE",
        "high": "DOUBLE",
        "measure": "DOUBLE",
        "measure_se": "DOUBLE",
    },
    "quiz_item": {
        "item_id": "VARCHAR",
        "rule_code": "VARCHAR",
        "topic": "VARCHAR",
        "stem": "VARCHAR",
        "key": "VARCHAR",
        "key_verdict": "VARCHAR",
        "right_options": "VARCHAR",
        "because": "VARCHAR",
        "responses": "BIGINT",
        "p": "DOUBLE",
        "point_biserial": "DOUBLE",
        "withheld": "BOOLEAN",
        "difficulty": "DOUBLE",
        "difficulty_se": "DOUBLE",
        "infit": "DOUBLE",
        "outfit": "DOUBLE",
        "most_chosen": "VARCHAR",
    },
    "positioning": {
        "umpire_id": "VARCHAR",
        "item": "VARCHAR",
        "checks": "BIGINT",
        "good": "BIGINT",
        "rate": "DOUBLE",
        "low": "DOUBLE",
        "high": "DOUBLE",
    },
    "fit": {
        "model": "VARCHAR",
        "observations": "BIGINT",
        "cells": "BIGINT",
        "umpires": "BIGINT",
        "evaluators": "BIGINT",
        "situations": "BIGINT",
        "games": "BIGINT",
        "intercept": "DOUBLE",
        "sd_umpire": "DOUBLE",
        "sd_evaluator": "DOUBLE",
        "sd_situation": "DOUBLE",
        "sd_game": "DOUBLE",
        "log_likelihood": "DOUBLE",
        "iterations": "BIGINT",
        "converged": "BOOLEAN",
        "outcome": "VARCHAR",
        "message": "VARCHAR",
    },
}

Row = Mapping[str, Any]


def write_table(store: Store, name: str, rows: Iterable[Row], columns: Mapping[str, str] | None = None) -> int:
    """Make `scores.<name>` anew from rows, in their order; return how many there are.

    `columns` gives names and types of a table that does not stand in TABLES. A float is rounded to six decimals,
    and one that is not a number becomes NULL.
    """
    columns = columns or TABLES[name]
    kept = list(rows)
    frame = pd.DataFrame(
        {
            column: pd.Series([_plain(row[column]) for row in kept], dtype=_TYPES[kind])
            for column, kind in columns.items()
        }
    )
    declared = ", ".join(f'"{column}" {kind}' for column, kind in columns.items())
    store.run(f"CREATE OR REPLACE TABLE scores.{name} ({declared})")
    if kept:
        store.connection.register("scored_rows", frame)
        try:
            store.run(f"INSERT INTO scores.{name} SELECT * FROM scored_rows")
        finally:
            store.connection.unregister("scored_rows")
    return len(kept)


def _plain(value: Any) -> Any:
    if isinstance(value, float):
        # Adding zero turns a negative zero into a plain one.
        return None if math.isnan(value) else round(value, 6) + 0.0
    return value


def by_key(rows: Sequence[Row], *keys: str) -> dict[Any, Row]:
    """Return the rows by one column, or by a tuple of several."""
    if len(keys) == 1:
        return {row[keys[0]]: row for row in rows}
    return {tuple(row[key] for key in keys): row for row in rows}
