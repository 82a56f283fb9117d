"""How a sheet of rows to mend is laid out: remark columns, then the sheet's own headings and rows as they came."""

from __future__ import annotations

import csv
import hashlib
import io
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path, PurePosixPath
from typing import Any

from pipeline.errors import InputError, Where
from pipeline.packed import ENDING, real_file
from schemas.remarks import NEEDED, REMARK, REMARKS, fingerprint, guarded, leading_fields
from schemas.templates import BYTE_ORDER_MARK


@dataclass(frozen=True)
class Layout:
    """The headings of a sheet as they stand there, its delimiter and its line ending.

    `remarks` holds the places of remark columns where the sheet is itself one of mended rows: they are left out,
    for each row now gets its own.
    """

    heading: str
    delimiter: str
    newline: str
    remarks: tuple[int, ...] = ()

    def first_line(self) -> str:
        """Return the heading line of the sheet to mend, with its line ending and a byte order mark.

        Spreadsheet programs need the mark to read UTF-8 as what it is.
        """
        return BYTE_ORDER_MARK + self._joined(REMARKS) + self._own(self.heading) + self.newline

    def row(self, row: Mapping[str, Any]) -> str:
        """Return one row with its line ending: the remarks, then its text exactly as it came."""
        text = (row["raw_text"] or "").rstrip("\r\n")
        told = (
            row["path"], row["sheet"] or "", str(row["line_no"]), fingerprint(row["raw_text"] or ""),
            row["column_name"] or "", row["reason"], row["remedy"],
        )  # fmt: skip
        return self._joined([guarded(part) for part in told]) + self._own(text) + self.newline

    def _joined(self, cells: Sequence[str]) -> str:
        return csv_line(cells, self.delimiter) + self.delimiter

    def _own(self, text: str) -> str:
        """Return the text of a row without the remarks of the sheet it stands in."""
        if not self.remarks:
            return text
        if self.remarks == tuple(range(len(self.remarks))):
            found = leading_fields(text, self.delimiter, len(self.remarks))
            if found is not None:
                return found[1]
        try:
            fields = next(csv.reader([text], delimiter=self.delimiter, strict=True), [])
        except csv.Error:
            return text
        kept = [value for place, value in enumerate(fields) if place not in self.remarks]
        return csv_line(kept, self.delimiter)


def csv_line(cells: Sequence[str], delimiter: str) -> str:
    """Return cells as one line of CSV without its ending."""
    line = io.StringIO()
    csv.writer(line, delimiter=delimiter, lineterminator="").writerow(cells)
    return line.getvalue()


def layout_of(path: Path, row: Mapping[str, Any]) -> Layout:
    """Return the layout of the sheet at `path`, of which `row` holds place, encoding, delimiter and hash.

    Raises
    ------
    InputError
        The sheet is gone or has changed since it was loaded.
    """
    with real_file(path) as real:
        return _layout_of(real, row)


def _layout_of(path: Path, row: Mapping[str, Any]) -> Layout:
    if not path.is_file() or _hash(path) != row["sha256"]:
        raise InputError(
            "the sheet has changed since it was loaded, so its rows cannot be set aside under its headings",
            where=Where(row["path"]),
            hint="run the whole season again with `platework run`",
        )
    if row["sheet"] is not None:
        heading, newline = _workbook_heading(path, row["sheet"]), "\n"
    else:
        heading, newline = _text_heading(path, row["encoding"] or "utf-8", row["header_lines"] or 1)
    delimiter = row["delimiter"] or ","
    cells = next(csv.reader(io.StringIO(heading, newline=""), delimiter=delimiter), [])
    names = [name.strip().casefold() for name in cells]
    remarks: tuple[int, ...] = ()
    if set(names) >= set(NEEDED):
        remarks = tuple(place for place, name in enumerate(names) if name.startswith(REMARK))
    return Layout(heading, delimiter, newline, remarks)


def mend_name(row: Mapping[str, Any], kind: str, taken: set[str]) -> str:
    """Return the path for the rows of one sheet, by which they are known again when they are put back.

    The name begins with that of the table, ends with `kind` and is none of `taken` (file names of the season in
    lower case), so that no sheet is overwritten when it is put beside the others.
    """
    # A folder called like a .zip could not lie beside it.
    path = PurePosixPath(*(part.removesuffix(ENDING) or part for part in PurePosixPath(row["path"]).parts))
    stem = path.stem if row["sheet"] is None else f"{_plain(path.stem)}-{_plain(row['sheet'])}"
    if row["sheet"] is not None or not stem.casefold().startswith(row["table_name"]):
        stem = f"{row['table_name']}-{stem}"
    ending = path.suffix if row["sheet"] is None else ".csv"
    numbered = re.fullmatch(rf"(.+)-{kind}[0-9]*", stem)
    base = numbered.group(1) if numbered else stem
    number = 1
    while (name := f"{base}-{kind}{number if number > 1 else ''}{ending}").casefold() in taken:
        number += 1
    return str(path.with_name(name))


def _plain(text: str) -> str:
    return re.sub(r"[^A-Za-z0-9_]+", "_", text)


def _hash(path: Path) -> str:
    with path.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


def _text_heading(path: Path, encoding: str, lines: int) -> tuple[str, str]:
    with path.open(encoding="utf-8-sig" if encoding.startswith("utf-8") else encoding, newline="") as stream:
        taken = ""
        for line in _from_first_filled(iter(stream)):
            taken += line
            lines -= 1
            if not lines:
                break
    heading = taken.rstrip("\r\n")
    return heading, taken[len(heading) :] or "\n"


def _from_first_filled(lines: Iterator[str]) -> Iterator[str]:
    for line in lines:
        if line.strip(" \t\r\n,;|"):
            yield line
            yield from lines


def _workbook_heading(path: Path, sheet: str) -> str:
    from python_calamine import CalamineWorkbook

    for cells in CalamineWorkbook.from_path(path).get_sheet_by_name(sheet).iter_rows():
        texts = [str(cell) for cell in cells]
        if any(text.strip() for text in texts):
            return csv_line(texts, ",")
    return ""
