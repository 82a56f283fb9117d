"""The rules that the rulings rest on, in our own words, with their numbers."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import groupby

from reports.blocks import Cell, Column, Page, Paragraph, Section, Table
from reports.book import Row, SeasonBook
from reports.naming import anchor, slug
from reports.words import CONFIDENCES, NOTHING, count, num, topic


def rules_table(table_id: str, caption: str, rules: Sequence[Row]) -> Table:
    """Return the table of some rules, each row with its anchor."""
    return Table(
        table_id,
        caption,
        [
            Column("Rule"),
            Column("In our words", "long"),
            Column("High school"),
            Column("Official Baseball Rules"),
            Column("College"),
            Column("How well known"),
            Column("Times used", "num"),
        ],
        [
            [
                Cell(rule["rule_id"]),
                Cell(rule["title"]),
                Cell(rule["reference_nfhs"] or NOTHING),
                Cell(rule["reference_obr"] or NOTHING),
                Cell(rule["reference_ncaa"] or NOTHING),
                Cell(CONFIDENCES.get(rule["confidence"] or "", NOTHING)),
                num(rule["times_used"], count(rule["times_used"])),
            ]
            for rule in rules
        ],
        row_ids=[anchor("rule", rule["rule_id"]) for rule in rules],
    )


def rules_page(book: SeasonBook) -> Page:
    """Make `rules.html`."""
    sections = [
        Section(
            f"topic-{slug(name)}",
            topic(name).capitalize(),
            [rules_table(f"rules-{slug(name)}", f"Rules: {topic(name)}", list(group))],
        )
        for name, group in groupby(book.rules, key=lambda rule: rule["topic"])
    ]
    caution = Paragraph(
        [
            "These are restatements. The rule books, local codes, and the interpretations of whoever governs the game "
            "prevail. A rule marked as from memory or concluded has not been read word for word: check it before "
            "anybody is taught or marked down by it."
        ],
        tone="caution",
    )
    return Page(
        path="rules.html",
        title="Rules used",
        lead=[
            "Each rule that a ruling can rest on, with its number in each code and how well its words are known. "
            "Numbers are cited; the text is ours."
        ],
        sections=[Section("caution", "Before you rely on these", [caution]), *sections],
        nav="rules.html",
    )
