"""How much of the season each fact is recorded, and what its blanks leave open."""

from __future__ import annotations

from collections.abc import Sequence

from reports.blocks import Block, Cell, Column, Figure, Paragraph, Section, Table
from reports.book import Row
from reports.figures.data_charts import left_open_chart
from reports.links import SiteLinks, linked_cell
from reports.words import count, num, percent, plain_names, plural


def facts_section(facts: Sequence[Row]) -> Section:
    """Make the section on facts recorded, those that rulings asked for first."""
    asked = sorted((row for row in facts if row["asked"]), key=lambda row: (row["recorded_share"], row["place"]))
    rest = [row for row in facts if not row["asked"]]
    blocks: list[Block] = [
        Table(
            "facts-table",
            "Facts that the rulings turn on, the one most often left out first",
            [Column("Fact"), Column("Asked for", "num"), Column("Recorded", "num"), Column("Share", "num"),
             Column("Left out", "num"), Column("Filled in on all calls", "num")],
            [
                [
                    Cell(row["title"]),
                    num(row["asked"], count(row["asked"])),
                    num(row["recorded"], count(row["recorded"])),
                    num(row["recorded_share"], percent(row["recorded_share"])),
                    num(row["asked"] - row["recorded"], count(row["asked"] - row["recorded"]), "#open" if row["open_calls"] else None),
                    num(row["filled"], _filled(row)),
                ]
                for row in asked
            ],
            empty="No ruling turned on a fact of the sheets.",
        ),
        Table(
            "other-facts-table",
            "Other columns: no ruling of this season turned on them",
            [Column("Column"), Column("Filled in on all calls", "num")],
            [[Cell(row["title"]), num(row["filled"], _filled(row))] for row in rest],
            empty="There is no other column.",
        ),
    ]  # fmt: skip
    margin = (
        "Asked for: the rules needed the fact on the way to the ruling, or would have. A measured place serves as well as "
        "one by eye. Columns whose blank the sheet reads as a value (no swing, a legal pitch) are never left out."
    )
    return Section("facts", "Facts recorded", blocks, margin=[margin])


def _filled(row: Row) -> str:
    if not row["calls"]:
        return count(row["filled"])
    share = row["filled"] / row["calls"]
    return f"{count(row['filled'])} ({percent(share, 1 if 0 < share < 0.01 else 0)})"


def open_section(facts: Sequence[Row], season: Row, links: SiteLinks) -> Section:
    """Make the section on open calls: which facts are missing, and what they would settle."""
    needed = sorted((row for row in facts if row["open_calls"]), key=lambda row: (-row["open_calls"], row["place"]))
    if not needed:
        text = "No call stays open for want of a fact."
        return Section("open", "Open calls", [Paragraph([text])])
    table = Table(
        "open-table",
        "Open calls by the fact that is missing",
        [Column("Fact"), Column("Open calls", "num"), Column("Settled by it alone", "num"), Column("Now undecided", "long"),
         Column("What to write", "long"), Column("Calls, the first five")],
        [
            [
                Cell(row["title"]),
                num(row["open_calls"], count(row["open_calls"])),
                num(row["settled_alone"], count(row["settled_alone"])),
                Cell(plain_names(row["undecided"] or "the ruling")),
                Cell(row["allowed"]),
                linked_cell(row["call_ids"], links.call),
            ]
            for row in needed
        ],
    )  # fmt: skip
    first = needed[0]
    title = (
        f"{first['title']} is the fact that is missed most: {count(first['open_calls'])} of "
        f"{plural(season['calls_open'], 'open call')}."
    )
    margin = "A call may lack several facts, and then stands under each of them. Evaluators' own pages list every open call."
    return Section("open", "Open calls", [Figure("open-facts", title, left_open_chart(needed), table)], margin=[margin])
