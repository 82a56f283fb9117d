"""Write output folders and files so that a reader never meets one that is half done."""

from __future__ import annotations

import contextlib
import ctypes
import os
import shutil
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

from pipeline.store.faults import storage_faults

_PART = ".part"
_OLD = ".old"
_AT_FDCWD = -100 if sys.platform == "linux" else -2
_SWAP = 2
"""RENAME_EXCHANGE of Linux (linux/fs.h) and RENAME_SWAP of macOS (sys/stdio.h) are the same (macOS: from memory)."""


@contextlib.contextmanager
def replaced_folder(target: Path) -> Iterator[Path]:
    """Give an empty folder to fill; on success it takes the place of `target`, on error it is removed.

    The new folder is made beside `target`, written through to the disk, and exchanged with the old one in one
    move, so that `target` is at any moment the old folder or the new one, whole. Where the system cannot exchange
    two folders there are two moves, and if the process dies between them `clear_leftovers` puts the old one back.

    Raises
    ------
    StorageError
        The folder cannot be written: no space, no right to write, a failing disk.
    """
    with storage_faults(target):
        target.parent.mkdir(parents=True, exist_ok=True)
        fresh = Path(tempfile.mkdtemp(prefix=f".{target.name}.", suffix=_PART, dir=target.parent))
        try:
            fresh.chmod(0o755)
            yield fresh
            _write_through(fresh)
            _take_place(fresh, target)
        finally:
            # After an exchange this is the old folder.
            _remove(fresh)


def write_bytes(target: Path, content: bytes) -> None:
    """Write a file in one move: the old content or the new, never a part.

    Raises
    ------
    StorageError
        The file cannot be written: no space, no right to write, a failing disk.
    """
    with storage_faults(target):
        target.parent.mkdir(parents=True, exist_ok=True)
        handle, name = tempfile.mkstemp(prefix=f".{target.name}.", suffix=_PART, dir=target.parent)
        fresh = Path(name)
        try:
            with os.fdopen(handle, "wb") as stream:
                stream.write(content)
                stream.flush()
                os.fsync(stream.fileno())
            fresh.chmod(0o644)
            fresh.replace(target)
            _sync_entries(target.parent)
        finally:
            fresh.unlink(missing_ok=True)


@contextlib.contextmanager
def scratch_folder(out: Path) -> Iterator[Path]:
    """Give an empty folder in `out` for what is needed while a step runs; it is removed afterwards.

    It holds copies of people's sheets, so it is not left in a place that others can read: what a killed run
    leaves, the next run removes.
    """
    with storage_faults(out):
        out.mkdir(parents=True, exist_ok=True)
        folder = Path(tempfile.mkdtemp(prefix=".scratch.", suffix=_PART, dir=out))
    try:
        yield folder
    finally:
        _remove(folder)


def clear_leftovers(out: Path) -> int:
    """Remove from `out` what a killed run left half done, and return how many things that were.

    Only the run that holds the season store may call it. A folder that was moved aside and whose successor never
    came is put back.
    """
    found = 0
    with storage_faults(out):
        for aside in sorted(out.glob(f".*{_OLD}")):
            target = out / aside.name.removeprefix(".").removesuffix(_OLD)
            if not target.exists():
                aside.rename(target)
                found += 1
        for path in sorted((*out.glob(f".*{_PART}"), *out.glob(f".*{_OLD}"), *out.glob(f"*/.*{_PART}"))):
            found += 1
            _remove(path)
    return found


def _remove(path: Path) -> None:
    if path.is_dir() and not path.is_symlink():
        shutil.rmtree(path, ignore_errors=True)
    else:
        with contextlib.suppress(OSError):
            path.unlink(missing_ok=True)


def _take_place(fresh: Path, target: Path) -> None:
    """Put `fresh` in the place of `target`; what was there is then where `fresh` was, or gone."""
    if not target.exists():
        fresh.rename(target)
    elif not _exchange(fresh, target):
        old = target.with_name(f".{target.name}{_OLD}")
        target.rename(old)
        try:
            fresh.rename(target)
        except OSError:
            old.rename(target)
            raise
        _remove(old)
    _sync_entries(target.parent)


def _exchange(one: Path, other: Path) -> bool:
    """Exchange two paths in one move; False where the system or the file system cannot."""
    names = {"linux": "renameat2", "darwin": "renameatx_np"}
    try:
        call = getattr(ctypes.CDLL(None, use_errno=True), names[sys.platform])
    except (KeyError, AttributeError, OSError, TypeError):
        return False
    call.argtypes = (ctypes.c_int, ctypes.c_char_p, ctypes.c_int, ctypes.c_char_p, ctypes.c_uint)
    return bool(call(_AT_FDCWD, os.fsencode(one), _AT_FDCWD, os.fsencode(other), _SWAP) == 0)


def _write_through(folder: Path) -> None:
    """Have everything under `folder` on the disk before it gets its name, in one request where there is such."""
    handle = os.open(folder, os.O_RDONLY) if os.name == "posix" else None
    if handle is None:
        return
    try:
        sync = getattr(ctypes.CDLL(None, use_errno=True), "syncfs", None)
        if sync is None:
            os.sync()
        elif sync(handle) != 0:
            number = ctypes.get_errno()
            raise OSError(number, os.strerror(number), str(folder))
    finally:
        os.close(handle)


def _sync_entries(folder: Path) -> None:
    """Have the names in `folder` on the disk; a file system that cannot is left to its own pace."""
    if os.name != "posix":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        with contextlib.suppress(OSError):
            os.fsync(handle)
    finally:
        os.close(handle)
