"""Read the sheets of an XLSX workbook as rows of text, each with its row number."""

from __future__ import annotations

import csv
import datetime as dt
import io
import re
import zipfile
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any
from xml.etree import ElementTree

from pipeline.errors import InputError, Where
from pipeline.ingest.bounds import refuse_oversize
from pipeline.ingest.records import NUL, Record

if TYPE_CHECKING:
    from python_calamine import CalamineSheet

_MAIN = "{http://schemas.openxmlformats.org/spreadsheetml/2006/main}"
_RELATION = "{http://schemas.openxmlformats.org/officeDocument/2006/relationships}id"
_ERROR_CELL = re.compile(rb'<c\s(?=[^>]*\bt="e")[^>]*\br="([A-Z]+[0-9]+)"')
_SHOWN_CELLS = 10


def open_sheets(path: Path, where: str) -> dict[str, CalamineSheet]:
    """Return the sheets of a workbook by name, in the workbook's order.

    Raises
    ------
    InputError
        The file is not a workbook, is locked by a password, is damaged, or is larger than `bounds` allows.
    """
    refuse_oversize(path, where)
    from python_calamine import CalamineError, CalamineWorkbook, PasswordError

    try:
        book = CalamineWorkbook.from_path(path)
        return {name: book.get_sheet_by_name(name) for name in book.sheet_names}
    except PasswordError as error:
        raise InputError(
            "the workbook is locked by a password", where=Where(where), hint="save it without one"
        ) from error
    except (CalamineError, OSError, ValueError) as error:
        raise InputError(
            f"this is not a workbook that can be read ({error})",
            where=Where(where),
            hint="open it in a spreadsheet program and save it again as .xlsx, or as CSV (UTF-8)",
        ) from error


def error_cells(path: Path) -> dict[str, list[str]]:
    """Return for each sheet the addresses of cells that show an error (such as `#N/A`).

    The reader of values gives such a cell as a blank, and a blank has a meaning, so they must be found here.
    """
    found: dict[str, list[str]] = {}
    try:
        with zipfile.ZipFile(path) as book:
            relations = ElementTree.fromstring(book.read("xl/_rels/workbook.xml.rels"))  # noqa: S314
            targets = {item.get("Id"): item.get("Target", "") for item in relations}
            sheets = ElementTree.fromstring(book.read("xl/workbook.xml")).iter(f"{_MAIN}sheet")  # noqa: S314
            for sheet in sheets:
                target = targets.get(sheet.get(_RELATION), "")
                name = target.lstrip("/") if target.startswith("/") else f"xl/{target}"
                cells = [hit.decode() for hit in _ERROR_CELL.findall(book.read(name))]
                if cells:
                    found[sheet.get("name", "")] = cells
    except (zipfile.BadZipFile, KeyError, ElementTree.ParseError):
        # A workbook laid out otherwise is left to the reader of values, which has its own messages.
        return found
    return found


def refuse_error_cells(cells: list[str], where: str) -> InputError:
    """Return the fault for a sheet with error cells."""
    shown = ", ".join(cells[:_SHOWN_CELLS]) + (" and more" if len(cells) > _SHOWN_CELLS else "")
    return InputError(
        f"cells show an error such as #N/A, which cannot be told from a blank: {shown}",
        where=Where(where),
        hint="mend the formulas, or clear these cells",
    )


def cell_text(value: Any) -> str:
    """Return a cell as a person would type it into a CSV: whole numbers without `.0`, days in ISO form."""
    if isinstance(value, bool):
        return "TRUE" if value else "FALSE"
    if isinstance(value, float):
        return str(int(value)) if value.is_integer() and abs(value) < 1e15 else repr(value)
    if isinstance(value, dt.datetime):
        return value.date().isoformat() if value.time() == dt.time() else value.isoformat(sep=" ")
    if isinstance(value, dt.time):
        return value.strftime("%H:%M") if value.second == 0 else value.isoformat()
    return str(value)


def sheet_rows(sheet: CalamineSheet) -> Iterator[tuple[int, list[str]]]:
    """Yield each row of a sheet with its number, from 1; rows that are blank are among them."""
    for number, row in enumerate(sheet.iter_rows(), 1):
        yield number, [cell_text(value) for value in row]


def sheet_records(sheet: CalamineSheet, below: int) -> Iterator[Record]:
    """Yield every row under row number `below` as a record; its raw text is the row written as CSV."""
    for number, fields in sheet_rows(sheet):
        if number <= below:
            continue
        text = io.StringIO()
        csv.writer(text, lineterminator="").writerow(fields)
        if "\0" in text.getvalue():
            yield Record(number, text.getvalue(), (), NUL, "type the row again")
        else:
            yield Record(number, text.getvalue(), tuple(fields))
