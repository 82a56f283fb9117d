"""Make a published table from its SELECT, and hold it against its declaration."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from pipeline.errors import ContractError
from pipeline.store import Store
from schemas import Table

_FITS = {
    "VARCHAR": ("VARCHAR",),
    "BIGINT": ("BIGINT", "INTEGER", "SMALLINT", "TINYINT", "UINTEGER"),
    "DOUBLE": ("DOUBLE",),
    "DATE": ("DATE",),
    "BOOLEAN": ("BOOLEAN",),
    "TIMESTAMP": ("TIMESTAMP",),
}
"""Which types a SELECT may give for a declared one without losing anything."""


def publish_table(store: Store, table: Table, select: str, bound: Mapping[str, Any] | None = None) -> int:
    """Make `published.<table>` anew from `select`; return its row count.

    Raises
    ------
    ContractError
        Columns, types, required values, allowed values, bounds or key are not as declared; all faults at once.
    """
    store.run(f"CREATE OR REPLACE TABLE published.{table.name} AS {select}", bound)
    faults = column_faults(store, table) or value_faults(store, table)
    if faults:
        raise ContractError(
            f"published.{table.name} is not as declared: {'; '.join(faults)}",
            hint="this is a fault of the program: report it with the sheets",
        )
    return int(store.value(f"SELECT count(*) FROM published.{table.name}"))


def column_faults(store: Store, table: Table) -> list[str]:
    """Return what is wrong with names, order and types of the columns."""
    found = store.rows(
        "SELECT column_name, data_type FROM information_schema.columns "
        "WHERE table_schema = 'published' AND table_name = ? ORDER BY ordinal_position",
        [table.name],
    )
    names = tuple(name for name, _ in found)
    if names != table.field_names:
        missing = [name for name in table.field_names if name not in names]
        extra = [name for name in names if name not in table.field_names]
        return [f"missing columns: {missing}, not declared: {extra}, or in another order"]
    faults = []
    for field, (name, kind) in zip(table.fields, found, strict=True):
        # A column of NULLs alone has the type of NULL, and any type is right for it.
        if kind not in _FITS[field.duckdb_type] and kind != '"NULL"':
            faults.append(f"{name} is {kind}, declared {field.duckdb_type}")
    return faults


def value_faults(store: Store, table: Table) -> list[str]:
    """Return what is wrong with the values: missing, not allowed, out of bounds, or a key that stands twice."""
    faults = []
    for field in table.fields:
        column = f'"{field.name}"'
        conditions = [f"{column} IS NULL"] if field.required else []
        if field.enum:
            listed = ", ".join(f"'{item}'" for item in field.enum)
            conditions.append(f"{column} NOT IN ({listed})")
        if field.minimum is not None:
            conditions.append(f"{column} < {field.minimum}")
        if field.maximum is not None:
            conditions.append(f"{column} > {field.maximum}")
        for condition in conditions:
            count = store.value(f"SELECT count(*) FROM published.{table.name} WHERE {condition}")
            if count:
                faults.append(f"{count} rows where {condition}")
    key = ", ".join(f'"{name}"' for name in table.primary_key)
    doubled = store.value(
        f"SELECT count(*) FROM (SELECT {key} FROM published.{table.name} GROUP BY {key} HAVING count(*) > 1)"
    )
    if doubled:
        faults.append(f"{doubled} keys ({', '.join(table.primary_key)}) stand more than once")
    return faults


def key_order(table: Table) -> str:
    """Return the ORDER BY list that puts the rows of a table in the one order of its key."""
    return ", ".join(f'"{name}" NULLS FIRST' for name in table.primary_key)
