"""Evaluators: severity, drift, agreement with the rules; and one evaluator's own sheet."""

from __future__ import annotations

from collections.abc import Sequence

from reports.blocks import Block, Cell, Column, Figure, Inline, Link, Page, Paragraph, Section, Table
from reports.book import Person, Row, SeasonBook
from reports.figures.charts import points_chart, share_chart
from reports.links import SiteLinks, link_cell
from reports.words import CODES, NOTHING, count, interval, num, percent, plural, point_range, points, topic

_SEVERITY_MARGIN = (
    "Severity is how far the share of right calls under this evaluator lies from the panel's, with umpires and "
    "situations held alike. Below zero: fewer calls come out right on these sheets. It is taken out of every umpire's "
    "adjusted rate, so nobody gains or loses by who watched."
)


def evaluators_page(book: SeasonBook, links: SiteLinks) -> Page:
    """Make `evaluators.html`."""
    rows = book.rows("evaluator")
    sections = [_severity(rows, links), _drift(rows, links), _agreement(rows, links), _messages(rows, links)]
    return Page(
        path="evaluators.html",
        title="Evaluators",
        lead=[
            "How severe each evaluator's sheets are, whether that moved over the season, and how often the grades "
            "written on them agree with the rules. An evaluator's grade is never taken as the truth."
        ],
        sections=sections,
        nav="evaluators.html",
    )


def _severity(rows: Sequence[Row], links: SiteLinks) -> Section:
    table = Table(
        "severity-table",
        "Severity in points of the right-call rate",
        [Column("Evaluator"), Column("Severity", "num"), Column("Interval", "num"), Column("Calls", "num"),
         Column("Games", "num"), Column("Umpires", "num")],
        [
            [
                link_cell(links.evaluator(row["evaluator_id"])),
                num(row["severity_points"], points(row["severity_points"])),
                Cell(point_range(row["severity_low"], row["severity_high"]), sort=row["severity_low"]),
                num(row["calls"], count(row["calls"])),
                num(row["games"], count(row["games"])),
                num(row["umpires"], count(row["umpires"])),
            ]
            for row in rows
        ],
    )  # fmt: skip
    apart = sum(1 for row in rows if row["severity_low"] is not None and row["severity_low"] * row["severity_high"] > 0)
    title = f"{plural(apart, 'evaluator')} of {len(rows)} can be told from the panel's average by severity."
    chart = points_chart(rows, "severity_points", "severity_low", "severity_high", "points from the panel's average")
    return Section("severity", "Severity", [Figure("severity-points", title, chart, table)], margin=[_SEVERITY_MARGIN])


def _drift(rows: Sequence[Row], links: SiteLinks) -> Section:
    table = Table(
        "drift-table",
        "Change of severity in points for each 30 days",
        [Column("Evaluator"), Column("Change", "num"), Column("Interval", "num")],
        [
            [
                link_cell(links.evaluator(row["evaluator_id"])),
                num(row["drift_points_per_30_days"], points(row["drift_points_per_30_days"])),
                Cell(point_range(row["drift_low"], row["drift_high"]), sort=row["drift_low"]),
            ]
            for row in rows
        ],
    )
    moved = sum(1 for row in rows if row["drift_low"] is not None and row["drift_low"] * row["drift_high"] > 0)
    title = f"{plural(moved, 'evaluator')} of {len(rows)} moved over the season by more than the interval allows for chance."
    chart = points_chart(rows, "drift_points_per_30_days", "drift_low", "drift_high", "points in 30 days")
    margin = "Below zero: grew stricter. One evaluator in ten or so would seem to move by chance alone."
    return Section("drift", "Change over the season", [Figure("drift-points", title, chart, table)], margin=[margin])


def _agreement(rows: Sequence[Row], links: SiteLinks) -> Section:
    table = Table(
        "agreement-table",
        "Grades that agree with the rules",
        [Column("Evaluator"), Column("Grades", "num"), Column("Agree", "num"), Column("Share", "num"),
         Column("Interval", "num"), Column("Facts recorded", "num")],
        [
            [
                link_cell(links.evaluator(row["evaluator_id"])),
                num(row["grades"], count(row["grades"])),
                num(row["agree"], count(row["agree"])),
                num(row["agree_rate"], percent(row["agree_rate"])),
                Cell(interval(row["agree_low"], row["agree_high"]), sort=row["agree_low"]),
                num(row["facts_recorded_share"], percent(row["facts_recorded_share"], 0)),
            ]
            for row in rows
        ],
    )  # fmt: skip
    chart = share_chart(
        rows, "name", "agree_rate", "agree_low", "agree_high", "share of grades that agree with the rules"
    )
    title = "How often the grade on the sheet is the one that the rules give."
    return Section("agreement", "Agreement with the rules", [Figure("agreement-shares", title, chart, table)])


