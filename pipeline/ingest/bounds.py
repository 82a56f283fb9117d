"""Measure a workbook before it is read: a packed file may unpack to any size, and one cell may stand anywhere.

The reader of values unpacks a sheet whole and gives memory to each place of the rectangle that its cells span, so
both are counted here first, in one streaming pass.
"""

from __future__ import annotations

import re
import struct
import zipfile
import zlib
from collections import Counter
from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path
from typing import BinaryIO

from pipeline.errors import InputError, Where

PARTS = 5_000
"""Most packed files in a workbook."""
UNPACKED_BYTES = 1 << 30
"""Most bytes that a workbook may unpack to: about a million rows of twenty cells."""
PLACES = 20_000_000
"""Most places (rows times columns) that the cells of one workbook may span: about 300,000 rows of 65 columns."""
TEXT_BYTES = 1 << 30
"""Most bytes of text that the cells of a workbook may show, a text that many cells share counted for each."""

_CHUNK = 1 << 20
_LONGEST_TEXT = 8 * _CHUNK
"""A text between two marks that is longer than this is not kept whole while it is measured."""
_ROW = re.compile(rb"<(?:\w+:)?row(?=[\s/>])")
_CELL = re.compile(rb"<(?:\w+:)?c(?=[\s/>])")
# Column, row, and whether the mark is closed at once: then it holds no value and takes no memory. Sheets whose marks
# have a prefix are rare and searched more slowly.
_REFERENCE = rb"""\s[^<>]*?\br\s*=\s*["']([A-Za-z]{0,4})([0-9]{1,9})["'][^<>]*?(/?)>"""
_PLAIN, _PREFIXED = (
    tuple(re.compile(start + mark) for mark in (b"c" + _REFERENCE, b"row" + _REFERENCE, rb"c(?=[\s/>])"))
    for start in (b"<", rb"<\w+:")
)
_HIDDEN = re.compile(rb"""<(?:\w+:)?(?:c|row)\s(?:[^<>"']|"[^<>"]*"|'[^<>']*')*(?:"[^<"]*>|'[^<']*>)""")
"""A mark with an end of a mark inside quotation marks, behind which a reference could stand unseen."""
_SHARED = re.compile(rb"""\bt\s*=\s*["']s["'][^<>]*>\s*<(?:\w+:)?v>\s*([0-9]{1,9})\s*<""")
_STRING_END = re.compile(rb"</(?:\w+:)?si\s*>|<(?:\w+:)?si\s*/>")
_DECLARED = re.compile(rb"<!(?:DOCTYPE|ENTITY)", re.IGNORECASE)

_LOCAL_HEAD = struct.Struct("<4s22xHH")
"""Head of a packed file: mark, 22 bytes that the list at the end repeats, lengths of name and extra (APPNOTE 4.3.7)."""


def refuse_oversize(path: Path, where: str) -> None:
    """Stop where a workbook is larger than can be read in bounded memory, or declares entities.

    A file that is no workbook passes: the reader says so.

    Raises
    ------
    InputError
        It holds too many packed files, unpacks to too many bytes, spans too many places, shows too much text, or
        has a document type declaration, which no spreadsheet program writes.
    """
    try:
        with zipfile.ZipFile(path) as book, path.open("rb") as stream:
            parts = book.infolist()
            if len(parts) > PARTS:
                raise _too_large(f"it holds {len(parts):,} packed files, and {PARTS:,} are the most", where)
            measured = _Measured(where)
            _look_through(stream, parts, measured)
            if measured.cells * max(measured.lengths, default=0) > TEXT_BYTES:
                # Only now is it worth while to find out which cells show which text.
                measured = _Measured(where, with_shared=True)
                _look_through(stream, parts, measured)
                measured.refuse_text()
    except (zipfile.BadZipFile, zlib.error, struct.error, OSError, ValueError, NotImplementedError):
        return


def _look_through(stream: BinaryIO, parts: list[zipfile.ZipInfo], measured: _Measured) -> None:
    for part in parts:
        is_markup = part.filename.casefold().endswith((".xml", ".rels"))
        for chunk in _unpacked(stream, part):
            measured.look(chunk, is_markup=is_markup)
        measured.end_part()


def _too_large(what: str, where: str) -> InputError:
    return InputError(
        f"the workbook is too large to be read: {what}",
        where=Where(where),
        hint="delete sheets, rows and columns that hold nothing, or save the sheet as CSV (UTF-8), which has no bound",
    )


