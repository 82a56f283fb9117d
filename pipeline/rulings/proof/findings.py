"""What a proof reports: something disproved, with one case that shows it."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterable, Mapping
from dataclasses import dataclass

import schemas
from pipeline.rules.compile import Regime
from pipeline.rules.diagram import Forest
from pipeline.rules.vocabulary import facts


@dataclass(frozen=True)
class Finding:
    """One statement that does not hold: in which part of the proof, under which rules, and a case (may be empty)."""

    part: str
    regime: str
    says: str
    example: str = ""

    def __str__(self) -> str:
        return f"{self.part}, {self.regime}: {self.says}" + (f"; for example {self.example}" if self.example else "")


def title(regime: Regime) -> str:
    """The name of a regime in words: its code, and the day from which it holds."""
    return regime.code if regime.first_day is None else f"{regime.code} from {regime.first_day.isoformat()}"


def quiet_values() -> dict[str, str]:
    """By fact: the value that says that nothing happened (what a blank is read as), else its first value."""
    blanks = {field.name: field.blank_value for field in schemas.table("plate_calls").fields}
    return {
        name: blank if (blank := blanks.get(name)) in fact.values else fact.values[0]
        for name, fact in facts().items()
    }  # fmt: skip


def in_words(case: Mapping[str, str | None]) -> str:
    """A case as one line: the facts that are not as quiet as can be, and those that are missing."""
    quiet = quiet_values()
    told = [f"{name} {'not recorded' if value is None else '= ' + value}" for name, value in case.items()
            if value != quiet.get(name)]  # fmt: skip
    return ", ".join(told) or "nothing out of the ordinary"


def find_case(
    forest: Forest,
    root: int,
    wanted: Callable[[Hashable], bool],
    allowed: Mapping[str, Iterable[str]] | None = None,
    quiet: Mapping[str, str] | None = None,
) -> dict[str, str] | None:
    """Return a case that leads to a wanted answer: the facts asked on one way there, or None when there is none.

    `allowed` narrows the values of some facts. Values are tried in their order, that of `quiet` first.
    """
    narrowed = {
        forest.level_of[name]: {forest.variables[forest.level_of[name]].values.index(value) for value in values}
        for name, values in (allowed or {}).items()
    }
    dead: set[int] = set()
    orders = [
        sorted(range(len(variable.values)), key=lambda i: variable.values[i] != (quiet or {}).get(variable.name))
        for variable in forest.variables
    ]

    def walk(node: int) -> dict[str, str] | None:
        if node in dead:
            return None
        if forest.is_end(node):
            if wanted(forest.answers[node]):
                return {}
            dead.add(node)
            return None
        level = forest.levels[node]
        variable = forest.variables[level]
        for place in orders[level]:
            if level in narrowed and place not in narrowed[level]:
                continue
            rest = walk(forest.branches[node][place])
            if rest is not None:
                return {variable.name: variable.values[place], **rest}
        dead.add(node)
        return None

    return walk(root)
