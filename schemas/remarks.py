"""The remark columns of a sheet of rows to mend: what ties a mended row to the row it stands for.

A sheet of rows that were set aside carries these columns before its own, each heading led by `#`. Put back
into the season folder, `#file`, `#sheet` and `#line` say which row a mended one replaces, and `#was` holds the
fingerprint of that row, by which a row that has changed in the meantime is told from the one that was mended.
The others are for the reader alone.
"""

from __future__ import annotations

import hashlib
import re

REMARK = "#"
"""A heading that starts with this is a remark column: it is no column of the sheet."""

FILE, SHEET, LINE, WAS, COLUMN, REASON, REMEDY = (
    "#file", "#sheet", "#line", "#was", "#column", "#reason", "#remedy",
)  # fmt: skip
REMARKS = (FILE, SHEET, LINE, WAS, COLUMN, REASON, REMEDY)
"""The remark columns in the order in which they are written."""

NEEDED = (FILE, LINE)
"""A sheet with both of these is a sheet of mended rows."""

_FORMULA = re.compile(r"'*[=+@\t\r-]")
"""How a cell begins that a spreadsheet program takes for a formula, or one that was kept from it."""


def fingerprint(text: str) -> str:
    """Return a short mark of a row's text as it came.

    It begins with a letter, so that no spreadsheet program takes it for a number; 48 bits of SHA-256 follow.
    """
    return "r" + hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()[:12]


def guarded(text: str) -> str:
    """Return a remark on one line, and so that no spreadsheet program takes it for a formula."""
    line = " ".join(text.splitlines()) if text.splitlines()[1:] else text
    return "'" + line if _FORMULA.match(line) else line


def unguarded(text: str) -> str:
    """Return a remark as it was before `guarded`."""
    bare = text.strip()
    return bare[1:] if bare.startswith("'") and _FORMULA.match(bare) else bare


def leading_fields(text: str, delimiter: str, count: int) -> tuple[list[str], str] | None:
    """Return the first `count` fields of a row and the rest of its text, whatever the rest looks like.

    None where the row ends before, or a quotation mark among these fields is not closed.
    """
    fields: list[str] = []
    place = 0
    for _ in range(count):
        if text.startswith('"', place):
            end = _closing(text, place)
            if end is None:
                return None
            fields.append(text[place + 1 : end].replace('""', '"'))
            end += 1
        else:
            end = text.find(delimiter, place)
            if end < 0:
                return None
            fields.append(text[place:end])
        if not text.startswith(delimiter, end):
            return None
        place = end + len(delimiter)
    return fields, text[place:]


def _closing(text: str, start: int) -> int | None:
    place = start + 1
    while (place := text.find('"', place)) >= 0:
        if not text.startswith('"', place + 1):
            return place
        place += 2
    return None
