"""Two umpires of a level side by side: any two where scripts run, neighbours of the rankings without."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import groupby, pairwise

from reports.blocks import Block, Cell, Column, Inline, Link, Page, Paragraph, Section, Table, Tool
from reports.book import Row, SeasonBook
from reports.data_scripts import data_address
from reports.links import SiteLinks, link_cell, pair_anchor
from reports.long_lists import room
from reports.naming import slug
from reports.pages.compare_data import INDEX
from reports.words import count, interval, num, percent, plural

_MOST_PAIRS = 100
"""Pairs of one level; over all levels no more than `_ALL_PAIRS`, each of which takes some 600 bytes."""

_ALL_PAIRS = 300


def compare_page(book: SeasonBook, links: SiteLinks) -> Page:
    """Make `compare.html`."""
    ranked = sorted(
        (row for row in book.rows("ranking") if row["area_or_overall"] == "overall"),
        key=lambda row: (*book.level_order(row["level"]), row["linked_group"] or 0, row["rank"], row["umpire_id"]),
    )
    seen = book.by("umpire_evaluator", "umpire_id")
    sections = [
        Section(
            "choose",
            "Choose two umpires of one level",
            [
                Tool(
                    "compare",
                    "compare",
                    "Where scripts run, any two umpires of one level can be chosen here. Below stand the neighbours of the "
                    "rankings, which are the pairs that the evidence finds hardest to tell apart.",
                    data_address(INDEX),
                )
            ],
            margin=[
                "Chances come from the joint draws of the fitted rates: the share of draws in which the one is above the "
                "other, each under an average evaluator and the season's mix of situations. Umpires whom no chain of "
                "evaluators links are never compared."
            ],
        )
    ]
    levels = [(level, list(rows)) for level, rows in groupby(ranked, key=lambda row: row["level"])]
    most = min(_MOST_PAIRS, room([len(members) for _, members in levels], _ALL_PAIRS))
    for level, members in levels:
        if len(members) > 1:
            sections.append(_level_section(book, links, level, members, seen, most))
    if len(sections) == 1:
        nobody = Paragraph(["No two umpires of one level have a graded call, so there is nobody to compare."])
        sections = [Section("nobody", "Nobody to compare", [nobody])]
    return Page(
        path="compare.html",
        title="Two umpires side by side",
        lead=[
            "Who is ahead, and how sure is that? Rates, standards, misrulings and evidence of two umpires of one level, "
            "with the chance that the one is truly ahead of the other. A chance near one half is an answer too: the "
            "evidence does not tell them apart, and the choice needs other reasons or more looks."
        ],
        sections=sections,
        nav="compare.html",
        scripts=("draws.js", "compare.js") if len(sections) > 1 else (),
    )


def _level_section(
    book: SeasonBook, links: SiteLinks, level: str, members: Sequence[Row], seen: dict[str, list[Row]], most: int
) -> Section:
    pairs = [
        (one, other)
        for one, other in pairwise(members)
        if one["linked_group"] == other["linked_group"] and one["p_ahead_of_next"] is not None
    ]
    told = [pair for pair in pairs if pair[0]["p_ahead_of_next"] >= book.policy.interval]
    shown = pairs[:most]
    blocks: list[Block] = []
    groups = len({row["linked_group"] for row in members})
    if groups > 1:
        blocks.append(
            Paragraph(
                [
                    f"These umpires fall into {groups} groups that no evaluator links: pairs across groups are not shown, "
                    "because nothing tells a stronger group from more lenient evaluators."
                ],
                tone="caution",
            )
        )
    blocks.append(_pair_table(book, links, level, shown, seen))
    if len(pairs) > len(shown):
        text = f"These are the first {count(len(shown))} of {count(len(pairs))} pairs; all stand in the "
        blocks.append(Paragraph([text, Link("rankings", "rankings.html"), "."]))
    title = book.level_title(level)
    sure = percent(book.policy.interval, 0)
    if not told:
        said = f"no neighbours are told apart with {sure} sureness"
    else:
        verb = "is" if len(told) == 1 else "are"
        said = f"{count(len(told))} of {plural(len(pairs), 'pair')} of neighbours {verb} told apart with {sure} sureness"
    return Section(
        f"pairs-{slug(level)}",
        f"{title}: {said}",
        blocks,
    )


def _pair_table(
    book: SeasonBook,
    links: SiteLinks,
    level: str,
    pairs: Sequence[tuple[Row, Row]],
    seen: dict[str, list[Row]],
) -> Table:
    folders = links.atlas.umpire_folders
    return Table(
        f"neighbours-{slug(level)}",
        f"Neighbours in the ranking: {book.level_title(level)}",
        [
            Column("Ahead in the list"),
            Column("Next"),
            Column("Chance ahead", "num"),
            Column("Adjusted rate", "num"),
            Column("Interval", "num"),
            Column("Of the next", "num"),
            Column("Interval", "num"),
            Column("Evaluators of both", "long"),
        ],
        [
            [
                link_cell(links.umpire(one["umpire_id"])),
                link_cell(links.umpire(other["umpire_id"])),
                num(
                    one["p_ahead_of_next"],
                    percent(one["p_ahead_of_next"], 0),
                    links.compare(one["umpire_id"], other["umpire_id"]),
                ),
                num(one["adjusted_rate"], percent(one["adjusted_rate"])),
                Cell(interval(one["low"], one["high"]), sort=one["low"]),
                num(other["adjusted_rate"], percent(other["adjusted_rate"])),
                Cell(interval(other["low"], other["high"]), sort=other["low"]),
                _evaluators_of_both(links, seen.get(one["umpire_id"], []), seen.get(other["umpire_id"], [])),
            ]
            for one, other in pairs
        ],
        row_ids=[pair_anchor(folders[one["umpire_id"]], folders[other["umpire_id"]]) for one, other in pairs],
    )


def _evaluators_of_both(links: SiteLinks, first: Sequence[Row], second: Sequence[Row]) -> Cell:
    both = {row["evaluator_id"] for row in second}
    parts: list[Inline] = []
    for row in first:
        if row["evaluator_id"] in both:
            parts += [", " if parts else "", links.evaluator(row["evaluator_id"])]
    return Cell("", parts=tuple(parts)) if parts else Cell("none: linked through others")
