"""The items of a quiz and the umpires on one scale, from published rows."""

from __future__ import annotations

import math
from collections.abc import Sequence

from reports.book import Row
from reports.figures.charts import MOST_ROWS
from reports.figures.rows import Mark, RowChart, Series
from reports.words import number


def item_chart(items: Sequence[Row], results: Sequence[Row]) -> RowChart:
    """Draw each item at its difficulty, one standard error each way, over a row with every umpire's measure."""
    shown = items[:MOST_ROWS]
    measures = [row for row in results if row["measure"] is not None]
    ends = [abs(row["difficulty"]) + row["difficulty_se"] for row in shown] + [abs(row["measure"]) for row in measures]
    end = max(math.ceil(max(ends, default=1.0)), 1)
    step = max(1, math.ceil(end / 4))
    series = [
        Series(
            "items",
            "circle",
            "accent",
            [
                Mark(
                    place + 1,
                    row["difficulty"],
                    f"{row['item_id']}: {number(row['difficulty'])} ± {number(row['difficulty_se'])} logits",
                    row["difficulty"] - row["difficulty_se"],
                    row["difficulty"] + row["difficulty_se"],
                )
                for place, row in enumerate(shown)
            ],
        ),
        Series(
            "umpires",
            "diamond-open",
            "ink",
            [Mark(0, row["measure"], f"{row['name']}: {number(row['measure'])} logits") for row in measures],
        ),
    ]
    return RowChart(
        labels=["Umpires", *(row["item_id"] for row in shown)],
        x_title="logits; to the right: harder items, stronger umpires",
        x_low=-float(end),
        x_high=float(end),
        ticks=[(float(x), f"{x:g}".replace("-", "−")) for x in range(-end, end + 1, step)],
        series=series,
        values=["", *(number(row["difficulty"]) for row in shown)],
    )
