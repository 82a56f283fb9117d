"""All calls of an umpire in short: how many of which, and where each stands in full."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from itertools import groupby
from operator import itemgetter

from pipeline.config import AREA_TITLES
from reports.blocks import Block, Cell, Column, Inline, Link, Section, Table
from reports.book import Row
from reports.links import SiteLinks, link_cell
from reports.naming import anchor, slug
from reports.parts import WHOLE, part_file
from reports.words import GRADE_ORDER, GRADES, NOTHING, count, day, num, plain_names, plural, topic

_GRADE_COLUMNS = [*(Column(GRADES[grade][0], "num") for grade in GRADE_ORDER), Column("All", "num")]


def summary_section(areas: Sequence[str], calls: Sequence[Row]) -> Section:
    """Return how many calls of which grade there are in each area, each number leading to them on the same page."""
    sizes = Counter((call["area"], call["verdict"]) for call in calls)
    rows = []
    for area in areas:
        row = [Cell(AREA_TITLES.get(area, area), href=f"#area-{slug(area)}")]
        for grade in GRADE_ORDER:
            size = sizes[area, grade]
            row.append(Cell(count(size), href=f"#{slug(area)}-{grade}" if size else None, sort=size))
        total = sum(sizes[area, grade] for grade in GRADE_ORDER)
        rows.append([*row, num(total, count(total))])
    table = Table(
        "summary-table",
        "Calls by area and grade",
        [Column("Area"), *_GRADE_COLUMNS],
        rows,
        empty="No call was accepted.",
    )
    margin = ["Edge pitches and open calls count neither for nor against anybody."]
    return Section("summary", "How many of which", [table], margin=margin)


def index_sections(areas: Sequence[str], parts: Sequence[tuple[int, Sequence[Row]]], links: SiteLinks) -> list[Section]:
    """Return the games and then, by area and grade, the calls, each leading to the page where it stands in full."""
    calls = [call for _, inside in parts for call in inside]
    by_area: dict[str, list[Row]] = {area: [] for area in areas}
    for call in calls:
        by_area[call["area"]].append(call)
    return [_games_section(parts), *(_area_section(area, found, links) for area, found in by_area.items())]


def _games_section(parts: Sequence[tuple[int, Sequence[Row]]]) -> Section:
    rows = []
    for number, inside in parts:
        for game, together in groupby(inside, key=itemgetter("game_id")):
            found = list(together)
            file, place = part_file(number), anchor("game", game)
            sizes = Counter(call["verdict"] for call in found)
            row = [Cell(day(found[0]["game_on"])), Cell(game, href=f"{file}#{place}")]
            for grade in GRADE_ORDER:
                size = sizes[grade]
                row.append(Cell(count(size), href=f"{file}#{place}-{grade}" if size else None, sort=size))
            rows.append([*row, num(len(found), count(len(found)))])
    table = Table("games-table", "Calls by game and grade", [Column("Day"), Column("Game"), *_GRADE_COLUMNS], rows)
    return Section("games", "Game by game", [table], margin=["A game leads to its calls in full."])


def _area_section(area: str, calls: Sequence[Row], links: SiteLinks) -> Section:
    blocks: list[Block] = []
    for grade in GRADE_ORDER:
        found = [call for call in calls if call["verdict"] == grade]
        if found:
            place, title = f"{slug(area)}-{grade}", f"{GRADES[grade][0]}: {plural(len(found), 'call')}"
            blocks.append(
                _by_game(place, title, found, links) if grade == "right" else _listed(place, title, found, links)
            )
    return Section(f"area-{slug(area)}", AREA_TITLES.get(area, area), blocks)


def _listed(place: str, title: str, calls: Sequence[Row], links: SiteLinks) -> Table:
    """Calls that were not right, one a row, with what was ruled in the place of what."""
    rows = [
        [
            link_cell(links.call(call["call_id"])),
            Cell(day(call["game_on"])),
            Cell(topic(call["topic"])),
            Cell(_what(call)),
        ]
        for call in calls
    ]
    return Table(place, title, [Column("Call"), Column("Day", "day"), Column("Topic"), Column("What", "long")], rows)


def _what(call: Row) -> str:
    if call["misruling_title"]:
        return str(call["misruling_title"])
    if call["needs"]:
        return f"not recorded: {plain_names(call['needs']).replace(';', ', ')}"
    return f"ruled {call['ruled_text']}" if call["ruled_text"] else NOTHING


def _by_game(place: str, title: str, calls: Sequence[Row], links: SiteLinks) -> Table:
    """Calls that were right, those of one game in one row."""
    rows = []
    for game, together in groupby(calls, key=itemgetter("game_id")):
        found = list(together)
        targets = [links.call(call["call_id"]) for call in found]
        rows.append(
            [
                Cell(game),
                Cell(day(found[0]["game_on"])),
                num(len(found), count(len(found))),
                Cell("", links=tuple(target for target in targets if isinstance(target, Link))),
            ]
        )
    return Table(place, title, [Column("Game"), Column("Day", "day"), Column("Right", "num"), Column("Calls", "long")], rows)


def ways(number: int, parts: int, whole: str) -> list[Inline]:
    """Return the ways from part `number` of `parts` to the parts beside it and, in the words `whole`, to the list of all."""
    found: list[Inline] = []
    if number > 1:
        found += [Link("Earlier games", part_file(number - 1)), ". "]
    if number < parts:
        found += [Link("Later games", part_file(number + 1)), ". "]
    return [*found, Link(whole, WHOLE), "."]
