"""Run the expectation suites of a season beside the SQL checks, and insist that both name the same rows."""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

from pipeline.checks.contracts import Check
from pipeline.checks.expectations import (
    Outcome,
    frame_sql,
    key_parameter,
    quiet_context,
    run_suite,
    suite,
    suite_record,
)
from pipeline.checks.quoting import identifier, literal
from pipeline.checks.violations import copies_sql
from pipeline.errors import DisagreementError
from pipeline.store import Store, write_bytes
from schemas import Table

if TYPE_CHECKING:
    import pandas as pd
    from great_expectations.core.batch_definition import BatchDefinition

WHOLE_ROWS = 200_000
"""Up to this many rows a table is validated whole; above, its violating rows and a sample (saves minutes)."""

SAMPLED_ROWS = 10_000
"""About so many rows at most are in the sample, which is else a hundredth (our own choice): what differs between the
two ways of checking differs by the kind of a value, and ten thousand rows hold every kind many times over."""

STRETCH = 50
"""The sample is made of stretches of so many rows: they share their games, so that few known ids are handed over."""

_SHOWN = 5


@dataclass(frozen=True)
class Looked:
    """The rows of one table that were checked.

    `came` counts the staged rows, `rows` those of `relation` (a quoted name): copies are left out of it. `copies` names
    the relation (row_id, first_id) of the copies, where they are known already.
    """

    table: Table
    relation: str
    came: int
    rows: int
    checks: tuple[Check, ...]
    copies: str | None = None

    @property
    def staged(self) -> str:
        """The rows as they came, copies among them, as a quoted name."""
        return f"staged.{identifier(self.table.name)}"


@dataclass(frozen=True)
class Validated:
    """What was validated: outcomes by check, the scope by table, and the two files' content."""

    outcomes: dict[str, Outcome]
    scopes: dict[str, Literal["whole", "sample"]]
    suites: dict[str, Any]
    results: dict[str, Any]

    def write(self, folder: Path) -> None:
        """Write `suite.json` and `validation.json`, byte for byte the same for the same input."""
        for name, content in (("suite.json", self.suites), ("validation.json", self.results)):
            text = json.dumps(content, indent=1, sort_keys=True, ensure_ascii=False)
            write_bytes(folder / name, (text + "\n").encode("utf-8"))


@dataclass(frozen=True)
class Asked:
    """What is asked of great-expectations about one table: its rows as frames, and the rows that SQL found.

    `parts` has for each frame its checks and the known ids that its rows name, by parameter.
    """

    item: Looked
    scope: Literal["whole", "sample"]
    dates: frozenset[str]
    firsts: frozenset[int]
    parts: tuple[tuple[tuple[Check, ...], pd.DataFrame, dict[str, list[str]]], ...]
    by_sql: dict[str, set[int]]


def validate(store: Store, looked: Iterable[Looked]) -> Validated:
    """Validate every table that has rows with great-expectations, against `meta.violation`.

    Raises
    ------
    DisagreementError
        The rows found for a check differ between the two, or an expectation could not be computed.
    """
    return confirm(ask(store, item) for item in looked if item.rows)


def ask(store: Store, item: Looked) -> Asked:
    """Gather from the store what `confirm` needs to know about a table that has rows."""
    dates = frozenset(field.name for field in item.table.fields if field.type == "date")
    whole = item.rows <= WHOLE_ROWS
    firsts = _first_copies(store, item)
    if not whole:
        _sample(store, item, firsts)
    parts = []
    for relation, checks in _parts(item, has_copies=bool(firsts)):
        # Where there are copies, the rows as they came are one part, and those without copies the other.
        sample = "temp.looked_once" if firsts and relation == item.relation else "temp.looked_row"
        rows = relation if whole else sample
        parts.append((checks, store.frame(frame_sql(checks, rows, dates)), _known_ids(store, checks, rows)))
    return Asked(item, "whole" if whole else "sample", dates, firsts, tuple(parts), _by_sql(store, item, firsts))


def confirm(asked: Iterable[Asked]) -> Validated:
    """Validate tables with great-expectations; it reads no store, so that it may run beside the engine.

    Raises
    ------
    DisagreementError
        The rows found for a check differ between the two, or an expectation could not be computed.
    """
    done = Validated({}, {}, {}, {})
    with quiet_context() as place:
        for one in asked:
            _confirm_table(place, one, done)
    return done


def _confirm_table(place: BatchDefinition[Any], asked: Asked, done: Validated) -> None:
    item, table = asked.item, asked.item.table.name
    outcomes: list[Outcome] = []
    rows_validated = 0
    for checks, frame, known in asked.parts:
        outcomes += run_suite(place, suite(table, checks, asked.dates), frame, known, asked.by_sql)
        rows_validated = len(frame)
    _compare(table, item.checks, outcomes, asked.by_sql)
    outcomes = [_later_copies(outcome, item, asked.firsts) for outcome in outcomes]
    done.outcomes.update({outcome.check_id: outcome for outcome in outcomes})
    done.scopes[table] = asked.scope
    done.suites[table] = suite_record(suite(table, item.checks, asked.dates))
    done.results[table] = {
        "rows": item.rows,
        "rows_validated": rows_validated,
        "scope": asked.scope,
        "checks": [
            {
                "check_id": outcome.check_id,
                "success": not outcome.failing,
                "failed": len(outcome.failing),
                "row_ids": sorted(outcome.failing),
            }
            for outcome in outcomes
        ],
    }