def _unpacked(stream: BinaryIO, part: zipfile.ZipInfo) -> Iterator[bytes]:
    """Yield all the bytes of a packed file in chunks, whatever length its entry claims."""
    stream.seek(part.header_offset)
    mark, name, extra = _LOCAL_HEAD.unpack(stream.read(_LOCAL_HEAD.size))
    if mark != b"PK\x03\x04" or part.compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED):
        raise zipfile.BadZipFile
    stream.seek(name + extra, 1)
    left = part.compress_size
    inflate = zlib.decompressobj(-zlib.MAX_WBITS) if part.compress_type == zipfile.ZIP_DEFLATED else None
    while left > 0 and (packed := stream.read(min(left, _CHUNK))):
        left -= len(packed)
        while packed and inflate is not None and not inflate.eof:
            yield inflate.decompress(packed, _CHUNK)
            packed = inflate.unconsumed_tail
        if inflate is None:
            yield packed


class _Measured:
    """What was counted so far; each part is looked at in chunks that are cut where a mark begins."""

    def __init__(self, where: str, *, with_shared: bool = False) -> None:
        self._where = where
        self._with_shared = with_shared
        self._total = 0
        self.places = self.cells = 0
        self.shared: Counter[int] = Counter()
        self.lengths: list[int] = []
        self._begin_part()

    def _begin_part(self) -> None:
        self._kept = b""
        self._lack_reference = False
        self._rows = self._last_row = self._last_column = self._widest = self._cells_of_row = self._open = 0

    def look(self, chunk: bytes, *, is_markup: bool) -> None:
        """Take in some bytes of a part."""
        self._total += len(chunk)
        if self._total > UNPACKED_BYTES:
            raise _too_large(f"it unpacks to more than {UNPACKED_BYTES >> 20:,} MiB", self._where)
        if not is_markup:
            return
        if b"\0" in chunk:
            raise self._strange("is not in UTF-8")
        text = self._kept + chunk
        cut = text.rfind(b"<")
        if cut <= 0:
            cut = 0 if len(text) < _LONGEST_TEXT else len(text)
        self._kept = text[cut:]
        self._count(text[:cut])

    def end_part(self) -> None:
        """Count what is left of a part."""
        self._count(self._kept)
        self.places += self._spanned()
        self._begin_part()

    def refuse_text(self) -> None:
        """Stop where cells show more text than is allowed, each counted with the text that it shares."""
        size = len(self.lengths)
        shown = sum(self.lengths[index] * times for index, times in self.shared.items() if index < size)
        if shown > TEXT_BYTES:
            raise _too_large(f"its cells show more than {TEXT_BYTES >> 20:,} MiB of text", self._where)

    def _strange(self, what: str) -> InputError:
        return InputError(
            f"a part of the workbook {what}, which no spreadsheet program writes",
            where=Where(self._where),
            hint="open it in a spreadsheet program and save it again as .xlsx, or as CSV (UTF-8)",
        )

    def _spanned(self) -> int:
        return (self._last_row + self._rows) * max(self._last_column, self._widest)

    def _count(self, text: bytes) -> None:
        if _DECLARED.search(text):
            raise self._strange("declares a document type or entities")
        self._count_places(text)
        if self.places + self._spanned() > PLACES:
            raise _too_large(f"its cells span more than {PLACES:,} places (rows times columns)", self._where)
        if self._with_shared:
            self.shared.update(map(int, _SHARED.findall(text)))
        if b"si" not in text:
            self._open += len(text)
            return
        ends = [hit.end() for hit in _STRING_END.finditer(text)]
        if ends:
            self.lengths += [ends[0] + self._open, *(later - end for end, later in pairwise(ends))]
            self._open = len(text) - ends[-1]
        else:
            self._open += len(text)

    def _count_places(self, text: bytes) -> None:
        cells = 0
        for cell, row, start in (_PLAIN, _PREFIXED) if b":row" in text or b":c" in text else (_PLAIN,):
            found = cell.findall(text)
            rows = {int(number) for _, number, closed in (*found, *row.findall(text)) if not closed}
            columns = {letters for letters, _, closed in found if not closed}
            self._last_row = max([self._last_row, *rows])
            self._last_column = max([self._last_column, *map(_column_number, columns)])
            starts = len(start.findall(text))
            self._lack_reference = self._lack_reference or starts > len(found)
            cells += starts
        self.cells += cells
        if not self._lack_reference:
            return
        if _HIDDEN.search(text):
            raise self._strange("has marks whose end cannot be found")
        pieces = _ROW.split(text)
        counts = [len(_CELL.findall(piece)) for piece in pieces]
        counts[0] += self._cells_of_row
        self._widest = max(self._widest, *counts)
        self._cells_of_row = counts[-1]
        self._rows += len(pieces) - 1


def _column_number(letters: bytes) -> int:
    """Return the number of a column, from 1: A, …, Z, AA, …."""
    number = 0
    for letter in letters.upper():
        number = number * 26 + letter - 64
    return number
