"""Find the sheets of a season folder and learn of each what must be known before a row is read."""

from __future__ import annotations

import codecs
import hashlib
import os
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from pipeline import packed
from pipeline.errors import InputError, PlateworkError, Where

CHUNK = 1 << 20
_LINE_FEED = 10
IGNORED_FOLDERS = {"truth", "out"}
WITHDRAWN_FOLDER = "withdrawn"
"""Sheets in a folder of this name are listed, and not loaded."""

TEXT_ENDINGS = {".csv", ".tsv"}
WORKBOOK_ENDINGS = {".xlsx"}
OTHER_TEXT_ENDINGS = {".txt", ".tab"}
"""Endings that a sheet may have too; other files have them more often, so that only our names are looked at."""

HEADINGS_ENDING = "headings.toml"
"""How the name of a headings file ends."""

FOREIGN_ENDINGS = {".xls", ".xlsm", ".xlsb", ".ods", ".numbers"}
"""Endings of spreadsheets that are not read; met under the name of one of our sheets, they are a fault."""


@dataclass(frozen=True)
class Source:
    """One file of the season folder; `relative` is its path within the folder, `table_name` None if not ours.

    Files of other spreadsheet programs are listed only where they bear the name of one of our sheets. `trouble` says
    why a file is not to be opened, whatever it holds.
    """

    path: Path
    relative: str
    table_name: str | None
    is_withdrawn: bool = False
    trouble: InputError | None = None

    @property
    def is_workbook(self) -> bool:
        """Whether the file is a workbook, whose sheets may belong to several tables."""
        return self.path.suffix.lower() in WORKBOOK_ENDINGS

    @property
    def is_foreign(self) -> bool:
        """Whether the file is a spreadsheet of a form that is not read."""
        return self.path.suffix.lower() in FOREIGN_ENDINGS

    @property
    def is_packed(self) -> bool:
        """Whether the file is a .zip, in which there may be sheets."""
        return self.path.suffix.lower() == packed.ENDING


@dataclass(frozen=True)
class Shape:
    """What one pass over the bytes of a UTF-8 file shows.

    `newline` is the one line ending used throughout, or None where endings are mixed or a lone CR occurs.
    """

    line_count: int
    newline: str | None
    has_nul: bool
    has_quotes: bool = True


def table_for(stem: str, table_names: tuple[str, ...]) -> str | None:
    """Return the table that a stem or sheet name stands for: its name, or that and `_`, `-`, `.`, blank."""
    name = stem.strip().casefold()
    for table_name in sorted(table_names, key=len, reverse=True):
        if name == table_name or (name.startswith(table_name) and name[len(table_name)] in "_- ."):
            return table_name
    return None


def find_sources(season: Path, out: Path, table_names: tuple[str, ...]) -> list[Source]:
    """List the sheets of a season folder, sorted by path, looking into folders but not into results.

    Left alone are hidden files and folders, folders called `truth` or `out`, the folder of results, and
    lock files of spreadsheet programs. A link that leads out of the season folder, and a file whose name is not in
    UTF-8, are listed with what is wrong with them.
    """
    found: list[Source] = []
    results, inside = out.resolve(), season.resolve()
    for path in sorted(season.rglob("*"), key=lambda item: item.relative_to(season).as_posix()):
        parts = tuple(shown(part) for part in path.relative_to(season).parts)
        if path.is_symlink() and path.is_dir() and not _is_inside(path, inside) and not _left_alone(parts):
            # A linked folder is not looked into; what lies in it must not be missed in silence.
            found.append(Source(path, "/".join(parts), None, trouble=_leads_out(parts, "folder")))
            continue
        # A link that leads in a circle is no file, and resolving it would raise.
        if not path.is_file() or results in path.resolve().parents:
            continue
        source = source_of(path, parts, table_names)
        trouble = _trouble(path, parts, inside)
        if source is not None:
            found.append(replace(source, trouble=trouble))
        elif trouble is not None and parts[-1].casefold().endswith(HEADINGS_ENDING) and not _left_alone(parts):
            found.append(Source(path, "/".join(parts), None, trouble=trouble))
    return found


def shown(name: str) -> str:
    r"""Return a file name that can be written down: bytes that are no UTF-8 as `\xe9`."""
    return os.fsencode(name).decode("utf-8", "backslashreplace")


def _is_inside(path: Path, folder: Path) -> bool:
    real = path.resolve()
    return real == folder or folder in real.parents


def _left_alone(parts: tuple[str, ...]) -> bool:
    """Whether a file is none of ours by where it lies: hidden, a lock file, or in a folder that is passed over."""
    return any(part.startswith((".", "~$")) for part in parts) or bool(
        IGNORED_FOLDERS & {part.casefold() for part in parts}
    )


