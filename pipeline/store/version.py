"""By which declarations and which program a season store was written, and how far it has come."""

from __future__ import annotations

import functools
import importlib.metadata
import re
from dataclasses import dataclass
from pathlib import Path

import duckdb

from pipeline.errors import StoreVersionError, Where
from schemas.store_tables import META, layout_fingerprint, meta_table_sql


@dataclass(frozen=True)
class Layout:
    """The layout of a store: a hash of the declarations it was made by, and the version of the program.

    Both are blank for a store from before they were written down.
    """

    fingerprint: str = ""
    written_by: str = ""

    @property
    def is_ours(self) -> bool:
        """Whether the store was made by the declarations of this program."""
        return self.fingerprint == own_layout().fingerprint

    @property
    def is_newer(self) -> bool:
        """Whether a later program made the store, by other declarations."""
        return not self.is_ours and _ordered(self.written_by) > _ordered(own_layout().written_by)


def _ordered(version: str) -> tuple[int, ...]:
    """Return the numbers of a version, such as (0, 2, 0), by which versions are ordered."""
    return tuple(int(number) for number in re.findall(r"\d+", version)[:3])


@functools.cache
def own_layout() -> Layout:
    """Return the layout of the stores that this program writes."""
    return Layout(layout_fingerprint(), importlib.metadata.version("platework"))


def make_layout(connection: duckdb.DuckDBPyConnection, layers: tuple[str, ...]) -> None:
    """Make the schemas of an empty store and write down its layout, in one transaction."""
    ours = own_layout()
    connection.execute("BEGIN TRANSACTION")
    for layer in layers:
        connection.execute(f"CREATE SCHEMA IF NOT EXISTS {layer}")
    for name in ("layout", "stage_done"):
        connection.execute(meta_table_sql(name))
    connection.execute("INSERT INTO meta.layout VALUES (?, ?)", [ours.fingerprint, ours.written_by])
    connection.execute("COMMIT")


def read_layout(connection: duckdb.DuckDBPyConnection, path: Path) -> Layout | None:
    """Return the layout of a store, or None where there is nothing in it yet.

    Raises
    ------
    StoreVersionError
        The database is not a season store.
    """
    tables: dict[tuple[str, str], set[str]] = {}
    for schema, name, column in connection.execute(
        "SELECT schema_name, table_name, column_name FROM duckdb_columns() WHERE NOT internal"
    ).fetchall():
        tables.setdefault((schema, name), set()).add(column)
    if not tables:
        return None
    if META["layout"].keys() <= tables.get(("meta", "layout"), set()):
        row = connection.execute("SELECT fingerprint, written_by FROM meta.layout").fetchone()
        return Layout(*row) if row else Layout()
    if ("meta", "layout") in tables or ("meta", "file") in tables:
        return Layout()
    raise StoreVersionError(
        "this is a DuckDB database, but not a season store; nothing in it was touched",
        where=Where(path),
        hint="give another folder with --out, or move this file away",
    )


def refuse_newer(layout: Layout, path: Path) -> None:
    """Stop where the store was written by a later program.

    Raises
    ------
    StoreVersionError
        The store's layout is not known here.
    """
    if layout.is_newer:
        raise StoreVersionError(
            f"the season store was written by a newer platework ({layout.written_by}; this one is "
            f"{own_layout().written_by}); nothing in it was touched",
            where=Where(path),
            hint="install the newer platework, or run into another folder with --out",
        )


def refuse_older(layout: Layout, path: Path) -> None:
    """Stop where the store was written by an earlier program, and only making it anew would help.

    Raises
    ------
    StoreVersionError
        The store's tables are laid out otherwise than this program's.
    """
    if not layout.is_ours:
        by = f" ({layout.written_by})" if layout.written_by else ""
        raise StoreVersionError(
            f"the season store was written by an older platework{by}, whose tables are laid out otherwise",
            where=Where(path),
            hint="run the whole season with `platework run`: the store is made anew from the sheets, what it remembers "
            "of earlier versions is taken over, and the old one is kept",
        )
