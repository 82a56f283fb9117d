"""Misrulings: how often, how widely, at what cost, and where they are made."""

from __future__ import annotations

from collections.abc import Sequence

from reports.blocks import Cell, Column, Entry, Figure, Inline, Ledger, Link, Page, Section, Table
from reports.book import Row, SeasonBook
from reports.figures.charts import clinic_chart
from reports.links import SiteLinks, link_cell
from reports.long_lists import LongLists
from reports.naming import anchor
from reports.pages.misruling_map import map_section
from reports.pages.patterns import patterns_section
from reports.words import AREAS, CONSEQUENCES, count, interval, num, number, percent, plural, sentence

DRAWN = 15

NAMED = 50
"""Umpires who made a misruling are all named beside it up to this number; of more, the first `FIRST`."""

FIRST = 20


def misrulings_page(book: SeasonBook, links: SiteLinks, lists: LongLists) -> Page:
    """Make `misrulings.html`; the names of too many who made a misruling are handed to `lists`."""
    rows = book.misrulings
    sections = [_targets(rows)]
    if rows:
        sections += [
            map_section(book, links),
            patterns_section(book, links),
            _levels(book, rows),
            _entries(book, rows, links, lists),
        ]
    return Page(
        path="misrulings.html",
        title="Misrulings",
        lead=[
            "What was ruled in the place of what: how often, how widely, at what cost, and at which level. What to teach, and "
            "whom to invite, stands under ",
            Link("Clinics", f"{links.root}clinics.html"),
            ".",
        ],
        sections=sections,
        nav="misrulings.html",
    )


def _targets(rows: Sequence[Row]) -> Section:
    table = Table(
        "misruling-table",
        "All misrulings of the season",
        [
            Column("Misruling", "long"),
            Column("Area"),
            Column("What it costs"),
            Column("Score", "num"),
            Column("Times", "num"),
            Column("Chances", "num"),
            Column("Rate", "num"),
            Column("Interval", "num"),
            Column("Umpires", "num"),
            Column("Share of umpires", "num"),
        ],
        [
            [
                Cell(row["title"], href=f"#{anchor('m', row['misruling_code'])}"),
                Cell(AREAS.get(row["area"], str(row["area"]))),
                Cell(CONSEQUENCES[row["consequence"]], sort=row["consequence_weight"]),
                num(row["clinic_score"], number(row["clinic_score"], 1)),
                num(row["times"], count(row["times"])),
                num(row["chances"], count(row["chances"])),
                num(row["rate"], percent(row["rate"])),
                Cell(interval(row["rate_low"], row["rate_high"]), sort=row["rate_low"]),
                num(row["umpires"], count(row["umpires"])),
                num(row["umpire_share"], percent(row["umpire_share"], 0)),
            ]
            for row in rows
        ],
        empty="No misruling was found among the graded calls.",
    )
    if not rows:
        return Section("targets", "How often, and at what cost", [table])
    first = rows[0]
    title = (
        f"What happens often, to many, at a cost: {first['title']} "
        f"({plural(first['times'], 'time')}, {plural(first['umpires'], 'umpire')})."
    )
    note = f"The {DRAWN} with the highest scores; the table has all {len(rows)}." if len(rows) > DRAWN else ""
    return Section(
        "targets",
        "How often, and at what cost",
        [Figure("clinic", title, clinic_chart(rows[:DRAWN]), table, note=note)],
        margin=[
            "The score is times, weighted by what it costs (the policy's weights: a base, an out or a safety duty above a ball "
            "or strike) and by the share of umpires who made it. A rate from few chances has a wide interval: look at it first."
        ],
    )


def _levels(book: SeasonBook, rows: Sequence[Row]) -> Section:
    found = {(row["level"], row["misruling_code"]): row for row in book.rows("level_misruling")}
    levels = sorted({level for level, _ in found}, key=book.level_order)
    columns = [Column("Misruling", "long"), *(Column(book.level_title(level), "num") for level in levels)]
    cells = []
    for row in rows:
        line = [Cell(row["title"], href=f"#{anchor('m', row['misruling_code'])}")]
        for level in levels:
            here = found.get((level, row["misruling_code"]))
            line.append(
                Cell(f"{count(here['times'])} of {count(here['chances'])}", sort=here["times"]) if here else Cell("–")
            )
        cells.append(line)
    table = Table("misruling-levels", "Times of chances, by the level that the umpire now works", columns, cells)
    return Section(
        "levels", "Each by level", [table], margin=["Where a misruling is made, so that a clinic meets the right people."]
    )


def _entries(book: SeasonBook, rows: Sequence[Row], links: SiteLinks, lists: LongLists) -> Section:
    makers: dict[str, list[Row]] = {}
    for rows_of_one in book.umpire_misrulings.values():
        for row in rows_of_one:
            makers.setdefault(row["misruling_code"], []).append(row)
    entries = []
    for row in rows:
        lines: list[tuple[str, Sequence[Inline]]] = []
        if row["explanation"]:
            lines.append(("Right", [sentence(row["explanation"])]))
        if row["rule_refs"]:
            lines.append(("Rules", [row["rule_refs"]]))
        examples = [links.call(call) for call in (row["example_call_ids"] or "").split(";") if call]
        if examples:
            lines.append(("Examples", _joined(examples)))
        made = sorted(makers.get(row["misruling_code"], []), key=lambda one: (-one["times"], one["umpire_id"]))
        who: list[Inline] = []
        for one in made if len(made) <= NAMED else made[:FIRST]:
            who += [", "] if who else []
            who += [links.umpire(one["umpire_id"]), f" {one['times']}"]
        if len(made) > NAMED:
            who += [" and others: ", Link(f"all {count(len(made))}", _all_makers(row, made, links, lists))]
        if who:
            lines.append(("Made by", who))
        entries.append(
            Entry(
                anchor("m", row["misruling_code"]),
                row["title"],
                None,
                f"costs {CONSEQUENCES[row['consequence']]}",
                lines,
                [
                    f"{plural(row['times'], 'time')} in {plural(row['chances'], 'chance')}; score {number(row['clinic_score'], 1)}."
                ],
            )
        )
    return Section(
        "each",
        "Each misruling",
        [Ledger("each-ledger", "What is right, and who to teach", entries)],
        margin=["Names are for inviting people to a clinic, not for a list of faults."],
    )


def _all_makers(row: Row, made: Sequence[Row], links: SiteLinks, lists: LongLists) -> str:
    """Hand everybody who made a misruling to `lists`; return the address of the list."""
    place = anchor("m", row["misruling_code"])
    table = Table(
        f"made-{place}",
        f"Made by: {row['title']}",
        [Column("Umpire"), Column("Times", "num")],
        [[link_cell(links.umpire(one["umpire_id"])), num(one["times"], count(one["times"]))] for one in made],
    )
    return lists.add(table, f"Made by: {row['title']}", Link("Misrulings", f"misrulings.html#{place}"), "misrulings.html")


def _joined(parts: Sequence[Link | str]) -> list[Inline]:
    out: list[Inline] = []
    for part in parts:
        out += [", "] if out else []
        out.append(part)
    return out
