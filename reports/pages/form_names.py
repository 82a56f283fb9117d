"""Everybody judged, by name, with the page of the committee's form that has him: where a level takes several pages."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from reports.blocks import Cell, Column, Link, Section, Table
from reports.book import Row
from reports.links import SiteLinks, link_cell
from reports.long_lists import LongLists
from reports.naming import anchor
from reports.words import READINGS, marked, num, percent

ENTRIES = 40
"""Umpires on one page of the form."""

BY_NAME = "by-name"
"""The anchor of the list by name."""

SHOWN = 20
"""Umpires that it begins with."""

READING_ORDER = {"ready": 0, "more_looks": 1, "not_yet": 2}


def is_by_name(levels: Iterable[int]) -> bool:
    """Whether everybody is listed by name, as a level takes several pages; `levels` are how many are judged for each."""
    return max(levels, default=0) > ENTRIES


def entry_anchor(umpire_id: str) -> str:
    """Return the anchor of an umpire's entry of the form."""
    return anchor("minutes", umpire_id)


def names_section(parts: Sequence[tuple[str, str, list[Row]]], links: SiteLinks, lists: LongLists) -> Section:
    """Return everybody judged, by name, each with the page on which the form has him.

    `parts` are file, title and umpires of each page of the form.
    """
    people = [(row, file) for file, _, umpires in parts for row in umpires]
    people.sort(key=lambda pair: (pair[0]["name"].casefold(), pair[0]["umpire_id"]))
    table = Table(
        "forms-by-name",
        "Everybody judged, by name",
        [Column("Umpire"), Column("Judged for"), Column("Reading"), Column("Chance", "num"), Column("The form")],
        [
            [
                link_cell(links.umpire(row["umpire_id"])),
                Cell(row["target_title"]),
                marked(READINGS[row["verdict"]], READING_ORDER[row["verdict"]]),
                num(row["probability"], percent(row["probability"], 0)),
                Cell("entry", href=f"{file}#{entry_anchor(row['umpire_id'])}"),
            ]
            for row, file in people
        ],
    )
    home = Link("Decisions", f"decisions.html#{BY_NAME}")
    shown, below = lists.front(table, SHOWN, "Judged umpires by name", home, "decisions.html")
    return Section(
        BY_NAME,
        "Find an umpire's form",
        [shown, *below],
        margin=["By name; each entry stands on a page of the form."],
    )
