"""One evaluator's sheets in figures: the committee's page of him or her, and the second page of the own packet."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from reports.blocks import Block, Cell, Column, Figure, Inline, Link, Page, Paragraph, Section, Table
from reports.book import Person, Row, SeasonBook
from reports.figures.charts import points_chart
from reports.links import SiteLinks, link_cell, linked_cell
from reports.pages.evaluator_health import health_section
from reports.pages.evaluators import SEVERITY_MARGIN, is_apart
from reports.pages.rules import rules_table
from reports.words import (
    CODES,
    GRADES,
    NOTHING,
    count,
    interval,
    marked,
    num,
    percent,
    plain_names,
    plural,
    point_range,
    points,
    sentence,
    topic,
)

_OPEN = 200
_MISGRADES = 400


@dataclass(frozen=True)
class Sheets:
    """What is published of one evaluator's sheets; `row` is None where nothing was scored."""

    person: Person
    row: Row | None
    calls: Sequence[Row]
    misgrades: Sequence[Row]
    health: Sequence[Row]
    facts: Sequence[Row]
    findings: Sequence[Row]

    @property
    def open_calls(self) -> list[Row]:
        """The calls that a missing fact leaves open."""
        return [call for call in self.calls if call["verdict"] == "open"]


class EvaluatorRows:
    """The published rows of all evaluators, each found by id."""

    def __init__(self, book: SeasonBook) -> None:
        self._rows = {row["evaluator_id"]: row for row in book.rows("evaluator")}
        self._findings = book.by("finding", "evaluator_id")
        self._facts = book.by("evaluator_fact", "evaluator_id")
        self._misgrades, self._health = book.misgrades, book.health
        self.interval: float = book.season["interval"]
        self.season: str = book.season["title"] or "the season"

    def of(self, person: Person, calls: Sequence[Row]) -> Sheets:
        """Return what there is of one evaluator; `calls` are in the order of the sheets."""
        return Sheets(
            person,
            self._rows.get(person.id),
            calls,
            self._misgrades.get(person.id, []),
            self._health.get(person.id, []),
            self._facts.get(person.id, []),
            self._findings.get(person.id, []),
        )


def evaluator_page(sheets: Sheets, links: SiteLinks, path: str, own_rules: Sequence[Row] = ()) -> Page:
    """Make one evaluator's page; `own_rules` are the words of rules that a packet carries with it."""
    person = sheets.person
    sections: list[Section] = []
    if sheets.row is not None:
        sections.append(_numbers(sheets.row, links))
    sections += [_misgrades(sheets.misgrades, links), facts_section(sheets, links)]
    if sheets.health:
        sections.append(health_section(sheets.health, links))
    if sheets.findings:
        sections.append(_findings(sheets.findings, links))
    if own_rules:
        table = rules_table("own-rules", "The rules in our own words; the rule books decide", own_rules)
        sections.append(Section("rules", "Rules that speak against a grade", [table]))
    lead: list[Inline] = ["What the sheets show, grade by grade, with the rule beside each difference. Meant to help, not to rank."]
    if sheets.calls:
        lead += [f" Every figure goes back to {plural(len(sheets.calls), 'call')}: ", Link("all calls", "calls.html"), "."]
    trail = [Link("Your letter", "index.html")] if links.private else [Link("Evaluators", f"{links.root}evaluators.html")]
    return Page(
        path=path,
        title=f"The figures on the sheets of {person.name}" if links.private else f"Sheets of {person.name}",
        lead=lead,
        sections=sections,
        trail=trail,
        nav="figures.html" if links.private else "evaluators.html",
    )


_OWN = (
    ("Severity", "severity_points", "severity_low", "severity_high"),
    ("Change in 30 days", "drift_points_per_30_days", "drift_low", "drift_high"),
)


def severity_figure(row: Row, *, in_full: bool = True) -> Block:
    """Severity and its change with their intervals, drawn where there is one; `in_full` adds the other numbers."""
    shown = [
        {"name": name, "value": row[value], "low": row[low], "high": row[high]}
        for name, value, low, high in _OWN
        if row[value] is not None
    ]
    lines = [
        *((name, points(row[value]), point_range(row[low], row[high]))
          for name, value, low, high in _OWN),
        ("Grades that agree with the rules", percent(row["agree_rate"]), interval(row["agree_low"], row["agree_high"])),
        ("Grades that can be compared", count(row["grades"]), NOTHING),
        ("Calls whose facts settle the ruling", percent(row["facts_recorded_share"]), NOTHING),
        ("Calls written down", count(row["calls"]), NOTHING),
        ("Games", count(row["games"]), NOTHING),
    ]  # fmt: skip
    table = Table(
        "own-numbers",
        "In numbers; severity and its change in points of the right-call rate",
        [Column("What"), Column("Value", "num"), Column("Interval", "num")],
        [[Cell(text) for text in line] for line in (lines if in_full else lines[: len(_OWN)])],
    )
    if not shown:
        return table
    chart = points_chart(shown, "value", "low", "high", "points of the right-call rate")
    return Figure("own-points", _apart(shown), chart, table)


