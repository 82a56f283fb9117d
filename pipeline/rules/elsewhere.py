"""What becomes of the facts that a rule speaks of in a code that has no such rule."""

from __future__ import annotations

import datetime as dt
import functools
from collections.abc import Hashable, Mapping
from dataclasses import dataclass

from pipeline.rules.compile import NOT_ASKED, _Compiler, _Shared
from pipeline.rules.diagram import Forest
from pipeline.rules.model import CODES, Rule
from pipeline.rules.reading import decisions, rules
from pipeline.rules.vocabulary import facts


@dataclass(frozen=True)
class Instead:
    """What answers the rule's own question in another code, over all facts on which the rule would speak.

    `rule_ids` are the rules that speak on some of them; `outcome` is what holds where none does (None: one always
    does). Both empty: the question never arises there.
    """

    rule_ids: tuple[str, ...]
    outcome: str | None


@functools.cache
def elsewhere() -> Mapping[tuple[str, str], Instead]:
    """By rule id and code, for each code that does not have the rule, under the newest rules of that code.

    Exact: the diagrams of the decisions are walked over all facts. A rule would speak where its question is
    asked, its condition is met, and no rule that it yields to is met.
    """
    found = {}
    forest, shared = Forest([fact.variable for fact in facts().values()]), _Shared()
    for code in CODES:
        compiler = _newest(code, forest, shared)
        outcomes = {decision.name: decision.otherwise for decision in decisions()}
        for rule in rules().values():
            if code not in rule.codes:
                found[rule.id, code] = _instead(compiler, rule, outcomes)
    return found


def _newest(code: str, forest: Forest, shared: _Shared) -> _Compiler:
    """Return a compiler that has taken every decision of a code under its newest rules."""
    last = dt.date.max
    active = {rule.id: rule for rule in rules().values() if code in rule.codes and rule.codes[code].in_force(last)}
    compiler = _Compiler(forest, code, active, shared)
    for decision in decisions():
        compiler.roots[decision.name] = compiler.decide(decision)
    return compiler


def _instead(compiler: _Compiler, rule: Rule, outcomes: Mapping[str, str | None]) -> Instead:
    forest = compiler.forest
    speaks = compiler.condition(rule.when)
    for other in rule.yields_to:
        if other in compiler.active:
            speaks = forest.conjoin(speaks, forest.negate(compiler.condition(compiler.active[other].when)))
    answers: set[Hashable] = forest.ends(forest.choose(speaks, compiler.roots[rule.decision], forest.end(None)))
    spoken = {str(answer) for answer in answers if answer is not None}
    ids = tuple(sorted(spoken & compiler.active.keys()))
    rest = {compiler.outcome(answer) for answer in spoken - set(ids)} - {NOT_ASKED}
    return Instead(ids, outcomes[rule.decision] if rest else None)
