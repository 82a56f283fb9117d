"""Rankings: the adjusted order of each level, with how little or much of it the evidence carries."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import groupby

from reports.blocks import Block, Cell, Column, Figure, Link, Page, Paragraph, Section, Table
from reports.book import Row, SeasonBook
from reports.figures.charts import ranking_chart
from reports.figures.place_chart import place_chart, place_words
from reports.links import SiteLinks, link_cell
from reports.long_lists import LongLists, first_shown, room, scripts_for
from reports.naming import folder_names, slug
from reports.words import AREAS, NOTHING, count, interval, num, percent

_Key = tuple[str, str, int | None]
"""What one list is of: level, area of work (or `overall`), linked group."""

_Ranked = tuple[_Key, list[Row]]

SHOWN = 100
"""Umpires on the page, over all lists: the two rows and the two lines in figures of each take two kilobytes."""


TOGETHER = 12
"""Up to so many lists stand on one page; of more, as where no evaluator links many groups, each has a page."""

_LEAD = (
    "Umpires of one level in order of their adjusted rate: under an average evaluator and the season's mix "
    "of situations. The places are less certain than they look; each comes with the range it may truly have."
)


def rankings_pages(book: SeasonBook, links: SiteLinks, lists: LongLists) -> Iterator[Page]:
    """Yield `rankings.html` and, of many lists, a page for each; too many umpires for a page are handed to `lists`."""
    rows = sorted(
        book.rows("ranking"),
        key=lambda row: (
            book.level_order(row["level"]),
            row["area_or_overall"] != "overall",
            row["area_or_overall"],
            row["linked_group"] or 0,
            row["rank"],
            row["umpire_id"],
        ),
    )
    ranked: list[_Ranked] = [
        (key, list(group))
        for key, group in groupby(rows, key=lambda row: (row["level"], row["area_or_overall"], row["linked_group"]))
    ]
    if len(ranked) > TOGETHER:
        yield from _apart(book, links, lists, ranked)
        return
    most = room([len(group) for _, group in ranked], SHOWN)
    sections = [_section(book, links, key, group, lists, most) for key, group in ranked]
    if not sections:
        sections = [Section("none", "No ranking", [Paragraph(["Nobody has a graded call."])])]
    yield Page("rankings.html", "Rankings", [_LEAD], sections, nav="rankings.html", scripts=scripts_for(sections))


def _apart(book: SeasonBook, links: SiteLinks, lists: LongLists, ranked: Sequence[_Ranked]) -> Iterator[Page]:
    """Yield the page that leads to the lists and to everybody by name, and then a page for each list."""
    names = folder_names(_key(key) for key, _ in ranked)
    files = [f"rankings/{names[_key(key)]}.html" for key, _ in ranked]
    index = Table(
        "ranking-lists",
        "All lists",
        [Column("List"), Column("Umpires", "num"), Column("First")],
        [
            [Cell(_title(book, key), href=file), num(len(group), count(len(group))), link_cell(links.umpire(group[0]["umpire_id"]))]
            for (key, group), file in zip(ranked, files, strict=True)
        ],
    )
    home = Link("Rankings", "rankings.html#lists")
    shown, below = lists.front(index, SHOWN, "Rankings, list by list", home, "rankings.html")
    everybody = [(row, key, file) for (key, group), file in zip(ranked, files, strict=True) for row in group]
    everybody.sort(key=lambda one: (one[0]["name"].casefold(), one[0]["umpire_id"]))
    by_name = Table(
        "ranked-by-name",
        "Everybody ranked, by name",
        [Column("Umpire"), Column("List"), Column("Place", "num"), Column("Place may be", "num"), Column("Adjusted rate", "num")],
        [
            [
                link_cell(links.umpire(row["umpire_id"])),
                Cell(_title(book, key), href=file),
                num(row["rank"], count(row["rank"])),
                Cell(place_words(row), sort=row["rank_low"]),
                num(row["adjusted_rate"], percent(row["adjusted_rate"])),
            ]
            for row, key, file in everybody
        ],
    )
    named, parts = lists.front(by_name, SHOWN, "Ranked umpires by name", Link("Rankings", "rankings.html#by-name"), "rankings.html")
    note = "Umpires of different lists are not compared: another level, another area of work, or no evaluator who links them."
    sections = [Section("lists", "The lists", [shown, *below], margin=[note]), Section("by-name", "Find an umpire", [named, *parts])]
    yield Page("rankings.html", "Rankings", [_LEAD], sections, nav="rankings.html", scripts=scripts_for(sections))
    for (key, group), file in zip(ranked, files, strict=True):
        section = _section(book, links, key, group, lists, SHOWN, file)
        trail = (Link("Rankings", "../rankings.html"),)
        yield Page(file, f"Ranking: {section.title}", [_LEAD], [section], trail, nav="rankings.html", scripts=scripts_for([section]))


def _key(key: _Key) -> str:
    level, area, linked = key
    return "-".join(slug(str(part)) for part in (level, area, linked or 0))


def _title(book: SeasonBook, key: _Key) -> str:
    level, area, linked = key
    title = book.level_title(level)
    if area != "overall":
        title += f": {AREAS.get(area, area)}"
    if linked is not None and linked > 1:
        title += f", linked group {linked}"
    return title


def _section(
    book: SeasonBook,
    links: SiteLinks,
    of: _Key,
    rows: Sequence[Row],
    lists: LongLists,
    most: int,
    file: str = "rankings.html",
) -> Section:
    """Return the section of one list, on the page `file`; `links` are those from the top of the site."""
    key, title, root = _key(of), _title(book, of), "../" * file.count("/")
    blocks: list[Block] = []
    if of[2] is not None and of[2] > 1:
        text = "No evaluator connects these umpires with those of the other groups: the lists cannot be joined."
        blocks.append(Paragraph([text], tone="caution"))
    shown = rows[:most]
    note = first_shown(most, len(rows)) if len(rows) > most else ""
    home = Link("Rankings", f"{file}#rank-{key}")
    if len(rows) > 1:
        every = _place_table(links, key, title, rows)
        places, below = lists.front(every, most, f"Places: {title}", home, "rankings.html", root)
        blocks += [Figure(f"places-{key}", _first_place(rows), place_chart(shown), places, note=note), *below]
    every = _rate_table(links, key, title, rows)
    rates, below = lists.front(every, most, f"Rates: {title}", home, "rankings.html", root)
    blocks += [Figure(f"ranking-{key}", _groups_told(book, rows), ranking_chart(shown), rates, note=note), *below]
    sure = percent(book.policy.interval, 0)
    return Section(
        f"rank-{key}",
        title,
        blocks,
        margin=[
            f"The range of a place holds it in {sure} of the joint draws. Umpires who share a group cannot be told from "
            f"the group's first with {sure} sureness; the next group begins with the first who can. Ranges of neighbours "
            "overlap across the border of two groups too. The raw rate stands beside for comparison and ranks nobody. "
            "Each chance leads to the two umpires side by side."
        ],
    )


def _first_place(rows: Sequence[Row]) -> str:
    """Return the sentence on who may truly be first."""
    first = [row for row in rows if row["rank_low"] == 1]
    if len(first) == 1:
        return f"{first[0]['name']} is the only one of these {len(rows)} whose range holds the first place."
    if len(first) == len(rows):
        return f"Any of these {len(rows)} umpires may truly be first."
    return f"The first place may truly belong to any of {len(first)} of these {len(rows)} umpires."


def _groups_told(book: SeasonBook, rows: Sequence[Row]) -> str:
    """Return the sentence on how far the evidence tells the umpires apart."""
    sure = percent(book.policy.interval, 0)
    ties = [row["tie_group"] for row in rows]
    if len(rows) == 1:
        return f"{rows[0]['name']} is alone in this list."
    if len(set(ties)) == 1:
        return f"With {sure} sureness the evidence tells none of these {len(rows)} umpires from the first of the list."
    leading = ties.count(ties[0])
    shared = f"the first {leading} share a group" if leading > 1 else f"{rows[0]['name']} stands alone at the top"
    return f"With {sure} sureness the evidence makes {len(set(ties))} groups of these {len(rows)} umpires; {shared}."


def _place_table(links: SiteLinks, key: str, title: str, rows: Sequence[Row]) -> Table:
    columns = [
        Column("Umpire"),
        Column("Place", "num"),
        Column("Place may be", "num"),
        Column("Group", "num"),
        Column("Adjusted rate", "num"),
        Column("Chance ahead of the next", "num"),
        Column("The next"),
    ]
    following = [*rows[1:], None]
    cells = [
        [
            link_cell(links.umpire(row["umpire_id"])),
            num(row["rank"], count(row["rank"])),
            Cell(place_words(row), sort=row["rank_low"]),
            num(row["tie_group"], count(row["tie_group"])),
            num(row["adjusted_rate"], percent(row["adjusted_rate"])),
            num(
                row["p_ahead_of_next"],
                percent(row["p_ahead_of_next"], 0),
                links.compare(row["umpire_id"], other["umpire_id"]) if other else None,
            ),
            link_cell(links.umpire(other["umpire_id"])) if other else Cell(NOTHING),
        ]
        for row, other in zip(rows, following, strict=True)
    ]
    return Table(f"places-{key}-table", f"Places: {title}", columns, cells)


def _rate_table(links: SiteLinks, key: str, title: str, rows: Sequence[Row]) -> Table:
    columns = [
        Column("Umpire"),
        Column("Group", "num"),
        Column("Adjusted rate", "num"),
        Column("Interval", "num"),
        Column("Raw rate", "num"),
    ]
    cells = [
        [
            link_cell(links.umpire(row["umpire_id"])),
            num(row["tie_group"], count(row["tie_group"])),
            num(row["adjusted_rate"], percent(row["adjusted_rate"])),
            Cell(interval(row["low"], row["high"]), sort=row["low"]),
            num(row["raw_rate"], percent(row["raw_rate"]), links.calls_of(row["umpire_id"])),
        ]
        for row in rows
    ]
    return Table(f"ranks-{key}", f"Rates: {title}", columns, cells)
