"""The reduced domain of one regime: a table of complete cases, made by cross joins around every rule.

For each rule that can speak there is one case in which it does, as quiet as can be otherwise. Around that case the
facts nearest to the rule take all their values, crossed with one another, until the block is full: first the facts
that its own condition names, then those of the rules whose order with it is declared, then those of the decisions
that it asks about, then those of the rules that ask about its decision, then all others in a fixed shuffled order.
Values that no condition of the regime tells apart are one class and stand for each other; that the diagram treats
them alike is checked.
"""

from __future__ import annotations

import functools
import random
from collections.abc import Hashable, Iterator, Mapping, Sequence

from pipeline.rules.compile import Regime, RuleBook
from pipeline.rules.diagram import Forest
from pipeline.rules.expression import memberships_in, names_in
from pipeline.rules.model import Answer, Rule
from pipeline.rules.reading import decisions
from pipeline.rules.vocabulary import facts
from pipeline.rulings.proof.conditions_sql import kind_of, literal, quoted
from pipeline.rulings.proof.findings import find_case, quiet_values
from pipeline.rulings.proof.tables import classes, input_of
from pipeline.store import Store


def active_rules(book: RuleBook, regime: Regime) -> dict[str, Rule]:
    """The rules of a regime by id."""
    return {rule_id: book.rules[rule_id] for rule_id in regime.rule_ids}


def value_classes(active: Mapping[str, Rule]) -> dict[str, list[tuple[str, ...]]]:
    """By fact: its values, gathered where no condition of the regime tells them apart."""
    told = [one for rule in active.values() for one in memberships_in(rule.when)]
    for decision in decisions():
        told += list(memberships_in(decision.asked)) if decision.asked else []
    return {
        name: [
            tuple(cell[name] for cell in group)
            for group in classes(
                [{name: value} for value in fact.values], list(dict.fromkeys(one for one in told if one.name == name))
            )
        ]
        for name, fact in facts().items()
    }


def unlike_in_class(book: RuleBook, regime: Regime, groups: Mapping[str, Sequence[Sequence[str]]]) -> list[str]:
    """The facts for which some place of the diagram treats values of one class differently (none, if all is well)."""
    forest, unlike = book.forest, set()
    for node in forest.reachable(regime.root):
        if not forest.is_end(node):
            variable = forest.variables[forest.levels[node]]
            branch = dict(zip(variable.values, forest.branches[node], strict=True))
            if any(len({branch[value] for value in group}) > 1 for group in groups[variable.name]):
                unlike.add(variable.name)
    return sorted(unlike)


def _speaks(rule_id: str, answer: Hashable) -> bool:
    return isinstance(answer, Answer) and rule_id in answer.rule_ids


def witnesses(book: RuleBook, regime: Regime) -> dict[str, dict[str, str]]:
    """By rule that speaks anywhere: complete facts on which it speaks, as quiet as can be."""
    return {rule_id: dict(case) for rule_id, case in _witnesses(book.forest, regime.root).items()}


@functools.lru_cache(maxsize=16)
def _witnesses(forest: Forest, root: int) -> dict[str, dict[str, str]]:
    quiet = quiet_values()
    able = sorted({rule_id for one in forest.ends(root) if isinstance(one, Answer) for rule_id in one.rule_ids})
    found = {}
    for rule_id in able:
        case = find_case(forest, root, functools.partial(_speaks, rule_id), quiet=quiet)
        if case is not None:
            found[rule_id] = {**quiet, **case}
    return found


def nearest(rule: Rule, active: Mapping[str, Rule]) -> list[str]:
    """All facts, those nearest to a rule first."""

    def rings() -> Iterator[Iterator[str]]:
        yield names_in(rule.when)
        for other in active.values():
            if other.decision == rule.decision and (other.id in rule.yields_to or rule.id in other.yields_to):
                yield names_in(other.when)
        asked = {input_of(name) for name in names_in(rule.when)} | {rule.decision}
        for other in active.values():
            if other.decision in asked:
                yield names_in(other.when)
        for other in active.values():
            if rule.decision in {input_of(name) for name in names_in(other.when)}:
                yield names_in(other.when)

    rest = list(facts())
    random.Random(rule.id).shuffle(rest)  # noqa: S311 - a fixed order, not a secret
    return list(dict.fromkeys([*(name for ring in rings() for name in ring if name in facts()), *rest]))


def blocks(
    book: RuleBook, regime: Regime, rows_per_rule: int, groups: Mapping[str, Sequence[Sequence[str]]]
) -> Iterator[dict[str, list[str]]]:
    """For each rule that can speak, by fact the values that its block crosses (one for most facts)."""
    active = active_rules(book, regime)
    for rule_id, case in witnesses(book, regime).items():
        opened = {name: [value] for name, value in case.items()}
        size = 1
        for name in nearest(active[rule_id], active):
            width = len(groups[name])
            if size * width <= rows_per_rule:
                size *= width
                opened[name] = [group[0] for group in groups[name]]
        yield opened


def make_domain(store: Store, opened: Sequence[Mapping[str, Sequence[str]]], target: str) -> int:
    """Make table `target` (`case_no` and a column for each fact) from blocks of values; return its row count.

    Blocks of neighbouring rules overlap; each case is kept once, in the first block that has it. Blocks are products,
    so what two of them have in common is one too: it is left out by a condition, and no row is looked up.
    """
    columns = ", ".join(f"{quoted(name)} {kind_of(fact.values)}" for name, fact in facts().items())
    store.run(f"CREATE OR REPLACE TEMP TABLE {target} (case_no BIGINT, {columns})")
    total = 0
    before: list[dict[str, frozenset[str]]] = []
    for block in opened:
        selected, stride = [], 1
        for name in facts():
            values, kind = block[name], kind_of(facts()[name].values)
            if len(values) == 1:
                selected.append(f"{literal(values[0])}::{kind} AS {quoted(name)}")
                continue
            # The digits of the case's number, one for each fact: planning a join of so many lists takes longer.
            listed = ", ".join(map(literal, values))
            digit = f"number // {stride} % {len(values)} + 1"
            selected.append(f"list_extract([{listed}]::{kind}[], {digit}) AS {quoted(name)}")
            stride *= len(values)
        held = {name: frozenset(values) for name, values in block.items()}
        made = f"SELECT {total} + number + 1 AS case_no, {', '.join(selected)} FROM range({stride}) AS r(number)"
        store.run(f"INSERT INTO {target} SELECT * FROM ({made}) WHERE NOT ({_made_before_sql(held, before)})")
        before.append(held)
        total += stride
    return int(store.value(f"SELECT count(*) FROM {target}"))


def _made_before_sql(block: Mapping[str, frozenset[str]], before: Sequence[Mapping[str, frozenset[str]]]) -> str:
    """Whether a case of a block is one of an earlier block's too."""
    shared = {
        frozenset((name, values & other[name]) for name, values in block.items() if not values <= other[name])
        for other in before
        if all(values & other[name] for name, values in block.items())
    }
    # Of two parts of which one holds the other, the larger says all.
    largest = [one for one in shared if not any(other < one for other in shared)]
    parts = [
        " AND ".join(
            f"{quoted(name)} IN ({', '.join(map(literal, sorted(values)))})"
            for name, values in sorted(one, key=lambda pair: pair[0])
        )
        or "TRUE"
        for one in largest
    ]
    return " OR ".join(f"({part})" for part in sorted(parts)) or "FALSE"
