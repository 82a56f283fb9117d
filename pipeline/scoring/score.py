"""The scoring step: from facts and rulings to every figure that the committee reads."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from pipeline.config import AREAS, RunConfig
from pipeline.scoring import evaluators, growth, misrulings, patterns, quiz, rankings, rates, readiness
from pipeline.scoring.area_models import AreaModel, fit_area
from pipeline.scoring.called_zone.season import write_called_zone
from pipeline.scoring.dependability import NOW_COLUMNS, PLAN_COLUMNS, dependability_rows
from pipeline.scoring.design import Floats
from pipeline.scoring.diagnostics import Outcome
from pipeline.scoring.intervals import wilson
from pipeline.scoring.page_draws import write_page_draws
from pipeline.scoring.quiz_measures import quiz_measures
from pipeline.scoring.shared_looks import agreement_rows, pair_rows
from pipeline.scoring.stored_draws import write_draws
from pipeline.scoring.tables import Row, by_key, write_table
from pipeline.scoring.threads import one_blas_thread
from pipeline.store import StepResult, Store
from pipeline.store.database import named_sql

CALL_AREAS = ("pitches", "batters_box", "hit_batter", "other_rulings")
OVERALL = "overall"
LETTER_POINTS = 3
"""Strengths, and things to work on, that an umpire's letter names."""
FEWEST_CASES = 10
"""Looks below which a letter says nothing of an area or a part of the slot work."""

_QUIZ_TABLES = ("checked.quiz_responses", "checked.quiz_items")


def score_season(config: RunConfig, store: Store) -> StepResult:
    """Write the tables of layer `scores` in one transaction.

    Reads `facts.fct_call`, `facts.fct_positioning`, `rulings.ruling`, `rulings.other_code`,
    `rulings.quiz_key`, `checked.umpires`, `checked.evaluators`, `checked.quiz_items`,
    `checked.quiz_responses`. The tables of positioning and of the quiz may be missing or empty: those areas
    then have no evidence.
    """
    with store.transaction(), one_blas_thread():
        calls, names = _grade(config, store)
        season = _Season(config, store, names)
        written = season.write() + write_called_zone(config, store)
        verdicts = {row["verdict"]: row["calls"] for row in _records(store, "verdict_count")}
    # An area that no umpire differs in, or in which nothing went wrong, is no failure; a search that got lost
    # is.
    failed = sum(model.fit.record.outcome is Outcome.NOT_CONVERGED for model in season.models.values())
    notes = {name: verdicts.get(name, 0) for name in ("wrong", "edge", "open", "not_graded")}
    notes |= {"models": len(season.models), "not converged": failed}
    return StepResult("score", calls, calls + written, notes=notes)


def _grade(config: RunConfig, store: Store) -> tuple[int, list[dict[str, Any]]]:
    """Write the grades; return the number of calls and the names of what was wrong."""
    measurement = config.policy.measurement
    band = {"edge_low": measurement.edge_low, "edge_high": measurement.edge_high}
    store.create("scores.grade", __package__, "grade", band)
    store.create("scores.misruling_case", __package__, "misruling_case")
    names = misrulings.name_rows(_records(store, "wrong_case"))
    write_table(store, "misruling_name", names)
    return store.create("scores.call_grade", __package__, "call_grade"), names


def _records(store: Store, name: str) -> list[dict[str, Any]]:
    return store.records(named_sql(__package__, name))


