"""The tables in which the season store keeps its accounts (`meta.*`), declared once: column and DuckDB type.

The layout of a store follows from these and from the sheets' declarations (`layout_fingerprint`), so a store that
was written under other declarations is known for one.
"""

from __future__ import annotations

import functools
import hashlib
import json
from collections.abc import Collection, Mapping

from schemas.reader import Field, layer_tables

HISTORY = ("load_run", "sheet_version", "sheet_event", "archived_row")
"""The tables that outlive a load: what the store remembers of earlier versions of the sheets."""

META: Mapping[str, Mapping[str, str]] = {
    "layout": {"fingerprint": "VARCHAR", "written_by": "VARCHAR"},
    "stage_done": {"place": "INTEGER", "stage": "VARCHAR", "done_by": "VARCHAR"},
    "file": {
        "file_id": "INTEGER", "path": "VARCHAR", "sheet": "VARCHAR", "table_name": "VARCHAR", "sha256": "VARCHAR",
        "bytes": "BIGINT", "encoding": "VARCHAR", "delimiter": "VARCHAR", "line_count": "BIGINT",
        "header_lines": "BIGINT", "rows_in": "BIGINT", "rows_blank": "BIGINT", "rows_staged": "BIGINT",
        "rows_rejected": "BIGINT", "rows_replaced": "BIGINT", "notes": "VARCHAR",
    },
    "sheet_layout": {"file_id": "INTEGER", "delimiter": "VARCHAR", "columns": "VARCHAR[]"},
    "reject": {
        "file_id": "INTEGER", "path": "VARCHAR", "table_name": "VARCHAR", "line_no": "BIGINT", "column_name": "VARCHAR",
        "value": "VARCHAR", "reason": "VARCHAR", "remedy": "VARCHAR", "raw_text": "VARCHAR", "stage": "VARCHAR",
    },
    "mend": {
        "state": "VARCHAR", "table_name": "VARCHAR", "file_id": "INTEGER", "path": "VARCHAR", "sheet": "VARCHAR",
        "line_no": "BIGINT", "raw_text": "VARCHAR", "original_path": "VARCHAR", "original_sheet": "VARCHAR",
        "original_line_no": "BIGINT", "original_text": "VARCHAR", "original_reason": "VARCHAR",
        "is_checked": "BOOLEAN", "message": "VARCHAR",
    },
    "replaced": {
        "file_id": "INTEGER", "line_no": "BIGINT", "table_name": "VARCHAR", "by_file_id": "INTEGER",
        "by_line_no": "BIGINT",
    },
    "load_run": {"run_no": "BIGINT", "loaded_at": "TIMESTAMP", "inputs_sha256": "VARCHAR"},
    "sheet_version": {
        "path": "VARCHAR", "sheet": "VARCHAR", "sha256": "VARCHAR", "table_name": "VARCHAR", "bytes": "BIGINT",
        "rows_in": "BIGINT", "delimiter": "VARCHAR", "columns": "VARCHAR[]", "first_run": "BIGINT",
        "last_run": "BIGINT", "rows_kept": "BIGINT",
    },
    "sheet_event": {
        "run_no": "BIGINT", "event": "VARCHAR", "path": "VARCHAR", "sheet": "VARCHAR", "sha256_before": "VARCHAR",
        "sha256_now": "VARCHAR", "note": "VARCHAR",
    },
    "archived_row": {
        "path": "VARCHAR", "sheet": "VARCHAR", "sha256": "VARCHAR", "table_name": "VARCHAR", "line_no": "BIGINT",
        "row_key": "VARCHAR", "raw_text": "VARCHAR",
    },
    "violation": {"table_name": "VARCHAR", "row_id": "BIGINT", "check_id": "VARCHAR"},
    "set_aside": {"table_name": "VARCHAR", "row_id": "BIGINT"},
    "check_result": {
        "check_id": "VARCHAR", "table_name": "VARCHAR", "kind": "VARCHAR", "columns": "VARCHAR", "severity": "VARCHAR",
        "title": "VARCHAR", "rows_checked": "BIGINT", "failed": "BIGINT", "gx_failed": "BIGINT", "gx_scope": "VARCHAR",
        "agrees": "BOOLEAN",
    },
    "finding": {
        "finding_id": "VARCHAR", "kind": "VARCHAR", "severity": "VARCHAR", "table_name": "VARCHAR", "row_id": "BIGINT",
        "path": "VARCHAR", "line_no": "BIGINT", "column_name": "VARCHAR", "value": "VARCHAR", "message": "VARCHAR",
        "remedy": "VARCHAR", "person_id": "VARCHAR", "call_ids": "VARCHAR", "rule_ids": "VARCHAR",
    },
}  # fmt: skip
"""`meta.ruling_finding` has the columns of `finding`.

sheet_version, sheet_event, archived_row
    `sheet` is '' for a plain file. `columns` are those of the rows, in order, '' where one is not read. `rows_kept` is
    NULL while a version is the one loaded, then how many of its rows are in `archived_row`: 0 where they had to make
    room or were in a store that was lost. `event` is `added`, `replaced`, `withdrawn` or `returned`.
mend
    `state` is `applied`, `dropped` (a blank row put the other out), `unchanged` (put back as it came), `repeated` (the
    same mend twice), or why it was set aside: `unplaced`, `no_sheet`, `stale`, `contested`, `circular`.
sheet_layout
    How the lines of a sheet split into cells: `columns` in the sheet's order, '' where one is not read.
set_aside
    The staged rows that are not among the checked ones: those that fail a check of severity `reject`, and copies.
layout, stage_done
    Which declarations a store was made by, and by which version of the program each stage was done.
"""


def meta_table_sql(name: str, *, anew: bool = True) -> str:
    """Return the statement that makes a table of `meta`, empty: anew, or only where it is not there."""
    columns = ", ".join(f"{column} {kind}" for column, kind in META[name].items())
    begin = "CREATE OR REPLACE TABLE" if anew else "CREATE TABLE IF NOT EXISTS"
    return f"{begin} meta.{name} ({columns})"


def line_cells_sql(columns: Collection[str], lines: str) -> str:
    """Return a SELECT of file, line, text and some cells (NULL where blank) of landed lines.

    `lines` is `raw.<table>_line` or a part of it: the engine splits each line that it holds.
    """
    cells = "".join(f", nullif(parts[list_position(columns, '{name}')], '') AS \"{name}\"" for name in columns)
    return (
        f"SELECT file_id, line_no, raw_text{cells} FROM (SELECT line.file_id, line_no, raw_text, columns, "
        f"coalesce(cells, string_split(raw_text, delimiter)) AS parts FROM {lines} AS line "
        "JOIN meta.sheet_layout USING (file_id))"
    )


def stored_type(field: Field) -> str:
    """Return the DuckDB type in which `staged.<table>_row` holds a column; the view `staged.<table>` has the declared.

    A column that holds one of a few values is written as a number for each: that takes less time and room.
    """
    if not field.enum or field.list_separator or field.duckdb_type != "VARCHAR":
        return field.duckdb_type
    values = ", ".join("'" + value.replace("'", "''") + "'" for value in field.enum)
    return f"ENUM({values})"


@functools.cache
def layout_fingerprint() -> str:
    """Return a short hash of the columns and types of `meta.*` and of the season's sheets, in their order."""
    layout = {
        "meta": {name: list(columns.items()) for name, columns in META.items()},
        "season": {
            f"{table.name}_row": [(field.name, stored_type(field)) for field in table.fields]
            for table in layer_tables("season")
        },
    }
    return hashlib.sha256(json.dumps(layout, sort_keys=True).encode()).hexdigest()[:16]
