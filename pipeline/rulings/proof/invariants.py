"""Invariants over the whole space of facts, exactly: no case is listed, and none is left out."""

from __future__ import annotations

from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass

from pipeline.rules.compile import Regime, RuleBook
from pipeline.rules.expression import names_in
from pipeline.rules.invariants import Invariant, ruling_values
from pipeline.rules.model import Answer
from pipeline.rules.vocabulary import facts
from pipeline.rulings.proof.conditions_sql import holds
from pipeline.rulings.proof.findings import Finding, find_case, in_words, quiet_values, title

ELSEWHERE, MET, BROKEN = "elsewhere", "met", "broken"


@dataclass(frozen=True)
class InvariantAccount:
    """For one invariant in one regime: how many of all combinations of facts it speaks of, and how many break it."""

    id: str
    regime: str
    spoken_of: int
    broken: int
    finding: Finding | None


def prove_invariant(book: RuleBook, regime: Regime, invariant: Invariant) -> InvariantAccount:
    """Join the ruling of every combination with the facts that the invariant names, and count where it holds."""
    forest = book.forest
    named = list(dict.fromkeys([*names_in(invariant.where), *names_in(invariant.holds)]))
    names, parts = [one for one in named if one in facts()], [one for one in named if one not in facts()]

    def read(answer: Hashable) -> tuple[str, ...]:
        if not isinstance(answer, Answer):
            raise TypeError(f"no ruling: {answer!r}")
        values = ruling_values(answer, book.rules)
        return tuple(values[part] for part in parts)

    def judge(told: tuple[Hashable, ...]) -> str:
        values = dict(zip([*parts, *names], [*told[0], *map(str, told[1:])], strict=True))  # type: ignore[misc]
        if not holds(invariant.where, values):
            return ELSEWHERE
        return MET if holds(invariant.holds, values) else BROKEN

    # The diagram of the parts named is far smaller than that of whole rulings.
    ruled = forest.map(regime.root, read)
    root = forest.combine(judge, (ruled, *(forest.ask(name, lambda value: value) for name in names)))
    times = forest.count(root)
    broken = times.get(BROKEN, 0)
    finding = None
    if broken:
        case = find_case(forest, root, lambda one: one == BROKEN, quiet=quiet_values()) or {}
        says = f"{invariant.id} does not hold in {broken:,} combinations of facts: {invariant.says}"
        finding = Finding("invariants", title(regime), says, in_words(case))
    return InvariantAccount(invariant.id, title(regime), broken + times.get(MET, 0), broken, finding)


def unspoken(
    accounts: Sequence[InvariantAccount], declared: Sequence[Invariant], codes: Sequence[str]
) -> list[Finding]:
    """Invariants that speak of no combination in any regime: they could not fail."""
    spoken: Mapping[str, int] = {
        one.id: sum(account.spoken_of for account in accounts if account.id == one.id) for one in declared
    }
    return [
        Finding("invariants", "every regime", f"{one.id} speaks of no case at all, so it proves nothing: {one.says}")
        for one in declared
        if not spoken[one.id] and set(one.codes) & set(codes)
    ]
