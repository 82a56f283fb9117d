"""What the side-by-side page fetches: an index of the levels, and a set of data for each."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from pipeline.config import AREAS
from reports.blocks import Link
from reports.book import Row, SeasonBook
from reports.data_scripts import data_address, data_name, packed_script
from reports.links import SiteLinks
from reports.words import AREAS as AREA_WORDS
from reports.words import CONSEQUENCES, READINGS

INDEX = "compare-index"


def compare_scripts(book: SeasonBook, links: SiteLinks) -> Iterator[tuple[str, bytes]]:
    """Yield name and content of the index and of each level's data.

    The index has the levels with their addresses, and the level of each umpire by the name of his folder. A level
    whose draws no page can hold is in the index without an address.
    """
    if not links.atlas.umpires:
        return
    levels: dict[str, list[Row]] = defaultdict(list)
    for row in book.rows("ranking"):
        if row["area_or_overall"] == "overall":
            levels[row["level"]].append(row)
    drawn = set()
    source = _Source(book, links)
    for level, rows in book.stream("order_draw", "level"):
        if level in levels and len(levels[level]) > 1:
            drawn.add(level)
            name = data_name("compare", level)
            yield name, source.packed(level, levels[level], rows, name)
    names = sorted((level for level, rows in levels.items() if len(rows) > 1), key=book.level_order)
    folders = links.atlas.umpire_folders
    yield (
        INDEX,
        packed_script(
            INDEX,
            {
                "levels": [
                    {
                        "id": level,
                        "title": book.level_title(level),
                        "source": data_address(data_name("compare", level)) if level in drawn else None,
                    }
                    for level in names
                ],
                "home": {folders[row["umpire_id"]]: place for place, level in enumerate(names) for row in levels[level]},
            },
        ),
    )


class _Source:
    """The tables that a level's data are taken from, read once."""

    def __init__(self, book: SeasonBook, links: SiteLinks) -> None:
        self.book, self.links = book, links
        self.readiness = {row["umpire_id"]: row for row in book.readiness}
        self.seen = book.by("umpire_evaluator", "umpire_id")
        self.titles = {row["misruling_code"]: row for row in book.misrulings}
        self.areas = {area: place for place, area in enumerate(("overall", *AREAS))}

    def packed(self, level: str, members: Sequence[Row], rows: Sequence[Row], name: str) -> bytes:
        """Return a level's data: header, then the places of each area, person by person in the header's order."""
        places = {(row["area"], row["umpire_id"]): row for row in rows}
        people = sorted(members, key=lambda row: (row["linked_group"] or 0, row["rank"], row["umpire_id"]))
        areas = [area for area in self.areas if any(row["area"] == area for row in rows)]
        made = sorted({one["misruling_code"] for row in people for one in self._misruled(row)})
        evaluators = sorted({one["evaluator_id"] for row in people for one in self.seen.get(row["umpire_id"], [])})
        header = {
            "level": level,
            "title": self.book.level_title(level),
            "certainty": self.book.policy.interval,
            "of": self.book.policy.draws,
            "areas": [self._area(area, rows) for area in areas],
            "order": list(self.areas),
            "titles": {area: AREA_WORDS[area] for area in self.areas},
            "readings": {verdict: words for verdict, (words, _) in READINGS.items()},
            "costs": CONSEQUENCES,
            "misrulings": [self._misruling(code) for code in made],
            "evaluators": [_named(self.links.evaluator(evaluator)) for evaluator in evaluators],
            "people": [
                self._person(
                    row,
                    areas,
                    places,
                    {code: place for place, code in enumerate(made)},
                    {one: place for place, one in enumerate(evaluators)},
                )
                for row in people
            ],
        }
        body = (
            places[area, row["umpire_id"]]["places"]
            for area in areas
            for row in people
            if (area, row["umpire_id"]) in places
        )
        return packed_script(name, header, body)

    def _misruled(self, row: Row) -> Sequence[Row]:
        found = self.book.umpire_misrulings.get(row["umpire_id"], [])
        return [one for one in found if one["misruling_code"] in self.titles]

    def _misruling(self, code: str) -> dict[str, Any]:
        row = self.titles[code]
        return {**_named(self.links.misruling(code, row["title"])), "cost": row["consequence"]}

    def _area(self, area: str, rows: Sequence[Row]) -> dict[str, Any]:
        own = next(row for row in rows if row["area"] == area)
        return {"id": area, "title": AREA_WORDS[area], "draws": own["draws"], "bytes": own["bytes_each"]}

    def _person(
        self,
        row: Row,
        areas: Sequence[str],
        places: Mapping[tuple[str, str], Row],
        made: Mapping[str, int],
        evaluators: Mapping[str, int],
    ) -> dict[str, Any]:
        umpire = row["umpire_id"]
        said = self.readiness.get(umpire)
        return {
            **_named(self.links.umpire(umpire)),
            "key": self.links.atlas.umpire_folders[umpire],
            "id": umpire,
            "callsHref": self.links.calls_of(umpire),
            "group": row["linked_group"],
            "place": [row["rank"], row["rank_low"], row["rank_high"]],
            "reading": None
            if said is None
            else {
                "target": said["target_title"],
                "verdict": said["verdict"],
                "chance": said["probability"],
                "games": said["games"],
                "calls": said["calls"],
                "evaluators": said["evaluators"],
            },
            # In each area: the linked group, or nothing where nothing was seen.
            "linked": {area: places[area, umpire]["linked_group"] for area in areas if (area, umpire) in places},
            "rates": {
                one["area"]: [one["adjusted_rate"], one["adjusted_low"], one["adjusted_high"], one["calls"]]
                for one in self.book.rates.get(umpire, [])
            },
            "standards": {
                one["area"]: [one["cut"], one["probability"] if one["holds"] != "no_evidence" else None]
                for one in self.book.standards.get(umpire, [])
            },
            "misrulings": [[made[one["misruling_code"]], one["times"]] for one in self._misruled(row)],
            "evaluators": [
                [evaluators[one["evaluator_id"]], one["calls"], one["games"]] for one in self.seen.get(umpire, [])
            ],
        }


def _named(link: Link | str) -> dict[str, Any]:
    return {"name": link.text, "href": link.href} if isinstance(link, Link) else {"name": link, "href": None}
