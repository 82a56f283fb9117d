"""The charts of the pages, each made from published rows; nothing is worked out here but where an axis ends."""

from __future__ import annotations

import math
from collections.abc import Sequence

from reports.book import Row
from reports.figures.palette import Role
from reports.figures.rows import Bar, Mark, RowChart, Rule, Series, Shape, even_ticks
from reports.words import THIN, interval, number, percent, point_range, points

MOST_ROWS = 120
"""More rows than this are not drawn, only listed: nobody could read them."""

_READING_SHAPES: dict[str, tuple[str, Shape, Role]] = {
    "ready": ("Ready", "circle", "accent"),
    "more_looks": ("More looks", "diamond-open", "ink"),
    "not_yet": ("Not yet", "square", "warn"),
}
_HOLD_SHAPES: dict[str, tuple[str, Shape, Role]] = {
    "met": ("Met", "circle", "accent"),
    "unsure": ("Not settled", "diamond-open", "ink"),
    "short": ("Short", "square", "warn"),
}


def readiness_chart(rows: Sequence[Row], risk_ready: float, risk_not_yet: float) -> RowChart:
    """Chance of meeting every standard, one umpire a row, with the two lines of the policy."""
    rows = rows[:MOST_ROWS]
    series = []
    for verdict, (name, shape, role) in _READING_SHAPES.items():
        marks = [
            Mark(place, row["probability"], f"{row['name']}: {percent(row['probability'], 0)}, {name.lower()}")
            for place, row in enumerate(rows)
            if row["verdict"] == verdict and row["probability"] is not None
        ]
        series.append(Series(name, shape, role, marks))
    return RowChart(
        labels=[row["name"] for row in rows],
        x_title="chance of meeting every standard",
        x_low=0.0,
        x_high=1.0,
        ticks=[(i / 5, f"{20 * i}{THIN}%") for i in range(6)],
        series=series,
        rules=[
            Rule(risk_not_yet, f"not yet up to {percent(risk_not_yet, 0)}"),
            Rule(1 - risk_ready, f"ready from {percent(1 - risk_ready, 0)}"),
        ],
        values=[percent(row["probability"], 0) for row in rows],
    )


def _share_axis(shares: Sequence[float | None]) -> tuple[float, float, list[tuple[float, str]]]:
    known = [share for share in shares if share is not None]
    low, high = min(known, default=0.0), max(known, default=1.0)
    for step in (0.002, 0.005, 0.01, 0.02, 0.05, 0.1, 0.2):
        # Whole steps, counted as integers: a multiple of 0.1 is not one of 0.1 in binary.
        first, last = math.floor(low / step + 1e-9), math.ceil(high / step - 1e-9)
        if last - first <= 6:
            break
    if last <= first:
        first, last = max(0, first - 1), min(round(1 / step), last + 1)
    digits = 1 if step < 0.01 else 0
    ticks = [(round(i * step, 6), f"{100 * i * step:.{digits}f}{THIN}%") for i in range(first, last + 1)]
    return ticks[0][0], ticks[-1][0], ticks


def ranking_chart(rows: Sequence[Row]) -> RowChart:
    """Adjusted rate with its interval and the raw rate beside it, one umpire a row."""
    rows = rows[:MOST_ROWS]
    low, high, ticks = _share_axis([v for row in rows for v in (row["low"], row["high"], row["raw_rate"])])
    adjusted = [
        Mark(
            place,
            row["adjusted_rate"],
            f"{row['name']}: adjusted {percent(row['adjusted_rate'])} ({interval(row['low'], row['high'])})",
            row["low"],
            row["high"],
        )
        for place, row in enumerate(rows)
    ]
    raw = [
        Mark(place, row["raw_rate"], f"{row['name']}: raw {percent(row['raw_rate'])}")
        for place, row in enumerate(rows)
        if row["raw_rate"] is not None
    ]
    return RowChart(
        labels=[f"{row['rank']}. {row['name']}" for row in rows],
        x_title="share of graded calls that are right",
        x_low=low,
        x_high=high,
        ticks=ticks,
        series=[
            Series("raw rate", "line-ns-open", "muted", raw),
            Series("adjusted rate with its interval", "circle", "accent", adjusted),
        ],
        values=[percent(row["adjusted_rate"]) for row in rows],
    )


