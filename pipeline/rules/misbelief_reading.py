"""Read the misbeliefs: one from each file, in order of precedence; refuse whatever is unknown or missing."""

from __future__ import annotations

import datetime as dt
import functools
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from importlib.resources import files
from typing import Any

import schemas
from pipeline.errors import RuleDefinitionError, Where
from pipeline.rules.expression import Condition, memberships_in, parse
from pipeline.rules.model import CODES, CONFIDENCE, RULING_FIELDS
from pipeline.rules.reading import check_condition
from pipeline.rules.vocabulary import facts
from schemas.reader import load_yaml

KINDS = ("code", "day", "as_if", "judgement", "part")
"""The kinds of misbelief, in order of precedence.

`code`: the rule of another code. `day`: the rule of the same code before it changed. `as_if`: one or more facts
taken to be others. `judgement`: the same, where what was seen decides and no rule is misunderstood. `part`: one
part of the ruling, wrong in the same way whatever the case.
"""

_FOLDER = "pipeline/rules/misbeliefs"
_OF_KIND = {"code": "code", "day": "day", "as_if": "as_if", "judgement": "as_if", "part": "part"}
_REQUIRED = {
    "id", "name", "title", "topic", "kind", "says", "true_where", "reference", "confidence", "source", "cases",
}  # fmt: skip
_KEYS = _REQUIRED | {"when", "right", "fills", *_OF_KIND.values()}
_CASE_KEYS = {"name", "code", "given", "ruled", "then", "day"}

RECOGNISED, NOT_RECOGNISED = "recognised", "not_recognised"


@dataclass(frozen=True)
class MisbeliefCase:
    """A worked case: facts, code, day, the umpire's ruling, and whether the misbelief is recognised in it.

    A fact that is not given is what a blank cell of `plate_calls` is read as; one given as blank is not recorded.
    """

    name: str
    code: str
    given: Mapping[str, str]
    ruled: Mapping[str, str]
    then: str
    day: dt.date | None = None


@dataclass(frozen=True)
class Misbelief:
    """One way to rule wrongly, and what the umpire seems to believe (`title`).

    `when` is met by the facts and `right` by the parts of the right ruling (a part: its possible values) where it
    can show. Its own ruling comes from `code`, from `day`, from the facts changed by `as_if` (a fact: its new
    value, or the new value for each old one), or from `part`. `fills` are for facts that were not recorded,
    because the right rule does not ask for them.
    `reference` has the rule that says otherwise, for each code in which this is a misbelief.
    """

    id: str
    name: str
    title: str
    topic: str
    kind: str
    says: str
    true_where: str
    reference: Mapping[str, str]
    confidence: str
    source: str
    when_text: str | None = None
    when: Condition | None = None
    right: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    code: str | None = None
    day: dt.date | None = None
    as_if: Mapping[str, str | Mapping[str, str]] = field(default_factory=dict)
    fills: Mapping[str, str] = field(default_factory=dict)
    part: Mapping[str, str] = field(default_factory=dict)
    cases: tuple[MisbeliefCase, ...] = ()
    path: str = ""

    @property
    def precedence(self) -> tuple[int, int, str]:
        """What misbeliefs are ordered by: the kind, the number of facts changed, the id."""
        return (KINDS.index(self.kind), len(self.as_if) + len(self.part), self.id)


def _fault(path: str, message: str, hint: str | None = None) -> RuleDefinitionError:
    return RuleDefinitionError(message, where=Where(path), hint=hint)


def _value_of(name: str, value: str, path: str) -> str:
    if name not in facts():
        raise _fault(path, f"{name!r} is no fact")
    if value not in facts()[name].values:
        raise _fault(path, f"{name} never is {value!r}", f"its values are: {', '.join(facts()[name].values)}")
    return value


def _as_if(raw: Mapping[str, Any], path: str) -> dict[str, str | Mapping[str, str]]:
    found: dict[str, str | Mapping[str, str]] = {}
    for name, new in raw.items():
        if isinstance(new, Mapping):
            found[name] = {
                _value_of(name, str(old), path): _value_of(name, str(value), path) for old, value in new.items()
            }
        else:
            found[name] = _value_of(name, str(new), path)
    return found


def _fills(raw: Mapping[str, Any], path: str) -> dict[str, str]:
    return {name: _value_of(name, str(value), path) for name, value in raw.items()}


def _part_value(name: str, value: str, path: str) -> str:
    if name not in RULING_FIELDS:
        raise _fault(path, f"{name!r} is no part of a ruling", f"the parts are: {', '.join(RULING_FIELDS)}")
    allowed = schemas.table("plate_calls").field(f"ruled_{name}").enum
    if value != "" and value not in allowed:
        raise _fault(path, f"{value!r} is no value of {name}", f"allowed are: {', '.join(allowed)}")
    return value


def _parts(raw: Mapping[str, Any], path: str) -> dict[str, str]:
    return {name: _part_value(name, str(value), path) for name, value in raw.items()}


def _right(raw: Mapping[str, Any], path: str) -> dict[str, tuple[str, ...]]:
    return {
        name: tuple(
            _part_value(name, str(value), path) for value in (values if isinstance(values, list) else [values])
        )
        for name, values in raw.items()
    }


def _code(code: str, path: str) -> str:
    if code not in CODES:
        raise _fault(path, f"unknown rule code {code!r}", f"allowed are: {', '.join(CODES)}")
    return code


