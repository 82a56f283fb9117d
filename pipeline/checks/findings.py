"""What a finding is: something worth a person's look that takes no row out of the results."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from pipeline.checks.across import ACROSS, AcrossCheck
from pipeline.checks.quoting import identifier, literal
from pipeline.store import Store
from pipeline.store.database import named_sql
from schemas.store_tables import META

COLUMNS = tuple(META["finding"].items())
"""The columns of a finding; `severity` is `warn` (mend or decide) or `note` (good to know).

`finding_id` is the same at every run on the same input. `person_id` is the evaluator concerned, or NULL where
the finding names several people and so is the committee's alone. `call_ids` and `rule_ids` (joined by `;`) are
the calls and rules that a reader will want to open, NULL where a SELECT names none.
"""


def make_finding_table(store: Store, target: str) -> None:
    """Make a table of findings anew."""
    columns = ", ".join(f"{name} {kind}" for name, kind in COLUMNS)
    store.run(f"CREATE OR REPLACE TABLE {target} ({columns})")


def add_findings(store: Store, target: str, name: str, parameters: Mapping[str, Any] | None = None) -> None:
    """Add to `target` the findings of the SELECT in `sql/<name>.sql`, ordered by `finding_id`.

    Kind and severity of a check across sheets come from its declaration; other SELECTs name their own.
    """
    select = named_sql("pipeline.checks", name)
    check = ACROSS.get(name)
    if check is None:
        store.run(f"INSERT INTO {target} BY NAME SELECT * FROM ({select}) ORDER BY finding_id", parameters)
    else:
        put_findings(store, target, check, select, parameters)


def put_findings(
    store: Store, target: str, check: AcrossCheck, select: str, parameters: Mapping[str, Any] | None = None
) -> None:
    """Add to `target` the findings of a SELECT that names neither kind nor severity."""
    store.run(
        f"INSERT INTO {target} BY NAME SELECT {literal(check.kind)} AS kind, {literal(check.severity)} AS severity, * "
        f"FROM ({select}) ORDER BY finding_id",
        parameters,
    )


def note_results(store: Store, source: str, stage: str) -> int:
    """Put into `meta.check_result` what each check of a stage found in `source`; return how many were made.

    A check whose sheet has no accepted row was not made.
    """
    made = [check for check in ACROSS.values() if check.stage == stage]
    store.run("DELETE FROM meta.check_result WHERE check_id IN (SELECT unnest(?::VARCHAR[]))", [[c.id for c in made]])
    found = dict(store.rows(f"SELECT kind, count(*) FROM {source} GROUP BY kind ORDER BY kind"))
    noted = 0
    accepted = {
        name: store.value(f"SELECT count(*) FROM checked.{identifier(name)}")
        for name in sorted({check.table for check in made})
    }
    for check in made:
        rows = accepted[check.table]
        failed = found.get(check.kind, 0)
        if rows or failed:
            store.run(
                "INSERT INTO meta.check_result VALUES (?, ?, 'across', NULL, ?, ?, ?, ?, NULL, 'sql only', NULL)",
                [check.id, check.table, check.severity, check.title, rows, failed],
            )
            noted += 1
    return noted
