"""Tell what went wrong with the disk or the store in words, with the file and what to do."""

from __future__ import annotations

import contextlib
import errno
import re
from collections.abc import Iterator
from pathlib import Path

import duckdb

from pipeline.errors import PlateworkError, StorageError, StoreError, UnwritableError, Where

_FULL = {errno.ENOSPC, errno.EDQUOT, errno.EFBIG}
_CLOSED = {errno.EACCES, errno.EPERM, errno.EROFS, errno.ENOTDIR, errno.EISDIR, errno.EEXIST}
_KEPT = "what was written before is kept, nothing is half-written"
MAKE_ROOM = "make room on that disk, or give another folder with --out, and run again"
OTHER_FOLDER = "give a folder that you may write to with --out, or ask for leave to write to this one"
MOVE_AWAY = (
    "move this file (and {wal}, if it is there) away and run again: it is made anew from the sheets, and what it "
    "remembered of earlier versions is taken from the folder `history` beside it, if there is one"
)

_OUT_OF_SPACE = re.compile(r"no space left|disk quota|file too large|out of space|not enough disk", re.IGNORECASE)
_NO_LEAVE = re.compile(r"permission denied|read-only|operation not permitted|not a directory", re.IGNORECASE)
_DAMAGED = re.compile(
    r"corrupt|checksum|not a valid DuckDB|could not read enough|replaying WAL|is a directory", re.IGNORECASE
)


@contextlib.contextmanager
def storage_faults(target: Path) -> Iterator[None]:
    """Raise what the disk or the engine says about writing `target` as an error of ours.

    Errors that are not about storage pass as they are.

    Raises
    ------
    StorageError
        The disk is full or failing.
    UnwritableError
        The folder may not be written to.
    StoreError
        The season store is damaged.
    """
    try:
        yield
    except (OSError, duckdb.Error) as error:
        told = told_fault(error, target)
        if told is None:
            raise
        raise told from error


def told_fault(error: Exception, target: Path) -> PlateworkError | None:
    """Return the error of ours for one of the disk or the engine; None where it is about something else."""
    if isinstance(error, OSError):
        return _of_system(error, target)
    if isinstance(error, duckdb.OutOfMemoryException):
        return StorageError(
            f"there is not enough memory, or room for the engine's temporary files; {_KEPT}",
            where=Where(target),
            hint="close other programs or make room on the disk, and run again",
        )
    if isinstance(error, duckdb.Error):
        return _of_engine(error, target)
    return None


def _of_system(error: OSError, target: Path) -> PlateworkError | None:
    named = Path(error.filename) if isinstance(error.filename, str) else target
    where = Where(named)
    if error.errno in _FULL:
        return StorageError(f"there is no room left to write; {_KEPT}", where=where, hint=MAKE_ROOM)
    if error.errno in _CLOSED:
        if target.absolute().parent not in named.absolute().parents and named != target.parent:
            # About a file that is read, such as a sheet.
            return None
        return UnwritableError(f"this cannot be written to: {error.strerror}", where=where, hint=OTHER_FOLDER)
    if error.errno == errno.EIO:
        return StorageError(
            f"the disk fails: {error.strerror}; {_KEPT}", where=where, hint="use another disk, with --out"
        )
    return None


def _of_engine(error: duckdb.Error, target: Path) -> PlateworkError | None:
    text = str(error)
    first = text.splitlines()[0] if text else type(error).__name__
    if _OUT_OF_SPACE.search(text):
        return StorageError(f"there is no room left to write; {_KEPT}", where=Where(target), hint=MAKE_ROOM)
    if isinstance(error, duckdb.IOException) and _NO_LEAVE.search(text):
        return UnwritableError(f"this cannot be written to: {first}", where=Where(target), hint=OTHER_FOLDER)
    if _DAMAGED.search(text):
        return damaged(target, first)
    if isinstance(error, duckdb.IOException | duckdb.FatalException):
        return StorageError(
            f"the season store cannot be read or written: {first}; {_KEPT}",
            where=Where(target),
            hint="see that the disk is sound and has room, and run again",
        )
    return None


def damaged(path: Path, detail: str) -> StoreError:
    """Return the error for a store file that is not whole, or not a store at all."""
    return StoreError(
        f"the season store is damaged, or is no season store ({detail})",
        where=Where(path),
        hint=MOVE_AWAY.format(wal=f"{path.name}.wal"),
    )
