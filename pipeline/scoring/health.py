"""The health of each evaluator's sheets: what was left out, what cannot be, what is against the rules, what repeats."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from statistics import median
from typing import Any

from pipeline.config import RunConfig
from pipeline.rules.compile import league_book
from pipeline.scoring.digits import even_digits_p, holm
from pipeline.scoring.health_facts import FactCount, count_facts
from pipeline.scoring.intervals import wilson
from pipeline.scoring.tables import write_table
from pipeline.store import StepResult, Store
from pipeline.store.database import named_sql

LATE_DAYS = 7
"""A call written down more than a week after its game is late (our own choice, no source)."""

FEWEST_CASES = 30
"""With fewer cases a share says too little to be held beside others' (our own choice, no source)."""

FEWEST_EVALUATORS = 5
"""A median of fewer would tell what a colleague's own figure is (our own choice, no source)."""

FEWEST_FOUND = 3
"""Fewer than this are incidents and no pattern (our own choice, no source)."""

COVERAGE = 0.99
"""Of the intervals that decide whether a share stands out: some ten shares of each evaluator are looked at."""

UNLIKELY = 0.01
"""A corrected chance under this makes uneven digits stand out (our own choice, no source)."""

_COMPARED = ("contradictions", "wrong_grades", "graded_right", "wrong_passed", "repeated_rows")
"""The shares of which more than the median is worth a word."""

_EMPTY: dict[str, Any] = dict.fromkeys(
    ("low", "high", "median", "evaluators", "p_value", "p_corrected", "stands_out", "rule_ids", "call_ids", "remark")
)

Row = dict[str, Any]


def health_season(config: RunConfig, store: Store) -> StepResult:
    """Write `scores.evaluator_health`: one row for each evaluator, measure and part of it.

    `found` of `cases` gives `value`, except for `days_late`, whose value is the median number of days from the game
    to the entry. The median is that of all evaluators with enough cases, and blank where they are too few.
    Reads `checked.evaluators`, `checked.plate_calls`, `facts.fct_call`, `rulings.ruling`, `scores.call_grade`.
    """
    with store.transaction():
        counts = store.records(named_sql(__package__, "health_call"), {"late_days": LATE_DAYS})
        known = {row["evaluator_id"] for row in counts}
        rows: list[Row] = []
        for row in counts:
            rows += _call_rows(row)
        facts = count_facts(store, league_book(config.policy.rule_options))
        rows += [row for name, count in facts.items() if name in known for row in _fact_rows(name, count)]
        rows += [_topic_row(row) for row in store.records(named_sql(__package__, "health_topic"))]
        rows += [
            _share(row["evaluator_id"], "repeated_rows", row["measured"], row["repeated"], call_ids=row["call_ids"])
            for row in store.records(named_sql(__package__, "health_repeat"))
            if row["evaluator_id"] in known
        ]
        rows += _digit_rows(
            row for row in store.records(named_sql(__package__, "health_digit")) if row["evaluator_id"] in known
        )
        _compare(rows)
        rows.sort(key=lambda row: (row["evaluator_id"], _ORDER.index(row["measure"]), row["part"]))
        written = write_table(store, "evaluator_health", rows)
    outstanding = sum(bool(row["stands_out"]) for row in rows)
    return StepResult("sheet health", sum(row["calls"] for row in counts), written, notes={"stand out": outstanding})


_ORDER = ("facts_recorded", "contradictions", "wrong_grades", "graded_right", "wrong_passed", "repeated_rows",
          "last_digit", "days_late")  # fmt: skip


def _share(evaluator_id: str, measure: str, cases: int, found: int, part: str = "", **more: Any) -> Row:
    low, high = wilson(found, cases, COVERAGE)
    return {
        **_EMPTY,
        "evaluator_id": evaluator_id,
        "measure": measure,
        "part": part,
        "cases": cases,
        "found": found,
        "value": found / cases if cases else None,
        "low": low if cases else None,
        "high": high if cases else None,
        **{key: value or None for key, value in more.items()},
    }


