"""The items of a quiz and the umpires on one scale, from published rows."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence

from reports.book import Row
from reports.figures.charts import MOST_ROWS
from reports.figures.rows import Mark, RowChart, Series
from reports.words import number, plural


def _umpire_marks(measured: Sequence[Row]) -> list[Mark]:
    """Return a mark for each umpire; of more than `MOST_ROWS` one for all who stand within a step, so wide as it must be."""
    if len(measured) <= MOST_ROWS:
        return [Mark(0, row["measure"], f"{row['name']}: {number(row['measure'])} logits") for row in measured]
    for step in (0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1.0):
        places = Counter(round(row["measure"] / step) for row in measured)
        if len(places) <= MOST_ROWS:
            break
    return [
        Mark(0, round(place * step, 2), f"{plural(size, 'umpire')} at {number(place * step)} logits, within {number(step / 2, 3)}")
        for place, size in sorted(places.items())
    ]


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
            _umpire_marks(measures),
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
