"""The place in a ranking with the range that it may truly have, one umpire a row."""

from __future__ import annotations

from collections.abc import Sequence

from reports.book import Row
from reports.figures.charts import MOST_ROWS
from reports.figures.rows import Mark, RowChart, Series


def place_words(row: Row) -> str:
    """Return the range of a place: `1 to 4`, or the one place."""
    low, high = row["rank_low"], row["rank_high"]
    return f"{low}" if low == high else f"{low} to {high}"


def place_chart(rows: Sequence[Row]) -> RowChart:
    """Place and its range, one umpire a row; the first place is to the left."""
    last = max((row["rank_high"] for row in rows[:MOST_ROWS]), default=1)
    last = max(last, min(len(rows), MOST_ROWS), 2)
    step = next((step for step in (1, 2, 5, 10, 20, 50, 100, 200, 500) if (last - 1) / step <= 12), 1000)
    ticks = [1, *(place for place in range(step, last + 1, step) if place > 1)]
    return RowChart(
        labels=[f"{row['rank']}. {row['name']}" for row in rows[:MOST_ROWS]],
        x_title="place in the list, the highest adjusted rate first",
        x_low=1.0,
        x_high=float(last),
        ticks=[(float(place), str(place)) for place in ticks],
        series=[
            Series(
                "",
                "circle",
                "accent",
                [
                    Mark(
                        number,
                        row["rank"],
                        f"{row['name']}: place {row['rank']}, may be {place_words(row)}, group {row['tie_group']}",
                        row["rank_low"],
                        row["rank_high"],
                    )
                    for number, row in enumerate(rows[:MOST_ROWS])
                ],
            )
        ],
        values=[place_words(row) for row in rows[:MOST_ROWS]],
    )