def _messages(rows: Sequence[Row], links: SiteLinks) -> Section:
    table = Table(
        "messages-table",
        "What to talk about",
        [Column("Evaluator"), Column("Seems to apply"), Column("Calls", "num"), Column("In words", "long")],
        [
            [
                link_cell(links.evaluator(row["evaluator_id"])),
                Cell(CODES.get(row["other_code_suspect"] or "", NOTHING)),
                num(row["other_code_calls"], count(row["other_code_calls"])),
                Cell(row["message"] or ""),
            ]
            for row in rows
            if row["message"] or row["other_code_suspect"]
        ],
        empty="Nothing stands out on any evaluator's sheets.",
    )
    margin = "A pattern on paper is a question, not a verdict: ask before concluding."
    return Section("messages", "Worth a conversation", [table], margin=[margin])


def evaluator_page(
    book: SeasonBook, person: Person, row: Row | None, calls: Sequence[Row], links: SiteLinks, path: str
) -> Page:
    """Make one evaluator's dossier, or his own feedback sheet in a packet."""
    sections: list[Section] = []
    if row is not None:
        lines = [
            ("Calls", count(row["calls"])),
            ("Games", count(row["games"])),
            (
                "Severity",
                f"{points(row['severity_points'])} ({point_range(row['severity_low'], row['severity_high'])})",
            ),
            (
                "Change in 30 days",
                f"{points(row['drift_points_per_30_days'])} ({point_range(row['drift_low'], row['drift_high'])})",
            ),
            ("Grades that agree", f"{percent(row['agree_rate'])} ({interval(row['agree_low'], row['agree_high'])})"),
            ("Facts recorded", percent(row["facts_recorded_share"], 0)),
        ]
        table = Table(
            "own-numbers",
            "In numbers",
            [Column("What"), Column("Value", "num")],
            [[Cell(a), Cell(b)] for a, b in lines],
        )
        blocks: list[Block] = [table]
        message = links.free_text(row["message"])
        if message:
            blocks.append(Paragraph([message]))
        sections.append(Section("numbers", "The season in numbers", blocks, margin=[_SEVERITY_MARGIN]))
    sections.append(_misgrades(book, person, links))
    sections.append(_open_calls(calls, links))
    trail = [] if links.private else [Link("Evaluators", f"{links.root}evaluators.html")]
    lead: list[Inline] = [
        "What the sheets show, grade by grade, with the rule beside each difference. Meant to help, not to rank."
    ]
    return Page(
        path=path, title=f"Sheets of {person.name}", lead=lead, sections=sections, trail=trail, nav="evaluators.html"
    )


def _misgrades(book: SeasonBook, person: Person, links: SiteLinks) -> Section:
    found = book.misgrades.get(person.id, [])
    table = Table(
        "misgrades-table",
        "Each grade against the rules",
        [
            Column("Call"),
            Column("Topic"),
            Column("Written"),
            Column("By the rules"),
            Column("Would fit"),
            Column("Because", "long"),
        ],
        [
            [
                link_cell(links.call(row["call_id"])),
                Cell(topic(row["topic"])),
                Cell(row["evaluator_grade"]),
                Cell(row["our_verdict"]),
                Cell(CODES.get(row["other_code"] or "", NOTHING)),
                Cell(links.free_text(row["because"]) or ""),
            ]
            for row in found
        ],
        empty="No grade on these sheets is against the rules.",
    )
    margin = "Where another code would make the grade right, it is named: the usual cause is a rule learnt elsewhere."
    return Section("misgrades", "Grades against the rules", [table], margin=[margin])


def _open_calls(calls: Sequence[Row], links: SiteLinks) -> Section:
    found = [call for call in calls if call["verdict"] == "open"]
    table = Table(
        "open-table",
        "Calls that a missing fact leaves open",
        [Column("Call"), Column("Topic"), Column("Not recorded", "long"), Column("Sheet line", "num")],
        [
            [
                link_cell(links.call(call["call_id"])),
                Cell(topic(call["topic"])),
                Cell((call["needs"] or "").replace("_", " ").replace(";", ", ")),
                num(call["line_no"], count(call["line_no"])),
            ]
            for call in found
        ],
        empty="Every call has the facts that decide it.",
    )
    return Section("open", "Facts that were left out", [table])
