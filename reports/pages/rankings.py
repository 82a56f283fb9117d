"""Rankings: the adjusted order of each level, with how little or much of it the evidence carries."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import groupby

from reports.blocks import Block, Cell, Column, Figure, Page, Paragraph, Section, Table
from reports.book import Row, SeasonBook
from reports.figures.charts import ranking_chart
from reports.links import SiteLinks, link_cell
from reports.naming import slug
from reports.words import AREAS, count, interval, num, percent


def rankings_page(book: SeasonBook, links: SiteLinks) -> Page:
    """Make `rankings.html`."""
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
    sections = [
        _section(book, links, *key, list(group))
        for key, group in groupby(rows, key=lambda row: (row["level"], row["area_or_overall"], row["linked_group"]))
    ]
    if not sections:
        sections = [Section("none", "No ranking", [Paragraph(["Nobody has a graded call."])])]
    return Page(
        path="rankings.html",
        title="Rankings",
        lead=[
            "Umpires of one level in order of their adjusted rate: under an average evaluator and the season's mix "
            "of situations. The places are less certain than they look; each comes with the range it may truly have."
        ],
        sections=sections,
        nav="rankings.html",
    )


def _section(
    book: SeasonBook, links: SiteLinks, level: str, area: str, linked: int | None, rows: Sequence[Row]
) -> Section:
    key = "-".join(slug(str(part)) for part in (level, area, linked or 0))
    title = book.level_title(level)
    if area != "overall":
        title += f": {AREAS.get(area, area)}"
    several = linked is not None and linked > 1
    if several:
        title += f", linked group {linked}"
    ties = len({row["tie_group"] for row in rows})
    if len(rows) == 1:
        told = f"{rows[0]['name']} is alone in this list."
    elif ties == 1:
        told = f"The evidence cannot tell these {len(rows)} umpires apart."
    else:
        told = f"The evidence parts these {len(rows)} umpires into {ties} groups; within one, order is chance."
    blocks: list[Block] = []
    if several:
        text = "No evaluator connects these umpires with those of the other groups: the lists cannot be joined."
        blocks.append(Paragraph([text], tone="caution"))
    blocks.append(Figure(f"ranking-{key}", told, ranking_chart(rows), _table(links, key, title, rows)))
    return Section(
        f"rank-{key}",
        title,
        blocks,
        margin=[
            "Umpires with the same group number cannot be told from the group's leader at the policy's certainty. "
            "The raw rate stands beside for comparison and ranks nobody."
        ],
    )


def _table(links: SiteLinks, key: str, title: str, rows: Sequence[Row]) -> Table:
    columns = [
        Column("Umpire"),
        Column("Place", "num"),
        Column("Place may be", "num"),
        Column("Group", "num"),
        Column("Adjusted rate", "num"),
        Column("Interval", "num"),
        Column("Raw rate", "num"),
        Column("Chance ahead of the next", "num"),
    ]
    cells = [
        [
            link_cell(links.umpire(row["umpire_id"])),
            num(row["rank"], count(row["rank"])),
            Cell(f"{row['rank_low']} to {row['rank_high']}", sort=row["rank_low"]),
            num(row["tie_group"], count(row["tie_group"])),
            num(row["adjusted_rate"], percent(row["adjusted_rate"])),
            Cell(interval(row["low"], row["high"]), sort=row["low"]),
            num(row["raw_rate"], percent(row["raw_rate"]), links.calls_of(row["umpire_id"])),
            num(row["p_ahead_of_next"], percent(row["p_ahead_of_next"], 0)),
        ]
        for row in rows
    ]
    return Table(f"ranks-{key}", f"Ranking: {title}", columns, cells)