def _trouble(path: Path, parts: tuple[str, ...], inside: Path) -> InputError | None:
    """Return why a file must not be read: its name cannot be written down, or it lies elsewhere."""
    if any(shown(part) != part for part in path.parts):
        return InputError(
            "the name of this file, or of a folder that it is in, is not in UTF-8, so no account could name it",
            where=Where("/".join(parts)),
            hint="give it a name of plain letters",
        )
    # What a sheet holds must be in the folder that is handed on and kept; and a link could bring in anybody's file.
    return None if _is_inside(path, inside) else _leads_out(parts, "file")


def _leads_out(parts: tuple[str, ...], what: str) -> InputError:
    return InputError(
        f"this is a link to a {what} outside the season folder, and is not followed",
        where=Where("/".join(parts)),
        hint=f"put a copy of the {what} in the place of the link, or take the link out",
    )


def source_of(path: Path, parts: tuple[str, ...], table_names: tuple[str, ...]) -> Source | None:
    """Return the source that a file is, by the parts of its path in the season; None where it is to be left alone."""
    folders = [part.casefold() for part in parts[:-1]]
    if any(part.startswith((".", "~$")) for part in parts) or IGNORED_FOLDERS & set(folders):
        return None
    table_name = table_for(Path(parts[-1]).stem, table_names)
    if table_name is None:
        named = [folder.removesuffix(packed.ENDING) for folder in reversed(folders)]
        table_name = next((folder for folder in named if folder in table_names), None)
    ending = Path(parts[-1]).suffix.lower()
    ours = ending in TEXT_ENDINGS | WORKBOOK_ENDINGS | {packed.ENDING}
    if ours or (ending in FOREIGN_ENDINGS | OTHER_TEXT_ENDINGS and table_name is not None):
        return Source(path, "/".join(parts), table_name, WITHDRAWN_FOLDER in folders)
    return None


def unpacked(source: Source, folder: Path, number: int, table_names: tuple[str, ...]) -> Iterator[Source]:
    """Yield the sheets in a .zip, each unpacked into `folder` under a name of our own.

    Raises
    ------
    InputError
        The .zip is damaged or larger than `pipeline.packed` allows.
    """
    unpacker = packed.Unpacker(source.path, source.relative)
    inside = packed.members(source.path, source.relative)
    for place, (name, entry) in enumerate(inside.items()):
        parts = (*source.relative.split("/"), *name.split("/"))
        if "__MACOSX" in parts:
            continue
        target = folder / f"packed_{number}_{place}{Path(name).suffix.lower()}"
        found = source_of(target, parts, table_names)
        if found is not None:
            unpacker.unpack(entry, target)
            yield found


def _chunks(path: Path) -> Iterator[bytes]:
    with path.open("rb") as stream:
        while chunk := stream.read(CHUNK):
            yield chunk


def hash_file(path: Path, where: str) -> tuple[str, int]:
    """Return the SHA-256 of a file in hexadecimal, and its length in bytes.

    Raises
    ------
    InputError
        The file cannot be opened or read.
    """
    digest = hashlib.sha256()
    length = 0
    try:
        for chunk in _chunks(path):
            digest.update(chunk)
            length += len(chunk)
    except OSError as error:
        raise _unreadable(error, where) from error
    return digest.hexdigest(), length


def refuse_unreadable(path: Path, where: str) -> None:
    """Stop where a file cannot be opened or read.

    Raises
    ------
    InputError
        It cannot, as far as its first byte tells.
    """
    try:
        with path.open("rb") as stream:
            stream.read(1)
    except OSError as error:
        raise _unreadable(error, where) from error


def _unreadable(error: OSError, where: str) -> InputError:
    return InputError(
        f"the file cannot be read: {error.strerror}",
        where=Where(where),
        hint="close it elsewhere, or ask whoever owns it for leave to read it",
    )


def _decodes(path: Path, encoding: str) -> bool:
    decoder = codecs.getincrementaldecoder(encoding)("strict")
    is_ascii_alike = encoding in ("utf-8", "utf-8-sig", "cp1252")
    try:
        for chunk in _chunks(path):
            # What is ASCII throughout is the same in all these but UTF-16, and recognised far faster than decoded.
            if not (is_ascii_alike and chunk.isascii() and not decoder.getstate()[0]):
                decoder.decode(chunk)
        decoder.decode(b"", final=True)
    except UnicodeDecodeError:
        return False
    return True


