"""The list of every call that one evaluator wrote down, parted by games where it is long."""

from __future__ import annotations

import datetime as dt
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from functools import lru_cache
from itertools import groupby
from operator import itemgetter

from reports.blocks import Cell, Column, Inline, Link, Page, Section, Table
from reports.book import Person, Row
from reports.drawing import cells_html, row_of
from reports.links import SiteLinks, link_cell
from reports.naming import anchor
from reports.pages.call_index import ways
from reports.parts import WHOLE, in_parts, part_file, part_files
from reports.words import GRADE_ORDER, GRADES, NOTHING, count, day, marked, num, percent, plain_names, plural, topic

LIST_CALLS = 480
"""Calls on one page: a row of the site's list takes some 560 bytes."""

_MARGIN = "A dash: no grade was written, or nothing to compare. Open calls and edge pitches are compared with nothing."


def list_files(calls: Sequence[Row]) -> Mapping[str, str]:
    """Return the file of each call of one evaluator's list, by its id; the calls are in the list's order."""
    files = part_files([call["game_id"] for call in calls], LIST_CALLS)
    return {call["call_id"]: file for call, file in zip(calls, files, strict=True)}


def evaluator_calls_pages(person: Person, calls: Sequence[Row], links: SiteLinks, folder: str) -> Iterator[Page]:
    """Yield the pages of the list; `folder` is where they lie, empty or ending in a slash.

    A short list is one page. Of a long one the first page lists the games, each leading to its calls.
    """
    first = "figures.html" if links.private else "index.html"
    trail = [Link("The figures" if links.private else f"Sheets of {person.name}", first)]
    if not links.private:
        trail.insert(0, Link("Evaluators", f"{links.root}evaluators.html"))
    nav = WHOLE if links.private else "evaluators.html"
    parts = list(in_parts(calls, LIST_CALLS))
    title = f"Calls written down by {person.name}"
    lead = f"{plural(len(calls), 'accepted call')} of these sheets: what the rules make of each, and the grade that was written."
    if len(parts) < 2:
        sections = [Section("calls", "Every call", [_table("all-calls", "Calls in the order of the sheets", calls, links)],
                            margin=[_MARGIN])]  # fmt: skip
        yield Page(f"{folder}{WHOLE}", title, [lead], sections, trail, nav)
        return
    games = [Section("games", "Game by game", [_games(parts)], margin=["A game leads to its calls, one by one."])]
    yield Page(f"{folder}{WHOLE}", title, [lead], games, trail, nav)
    for number, inside in parts:
        yield Page(
            f"{folder}{part_file(number)}",
            f"{title}, part {number} of {len(parts)}",
            _part_lead(number, len(parts), inside),
            [_game_section(game, found, links, place) for game, found, place in _placed(inside)],
            [*trail, Link("All games", WHOLE)],
            nav,
        )


def _placed(calls: Sequence[Row]) -> Iterator[tuple[str, list[Row], str]]:
    """Yield each run of calls of one game with an anchor of its own: a sheet may come back to a game."""
    seen: Counter[str] = Counter()
    for game, together in groupby(calls, key=itemgetter("game_id")):
        seen[game] += 1
        place = anchor("game", game)
        yield game, list(together), place if seen[game] == 1 else f"{place}-again-{seen[game]}"


def _games(parts: Sequence[tuple[int, Sequence[Row]]]) -> Table:
    rows = []
    for number, inside in parts:
        for game, found, place in _placed(inside):
            sizes = Counter(call["verdict"] for call in found)
            compared = [call for call in found if call["evaluator_agrees"] is not None]
            against = sum(not call["evaluator_agrees"] for call in compared)
            rows.append(
                [
                    Cell(day(found[0]["game_on"])),
                    Cell(game, href=f"{part_file(number)}#{place}"),
                    num(len(found), count(len(found))),
                    *(num(sizes[grade], count(sizes[grade])) for grade in GRADE_ORDER),
                    num(len(compared), count(len(compared))),
                    num(against, count(against)),
                    num(1 - against / len(compared) if compared else None,
                        percent(1 - against / len(compared) if compared else None)),
                ]
            )  # fmt: skip
    return Table(
        "games-table",
        "Calls by game: what the rules make of them, and how many grades were against the rules",
        [Column("Day"), Column("Game"), Column("Calls", "num"), *(Column(GRADES[grade][0], "num") for grade in GRADE_ORDER),
         Column("Grades compared", "num"), Column("Against the rules", "num"), Column("Agree", "num")],
        rows,
    )  # fmt: skip


def _part_lead(number: int, parts: int, calls: Sequence[Row]) -> list[Inline]:
    games = len({call["game_id"] for call in calls})
    lead = [f"{plural(games, 'game')}, {plural(len(calls), 'call')}, in the order of the sheets. "]
    return [*lead, *ways(number, parts, "All games")]


def _game_section(game: str, calls: Sequence[Row], links: SiteLinks, place: str) -> Section:
    caption = f"{plural(len(calls), 'call')} of game {game}"
    return Section(place, f"{day(calls[0]['game_on'])}, game {game}", [_table(f"{place}-calls", caption, calls, links)])


_CALL, _UMPIRE, _DAY = [Column("Call")], [Column("Umpire")], [Column("Day", "day")]
_JUDGED = [Column("Topic"), Column("By the rules"), Column("Missing fact"), Column("Written"), Column("Agrees")]
_LINE = [Column("Sheet line", "num")]


def _table(table_id: str, caption: str, calls: Sequence[Row], links: SiteLinks) -> Table:
    """Return the table of some calls. Its rows are put together of ready pieces: a large association has millions."""
    columns = [*_CALL, *([] if links.private else _UMPIRE), *_DAY, *_JUDGED, *_LINE]
    umpires: dict[str, str] = {}
    rows = []
    for call in calls:
        call_id, umpire = call["call_id"], call["umpire_id"]
        if links.private:
            # Within a packet the row is the call's own entry, so that it leads nowhere.
            whose = ""
            first = cells_html([Cell(call_id)], _CALL, first=True)
        else:
            # In the site the entry stands with the umpire's calls; a packet has no other place for it.
            if umpire not in umpires:
                umpires[umpire] = cells_html([link_cell(links.umpire(umpire))], _UMPIRE)
            whose = umpires[umpire]
            first = cells_html([link_cell(links.call(call_id))], _CALL, first=True)
        needs = call["needs"] if call["verdict"] == "open" else None
        cells = [
            first,
            whose,
            _day_cell(call["game_on"]),
            _judged_cells(call["topic"], call["verdict"], needs, call["evaluator_grade"], call["evaluator_agrees"]),
            cells_html([num(call["line_no"], count(call["line_no"]))], _LINE),
        ]
        rows.append(row_of(cells, anchor("call", call_id) if links.private else None))
    return Table(table_id, caption, columns, (), empty="No call was accepted.", ready=rows)


@lru_cache(maxsize=1024)
def _day_cell(on: dt.date | None) -> str:
    return cells_html([Cell(day(on))], _DAY)


@lru_cache(maxsize=4096)
def _judged_cells(what: str, verdict: str, needs: str | None, written: str | None, agrees: bool | None) -> str:
    """Return what the rules make of a call, and what was written: thousands of calls share the same."""
    cells = [
        Cell(topic(what)),
        marked(GRADES[verdict]) if verdict in GRADES else Cell(verdict),
        Cell(plain_names(needs).replace(";", ", ") if needs else NOTHING),
        Cell(plain_names(written or NOTHING)),
        Cell(NOTHING if agrees is None else "yes" if agrees else "no"),
    ]
    return cells_html(cells, _JUDGED)
