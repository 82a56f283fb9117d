"""Change over the season: one umpire's rates at his first and his last game, with how sure the change is."""

from __future__ import annotations

from collections.abc import Sequence

from reports.blocks import Block, Cell, Column, Figure, Paragraph, Section, Table
from reports.book import Row
from reports.figures.charts import points_chart
from reports.words import AREAS, count, day, num, percent, point_range, points

_MARGIN = (
    "Rates under an average evaluator who does not drift, over the season's mix of situations. An umpire's own slope is "
    "drawn towards the common one as far as umpires are alike; the interval counts in that evaluators may have "
    "drifted. Under 4 games on 3 days over 14 days nothing is said."
)


def growth_section(rows: Sequence[Row]) -> Section | None:
    """Return the section, or nothing where no growth was looked at."""
    if not rows:
        return None
    order = list(AREAS)
    rows = sorted(rows, key=lambda row: (order.index(row["area"]) if row["area"] in order else len(order), row["area"]))
    shown = [{**row, "name": AREAS.get(row["area"], row["area"])} for row in rows]
    table = Table(
        "growth-table",
        "From the first game to the last",
        [
            Column("Area"),
            Column("First game", "ref"),
            Column("Last game", "ref"),
            Column("Games", "num"),
            Column("Rate at first", "num"),
            Column("Rate at last", "num"),
            Column("Change, points", "num"),
            Column("Interval, points", "num"),
            Column("Chance of better", "num"),
            Column("Average umpire, points", "num"),
        ],
        [
            [
                Cell(row["name"]),
                Cell(day(row["first_on"])),
                Cell(day(row["last_on"])),
                num(row["games"], count(row["games"])),
                num(row["rate_early"], percent(row["rate_early"])),
                num(row["rate_late"], percent(row["rate_late"])),
                num(row["change"], points(row["change"])),
                Cell(_range(row), sort=row["change_low"]),
                num(row["p_better"], percent(row["p_better"], 0)),
                num(row["common_change"], points(row["common_change"])),
            ]
            for row in shown
        ],
    )
    known = [row for row in shown if row["change"] is not None]
    overall = next((row for row in shown if row["area"] == "overall"), shown[0])
    blocks: list[Block]
    if known:
        chart = points_chart(known, "change", "change_low", "change_high", "change of the adjusted rate, points")
        blocks = [Figure("growth", _line(overall), chart, table)]
    else:
        blocks = [Paragraph([_line(overall)]), table]
    return Section("growth-part", "Change over the season", blocks, margin=[_MARGIN])


def _range(row: Row) -> str:
    return row["outcome"] if row["change"] is None else point_range(row["change_low"], row["change_high"])


def _line(row: Row) -> str:
    """Say in one sentence what became of the rate."""
    if row["change"] is None:
        return f"Nothing is said of a change over the season: {row['outcome']}."
    span = f"from {day(row['first_on'])} to {day(row['last_on'])}"
    told = f"{points(row['change'])} points {span}, {point_range(row['change_low'], row['change_high'])}"
    if row["change_low"] > 0:
        return f"The rate rose: {told}."
    if row["change_high"] < 0:
        return f"The rate fell: {told}."
    return f"Whether the rate rose or fell is not settled: {told}."
