"""The rules that the rulings rest on, in our own words, with their numbers: the index of topics and rules."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import lru_cache

from markupsafe import Markup

from reports.blocks import Cell, Column, Entry, Inline, Link, Page, Paragraph, Section, Steps, Table
from reports.book import Row, SeasonBook
from reports.drawing import row_html
from reports.figures.order_of_decision import PAPER_WIDTH, layers_of, order_drawing
from reports.links import Atlas, SiteLinks, link_cell
from reports.naming import anchor
from reports.pages.rules_read import RuleBook, joined, known_cell, rule_cell
from reports.pages.rules_rule import rule_page
from reports.pages.rules_topic import options_ledger, topic_page
from reports.words import CODES, CONFIDENCES, NOTHING, count, num, plural, topic

CAUTION = (
    "These are restatements. The rule books, local codes, and the interpretations of whoever governs the game "
    "prevail. A rule marked as from memory or concluded has not been read word for word: check it before "
    "anybody is taught or marked down by it."
)


_OWN_RULES = (
    Column("Rule"),
    Column("In our words", "long"),
    *(Column(title, "ref") for title in CODES.values()),
    Column("How well known"),
    Column("Times used", "num"),
)


def rules_table(table_id: str, caption: str, rules: Sequence[Row]) -> Table:
    """Return the table of some rules for a packet, each row with its anchor."""
    rows = [
        _rule_row(
            rule["rule_id"],
            rule["title"],
            rule["confidence"],
            rule["times_used"],
            *(rule[f"reference_{code}"] for code in CODES),
        )
        for rule in rules
    ]
    return Table(table_id, caption, _OWN_RULES, (), ready=rows)


@lru_cache(maxsize=1024)
def _rule_row(rule_id: str, title: str, confidence: str | None, times_used: int, *references: str | None) -> Markup:
    """Return a rule's row, ready for the page: thousands of packets carry the same rules."""
    cells = [
        Cell(rule_id),
        Cell(title),
        *(Cell(reference or NOTHING) for reference in references),
        Cell(CONFIDENCES.get(confidence or "", NOTHING)),
        num(times_used, count(times_used)),
    ]
    return row_html(cells, _OWN_RULES, anchor("rule", rule_id))


def rule_pages(book: SeasonBook, atlas: Atlas) -> Iterator[Page]:
    """Make `rules.html`, a page for each topic, and a page for each rule."""
    rules = RuleBook(book, atlas)
    yield _index(rules, SiteLinks(atlas, ""))
    deep = SiteLinks(atlas, "../")
    for name, own in rules.by_topic.items():
        yield topic_page(rules, name, own, deep)
    for rule in rules.rules:
        yield rule_page(rules, rule, deep)


def _index(rules: RuleBook, links: SiteLinks) -> Page:
    sections = [
        Section("caution", "Before you rely on these", [Paragraph([CAUTION], tone="caution")]),
        _order(rules, links),
        _topics(rules, links),
        _every_rule(rules, links),
    ]
    if rules.options:
        sections.append(
            Section(
                "options",
                "Points that a league settles",
                [options_ledger(rules.options, links)],
                margin=["The policy settles them by name under [rule_options]. What nobody settled stays open."],
            )
        )
    return Page(
        path="rules.html",
        title="Rules",
        lead=[
            "Each rule that a ruling can rest on, with its number in each code and how well its words are known. "
            "Numbers are cited; the text is ours."
        ],
        sections=sections,
        nav="rules.html",
    )


def _order(rules: RuleBook, links: SiteLinks) -> Section:
    decisions = list(rules.decisions.values())
    if not decisions:
        return Section("order", "Order of decision", [Paragraph(["No order of decision is published."])])
    layers = layers_of(decisions, rules.feeds)
    small = {
        row["decision"]: f"High school {row['rules_nfhs']} · OBR {row['rules_obr']} · College {row['rules_ncaa']}"
        for row in decisions
    }
    steps = Steps(
        "order-figure",
        f"A ruling answers {plural(len(decisions), 'question')} in {plural(max(layers.values()) + 1, 'step')}, each from the facts and the answers before it.",
        order_drawing(decisions, rules.feeds, small),
        order_drawing(decisions, rules.feeds, small, PAPER_WIDTH),
        [_entry(row, layers[row["decision"]] + 1, rules, links) for row in decisions],
        note="A line leads from a question to each that depends on its answer. The last line of a box counts the rules of each code; OBR stands for Official Baseball Rules.",
    )
    return Section(
        "order",
        "Order of decision",
        [steps],
        margin=["Drawn from the declarations that the rulings follow. Questions of one step do not wait for one another."],
    )


