"""Check the keys of a quiz: which options the rules themselves make right."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from pipeline.config import RunConfig
from pipeline.rules.answer import NONE_CALLED, SEPARATOR
from pipeline.rules.dimensions import dimensions
from pipeline.rules.model import RULING_FIELDS
from pipeline.store import StepResult, Store

LETTERS = "abcdef"
TOLERANCE = 1e-6
"""Two measures in inches that differ by no more are one."""


@dataclass(frozen=True)
class KeyCheck:
    """What the rules make of one item: the verdict on its key, the right options, and why."""

    item_id: str
    verdict: str
    right_options: tuple[str, ...]
    because: str


def stated(text: str) -> dict[str, str]:
    """Read what an option states: `field=value` pairs joined by `;`."""
    pairs = (part.split("=", 1) for part in text.split(";") if "=" in part)
    return {name.strip().removeprefix("ruled_"): value.strip() for name, value in pairs}


def _verdict(key: str, right: list[str]) -> str:
    if not right:
        return "none_right"
    if len(right) > 1:
        return "ambiguous"
    return "confirmed" if right == [key] else "wrong"


def check_measure(item: Mapping[str, Any], options: Mapping[str, str]) -> KeyCheck:
    """Check an item about a measurement against the dimensions table."""
    item_id, key = str(item["item_id"]), str(item["key"]).strip().lower()
    measure = dimensions().get(str(item["quantity"]))
    if measure is None or item["rule_code"] not in measure.values:
        return KeyCheck(
            item_id, "open", (), f"The rules core has no measure called {item['quantity']!r} for this code."
        )
    truth = measure.values[item["rule_code"]]
    right = []
    for letter, text in options.items():
        try:
            value = float(stated(text).get("value", "nan"))
        except ValueError:
            continue
        if abs(value - truth) <= TOLERANCE:
            right.append(letter)
    why = f"{measure.title}: {truth:g} {measure.unit} ({measure.reference}; {measure.confidence[item['rule_code']]})."
    return KeyCheck(item_id, _verdict(key, right), tuple(right), why)


def check_case(item: Mapping[str, Any], options: Mapping[str, str], ruling: Mapping[str, Any]) -> KeyCheck:
    """Check an item about a case against its ruling: an option is right when all that it states is the ruling."""
    item_id, key = str(item["item_id"]), str(item["key"]).strip().lower()
    parts = (*RULING_FIELDS, "outs_added", "balls_after", "strikes_after")
    right, possible = [], []
    for letter, text in options.items():
        claims = stated(text)
        if not claims or any(name not in parts for name in claims):
            continue
        if all(
            value == (ruling[name] or NONE_CALLED) or (not ruling[name] and value in ("", "none"))
            for name, value in claims.items()
        ):
            right.append(letter)
        if all(value in (ruling[name] or NONE_CALLED).split(SEPARATOR) for name, value in claims.items()):
            possible.append(letter)
    because = str(ruling["because"])
    if ruling["state"] == "contradiction":
        return KeyCheck(item_id, "open", (), because)
    if ruling["state"] == "open" and (set(possible) != set(right) or not right):
        return KeyCheck(item_id, "open", tuple(possible), because)
    return KeyCheck(item_id, _verdict(key, right), tuple(right), because)


def check_items(store: Store, items: str, rulings: str) -> list[KeyCheck]:
    """Check every item of table `items` that states what its options mean; `rulings` has a row for each case."""
    found = []
    by_id = {row["call_id"]: row for row in store.records(f"SELECT * FROM {rulings}")}
    for item in store.records(f"SELECT * FROM {items} ORDER BY item_id"):
        options = {letter: item.get(f"option_{letter}_states") for letter in LETTERS}
        given = {letter: str(text) for letter, text in options.items() if text}
        if not given:
            continue
        if item.get("quantity"):
            found.append(check_measure(item, given))
        elif str(item["item_id"]) in by_id:
            found.append(check_case(item, given, by_id[str(item["item_id"])]))
    return found


def write_keys(store: Store, target: str, checks: list[KeyCheck]) -> None:
    """Make table `target` (`item_id`, `verdict`, `right_options`, `because`) from the checks."""
    store.run(
        f"CREATE OR REPLACE TABLE {target} (item_id VARCHAR, verdict VARCHAR, right_options VARCHAR, because VARCHAR)"
    )
    for check in checks:
        store.run(
            f"INSERT INTO {target} VALUES (?, ?, ?, ?)",
            [check.item_id, check.verdict, ";".join(check.right_options), check.because],
        )


def check_keys(config: RunConfig, store: Store) -> StepResult:
    """Make `rulings.quiz_key` from `checked.quiz_items` and the rulings of their cases in `rulings.item_ruling`."""
    if not store.has_table("checked.quiz_items") or not store.has_table("facts.item_case"):
        with store.transaction():
            write_keys(store, "rulings.quiz_key", [])
        return StepResult("quiz keys", 0, 0)
    from pipeline.rules.compile import league_book
    from pipeline.rulings.batch import rule_table

    with store.transaction():
        rule_table(
            store, "facts.item_case", "rulings.item_ruling", book=league_book(config.policy.rule_options)
        )
        checks = check_items(store, "checked.quiz_items", "rulings.item_ruling")
        write_keys(store, "rulings.quiz_key", checks)
    rows = int(store.value("SELECT count(*) FROM checked.quiz_items"))
    verdicts = [check.verdict for check in checks]
    return StepResult(
        "quiz keys", rows, len(checks), notes={"not confirmed": len(verdicts) - verdicts.count("confirmed")}
    )
