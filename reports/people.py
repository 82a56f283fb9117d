"""The pages of umpires and evaluators: of each the part of the site, and the packet that is his own."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from reports.blocks import Page
from reports.book import Person, Row, SeasonBook
from reports.frame import Masthead
from reports.heads import packet_head, site_head
from reports.links import Atlas, PacketLinks, SiteLinks
from reports.pages.calls import calls_pages
from reports.pages.evaluator_calls import evaluator_calls_pages, list_files
from reports.pages.evaluator_letter import evaluator_letter
from reports.pages.evaluator_sheet import EvaluatorRows, evaluator_page
from reports.pages.letter import umpire_letter
from reports.pages.umpire_figures import OwnSections, UmpireRows
from reports.pages.umpires import umpire_page
from reports.paper import write_assets, write_page
from reports.parts import WHOLE, ledger_files


@dataclass(frozen=True)
class Share:
    """People whose pages are written together: ids that follow each other in the order of the store."""

    umpires: Sequence[str]
    evaluators: Sequence[str]


@dataclass(frozen=True)
class Written:
    """How many pages were written, and their bytes."""

    pages: int = 0
    bytes: int = 0

    def __add__(self, other: Written) -> Written:
        return Written(self.pages + other.pages, self.bytes + other.bytes)


def everybody(book: SeasonBook) -> Share:
    """Return all people as one share."""
    return Share([one.id for one in book.umpires], [one.id for one in book.evaluators])


class PeoplePages:
    """Writes the pages of a share of the people into the folders of the site and of the packets."""

    def __init__(self, book: SeasonBook, site: Path, packets: Path) -> None:
        self.book = book
        self.atlas = Atlas.of(book)
        self.site = site
        self.packets = packets
        self.umpire_rows = UmpireRows(book)
        self.evaluator_rows = EvaluatorRows(book)
        self.rules = {row["rule_id"]: row for row in book.rules}
        self.head = site_head(book)
        self.links = SiteLinks(self.atlas, "../../")
        self._pages = self._bytes = 0

    def write(self, share: Share) -> Written:
        """Write the pages of everybody in the share; return what was written."""
        self._pages = self._bytes = 0
        here = set(share.umpires)
        umpires = [one for one in self.book.umpires if one.id in here]
        for person, calls in self._with_calls("call", "umpire_id", umpires):
            self._umpire(person, calls)
        here = set(share.evaluators)
        evaluators = [one for one in self.book.evaluators if one.id in here]
        for person, calls in self._with_calls("evaluator_call", "evaluator_id", evaluators):
            self._evaluator(person, calls)
        return Written(self._pages, self._bytes)

    def _with_calls(self, name: str, key: str, people: Sequence[Person]) -> Iterator[tuple[Person, list[Row]]]:
        """Yield everybody with his calls, one at a time; those without a call come last."""
        if not people:
            return
        waiting = {person.id: person for person in people}
        bound: Mapping[str, Any] = {"first": people[0].id, "last": people[-1].id}
        for person_id, calls in self.book.stream(name, key, bound):
            yield waiting.pop(person_id), calls
        for person in waiting.values():
            yield person, []

    def _umpire(self, person: Person, calls: Sequence[Row]) -> None:
        folder = self.atlas.umpire_folders[person.id]
        rows, where = self.umpire_rows, f"umpires/{folder}"
        shared = OwnSections.of(rows, person, calls)
        self._write(self.site, umpire_page(rows, shared, person, calls, self.links, f"{where}/index.html"), self.head)
        for page in calls_pages(person, calls, self.links, f"{where}/"):
            self._write(self.site, page, self.head)
        own = self.packets / "umpires" / folder
        # Figures in packets are drawn without a script, so that a packet stays small enough to send.
        write_assets(own, with_plotly=False)
        head = packet_head(
            self.book, ("index.html", "Your letter"), ("figures.html", "The figures"), (WHOLE, "Your calls")
        )
        links = PacketLinks(self.atlas, "", person, ledger_files(calls), WHOLE)
        standards, named = self.book.standards.get(person.id, []), self.book.letter_points.get(person.id, [])
        season = self.book.season["title"] or "this season"
        letter = umpire_letter(person, rows.readiness.get(person.id), standards, named, calls, links, season)
        figures = umpire_page(rows, shared, person, calls, links, "figures.html")
        for page in (letter, figures, *calls_pages(person, calls, links, "", self._rules_of(calls))):
            self._write(own, page, head)

    def _evaluator(self, person: Person, calls: Sequence[Row]) -> None:
        folder = self.atlas.evaluator_folders[person.id]
        rows, where = self.evaluator_rows, f"evaluators/{folder}"
        sheets = rows.of(person, calls)
        self._write(self.site, evaluator_page(sheets, self.links, f"{where}/index.html"), self.head)
        for page in evaluator_calls_pages(person, calls, self.links, f"{where}/"):
            self._write(self.site, page, self.head)
        own = self.packets / "evaluators" / folder
        write_assets(own, with_plotly=False)
        head = packet_head(
            self.book, ("index.html", "Your letter"), ("figures.html", "The figures"), (WHOLE, "Every call")
        )
        links = PacketLinks(self.atlas, "", person, list_files(calls), "figures.html")
        rules = self._rules_of(sheets.misgrades)
        letter = evaluator_letter(sheets, links, rows.interval, rows.season, rules)
        figures = evaluator_page(sheets, links, "figures.html", rules)
        for page in (letter, figures, *evaluator_calls_pages(person, calls, links, "")):
            self._write(own, page, head)

    def _rules_of(self, rows: Sequence[Row]) -> list[Row]:
        """Return the rules that some rows name, by id."""
        named = {rule for row in rows for rule in (row["rule_ids"] or "").split(";")}
        return [self.rules[rule] for rule in sorted(named & self.rules.keys())]

    def _write(self, folder: Path, page: Page, head: Masthead) -> None:
        self._bytes += write_page(folder, page, head)
        self._pages += 1
