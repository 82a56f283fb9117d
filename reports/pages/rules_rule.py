"""The page of one rule."""

from __future__ import annotations

from collections.abc import Sequence

from reports.blocks import (
    Block,
    Cell,
    Column,
    Entry,
    Exact,
    Inline,
    Ledger,
    Link,
    MarkName,
    Outline,
    Page,
    Paragraph,
    Points,
    Section,
    Table,
    Terms,
)
from reports.book import Row
from reports.links import SiteLinks, link_cell
from reports.naming import anchor
from reports.pages.rules_read import EXAMPLES, RuleBook, instead_words, joined, known_cell, listed
from reports.words import CODES, NOTHING, count, day, num, plural, sentence, topic

_MET: dict[str, tuple[str, MarkName]] = {
    "met": ("the rule is met", "disc"),
    "not_met": ("the rule is not met", "dash"),
    "unknown": ("a fact is missing", "query"),
}


def rule_page(rules: RuleBook, rule: Row, links: SiteLinks) -> Page:
    """Make the page of one rule."""
    topic_link = links.topic(rule["topic"], topic(rule["topic"]).capitalize())
    return Page(
        path=f"rules/{rules.atlas.rule_files[rule['rule_id']]}.html",
        title=f"Rule {rule['rule_id']}",
        lead=[rule["title"]],
        sections=[
            _says(rules, rule, links),
            _condition(rules, rule),
            _codes(rules, rule, links),
            _exceptions(rules, rule, links),
            _cases(rules, rule),
            _season(rules, rule, links),
        ],
        trail=[Link("Rules", f"{links.root}rules.html"), *([topic_link] if isinstance(topic_link, Link) else [])],
        nav="rules.html",
    )


def _says(rules: RuleBook, rule: Row, links: SiteLinks) -> Section:
    items: list[tuple[str, Sequence[Inline]]] = []
    if rule["decision"] in rules.decisions:
        href = f"{links.root}rules.html#{anchor('decision', rule['decision'])}"
        items.append(("Question", [Link(rules.question(rule["decision"]), href)]))
    if rule["outcome"]:
        items.append(("Answer", [sentence(rule["outcome"])]))
    if rule["brings"]:
        items.append(("Ruling", [sentence(rule["brings"])]))
    if rule["count_effect"]:
        items.append(("On the count", [sentence(rule["count_effect"])]))
    aside = listed(rule["sets_aside"])
    if aside:
        items.append(("Sets aside", ["The answers to ", *joined([f"“{rules.question(name)}”" for name in aside]), "."]))
    items.append(("Given as reason", [rule["says"] or "It adds no sentence of its own."]))
    return Section("says", "What it says", [Terms(items)])


def _condition(rules: RuleBook, rule: Row) -> Section:
    lines = [(row["depth"], _line(row["words"])) for row in rules.conditions.get(rule["rule_id"], [])]
    blocks: list[Block] = [Outline(lines)]
    if rule["condition"]:
        blocks.append(Exact("The exact condition", rule["condition"]))
    return Section("condition", "When it speaks", blocks, margin=["In words made from the exact condition."])


def _line(words: str) -> str:
    return words if words.endswith(":") else sentence(words)


def _codes(rules: RuleBook, rule: Row, links: SiteLinks) -> Section:
    rows = []
    for code, title in CODES.items():
        row = rules.codes.get((rule["rule_id"], code))
        if row is None or not row["confidence"]:
            parts = tuple(instead_words(row, links)) if row else ()
            rows.append([Cell(title), *[Cell(NOTHING)] * 4, Cell("No such rule", parts=parts)])
            continue
        rows.append(
            [
                Cell(title),
                Cell(row["reference"] or NOTHING),
                known_cell(row["confidence"]),
                Cell(day(row["valid_from"])),
                Cell(day(row["valid_until"])),
                Cell(row["note"] or NOTHING),
            ]
        )
    table = Table(
        "codes-table",
        "Number, how well its words are known, and days in force",
        [
            Column("Code"),
            Column("Number", "ref"),
            Column("How well known"),
            Column("From", "ref"),
            Column("Until", "ref"),
            Column("Note", "long"),
        ],
        rows,
    )
    return Section(
        "codes",
        "In each code",
        [table],
        margin=["Where a code has no such rule, the note names the rules that answer its question there on some of the same facts."],
    )