def _numbers(row: Row, links: SiteLinks) -> Section:
    blocks: list[Block] = []
    message = links.free_text(row["message"])
    if message:
        blocks.append(Paragraph([sentence(message)]))
    blocks.append(severity_figure(row))
    return Section("numbers", "The season in numbers", blocks, margin=[SEVERITY_MARGIN])


def _apart(shown: Sequence[Row]) -> str:
    apart = [str(row["name"]).lower() for row in shown if is_apart(row["low"], row["high"])]
    if not apart:
        return "Neither severity nor its change can be told from zero on this evidence."
    return f"{' and '.join(apart).capitalize()} can be told from zero on this evidence."


def _misgrades(found: Sequence[Row], links: SiteLinks) -> Section:
    table = Table(
        "misgrades-table",
        "Each grade against the rules",
        [Column("Call"), Column("Topic"), Column("Written"), Column("By the rules"), Column("Would fit"),
         Column("Because", "long"), Column("Rules")],
        [
            [
                link_cell(links.call(row["call_id"])),
                Cell(topic(row["topic"])),
                Cell(plain_names(row["evaluator_grade"])),
                grade_cell(row["our_verdict"]),
                Cell(CODES.get(row["other_code"] or "", NOTHING)),
                Cell(links.free_text(row["because"]) or NOTHING),
                linked_cell(row["rule_ids"], links.rule),
            ]
            for row in found[:_MISGRADES]
        ],
        empty="No grade on these sheets is against the rules.",
    )  # fmt: skip
    blocks: list[Block] = [table]
    if len(found) > _MISGRADES:
        blocks.append(Paragraph([f"The first {_MISGRADES} of {len(found):,}; the list of calls marks all of them."]))
    margin = "Where another code would make the grade right, it is named: the usual cause is a rule learnt elsewhere."
    return Section("misgrades", "Grades against the rules", blocks, margin=[margin])


def grade_cell(verdict: str) -> Cell:
    """The grade by the rules, with its shape."""
    return marked(GRADES[verdict]) if verdict in GRADES else Cell(verdict)


def _facts_table(facts: Sequence[Row], links: SiteLinks) -> Table:
    return Table(
        "facts-table",
        "Facts that the rulings turn on, those that left most open first",
        [Column("Fact"), Column("Asked for", "num"), Column("Left out", "num"), Column("Calls left open", "num"),
         Column("Settled by it alone", "num"), Column("Left undecided", "long"), Column("What to write", "long"), Column("Calls")],
        [
            [
                Cell(row["title"]),
                num(row["asked"], count(row["asked"])),
                num(row["asked"] - row["recorded"], count(row["asked"] - row["recorded"])),
                num(row["open_calls"], count(row["open_calls"])),
                num(row["settled_alone"], count(row["settled_alone"])),
                Cell(plain_names(row["undecided"] or NOTHING)),
                Cell(row["allowed"] or NOTHING),
                linked_cell(row["call_ids"], links.call),
            ]
            for row in facts
        ],
        empty="No ruling turned on a fact of these sheets.",
    )  # fmt: skip


def facts_section(sheets: Sheets, links: SiteLinks) -> Section:
    """Make the section on facts left out, and the calls that stay open for want of them."""
    found = sheets.open_calls
    table = Table(
        "open-table",
        "Calls that a missing fact leaves open",
        [Column("Call"), Column("Topic"), Column("Not recorded", "long"), Column("Sheet line", "num")],
        [
            [
                link_cell(links.call(call["call_id"])),
                Cell(topic(call["topic"])),
                Cell(plain_names(call["needs"] or "").replace(";", ", ") or NOTHING),
                num(call["line_no"], count(call["line_no"])),
            ]
            for call in found[:_OPEN]
        ],
        empty="Every call has the facts that decide it.",
    )
    blocks: list[Block] = [_facts_table(sheets.facts, links), table]
    if len(found) > _OPEN:
        blocks.append(Paragraph([f"The first {_OPEN} of {len(found):,}; the list of calls marks all of them."]))
    margin = "An open call counts for nobody. A fact that was left out elsewhere decided nothing, or only a detail."
    return Section("open", "Facts that were left out", blocks, margin=[margin])


_TOLD_ELSEWHERE = "grade_contradicts_rules"
"""Findings of this kind are the grades against the rules, which have a section of their own."""


def _findings(findings: Sequence[Row], links: SiteLinks) -> Section:
    table = Table(
        "own-findings",
        "Findings about these sheets",
        [Column("Kind"), Column("Line", "num"), Column("What", "long"), Column("To do", "long"), Column("Calls")],
        [
            [
                Cell(plain_names(row["kind"])),
                num(row["line_no"], count(row["line_no"])),
                Cell(links.free_text(row["message"]) or NOTHING),
                Cell(links.free_text(row["remedy"]) or NOTHING),
                linked_cell(row["call_ids"], links.call),
            ]
            for row in findings
            if row["kind"] != _TOLD_ELSEWHERE
        ],
        empty="Nothing else was found.",
    )
    return Section("findings", "Other findings", [table])
