"""What a finding is: something worth a person's look that takes no row out of the results."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from pipeline.store import Store
from pipeline.store.database import named_sql

COLUMNS = (
    ("finding_id", "VARCHAR"),
    ("kind", "VARCHAR"),
    ("severity", "VARCHAR"),
    ("table_name", "VARCHAR"),
    ("row_id", "BIGINT"),
    ("path", "VARCHAR"),
    ("line_no", "BIGINT"),
    ("column_name", "VARCHAR"),
    ("value", "VARCHAR"),
    ("message", "VARCHAR"),
    ("remedy", "VARCHAR"),
    ("person_id", "VARCHAR"),
)
"""The columns of a finding; `severity` is `warn` (mend or decide) or `note` (good to know).

`finding_id` is the same at every run on the same input. `person_id` is the evaluator concerned, or NULL where
the finding names several people and so is the committee's alone.
"""


def make_finding_table(store: Store, target: str) -> None:
    """Make a table of findings anew."""
    columns = ", ".join(f"{name} {kind}" for name, kind in COLUMNS)
    store.run(f"CREATE OR REPLACE TABLE {target} ({columns})")


def add_findings(store: Store, target: str, name: str, parameters: Mapping[str, Any] | None = None) -> None:
    """Add to `target` the findings of the SELECT in `sql/<name>.sql`, ordered by `finding_id`."""
    columns = ", ".join(column for column, _ in COLUMNS)
    select = f"SELECT {columns} FROM ({named_sql('pipeline.checks', name)}) ORDER BY finding_id"
    store.run(f"INSERT INTO {target} {select}", parameters)
