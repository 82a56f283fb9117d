"""Statements that every ruling must meet, whichever rules spoke: read from `invariants.yaml`, strictly.

An invariant speaks of the facts of a case and of its ruling: `ruling.<part>` for the parts that an umpire signals,
`ruling.state` (settled, contradiction, not_covered), `ruling.outs_added`, `ruling.count` (the effect on the count),
and `said.<decision>`: what the rule that spoke on a decision said, `silent` where none spoke or it was set aside.
"""

from __future__ import annotations

import functools
import re
from collections.abc import Mapping
from dataclasses import dataclass
from importlib.resources import files
from typing import Any

import schemas
from pipeline.errors import RuleDefinitionError, Where
from pipeline.rules.expression import Condition, memberships_in, parse
from pipeline.rules.model import CODES, CONFIDENCE, RULING_FIELDS, Answer, Rule
from pipeline.rules.reading import COUNTS, decisions
from pipeline.rules.vocabulary import facts
from schemas.reader import load_yaml

PATH = "pipeline/rules/invariants.yaml"
SILENT = "silent"

_REQUIRED = {"id", "says", "reference", "confidence", "where", "holds"}
_OPTIONAL = {"codes"}


@dataclass(frozen=True)
class Invariant:
    """One statement: wherever `where` is met, `holds` is met too. `reference` is a rule, or says that there is none."""

    id: str
    says: str
    reference: str
    confidence: str
    codes: tuple[str, ...]
    where_text: str
    where: Condition
    holds_text: str
    holds: Condition


@functools.cache
def ruling_names() -> Mapping[str, tuple[str, ...]]:
    """What an invariant may ask about the ruling, with the values each can have."""
    calls = schemas.table("plate_calls")
    found = {f"ruling.{part}": ("", *calls.field(f"ruled_{part}").enum) for part in RULING_FIELDS}
    found |= {
        "ruling.state": ("settled", "contradiction", "not_covered"),
        "ruling.outs_added": ("0", "1", "2"),
        "ruling.count": COUNTS,
    }
    return found | {f"said.{one.name}": (*one.outcomes, SILENT) for one in decisions()}


def ruling_values(answer: Answer, catalogue: Mapping[str, Rule]) -> dict[str, str]:
    """The values of all `ruling_names` in one answer."""
    found = {f"ruling.{part}": value for part, value in zip(RULING_FIELDS, answer.ruling, strict=True)}
    found |= {
        "ruling.state": answer.state,
        "ruling.outs_added": str(answer.outs_added),
        "ruling.count": answer.count,
    }
    found |= {f"said.{one.name}": SILENT for one in decisions()}
    if answer.state == "settled":
        found |= {f"said.{catalogue[one].decision}": catalogue[one].then for one in answer.rule_ids}
    return found


def _fault(message: str, hint: str | None = None) -> RuleDefinitionError:
    return RuleDefinitionError(message, where=Where(PATH), hint=hint)


def _condition(name: str, text: str) -> Condition:
    made = parse(text)
    for part in memberships_in(made):
        allowed = facts()[part.name].values if part.name in facts() else ruling_names().get(part.name)
        if allowed is None:
            raise _fault(f"{name}: {part.name!r} is neither a fact nor a part of a ruling")
        if part.operator not in ("in", "not in") and not all(value.isdigit() for value in allowed):
            raise _fault(f"{name}: {part.name} has no order, so {part.operator!r} says nothing")
        for value in part.values:
            if value not in allowed:
                raise _fault(f"{name}: {part.name} never is {value!r}", f"its values are: {', '.join(allowed)}")
    return made


def read_invariants(text: str) -> tuple[Invariant, ...]:
    """Read a list of invariants.

    Raises
    ------
    RuleDefinitionError
        A key is missing or unknown, an id stands twice, or a condition names what does not exist.
    """
    raw: Any = load_yaml(text, PATH)
    if not isinstance(raw, dict) or set(raw) != {"invariants"} or not isinstance(raw["invariants"], list):
        raise _fault("the file must be one list called `invariants`")
    found: dict[str, Invariant] = {}
    for item in raw["invariants"]:
        name = str(item.get("id", "an invariant without an id"))
        if unknown := sorted(set(item) - _REQUIRED - _OPTIONAL):
            raise _fault(f"{name} has unknown keys: {', '.join(unknown)}")
        if missing := sorted(_REQUIRED - set(item)):
            raise _fault(f"{name} lacks: {', '.join(missing)}")
        if not re.fullmatch(r"N\d{2}", name):
            raise _fault(f"the id {name!r} is not N and two digits")
        if name in found:
            raise _fault(f"the id {name} stands twice")
        codes = tuple(item.get("codes", CODES))
        if item["confidence"] not in CONFIDENCE or not set(codes) <= set(CODES) or not codes:
            raise _fault(f"{name} has an unknown confidence or code")
        found[name] = Invariant(
            id=name,
            says=" ".join(item["says"].split()),
            reference=item["reference"],
            confidence=item["confidence"],
            codes=codes,
            where_text=" ".join(item["where"].split()),
            where=_condition(name, item["where"]),
            holds_text=" ".join(item["holds"].split()),
            holds=_condition(name, item["holds"]),
        )
    return tuple(found.values())


@functools.cache
def invariants() -> tuple[Invariant, ...]:
    """Every invariant that ships, in order."""
    return read_invariants(files("pipeline.rules").joinpath("invariants.yaml").read_text(encoding="utf-8"))
