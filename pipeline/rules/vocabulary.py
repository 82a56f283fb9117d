"""The deciding facts: their names, values and order, taken from the declaration of `plate_calls`."""

from __future__ import annotations

import functools
from collections.abc import Mapping
from dataclasses import dataclass
from importlib.resources import files

import schemas
from pipeline.errors import RuleDefinitionError
from pipeline.rules.diagram import Variable
from pipeline.rules.options import PREFIX, options
from schemas.reader import load_yaml


@dataclass(frozen=True)
class Fact:
    """One deciding fact: its values in order, its title, and the columns it is read from (none for an option)."""

    name: str
    title: str
    values: tuple[str, ...]
    columns: tuple[str, ...]
    says: str

    @property
    def variable(self) -> Variable:
        """The fact as a decision diagram asks it."""
        return Variable(self.name, self.values)


def _column_fact(name: str) -> Fact:
    field = schemas.table("plate_calls").field(name)
    if field.enum:
        values = field.enum
    elif field.type == "integer" and field.minimum is not None and field.maximum is not None:
        values = tuple(str(number) for number in range(int(field.minimum), int(field.maximum) + 1))
    else:
        raise RuleDefinitionError(f"the column {name!r} has no list of values and cannot decide a ruling")
    return Fact(name, field.title, values, (name,), field.description)


@functools.cache
def facts() -> Mapping[str, Fact]:
    """Every deciding fact by name, in the order in which a ruling asks them."""
    raw = load_yaml(
        files("pipeline.rules").joinpath("facts.yaml").read_text(encoding="utf-8"),
        "pipeline/rules/facts.yaml",
    )
    derived = raw["derived"]
    found = {}
    for name in raw["order"]:
        if name.startswith(PREFIX):
            option = options()[name.removeprefix(PREFIX)]
            found[name] = Fact(name, option.title, tuple(option.values), (), option.note)
        elif name in derived:
            entry = derived[name]
            found[name] = Fact(
                name, entry["title"], tuple(entry["values"]), tuple(entry["from"]), entry["says"]
            )
        else:
            found[name] = _column_fact(name)
    if unasked := set(options()) - {name.removeprefix(PREFIX) for name in found}:
        raise RuleDefinitionError(f"no place in the order of facts for the options: {', '.join(sorted(unasked))}")
    return found


@functools.cache
def recorded_facts() -> Mapping[str, Fact]:
    """The deciding facts that a sheet can carry: all but the points that a league settles."""
    return {name: fact for name, fact in facts().items() if fact.columns}