def standards_chart(rows: Sequence[Row]) -> RowChart:
    """Estimate with interval against the cut, one standard a row."""
    values = [v for row in rows for v in (row["low"], row["high"], row["cut"])]
    low, high, ticks = _share_axis(values)
    series = [
        Series(
            "the cut",
            "line-ns-open",
            "muted",
            [Mark(place, row["cut"], f"cut {percent(row['cut'])}") for place, row in enumerate(rows)],
        )
    ]
    for holds, (name, shape, role) in _HOLD_SHAPES.items():
        marks = [
            Mark(
                place,
                row["estimate"],
                f"{row['area_title']}: {percent(row['estimate'])} ({interval(row['low'], row['high'])}), "
                f"cut {percent(row['cut'])}",
                row["low"],
                row["high"],
            )
            for place, row in enumerate(rows)
            if row["holds"] == holds and row["estimate"] is not None
        ]
        series.append(Series(name, shape, role, marks))
    return RowChart(
        labels=[row["area_title"] for row in rows],
        x_title="adjusted rate",
        x_low=low,
        x_high=high,
        ticks=ticks,
        series=series,
        values=[percent(row["estimate"]) for row in rows],
    )


def bridge_chart(row: Row) -> RowChart:
    """The way from the raw rate to the adjusted one, part by part, from top to bottom."""
    raw, adjusted = row["raw_rate"], row["adjusted_rate"]
    steps = [
        ("Average evaluator", row["evaluator_points"]),
        ("Season's mix of situations", row["situation_points"]),
        ("Luck taken out", row["shrinkage_points"]),
    ]
    bars = []
    at = raw
    for place, (name, part) in enumerate(steps, 1):
        bars.append(Bar(place, at, at + part, "accent" if part >= 0 else "warn", f"{name}: {points(part)} points"))
        at += part
    low, high, ticks = _share_axis([raw, adjusted, *(bar.end for bar in bars)])
    ends = [Mark(0, raw, f"raw rate {percent(raw)}"), Mark(4, adjusted, f"adjusted rate {percent(adjusted)}")]
    return RowChart(
        labels=["Raw rate", *(name for name, _ in steps), "Adjusted rate"],
        x_title="share of graded calls that are right",
        x_low=low,
        x_high=high,
        ticks=ticks,
        series=[Series("", "circle", "ink", ends)],
        bars=bars,
        values=[percent(raw), *(points(part) for _, part in steps), percent(adjusted)],
    )


_STRIP = (
    ("Strike, right", "strike", "right"),
    ("Ball, right", "ball", "right"),
    ("Strike, edge pitch", "strike", "edge"),
    ("Ball, edge pitch", "ball", "edge"),
    ("Strike, wrong", "strike", "wrong"),
    ("Ball, wrong", "ball", "wrong"),
)
STRIP_ENDS_IN = 12.0
"""Pitches farther from the boundary than this (inches) are drawn at the end of the axis."""


def boundary_chart(calls: Sequence[Row]) -> RowChart:
    """Measured pitches by what was called and its grade, against their distance to the zone's boundary."""
    shapes: dict[str, tuple[Shape, Role]] = {
        "right": ("circle-open", "muted"),
        "edge": ("diamond-open", "ink"),
        "wrong": ("x-thin-open", "warn"),
    }
    rows: dict[str, list[Mark]] = {grade: [] for grade in shapes}
    counts = [0] * len(_STRIP)
    for call in calls:
        margin = call["zone_margin_in"]
        for place, (name, pitch, grade) in enumerate(_STRIP):
            if margin is not None and call["ruled_pitch"] == pitch and call["verdict"] == grade:
                counts[place] += 1
                x = round(min(max(margin, -STRIP_ENDS_IN), STRIP_ENDS_IN), 2)
                rows[grade].append(Mark(place, x, f"{call['call_id']}: {name.lower()}, {number(margin, 1)} in"))
    return RowChart(
        labels=[name for name, _, _ in _STRIP],
        x_title="inches from the zone's boundary: outside −, inside +",
        x_low=-STRIP_ENDS_IN - 0.5,
        x_high=STRIP_ENDS_IN + 0.5,
        ticks=even_ticks(-12, 12, 4, "{:.0f}"),
        series=[Series("", *shapes[grade], marks, faint=True) for grade, marks in rows.items()],
        rules=[Rule(0.0, "boundary")],
        values=[str(count) for count in counts],
    )


def measured_calls(calls: Sequence[Row]) -> list[Row]:
    """Return the calls that the boundary chart shows."""
    shown = {(pitch, grade) for _, pitch, grade in _STRIP}
    return [
        call for call in calls if call["zone_margin_in"] is not None and (call["ruled_pitch"], call["verdict"]) in shown
    ]