def _day(raw: Any, path: str) -> dt.date | None:
    if raw is None or isinstance(raw, dt.date):
        return raw
    raise _fault(path, f"{raw!r} is not a date")


def _case(raw: Mapping[str, Any], path: str) -> MisbeliefCase:
    if set(raw) - _CASE_KEYS or set(raw) | {"day"} != _CASE_KEYS:
        raise _fault(path, f"a case must have name, code, given, ruled and then: {raw}")
    if raw["then"] not in (RECOGNISED, NOT_RECOGNISED):
        raise _fault(path, f"a case is {RECOGNISED} or {NOT_RECOGNISED}, not {raw['then']!r}")
    given = {
        name: "" if value == "" else _value_of(name, str(value), path) for name, value in raw["given"].items()
    }
    return MisbeliefCase(
        raw["name"], _code(raw["code"], path), given, _parts(raw["ruled"], path), raw["then"],
        _day(raw.get("day"), path),
    )  # fmt: skip


def _condition(text: str | None, path: str) -> Condition | None:
    if text is None:
        return None
    try:
        condition = parse(text)
    except RuleDefinitionError as error:
        raise _fault(path, error.message) from error
    for part in memberships_in(condition):
        if part.name not in facts():
            raise _fault(path, f"{part.name!r} is no fact", "a misbelief is told by facts, not by decisions")
    check_condition(condition, path)
    return condition


def _of_one_kind(raw: Mapping[str, Any], path: str) -> None:
    kind = raw["kind"]
    if kind not in KINDS:
        raise _fault(path, f"unknown kind {kind!r}", f"allowed are: {', '.join(KINDS)}")
    wanted = _OF_KIND[kind]
    if not raw.get(wanted) or any(raw.get(other) for other in set(_OF_KIND.values()) - {wanted}):
        raise _fault(path, f"a misbelief of kind {kind!r} has {wanted!r}, and says in no other way what it rules")
    if raw.get("fills") and wanted == "part":
        raise _fault(path, "a misbelief about a part of the ruling looks at no facts", "leave out `fills`")


def read_misbelief(text: str, path: str) -> Misbelief:
    """Read one file.

    Raises
    ------
    RuleDefinitionError
        A key is missing or unknown, or a condition, fact, code or value does not exist; the file is named.
    """
    raw = load_yaml(text, path)
    if unknown := sorted(set(raw) - _KEYS):
        raise _fault(path, f"unknown keys: {', '.join(unknown)}", f"allowed are: {', '.join(sorted(_KEYS))}")
    if missing := sorted(_REQUIRED - set(raw)):
        raise _fault(path, f"missing keys: {', '.join(missing)}")
    if not re.fullmatch(r"M\d{3}", raw["id"]):
        raise _fault(path, f"the id {raw['id']!r} is not an M and three digits")
    if raw["confidence"] not in CONFIDENCE:
        raise _fault(path, f"unknown confidence {raw['confidence']!r}", f"allowed are: {', '.join(CONFIDENCE)}")
    _of_one_kind(raw, path)
    when = raw.get("when")
    return Misbelief(
        id=raw["id"],
        name=raw["name"],
        title=" ".join(raw["title"].split()),
        topic=raw["topic"],
        kind=raw["kind"],
        says=" ".join(raw["says"].split()),
        true_where=" ".join(raw["true_where"].split()),
        reference={_code(code, path): str(text) for code, text in raw["reference"].items()},
        confidence=raw["confidence"],
        source=raw["source"],
        when_text=" ".join(when.split()) if when else None,
        when=_condition(when, path),
        right=_right(raw.get("right", {}), path),
        code=_code(raw["code"], path) if raw.get("code") else None,
        day=_day(raw.get("day"), path),
        as_if=_as_if(raw.get("as_if", {}), path),
        fills=_fills(raw.get("fills", {}), path),
        part=_parts(raw.get("part", {}), path),
        cases=tuple(_case(item, path) for item in raw["cases"]),
        path=path,
    )


def in_order(found: list[Misbelief]) -> dict[str, Misbelief]:
    """Return misbeliefs by id, in order of id.

    Raises
    ------
    RuleDefinitionError
        An id stands twice, a file is not named after its misbelief, or the ids are not in order of precedence.
    """
    ordered: dict[str, Misbelief] = {}
    for one in sorted(found, key=lambda one: one.id):
        if one.id in ordered:
            raise _fault(one.path, f"the id {one.id} is taken by {ordered[one.id].path}", "ids are never used again")
        if not one.path.endswith(f"/{one.id}_{one.name}.yaml"):
            raise _fault(one.path, f"the file must be called {one.id}_{one.name}.yaml")
        ordered[one.id] = one
    before: Misbelief | None = None
    for one in ordered.values():
        if before is not None and before.precedence[:2] > one.precedence[:2]:
            raise _fault(
                one.path,
                f"{one.id} comes after {before.id}, but is of an earlier kind or changes fewer facts",
                "the ids give the order in which misbeliefs are named: choose a lower one",
            )
        before = one
    return ordered


@functools.cache
def misbeliefs() -> Mapping[str, Misbelief]:
    """Every misbelief by id, which is the order of precedence: another code first, then by facts changed."""
    folder = files("pipeline.rules").joinpath("misbeliefs")
    return in_order(
        [
            read_misbelief(entry.read_text(encoding="utf-8"), f"{_FOLDER}/{entry.name}")
            for entry in folder.iterdir()
            if entry.name.endswith(".yaml")
        ]
    )
