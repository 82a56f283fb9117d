"""The words for facts, values and rulings, read from their declaration."""

from __future__ import annotations

import functools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from importlib.resources import files
from typing import Any

import schemas
from pipeline.errors import RuleDefinitionError, Where
from pipeline.rules.model import RULING_FIELDS
from pipeline.rules.options import PREFIX, options
from pipeline.rules.vocabulary import facts
from schemas.reader import load_yaml

KINDS = ("judged", "event", "situation")
"""How readily a fact is mistaken: by the eye or in the mind, plain to see, or fixed before the pitch."""

_PATH = "pipeline/rules/fact_words.yaml"
_WEIGHTS = {"judged": 2, "event": 4, "situation": 8}
_NEAR = 1


@dataclass(frozen=True)
class FactWords:
    """How one fact is said: its noun, a clause for each value, the values that go unsaid, how readily it is mistaken.

    `near` are (value, other value) pairs that are easily taken for one another, both ways.
    """

    name: str
    noun: str
    kind: str
    values: Mapping[str, str]
    quiet: frozenset[str]
    near: frozenset[tuple[str, str]]


@dataclass(frozen=True)
class PartWords:
    """How one part of a ruling is said: its title, a clause for each value, the values that are no call at all."""

    name: str
    title: str
    values: Mapping[str, str]
    quiet: frozenset[str]


def _fault(message: str, hint: str | None = None) -> RuleDefinitionError:
    return RuleDefinitionError(message, where=Where(_PATH), hint=hint)


def _checked(name: str, raw: Mapping[str, Any], allowed: Sequence[str], keys: set[str], required: set[str]) -> None:
    if set(raw) - keys or not required <= set(raw):
        raise _fault(f"{name} must have {', '.join(sorted(required))}, and nothing unknown")
    if unknown := [value for value in raw["values"] if value not in allowed]:
        raise _fault(f"{name} never is {', '.join(unknown)}", f"its values are: {', '.join(allowed)}")
    if missing := [value for value in allowed if not raw["values"].get(value)]:
        raise _fault(f"{name} has no words for {', '.join(missing)}", "add a clause for each")
    listed = [*raw.get("quiet", ()), *(value for pair in raw.get("near", ()) for value in pair)]
    if unknown := [value for value in listed if value not in allowed]:
        raise _fault(f"{name} never is {', '.join(unknown)}", f"its values are: {', '.join(allowed)}")


def read_fact(name: str, raw: Mapping[str, Any], allowed: Sequence[str]) -> FactWords:
    """Read the words of one fact whose values are `allowed`.

    Raises
    ------
    RuleDefinitionError
        A key, value or kind is unknown, or a value has no words.
    """
    _checked(name, raw, allowed, {"noun", "kind", "quiet", "near", "values"}, {"noun", "kind", "values"})
    if raw["kind"] not in KINDS:
        raise _fault(f"{name} has the unknown kind {raw['kind']!r}", f"allowed are: {', '.join(KINDS)}")
    if any(len(pair) != 2 for pair in raw.get("near", ())):
        raise _fault(f"{name} must list its near values in pairs")
    near = {(one, other) for one, other in raw.get("near", ())}
    if raw["kind"] == "judged" and "near" not in raw:
        near = {(one, other) for one in allowed for other in allowed}
    return FactWords(
        name,
        raw["noun"],
        raw["kind"],
        dict(raw["values"]),
        frozenset(raw.get("quiet", ())),
        frozenset(near | {(other, one) for one, other in near}),
    )


def _document() -> Mapping[str, Any]:
    raw: Mapping[str, Any] = load_yaml(
        files("pipeline.rules").joinpath("fact_words.yaml").read_text(encoding="utf-8"), _PATH
    )
    if set(raw) != {"facts", "ruling"}:
        raise _fault("the file must have facts and ruling, and nothing unknown")
    return raw


@functools.cache
def fact_words() -> Mapping[str, FactWords]:
    """The words of every deciding fact, in the order in which a ruling asks them.

    Raises
    ------
    RuleDefinitionError
        A fact or value has no words, or words stand for something unknown.
    """
    raw = _document()["facts"]
    known = facts()
    wanted = [name for name in known if not name.startswith(PREFIX)]
    if missing := [name for name in wanted if name not in raw]:
        raise _fault(f"no words for the facts: {', '.join(missing)}", "add noun, kind and a clause for each value")
    if unknown := [name for name in raw if name not in wanted]:
        raise _fault(f"words for what is no fact: {', '.join(unknown)}")
    found = {}
    for name, fact in known.items():
        if name.startswith(PREFIX):
            # A point that a league settles brings its own words.
            option = options()[name.removeprefix(PREFIX)]
            title = _lower(option.title)
            values = {value: f"the league settles “{title}” as {words}" for value, words in option.values.items()}
            found[name] = FactWords(name, f"the point “{title}”", "situation", values, frozenset(), frozenset())
        else:
            found[name] = read_fact(name, raw[name], fact.values)
    return found


@functools.cache
def part_words() -> Mapping[str, PartWords]:
    """The words of every part of a ruling, in the order of RULING_FIELDS."""
    raw = _document()["ruling"]
    if set(raw) != set(RULING_FIELDS):
        raise _fault(f"the parts of a ruling are: {', '.join(RULING_FIELDS)}")
    found = {}
    for name in RULING_FIELDS:
        allowed = schemas.table("plate_calls").field(f"ruled_{name}").enum
        _checked(name, raw[name], allowed, {"title", "quiet", "values"}, {"title", "values"})
        found[name] = PartWords(
            name, raw[name]["title"], dict(raw[name]["values"]), frozenset(raw[name].get("quiet", ()))
        )
    return found


def plausibility(fact: str, given: str | None, value: str) -> int:
    """How far-fetched it is that a fact recorded as `given` was `value`.

    1 where the two are easily taken for one another, else 2 for a judged fact, 4 for an event, 8 for the situation.
    Where nothing was recorded (None): 0 for a value that says nothing out of the way (of a fact without such values,
    for its first), else 4.
    """
    words = fact_words()[fact]
    if given is None:
        return 0 if value in (words.quiet or (next(iter(words.values)),)) else 4
    return _NEAR if (given, value) in words.near else _WEIGHTS[words.kind]


def plain(value: str) -> str:
    """A value as a word of a sentence."""
    return value.replace("_", " ")


def joined(parts: Sequence[str], word: str = "and") -> str:
    """Return parts as one list in words: `a, b, and c`."""
    if len(parts) < 3:
        return f" {word} ".join(parts)
    return f"{', '.join(parts[:-1])}, {word} {parts[-1]}"


def sentence(parts: Sequence[str]) -> str:
    """Return clauses as one sentence; blank where there are none."""
    text = joined(parts)
    return f"{text[0].upper()}{text[1:]}." if text else ""


def _lower(text: str) -> str:
    return text[:1].lower() + text[1:]


def said(known: Sequence[tuple[str, str]], *, with_quiet: bool = False) -> tuple[str, ...]:
    """The clauses of some facts, (fact, value); what was nothing out of the way is left out unless `with_quiet`."""
    words = fact_words()
    return tuple(
        words[name].values[value] for name, value in known if with_quiet or value not in words[name].quiet
    )


def ruling_clauses(ruling: Mapping[str, str]) -> tuple[str, ...]:
    """The clauses of a ruling, part by part; what is not called is left out."""
    found = []
    for name, words in part_words().items():
        value = ruling.get(name, "")
        if value and value not in words.quiet:
            found.append(words.values[value])
    return tuple(found)
