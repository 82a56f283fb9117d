"""Evaluators: severity, drift, agreement with the rules; and one evaluator's own sheet."""

from __future__ import annotations

from collections.abc import Sequence

from reports.blocks import Block, Cell, Column, Figure, Inline, Link, Page, Paragraph, Section, Table
from reports.book import Person, Row, SeasonBook
from reports.figures.charts import points_chart, share_chart
from reports.links import SiteLinks, link_cell, linked_cell
from reports.naming import anchor
from reports.pages.evaluator_health import health_section
from reports.pages.rules import rules_table
from reports.pages.shared_looks import shared_looks
from reports.words import (
    CODES,
    GRADES,
    NOTHING,
    count,
    day,
    interval,
    marked,
    num,
    percent,
    plural,
    point_range,
    points,
    sentence,
    topic,
)

_SEVERITY_MARGIN = (
    "Severity is how far the share of right calls under this evaluator lies from the panel's, with umpires and "
    "situations held alike. Below zero: fewer calls come out right on these sheets. It is taken out of every umpire's "
    "adjusted rate, so nobody gains or loses by who watched."
)


def evaluators_page(book: SeasonBook, links: SiteLinks) -> Page:
    """Make `evaluators.html`."""
    rows = book.rows("evaluator")
    sections = [
        _severity(rows, links),
        _drift(rows, links, book.season["interval"]),
        _agreement(rows, links),
        shared_looks(book, links),
        _messages(rows, links),
    ]
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
                num(row["calls"], count(row["calls"]), links.evaluator_calls(row["evaluator_id"])),
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


def _drift(rows: Sequence[Row], links: SiteLinks, certainty: float) -> Section:
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
    margin = (
        f"Below zero: grew stricter. Of evaluators who did not move at all, {percent(1 - certainty, 0)} would still "
        "seem to, by chance alone."
    )
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
    margin = "Only grades of right or wrong on calls that the rules settle are compared. Facts recorded: the share of calls whose facts settle the ruling."
    return Section(
        "agreement", "Agreement with the rules", [Figure("agreement-shares", title, chart, table)], margin=[margin]
    )


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
                Cell(sentence(row["message"] or "")),
            ]
            for row in rows
            if row["message"] or row["other_code_suspect"]
        ],
        empty="Nothing stands out on any evaluator's sheets.",
    )
    margin = "A pattern on paper is a question, not a verdict: ask before concluding."
    return Section("messages", "Worth a conversation", [table], margin=[margin])


def evaluator_page(
    book: SeasonBook,
    person: Person,
    row: Row | None,
    calls: Sequence[Row],
    findings: Sequence[Row],
    links: SiteLinks,
    path: str,
) -> Page:
    """Make one evaluator's dossier, or his own feedback sheet in a packet."""
    sections: list[Section] = []
    if row is not None:
        sections.append(_numbers(row, links))
    sections += [_misgrades(book, person, links), _open_calls(calls, links)]
    if health := book.health.get(person.id):
        sections.append(health_section(health, links))
    if findings:
        sections.append(_findings(findings, links))
    lead: list[Inline] = [
        "What the sheets show, grade by grade, with the rule beside each difference. Meant to help, not to rank."
    ]
    if calls:
        lead += [f" Every figure goes back to {plural(len(calls), 'call')}: ", Link("all calls", "calls.html"), "."]
    if links.private:
        lead.append(" This packet is yours alone and names nobody else.")
    trail = [] if links.private else [Link("Evaluators", f"{links.root}evaluators.html")]
    return Page(
        path=path,
        title=f"Sheets of {person.name}",
        lead=lead,
        sections=sections,
        trail=trail,
        nav="index.html" if links.private else "evaluators.html",
    )


_OWN = (
    ("Severity", "severity_points", "severity_low", "severity_high"),
    ("Change in 30 days", "drift_points_per_30_days", "drift_low", "drift_high"),
)


def _numbers(row: Row, links: SiteLinks) -> Section:
    shown = [
        {"name": name, "value": row[value], "low": row[low], "high": row[high]}
        for name, value, low, high in _OWN
        if row[value] is not None
    ]
    lines = [
        ("Severity", points(row["severity_points"]), point_range(row["severity_low"], row["severity_high"])),
        (
            "Change in 30 days",
            points(row["drift_points_per_30_days"]),
            point_range(row["drift_low"], row["drift_high"]),
        ),
        ("Grades that agree with the rules", percent(row["agree_rate"]), interval(row["agree_low"], row["agree_high"])),
        ("Grades that can be compared", count(row["grades"]), NOTHING),
        ("Calls whose facts settle the ruling", percent(row["facts_recorded_share"]), NOTHING),
        ("Calls written down", count(row["calls"]), NOTHING),
        ("Games", count(row["games"]), NOTHING),
    ]
    table = Table(
        "own-numbers",
        "In numbers; severity and its change in points of the right-call rate",
        [Column("What"), Column("Value", "num"), Column("Interval", "num")],
        [[Cell(text) for text in line] for line in lines],
    )
    blocks: list[Block] = []
    message = links.free_text(row["message"])
    if message:
        blocks.append(Paragraph([sentence(message)]))
    if shown:
        blocks.append(
            Figure(
                "own-points",
                _stands_out(shown),
                points_chart(shown, "value", "low", "high", "points of the right-call rate"),
                table,
            )
        )
    else:
        blocks.append(table)
    return Section("numbers", "The season in numbers", blocks, margin=[_SEVERITY_MARGIN])


