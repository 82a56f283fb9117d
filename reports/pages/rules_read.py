"""What the pages of the rules read, once for all of them, and the words that they share."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

from reports.blocks import Cell, Inline, Link, MarkName
from reports.book import Row, SeasonBook
from reports.links import Atlas, SiteLinks
from reports.words import CODES, CONFIDENCES, NOTHING, day, number, topic

UNITS = {"in": "inches", "oz": "ounces", "s": "seconds"}
"""Units of measures as people say them."""

KNOWN: dict[str, MarkName] = {"verified": "disc", "memory": "ring", "inferred": "rhomb"}
"""A shape for each mark of how well a rule is known."""

EXAMPLES = 10
"""So many calls are named as examples on the page of a rule."""


@dataclass(frozen=True)
class RuleBook:
    """The published rules with all that belongs to them."""

    book: SeasonBook
    atlas: Atlas

    @cached_property
    def rules(self) -> Sequence[Row]:
        """Every rule, by topic."""
        return self.book.rules

    @cached_property
    def by_id(self) -> dict[str, Row]:
        """Every rule by its id."""
        return {row["rule_id"]: row for row in self.rules}

    @cached_property
    def by_topic(self) -> dict[str, list[Row]]:
        """Rules by topic, topics in order of their words; a topic of measures alone has none."""
        found: dict[str, list[Row]] = {name: [] for name in sorted(self.atlas.topic_files, key=topic)}
        for row in self.rules:
            found[row["topic"]].append(row)
        return found

    @cached_property
    def codes(self) -> dict[tuple[str, str], Row]:
        """What is said of a rule in a code, by both."""
        return {(row["rule_id"], row["code"]): row for row in self.book.rows("rule_code")}

    @cached_property
    def conditions(self) -> dict[str, list[Row]]:
        """Lines of conditions by rule."""
        return self.book.by("rule_condition", "rule_id")

    @cached_property
    def cases(self) -> dict[str, list[Row]]:
        """Worked cases by rule."""
        return self.book.by("rule_case", "rule_id")

    @cached_property
    def misrulings(self) -> dict[str, list[Row]]:
        """Misrulings by rule, the commonest first."""
        return self.book.by("rule_misruling", "rule_id")

    @cached_property
    def topic_misrulings(self) -> dict[str, list[Row]]:
        """Misrulings of the season by their topic."""
        found: dict[str, list[Row]] = defaultdict(list)
        for row in self.book.misrulings:
            found[row["topic"]].append(row)
        return found

    @cached_property
    def patterns(self) -> dict[str, list[Row]]:
        """Patterns of misruling by topic."""
        return self.book.by("topic_pattern", "topic")

    @cached_property
    def decisions(self) -> dict[str, Row]:
        """The questions by name, in their order."""
        return {row["decision"]: row for row in self.book.rows("decision")}

    @cached_property
    def feeds(self) -> Sequence[Row]:
        """Which question feeds which."""
        return self.book.rows("decision_feed")

    @cached_property
    def dimensions(self) -> dict[str, list[Row]]:
        """Measures by topic."""
        return self.book.by("dimension", "topic")

    @cached_property
    def options(self) -> Sequence[Row]:
        """The points that a league settles."""
        return self.book.rows("rule_option")

    def question(self, decision: str | None) -> str:
        """The question of a decision; its name as words where the order does not have it."""
        row = self.decisions.get(decision or "")
        return row["question"] if row else topic(decision or NOTHING)


def listed(text: str | None) -> list[str]:
    """The ids that were joined by `;`."""
    return [part for part in (text or "").split(";") if part]


def joined(parts: Sequence[Inline], joint: str = ", ") -> list[Inline]:
    """Parts of a text with a joint between them."""
    out: list[Inline] = []
    for part in parts:
        out += [joint] if out else []
        out.append(part)
    return out


def rule_cell(links: SiteLinks, rule_id: str) -> Cell:
    """A cell for a rule's id, leading to its page."""
    target = links.rule(rule_id)
    return Cell(target.text, href=target.href) if isinstance(target, Link) else Cell(target)


def rules_cell(links: SiteLinks, rule_ids: str | None) -> Cell:
    """A cell for several rules."""
    found = [links.rule(rule_id) for rule_id in listed(rule_ids)]
    linked = tuple(one for one in found if isinstance(one, Link))
    return Cell(", ".join(one for one in found if isinstance(one, str)) or ("" if linked else NOTHING), links=linked)


def known_cell(confidence: str | None) -> Cell:
    """A cell for how well a rule is known: shape and word."""
    if not confidence:
        return Cell(NOTHING)
    return Cell(CONFIDENCES.get(confidence, confidence), mark=KNOWN.get(confidence))


def days_words(row: Row) -> str:
    """The days on which a rule is in force, where they have an end: `from 2019-01-01`."""
    parts = []
    if row["valid_from"]:
        parts.append(f"from {day(row['valid_from'])}")
    if row["valid_until"]:
        parts.append(f"until {day(row['valid_until'])}")
    return " ".join(parts)



def instead_words(row: Row, links: SiteLinks) -> list[Inline]:
    """What answers where a code does not have a rule."""
    found = listed(row["instead_rule_ids"])
    parts: list[Inline] = []
    if found:
        *first, last = (links.rule(rule_id) for rule_id in found)
        parts += [*joined(first), " or ", last] if first else [last]
        parts.append(" speaks there")
    if row["instead_outcome"]:
        parts.append(f"{', or else' if found else 'no rule speaks there, and'} the answer is: {row['instead_outcome']}")
    return parts or ["the question does not arise there"]


def codes_words(codes: str | None) -> str:
    """Codes in words."""
    return ", ".join(CODES.get(code, code) for code in (codes or "").split(", ") if code) or NOTHING


def measure(value: float | None) -> str:
    """A measure with no more digits than it needs."""
    if value is None:
        return NOTHING
    return number(value, 3).rstrip("0").rstrip(".")
