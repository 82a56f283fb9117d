"""Build the committee's site and everybody's own packet from the published tables."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from pipeline.config import RunConfig
from pipeline.store import StepResult, Store, replaced_folder
from reports.blocks import Link, Page
from reports.book import Person, Row, SeasonBook
from reports.links import Atlas, PacketLinks, SiteLinks
from reports.pages.board import board_page
from reports.pages.calls import calls_page
from reports.pages.dictionary import dictionary_page
from reports.pages.evaluators import evaluator_page, evaluators_page
from reports.pages.method import method_page
from reports.pages.misrulings import misrulings_page
from reports.pages.quality import quality_page
from reports.pages.quiz import quiz_page
from reports.pages.rankings import rankings_page
from reports.pages.rules import rules_page
from reports.pages.umpires import UmpireRows, umpire_page
from reports.paper import Masthead, write_assets, write_page

NAV = (
    ("index.html", "Readiness"),
    ("rankings.html", "Rankings"),
    ("misrulings.html", "Misrulings and clinics"),
    ("evaluators.html", "Evaluators"),
    ("quiz.html", "Quiz"),
    ("quality.html", "Data quality"),
    ("rules.html", "Rules"),
    ("dictionary.html", "Dictionary"),
    ("method.html", "Method and limits"),
)

_CAUTION = "The committee decides; these pages show what the evidence carries and how far. Local codes and medical advice prevail."


class _Builder:
    """Writes pages one by one and counts them."""

    def __init__(self, config: RunConfig, store: Store) -> None:
        self.book = SeasonBook(config.policy, store)
        self.atlas = Atlas.of(self.book)
        self.umpire_rows = UmpireRows(self.book)
        self.evaluator_rows = {row["evaluator_id"]: row for row in self.book.rows("evaluator")}
        self.rules = {row["rule_id"]: row for row in self.book.rules}
        self.pages = 0
        self.bytes = 0

    def masthead(self, strapline: str, nav: Sequence[tuple[str, Link]], *, has_plotly: bool) -> Masthead:
        season = self.book.season
        foot = [_CAUTION, f"Made with {season['generated_by']}."]
        return Masthead(season["association"] or "", season["title"] or "", strapline, nav, foot, has_plotly)

    def site(self, folder: Path) -> None:
        """Write the committee's pages."""
        nav = [(key, Link(text, key)) for key, text in NAV]
        head = self.masthead("for the committee", nav, has_plotly=True)
        write_assets(folder, with_plotly=True)
        top = SiteLinks(self.atlas, "")
        for page in (
            board_page(self.book, top),
            rankings_page(self.book, top),
            misrulings_page(self.book, top),
            evaluators_page(self.book, top),
            quiz_page(self.book, top),
            quality_page(self.book, top),
            rules_page(self.book),
            dictionary_page(),
            method_page(self.book),
        ):
            self._write(folder, page, head)
        calls_of = dict(self.book.stream("call", "umpire_id"))
        deep = SiteLinks(self.atlas, "../../")
        for person in self.book.umpires:
            where = f"umpires/{self.atlas.umpire_folders[person.id]}"
            calls = calls_of.get(person.id, [])
            self._write(folder, umpire_page(self.umpire_rows, person, calls, deep, f"{where}/index.html"), head)
            self._write(folder, calls_page(person, calls, deep, f"{where}/calls.html"), head)
        sheets = dict(self.book.stream("evaluator_call", "evaluator_id"))
        for person in self.book.evaluators:
            where = f"evaluators/{self.atlas.evaluator_folders[person.id]}"
            row = self.evaluator_rows.get(person.id)
            page = evaluator_page(self.book, person, row, sheets.get(person.id, []), deep, f"{where}/index.html")
            self._write(folder, page, head)

    def packets(self, folder: Path) -> None:
        """Write one folder for each umpire and evaluator, with nothing of anybody else in it."""
        for umpire_id, calls in self.book.stream("call", "umpire_id"):
            person = next((one for one in self.book.umpires if one.id == umpire_id), None)
            if person is not None:
                self._umpire_packet(folder / "umpires" / self.atlas.umpire_folders[umpire_id], person, calls)
        seen = set(self.atlas.call_homes.values())
        for person in self.book.umpires:
            if person.id not in seen:
                self._umpire_packet(folder / "umpires" / self.atlas.umpire_folders[person.id], person, [])
        sheets = dict(self.book.stream("evaluator_call", "evaluator_id"))
        for person in self.book.evaluators:
            own = folder / "evaluators" / self.atlas.evaluator_folders[person.id]
            links = PacketLinks(self.atlas, "", person, frozenset(), "index.html")
            head = self.masthead("your own sheet", [], has_plotly=False)
            write_assets(own, with_plotly=False)
            row = self.evaluator_rows.get(person.id)
            self._write(
                own, evaluator_page(self.book, person, row, sheets.get(person.id, []), links, "index.html"), head
            )

    def _umpire_packet(self, own: Path, person: Person, calls: Sequence[Row]) -> None:
        head = self.masthead(
            "your own pages",
            [("index.html", Link("Your season", "index.html")), ("calls.html", Link("Your calls", "calls.html"))],
            has_plotly=False,
        )
        # Figures in packets are drawn without a script, so that a packet stays small enough to send.
        links = PacketLinks(self.atlas, "", person, frozenset(call["call_id"] for call in calls), "calls.html")
        used = sorted({rule for call in calls for rule in (call["rule_ids"] or "").split(";") if rule in self.rules})
        write_assets(own, with_plotly=False)
        self._write(own, umpire_page(self.umpire_rows, person, calls, links, "index.html"), head)
        self._write(own, calls_page(person, calls, links, "calls.html", [self.rules[rule] for rule in used]), head)

    def _write(self, folder: Path, page: Page, head: Masthead) -> None:

        self.bytes += write_page(folder, page, head)
        self.pages += 1


def build_site(config: RunConfig, store: Store) -> StepResult:
    """Write `OUT/site` and `OUT/packets`; each takes the place of the former one whole."""
    builder = _Builder(config, store)
    with replaced_folder(config.out / "site") as folder:
        builder.site(folder)
    with replaced_folder(config.out / "packets") as folder:
        builder.packets(folder)
    calls = int(builder.book.season["calls_accepted"] or 0)
    return StepResult("report", calls, builder.pages, notes={"kilobytes": builder.bytes // 1024})
