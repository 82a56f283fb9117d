"""Who saw an umpire, when, and what links him to others."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

from reports.blocks import Block, Cell, Column, Figure, Inline, Link, Paragraph, Section, Table
from reports.book import Row
from reports.figures.rows import Mark, RowChart, Series
from reports.links import SiteLinks, link_cell
from reports.words import count, day, num, plural

_MARGIN = (
    "Umpires can be held against each other only through evaluators who saw both, or a chain of such. What one evaluator "
    "alone saw cannot be told from that evaluator's severity."
)


class WhoSawWhom:
    """Looks by umpire, and by evaluator, from the rows of `umpire_evaluator`."""

    def __init__(self, rows: Sequence[Row]) -> None:
        self.of_umpire: dict[str, list[Row]] = {}
        self._seen_by: dict[str, set[str]] = {}
        for row in rows:
            self.of_umpire.setdefault(row["umpire_id"], []).append(row)
            self._seen_by.setdefault(row["evaluator_id"], set()).add(row["umpire_id"])

    def others_of(self, evaluator_id: str) -> int:
        """How many umpires an evaluator saw besides one."""
        return len(self._seen_by.get(evaluator_id, ())) - 1

    def linked(self, umpire_id: str) -> int:
        """How many other umpires share an evaluator with this one."""
        seen = set().union(*(self._seen_by[row["evaluator_id"]] for row in self.of_umpire.get(umpire_id, ())))
        return len(seen - {umpire_id})


def looks_section(who: WhoSawWhom, umpire_id: str, calls: Sequence[Row], links: SiteLinks) -> Section | None:
    """Return the evidence map of one umpire; nothing in a packet, which names nobody else, or where nobody looked."""
    rows = sorted(who.of_umpire.get(umpire_id, ()), key=lambda row: (-row["calls"], row["evaluator_id"]))
    if links.private or not rows:
        return None
    table = Table(
        "looks-by-evaluator",
        "Who saw this umpire",
        [
            Column("Evaluator"),
            Column("Games", "num"),
            Column("Calls", "num"),
            Column("First", "ref"),
            Column("Last", "ref"),
            Column("Other umpires seen", "num"),
        ],
        [
            [
                link_cell(links.evaluator(row["evaluator_id"])),
                num(row["games"], count(row["games"])),
                num(row["calls"], count(row["calls"])),
                Cell(day(row["first_on"])),
                Cell(day(row["last_on"])),
                num(others, count(others)),
            ]
            for row, others in ((row, who.others_of(row["evaluator_id"])) for row in rows)
        ],
    )
    title = (
        f"{plural(len(rows), 'evaluator')} saw {plural(len({call['game_id'] for call in calls}), 'game')}; through them "
        f"{plural(who.linked(umpire_id), 'other umpire')} can be held against this one directly."
    )
    blocks: list[Block] = [Figure("looks-map", title, _chart(rows, calls, links), table)]
    if len(rows) == 1:
        blocks.append(Paragraph(["Only one evaluator saw this umpire: every figure leans on what is known of that evaluator's severity."], tone="caution"))
    return Section("looks", "Who saw whom, and when", blocks, margin=[_MARGIN])


def _chart(rows: Sequence[Row], calls: Sequence[Row], links: SiteLinks) -> RowChart:
    place = {row["evaluator_id"]: at for at, row in enumerate(rows)}
    games: dict[tuple[str, dt.date, str], int] = {}
    for call in calls:
        key = call["evaluator_id"], call["game_on"], call["game_id"]
        games[key] = games.get(key, 0) + 1
    days = sorted({game_on.toordinal() for _, game_on, _ in games})
    low, high = days[0] - 3, days[-1] + 3
    names = [_text(links.evaluator(row["evaluator_id"])) for row in rows]
    marks = [
        Mark(place[evaluator], game_on.toordinal(), f"{names[place[evaluator]]}, {day(game_on)}, game {game}: {plural(number, 'call')}")
        for (evaluator, game_on, game), number in sorted(games.items())
        if evaluator in place
    ]
    return RowChart(
        labels=names,
        x_title="day of the game",
        x_low=low,
        x_high=high,
        ticks=[(tick.toordinal(), tick.isoformat()[5:]) for tick in _months(low, high)],
        series=[Series("", "circle", "accent", marks)],
        values=[plural(row["calls"], "call") for row in rows],
    )


def _months(low: int, high: int) -> list[dt.date]:
    """The first days of months between two days, six at most; both days themselves where there are fewer than two.

    The drawing script cannot place the label of a lone tick at the end of an axis.
    """
    first = dt.date.fromordinal(low)
    found = []
    year, month = first.year, first.month
    while (at := dt.date(year, month, 1)).toordinal() <= high:
        if at.toordinal() >= low:
            found.append(at)
        year, month = (year + 1, 1) if month == 12 else (year, month + 1)
    step = -(-len(found) // 6) or 1
    return found[::step] if len(found) > 1 else [first, dt.date.fromordinal(high)]


def _text(inline: Inline) -> str:
    return inline.text if isinstance(inline, Link) else inline
