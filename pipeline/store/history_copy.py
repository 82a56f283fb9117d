"""A copy of what the store remembers of earlier versions of the sheets, outside the store.

The sheets as they are can be loaded again from the season folder; their earlier versions stand in the store alone. So
each load that changes them writes them into a folder beside it as well, in one move, before the store is written. A
store that was torn by a failing disk, or removed, takes them from there.
"""

from __future__ import annotations

import hashlib
import json
import logging
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import duckdb

from pipeline.errors import StoreError, Where
from pipeline.store.outputs import replaced_folder
from schemas.store_tables import HISTORY, META

if TYPE_CHECKING:
    from pipeline.store.database import Store

log = logging.getLogger(__name__)

FOLDER = "history"
"""The folder beside the store."""

_ACCOUNT = "history.json"


def copy_folder(store_path: Path) -> Path:
    """Return the folder of the copy that belongs to a store."""
    return store_path.parent / FOLDER


def has_copy(store_path: Path) -> bool:
    """Whether there is a copy beside a store, or beside the place where one is to be."""
    return (copy_folder(store_path) / _ACCOUNT).is_file()


def write_copy(store: Store, inputs: str) -> None:
    """Write the history tables as they stand in the open transaction; nothing where the copy holds them already.

    `inputs` is the hash of all sheets of the last load, by which a copy is known to be of this load. A store in memory
    has no copy. Nor has one in which no sheet ever changed: it holds nothing that a new load would not bring.

    Raises
    ------
    StorageError, UnwritableError
        There is no room, or no leave to write.
    """
    if store.path is None or int(store.value("SELECT count(*) FROM meta.load_run")) < 2:
        return
    folder = copy_folder(store.path)
    loads = int(store.value("SELECT max(run_no) FROM meta.load_run"))
    if (_account_of(folder) or {}).get("of") == [loads, inputs]:
        return
    with replaced_folder(folder) as fresh:
        sums = {}
        for name in HISTORY:
            target = fresh / f"{name}.parquet"
            store.run(f"COPY meta.{name} TO {_quoted(target)} (FORMAT parquet, COMPRESSION zstd)")
            sums[name] = _hash(target)
        account = {"of": [loads, inputs], "sha256": sums}
        (fresh / _ACCOUNT).write_text(json.dumps(account, indent=2) + "\n", encoding="utf-8")


def take_over_copy(store: Store) -> bool:
    """Fill the empty history tables of a store from the copy beside it; False where there is none.

    Raises
    ------
    StoreError
        The copy is damaged too.
    """
    if store.path is None or not has_copy(store.path):
        return False
    folder = copy_folder(store.path)
    account = _account_of(folder)
    for name in HISTORY:
        file = folder / f"{name}.parquet"
        if account is None or not file.is_file() or _hash(file) != account["sha256"].get(name):
            raise StoreError(
                "the copy of what was remembered of earlier versions of the sheets is damaged, and the store that it "
                "was made from is not here",
                where=Where(file),
                hint="put back the store or this folder from a copy of yours; or move the folder away and run again: "
                "then the earlier versions are forgotten",
            )
    for name in HISTORY:
        source = f"read_parquet({_quoted(folder / f'{name}.parquet')})"
        columns = shared_columns(store.connection, source, META[name])
        store.run(f"INSERT INTO meta.{name} BY NAME SELECT {columns} FROM {source}")
    loads = store.value("SELECT count(*) FROM meta.load_run")
    log.warning("the store is new: what was remembered of %s earlier loads is taken from %s", loads, folder)
    return True


def shared_columns(
    connection: duckdb.DuckDBPyConnection, source: str, declared: Mapping[str, str] | Sequence[str]
) -> str:
    """Return the declared columns that a relation has, for a SELECT; those that it lacks stay blank."""
    found = {row[0] for row in connection.execute(f"DESCRIBE SELECT * FROM {source}").fetchall()}
    return ", ".join(name for name in declared if name in found)


def _account_of(folder: Path) -> dict[str, Any] | None:
    try:
        account = json.loads((folder / _ACCOUNT).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return None
    return account if isinstance(account, dict) and isinstance(account.get("sha256"), dict) else None


def _hash(path: Path) -> str:
    with path.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


def _quoted(path: Path) -> str:
    return "'" + str(path).replace("'", "''") + "'"
