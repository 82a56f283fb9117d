"""Write output folders and files so that a reader never meets one that is half done."""

from __future__ import annotations

import contextlib
import os
import shutil
import tempfile
from collections.abc import Iterator
from pathlib import Path


@contextlib.contextmanager
def replaced_folder(target: Path) -> Iterator[Path]:
    """Give an empty folder to fill; on success it takes the place of `target`, on error it is removed.

    The new folder is made beside `target`, so that the final rename stays on one file system.
    """
    target.parent.mkdir(parents=True, exist_ok=True)
    fresh = Path(tempfile.mkdtemp(prefix=f".{target.name}-", dir=target.parent))
    fresh.chmod(0o755)
    old = target.with_name(f".{target.name}-old-{os.getpid()}")
    try:
        yield fresh
        if target.exists():
            target.rename(old)
        fresh.rename(target)
    except BaseException:
        if old.exists() and not target.exists():
            old.rename(target)
        shutil.rmtree(fresh, ignore_errors=True)
        raise
    shutil.rmtree(old, ignore_errors=True)


def write_bytes(target: Path, content: bytes) -> None:
    """Write a file in one move: the old content or the new, never a part."""
    target.parent.mkdir(parents=True, exist_ok=True)
    handle, name = tempfile.mkstemp(prefix=f".{target.name}-", dir=target.parent)
    fresh = Path(name)
    try:
        with os.fdopen(handle, "wb") as stream:
            stream.write(content)
        fresh.chmod(0o644)
        fresh.replace(target)
    except BaseException:
        fresh.unlink(missing_ok=True)
        raise
