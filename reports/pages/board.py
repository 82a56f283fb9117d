"""The readiness board: the committee's first page."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import groupby

from reports.blocks import Block, Cell, Column, Figure, Inline, Link, Page, Paragraph, Section, Table, Tool
from reports.book import Row, SeasonBook
from reports.figures.charts import readiness_chart
from reports.links import SiteLinks, link_cell
from reports.long_lists import LongLists, first_shown, room, scripts_for
from reports.naming import slug
from reports.pages.form_names import BY_NAME, is_by_name
from reports.words import AREAS, NOTHING, READINGS, count, marked, num, percent, plural, sentence

_READING_ORDER = {"ready": 0, "more_looks": 1, "not_yet": 2}

SHOWN = 120
"""Umpires on the page, over all levels: a row and its line in the figure take about a kilobyte."""


def board_page(book: SeasonBook, links: SiteLinks, lists: LongLists) -> Page:
    """Make `index.html`; a level of too many umpires for it is handed to `lists`."""
    levels = [(target, list(rows)) for target, rows in groupby(_ordered(book), key=lambda row: row["target_level"])]
    most = room([len(rows) for _, rows in levels], SHOWN)
    sections = [_level_section(book, links, target, rows, lists, most) for target, rows in levels]
    if not sections:
        nobody = Paragraph(["No umpire of the roster works a level that the policy names, so nobody is judged."])
        sections = [Section("readiness", "Readiness", [nobody])]
    else:
        sections.insert(0, _glance_section(book))
    return Page(
        path="index.html",
        title="Readiness board",
        lead=_lead(book),
        sections=[*sections, _account_section(book)],
        nav="index.html",
        scripts=(*(scripts_for(sections) or ("draws.js",)), "find.js") if book.readiness else (),
    )


def _ordered(book: SeasonBook) -> list[Row]:
    return sorted(
        book.readiness,
        key=lambda row: (
            book.level_order(row["target_level"]),
            _READING_ORDER[row["verdict"]],
            -(row["probability"] or 0.0),
            row["name"],
            row["umpire_id"],
        ),
    )


def _lead(book: SeasonBook) -> list[Inline]:
    season = book.season
    days = ""
    if season["first_day"] and season["last_day"]:
        days = f", {season['first_day'].isoformat()} to {season['last_day'].isoformat()}"
    return [
        f"Who is at the standard of the next level, and how sure the evidence makes us: "
        f"{plural(season['umpires'], 'umpire')}, {plural(season['games'], 'game')}, "
        f"{plural(season['calls_accepted'], 'call')} by {plural(season['evaluators'], 'evaluator')}{days}. "
        "What follows from it for anybody is for the committee to decide."
    ]


def _glance_section(book: SeasonBook) -> Section:
    """Return the section that counts the readings of each level, with the place for the filter of all tables."""
    judged = {target: list(rows) for target, rows in groupby(_ordered(book), key=lambda row: row["target_level"])}
    tally = {verdict: sum(row["verdict"] == verdict for row in book.readiness) for verdict in _READING_ORDER}
    rows = []
    for target, people in judged.items():
        level = book.policy.level(target)
        counts = [sum(row["verdict"] == verdict for row in people) for verdict in _READING_ORDER]
        sure = None if level is None else 1 - level.risk_ready
        rows.append(
            [
                Cell(people[0]["target_title"], href=f"#level-{slug(target)}"),
                num(len(people), count(len(people))),
                *(num(number, count(number)) for number in counts),
                num(sure, percent(sure, 0)),
            ]
        )
    table = Table(
        "readings",
        "Readings by the level that umpires are judged for",
        [
            Column("Judged for"),
            Column("Umpires", "num"),
            *(Column(READINGS[verdict][0], "num") for verdict in _READING_ORDER),
            Column("Sureness asked of ready", "num"),
        ],
        rows,
    )
    title = f"{_of(tally['ready'], len(book.readiness))} ready for the level that they are judged for"
    find = Tool(
        "find",
        "find",
        "Where scripts run, the tables of all levels can be narrowed here by name, reading and level.",
    )
    others: list[Inline] = ["What other cuts and risks would say: ", Link("what if", "standards.html"), "."]
    if is_by_name(len(people) for people in judged.values()):
        others += [" Everybody in the order of names: ", Link("decisions", f"decisions.html#{BY_NAME}"), "."]
    return Section(
        "glance",
        title,
        [table, Paragraph(others), find],
        margin=[
            "A reading is what the evidence says against the risks that the policy accepts. More looks is a statement "
            "about the evidence, not about the umpire."
        ],
    )


def _level_section(
    book: SeasonBook, links: SiteLinks, target: str, rows: Sequence[Row], lists: LongLists, most: int
) -> Section:
    title = rows[0]["target_title"]
    key = slug(target)
    level = book.policy.level(target)
    tally = {verdict: sum(row["verdict"] == verdict for row in rows) for verdict in READINGS}
    home = Link("Readiness board", f"index.html#level-{key}")
    every = _table(book, links, key, title, rows)
    table, below = lists.front(every, most, f"Judged for {title}", home, "index.html")
    blocks: list[Block] = []
    if level is None:
        blocks += [table, *below]
    else:
        blocks.append(
            Figure(
                f"ready-{key}",
                f"{_of(tally['ready'], len(rows))} ready for {title} on this evidence; "
                f"{count(tally['more_looks'])} need more looks, and {count(tally['not_yet'])} are not there yet.",
                readiness_chart(rows[:most], level.risk_ready, level.risk_not_yet),
                table,
                note=first_shown(most, len(rows)) if below else "",
            )
        )
        blocks += below
    groups = {row["linked_group"] for row in rows if row["linked_group"] is not None}
    if len(groups) > 1:
        blocks.insert(
            0,
            Paragraph(
                [
                    f"These umpires fall into {len(groups)} groups that no common evaluator connects. "
                    "Chances of different groups rest on different yardsticks: do not compare them."
                ],
                tone="caution",
            ),
        )
    margin = "Ordered by reading, then by chance. "
    if level is not None:
        margin += (
            f"Ready: the chance of meeting every standard of {title} is at least {percent(1 - level.risk_ready, 0)} "
            f"and the least evidence was seen. Not yet: at most {percent(level.risk_not_yet, 0)}. "
            "Everything else asks for more looks, and is no mark against anybody."
        )
    return Section(f"level-{key}", f"Judged for {title}", blocks, margin=[margin])


def _of(part: int, whole: int) -> str:
    if part == 0:
        return f"None of {count(whole)} is" if whole > 1 else "The one umpire is not"
    return f"{count(part)} of {count(whole)} {'is' if part == 1 else 'are'}"


def _table(book: SeasonBook, links: SiteLinks, key: str, title: str, rows: Sequence[Row]) -> Table:
    # Where all work the same level, saying so in every row would only take the place of something else.
    several = len({row["level"] for row in rows}) > 1
    columns = [
        Column("Umpire"),
        *([Column("Now works")] if several else []),
        Column("Reading"),
        Column("Chance of all", "num"),
        Column("Nearest standard"),
        Column("Estimate", "num"),
        Column("Cut", "num"),
        Column("Calls", "num"),
        Column("Games", "num"),
        Column("Evaluators", "num"),
        Column("Least evidence"),
        Column("More calls needed", "num"),
    ]
    cells = [
        [
            link_cell(links.umpire(row["umpire_id"])),
            *([Cell(row["level_title"])] if several else []),
            marked(READINGS[row["verdict"]], _READING_ORDER[row["verdict"]]),
            num(row["probability"], percent(row["probability"], 0)),
            Cell(AREAS.get(row["nearest_area"] or "", NOTHING)),
            num(row["nearest_estimate"], percent(row["nearest_estimate"])),
            num(row["nearest_cut"], percent(row["nearest_cut"])),
            num(row["calls"], count(row["calls"]), links.calls_of(row["umpire_id"])),
            num(row["games"], count(row["games"])),
            num(row["evaluators"], count(row["evaluators"])),
            Cell("seen" if row["evidence_ok"] else "lacking"),
            num(row["looks_needed"], count(row["looks_needed"])),
        ]
        for row in rows
    ]
    return Table(f"board-{key}", f"Readiness for {title}", columns, cells)


def _account_section(book: SeasonBook) -> Section:
    season = book.season
    lines = [
        ("Calls handed in", season["calls_in"], "rows on sheets of plate calls"),
        ("Set aside", season["calls_quarantined"], "each with its reason and remedy"),
        ("Accepted", season["calls_accepted"], "what all figures rest on"),
        ("– right", season["calls_right"], "every graded part agrees with the rules"),
        ("– wrong", season["calls_wrong"], "a graded part is against the rules"),
        ("– edge pitches", season["calls_edge"], "the measurement cannot decide: counted neither way"),
        ("– open", season["calls_open"], "facts are missing that decide: counted neither way"),
        ("– not graded", season["calls_not_graded"], "nothing noted to grade"),
    ]
    table = Table(
        "account",
        "What became of every call",
        [Column("Calls"), Column("Number", "num"), Column("What it means", "long")],
        [[Cell(name), num(value, count(value)), Cell(sentence(text))] for name, value, text in lines],
    )
    return Section(
        "calls",
        "The season's account",
        [table, Paragraph(["File by file: ", Link("data quality", "quality.html"), "."])],
        margin=["Handed in is set aside and accepted together; accepted is the five lines below it together."],
    )
