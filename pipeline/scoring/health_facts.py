"""Of the facts that decided, or would have decided, an evaluator's calls: how many were recorded."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import schemas
from pipeline.rules.answer import columns_of
from pipeline.rules.compile import RuleBook
from pipeline.rules.diagram import Forest
from pipeline.rules.vocabulary import recorded_facts
from pipeline.store import Store

_CHUNK = 20_000

_READ = {
    "stance_fault": ("stance_front", "stance_back"),
    "touch_in_zone": ("location_at_touch",),
    "touch_in_box": ("location_at_touch",),
}
"""Facts that may have been read from others, with the columns in which somebody wrote them down."""


@dataclass
class FactCount:
    """Columns of one evaluator's calls that decided and were recorded, and those that would have and were not."""

    recorded: Counter[str] = field(default_factory=Counter)
    missing: Counter[str] = field(default_factory=Counter)


def asked_and_recorded(forest: Forest, node: int, known: Mapping[str, str]) -> tuple[str, ...]:
    """Return the known facts that a walk from `node` asks; from a fact that is not known it follows every branch."""
    asked: set[str] = set()
    seen = {node}
    stack = [node]
    while stack:
        part = stack.pop()
        if forest.is_end(part):
            continue
        variable = forest.variables[forest.levels[part]]
        value = known.get(variable.name)
        following: Sequence[int] = forest.branches[part]
        if value is not None:
            asked.add(variable.name)
            following = (following[variable.values.index(value)],)
        for branch in following:
            if branch not in seen:
                seen.add(branch)
                stack.append(branch)
    return tuple(name for name in recorded_facts() if name in asked)


def count_facts(store: Store, book: RuleBook) -> dict[str, FactCount]:
    """Return the counts by evaluator, in columns of the sheet.

    Only columns are counted that somebody must fill in: a blank that the sheet reads as a value (no swing, a legal
    pitch) is never missing. Missing are the columns that a ruling left open needs; a column left blank that decides
    nothing counts neither way, nor does a fact that was read from others (a stance on a pitch). Calls whose facts
    contradict each other are left out.
    """
    sheet = schemas.table("plate_calls")
    to_fill_in = {column.name for column in sheet.fields if column.blank_value is None}
    names = tuple(recorded_facts())
    days = sorted({regime.first_day for regime in book.regimes if regime.first_day})
    facts = ", ".join(f'CAST(calls."{name}" AS VARCHAR) AS "{name}"' for name in names)
    written = ", ".join(
        f"{' OR '.join(f'{name} IS NOT NULL' for name in columns)} AS wrote_{fact}" for fact, columns in _READ.items()
    )
    cursor = store.connection.cursor()
    found: dict[str, FactCount] = {}
    roots: dict[tuple[str, int], int] = {}
    try:
        cursor.execute(
            # Who wrote a set of facts down is counted beside it: evaluators have most sets in common, and each set is
            # walked once however many they are.
            "SELECT histogram(calls.evaluator_id) AS calls_by_evaluator, calls.rule_code, "
            "len(list_filter($days::DATE[], lambda day: calls.game_on >= day)) AS era, "
            "min(calls.game_on) AS game_on, coalesce(ruling.needs, '') AS needs, "
            f"{written}, {facts} "
            "FROM facts.fct_call AS calls JOIN rulings.ruling AS ruling USING (call_id) "
            "WHERE ruling.state <> 'contradiction' "
            "GROUP BY ALL",
            {"days": days},
        )
        while rows := cursor.fetchmany(_CHUNK):
            for calls_by_evaluator, code, era, day, needs, *rest in rows:
                wrote = dict(zip(_READ, rest, strict=False))
                values = rest[len(_READ) :]
                root = roots.get((code, era))
                if root is None:
                    root = roots.setdefault((code, era), book.regime(code, day).root)
                known = {name: value for name, value in zip(names, values, strict=True) if value is not None}
                needed = [name for name in needs.split(";") if name]
                asked = asked_and_recorded(book.forest, root, known)
                recorded = [
                    name
                    for name in columns_of([name for name in asked if wrote.get(name, True)])
                    if name in to_fill_in and name not in needed
                ]
                for evaluator_id, calls in calls_by_evaluator.items():
                    count = found.setdefault(evaluator_id, FactCount())
                    for name in recorded:
                        count.recorded[name] += calls
                    for name in needed:
                        count.missing[name] += calls
    finally:
        cursor.close()
    return found