def _entry(row: Row, step: int, rules: RuleBook, links: SiteLinks) -> Entry:
    name = row["decision"]
    lines: list[tuple[str, Sequence[Inline]]] = [("Answers", [(row["outcomes"] or NOTHING).replace("; ", ", ")])]
    lines.append(("Asked", [f"Where {row['asked_words']}." if row["asked_words"] else "Always."]))
    if row["otherwise"]:
        lines.append(("No rule", [f"Where no rule speaks the answer is: {row['otherwise']}."]))
    for label, here, there in (("Rests on", "feeds", "decision"), ("Feeds", "decision", "feeds")):
        others = {one[there] for one in rules.feeds if one[here] == name}
        found = [key for key in rules.decisions if key in others]
        if found:
            links_to = [Link(str(rules.decisions[key]["place"]), f"#{anchor('decision', key)}") for key in found]
            lines.append((label, ["question " if len(found) == 1 else "questions ", *joined(links_to)]))
    rule_counts = [f"{title} {row[f'rules_{code}']}" for code, title in CODES.items()]
    lines.append(("Rules", [", ".join(rule_counts)]))
    topics = sorted({rule["topic"] for rule in rules.rules if rule["decision"] == name}, key=topic)
    if topics:
        lines.append(("Topics", joined([links.topic(one, topic(one)) for one in topics])))
    return Entry(anchor("decision", name), row["question"], None, f"step {step}", lines)


def _topics(rules: RuleBook, links: SiteLinks) -> Section:
    names = sorted({*rules.by_topic, *rules.topic_misrulings}, key=topic)
    rows = []
    for name in names:
        own = rules.by_topic.get(name, [])
        wrong = rules.topic_misrulings.get(name, [])
        times = sum(row["times"] for row in wrong)
        rows.append(
            [
                link_cell(links.topic(name, topic(name).capitalize())),
                num(len(own), count(len(own))),
                *(num(n := sum(bool(rule[f"reference_{code}"]) for rule in own), count(n)) for code in CODES),
                num(len(wrong), count(len(wrong))),
                num(times, count(times)),
            ]
        )
    table = Table(
        "topics-table",
        "Topics, their rules in each code, and the misrulings seen this season",
        [
            Column("Topic"),
            Column("Rules", "num"),
            *(Column(title, "num") for title in CODES.values()),
            Column("Misrulings seen", "num"),
            Column("Times", "num"),
        ],
        rows,
    )
    return Section(
        "topics",
        "Topics",
        [table],
        margin=["A misruling is counted under the topic of the call. A topic of calls alone has no page of rules."],
    )


def _every_rule(rules: RuleBook, links: SiteLinks) -> Section:
    table = Table(
        "rules-table",
        "Every rule, with its number in each code",
        [
            Column("Rule"),
            Column("In our words", "long"),
            Column("Topic"),
            *(Column(title, "ref") for title in CODES.values()),
            Column("How well known"),
            Column("Times used", "num"),
        ],
        [
            [
                rule_cell(links, rule["rule_id"]),
                Cell(rule["title"]),
                link_cell(links.topic(rule["topic"], topic(rule["topic"]))),
                *(Cell(rule[f"reference_{code}"] or NOTHING) for code in CODES),
                known_cell(rule["confidence"]),
                num(rule["times_used"], count(rule["times_used"])),
            ]
            for rule in sorted(rules.rules, key=lambda rule: rule["rule_id"])
        ],
        row_ids=[anchor("rule", rule["rule_id"]) for rule in sorted(rules.rules, key=lambda rule: rule["rule_id"])],
        empty="No rule is published.",
    )
    return Section("every", "Every rule", [table])
