"""The measures of the codes and the points that a league settles, as rows."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from pipeline.rules.dimensions import dimensions
from pipeline.rules.expression import names_in
from pipeline.rules.model import CODES, Rule
from pipeline.rules.options import options, settle

MEASURES = "measures"
"""The topic under which measures are shown."""


def dimension_rows() -> Iterator[Sequence[Any]]:
    """Yield the rows of `dimension_text`, in the order of the declaration."""
    for place, item in enumerate(dimensions().values(), 1):
        yield (
            item.name,
            place,
            MEASURES,
            item.title,
            item.unit,
            *(item.values.get(code) for code in CODES),
            *(item.confidence.get(code) for code in CODES),
            item.reference,
        )


def option_rows(ordered: Sequence[Rule], chosen: Mapping[str, str]) -> Iterator[Sequence[Any]]:
    """Yield the rows of `rule_option_text`: each point with its choices, the one in force, and the rules that ask."""
    in_force = dict(settle(chosen))
    for name, option in options().items():
        asking = [rule for rule in ordered if option.fact in names_in(rule.when)]
        value = in_force.get(name)
        yield (
            name,
            option.title,
            ", ".join(option.codes),
            "; ".join(f"{choice}: {words}" for choice, words in option.values.items()),
            option.values[option.default] if option.default else None,
            option.values[value] if value else None,
            "policy" if name in chosen else "rule" if value else "nobody",
            option.reference,
            option.confidence,
            option.note or None,
            ";".join(rule.id for rule in asking) or None,
            ";".join(sorted({rule.topic for rule in asking})) or None,
        )