def _parts(item: Looked, *, has_copies: bool) -> list[tuple[str, tuple[Check, ...]]]:
    """Return the relations to look at with their checks: copies are left out of the rows that others look at."""
    if not has_copies:
        return [(item.relation, item.checks)]
    copies = tuple(check for check in item.checks if check.kind == "exact_copy")
    others = tuple(check for check in item.checks if check.kind != "exact_copy")
    return [(relation, checks) for relation, checks in ((item.staged, copies), (item.relation, others)) if checks]


def _copy_check(item: Looked) -> Check | None:
    return next((check for check in item.checks if check.kind == "exact_copy"), None)


def _first_copies(store: Store, item: Looked) -> frozenset[int]:
    """Return the rows that other rows are exact copies of."""
    if _copy_check(item) is None or item.came == item.rows:
        return frozenset()
    found = store.rows(f"SELECT DISTINCT first_id FROM {_copies(item)} AS copy")
    return frozenset(row[0] for row in found)


def _copies(item: Looked) -> str:
    """Return the relation (row_id, first_id) of the copies in a table that has a check for them."""
    if item.copies is not None:
        return item.copies
    check = next(check for check in item.checks if check.kind == "exact_copy")
    return f"({copies_sql(check, item.table.primary_key, item.staged)})"


def _later_copies(outcome: Outcome, item: Looked, firsts: frozenset[int]) -> Outcome:
    """Leave the first of several equal rows out of the outcome: that row goes on."""
    check = _copy_check(item)
    if check is None or outcome.check_id != check.id:
        return outcome
    return replace(outcome, failing=outcome.failing - firsts)


def _sample(store: Store, item: Looked, firsts: frozenset[int]) -> None:
    """Fill `looked_row` with the violating rows of a table and the sample; `looked_once` shows them without copies."""
    # Knuth's multiplicative hash (The Art of Computer Programming 3, 6.4) of the stretch's number: the same rows at
    # each run, from all over the file.
    below = min(42949673, 4294967296 * SAMPLED_ROWS // item.rows)
    store.run(
        f"CREATE OR REPLACE TEMP TABLE looked_row AS SELECT * FROM {item.staged} SEMI JOIN ("
        f"SELECT row_id FROM {item.staged} WHERE (row_id // {STRETCH} * 2654435761) % 4294967296 < {below} UNION ALL "
        f"SELECT row_id FROM meta.violation WHERE table_name = {literal(item.table.name)} UNION ALL "
        f"SELECT unnest({sorted(firsts)}::BIGINT[])) AS looked USING (row_id)"
    )
    if firsts:
        store.run(
            "CREATE OR REPLACE TEMP VIEW looked_once AS "
            f"SELECT * FROM looked_row ANTI JOIN (SELECT row_id FROM {_copies(item)}) AS copy USING (row_id)"
        )


def _known_ids(store: Store, checks: Sequence[Check], relation: str) -> dict[str, list[str]]:
    """Return for each foreign key the known ids among those that the rows name.

    Known ids that no row names decide nothing, but a suite is copied many times over while it runs: thirteen
    thousand call ids for five amendments took 2 s out of 6.
    """
    known: dict[str, list[str]] = {}
    for check in checks:
        if check.kind == "foreign_key":
            column, target = identifier(check.columns[0]), identifier(check.args["target"])
            rows = store.rows(
                f"SELECT DISTINCT {target} FROM checked.{identifier(check.args['table'])} "
                f"WHERE {target} IN (SELECT {column} FROM {relation}) ORDER BY 1"
            )
            known[key_parameter(check)] = [row[0] for row in rows]
    return known


def _by_sql(store: Store, item: Looked, firsts: frozenset[int]) -> dict[str, set[int]]:
    found: dict[str, set[int]] = defaultdict(set)
    select = "SELECT check_id, row_id FROM meta.violation WHERE table_name = ?"
    for check_id, row_id in store.rows(select, [item.table.name]):
        found[check_id].add(row_id)
    copies = _copy_check(item)
    if copies and firsts:
        found[copies.id] |= firsts
    return found


def _compare(table: str, checks: Sequence[Check], outcomes: Sequence[Outcome], by_sql: dict[str, set[int]]) -> None:
    faults: list[str] = []
    unseen = {check.id for check in checks} - {outcome.check_id for outcome in outcomes}
    faults += [f"{check_id} was not computed" for check_id in sorted(unseen)]
    for outcome in outcomes:
        expected = by_sql.get(outcome.check_id, set())
        apart = sorted(expected ^ outcome.failing)
        if apart:
            shown = ", ".join(str(row) for row in apart[:_SHOWN]) + (", …" if len(apart) > _SHOWN else "")
            faults.append(
                f"{outcome.check_id}: SQL finds {len(expected)} rows, great-expectations "
                f"{len(outcome.failing)} (they differ on row_id {shown})"
            )
    if faults:
        raise DisagreementError(
            f"the two ways of checking {table} do not agree: {'; '.join(faults)}",
            hint="this is a fault of the program: report it with the versions in manifest.json",
        )
