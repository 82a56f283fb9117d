"""Read sheets out of a .zip in bounded room; the names inside are data and never become places on the disk."""

from __future__ import annotations

import contextlib
import tempfile
import zipfile
import zlib
from collections.abc import Iterator
from pathlib import Path, PurePosixPath

from pipeline.errors import InputError, Where

ENDING = ".zip"
ENTRIES = 2_000
"""Most files in a .zip."""
UNPACKED_BYTES = 4 << 30
"""Most bytes that its sheets may unpack to."""
RATIO = 200
"""Most bytes that one packed byte may stand for, in a file of more than `RATIO_FROM` bytes (sheets: 5 to 50)."""
RATIO_FROM = 16 << 20
_CHUNK = 1 << 20
_HINT = "unpack it yourself, see what it holds, and put the sheets into the season folder"
_NO_NAME = dict.fromkeys((*range(32), 127), "_")


def plain_parts(name: str) -> tuple[str, ...]:
    """Return the folders and the name of a packed file, without anything that leads out of its folder."""
    parts = name.translate(_NO_NAME).replace("\\", "/").split("/")
    return tuple(part for part in parts if part not in ("", ".", "..") and not part.endswith(":"))


def members(path: Path, where: str) -> dict[str, zipfile.ZipInfo]:
    """Return the files in a .zip by their path inside it, in the order of these.

    Raises
    ------
    InputError
        It is damaged, locked by a password, holds too many files, two of one name, or a further .zip.
    """
    found: dict[str, zipfile.ZipInfo] = {}
    with _told(where), zipfile.ZipFile(path) as packed:
        entries = packed.infolist()
    if len(entries) > ENTRIES:
        raise _refused(f"it holds {len(entries):,} files, and {ENTRIES:,} are the most", where)
    for entry in entries:
        parts = plain_parts(entry.filename)
        if entry.is_dir() or not parts:
            continue
        name = "/".join(parts)
        if name in found:
            raise _refused(f"two files in it are called {name!r}", where)
        if entry.flag_bits & 1:
            raise _refused(f"{name!r} in it is locked by a password", where)
        if name.casefold().endswith(ENDING):
            raise _refused(f"it holds another .zip, {name!r}, which is not opened", where)
        found[name] = entry
    return dict(sorted(found.items()))


class Unpacker:
    """Unpacks files of one .zip, and counts the bytes over all of them."""

    def __init__(self, path: Path, where: str) -> None:
        self._path, self._where = path, where
        self._total = 0

    def unpack(self, entry: zipfile.ZipInfo, target: Path) -> None:
        """Write one packed file to `target`.

        Raises
        ------
        InputError
            It is damaged, or unpacks to more than is allowed.
        """
        length = 0
        with (
            _told(self._where),
            zipfile.ZipFile(self._path) as packed,
            packed.open(entry) as source,
            target.open("wb") as copy,
        ):
            while chunk := source.read(_CHUNK):
                length += len(chunk)
                self._total += len(chunk)
                if self._total > UNPACKED_BYTES:
                    raise _refused(f"its sheets unpack to more than {UNPACKED_BYTES >> 20:,} MiB", self._where)
                if length > RATIO_FROM and length > RATIO * max(entry.compress_size, 1):
                    raise _refused(f"a file in it unpacks to more than {RATIO} times its size", self._where)
                copy.write(chunk)


@contextlib.contextmanager
def real_file(path: Path) -> Iterator[Path]:
    """Give a file to read for a path that may lead into a .zip; the path itself where there is nothing to unpack."""
    archive = next((parent for parent in path.parents if parent.suffix.casefold() == ENDING and parent.is_file()), None)
    if archive is None:
        yield path
        return
    where = archive.name
    entry = members(archive, where).get(path.relative_to(archive).as_posix())
    if entry is None:
        yield path
        return
    with tempfile.TemporaryDirectory(prefix="platework-") as folder:
        target = Path(folder) / f"sheet{PurePosixPath(path.name).suffix}"
        Unpacker(archive, where).unpack(entry, target)
        yield target


def _refused(what: str, where: str) -> InputError:
    return InputError(f"the .zip cannot be used: {what}", where=Where(where), hint=_HINT)


@contextlib.contextmanager
def _told(where: str) -> Iterator[None]:
    try:
        yield
    except (zipfile.BadZipFile, zlib.error, NotImplementedError, EOFError, RuntimeError, ValueError) as error:
        raise _refused(f"it is damaged, or packed in a way that is not known ({error})", where) from error
