"""The decisions of a case in order, each with the rule that spoke and the rules that were passed by, in words."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from pipeline.rules.compile import ENDS
from pipeline.rules.explanation_path import Taken, View
from pipeline.rules.explanation_words import fact_words, joined, plain
from pipeline.rules.expression import All, Condition, Membership, Not
from pipeline.rules.model import Rule
from pipeline.rules.vocabulary import facts

MOST_ALTERNATIVES = 3
"""Of a condition with many alternatives, so many are told."""


@dataclass(frozen=True)
class PassedBy:
    """A rule in force for a decision that did not speak, and why.

    `why` is `not_met`, `gave_way` (met, but an earlier rule came first), or `undecided`; `missing` are then the
    unrecorded facts on which it turns. `same_topic`: it belongs to the topic of the rule that spoke.
    """

    rule_id: str
    title: str
    topic: str
    reference: str
    why: str
    words: str
    missing: tuple[str, ...]
    same_topic: bool


@dataclass(frozen=True)
class Step:
    """One decision: what was asked, what came of it, which rule spoke.

    `state` is `taken` (one outcome), `not_asked`, or `undecided` (missing facts leave several outcomes). `rule_ids`
    are the rules that spoke, or may have. `set_aside_by` is the rule of a later decision that undoes this one; blank
    where none does.
    """

    decision: str
    question: str
    state: str
    outcomes: tuple[str, ...]
    rule_ids: tuple[str, ...]
    words: str
    passed_by: tuple[PassedBy, ...]
    set_aside_by: str = ""

def _noun(name: str) -> str:
    base, _, attribute = name.partition(".")
    if base in facts():
        return fact_words()[base].noun
    return f"the effect of {plain(base)} on the count" if attribute else plain(base)


def _asks(leaf: Membership, negated: bool) -> tuple[str, tuple[str, ...]]:
    """What a comparison asks for: an operator, and the values it names."""
    opposite = {"in": "not in", "not in": "in", "<": ">=", "<=": ">", ">": "<=", ">=": "<"}
    return (opposite[leaf.operator] if negated else leaf.operator), leaf.values


_ASKED = {
    "in": "",
    "not in": "anything but ",
    "<": "fewer than ",
    "<=": "at most ",
    ">": "more than ",
    ">=": "at least ",
}


def _failed(view: View, name: str, asked: Sequence[tuple[str, tuple[str, ...]]]) -> str:
    """How one fact or decision stands against what was asked of it."""
    now = view.possible(name)
    words = fact_words().get(name)
    operators = {operator for operator, _ in asked}
    values = tuple(dict.fromkeys(value for _, listed in asked for value in listed))
    clause = words.values[now[0]] if words is not None and len(now) == 1 else ""
    if clause and (now[0] in ("yes", "no") or (now[0] == "none" and operators == {"not in"})):
        return f"{clause}, the rule asks for the opposite"
    if len(operators) == 1:
        wanted = _ASKED[next(iter(operators))] + joined([plain(value) for value in values], "or")
    else:
        wanted = joined([_ASKED[op] + joined([plain(v) for v in listed], "or") for op, listed in asked], "or")
    if clause and now[0] == "none":
        return f"{clause}; of {_noun(name)} the rule asks for {wanted}"
    return f"{_noun(name)} was {joined([plain(value) for value in now], 'or')}, the rule asks for {wanted}"


def _failing(view: View, condition: Condition, negated: bool) -> list[tuple[str, tuple[str, tuple[str, ...]]]]:
    """The comparisons that keep a condition from being met: the first that failed, or one for each alternative."""
    if isinstance(condition, Membership):
        return [(condition.name, _asks(condition, negated))]
    if isinstance(condition, Not):
        return _failing(view, condition.part, not negated)
    if isinstance(condition, All) != negated:
        failed = [part for part in condition.parts if view.truth(part) is negated]
        return _failing(view, failed[0], negated)
    return [leaf for part in condition.parts for leaf in _failing(view, part, negated)]


def first_failed(view: View, condition: Condition) -> str:
    """Why a condition is not met, in words: the first comparison that failed, or one for each of its alternatives."""
    by_name: dict[str, list[tuple[str, tuple[str, ...]]]] = {}
    for name, asked in _failing(view, condition, False):
        by_name.setdefault(name, []).append(asked)
    words = [_failed(view, name, asked) for name, asked in by_name.items()]
    shown = "; ".join(words[:MOST_ALTERNATIVES])
    return shown + (f"; and so on for {len(words) - MOST_ALTERNATIVES} more" if len(words) > MOST_ALTERNATIVES else "")


def _why(view: View, taken: Taken, rule: Rule) -> tuple[str, str, tuple[str, ...]]:
    met = taken.met[rule.id]
    if met is False:
        return "not_met", first_failed(view, rule.when), ()
    first = [other for other in rule.yields_to if taken.met.get(other)]
    if met and first:
        return "gave_way", f"it was met, and gave way to {joined(first)}", ()
    if met:
        spoke = [rule_id for rule_id in taken.speakers if rule_id]
        return "gave_way", f"it was met too, and says the same as {joined(spoke)}", ()
    names = view.missing(rule.when)
    missing = tuple(name for name in facts() if name in names)
    nouns = joined([fact_words()[name].noun for name in missing])
    return "undecided", f"it turns on what was not recorded: {nouns}" if nouns else "it stays undecided", missing


def _step(view: View, taken: Taken, topics: frozenset[str]) -> Step:
    decision = taken.decision
    spoke = tuple(rule_id for rule_id in taken.speakers if rule_id)
    if taken.asked is False:
        words = first_failed(view, decision.asked) if decision.asked is not None else ""
        words = words.replace("the rule asks for", "it is asked only for")
        return Step(decision.name, decision.question, "not_asked", (), (), words, ())
    own = frozenset(view.active[rule_id].topic for rule_id in spoke) or topics
    passed = []
    for rule_id in taken.met:
        if rule_id in spoke:
            continue
        rule = view.active[rule_id]
        why, words, missing = _why(view, taken, rule)
        reference = rule.codes[view.regime.code].reference
        passed.append(PassedBy(rule_id, rule.title, rule.topic, reference, why, words, missing, rule.topic in own))
    state = "taken" if len(taken.outcomes) == 1 else "undecided"
    words = joined([plain(outcome) for outcome in taken.outcomes], "or")
    if state == "taken" and spoke and not view.active[spoke[0]].says:
        words = view.active[spoke[0]].title.rstrip(".")  # a rule that brings nothing of its own only hands on
    return Step(
        decision.name, decision.question, state, taken.outcomes, spoke,
        words, tuple(passed),
    )  # fmt: skip


def steps(view: View, spoken: Sequence[str]) -> tuple[Step, ...]:
    """Every decision in order, up to one that ends the order without a ruling.

    `spoken` are the rules that made the ruling; their topics are the case's own.
    """
    topics = frozenset(view.active[rule_id].topic for rule_id in spoken if rule_id in view.active)
    aside = {name: rule_id for rule_id in spoken for name in view.active[rule_id].sets_aside}
    found = []
    for taken in view.taken.values():
        one = _step(view, taken, topics)
        by = aside.get(taken.decision.name, "") if one.state == "taken" and one.rule_ids else ""
        found.append(replace(one, set_aside_by=by))
        if len(taken.outcomes) == 1 and taken.outcomes[0] in ENDS:
            break
    return tuple(found)
