"""The page of one topic of the rules."""

from __future__ import annotations

from collections.abc import Sequence

from reports.blocks import Cell, Column, Entry, Inline, Ledger, Link, Page, Section, Table
from reports.book import Row
from reports.links import SiteLinks, link_cell
from reports.naming import anchor
from reports.pages.rules_read import (
    UNITS,
    RuleBook,
    codes_words,
    days_words,
    instead_words,
    joined,
    listed,
    measure,
    rule_cell,
    rules_cell,
)
from reports.words import CODES, CONFIDENCES, CONSEQUENCES, NOTHING, count, num, percent, plural, sentence, topic

_SETTLED = {
    "policy": "By the policy.",
    "rule": "By the words of the rule, as the policy says nothing.",
    "nobody": "By nobody, so a ruling that turns on it is open until the policy settles it.",
}


def topic_page(rules: RuleBook, name: str, own: Sequence[Row], links: SiteLinks) -> Page:
    """Make the page of one topic; `own` are its rules."""
    title = topic(name).capitalize()
    sections = []
    if own:
        sections += [_rules(own, links), _side_by_side(rules, own, links)]
    options = [row for row in rules.options if name in listed(row["topics"])]
    if options:
        sections.append(
            Section("options", "Points that a league settles", [options_ledger(options, links)])
        )
    if name in rules.dimensions:
        sections.append(Section("measures", "Measures", [_measures(rules.dimensions[name])]))
    if own:
        sections += _patterns(rules.patterns.get(name, []), links)
        sections.append(_misrulings(rules.topic_misrulings.get(name, []), links))
    questions = [key for key in rules.decisions if any(rule["decision"] == key for rule in own)]
    lead: list[Inline] = [
        f"{plural(len(own), 'rule')}. " if own else "What the codes fix in figures. ",
    ]
    if questions:
        answered = [Link(f"“{rules.question(key)}”", f"{links.root}rules.html#{anchor('decision', key)}") for key in questions]
        lead += ["They answer ", *joined(answered), " in the "]
        lead += [Link("order of decision", f"{links.root}rules.html#order"), "."]
    else:
        lead += ["See also the ", Link("order of decision", f"{links.root}rules.html#order"), "."]
    return Page(
        path=f"topics/{rules.atlas.topic_files[name]}.html",
        title=title,
        lead=lead,
        sections=sections,
        trail=[Link("Rules", f"{links.root}rules.html")],
        nav="rules.html",
    )


def _rules(own: Sequence[Row], links: SiteLinks) -> Section:
    table = Table(
        "rules-table",
        "The rules in our own words",
        [
            Column("Rule"),
            Column("In our words", "long"),
            Column("Gives way to"),
            Column("Times used", "num"),
            Column("Wrong then", "num"),
        ],
        [
            [
                rule_cell(links, rule["rule_id"]),
                Cell(rule["title"]),
                rules_cell(links, rule["yields_to"]),
                num(rule["times_used"], count(rule["times_used"])),
                num(rule["times_wrong"], count(rule["times_wrong"])),
            ]
            for rule in own
        ],
    )
    return Section(
        "rules",
        "The rules",
        [table],
        margin=["Wrong then: graded calls whose right ruling used the rule, and which were wrong in some part."],
    )


def _side_by_side(rules: RuleBook, own: Sequence[Row], links: SiteLinks) -> Section:
    rows = []
    for rule in own:
        row = [rule_cell(links, rule["rule_id"]), Cell(rule["outcome"] or NOTHING)]
        row += [_code_cell(rules.codes.get((rule["rule_id"], code)), links) for code in CODES]
        rows.append(row)
    table = Table(
        "codes-table",
        "Number in each code and how well its words are known; where a code has no such rule, what answers there",
        [Column("Rule"), Column("Answer"), *(Column(title, "ref") for title in CODES.values())],
        rows,
    )
    return Section(
        "codes",
        "Side by side",
        [table],
        margin=["A dash: the code has no such rule. The rules named after it answer the same question there."],
    )


def _code_cell(row: Row | None, links: SiteLinks) -> Cell:
    if row is None:
        return Cell(NOTHING)
    if row["confidence"]:
        days = days_words(row)
        text = f"{row['reference'] or NOTHING} ({CONFIDENCES.get(row['confidence'], row['confidence'])})"
        return Cell(f"{text}, {days}" if days else text)
    return Cell(NOTHING, parts=tuple(instead_words(row, links)))


