"""Data quality, for the committee: how far the season's data can be trusted, and what became of every row."""

from __future__ import annotations

from collections.abc import Sequence

from reports.blocks import Block, Cell, Column, Figure, Inline, Link, Page, Points, Section, Table
from reports.book import Row, SeasonBook
from reports.figures.data_charts import ends_chart
from reports.figures.palette import Role
from reports.links import SiteLinks
from reports.pages.evaluator_health import standing_out
from reports.pages.quality_books import (
    amendments_section,
    books_section,
    mends_section,
    rejects_section,
    versions_section,
)
from reports.pages.quality_checks import checks_told, suites_section
from reports.pages.quality_facts import facts_section, open_section
from reports.pages.quality_findings import findings_section
from reports.words import count, num, percent, plural


def quality_page(book: SeasonBook, links: SiteLinks) -> Page:
    """Make `quality.html`."""
    files, facts, checks = book.rows("file"), book.rows("fact"), book.rows("check")
    health, kinds = book.rows("evaluator_health"), book.rows("finding_kind")
    rejected = sum(row["quarantined"] for row in files)
    return Page(
        path="quality.html",
        title="Data quality",
        lead=_lead(book.season, files),
        sections=[
            _trust(book, facts, checks, health, kinds),
            books_section(files),
            rejects_section(book.rows("reject_kind"), book.rows("reject_shown"), rejected),
            mends_section(book.rows("mend_state"), book.rows("mend_shown")),
            amendments_section(book.rows("amendment"), links),
            versions_section(),
            findings_section(kinds, book.rows("finding_shown"), links),
            facts_section(facts),
            open_section(facts, book.season, links),
            suites_section(checks, links),
            standing_out(health, links),
        ],
        nav="quality.html",
    )


def _lead(season: Row, files: Sequence[Row]) -> list[Inline]:
    rows, rejected = sum(row["rows_in"] for row in files), sum(row["quarantined"] for row in files)
    accepted, settled = season["calls_accepted"], season["calls_right"] + season["calls_wrong"]
    if not accepted:
        return ["No plate call was accepted, so nothing can be said of anybody's rulings."]
    text = (
        f"{count(accepted)} of {plural(season['calls_in'], 'plate call')} handed in count, and on {count(settled)} of "
        f"them ({percent(settled / accepted, 0)}) the recorded facts say whether the ruling was right. "
    )
    if rejected:
        them = "it was set aside with its reason" if rejected == 1 else "each was set aside with its reason"
        return [f"{text}Of {plural(rows, 'row')} on all sheets {count(rejected)} could not be used; {them}, and none is lost."]
    return [f"{text}All {plural(rows, 'row')} on all sheets could be used."]


def _trust(
    book: SeasonBook, facts: Sequence[Row], checks: Sequence[Row], health: Sequence[Row], kinds: Sequence[Row]
) -> Section:
    season = book.season
    blocks: list[Block] = []
    if season["calls_in"]:
        blocks.append(_ends(season))
    blocks += [
        Points(_carried(facts, checks), "What the sheets carry"),
        Points(_not_carried(book, health, kinds), "What they do not carry"),
    ]
    margin = (
        "An edge pitch is one whose measured place lies so close to the zone's boundary that the measurement cannot "
        "decide. Edge pitches and open calls count neither for nor against anybody."
    )
    return Section("trust", "How far the data can be trusted", blocks, margin=[margin])


def _ends(season: Row) -> Figure:
    ends: list[tuple[str, int, Role, str | None, str]] = [
        ("Right", season["calls_right"], "accent", "index.html", "the ruling is the one that the rules give"),
        ("Wrong", season["calls_wrong"], "warn", "misrulings.html", "a part of the ruling is against the rules"),
        ("Edge pitch", season["calls_edge"], "muted", None, "the measurement cannot decide"),
        ("Open", season["calls_open"], "muted", "#open", "a fact that decides was not written down"),
        ("Not graded", season["calls_not_graded"], "muted", None, "no part of the ruling was noted, or the facts contradict"),
        ("Set aside", season["calls_quarantined"], "muted", "#rejects", "the row could not be used"),
    ]
    whole = season["calls_in"]
    table = Table(
        "ends-table",
        "Plate calls by what they came to; together they are the calls handed in",
        [Column("End"), Column("What it means", "long"), Column("Calls", "num"), Column("Share", "num")],
        [
            [Cell(name), Cell(what), num(number, count(number), href if number else None), num(number, percent(number / whole))]
            for name, number, _, href, what in ends
        ],
        total=[Cell("Handed in"), Cell(""), num(whole, count(whole)), Cell("")],
    )
    settled = season["calls_right"] + season["calls_wrong"]
    title = f"{percent(settled / whole, 0)} of the calls handed in say whether the umpire ruled rightly."
    chart = ends_chart([(name, number, role) for name, number, role, _, _ in ends], whole)
    return Figure("ends", title, chart, table)


def _carried(facts: Sequence[Row], checks: Sequence[Row]) -> list[list[Inline]]:
    found: list[list[Inline]] = [["Every row handed in is accounted for: ", Link("the books", "#books"), " add up, file by file."]]
    asked, recorded = sum(row["asked"] for row in facts), sum(row["recorded"] for row in facts)
    if asked:
        text = f"Of {plural(asked, 'fact')} that the rulings turn on, {percent(recorded / asked)} were written down: "
        found.append([text, Link("facts recorded", "#facts"), "."])
    if checks:
        found.append([checks_told(checks) + " ", Link("Checks", "#checks"), "."])
    return found


def _not_carried(book: SeasonBook, health: Sequence[Row], kinds: Sequence[Row]) -> list[list[Inline]]:
    season = book.season
    found: list[list[Inline]] = []
    if season["calls_edge"]:
        found.append([f"{plural(season['calls_edge'], 'edge pitch lies', 'edge pitches lie')} too near the zone's boundary for the measurement to decide."])
    if season["calls_open"]:
        text = f"{plural(season['calls_open'], 'call stays', 'calls stay')} open for want of a fact: "
        found.append([text, Link("open calls", "#open"), "."])
    if season["calls_not_graded"]:
        found.append([f"{plural(season['calls_not_graded'], 'call')} could not be graded at all."])
    mended = sum(row["findings"] for row in kinds if row["severity"] == "warn")
    if mended:
        text = f"{plural(mended, 'finding waits', 'findings wait')} for somebody to mend or decide: "
        found.append([text, Link("findings", "#findings"), "."])
    if not book.rows("evaluator_agreement"):
        found.append(
            ["No two evaluators wrote down the same pitch, so how much depends on who watches rests on the model alone."]
        )
    if season["calls_accepted"] and not any(row["measure"] == "days_late" for row in health):
        found.append(["No sheet gives the day of entry, so nothing is known of how long after a game it was written."])
    return found or [["Nothing that these checks look for is missing."]]


