"""Open rulings: what is listed as possible is what some filling of the missing facts leads to, and nothing else.

Two arguments. First, over the whole diagram: every place asks a fact that no place above it asked, one branch for
each value; so each way down from a place is taken by some filling, and the ends below a place are exactly the
rulings of all fillings. Second, by trial: for sets of facts with some missing, every filling is ruled in DuckDB by
the conditions alone (no diagram), and the union is compared with what the ruling of the open case lists.
"""

from __future__ import annotations

import math
import random
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from pipeline.rules.answer import rule_case
from pipeline.rules.compile import Regime, RuleBook
from pipeline.rules.model import RULING_FIELDS
from pipeline.rules.vocabulary import facts
from pipeline.rulings.proof.chain import ChainSql
from pipeline.rulings.proof.conditions_sql import kind_of, quoted
from pipeline.rulings.proof.domain import active_rules, witnesses
from pipeline.rulings.proof.findings import Finding, in_words, title
from pipeline.store import Store

Case = dict[str, str | None]

MOST_FILLINGS = 512
"""A drawn set of facts has at most this many fillings."""


@dataclass
class OpennessAccount:
    """What was tried in one regime."""

    regime: str
    places: int
    drawn: int = 0
    one_missing: int = 0
    two_missing: int = 0
    fillings: int = 0
    still_open: int = 0
    findings: list[Finding] = field(default_factory=list)


def unsound_places(book: RuleBook, regime: Regime) -> int:
    """How many places of the diagram do not ask a new fact with one branch for each value, or ask in vain."""
    forest, found = book.forest, 0
    for node in forest.reachable(regime.root):
        if not forest.is_end(node):
            level, branches = forest.levels[node], forest.branches[node]
            found += (
                len(branches) != len(forest.variables[level].values)
                or any(forest.levels[branch] <= level for branch in branches)
                or len(set(branches)) == 1
            )
    return found


def drawn_cases(book: RuleBook, regime: Regime, number: int) -> Iterator[Case]:
    """Sets of facts with one to six missing, most of them facts that the ruling turns on (always the same ones)."""
    rng = random.Random(title(regime))  # noqa: S311 - the same draws every time, not a secret
    seeds = list(witnesses(book, regime).values())
    for _ in range(number):
        whole = dict(rng.choice(seeds))
        for name in rng.sample(list(whole), rng.choice((0, 2, 5))):
            whole[name] = rng.choice(facts()[name].values)
        case: Case = dict(whole)
        asked = [name for name, _ in book.forest.path(regime.root, whole)[0]]
        room = MOST_FILLINGS
        for name in [*rng.sample(asked, min(len(asked), rng.choice((1, 2, 3, 4)))), *rng.sample(list(case), 2)]:
            if case[name] is not None and room >= len(facts()[name].values):
                room //= len(facts()[name].values)
                case[name] = None
        yield case


def cases_without(book: RuleBook, regime: Regime, every: int) -> Iterator[tuple[int, Case]]:
    """Around a case of every rule that speaks: each one fact missing, and each two that can matter together.

    Of pairs, those are left out of which one fact does not matter once the other is missing: the diagram then does
    not ask it, and the case is one with a single fact missing. `every` takes only each n-th rule.
    """
    forest = book.forest
    for whole in list(witnesses(book, regime).values())[::every]:
        asked = {name for name, _ in forest.path(regime.root, whole)[0]}
        pairs: set[frozenset[str]] = set()
        for name in whole:
            case: Case = {**whole, name: None}
            yield 1, case
            if name in asked:
                pairs |= {frozenset((name, other)) for other in _below(book, regime, whole, name)}
        for pair in sorted(map(sorted, pairs)):
            yield 2, {**whole, **dict.fromkeys(pair)}


def _below(book: RuleBook, regime: Regime, whole: Mapping[str, str], gone: str) -> set[str]:
    """The facts that some filling of one missing fact makes the diagram ask."""
    forest = book.forest
    found: set[str] = set()
    for value in facts()[gone].values:
        found |= {name for name, _ in forest.path(regime.root, {**whole, gone: value})[0]}
    return found - {gone}


