"""The deciding facts of a row as a few whole numbers, so that rows with the same facts are found alike at once."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from pipeline.rules.vocabulary import Fact
from pipeline.rulings.walk import code_sql

LIMIT = 2**62
"""Every key is below it, which a signed number of 64 bits holds with room to spare."""


@dataclass(frozen=True)
class Digit:
    """Where a fact's code stands: `key // divisor % width` of the key with that number."""

    key: int
    divisor: int
    width: int

    @property
    def sql(self) -> str:
        """The code, from the columns that hold the keys."""
        return f"(key_{self.key} // {self.divisor}) % {self.width}"

    def read(self, keys: Sequence[int]) -> int:
        """The code, from the keys of one row."""
        return keys[self.key] // self.divisor % self.width


class FactKeys:
    """Keys of mixed base: each fact is one digit, 0 for not recorded, in as few keys as hold them all.

    Two rows have the same keys if and only if they have the same facts.
    """

    def __init__(self, facts: Mapping[str, Fact]) -> None:
        self.facts = dict(facts)
        self.digits: dict[str, Digit] = {}
        key, size = 0, 1
        for name, fact in self.facts.items():
            width = len(fact.values) + 1
            if size * width > LIMIT:
                key, size = key + 1, 1
            self.digits[name] = Digit(key, size, width)
            size *= width
        self.columns = tuple(f"key_{number}" for number in range(key + 1))

    @property
    def sql(self) -> str:
        """The keys of a row from its facts, as select-list entries; NULL where a value is none of its fact's."""
        parts: dict[int, str] = {}
        for name, digit in reversed(self.digits.items()):
            code = code_sql(self.facts[name])
            higher = parts.get(digit.key)
            parts[digit.key] = f"CAST({code} AS BIGINT)" if higher is None else f"({higher}) * {digit.width} + {code}"
        return ", ".join(f"{parts[number]} AS {column}" for number, column in enumerate(self.columns))

    def codes(self, keys: Sequence[int]) -> dict[str, int]:
        """The codes of every fact, from the keys of one row."""
        return {name: digit.read(keys) for name, digit in self.digits.items()}

    def values(self, codes: Mapping[str, int]) -> dict[str, str | None]:
        """The facts behind some codes; None: not recorded."""
        return {name: self.facts[name].values[code - 1] if code else None for name, code in codes.items()}
