"""Build the committee's site and everybody's own packet from the published tables."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path

from pipeline.config import RunConfig
from pipeline.store import StepResult, Store, replaced_folder
from reports.blocks import Link, Page
from reports.book import Person, Row, SeasonBook
from reports.data_scripts import write_data
from reports.links import Atlas, PacketLinks, SiteLinks
from reports.pages.board import board_page
from reports.pages.called_zone import called_zone_page
from reports.pages.calls import calls_pages
from reports.pages.clinic_sheets import clinic_sheets
from reports.pages.clinics import clinics_page
from reports.pages.compare import compare_page
from reports.pages.compare_data import compare_scripts
from reports.pages.decisions import decision_pages
from reports.pages.dependability import dependability_page
from reports.pages.dictionary import dictionary_pages
from reports.pages.evaluator_calls import evaluator_calls_pages, list_files
from reports.pages.evaluator_letter import evaluator_letter
from reports.pages.evaluator_sheet import EvaluatorRows, evaluator_page
from reports.pages.evaluators import evaluators_page
from reports.pages.letter import umpire_letter
from reports.pages.method import method_page
from reports.pages.misrulings import misrulings_page
from reports.pages.quality import quality_page
from reports.pages.quality_checks import checks_page
from reports.pages.quiz import quiz_page
from reports.pages.rankings import rankings_page
from reports.pages.rules import rule_pages
from reports.pages.standards import standards_page, trial_scripts
from reports.pages.umpires import UmpireRows, umpire_page
from reports.pages.validity import validity_page
from reports.paper import Masthead, write_assets, write_page
from reports.parts import WHOLE, ledger_files

NAV = (
    ("index.html", "Readiness"),
    ("standards.html", "What if"),
    ("rankings.html", "Rankings"),
    ("compare.html", "Side by side"),
    ("decisions.html", "Decisions"),
    ("misrulings.html", "Misrulings"),
    ("clinics.html", "Clinics"),
    ("zone.html", "Called zone"),
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
        self.evaluator_rows = EvaluatorRows(self.book)
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
            standards_page(self.book, top),
            rankings_page(self.book, top),
            compare_page(self.book, top),
            misrulings_page(self.book, top),
            clinics_page(self.book, top),
            *decision_pages(self.book, top, SiteLinks(self.atlas, "../")),
            called_zone_page(self.book, top),
            evaluators_page(self.book, top),
            quiz_page(self.book, top),
            quality_page(self.book, top),
            checks_page(self.book.rows("check"), top),
            *rule_pages(self.book, self.atlas),
            *dictionary_pages(),
            method_page(self.book),
            validity_page(),
            dependability_page(self.book),
        ):
            self._write(folder, page, head)
        # What the class gets leads nowhere: nobody's name is one step away.
        bare = self.masthead("clinic", [], has_plotly=False)
        for page, for_anybody in clinic_sheets(self.book, SiteLinks(self.atlas, "../")):
            self._write(folder, page, bare if for_anybody else head)
        for name, content in (*trial_scripts(self.book, top), *compare_scripts(self.book, top)):
            self.bytes += write_data(folder, name, content)
        deep = SiteLinks(self.atlas, "../../")
        for person, calls in self._with_calls("call", "umpire_id", self.book.umpires):
            where = f"umpires/{self.atlas.umpire_folders[person.id]}"
            self._write(folder, umpire_page(self.umpire_rows, person, calls, deep, f"{where}/index.html"), head)
            for page in calls_pages(person, calls, deep, f"{where}/"):
                self._write(folder, page, head)
        for person, calls in self._with_calls("evaluator_call", "evaluator_id", self.book.evaluators):
            where = f"evaluators/{self.atlas.evaluator_folders[person.id]}"
            sheets = self.evaluator_rows.of(person, calls)
            self._write(folder, evaluator_page(sheets, deep, f"{where}/index.html"), head)
            for page in evaluator_calls_pages(person, calls, deep, f"{where}/"):
                self._write(folder, page, head)

    def packets(self, folder: Path) -> None:
        """Write one folder for each umpire and evaluator, with nothing of anybody else in it."""
        # Figures in packets are drawn without a script, so that a packet stays small enough to send.
        for person, calls in self._with_calls("call", "umpire_id", self.book.umpires):
            self._umpire_packet(folder / "umpires" / self.atlas.umpire_folders[person.id], person, calls)
        for person, calls in self._with_calls("evaluator_call", "evaluator_id", self.book.evaluators):
            self._evaluator_packet(folder / "evaluators" / self.atlas.evaluator_folders[person.id], person, calls)

    def _with_calls(self, name: str, key: str, people: Sequence[Person]) -> Iterator[tuple[Person, list[Row]]]:
        """Yield everybody with his calls, one at a time; those without a call come last."""
        waiting = {person.id: person for person in people}
        for person_id, calls in self.book.stream(name, key):
            yield waiting.pop(person_id), calls
        for person in waiting.values():
            yield person, []

    def _evaluator_packet(self, own: Path, person: Person, calls: Sequence[Row]) -> None:
        head = self._packet_head(("index.html", "Your letter"), ("figures.html", "The figures"), (WHOLE, "Every call"))
        links = PacketLinks(self.atlas, "", person, list_files(calls), "figures.html")
        sheets = self.evaluator_rows.of(person, calls)
        rules = self._rules_of(sheets.misgrades)
        write_assets(own, with_plotly=False)
        rows = self.evaluator_rows
        letter = evaluator_letter(sheets, links, rows.interval, rows.season, rules)
        for page in (
            letter,
            evaluator_page(sheets, links, "figures.html", rules),
            *evaluator_calls_pages(person, calls, links, ""),
        ):
            self._write(own, page, head)

    def _packet_head(self, *pages: tuple[str, str]) -> Masthead:
        """Return the masthead of a packet, which leads to these files by these words."""
        nav = [(file, Link(text, file)) for file, text in pages]
        return self.masthead("your own pages", nav, has_plotly=False)

    def _rules_of(self, rows: Sequence[Row]) -> list[Row]:
        """Return the rules that some rows name, by id."""
        named = {rule for row in rows for rule in (row["rule_ids"] or "").split(";")}
        return [self.rules[rule] for rule in sorted(named & self.rules.keys())]

    def _umpire_packet(self, own: Path, person: Person, calls: Sequence[Row]) -> None:
        head = self._packet_head(("index.html", "Your letter"), ("figures.html", "The figures"), (WHOLE, "Your calls"))
        links = PacketLinks(self.atlas, "", person, ledger_files(calls), WHOLE)
        write_assets(own, with_plotly=False)
        rows, standards = self.umpire_rows, self.book.standards.get(person.id, [])
        named, season = self.book.letter_points.get(person.id, []), self.book.season["title"] or "this season"
        self._write(own, umpire_letter(person, rows.readiness.get(person.id), standards, named, calls, links, season), head)
        self._write(own, umpire_page(rows, person, calls, links, "figures.html"), head)
        for page in calls_pages(person, calls, links, "", self._rules_of(calls)):
            self._write(own, page, head)

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
