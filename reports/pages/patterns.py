"""What umpires who ruled wrongly seem to believe: the patterns of misruling, each with its cases."""

from __future__ import annotations

from collections.abc import Sequence

from reports.blocks import Block, Cell, Column, Entry, Inline, Ledger, Link, Paragraph, Section, Table
from reports.book import Row, SeasonBook
from reports.links import SiteLinks
from reports.naming import anchor
from reports.words import CONFIDENCES, count, num, percent, plural, sentence

KINDS = {
    "code": "another code's rule",
    "day": "a rule that has changed",
    "as_if": "a fact read otherwise",
    "judgement": "a judgement",
    "part": "one part of the ruling",
}
"""The kinds of pattern in words."""


def patterns_section(book: SeasonBook, links: SiteLinks) -> Section:
    """Make the section of the patterns that occurred, the commonest first."""
    rows = book.rows("pattern")
    totals = book.rows("pattern_total")
    blocks: list[Block] = [Paragraph([_sum(totals[0])])] if totals else []
    blocks.append(_table(rows))
    if rows:
        blocks.append(Ledger("pattern-ledger", "Each pattern", [_entry(row, links) for row in rows]))
    return Section(
        "beliefs",
        "What they seem to believe",
        blocks,
        margin=[
            "A pattern is a way to rule that would make the ruling right: it is read from the ruling and the written "
            "facts, not from a mind. The umpire may also have seen other facts than those that were written down. "
            "A call counts under the first pattern that fits it."
        ],
    )


def pattern_line(call: Row, links: SiteLinks) -> Sequence[Inline]:
    """What a misruled call reads like, leading to the pattern's entry; empty where no pattern fits."""
    if not call["pattern_id"]:
        return ()
    title = sentence(call["pattern_title"])
    if links.private:
        return (title,)
    return (Link(title, f"{links.root}misrulings.html#{anchor('pattern', call['pattern_id'])}"),)


def _sum(total: Row) -> str:
    if not total["misruled"]:
        return "No call was misruled."
    text = (
        f"Of {plural(total['misruled'], 'misruled call')} {count(total['explained'])} "
        f"({percent(total['share_explained'])}) read like one of these patterns. "
    )
    rest = total["misruled"] - total["judged"]
    verb = "is" if total["judged"] == 1 else "are"
    text += f"{count(total['judged'])} of them {verb} a judgement of what was seen, mostly ball or strike"
    if rest:
        text += (
            f"; of the other {count(rest)}, {count(total['explained'] - total['judged'])} "
            f"({percent(total['share_explained_by_rule'])}) fit a pattern"
        )
    return text + "."


def _table(rows: Sequence[Row]) -> Table:
    return Table(
        "pattern-table",
        "Patterns of misruling, the commonest first",
        [
            Column("He seems to believe", "long"),
            Column("Kind"),
            Column("Times", "num"),
            Column("Share of misruled calls", "num"),
            Column("Umpires", "num"),
            Column("Fits besides", "num"),
        ],
        [
            [
                Cell(row["title"], href=f"#{anchor('pattern', row['pattern_id'])}"),
                Cell(KINDS[row["kind"]]),
                num(row["times"], count(row["times"])),
                num(row["share"], percent(row["share"])),
                num(row["umpires"], count(row["umpires"])),
                num(row["also_times"], count(row["also_times"])),
            ]
            for row in rows
        ],
        empty="No misruled call fits a pattern.",
    )


def _entry(row: Row, links: SiteLinks) -> Entry:
    lines: list[tuple[str, Sequence[Inline]]] = [
        ("Not so", [row["says"]]),
        ("Holds", [sentence(row["true_where"])]),
    ]
    if row["rule_refs"]:
        known = CONFIDENCES.get(row["confidence"], row["confidence"])
        lines.append(("Rules", [f"{row['rule_refs']} ({known})"]))
    examples: list[Inline] = []
    for call in (row["example_call_ids"] or "").split(";"):
        if call:
            examples += [", "] if examples else []
            examples.append(links.call(call))
    if examples:
        lines.append(("Examples", examples))
    return Entry(
        anchor("pattern", row["pattern_id"]),
        row["title"],
        None,
        KINDS[row["kind"]],
        lines,
        [f"{plural(row['times'], 'time')} by {plural(row['umpires'], 'umpire')}; {percent(row['share'])} of all misruled calls."],
    )
