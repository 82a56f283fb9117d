"""Conditions, facts and rulings of the catalogue in words."""

from __future__ import annotations

import functools
from collections.abc import Iterator, Mapping, Sequence
from importlib.resources import files

import schemas
from pipeline.rules.expression import All, Condition, Membership, Not, Some
from pipeline.rules.model import RULING_FIELDS
from pipeline.rules.options import options
from pipeline.rules.reading import decisions
from pipeline.rules.vocabulary import facts
from schemas.reader import load_yaml

Line = tuple[int, str]
"""How deep a line stands, from 0, and its words."""

_TURNED = {"in": "not in", "not in": "in", "<": ">=", ">=": "<", ">": "<=", "<=": ">"}
_ORDER = {"<": "fewer than", "<=": "at most", ">": "more than", ">=": "at least"}
COUNTS = {"ball": "a ball", "strike": "a strike", "two_strikes": "two strikes", "foul": "a foul", "none": "nothing"}
"""What a rule does to the count, in words."""

_NUMBERS = {"outs_added": "outs added", "balls_after": "balls after", "strikes_after": "strikes after"}
_FEW = 3
"""So many values are named rather than those that are ruled out."""

_LISTED = 3
"""So many clauses stand each in a line of its own."""


@functools.cache
def _clauses() -> Mapping[str, Mapping[str, str]]:
    """A clause for each value of a fact or of a part of a ruling, by its name; `ruling.` leads the names of parts."""
    path = "pipeline/rules/fact_words.yaml"
    raw = load_yaml(files("pipeline.rules").joinpath("fact_words.yaml").read_text(encoding="utf-8"), path)
    found = {name: item["values"] for name, item in raw["facts"].items()}
    found |= {f"ruling.{name}": item["values"] for name, item in raw["ruling"].items()}
    found |= {
        option.fact: {value: f"{option.title}: {words}" for value, words in option.values.items()}
        for option in options().values()
    }
    return found


def plain(name: str) -> str:
    """A name as words: `in_play` as `in play`."""
    return name.replace("_", " ")


def either(words: Sequence[str]) -> str:
    """A list in words: `a, b or c`."""
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} or {words[-1]}"


def title(name: str) -> str:
    """The title of a fact or another column of `plate_calls`; its name as words where it is neither."""
    if name in facts():
        text = facts()[name].title.removeprefix("Whether ")
        return text[0].upper() + text[1:]
    try:
        return schemas.table("plate_calls").field(name).title
    except KeyError:
        return plain(name).capitalize()


def value_words(name: str, value: str) -> str:
    """What it means that a fact has a value, as a clause; an empty value was not recorded."""
    if value == "":
        return f"{title(name)}: not recorded"
    return _clauses().get(name, {}).get(value) or f"{title(name)}: {plain(value)}"


def condition_lines(condition: Condition) -> list[Line]:
    """Return a condition as lines: each says one thing, or opens a list of deeper lines that all or some hold."""
    return list(_lines(_settled(condition), 0))


def condition_sentence(condition: Condition) -> str:
    """Return a condition as one line."""
    return _sentence(_settled(condition))


def _sentence(condition: Condition) -> str:
    if not isinstance(condition, All | Some):
        return membership_words(condition)
    joint = "; and " if isinstance(condition, All) else "; or "
    return joint.join(
        f"({_sentence(part)})" if isinstance(part, All | Some) else _sentence(part) for part in condition.parts
    )


def _lines(condition: Condition, depth: int) -> Iterator[Line]:
    if isinstance(condition, Membership):
        clauses = _clauses_of(condition)
        if clauses is None or len(clauses[1]) < _LISTED:
            yield depth, _upper(membership_words(condition))
        else:
            yield depth, "None of these holds:" if clauses[0] else "At least one of these holds:"
            yield from ((depth + 1, _upper(clause)) for clause in clauses[1])
        return
    if isinstance(condition, Not):
        raise TypeError(condition)  # carried into the comparisons before
    yield depth, "All of these hold:" if isinstance(condition, All) else "At least one of these holds:"
    for part in condition.parts:
        clauses = _clauses_of(part) if isinstance(part, Membership) and isinstance(condition, Some) else None
        if clauses and not clauses[0]:
            # One of several values is one more of the things of which one must hold.
            yield from ((depth + 1, _upper(clause)) for clause in clauses[1])
        else:
            yield from _lines(part, depth + 1)


def _settled(condition: Condition, *, turned: bool = False) -> Condition:
    """The same condition with every `not` carried into the comparisons, and lists in lists of their kind opened."""
    if isinstance(condition, Membership):
        if not turned:
            return condition
        return Membership(condition.name, _TURNED[condition.operator], condition.values)
    if isinstance(condition, Not):
        return _settled(condition.part, turned=not turned)
    kind: type[All] | type[Some] = All if isinstance(condition, All) is not turned else Some
    parts: list[Condition] = []
    for part in condition.parts:
        made = _settled(part, turned=turned)
        parts += made.parts if isinstance(made, kind) else (made,)
    return kind(tuple(parts))


def membership_words(condition: Condition) -> str:
    """One comparison in words.

    Raises
    ------
    TypeError
        The condition has parts of its own.
    """
    if not isinstance(condition, Membership):
        raise TypeError(condition)
    known = {decision.name: decision for decision in decisions()}
    name, _, attribute = condition.name.partition(".")
    if name in known:
        # A question that was not asked has no answer either, so the other answers are not all that is left.
        if attribute:
            subject, words = "counts as", [COUNTS.get(value, plain(value)) for value in condition.values]
        else:
            subject, words = "is answered", [plain(value) for value in condition.values]
        denied = "anything but " if condition.operator == "not in" else ""
        return f"“{known[name].question}” {subject}: {denied}{either(words)}"
    clauses = _clauses_of(condition)
    if clauses is None:
        return f"{title(name)}: {_ORDER[condition.operator]} {condition.values[0]}"
    return f"it is not so that {_or(clauses[1])}" if clauses[0] else _or(clauses[1])


def _clauses_of(part: Membership) -> tuple[bool, list[str]] | None:
    """Whether none (else one) of some clauses holds, and the clauses; None for a decision or a comparison of size."""
    if part.operator in _ORDER or part.name not in facts():
        return None
    others = [value for value in facts()[part.name].values if value not in part.values]
    denied = part.operator == "not in" and not 0 < len(others) <= _FEW
    values = others if part.operator == "not in" and not denied else part.values
    return denied, [value_words(part.name, value) for value in values]


def _or(clauses: Sequence[str]) -> str:
    return ", or ".join(clauses)


def _upper(text: str) -> str:
    return text[:1].upper() + text[1:]


def given_words(given: Mapping[str, str]) -> str:
    """The facts of a case in words, a clause for each, in the order in which they are given."""
    return "; ".join(value_words(name, value) for name, value in given.items())


def ruling_words(ruling: Mapping[str, str]) -> str:
    """Parts of a ruling in words; where facts are missing, a part may be one of several values."""
    clauses = [
        _or(list(dict.fromkeys(_part_words(name, value) for value in ruling[name].split("|"))))
        for name in RULING_FIELDS
        if name in ruling
    ]
    numbers = [f"{words}: {either(ruling[name].split('|'))}" for name, words in _NUMBERS.items() if name in ruling]
    return "; ".join((*clauses, *numbers))


def _part_words(name: str, value: str) -> str:
    if value in ("", "none_called"):
        return "no pitch is called" if name == "pitch" else f"{plain(name)}: not called"
    return _clauses().get(f"ruling.{name}", {}).get(value) or f"{plain(name)}: {plain(value)}"
