"""Build the committee's site and everybody's own packet from the published tables."""

from __future__ import annotations

from pathlib import Path

from pipeline.config import RunConfig
from pipeline.store import StepResult, Store, replaced_folder
from reports.blocks import Page
from reports.book import SeasonBook
from reports.data_scripts import write_data
from reports.frame import Masthead
from reports.heads import masthead, site_head
from reports.links import Atlas, SiteLinks
from reports.long_lists import LongLists
from reports.pages.board import board_page
from reports.pages.called_zone import called_zone_page
from reports.pages.clinic_sheets import clinic_sheets
from reports.pages.clinics import clinics_pages
from reports.pages.compare import compare_page
from reports.pages.compare_data import compare_scripts
from reports.pages.decisions import decision_pages
from reports.pages.dependability import dependability_page
from reports.pages.dictionary import dictionary_pages
from reports.pages.evaluators import evaluators_page
from reports.pages.method import method_page
from reports.pages.misrulings import misrulings_page
from reports.pages.quality import quality_page
from reports.pages.quality_checks import checks_page
from reports.pages.quiz import quiz_page
from reports.pages.rankings import rankings_pages
from reports.pages.rules import rule_pages
from reports.pages.standards import standards_page, trial_scripts
from reports.pages.validity import validity_page
from reports.paper import write_assets, write_page
from reports.shares import people_at_work, usual_workers


class _Builder:
    """Writes pages one by one and counts them."""

    def __init__(self, config: RunConfig, store: Store) -> None:
        self.book = SeasonBook(config.policy, store)
        self.atlas = Atlas.of(self.book)
        self.pages = 0
        self.bytes = 0

    def site(self, folder: Path) -> None:
        """Write the committee's pages."""
        head = site_head(self.book)
        write_assets(folder, with_plotly=True)
        top, lists = SiteLinks(self.atlas, ""), LongLists()
        for page in (
            board_page(self.book, top, lists),
            standards_page(self.book, top),
            *rankings_pages(self.book, top, lists),
            compare_page(self.book, top),
            misrulings_page(self.book, top, lists),
            *clinics_pages(self.book, top, lists),
            *decision_pages(self.book, top, SiteLinks(self.atlas, "../"), lists),
            called_zone_page(self.book, top, lists),
            evaluators_page(self.book, top, lists),
            quiz_page(self.book, top, lists),
            quality_page(self.book, top),
            checks_page(self.book.rows("check"), top),
            *rule_pages(self.book, self.atlas),
            *dictionary_pages(),
            method_page(self.book),
            validity_page(),
            dependability_page(self.book),
        ):
            self._write(folder, page, head)
        for page in lists.pages():
            self._write(folder, page, head)
        # What the class gets leads nowhere: nobody's name is one step away.
        bare = masthead(self.book, "clinic", [], has_plotly=False)
        for page, for_anybody in clinic_sheets(self.book, SiteLinks(self.atlas, "../")):
            self._write(folder, page, bare if for_anybody else head)
        for name, content in (*trial_scripts(self.book, top), *compare_scripts(self.book, top), *lists.scripts()):
            self.bytes += write_data(folder, name, content)

    def _write(self, folder: Path, page: Page, head: Masthead) -> None:
        self.bytes += write_page(folder, page, head)
        self.pages += 1


def build_site(config: RunConfig, store: Store, *, workers: int | None = None) -> StepResult:
    """Write `OUT/site` and `OUT/packets`; each takes the place of the former one whole.

    `workers` is how many processes share the people's pages: by default one, and for a large season as many as there
    are processors, up to `MOST_WORKERS`. The pages are the same bytes whatever it is.
    """
    builder = _Builder(config, store)
    book = builder.book
    calls = int(book.season["calls_accepted"] or 0)
    workers = workers or usual_workers(calls, len(book.umpires) + len(book.evaluators))
    with (
        replaced_folder(config.out / "site") as site,
        replaced_folder(config.out / "packets") as packets,
        people_at_work(config.policy, store, book, site, packets, workers) as people,
    ):
        builder.site(site)
        written = people()
    pages, size = builder.pages + written.pages, builder.bytes + written.bytes
    return StepResult("report", calls, pages, notes={"kilobytes": size // 1024})