def decide_encoding(path: Path, where: str) -> tuple[str, str | None]:
    """Return the encoding of a text file, and a note where it had to be supposed.

    A byte order mark decides; else strict UTF-8; else Windows-1252, which is what spreadsheet programs
    write on Western European and American systems when they are not told otherwise.

    Raises
    ------
    InputError
        The file is not text in any of these.
    """
    with path.open("rb") as stream:
        start = stream.read(4096)
    if start.startswith(b"PK\x03\x04"):
        raise InputError(
            "this is a workbook, or another packed file, with the ending of a text file",
            where=Where(where),
            hint="give it the ending .xlsx, or save it as CSV (UTF-8)",
        )
    if start.startswith(codecs.BOM_UTF8):
        candidates = ["utf-8-sig"]
    elif start.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        candidates = ["utf-16"]
    elif len(start) > 1 and start[1::2].count(0) > 0.4 * len(start[1::2]):
        candidates = ["utf-16-le"]
    elif len(start) > 1 and start[0::2].count(0) > 0.4 * len(start[0::2]):
        candidates = ["utf-16-be"]
    else:
        candidates = ["utf-8", "cp1252"]
    for encoding in candidates:
        if _decodes(path, encoding):
            if encoding == "cp1252":
                return encoding, "not UTF-8: read as Windows-1252, so look at names with accents"
            return encoding, None
    raise InputError(
        "this is not a text file that can be read (neither UTF-8 nor UTF-16 nor Windows-1252)",
        where=Where(where),
        hint="save the sheet again as CSV (UTF-8), or as .xlsx",
    )


def as_utf8(path: Path, encoding: str, folder: Path, file_id: int) -> Path:
    """Return a path to the same text in UTF-8: the file itself where it is, else a copy in `folder`."""
    if encoding in ("utf-8", "utf-8-sig"):
        return path
    copy = folder / f"utf8_{file_id}.csv"
    with (
        path.open(encoding=encoding, newline="") as source,
        copy.open("w", encoding="utf-8", newline="") as target,
    ):
        while text := source.read(CHUNK):
            target.write(text)
    return copy


def measure(path: Path) -> Shape:
    """Count the lines of a UTF-8 file and find its line ending and whether it holds NUL characters."""
    line_feeds = returns = pairs = 0
    has_nul = has_quotes = False
    last = b""
    for chunk in _chunks(path):
        line_feeds += int(np.count_nonzero(np.frombuffer(chunk, dtype=np.uint8) == _LINE_FEED))
        # Each look at all bytes costs; most files have none of these.
        if b"\r" in chunk:
            returns += chunk.count(b"\r")
            pairs += chunk.count(b"\r\n")
        pairs += last == b"\r" and chunk[:1] == b"\n"
        has_nul = has_nul or b"\0" in chunk
        has_quotes = has_quotes or b'"' in chunk
        last = chunk[-1:]
    endings = line_feeds + returns - pairs
    newline = "\n" if returns == 0 else "\r\n" if pairs == line_feeds == returns else None
    return Shape(
        line_count=endings + (last not in (b"", b"\n", b"\r")),
        newline=newline,
        has_nul=has_nul,
        has_quotes=has_quotes,
    )


def text_lines(path: Path) -> Iterator[str]:
    r"""Yield the physical lines of a UTF-8 file with their endings (`\n`, `\r\n` or `\r`) as they are."""
    with path.open(encoding="utf-8-sig", newline="") as stream:
        yield from stream


def missing_tables(present: set[str], season: Path) -> list[PlateworkError]:
    """Return a fault for each sheet that a season cannot be without."""
    return _lacking(present, season, "has no", "add")


def missing_rows(filled: set[str], season: Path) -> list[PlateworkError]:
    """Return a fault for each sheet that a season cannot be without and that holds not one row."""
    return _lacking(filled, season, "has no row in", "fill in")


def _lacking(have: set[str], season: Path, lacks: str, do: str) -> list[PlateworkError]:
    faults: list[PlateworkError] = [
        InputError(
            f"the season {lacks} sheet {name!r}, and nothing can be worked out without it",
            where=Where(season),
            hint=f"{do} {name}.csv (`platework blank {name}` writes an empty one)",
        )
        for name in ("umpires", "games")
        if name not in have
    ]
    if not have & {"plate_calls", "quiz_responses"}:
        faults.append(
            InputError(
                f"the season {lacks} sheet 'plate_calls' or 'quiz_responses': there is nothing to score",
                where=Where(season),
                hint=f"{do} plate_calls.csv (`platework blank plate_calls` writes an empty one)",
            )
        )
    return faults
