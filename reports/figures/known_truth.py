"""Charts of the trial on known truth: kinds of season down the side, methods or sizes as marks."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from reports.figures.palette import Role
from reports.figures.rows import Mark, RowChart, Rule, Series, Shape, even_ticks
from reports.words import THIN, number, percent
from schemas.known_truth import Figure


@dataclass(frozen=True)
class Kind:
    """One kind of mark: name, shape, colour, and its figure in each row (None where there is none)."""

    name: str
    shape: Shape
    role: Role
    figures: Sequence[Figure | None]


def share_rows(
    labels: Sequence[str], kinds: Sequence[Kind], x_title: str, rule: Rule | None, lowest: float | None = None
) -> RowChart:
    """Shares by row, each with its range; the axis takes whole tenths, from `lowest` where that is given."""
    known = [one.value for kind in kinds for one in kind.figures if one is not None] + ([rule.x] if rule else [0.5])
    low = math.floor(10 * min(known) + 1e-9) / 10 if lowest is None else lowest
    high = min(math.ceil(10 * max(known) + 0.2) / 10, 1.0)
    return RowChart(
        labels=labels,
        x_title=x_title,
        x_low=low,
        x_high=high,
        ticks=[(x, f"{100 * x:.0f}{THIN}%") for x, _ in even_ticks(low, high, 0.1, "{}")],
        series=_series(labels, kinds, lambda value: percent(value), (low, high)),
        rules=[rule] if rule else [],
        label_length=44,
    )


def point_rows(labels: Sequence[str], kinds: Sequence[Kind], x_title: str) -> RowChart:
    """Points by row from zero, each with its range."""
    known = [one.value for kind in kinds for one in kind.figures if one is not None]
    high = float(math.ceil(max(known, default=1.0) + 0.2))
    return RowChart(
        labels=labels,
        x_title=x_title,
        x_low=0.0,
        x_high=high,
        ticks=even_ticks(0, high, 1 if high <= 8 else 2, "{:.0f}"),
        series=_series(labels, kinds, lambda value: f"{number(value, 1)} points", (0.0, high)),
        label_length=44,
    )


def _series(
    labels: Sequence[str], kinds: Sequence[Kind], words: Callable[[float], str], ends: tuple[float, float]
) -> list[Series]:
    low, high = ends
    series = []
    for kind in kinds:
        marks = []
        for place, one in enumerate(kind.figures):
            if one is None:
                continue
            reach = one.reach or 0.0
            said = f"{labels[place]}, {kind.name}: {words(one.value)}"
            marks.append(Mark(place, one.value, said, max(one.value - reach, low), min(one.value + reach, high)))
        series.append(Series(kind.name, kind.shape, kind.role, marks))
    return series