class _Season:
    """What the result tables are made from, read and fitted once."""

    def __init__(self, config: RunConfig, store: Store, names: list[dict[str, Any]]) -> None:
        self.policy = config.policy
        self.names = names
        self.store = store
        self.roster: list[dict[str, Any]] = _records(store, "roster")
        self.has_quiz = all(store.has_table(name) for name in _QUIZ_TABLES)
        self.answers = _records(store, "quiz_answer") if self.has_quiz else []
        has_keys = self.has_quiz and store.has_table("rulings.quiz_key")
        self.keys: dict[str, Row] = by_key(_records(store, "quiz_key"), "item_id") if has_keys else {}
        self.withheld = quiz.withheld_items(self.keys)
        self.has_positioning = store.has_table("facts.fct_positioning")
        self.cells = store.frame(named_sql(__package__, "call_cell"))
        self.models = self._fit()
        overall = self.models.get(OVERALL)
        self.groups = evaluators.group_numbers(overall) if overall else [None] * len(self.roster)

    def _fit(self) -> dict[str, AreaModel]:
        frames = {OVERALL: self.cells}
        frames.update({area: self.cells[self.cells["area"] == area] for area in CALL_AREAS})
        if self.has_positioning:
            frames["positioning"] = self.store.frame(named_sql(__package__, "positioning_cell"))
        frames["quiz"] = self._quiz_cells()
        names = [row["umpire_id"] for row in self.roster]
        known = set(names)
        return {
            area: fit_area(area, frame, names, self.policy.draws, self.policy.seed)
            for area, frame in frames.items()
            if not frame.empty and known & set(frame["umpire_id"])
        }

    def _quiz_cells(self) -> pd.DataFrame:
        scored = [row for row in self.answers if row["item_id"] not in self.withheld]
        return pd.DataFrame(
            {
                "umpire_id": [row["umpire_id"] for row in scored],
                "game_id": None,
                "evaluator_id": None,
                "stratum": [row["item_id"] for row in scored],
                "successes": [float(row["is_right"]) for row in scored],
                "trials": 1.0,
            }
        )

    def write(self) -> int:
        """Write all result tables; return the number of rows."""
        written = self._write_rates() + self._write_growth() + self._write_readiness() + self._write_misrulings()
        written += self._write_shared_looks() + self._write_dependability()
        written += self._write_evaluators() + self._write_quiz() + self._write_positioning() + self._write_fits()
        return written + self._write_letters()

    def _write_rates(self) -> int:
        seen = by_key(_records(self.store, "umpire_area"), "umpire_id", "area")
        rows: list[dict[str, object]] = []
        for area in (OVERALL, *AREAS):
            if area in self.models:
                model = self.models[area]
                counted = seen if area in (OVERALL, *CALL_AREAS) else rates.seen_in(model)
                rows += rates.umpire_rate_rows(model, counted, self.policy.interval)
        return write_table(self.store, "umpire_rate", rows)

    def _write_growth(self) -> int:
        rows: list[dict[str, object]] = []
        for area in (OVERALL, *CALL_AREAS):
            if area in self.models:
                cells = self.cells if area == OVERALL else self.cells[self.cells["area"] == area]
                known = cells[cells["umpire_id"].isin(self.models[area].umpires)]
                rows += growth.growth_rows(self.models[area], _days(known["game_on"]), self.policy.interval)
        return write_table(self.store, "growth", rows)

    def _write_readiness(self) -> int:
        made: dict[str, dict[str, int]] = {}
        for row in _records(self.store, "umpire_consequence"):
            made.setdefault(row["umpire_id"], {})[row["consequence"]] = row["times"]
        said = readiness.readiness_tables(self.policy, self.roster, self.models, made, self.groups)
        ranked: list[dict[str, object]] = []
        if OVERALL in self.models:
            levels = [level.id for level in self.policy.levels]
            ranked = rankings.ranking_rows(self.models[OVERALL], self.roster, self.groups, levels, self.policy.interval)
        return (
            write_table(self.store, "readiness", said.readiness)
            + write_table(self.store, "standard", said.standard)
            + write_table(self.store, "sensitivity", said.sensitivity)
            + write_table(self.store, "ranking", ranked)
            + write_draws(self.store, self.policy, self.roster, self.models)
            + write_page_draws(self.store, self.policy, self.roster, self.models)
        )

    def _write_misrulings(self) -> int:
        times = _records(self.store, "umpire_misruling")
        used = {row["misruling_code"] for row in times}
        chances = [row for row in _records(self.store, "misruling_chance") if row["misruling_code"] in used]
        areas = {row["topic"]: row["area"] for row in _records(self.store, "topic_area")}
        rows = misrulings.misruling_rows(
            self.names,
            times,
            chances,
            _records(self.store, "misruling_example"),
            self.policy.consequence_weights,
            areas,
            self.policy.interval,
        )
        level_of = {row["umpire_id"]: row["level"] for row in self.roster}
        return (
            write_table(self.store, "misruling", rows)
            + self.store.create("scores.umpire_misruling", __package__, "umpire_misruling")
            + write_table(self.store, "level_misruling", misrulings.level_rows(times, chances, level_of))
            + patterns.write_patterns(self.store)
        )

    def _write_evaluators(self) -> int:
        misgrades = _records(self.store, "evaluator_misgrade")
        suspected = evaluators.suspicions(misgrades)
        severity: dict[str, evaluators.Estimate] = {}
        drift: dict[str, evaluators.Estimate] = {}
        overall = self.models.get(OVERALL)
        if overall is not None:
            known = self.cells[self.cells["umpire_id"].isin(overall.umpires)]
            severity = evaluators.severities(overall, self.policy.interval)
            drift = evaluators.drifts(overall, _days(known["game_on"]), self.policy.interval)
        counts = _records(self.store, "evaluator_count")
        rows = evaluators.evaluator_rows(counts, severity, drift, suspected, self.policy.interval)
        return write_table(self.store, "evaluator", rows) + write_table(
            self.store, "evaluator_misgrade", evaluators.misgrade_rows(misgrades, suspected)
        )

    def _write_shared_looks(self) -> int:
        looks = _records(self.store, "shared_look") if self.store.has_table("checked.plate_calls") else []
        return write_table(
            self.store, "evaluator_agreement", agreement_rows(looks, self.policy.interval, self.policy.seed)
        ) + write_table(self.store, "evaluator_pair", pair_rows(looks))

    def _write_dependability(self) -> int:
        sheets = len({(row["umpire_id"], row["quiz_id"]) for row in self.answers})
        now, plan = dependability_rows(self.policy, self.roster, self.models, sheets)
        return write_table(self.store, "dependability", now, NOW_COLUMNS) + write_table(
            self.store, "dependability_plan", plan, PLAN_COLUMNS
        )

    def _write_quiz(self) -> int:
        items = _records(self.store, "quiz_item") if self.has_quiz else []
        measures = quiz_measures(self.answers, self.withheld)
        return write_table(
            self.store,
            "quiz_umpire",
            quiz.quiz_umpire_rows(self.answers, self.withheld, self.policy.interval, measures),
        ) + write_table(self.store, "quiz_item", quiz.quiz_item_rows(items, self.answers, self.keys, measures))

    def _write_positioning(self) -> int:
        rows = []
        for row in _records(self.store, "positioning_item") if self.has_positioning else []:
            low, high = wilson(row["good"], row["checks"], self.policy.interval)
            rows.append({**row, "rate": row["good"] / row["checks"], "low": low, "high": high})
        return write_table(self.store, "positioning", rows)

    def _write_letters(self) -> int:
        bounds = {"fewest": FEWEST_CASES, "most": LETTER_POINTS}
        return self.store.create("scores.letter_point", __package__, "letter_point", bounds)

    def _write_fits(self) -> int:
        rows = [_fit_row(model) for model in self.models.values()]
        for row in rows:
            if row["model"] == "quiz":
                kr20, sheets = quiz.reliability(self.answers, self.withheld)
                if not np.isnan(kr20):
                    row["message"] = f"{row['message']}; KR-20 {kr20:.3f} over {sheets} sheets"
        return write_table(self.store, "fit", rows)


def _days(dates: pd.Series) -> Floats:
    stamps = pd.to_datetime(dates)
    days = (stamps - pd.Timestamp(growth.DAY_ZERO)).dt.total_seconds() / 86_400
    return np.asarray(days.to_numpy(dtype=np.float64, na_value=np.nan), dtype=np.float64)


def _fit_row(model: AreaModel) -> dict[str, Any]:
    fit = model.fit
    return {
        "model": model.name,
        "observations": fit.observations,
        "cells": fit.cells,
        "umpires": int((model.calls > 0).sum()),
        "evaluators": len(model.evaluators),
        "situations": len(model.situations),
        "games": fit.design.sizes.get("game", 0),
        "intercept": fit.intercept,
        "sd_umpire": fit.sd["umpire"],
        "sd_evaluator": fit.sd.get("evaluator"),
        "sd_situation": fit.sd["situation"],
        "sd_game": fit.sd.get("game"),
        "log_likelihood": fit.log_likelihood,
        "iterations": fit.record.iterations,
        "converged": fit.has_estimates,
        "outcome": str(fit.record.outcome),
        "message": fit.record.message,
    }