def _fill(store: Store, cases: Sequence[Case]) -> int:
    """Make table `filling`: a row for each filling of each case, `set_no` telling the case."""
    names = list(facts())
    widths = [len(facts()[name].values) for name in names]
    place = [{value: i for i, value in enumerate(facts()[name].values)} for name in names]
    # A missing fact stands as its first value, until its own column is filled.
    known = [
        [0 if (value := case[name]) is None else place[i][value] for i, name in enumerate(names)] for case in cases
    ]
    gone = [[i for i, name in enumerate(names) if case[name] is None] for case in cases]
    rows = [math.prod(widths[i] for i in some) for some in gone]
    codes = np.repeat(np.array(known, dtype=np.uint8), rows, axis=0)
    first = 0
    for some, count in zip(gone, rows, strict=True):
        number = np.arange(count)
        for i in some:
            codes[first : first + count, i] = number % widths[i]
            number //= widths[i]
        first += count
    columns: dict[str, object] = {"set_no": np.repeat(np.arange(len(cases), dtype=np.int32), rows)}
    for i, name in enumerate(names):
        columns[name] = pd.Categorical.from_codes(codes[:, i].astype(np.int8), pd.Index(facts()[name].values))
    cast = ", ".join(f"{quoted(name)}::VARCHAR::{kind_of(facts()[name].values)} AS {quoted(name)}" for name in names)
    store.connection.register("fillings", pd.DataFrame(columns))
    try:
        store.run(f"CREATE OR REPLACE TEMP TABLE filling AS SELECT set_no, {cast} FROM fillings")
    finally:
        store.connection.unregister("fillings")
    return first


def _named(values: set[str]) -> set[str]:
    """How the values of one part are written: what is not called has a name only beside another value."""
    return {value or "none_called" for value in values} if len(values) > 1 else values


def check_cases(
    store: Store, book: RuleBook, regime: Regime, cases: Sequence[Case], account: OpennessAccount, chunk: int = 4000
) -> None:
    """Compare what is listed for each case with the union over its fillings."""
    chain = ChainSql(active_rules(book, regime))
    parts = ", ".join(quoted(f"ruling.{part}") for part in RULING_FIELDS)
    for start in range(0, len(cases), chunk):
        some = cases[start : start + chunk]
        account.fillings += _fill(store, some)
        store.run("PRAGMA disable_optimizer")
        try:
            rows = store.rows(
                f"SELECT DISTINCT set_no, {quoted('ruling.state')}, {quoted('ruling.outs_added')}, {parts} "
                f"FROM ({chain.ruled(chain.spoken('filling'))})"
            )
        finally:
            store.run("PRAGMA enable_optimizer")
        union: list[set[tuple[str, ...]]] = [set() for _ in some]
        for number, *told in rows:
            union[number].add(tuple(map(str, told)))
        for case, found in zip(some, union, strict=True):
            listed = rule_case(book, regime, case)
            if says := _differs(found, listed.state, listed.outs_added, listed.ruling):
                account.findings.append(Finding("open rulings", account.regime, says, in_words(case)))
            account.still_open += listed.state == "open"


def _differs(found: set[tuple[str, ...]], state: str, outs: str, ruling: Mapping[str, str]) -> str:
    """What is wrong with a listed ruling, given all that its fillings lead to; blank where nothing is."""
    sound = {one for one in found if one[0] != "contradiction"}
    settled = {one for one in sound if one[0] == "settled"}
    expected = "contradiction" if not sound else "settled" if settled and len(sound) == 1 else "open"
    if state != expected:
        return f"the state is {state} where the fillings make it {expected}"
    for place, part in enumerate(RULING_FIELDS, 2):
        possible = _named({one[place] for one in settled} or {""})
        if set(ruling[part].split("|")) != possible:
            led_to = " or ".join(sorted(possible))
            return f"{part} is listed as {ruling[part] or 'blank'} where the fillings lead to {led_to}"
    if settled and set(outs.split("|")) != {one[1] for one in settled}:
        led_to = " or ".join(sorted({one[1] for one in settled}))
        return f"the outs are listed as {outs} where the fillings lead to {led_to}"
    return ""


def prove_openness(store: Store, book: RuleBook, regime: Regime, draws: int, every: int) -> OpennessAccount:
    """Prove the open rulings of one regime: `draws` drawn sets of facts, and one or two missing at each n-th rule."""
    account = OpennessAccount(title(regime), sum(1 for _ in book.forest.reachable(regime.root)))
    if wrong := unsound_places(book, regime):
        account.findings.append(
            Finding("open rulings", account.regime, f"{wrong:,} places of the diagram do not ask a new fact in full")
        )
    drawn = list(drawn_cases(book, regime, draws))
    near = list(cases_without(book, regime, every))
    account.drawn = len(drawn)
    account.one_missing = sum(number == 1 for number, _ in near)
    account.two_missing = len(near) - account.one_missing
    check_cases(store, book, regime, [*drawn, *(case for _, case in near)], account)
    return account