def _call_rows(row: Mapping[str, Any]) -> list[Row]:
    name = row["evaluator_id"]
    rows = [
        _share(name, "contradictions", row["calls"], row["contradictions"], call_ids=row["contradiction_ids"]),
        _share(name, "wrong_grades", row["grades"], row["wrong_grades"]),
        _share(name, "graded_right", row["graded"], row["graded_right"]),
        _share(name, "wrong_passed", row["wrong_rulings"], row["wrong_passed"], call_ids=row["wrong_passed_ids"]),
    ]
    # Sheets without a day of entry say nothing of how late they are.
    if row["dated"]:
        late = _share(name, "days_late", row["dated"], row["late"])
        days = float(row["median_days"])
        usually_late = days > LATE_DAYS if row["dated"] >= FEWEST_CASES else None
        rows.append({**late, "value": days, "low": None, "high": None, "stands_out": usually_late})
    return rows


def _fact_rows(evaluator_id: str, count: FactCount) -> list[Row]:
    """Return the row of all facts together, and one for each fact that a ruling asked for."""
    recorded, missing = count.recorded, count.missing
    most = sorted(missing.items(), key=lambda item: (-item[1], item[0]))[:3]
    left_out = ", ".join(f"{name} ({times})" for name, times in most)
    whole = _share(
        evaluator_id,
        "facts_recorded",
        recorded.total() + missing.total(),
        recorded.total(),
        remark=f"most often left out: {left_out}" if left_out else None,
    )
    parts = [
        _share(evaluator_id, "facts_recorded", recorded[name] + missing[name], recorded[name], name)
        for name in sorted(recorded.keys() | missing.keys())
    ]
    # The facts of one call hang together, so that an interval from their number would be too narrow.
    return [{**row, "low": None, "high": None} for row in (whole, *parts)]


def _topic_row(row: Mapping[str, Any]) -> Row:
    return _share(
        row["evaluator_id"],
        "wrong_grades",
        row["grades"],
        row["wrong_grades"],
        row["topic"],
        rule_ids=row["rule_ids"],
        call_ids=row["call_ids"],
    )


def _digit_rows(records: Iterable[Mapping[str, Any]]) -> list[Row]:
    """Return one row for each evaluator and measure: `found` counts the values that end in 0 or 5.

    Only measures to a tenth of an inch or finer are tested: where pitches go does not favour one tenth over another,
    while whole inches are uneven by themselves.
    """
    rows = []
    for record in records:
        times = record["times"]
        row = _share(record["evaluator_id"], "last_digit", sum(times), times[0] + times[5], record["column_name"])
        if record["decimals"]:
            row["p_value"] = even_digits_p(times)
        else:
            row["remark"] = "written in whole inches, so not tested"
        rows.append(row)
    tested = [row for row in rows if row["p_value"] is not None]
    for row, chance in zip(tested, holm([row["p_value"] for row in tested]), strict=True):
        row["p_corrected"] = chance
        row["stands_out"] = chance < UNLIKELY
    return rows


def _compare(rows: list[Row]) -> None:
    """Set beside each value the median of all evaluators, and say which shares lie above it beyond chance."""
    groups: dict[tuple[str, str], list[Row]] = defaultdict(list)
    for row in rows:
        groups[row["measure"], row["part"]].append(row)
    for (measure, part), group in groups.items():
        enough = [row for row in group if row["cases"] >= FEWEST_CASES]
        if len(enough) < FEWEST_EVALUATORS:
            continue
        middle = median(row["value"] for row in enough)
        for row in group:
            row |= {"median": middle, "evaluators": len(enough)}
            if measure in _COMPARED and not part and row in enough:
                row["stands_out"] = row["found"] >= FEWEST_FOUND and row["low"] > middle
