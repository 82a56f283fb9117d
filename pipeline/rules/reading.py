"""Read the catalogue: decisions, and one rule from each file; refuse whatever is unknown or missing."""

from __future__ import annotations

import datetime as dt
import functools
import re
from collections.abc import Mapping
from importlib.resources import files
from importlib.resources.abc import Traversable
from typing import Any

import schemas
from pipeline.errors import RuleDefinitionError, Where
from pipeline.rules.expression import Condition, memberships_in, parse
from pipeline.rules.model import CODES, CONFIDENCE, RULING_FIELDS, Case, CodeEntry, Decision, Rule
from pipeline.rules.vocabulary import facts
from schemas.reader import load_yaml

COUNTS = ("none", "ball", "strike", "two_strikes", "foul")

_RULE_KEYS = {
    "id",
    "name",
    "title",
    "topic",
    "decision",
    "codes",
    "when",
    "then",
    "says",
    "ruling",
    "count",
    "yields_to",
    "sets_aside",
    "cases",
}
_REQUIRED = {"id", "name", "title", "topic", "decision", "codes", "when", "then", "says"}
_CODE_KEYS = {"reference", "confidence", "from", "until", "note"}
_CASE_KEYS = {"name", "code", "given", "then", "day", "source", "options"}


def _fault(path: str, message: str, hint: str | None = None) -> RuleDefinitionError:
    return RuleDefinitionError(message, where=Where(path), hint=hint)


def _day(raw: Any, path: str) -> dt.date | None:
    if raw is None or isinstance(raw, dt.date):
        return raw
    raise _fault(path, f"{raw!r} is not a date")


def _codes(raw: Mapping[str, Any], path: str) -> dict[str, CodeEntry]:
    found = {}
    for code, entry in raw.items():
        if code not in CODES:
            raise _fault(path, f"unknown rule code {code!r}", f"allowed are: {', '.join(CODES)}")
        unknown = set(entry) - _CODE_KEYS
        if unknown or "reference" not in entry or entry.get("confidence") not in CONFIDENCE:
            raise _fault(path, f"the entry for {code} must have a reference and a confidence, and nothing unknown")
        found[code] = CodeEntry(
            reference=entry["reference"],
            confidence=entry["confidence"],
            valid_from=_day(entry.get("from"), path),
            valid_until=_day(entry.get("until"), path),
            note=entry.get("note"),
        )
    return found


def _ruling(raw: Mapping[str, Any], path: str) -> dict[str, str]:
    calls = schemas.table("plate_calls")
    for name, value in raw.items():
        if name not in RULING_FIELDS:
            raise _fault(path, f"{name!r} is no part of a ruling", f"the parts are: {', '.join(RULING_FIELDS)}")
        allowed = calls.field(f"ruled_{name}").enum
        if value != "" and value not in allowed:
            raise _fault(path, f"{value!r} is no value of {name}", f"allowed are: {', '.join(allowed)}")
    return dict(raw)


def _case(raw: Mapping[str, Any], path: str) -> Case:
    if set(raw) - _CASE_KEYS or not {"name", "code", "given", "then"} <= set(raw):
        raise _fault(path, f"a case must have name, code, given and then: {raw}")
    return Case(
        name=raw["name"],
        code=raw["code"],
        given={key: str(value) for key, value in raw["given"].items()},
        then={key: str(value) for key, value in raw["then"].items()},
        day=_day(raw.get("day"), path),
        source=raw.get("source"),
        options={key: str(value) for key, value in raw.get("options", {}).items()},
    )


def read_rule(text: str, path: str) -> Rule:
    """Read one rule file.

    Raises
    ------
    RuleDefinitionError
        A key is missing or unknown, or a condition or value is outside the language; the file is named.
    """
    raw = load_yaml(text, path)
    if unknown := sorted(set(raw) - _RULE_KEYS):
        raise _fault(path, f"unknown keys: {', '.join(unknown)}", f"allowed are: {', '.join(sorted(_RULE_KEYS))}")
    if missing := sorted(_REQUIRED - set(raw)):
        raise _fault(path, f"missing keys: {', '.join(missing)}")
    if not re.fullmatch(r"[A-Z]\d{3}", raw["id"]):
        raise _fault(path, f"the id {raw['id']!r} is not a letter and three digits")
    count = raw.get("count")
    if count is not None and count not in COUNTS:
        raise _fault(path, f"unknown effect on the count {count!r}", f"allowed are: {', '.join(COUNTS)}")
    try:
        condition = parse(raw["when"])
    except RuleDefinitionError as error:
        raise _fault(path, error.message) from error
    return Rule(
        id=raw["id"],
        name=raw["name"],
        title=raw["title"],
        topic=raw["topic"],
        decision=raw["decision"],
        codes=_codes(raw["codes"], path),
        when_text=" ".join(raw["when"].split()),
        when=condition,
        then=str(raw["then"]),
        says=" ".join(raw["says"].split()),
        ruling=_ruling(raw.get("ruling", {}), path),
        count=count,
        yields_to=tuple(raw.get("yields_to", ())),
        sets_aside=tuple(raw.get("sets_aside", ())),
        cases=tuple(_case(item, path) for item in raw.get("cases", ())),
        path=path,
    )