def _stands_out(shown: Sequence[Row]) -> str:
    apart = [str(row["name"]).lower() for row in shown if row["low"] * row["high"] > 0]
    if not apart:
        return "Neither severity nor its change can be told from zero on this evidence."
    return f"Told from zero on this evidence: {' and '.join(apart)}."


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
            Column("Rules"),
        ],
        [
            [
                link_cell(links.call(row["call_id"])),
                Cell(topic(row["topic"])),
                Cell(row["evaluator_grade"].replace("_", " ")),
                _grade(row["our_verdict"]),
                Cell(CODES.get(row["other_code"] or "", NOTHING)),
                Cell(links.free_text(row["because"]) or NOTHING),
                _rule_cell(row["rule_ids"], links),
            ]
            for row in found
        ],
        empty="No grade on these sheets is against the rules.",
    )
    margin = "Where another code would make the grade right, it is named: the usual cause is a rule learnt elsewhere."
    return Section("misgrades", "Grades against the rules", [table], margin=[margin])


def _grade(verdict: str) -> Cell:
    return marked(GRADES[verdict]) if verdict in GRADES else Cell(verdict)


def _rule_cell(rule_ids: str | None, links: SiteLinks) -> Cell:
    found = [links.rule(rule_id) for rule_id in (rule_ids or "").split(";") if rule_id]
    plain = ", ".join(rule for rule in found if isinstance(rule, str))
    return Cell(plain, links=tuple(rule for rule in found if isinstance(rule, Link)))


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
    margin = "An open call counts for nobody. One word more on the sheet would have settled it."
    return Section("open", "Facts that were left out", [table], margin=[margin])


_TOLD_ELSEWHERE = "grade_contradicts_rules"
"""Findings of this kind are the grades against the rules, which have a section of their own."""


def _findings(findings: Sequence[Row], links: SiteLinks) -> Section:
    table = Table(
        "own-findings",
        "Findings about these sheets",
        [Column("Kind"), Column("Line", "num"), Column("What", "long"), Column("To do", "long"), Column("Calls")],
        [
            [
                Cell(row["kind"].replace("_", " ")),
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


def evaluator_calls_page(
    person: Person, calls: Sequence[Row], links: SiteLinks, path: str, own_rules: Sequence[Row] = ()
) -> Page:
    """Make the list of every call that one evaluator wrote down, with his grade beside that of the rules."""
    columns = [
        Column("Call"),
        Column("Day"),
        Column("Topic"),
        Column("By the rules"),
        Column("Written"),
        Column("Agrees"),
        Column("Sheet line", "num"),
    ]
    if not links.private:
        columns.insert(1, Column("Umpire"))
    rows = []
    for call in calls:
        row = [
            # Within a packet the row is the call's own entry, so that it leads nowhere.
            Cell(call["call_id"]) if links.private else link_cell(links.call(call["call_id"])),
            Cell(day(call["game_on"])),
            Cell(topic(call["topic"])),
            _grade(call["verdict"]),
            Cell((call["evaluator_grade"] or NOTHING).replace("_", " ")),
            Cell({True: "yes", False: "no"}.get(call["evaluator_agrees"], NOTHING)),
            num(call["line_no"], count(call["line_no"])),
        ]
        if not links.private:
            row.insert(1, link_cell(links.umpire(call["umpire_id"])))
        rows.append(row)
    table = Table(
        "all-calls",
        "Calls in the order of the sheets",
        columns,
        rows,
        # In the site the entry stands with the umpire's calls; a packet has no other place for it.
        row_ids=[anchor("call", call["call_id"]) for call in calls] if links.private else (),
        empty="No call was accepted.",
    )
    sections = [
        Section("calls", "Every call", [table], margin=["A dash: no grade was written, or nothing to compare."])
    ]
    if own_rules:
        sections.append(
            Section(
                "rules",
                "Rules that speak against a grade",
                [rules_table("own-rules", "The rules in our own words; the rule books decide", own_rules)],
            )
        )
    trail = [Link(f"Sheets of {person.name}", "index.html")]
    if not links.private:
        trail.insert(0, Link("Evaluators", f"{links.root}evaluators.html"))
    return Page(
        path=path,
        title=f"Calls written down by {person.name}",
        lead=["Every accepted call of these sheets, what the rules make of it, and the grade that was written."],
        sections=sections,
        trail=trail,
        nav="calls.html" if links.private else "evaluators.html",
    )
