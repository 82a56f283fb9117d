"""Items about measures: the figure of the code, and figures that are in circulation for it."""

from __future__ import annotations

import functools
from collections.abc import Mapping
from dataclasses import dataclass
from importlib.resources import files
from typing import Any

from pipeline.errors import RuleDefinitionError, Where
from pipeline.rules.dimensions import Dimension, dimensions
from pipeline.rules.model import CODE_TITLES
from schemas.reader import load_yaml

TOPIC = "dimensions"
_PATH = "pipeline/rules/plays/measures.yaml"
_FEET_FROM_IN = 24

FEWEST_FALSE = 2
"""A measure with fewer false figures in circulation makes no item."""


@dataclass(frozen=True)
class FalseFigure:
    """A wrong figure and where it comes from."""

    value: float
    says: str


@dataclass(frozen=True)
class Measure:
    """A question about one dimension under one code, with its false figures."""

    code: str
    dimension: Dimension
    asks: str
    false: tuple[FalseFigure, ...]
    differs: bool

    @property
    def value(self) -> float:
        """The right figure, in the unit of the dimension."""
        return self.dimension.values[self.code]

    @property
    def signature(self) -> tuple[str, ...]:
        """What makes two questions one: the code and the quantity."""
        return (self.code, self.dimension.name)

    @property
    def because(self) -> str:
        """The right figure and where it stands."""
        return f"{self.dimension.title}: {figure(self.value, self.dimension.unit)}."


@functools.cache
def _declared() -> Mapping[str, Any]:
    raw = load_yaml(
        files("pipeline.rules").joinpath("plays", "measures.yaml").read_text(encoding="utf-8"), _PATH
    )
    for name, entry in raw["measures"].items():
        if name not in dimensions() or set(entry) != {"asks", "untrue"}:
            raise RuleDefinitionError(
                f"{name!r} is no dimension, or has not just `asks` and `untrue`", where=Where(_PATH)
            )
    return dict(raw["measures"])


def figure(value: float, unit: str) -> str:
    """Return a measure in words: longer lengths in feet and inches too."""
    names = {"in": "inches", "oz": "ounces", "s": "seconds"}
    text = f"{value:g} {names.get(unit, unit)}"
    if unit == "in" and value >= _FEET_FROM_IN and value == int(value):
        feet, inches = divmod(int(value), 12)
        return f"{text} ({feet} ft{f' {inches} in' if inches else ''})"
    return text


def measures(code: str) -> tuple[Measure, ...]:
    """Return every question about a measure of a code to which two false figures or more belong."""
    found = []
    for name, entry in _declared().items():
        dimension = dimensions()[name]
        if code not in dimension.values:
            continue
        truth = dimension.values[code]
        others = {
            value: f"That is the figure of another code: {CODE_TITLES[other]}."
            for other, value in dimension.values.items() if value != truth
        }  # fmt: skip
        false = [FalseFigure(value, says) for value, says in others.items()]
        for raw in entry["untrue"]:
            value = float(raw["value"])
            if value != truth and value not in others:
                false.append(FalseFigure(value, str(raw["says"])))
        if len(false) >= FEWEST_FALSE:
            found.append(Measure(code, dimension, str(entry["asks"]), tuple(false), bool(others)))
    return tuple(found)
