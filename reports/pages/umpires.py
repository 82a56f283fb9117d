"""One umpire's pages: the dossier of the site, and the packet that is his own."""

from __future__ import annotations

from collections.abc import Sequence

from reports.blocks import Block, Cell, Column, Inline, Ledger, Link, Page, Section, Table
from reports.book import Person, Row
from reports.links import SiteLinks, link_cell
from reports.pages.called_zone import umpire_zone
from reports.pages.looks import looks_section
from reports.pages.plays import chosen_plays, play_entry
from reports.pages.umpire_figures import OwnSections, UmpireRows
from reports.words import (
    CONSEQUENCES,
    NOTHING,
    READINGS,
    count,
    num,
    percent,
    plural,
)

_PLAYS = 6
"""Misruled plays told in full on the page; the others are on the pages of calls."""


def umpire_page(
    known: UmpireRows, own: OwnSections, person: Person, calls: Sequence[Row], links: SiteLinks, path: str
) -> Page:
    """Make the first page about one umpire, for the site or, with a packet's links, for himself."""
    sections = [
        own.standing,
        looks_section(known.looks, person.id, calls, links),
        own.rates,
        own.growth,
        own.boundary,
        umpire_zone(known.zones.get(person.id, []), known.zone_fit, private=links.private),
        _misrulings(known, person, calls, links),
        own.slot,
        own.quiz,
    ]
    trail = (
        [Link("Your letter", "index.html")] if links.private else [Link("Readiness board", f"{links.root}index.html")]
    )
    return Page(
        path=path,
        title=person.name,
        lead=_lead(known.readiness.get(person.id), links, known.rank.get(person.id), calls),
        sections=[section for section in sections if section is not None],
        trail=trail,
        nav=path if links.private else "index.html",
    )


def _lead(ready: Row | None, links: SiteLinks, rank: Row | None, calls: Sequence[Row]) -> list[Inline]:
    parts: list[Inline] = []
    if ready is None:
        parts.append("The policy names no level for this umpire's work, so no standard applies. ")
    else:
        word = READINGS[ready["verdict"]][0].lower()
        chance = (
            f"the chance of meeting every standard is {percent(ready['probability'], 0)}"
            if ready["probability"] is not None
            else "there is nothing to judge by yet"
        )
        parts.append(
            f"Now works {ready['level_title']}, judged for {ready['target_title']}. "
            f"Reading of the evidence: {word}; {chance}. "
        )
    if rank is not None and not links.private:
        parts.append(
            f"Place {rank['rank']} of the level, and truly somewhere from {rank['rank_low']} to {rank['rank_high']}. "
        )
    if calls:
        parts += [
            f"Every figure here goes back to {plural(len(calls), 'call')}: ",
            Link("all calls", "calls.html"),
            ".",
        ]
    if links.private:
        parts.append(" This packet is yours alone and names nobody else; what follows from it the committee decides.")
    return parts


def _misrulings(known: UmpireRows, person: Person, calls: Sequence[Row], links: SiteLinks) -> Section:
    examples: dict[str, list[Link]] = {}
    for call in calls:
        if call["misruling_code"]:
            link = links.call(call["call_id"])
            if isinstance(link, Link):
                examples.setdefault(call["misruling_code"], []).append(link)
    rows = []
    for row in known.book.umpire_misrulings.get(person.id, []):
        code = row["misruling_code"]
        about = known.misruling.get(code)
        title = about["title"] if about else code
        rows.append(
            [
                link_cell(links.misruling(code, title)),
                Cell(CONSEQUENCES[about["consequence"]] if about else NOTHING),
                num(row["times"], count(row["times"])),
                Cell("", links=tuple(examples.get(code, ())), sort=row["times"]),
            ]
        )
    table = Table(
        "own-misrulings",
        "Misrulings, most frequent first",
        [Column("Misruling"), Column("What it costs"), Column("Times", "num"), Column("Calls", "long")],
        rows,
        empty="No misruling was found among the graded calls.",
    )
    wrong = [call for call in calls if call["verdict"] == "wrong"]
    shown = chosen_plays(wrong, _PLAYS)
    blocks: list[Block] = [table]
    if shown:
        title = (
            "The plays themselves" if len(shown) == len(wrong) else f"{len(shown)} of the {len(wrong)} plays themselves"
        )
        blocks.append(
            Ledger("own-plays", title, [play_entry(f"own-{n}", call, links) for n, call in enumerate(shown, 1)])
        )
    return Section(
        "misrulings",
        "Misrulings",
        blocks,
        margin=["What was ruled in the place of what. Each call leads to the facts, the ruling and the rule."],
    )
