"""Describe the files beside the tables as a Data Package, from the declarations that the tables are held against.

Source: Data Package v2, Frictionless Data (datapackage.org/standard/data-package, data-resource, table-schema).
`unit` and `blank` (what an empty cell means) are properties of ours, which the standard allows.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from schemas import Field, Table

DESCRIPTOR = "datapackage.json"

_MEDIA = {
    ".csv": "text/csv",
    ".parquet": "application/vnd.apache.parquet",
    ".xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
}


def write_descriptor(folder: Path, tables: Sequence[Table], rows: Mapping[str, int], title: str) -> None:
    """Write `datapackage.json` for the files in `folder`: of each its hash and size, of each CSV its rows and schema.

    Parameters
    ----------
    rows
        Row count of each table, by name.
    title
        What the season is called; may be empty.
    """
    names = {table.name for table in tables}
    others = sorted(path for path in folder.iterdir() if path.suffix in _MEDIA and path.suffix != ".csv")
    package: dict[str, Any] = {
        "$schema": "https://datapackage.org/profiles/2.0/datapackage.json",
        "name": "season",
        "title": title or "Season",
        "description": "Every published table of the season. The CSV files have an apostrophe before everything that a "
        "spreadsheet would take for the start of a formula; the Parquet files are exact.",
        "resources": [
            *(_table_resource(folder / f"{table.name}.csv", table, rows[table.name]) for table in tables),
            *(_file_resource(path, "parquet" if path.stem in names else "workbook") for path in others),
        ],
    }
    text = json.dumps(package, ensure_ascii=False, indent=1)
    (folder / DESCRIPTOR).write_text(text + "\n", encoding="utf-8", newline="\n")


def _table_resource(path: Path, table: Table, rows: int) -> dict[str, Any]:
    return {
        "name": table.name,
        "type": "table",
        "title": table.title,
        "description": table.description,
        **_file(path),
        "encoding": "utf-8",
        "rows": rows,
        "schema": table_schema(table),
    }


def _file_resource(path: Path, kind: str) -> dict[str, Any]:
    return {"name": f"{path.stem}-{kind}", "type": "file", **_file(path)}


def _file(path: Path) -> dict[str, Any]:
    with path.open("rb") as stream:
        digest = hashlib.file_digest(stream, "sha256")
    return {
        "path": path.name,
        "format": path.suffix[1:],
        "mediatype": _MEDIA[path.suffix],
        "bytes": path.stat().st_size,
        "hash": f"sha256:{digest.hexdigest()}",
    }


def table_schema(table: Table) -> dict[str, Any]:
    """Return the Table Schema of a published table."""
    return {
        "fields": [_field(field) for field in table.fields],
        "primaryKey": list(table.primary_key),
        "missingValues": [""],
    }


def _field(field: Field) -> dict[str, Any]:
    made: dict[str, Any] = {
        "name": field.name,
        "title": field.title,
        "type": field.type,
        "description": field.description,
    }
    if field.unit:
        made["unit"] = field.unit
    if field.blank:
        made["blank"] = field.blank
    constraints: dict[str, Any] = {}
    if field.required:
        constraints["required"] = True
        if field.type == "string":
            # A text of no length is a value there: the part of a key that stands for the whole.
            made["missingValues"] = []
    if field.enum:
        constraints["enum"] = list(field.enum)
    bounds = {"minimum": field.minimum, "maximum": field.maximum}
    constraints |= {name: bound for name, bound in bounds.items() if bound is not None}
    if constraints:
        made["constraints"] = constraints
    return made