def _exceptions(rules: RuleBook, rule: Row, links: SiteLinks) -> Section:
    blocks: list[Block] = []
    for key, title in (("yields_to", "Gives way to"), ("comes_before", "Comes before")):
        found = listed(rule[key])
        items = [[links.rule(one), f": {rules.by_id[one]['title']}" if one in rules.by_id else ""] for one in found]
        if items:
            blocks.append(Points(items, title))
    if not blocks:
        blocks = [Paragraph(["No rule comes before it, and it comes before none."])]
    return Section(
        "exceptions", "Exceptions", blocks, margin=["Where a rule that it gives way to is met, this one is silent."]
    )


def _cases(rules: RuleBook, rule: Row) -> Section:
    entries = [_case_entry(case) for case in rules.cases.get(rule["rule_id"], [])]
    blocks: list[Block] = [Paragraph(["It has no case of its own."])]
    if entries:
        blocks = [Ledger("cases-ledger", "Worked out by hand; every build of the rules is held to them", entries)]
    return Section(
        "cases",
        "Worked cases",
        blocks,
        margin=["A fact that is not given is what a blank cell is read as. Without a day, the newest rules hold."],
    )


def _case_entry(case: Row) -> Entry:
    word, mark = _MET.get(case["rule_state"] or "", (NOTHING, "dash"))
    lines: list[tuple[str, Sequence[Inline]]] = []
    for label, text in (("Facts", case["given"]), ("Settled", case["options"]), ("Ruling", _comes_out(case))):
        if text:
            lines.append((label, [sentence(text)]))
    if case["source"]:
        lines.append(("Source", [case["source"]]))
    played = CODES.get(case["code"], case["code"])
    return Entry(
        f"case-{case['case_no']}",
        sentence(case["name"]),
        mark,
        word,
        lines,
        [f"{played}, {day(case['day'])}." if case["day"] else f"{played}."],
    )


def _comes_out(case: Row) -> str:
    state = {"settled": "", "open": "open", "contradiction": "the facts contradict each other"}.get(
        case["state"] or "settled", topic(case["state"] or "")
    )
    return "; ".join(part for part in (state, case["ruling"]) if part)


def _season(rules: RuleBook, rule: Row, links: SiteLinks) -> Section:
    seen = rules.misrulings.get(rule["rule_id"], [])
    examples = _examples(seen)
    told = "No ruling of the season used it."
    if rule["times_used"]:
        wrong = plural(rule["times_wrong"] or 0, "of those calls was", "of those calls were")
        told = f"{plural(rule['times_used'], 'ruling')} of the season used it; {wrong} wrong in some part."
    table = Table(
        "misrulings-table",
        "Misrulings where the right ruling used it",
        [Column("Misruling", "long"), Column("Times", "num"), Column("Examples", "long")],
        [
            [
                link_cell(links.misruling(row["misruling_code"], row["title"])),
                num(row["times"], count(row["times"])),
                _calls_cell(examples[row["misruling_code"]], links),
            ]
            for row in seen
        ],
        empty="None was seen.",
    )
    return Section(
        "season",
        "This season",
        [Paragraph([told]), table],
        margin=["A ruling rests on several rules. The part that went wrong need not be the one that this rule decides."],
    )


def _examples(seen: Sequence[Row]) -> dict[str, list[str]]:
    """Share out the example calls: one for each misruling in turn, the commonest first, until there are enough."""
    waiting = {row["misruling_code"]: listed(row["example_call_ids"]) for row in seen}
    found: dict[str, list[str]] = {code: [] for code in waiting}
    left = EXAMPLES
    while left and any(waiting.values()):
        for code, calls in waiting.items():
            if calls and left:
                found[code].append(calls.pop(0))
                left -= 1
    return found


def _calls_cell(calls: Sequence[str], links: SiteLinks) -> Cell:
    found = [links.call(call) for call in calls]
    linked = tuple(one for one in found if isinstance(one, Link))
    return Cell(", ".join(one for one in found if isinstance(one, str)) or ("" if linked else NOTHING), links=linked)
