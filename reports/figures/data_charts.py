"""Charts of the pages on the data: where the calls end, and what each missing fact leaves open."""

from __future__ import annotations

import math
from collections.abc import Sequence

from reports.book import Row
from reports.figures.charts import MOST_ROWS
from reports.figures.palette import Role
from reports.figures.rows import Bar, RowChart
from reports.words import THIN, count, percent

_SHARES = [(i / 5, f"{20 * i}{THIN}%") for i in range(6)]


def ends_chart(rows: Sequence[tuple[str, int, Role]], of: int) -> RowChart:
    """How many of `of` calls came to each end, one end a row."""
    whole = max(of, 1)
    return RowChart(
        labels=[name for name, _, _ in rows],
        x_title="share of the calls that were handed in",
        x_low=0.0,
        x_high=1.0,
        ticks=_SHARES,
        bars=[
            Bar(place, 0.0, number / whole, role, f"{name}: {count(number)} of {count(of)}")
            for place, (name, number, role) in enumerate(rows)
        ],
        values=[percent(number / whole) for _, number, _ in rows],
    )


def left_open_chart(rows: Sequence[Row]) -> RowChart:
    """Calls left open by each fact that is missing from some, one fact a row."""
    rows = rows[:MOST_ROWS]
    top = max((row["open_calls"] for row in rows), default=1) or 1
    step = 10 ** math.floor(math.log10(top))
    step = next(s for s in (max(step // 5, 1), max(step // 2, 1), step, 2 * step) if top / s <= 6)
    end = math.ceil(top / step) * step
    return RowChart(
        labels=[row["title"] for row in rows],
        x_title="calls left open",
        x_low=0.0,
        x_high=end,
        ticks=[(i, count(i)) for i in range(0, end + 1, step)],
        bars=[
            Bar(place, 0.0, row["open_calls"], "accent", f"{row['title']}: {count(row['open_calls'])} calls left open")
            for place, row in enumerate(rows)
        ],
        values=[count(row["open_calls"]) for row in rows],
        label_length=44,
    )
