"""Run the expectation suites of a season beside the SQL checks, and insist that both name the same rows."""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

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
from pipeline.errors import DisagreementError
from pipeline.store import Store, write_bytes
from schemas import Table

WHOLE_ROWS = 200_000
"""Up to this many rows a table is validated whole; above, its violating rows and a sample (saves minutes)."""

_SHOWN = 5


@dataclass(frozen=True)
class Looked:
    """The rows of one table that were checked.

    `came` counts the staged rows, `rows` those of `relation` (a quoted name): copies are left out of it.
    """

    table: Table
    relation: str
    came: int
    rows: int
    checks: tuple[Check, ...]


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


def validate(store: Store, looked: Sequence[Looked]) -> Validated:
    """Validate every table that has rows with great-expectations, against `meta.violation`.

    Raises
    ------
    DisagreementError
        The rows found for a check differ between the two, or an expectation could not be computed.
    """
    done = Validated({}, {}, {}, {})
    with quiet_context() as context:
        for item in looked:
            checks = tuple(check for check in item.checks if check.kind != "exact_copy")
            if not item.rows or not checks:
                continue
            table = item.table.name
            dates = frozenset(field.name for field in item.table.fields if field.type == "date")
            whole = item.rows <= WHOLE_ROWS
            frame = store.frame(frame_sql(checks, item.relation if whole else _sample(item), dates))
            made = suite(table, checks, dates)
            outcomes = run_suite(context, made, frame, _known_ids(store, checks, item.relation))
            _compare(table, checks, outcomes, _by_sql(store, table))
            done.outcomes.update({outcome.check_id: outcome for outcome in outcomes})
            done.scopes[table] = "whole" if whole else "sample"
            done.suites[table] = suite_record(made)
            done.results[table] = {
                "rows": item.rows,
                "rows_validated": len(frame),
                "scope": done.scopes[table],
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
    return done


def _sample(item: Looked) -> str:
    # Knuth's multiplicative hash (The Art of Computer Programming 3, 6.4) of the row id: the same hundredth
    # of the rows at each run, with no regard to their order in the file.
    return (
        f"(SELECT * FROM {item.relation} WHERE (row_id * 2654435761) % 4294967296 < 42949673 OR row_id IN "
        f"(SELECT row_id FROM meta.violation WHERE table_name = {literal(item.table.name)}))"
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


def _by_sql(store: Store, table: str) -> dict[str, set[int]]:
    found: dict[str, set[int]] = defaultdict(set)
    for check_id, row_id in store.rows("SELECT check_id, row_id FROM meta.violation WHERE table_name = ?", [table]):
        found[check_id].add(row_id)
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
