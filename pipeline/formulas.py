"""Texts in files for spreadsheets, such that no program takes one for a formula, and the way back."""

from __future__ import annotations

import re
from collections.abc import Iterable
from typing import TypeVar

# Signs with which a formula may begin, those of full width too; the characters stand in the pattern as they are,
# since the engine and Python write them differently.
_SIGNS = "[=+@\uff1d\uff0b\uff20\uff0d-]"
_BLANKS = "[ \\t\\r\\n\u00a0]*"
_START = rf"(\A{_BLANKS}|[;\t\r\n]{_BLANKS})"
"""The start of a text, or what follows a semicolon, tab or line end, at which a spreadsheet that is set to another
separator begins a new cell."""
_BEGINS = rf"{_START}('*)({_SIGNS})"
_ODD_START = r"\A('*)([\t\r\n])"
_NUMBER = re.compile(r"[+-]?([0-9]+([.,][0-9]*)?|[.,][0-9]+)([eE][+-]?[0-9]+)?")

Cell = TypeVar("Cell")


def spreadsheet_safe(text: str | None) -> str | None:
    """Return a text with an apostrophe before everything that a spreadsheet could take for the start of a formula.

    Apostrophes that stand there already get one more, so that `without_marks` gives back each text as it was.
    """
    if text is None:
        return None
    return re.sub(_ODD_START, r"'\1\2", re.sub(_BEGINS, r"\1'\2\3", text))


def spreadsheet_safe_sql(column: str) -> str:
    """Return the same for a column of text, as DuckDB SQL."""
    begins, odd = _BEGINS.replace("'", "''"), _ODD_START.replace("'", "''")
    inner = f"regexp_replace({column}, '{begins}', '\\1''\\2\\3', 'g')"
    return f"regexp_replace({inner}, '{odd}', '''\\1\\2')"


def safe_row(cells: Iterable[Cell]) -> list[Cell | str]:
    """Return the cells of a CSV row marked like that, but for plain numbers, which no spreadsheet runs: -3.5 stays."""
    return [_safe_cell(cell) if isinstance(cell, str) else cell for cell in cells]


def _safe_cell(text: str) -> str:
    return text if _NUMBER.fullmatch(text) else spreadsheet_safe(text) or ""


def without_marks(text: str) -> str:
    """Return a text as it was before it was marked; one that bears no marks stays as it is."""
    return re.sub(rf"{_START}'('*)({_SIGNS})", r"\1\2\3", re.sub(r"\A'('*)([\t\r\n])", r"\1\2", text))