BOUNDARY_ROWS = _STRIP


def clinic_chart(rows: Sequence[Row]) -> RowChart:
    """Clinic scores as bars, one misruling a row."""
    top = max((row["clinic_score"] for row in rows), default=1.0) or 1.0
    step = 10.0 ** math.floor(math.log10(top))
    step = next(s for s in (step / 5, step / 2, step, 2 * step) if top / s <= 6)
    end = math.ceil(top / step) * step
    return RowChart(
        labels=[row["title"] for row in rows],
        x_title="score: times, by cost and share of umpires",
        x_low=0.0,
        x_high=end,
        ticks=[(round(i * step, 6), f"{i * step:g}") for i in range(round(end / step) + 1)],
        bars=[
            Bar(place, 0.0, row["clinic_score"], "accent", f"{row['title']}: {number(row['clinic_score'], 1)}")
            for place, row in enumerate(rows)
        ],
        values=[number(row["clinic_score"], 1) for row in rows],
        label_length=70,
    )


def points_chart(rows: Sequence[Row], value: str, low: str, high: str, x_title: str) -> RowChart:
    """A difference in points with its interval, one evaluator a row, about zero."""
    rows = [row for row in rows if row[value] is not None][:MOST_ROWS]
    reach = max((abs(row[end]) for row in rows for end in (low, high) if row[end] is not None), default=0.01)
    step = next((s for s in (0.01, 0.02, 0.05, 0.1) if reach / s <= 4), 0.2)
    end = max(math.ceil(reach / step), 1) * step
    return RowChart(
        labels=[row["name"] for row in rows],
        x_title=x_title,
        x_low=-end,
        x_high=end,
        ticks=[(x, text) for x, text in _point_ticks(end, step)],
        series=[
            Series(
                "",
                "circle",
                "accent",
                [
                    Mark(
                        place,
                        row[value],
                        f"{row['name']}: {points(row[value])} ({point_range(row[low], row[high])})",
                        row[low],
                        row[high],
                    )
                    for place, row in enumerate(rows)
                ],
            )
        ],
        rules=[Rule(0.0, "")],
        values=[points(row[value]) for row in rows],
    )


def _point_ticks(end: float, step: float) -> list[tuple[float, str]]:
    whole = round(end / step)
    return [
        (round(i * step, 6), f"{100 * i * step:+.0f}".replace("-", "−") if i else "0") for i in range(-whole, whole + 1)
    ]


def share_chart(rows: Sequence[Row], label: str, value: str, low: str, high: str, x_title: str) -> RowChart:
    """A plain share with its interval, one row each."""
    rows = [row for row in rows if row[value] is not None][:MOST_ROWS]
    start, end, ticks = _share_axis([v for row in rows for v in (row[low], row[high], row[value])])
    marks = [
        Mark(
            place,
            row[value],
            f"{row[label]}: {percent(row[value])} ({interval(row[low], row[high])})",
            row[low],
            row[high],
        )
        for place, row in enumerate(rows)
    ]
    return RowChart(
        labels=[str(row[label]) for row in rows],
        x_title=x_title,
        x_low=start,
        x_high=end,
        ticks=ticks,
        series=[Series("", "circle", "accent", marks)],
        values=[percent(row[value]) for row in rows],
    )


def spread_chart(rows: Sequence[Row]) -> RowChart:
    """How far umpires, evaluators, situations and games spread, on the logit scale, one model a row."""
    kinds: tuple[tuple[str, str, Shape, Role], ...] = (
        ("sd_umpire", "umpires", "circle", "accent"),
        ("sd_evaluator", "evaluators", "square", "warn"),
        ("sd_situation", "situations", "diamond-open", "ink"),
        ("sd_game", "games", "line-ns-open", "muted"),
    )
    top = max((row[key] for row in rows for key, *_ in kinds if row[key] is not None), default=1.0)
    end = max(0.5, math.ceil(top / 0.5) * 0.5)
    return RowChart(
        labels=[row["label"] for row in rows],
        x_title="standard deviation on the logit scale",
        x_low=0.0,
        x_high=end,
        ticks=even_ticks(0, end, 0.5, "{:.1f}"),
        series=[
            Series(
                name,
                shape,
                role,
                [
                    Mark(place, row[key], f"{row['label']}, {name}: {number(row[key])}")
                    for place, row in enumerate(rows)
                    if row[key] is not None
                ],
            )
            for key, name, shape, role in kinds
        ],
    )
