"""Points that a league settles for itself: named options of the codes, with the rule's own words as default."""

from __future__ import annotations

import difflib
import functools
from collections.abc import Mapping
from dataclasses import dataclass
from importlib.resources import files

from pipeline.errors import ConfigError, RuleDefinitionError, Where
from pipeline.rules.model import CODES, CONFIDENCE
from schemas.reader import load_yaml

PREFIX = "option_"
"""What the name of an option begins with where rules ask about it."""

_PATH = "pipeline/rules/options.yaml"
_REQUIRED = {"title", "values", "codes", "reference", "confidence"}


@dataclass(frozen=True)
class Option:
    """One point: its values in words, the codes it belongs to, and the rule's own answer (None: not settled)."""

    name: str
    title: str
    values: Mapping[str, str]
    default: str | None
    codes: tuple[str, ...]
    reference: str
    confidence: str
    note: str

    @property
    def fact(self) -> str:
        """The name by which rules ask about it."""
        return PREFIX + self.name


@functools.cache
def options() -> Mapping[str, Option]:
    """Every option by name.

    Raises
    ------
    RuleDefinitionError
        An entry lacks a key or has an unknown one, or its default is none of its values.
    """
    raw = load_yaml(files("pipeline.rules").joinpath("options.yaml").read_text(encoding="utf-8"), _PATH)
    found = {}
    for name, item in raw["options"].items():
        unknown = set(item) - _REQUIRED - {"default", "note"}
        if unknown or not set(item) >= _REQUIRED:
            raise RuleDefinitionError(f"the option {name} lacks a key or has an unknown one", where=Where(_PATH))
        default = item.get("default")
        if (
            (default is not None and default not in item["values"])
            or not set(item["codes"]) <= set(CODES)
            or item["confidence"] not in CONFIDENCE
        ):
            raise RuleDefinitionError(
                f"the option {name} has an unknown default, code or confidence", where=Where(_PATH)
            )
        found[name] = Option(
            name, item["title"], dict(item["values"]), default, tuple(item["codes"]), item["reference"],
            item["confidence"], item.get("note", ""),
        )  # fmt: skip
    return found


def settle(chosen: Mapping[str, str], where: Where | None = None) -> tuple[tuple[str, str], ...]:
    """Return the options in force, (name, value) in order of name: those chosen, else the defaults there are.

    Raises
    ------
    ConfigError
        A name or value does not exist; every fault is listed.
    """
    faults = []
    for name, value in chosen.items():
        if name not in options():
            near = difflib.get_close_matches(name, options(), n=1)
            hint = f"did you mean {near[0]!r}?" if near else f"there are: {', '.join(options())}"
            faults.append(f"unknown rule option {name!r}: {hint}")
        elif value not in options()[name].values:
            faults.append(f"{name} = {value!r} is no choice; there are: {', '.join(options()[name].values)}")
    if faults:
        raise ConfigError("; ".join(faults), where=where, hint="mend [rule_options] in the policy")
    merged = {name: chosen.get(name, option.default) for name, option in options().items()}
    return tuple((name, value) for name, value in sorted(merged.items()) if value is not None)
