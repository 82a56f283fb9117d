"""The order of decision as rows: the questions, and which of them feeds which."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

from pipeline.publish.rule_words import condition_sentence, plain
from pipeline.rules.expression import Condition, names_in
from pipeline.rules.model import CODES, Rule
from pipeline.rules.reading import decisions


def decision_rows(ordered: Sequence[Rule]) -> Iterator[Sequence[Any]]:
    """Yield the rows of `decision_text`: one for each decision, in the order in which they are taken."""
    for place, decision in enumerate(decisions(), 1):
        own = [rule for rule in ordered if rule.decision == decision.name]
        yield (
            decision.name,
            place,
            decision.question,
            "; ".join(plain(outcome) for outcome in decision.outcomes),
            " ".join(decision.asked_text.split()) if decision.asked_text else None,
            condition_sentence(decision.asked) if decision.asked else None,
            plain(decision.otherwise) if decision.otherwise else None,
            *(sum(code in rule.codes for rule in own) for code in CODES),
        )


def feed_rows(ordered: Sequence[Rule]) -> Iterator[Sequence[Any]]:
    """Yield the rows of `decision_feed_text`: one for each decision and each that it feeds."""
    for target in decisions():
        asked = _named(target.asked)
        by_rule = [_named(rule.when) for rule in ordered if rule.decision == target.name]
        for source in decisions():
            rules = sum(source.name in names for names in by_rule)
            if source.name in asked or rules:
                yield (source.name, target.name, source.name in asked, rules)


def _named(condition: Condition | None) -> set[str]:
    return {name.partition(".")[0] for name in names_in(condition)} if condition is not None else set()
