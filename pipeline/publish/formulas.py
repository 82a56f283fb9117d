"""Texts in files for spreadsheets, such that no program takes one for a formula."""

from __future__ import annotations

import re

# Signs with which a formula may begin, those of full width too; the characters stand in the pattern as they are,
# since the engine and Python write them differently.
_SIGNS = "[=+@\uff1d\uff0b\uff20\uff0d-]"
_BLANKS = "[ \\t\\r\\n\u00a0]*"
_BEGINS = rf"(\A{_BLANKS}|[;\t\r\n]{_BLANKS})({_SIGNS})"
"""A sign at the start of a text, or after a semicolon, tab or line end, at which a spreadsheet that is set to another
separator begins a new cell."""
_ODD_START = r"\A([\t\r\n])"


def spreadsheet_safe(text: str | None) -> str | None:
    """Return a text with an apostrophe before everything that a spreadsheet could take for the start of a formula."""
    if text is None:
        return None
    return re.sub(_ODD_START, r"'\1", re.sub(_BEGINS, r"\1'\2", text))


def spreadsheet_safe_sql(column: str) -> str:
    """Return the same for a column of text, as DuckDB SQL."""
    inner = f"regexp_replace({column}, '{_BEGINS}', '\\1''\\2', 'g')"
    return f"regexp_replace({inner}, '{_ODD_START}', '''\\1')"
