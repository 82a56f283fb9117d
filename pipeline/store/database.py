"""Open the season store and run named SQL files in it."""

from __future__ import annotations

import contextlib
import logging
import re
from collections.abc import Iterator, Mapping, Sequence
from importlib.resources import files
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Any

import duckdb

from pipeline.errors import StoreBusyError, StoreError, Where

if TYPE_CHECKING:
    import pandas as pd

log = logging.getLogger(__name__)

LAYERS = ("raw", "staged", "meta", "checked", "facts", "rulings", "scores", "published")
"""The schemas of the store, in the order in which data flows through them."""

_SETTINGS = {
    # A file that DuckDB 1.4 to 2.x can read and write; the 2.x default locks older readers out.
    "storage_compatibility_version": "v1.4.0",
    # Nothing is ever fetched from outside.
    "autoinstall_known_extensions": "false",
    "autoload_known_extensions": "false",
}


class Store:
    """A season store, or a store in memory when `path` is None.

    Use it as a context manager. `connection` is the DuckDB connection for what the methods do not cover.

    Raises
    ------
    StoreBusyError
        Another process has the file open.
    StoreError
        The file is not a DuckDB database, or cannot be opened.
    """

    def __init__(self, path: Path | None = None, *, read_only: bool = False) -> None:
        self.path = path
        try:
            self.connection = duckdb.connect(
                str(path) if path else ":memory:", read_only=read_only, config=dict(_SETTINGS)
            )
        except duckdb.IOException as error:
            text = str(error)
            if "lock" in text.lower():
                holder = re.search(r"held in (.+?)\.?(?: See|$)", text, flags=re.DOTALL)
                raise StoreBusyError(
                    f"another program has this season open ({holder.group(1).strip() if holder else 'unknown'})",
                    where=Where(path or ":memory:"),
                    hint="close it, or wait until its run is over, and try again",
                ) from error
            raise StoreError(
                f"the season store cannot be opened: {text.splitlines()[0]}",
                where=Where(path or ":memory:"),
                hint="move the file away and run again: it is made anew from the sheets",
            ) from error
        if not read_only:
            for layer in LAYERS:
                self.connection.execute(f"CREATE SCHEMA IF NOT EXISTS {layer}")

    def __enter__(self) -> Store:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, value: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """Close the file; what is committed is kept."""
        self.connection.close()

    @contextlib.contextmanager
    def transaction(self) -> Iterator[None]:
        """Make all that happens inside one transaction: it is there in full or not at all."""
        self.connection.execute("BEGIN TRANSACTION")
        try:
            yield
        except BaseException:
            with contextlib.suppress(duckdb.Error):
                self.connection.execute("ROLLBACK")
            raise
        self.connection.execute("COMMIT")

    def run(self, sql: str, parameters: Sequence[Any] | Mapping[str, Any] | None = None) -> None:
        """Execute one statement and forget its result."""
        log.debug("%s", sql)
        self.connection.execute(sql, parameters)

    def rows(
        self, sql: str, parameters: Sequence[Any] | Mapping[str, Any] | None = None
    ) -> list[tuple[Any, ...]]:
        """Execute one query and return all its rows."""
        log.debug("%s", sql)
        return self.connection.execute(sql, parameters).fetchall()

    def records(
        self, sql: str, parameters: Sequence[Any] | Mapping[str, Any] | None = None
    ) -> list[dict[str, Any]]:
        """Execute one query and return each row as a mapping from column to value."""
        log.debug("%s", sql)
        result = self.connection.execute(sql, parameters)
        names = [column[0] for column in result.description or ()]
        return [dict(zip(names, row, strict=True)) for row in result.fetchall()]

    def value(self, sql: str, parameters: Sequence[Any] | Mapping[str, Any] | None = None) -> Any:
        """Execute one query and return the first column of its first row, or None."""
        row = self.connection.execute(sql, parameters).fetchone()
        return row[0] if row else None

    def frame(self, sql: str, parameters: Sequence[Any] | Mapping[str, Any] | None = None) -> pd.DataFrame:
        """Execute one query and return a data frame."""
        return self.connection.execute(sql, parameters).df()

    def create(
        self, target: str, package: str, name: str, parameters: Mapping[str, Any] | None = None
    ) -> int:
        """Make table `target` anew from the SELECT in `<package>/sql/<name>.sql`; return its row count.

        Bound parameters are named `$like_this` in the file.
        """
        select = named_sql(package, name)
        self.run(f"CREATE OR REPLACE TABLE {target} AS {select}", parameters)
        return int(self.value(f"SELECT count(*) FROM {target}"))

    def has_table(self, qualified: str) -> bool:
        """Whether `layer.table` exists."""
        layer, name = qualified.split(".")
        found = self.value(
            "SELECT count(*) FROM information_schema.tables WHERE table_schema = ? AND table_name = ?",
            [layer, name],
        )
        return bool(found)


def named_sql(package: str, name: str) -> str:
    """Return the text of `<package>/sql/<name>.sql` (package in dotted form, as `pipeline.facts`)."""
    return files(package).joinpath("sql", f"{name}.sql").read_text(encoding="utf-8")
