"""Where wrong rulings are made: subject by level."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from pipeline.scoring.intervals import wilson
from pipeline.scoring.tables import Row

COLUMNS = {
    "level": "VARCHAR",
    "topic": "VARCHAR",
    "times": "BIGINT",
    "chances": "BIGINT",
    "umpires": "BIGINT",
    "rate": "DOUBLE",
    "rate_low": "DOUBLE",
    "rate_high": "DOUBLE",
    "beside": "VARCHAR",
}


def map_rows(counts: Sequence[Row], coverage: float) -> list[dict[str, object]]:
    """Return the rows of `scores.level_topic`.

    `beside` says how a level stands beside the other levels together: `above` where the whole Wilson interval of its
    rate lies above theirs, `below` where it lies below, `alike` in between, `alone` where they have no chance.
    """
    times, chances = Counter[str](), Counter[str]()
    for row in counts:
        times[row["topic"]] += row["times"]
        chances[row["topic"]] += row["chances"]
    rows = []
    for row in counts:
        low, high = wilson(row["times"], row["chances"], coverage)
        others = chances[row["topic"]] - row["chances"]
        beside = "alone"
        if others:
            theirs = (times[row["topic"]] - row["times"]) / others
            beside = "above" if low > theirs else "below" if high < theirs else "alike"
        rows.append(
            {**row, "rate": row["times"] / row["chances"], "rate_low": low, "rate_high": high, "beside": beside}
        )
    return rows
