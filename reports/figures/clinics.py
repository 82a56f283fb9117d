"""The charts of the clinic pages, each made from published rows."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

from reports.book import Row
from reports.figures.charts import MOST_ROWS
from reports.figures.rows import Mark, RowChart, Series
from reports.words import number


def removed_chart(rows: Sequence[Row], label: Callable[[Row], str], label_length: int = 44) -> RowChart:
    """Wrong rulings that a session is expected to remove, with their range, one row each."""
    rows = rows[:MOST_ROWS]
    top = max((row["removed_high"] for row in rows), default=1.0) or 1.0
    step = 10.0 ** math.floor(math.log10(top))
    step = next(s for s in (step / 5, step / 2, step, 2 * step) if top / s <= 6)
    end = math.ceil(top / step) * step
    marks = [
        Mark(
            place,
            row["removed"],
            f"{label(row)}: {number(row['removed'], 1)} ({number(row['removed_low'], 1)} to {number(row['removed_high'], 1)})",
            row["removed_low"],
            row["removed_high"],
        )
        for place, row in enumerate(rows)
    ]
    return RowChart(
        labels=[label(row) for row in rows],
        x_title="wrong rulings removed in a season",
        x_low=0.0,
        x_high=end,
        ticks=[(round(i * step, 6), f"{i * step:g}") for i in range(round(end / step) + 1)],
        series=[Series("", "circle", "accent", marks)],
        values=[number(row["removed"], 1) for row in rows],
        label_length=label_length,
    )
