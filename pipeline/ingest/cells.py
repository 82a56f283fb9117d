"""How landed rows are stored: each line once, its cells split off when they are asked for.

`raw.<table>_line` holds the lines; `raw.<table>` is a view of them with a column for each declared one. Cells stand
beside a line only where splitting it at the delimiter does not give them (quotation marks, sheets of a workbook).
"""

from __future__ import annotations

import re
from collections.abc import Collection, Sequence

from schemas import Field, Table
from schemas.store_tables import line_cells_sql
from schemas.templates import EXAMPLE_MARK

_BLANK_CODES = (*range(9, 14), *range(28, 33), 133, 160, 5760, *range(8192, 8204), 8232, 8233, 8239, 8287, 12288, 65279)
BLANKS = "".join(map(chr, _BLANK_CODES))
"""What counts as blank at the ends of a cell: Unicode's blanks, and two marks that nobody sees."""


_BLANK_PATTERN = "[" + "".join(f"\\x{{{code:x}}}" for code in _BLANK_CODES) + "]*"


def quoted(name: str) -> str:
    """Return a declared name as a DuckDB identifier."""
    return f'"{name}"'


def text_sql(text: str) -> str:
    """Return a text as a DuckDB literal."""
    doubled = text.replace("'", "''")
    return f"'{doubled}'"


def trimmed_sql(cell: str, ends: str = BLANKS) -> str:
    """Return the DuckDB expression for a cell without what stands in `ends` at its ends, NULL where nothing is left."""
    # The engine takes `ends` apart for each cell anew, so it is spared where both ends are plain characters. As a
    # literal it is planned in no time; put together by `chr` in each of 75 columns it took 120 ms a sheet.
    return (
        f"CASE WHEN {cell} BETWEEN '!' AND '~' AND right({cell}, 1) BETWEEN '!' AND '~' THEN {cell} "
        f"WHEN {cell} <> '' THEN nullif(trim({cell}, {text_sql(ends)}), '') END"
    )


def is_blank_sql(cell: str) -> str:
    """Return the condition under which a cell holds nothing but blanks."""
    return f"regexp_full_match({cell}, '{_BLANK_PATTERN}')"


def raw_tables_sql(table: Table, present: Collection[str]) -> tuple[str, str]:
    """Return the statements that make the lines of `table` anew, and their view; sheets have the columns `present`.

    `is_plain` says that the line fits `plain_pattern`.
    """
    # Of the ways to store long texts this one takes the least time and room, by measurement.
    lines = (
        f"CREATE OR REPLACE TABLE raw.{table.name}_line (file_id INTEGER, line_no BIGINT, "
        "raw_text VARCHAR USING COMPRESSION zstd, is_plain BOOLEAN, cells VARCHAR[])"
    )
    names = [name for name in table.field_names if name in present]
    cells = ", ".join(
        (quoted(name) if name in present else f"CAST(NULL AS VARCHAR) AS {quoted(name)}") for name in table.field_names
    )
    view = (
        f"CREATE OR REPLACE VIEW raw.{table.name} AS SELECT file_id, line_no, raw_text, {cells} "
        f"FROM ({line_cells_sql(names, f'raw.{table.name}_line')})"
    )
    return lines, view


def cells_sql(table: Table, columns: Sequence[str | None], delimiter: str, *, is_plain: bool) -> str:
    """Return a SELECT of line, text and cells (NULL where blank) of the plain lines of a sheet, or of all others.

    `columns` names the column of each field of a record. Its one parameter is `$file_id`.
    """
    split = f"string_split(raw_text, {text_sql(delimiter)})"
    parts, where = (split, "is_plain") if is_plain else (f"coalesce(cells, {split})", "NOT is_plain")
    cells = "".join(
        f", nullif(parts[{place}], '') AS {quoted(column)}" for place, column in enumerate(columns, 1) if column
    )
    return (
        f"SELECT line_no, raw_text{cells} FROM (SELECT line_no, raw_text, {parts} AS parts "
        f"FROM raw.{table.name}_line WHERE file_id = $file_id AND {where})"
    )


def plain_pattern(
    table: Table, columns: Sequence[str | None], blank_places: Collection[int], delimiter: str
) -> str | None:
    """Return the pattern of a whole line whose cells need no more than a cast, or None where a column has none.

    Such a line is one record of the right width, is neither blank nor an example row, and each of its cells is blank or
    written just as its column is declared. What fits is typed at a fraction of the cost; any other line takes the way
    that looks at each cell, and comes to the same where both could be taken.
    """
    if table.key_column not in columns or len(columns) > _MOST_COLUMNS:
        return None
    parts = []
    for place, column in enumerate(columns):
        if place in blank_places:
            parts.append("")
            continue
        if column is None:
            parts.append(f"[^\"\\r\\n\\x{{0}}{_escaped(delimiter)}]*")
            continue
        cell = _cell_pattern(table.field(column), delimiter)
        if cell is None:
            return None
        parts.append(_but_example(cell, delimiter) if column == table.key_column else f"(?:{cell})?")
    return _escaped(delimiter).join(parts)


def _escaped(delimiter: str) -> str:
    return f"\\x{{{ord(delimiter):x}}}"


_MOST_COLUMNS = 200
"""A pattern of many more cells than any sheet of ours has would be too large for the engine."""

_LONGEST = 15
"""Digits that a number of either type surely holds; after the point twice as many do no harm."""

_DAY = (
    "[12][0-9]{3}-(?:(?:0[1-9]|1[0-2])-(?:0[1-9]|1[0-9]|2[0-8])|(?:0[13-9]|1[0-2])-(?:29|30)|(?:0[13578]|1[02])-31)"
)
"""A day in ISO form that is in every calendar; the 29th of February takes the other way."""


def _cell_pattern(field: Field, delimiter: str) -> str | None:
    if field.enum:
        # Of a list a cell with one value alone is plain.
        return "|".join(map(re.escape, field.enum))
    match field.type:
        case "string":
            return _text_pattern("", delimiter)
        case "integer":
            return f"[0-9]{{1,{_LONGEST}}}"
        case "number":
            return f"-?[0-9]{{1,{_LONGEST}}}(?:[.][0-9]{{1,{2 * _LONGEST}}})?"
        case "date":
            return _DAY
    return None


def _characters(but: str, *, blank: bool) -> str:
    """Return a class of ASCII characters that mean nothing to the reader, without those in `but`."""
    codes = [code for code in range(32 if blank else 33, 127) if chr(code) not in but + '"']
    return "[" + "".join(f"\\x{{{code:x}}}" for code in codes) + "]"


def _text_pattern(not_first: str, delimiter: str) -> str:
    """Return the pattern of a text without blanks at its ends, that does not begin with one of `not_first`."""
    last = _characters(delimiter, blank=False)
    first = _characters(delimiter + not_first, blank=False)
    return f"{first}(?:{_characters(delimiter, blank=True)}*{last})?"


def _but_example(cell: str, delimiter: str) -> str:
    """Return the pattern of a key that is filled in and does not begin like an example row's, in either case."""
    if cell != _text_pattern("", delimiter):
        return f"(?:{cell})"
    start = EXAMPLE_MARK[0]
    # The keys that begin with the mark's first letter are told apart by their second, as no other key need be.
    second = EXAMPLE_MARK[1]
    plain, other = _characters(delimiter, blank=True), _characters(delimiter + second + second.lower(), blank=False)
    last = _characters(delimiter, blank=False)
    return (
        f"(?:{_text_pattern(start + start.lower(), delimiter)}"
        f"|[{start}{start.lower()}]{other}(?:{plain}*{last})?)"
    )
