"""Tell a play in words, and say which facts the words tell."""

from __future__ import annotations

import functools
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from importlib.resources import files
from typing import Any

import schemas
from pipeline.errors import RuleDefinitionError, Where
from pipeline.rules.expression import All, Condition, Membership, memberships_in, parse
from pipeline.rules.misbeliefs import holds
from pipeline.rules.model import CODES
from pipeline.rules.vocabulary import facts
from schemas.reader import load_yaml

_PATH = "pipeline/rules/stems.yaml"
_SLOT = re.compile(r"\{([a-z_]+)\}")
_PART_KEYS = {"when", "where", "says", "also"}

Facts = Mapping[str, str | None]
"""Deciding facts by name; None or absent: not recorded."""


@dataclass(frozen=True)
class Part:
    """One way to tell a group: the conditions under which it is used, its text, and the facts that it tells.

    `also` are cells of the sheet that it tells too, and that decide nothing. `first_look` has facts with the values
    of which one is needed, so that most parts are passed over without weighing their conditions.
    """

    conditions: tuple[Condition, ...]
    says: str
    slots: tuple[str, ...]
    tells: frozenset[str]
    also: Mapping[str, str]
    first_look: tuple[tuple[str, tuple[str, ...]], ...]


@dataclass(frozen=True)
class Stems:
    """Everything that telling a play needs: openings by code, groups of parts in order, words for slots."""

    question: str
    openings: Mapping[str, str]
    words: Mapping[str, Mapping[str, str]]
    groups: Mapping[str, tuple[Part, ...]]


@dataclass(frozen=True)
class Stem:
    """A play told: its sentences by group, in order, the facts that they tell, and other cells that they tell."""

    opening: str
    sentences: Mapping[str, str]
    question: str
    told: frozenset[str]
    also: Mapping[str, str]

    @property
    def text(self) -> str:
        """The whole stem with its question."""
        return " ".join((self.opening, *self.sentences.values(), self.question))

    @property
    def story(self) -> tuple[str, ...]:
        """What is told besides outs, runners and count."""
        return tuple(text for name, text in self.sentences.items() if name != "situation")


def _fault(message: str, hint: str | None = None) -> RuleDefinitionError:
    return RuleDefinitionError(message, where=Where(_PATH), hint=hint)


def _check(condition: Condition) -> None:
    for part in memberships_in(condition):
        allowed = CODES if part.name == "code" else facts()[part.name].values if part.name in facts() else None
        if allowed is None:
            raise _fault(f"{part.name!r} is no fact")
        for value in part.values:
            if value not in allowed:
                raise _fault(f"{part.name} never is {value!r}", f"its values are: {', '.join(allowed)}")


def _fixed(condition: Condition) -> frozenset[str]:
    """The facts that a condition holds to one value."""
    if isinstance(condition, Membership):
        one = condition.operator == "in" and len(condition.values) == 1
        return frozenset({condition.name} if one else ())
    if isinstance(condition, All):
        return frozenset().union(*(_fixed(part) for part in condition.parts))
    return frozenset()


def _needed(condition: Condition) -> Iterator[tuple[str, tuple[str, ...]]]:
    """Facts of which a condition needs one of some values."""
    if isinstance(condition, Membership) and condition.operator == "in":
        yield condition.name, condition.values
    elif isinstance(condition, All):
        for part in condition.parts:
            yield from _needed(part)


def read_part(raw: Mapping[str, Any]) -> Part:
    """Read one part.

    Raises
    ------
    RuleDefinitionError
        A key, fact or value is unknown, or the text is missing.
    """
    if unknown := sorted(set(raw) - _PART_KEYS):
        raise _fault(f"unknown keys: {', '.join(unknown)}", f"allowed are: {', '.join(sorted(_PART_KEYS))}")
    if not raw.get("says"):
        raise _fault(f"a part says nothing: {raw}")
    conditions = []
    tells: frozenset[str] = frozenset()
    for key in ("when", "where"):
        if key in raw:
            condition = parse(str(raw[key]))
            _check(condition)
            conditions.append(condition)
            if key == "when":
                tells = _fixed(condition)
    says = " ".join(str(raw["says"]).split())
    slots = tuple(dict.fromkeys(_SLOT.findall(says)))
    for name in slots:
        if name not in facts():
            raise _fault(f"{name!r} is no fact, so nothing fills its slot in: {says}")
    also = {name: str(value) for name, value in raw.get("also", {}).items()}
    for name, value in also.items():
        decides = name not in schemas.fact_columns() or name in facts()
        if decides or value not in schemas.table("plate_calls").field(name).enum:
            raise _fault(f"{name}={value} is no value of a column that decides nothing")
    first_look = tuple(pair for condition in conditions for pair in _needed(condition))
    return Part(tuple(conditions), says, slots, (tells | set(slots)) - {"code"}, also, first_look)


@functools.cache
def stems() -> Stems:
    """The declaration of how plays are told.

    Raises
    ------
    RuleDefinitionError
        A fact, a value or a code is unknown, or a code has no opening.
    """
    raw = load_yaml(files("pipeline.rules").joinpath("stems.yaml").read_text(encoding="utf-8"), _PATH)
    if set(raw["openings"]) != set(CODES):
        raise _fault(f"there must be one opening for each of {', '.join(CODES)}")
    for name, table in raw["words"].items():
        if name not in facts() or not set(table) <= set(facts()[name].values):
            raise _fault(f"the words for {name} name a fact or a value that does not exist")
    return Stems(
        str(raw["question"]),
        raw["openings"],
        raw["words"],
        {group["name"]: tuple(read_part(part) for part in group["parts"]) for group in raw["groups"]},
    )


def tell(code: str, known: Facts) -> Stem:
    """Tell a play under a rule code. A group none of whose parts fits is left out."""
    declared = stems()
    seen = {**known, "code": code}
    sentences: dict[str, str] = {}
    told: set[str] = set()
    also: dict[str, str] = {}
    for name, parts in declared.groups.items():
        for part in parts:
            if any(seen.get(fact) not in wanted for fact, wanted in part.first_look):
                continue
            values = {slot: known.get(slot) for slot in part.slots}
            if None in values.values() or not all(holds(condition, seen) is True for condition in part.conditions):
                continue
            words = {slot: declared.words.get(slot, {}).get(str(value), str(value)) for slot, value in values.items()}
            sentences[name] = _SLOT.sub(lambda found, words=words: words[found[1]], part.says)  # type: ignore[misc]
            told |= part.tells
            also.update(part.also)
            break
    return Stem(declared.openings[code], sentences, declared.question, frozenset(told), also)