def _measures(rows: Sequence[Row]) -> Table:
    return Table(
        "measures-table",
        "Measures that rulings and quiz keys use",
        [
            Column("Measure", "long"),
            Column("Unit"),
            *(Column(title, "num") for title in CODES.values()),
            Column("How well known"),
            Column("Numbers", "long"),
        ],
        [
            [
                Cell(row["title"]),
                Cell(UNITS.get(row["unit"]) or row["unit"]),
                *(num(row[f"value_{code}"], measure(row[f"value_{code}"])) for code in CODES),
                Cell(_known_by_code(row)),
                Cell(row["reference"]),
            ]
            for row in rows
        ],
        row_ids=[anchor("measure", row["dimension"]) for row in rows],
    )


def _known_by_code(row: Row) -> str:
    marks = {code: row[f"confidence_{code}"] for code in CODES if row[f"confidence_{code}"]}
    if len(set(marks.values())) == 1:
        mark = next(iter(marks.values()))
        return str(CONFIDENCES.get(mark, mark))
    return ", ".join(f"{CODES[code]}: {CONFIDENCES.get(mark, mark)}" for code, mark in marks.items()) or NOTHING


def options_ledger(rows: Sequence[Row], links: SiteLinks) -> Ledger:
    """Return the entries of some points that a league settles, with what holds this season."""
    return Ledger("options-ledger", "What holds this season", [_option_entry(row, links) for row in rows])


def _option_entry(row: Row, links: SiteLinks) -> Entry:
    lines: list[tuple[str, Sequence[Inline]]] = [
        ("Settled", [_SETTLED.get(row["settled_by"]) or row["settled_by"]]),
        ("Name", [row["option_id"]]),
        ("Choices", [row["choices"]]),
        ("Codes", [codes_words(row["codes"])]),
    ]
    found = listed(row["rule_ids"])
    if found:
        lines.append(("Rules", joined([links.rule(rule_id) for rule_id in found])))
    known = CONFIDENCES.get(row["confidence"]) or row["confidence"]
    lines.append(("Numbers", [f"{row['reference']} ({known})"]))
    if row["note"]:
        lines.append(("Note", [sentence(row["note"])]))
    return Entry(
        anchor("option", row["option_id"]),
        row["title"],
        "disc" if row["in_force"] else "query",
        row["in_force"] or "not settled",
        lines,
    )


def _patterns(rows: Sequence[Row], links: SiteLinks) -> list[Section]:
    if not rows:
        return []
    table = Table(
        "patterns-table",
        "What somebody who rules wrongly here may believe, and how often a misruling fits it",
        [
            Column("Pattern", "long"),
            Column("Where it would be right", "long"),
            Column("Times", "num"),
            Column("Umpires", "num"),
            Column("Share of misrulings", "num"),
        ],
        [
            [
                # Only a pattern that occurred has an entry to lead to.
                Cell(
                    sentence(row["title"]),
                    href=f"{links.root}misrulings.html#{anchor('pattern', row['pattern_id'])}" if row["times"] else None,
                ),
                Cell(sentence(row["true_where"] or "") or NOTHING),
                num(row["times"], count(row["times"])),
                num(row["umpires"], count(row["umpires"])),
                num(row["share"], percent(row["share"])),
            ]
            for row in rows
        ],
    )
    return [
        Section(
            "patterns",
            "Patterns of misruling",
            [table],
            margin=["Read from rulings and written facts, not from a mind. A call counts under the first that fits."],
        )
    ]


def _misrulings(rows: Sequence[Row], links: SiteLinks) -> Section:
    table = Table(
        "misrulings-table",
        "Misrulings of this topic this season",
        [Column("Misruling", "long"), Column("What it costs"), Column("Times", "num"), Column("Umpires", "num")],
        [
            [
                link_cell(links.misruling(row["misruling_code"], row["title"])),
                Cell(CONSEQUENCES.get(row["consequence"]) or NOTHING, sort=row["consequence_weight"]),
                num(row["times"], count(row["times"])),
                num(row["umpires"], count(row["umpires"])),
            ]
            for row in rows
        ],
        empty="None was seen among the graded calls.",
    )
    return Section("misrulings", "Misrulings seen", [table], margin=["The most worth a clinic come first."])
