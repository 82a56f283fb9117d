"""Which layout a season store has, and how far it has come: two small tables in `meta`."""

from __future__ import annotations

from pathlib import Path

import duckdb

from pipeline.errors import StoreVersionError, Where

LAYOUT = 1
"""The layout of the store that this program writes; raised whenever a table changes so that old ones mislead."""

BEFORE_COUNTING = 0
"""The layout of stores that say nothing of theirs."""

_TABLES = (
    "CREATE TABLE IF NOT EXISTS meta.layout (layout INTEGER NOT NULL)",
    "CREATE TABLE IF NOT EXISTS meta.stage_done (place INTEGER NOT NULL, stage VARCHAR NOT NULL)",
)


def make_layout(connection: duckdb.DuckDBPyConnection, layers: tuple[str, ...]) -> None:
    """Make the schemas of an empty store and write down its layout, in one transaction."""
    connection.execute("BEGIN TRANSACTION")
    for layer in layers:
        connection.execute(f"CREATE SCHEMA IF NOT EXISTS {layer}")
    for statement in _TABLES:
        connection.execute(statement)
    connection.execute("INSERT INTO meta.layout VALUES (?)", [LAYOUT])
    connection.execute("COMMIT")


def read_layout(connection: duckdb.DuckDBPyConnection, path: Path) -> int | None:
    """Return the layout of a store, or None where there is nothing in it yet.

    Raises
    ------
    StoreVersionError
        The database is not a season store.
    """
    tables = {
        (schema, name)
        for schema, name in connection.execute(
            "SELECT schema_name, table_name FROM duckdb_tables() WHERE NOT internal"
        ).fetchall()
    }
    if not tables:
        return None
    if ("meta", "layout") in tables:
        row = connection.execute("SELECT max(layout) FROM meta.layout").fetchone()
        return BEFORE_COUNTING if row is None or row[0] is None else int(row[0])
    if ("meta", "file") in tables:
        return BEFORE_COUNTING
    raise StoreVersionError(
        "this is a DuckDB database, but not a season store; nothing in it was touched",
        where=Where(path),
        hint="give another folder with --out, or move this file away",
    )


def refuse_newer(layout: int, path: Path) -> None:
    """Stop where the store was written by a later program.

    Raises
    ------
    StoreVersionError
        The store's layout is not known here.
    """
    if layout > LAYOUT:
        raise StoreVersionError(
            f"the season store was written by a newer platework (layout {layout}; this one knows up to {LAYOUT}); "
            "nothing in it was touched",
            where=Where(path),
            hint="install the newer platework, or run into another folder with --out",
        )


def refuse_older(layout: int, path: Path) -> None:
    """Stop where the store was written by an earlier program, and only making it anew would help.

    Raises
    ------
    StoreVersionError
        The store's layout is older than this program's.
    """
    if layout < LAYOUT:
        raise StoreVersionError(
            f"the season store was written by an older platework (layout {layout}; this one writes {LAYOUT})",
            where=Where(path),
            hint="run the whole season with `platework run`: the store is made anew from the sheets, the old one kept",
        )