@functools.cache
def decisions() -> tuple[Decision, ...]:
    """Every decision, in the order in which they are taken."""
    path = "pipeline/rules/decisions.yaml"
    raw = load_yaml(files("pipeline.rules").joinpath("decisions.yaml").read_text(encoding="utf-8"), path)
    return tuple(
        Decision(
            name=item["name"],
            question=item["question"],
            outcomes=tuple(item["outcomes"]),
            asked_text=item.get("asked"),
            asked=parse(item["asked"]) if "asked" in item else None,
            otherwise=item.get("otherwise"),
        )
        for item in raw["decisions"]
    )


@functools.cache
def retired() -> Mapping[str, str]:
    """Ids that rules once had, each with what took the rule's place."""
    path = "pipeline/rules/retired.yaml"
    raw = load_yaml(files("pipeline.rules").joinpath("retired.yaml").read_text(encoding="utf-8"), path)
    return {str(rule_id): str(successor) for rule_id, successor in raw["retired"].items()}


def _rule_files(folder: Traversable, prefix: str) -> list[tuple[str, str]]:
    found: list[tuple[str, str]] = []
    for entry in folder.iterdir():
        path = f"{prefix}/{entry.name}"
        if entry.is_dir() and not entry.name.startswith("_"):
            found += _rule_files(entry, path)
        elif entry.name.endswith(".yaml"):
            found.append((path, entry.read_text(encoding="utf-8")))
    return found


@functools.cache
def rules() -> Mapping[str, Rule]:
    """Every rule of the catalogue by id, in order of id, checked against facts, decisions and one another.

    Raises
    ------
    RuleDefinitionError
        An id stands twice, a file is not named after its rule, or a name or value is unknown.
    """
    found: dict[str, Rule] = {}
    for path, text in _rule_files(files("pipeline.rules").joinpath("catalogue"), "pipeline/rules/catalogue"):
        rule = read_rule(text, path)
        if rule.id in found:
            raise _fault(path, f"the id {rule.id} is taken by {found[rule.id].path}", "ids are never used again")
        if not path.endswith(f"/{rule.id}_{rule.name}.yaml"):
            raise _fault(path, f"the file must be called {rule.id}_{rule.name}.yaml")
        found[rule.id] = rule
    ordered = {rule_id: found[rule_id] for rule_id in sorted(found)}
    known = {decision.name: decision for decision in decisions()}
    for rule in ordered.values():
        if rule.decision not in known:
            raise _fault(rule.path, f"unknown decision {rule.decision!r}", f"there are: {', '.join(known)}")
        if rule.then not in known[rule.decision].outcomes:
            raise _fault(rule.path, f"{rule.then!r} is no outcome of {rule.decision}")
        for other in rule.yields_to:
            if other not in ordered or ordered[other].decision != rule.decision:
                raise _fault(rule.path, f"it yields to {other}, which is no rule of the same decision")
        order = list(known)
        for name in rule.sets_aside:
            if name not in known or order.index(name) >= order.index(rule.decision):
                raise _fault(rule.path, f"it sets aside {name!r}, which is no decision taken before its own")
        if rule.id in retired():
            raise _fault(rule.path, f"the id {rule.id} is retired", "ids are never used again")
        check_condition(rule.when, rule.path)
    for decision in known.values():
        if decision.asked is not None:
            check_condition(decision.asked, "pipeline/rules/decisions.yaml")
    return ordered


def check_condition(condition: Condition, path: str) -> None:
    """Refuse a condition that names a fact, decision or value that does not exist."""
    known = {decision.name: decision.outcomes for decision in decisions()}
    for part in memberships_in(condition):
        name, _, attribute = part.name.partition(".")
        if attribute == "count" and name in known:
            allowed: tuple[str, ...] = COUNTS
        elif attribute:
            raise _fault(path, f"{part.name!r} is neither a fact nor a decision")
        elif part.name in known:
            allowed = (*known[part.name], "not_asked")
        elif part.name in facts():
            allowed = facts()[part.name].values
        else:
            raise _fault(path, f"{part.name!r} is neither a fact nor a decision")
        if part.operator not in ("in", "not in") and not all(value.isdigit() for value in allowed):
            raise _fault(
                path, f"{part.name} has no order, so {part.operator!r} says nothing", "list its values with in"
            )
        for value in part.values:
            if value not in allowed:
                raise _fault(path, f"{part.name} never is {value!r}", f"its values are: {', '.join(allowed)}")
