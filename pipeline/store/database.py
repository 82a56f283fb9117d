"""Open the season store and run named SQL files in it."""

from __future__ import annotations

import contextlib
import itertools
import logging
import re
from collections.abc import Iterator, Mapping, Sequence
from importlib.resources import files
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Any

import duckdb

from pipeline.errors import PlateworkError, StoreBusyError, StoreVersionError, UnwritableError, Where
from pipeline.store import version
from pipeline.store.faults import damaged, storage_faults, told_fault
from pipeline.store.history_copy import shared_columns
from pipeline.store.outputs import scratch_folder
from schemas.store_tables import HISTORY, META, meta_table_sql

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

    Parameters
    ----------
    path
        The file; it is made when it is not there.
    read_only
        Look only; a log of committed changes beside the file is read but left where it is.
    renew
        Where the file has an older layout, keep it under another name (`season.older.duckdb`) and begin one that
        holds nothing but what the older one remembers of earlier versions of the sheets.

    Raises
    ------
    StoreBusyError
        Another process has the file open.
    StoreVersionError
        The file has a newer layout, an older one and `renew` is not set, or is no season store.
    StoreError
        The file is damaged or not a DuckDB database.
    StorageError, UnwritableError
        There is no room, or no leave to write.
    """

    def __init__(self, path: Path | None = None, *, read_only: bool = False, renew: bool = False) -> None:
        self.path = path
        self._read_only = read_only
        if path is not None and not read_only and not path.exists():
            _begin(path)
        self.connection = _connect(path, read_only=read_only)
        try:
            self._settle_layout(read_only=read_only, renew=renew)
        except BaseException:
            self.connection.close()
            raise

    def _settle_layout(self, *, read_only: bool, renew: bool) -> None:
        where = self.path or Path(":memory:")
        with storage_faults(where):
            layout = version.read_layout(self.connection, where)
            if layout is None:
                if not read_only:
                    version.make_layout(self.connection, LAYERS)
                return
            if layout.is_ours:
                return
            version.refuse_newer(layout, where)
            if not renew or self.path is None or read_only:
                version.refuse_older(layout, where)
                return
            # Its log must not stay beside the new one.
            self.connection.execute("CHECKPOINT")
            self.connection.close()
            kept = _free_name(self.path)
            _begin(self.path, kept)
            log.warning("the store was written by an older platework: kept as %s, and made anew", kept)
            self.connection = _connect(self.path, read_only=False)

    def __enter__(self) -> Store:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, value: BaseException | None, trace: TracebackType | None
    ) -> None:
        if value is None:
            self.close()
            return
        # What ended the block is what is told, not what may follow from it.
        with contextlib.suppress(PlateworkError, duckdb.Error):
            self.close()

    def close(self) -> None:
        """Bring what is committed from the log into the file, and close it.

        Raises
        ------
        StorageError
            The file could not be brought up to date. What was committed is in the log beside it, and is read there.
        """
        try:
            if self.path is not None and not self._read_only:
                # Closing alone would try the same, and say nothing where it fails.
                with self._told():
                    self.connection.execute("CHECKPOINT")
        finally:
            self.connection.close()

    def _told(self) -> contextlib.AbstractContextManager[None]:
        return storage_faults(self.path) if self.path else contextlib.nullcontext()

    @contextlib.contextmanager
    def transaction(self) -> Iterator[None]:
        """Make all that happens inside one transaction: it is there in full or not at all."""
        with self._told():
            self.connection.execute("BEGIN TRANSACTION")
            try:
                yield
                self.connection.execute("COMMIT")
            except BaseException:
                with contextlib.suppress(duckdb.Error):
                    self.connection.execute("ROLLBACK")
                raise

    def stages_done(self) -> tuple[str, ...]:
        """Return the stages that stand, in order: done by this program, and nothing before them done again since."""
        ours = version.own_layout().written_by
        done = self.rows("SELECT stage, done_by FROM meta.stage_done ORDER BY place")
        return tuple(stage for stage, _ in itertools.takewhile(lambda row: row[1] == ours, done))

    def begin_stage(self, stage: str, place: int) -> None:
        """Write down that a stage is being made anew, so that it and all after it no longer stand."""
        log.debug("stage %s begins", stage)
        self.run("DELETE FROM meta.stage_done WHERE place >= ?", [place])

    def end_stage(self, stage: str, place: int) -> None:
        """Write down that a stage stands."""
        self.run("INSERT INTO meta.stage_done VALUES (?, ?, ?)", [place, stage, version.own_layout().written_by])

    def run(self, sql: str, parameters: Sequence[Any] | Mapping[str, Any] | None = None) -> None:
        """Execute one statement and forget its result."""
        log.debug("%s", sql)
        with self._told():
            self.connection.execute(sql, parameters)

    def rows(
        self, sql: str, parameters: Sequence[Any] | Mapping[str, Any] | None = None
    ) -> list[tuple[Any, ...]]:
        """Execute one query and return all its rows."""
        log.debug("%s", sql)
        with self._told():
            return self.connection.execute(sql, parameters).fetchall()

    def records(
        self, sql: str, parameters: Sequence[Any] | Mapping[str, Any] | None = None
    ) -> list[dict[str, Any]]:
        """Execute one query and return each row as a mapping from column to value."""
        log.debug("%s", sql)
        with self._told():
            result = self.connection.execute(sql, parameters)
            names = [column[0] for column in result.description or ()]
            return [dict(zip(names, row, strict=True)) for row in result.fetchall()]

    def value(self, sql: str, parameters: Sequence[Any] | Mapping[str, Any] | None = None) -> Any:
        """Execute one query and return the first column of its first row, or None."""
        with self._told():
            row = self.connection.execute(sql, parameters).fetchone()
        return row[0] if row else None

    def frame(self, sql: str, parameters: Sequence[Any] | Mapping[str, Any] | None = None) -> pd.DataFrame:
        """Execute one query and return a data frame."""
        with self._told():
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


def _connect(path: Path | None, *, read_only: bool) -> duckdb.DuckDBPyConnection:
    where = path or Path(":memory:")
    try:
        str(where).encode()
    except UnicodeEncodeError as error:
        raise UnwritableError(
            "the name of the folder for the results, or of one that it is in, is not in UTF-8, which the engine needs",
            where=Where(str(where).encode(errors="backslashreplace").decode()),
            hint="give a folder with another name, with --out",
        ) from error
    try:
        return duckdb.connect(str(path) if path else ":memory:", read_only=read_only, config=dict(_SETTINGS))
    except duckdb.Error as error:
        text = str(error)
        if "could not set lock" in text.lower() or "used by another process" in text.lower():
            holder = re.search(r"held in (.+?)\.?(?: See|$)", text, flags=re.DOTALL)
            raise StoreBusyError(
                f"another program has this season open ({holder.group(1).strip() if holder else 'unknown'})",
                where=Where(where),
                hint="close it, or wait until its run is over, and try again",
            ) from error
        if "storage version number" in text:
            raise StoreVersionError(
                "the season store was written by a newer DuckDB than this one; nothing in it was touched",
                where=Where(where),
                hint="install the newer platework, or run into another folder with --out",
            ) from error
        raise told_fault(error, where) or damaged(where, text.splitlines()[0]) from error


def _begin(path: Path, keep_as: Path | None = None) -> None:
    """Make an empty store at `path`, in one move: a file that was only begun would be taken for a damaged one.

    With `keep_as`, the store that is there is kept under that name, and the new one takes over its history.
    """
    with storage_faults(path), scratch_folder(path.parent) as folder:
        fresh = folder / path.name
        with _connect(fresh, read_only=False) as connection:
            version.make_layout(connection, LAYERS)
            if keep_as is not None:
                _take_over_history(connection, path)
        if keep_as is not None:
            # At any moment there is the old store under its name, or the new one.
            try:
                keep_as.hardlink_to(path)
            except OSError:
                path.rename(keep_as)
            fresh.replace(path)
            return
        # Another run may have begun it in the meantime; then that one stays.
        try:
            path.hardlink_to(fresh)
        except OSError:
            # Not every file system has links.
            if not path.exists():
                fresh.rename(path)


def _take_over_history(connection: duckdb.DuckDBPyConnection, older: Path) -> None:
    """Fill the history tables from those of an older store, as far as it has them and their columns."""
    quoted = str(older).replace("'", "''")
    connection.execute(f"ATTACH '{quoted}' AS older (READ_ONLY)")
    found = {
        name
        for (name,) in connection.execute(
            "SELECT table_name FROM duckdb_tables() WHERE database_name = 'older' AND schema_name = 'meta'"
        ).fetchall()
    }
    for name in HISTORY:
        connection.execute(meta_table_sql(name))
        if name in found:
            source = f"older.meta.{name}"
            columns = shared_columns(connection, source, META[name])
            if columns:
                connection.execute(f"INSERT INTO meta.{name} BY NAME SELECT {columns} FROM {source}")
    connection.execute("DETACH older")


def _free_name(path: Path) -> Path:
    """Return a name beside `path` for a store that is kept, not taken yet."""
    numbers = ("", *(f"-{number}" for number in range(1, 10_000)))
    names = (path.with_name(f"{path.stem}.older{number}{path.suffix}") for number in numbers)
    return next(name for name in names if not name.exists())


def named_sql(package: str, name: str) -> str:
    """Return the text of `<package>/sql/<name>.sql` (package in dotted form, as `pipeline.facts`)."""
    return files(package).joinpath("sql", f"{name}.sql").read_text(encoding="utf-8")
