"""The closed expression language of the rule catalogue.

    condition  = either { "or" either }
    either     = single { "and" single }
    single     = "not" single | "(" condition ")" | comparison
    comparison = name ("=" | "!=" | "<" | "<=" | ">" | ">=") value
               | name ["not"] "in" "(" value { "," value } ")"
    value      = "'" text "'" | whole number

Names are facts or earlier decisions. There is no null test: what is not known is the core's business, not a
rule's. Anything else is refused with its text and place.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass

from pipeline.errors import RuleDefinitionError

_TOKEN = re.compile(
    r"\s*(?:(?P<text>'[^']*')|(?P<number>\d+)|(?P<word>[a-z_][a-z_0-9.]*)|(?P<sign><=|>=|!=|[=<>(),]))"
)


@dataclass(frozen=True)
class Membership:
    """`name` has one of `values`; comparisons and `in` are all turned into this form (or its negation)."""

    name: str
    operator: str
    values: tuple[str, ...]

    def holds(self, value: str) -> bool:
        """Whether the condition is met by one value of the named fact."""
        if self.operator == "in":
            return value in self.values
        if self.operator == "not in":
            return value not in self.values
        left, right = int(value), int(self.values[0])
        return {"<": left < right, "<=": left <= right, ">": left > right, ">=": left >= right}[self.operator]


@dataclass(frozen=True)
class Not:
    """The negation of a condition."""

    part: Condition


@dataclass(frozen=True)
class All:
    """Every part holds."""

    parts: tuple[Condition, ...]


@dataclass(frozen=True)
class Some:
    """At least one part holds."""

    parts: tuple[Condition, ...]


Condition = Membership | Not | All | Some


def names_in(condition: Condition) -> Iterator[str]:
    """Every fact or decision that a condition speaks of, in order, with repeats."""
    if isinstance(condition, Membership):
        yield condition.name
    elif isinstance(condition, Not):
        yield from names_in(condition.part)
    else:
        for part in condition.parts:
            yield from names_in(part)


def memberships_in(condition: Condition) -> Iterator[Membership]:
    """Every comparison of a condition, in order."""
    if isinstance(condition, Membership):
        yield condition
    elif isinstance(condition, Not):
        yield from memberships_in(condition.part)
    else:
        for part in condition.parts:
            yield from memberships_in(part)


class _Parser:
    def __init__(self, text: str) -> None:
        self.text = text
        self.tokens: list[tuple[str, str, int]] = []
        position = 0
        while text[position:].strip():
            match = _TOKEN.match(text, position)
            if match is None:
                raise RuleDefinitionError(
                    f"cannot read the condition at {text[position:].strip()[:20]!r} in: {text}"
                )
            kind = match.lastgroup or ""
            self.tokens.append((kind, match.group(kind), match.start(kind)))
            position = match.end()
        self.next = 0

    def peek(self, offset: int = 0) -> str:
        place = self.next + offset
        return self.tokens[place][1] if place < len(self.tokens) else ""

    def take(self, *expected: str) -> str:
        token = self.peek()
        if not token or (expected and token not in expected):
            wanted = " or ".join(repr(word) for word in expected) or "more"
            raise RuleDefinitionError(
                f"expected {wanted} but found {token or 'the end'!r} in the condition: {self.text}"
            )
        self.next += 1
        return token

    def condition(self) -> Condition:
        parts = [self.either()]
        while self.peek() == "or":
            self.take()
            parts.append(self.either())
        return parts[0] if len(parts) == 1 else Some(tuple(parts))

    def either(self) -> Condition:
        parts = [self.single()]
        while self.peek() == "and":
            self.take()
            parts.append(self.single())
        return parts[0] if len(parts) == 1 else All(tuple(parts))

    def single(self) -> Condition:
        if self.peek() == "not":
            self.take()
            return Not(self.single())
        if self.peek() == "(":
            self.take()
            inner = self.condition()
            self.take(")")
            return inner
        return self.comparison()

    def comparison(self) -> Condition:
        if self.next >= len(self.tokens) or self.tokens[self.next][0] != "word":
            raise RuleDefinitionError(
                f"expected a name but found {self.peek() or 'the end'!r} in the condition: {self.text}"
            )
        name = self.take()
        sign = self.take("=", "!=", "<", "<=", ">", ">=", "in", "not")
        if sign == "not":
            self.take("in")
            return Membership(name, "not in", self.values())
        if sign == "in":
            return Membership(name, "in", self.values())
        value = self.value()
        if sign in ("=", "!="):
            return Membership(name, "in" if sign == "=" else "not in", (value,))
        return Membership(name, sign, (value,))

    def values(self) -> tuple[str, ...]:
        self.take("(")
        found = [self.value()]
        while self.peek() == ",":
            self.take()
            found.append(self.value())
        self.take(")")
        return tuple(found)

    def value(self) -> str:
        kind, token, _ = self.tokens[self.next] if self.next < len(self.tokens) else ("", "the end", 0)
        if kind not in ("text", "number"):
            raise RuleDefinitionError(f"expected a value but found {token!r} in the condition: {self.text}")
        self.next += 1
        return token.strip("'")


def parse(text: str) -> Condition:
    """Parse a condition.

    Raises
    ------
    RuleDefinitionError
        The text has something outside the language; the message quotes the place.
    """
    parser = _Parser(text)
    found = parser.condition()
    if parser.next != len(parser.tokens):
        raise RuleDefinitionError(f"did not expect {parser.peek()!r} in the condition: {text}")
    return found
