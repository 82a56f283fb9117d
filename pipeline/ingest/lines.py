"""Read a sheet with the engine's own reader, where that gives one record for each physical line.

Only then are line numbers and raw texts certain.
"""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

import duckdb

from pipeline.ingest.cells import BLANKS, quoted, text_sql
from pipeline.ingest.headings import Headings
from pipeline.ingest.sheet import Sheet
from pipeline.store import Store


def field_names(headings: Headings) -> list[str]:
    """Return a name for each field of a record: its column, or `not_read_<place>`."""
    return [column or f"not_read_{place}" for place, column in enumerate(headings.columns)]


def columns_sql(names: Iterable[str]) -> str:
    """Return the types of the columns of a text, all of them text, as the engine's reader wants them."""
    return "{" + ", ".join(f"'{name}': 'VARCHAR'" for name in names) + "}"


def split_sql(sheet: Sheet, newline: str) -> str:
    """Return the table function that splits a whole sheet; its one parameter is the path."""
    escaped = newline.replace("\r", "\\r").replace("\n", "\\n")
    delimiter = "\\t" if sheet.delimiter == "\t" else sheet.delimiter
    return (
        f"read_csv(?, auto_detect=false, header=true, delim='{delimiter}', quote='\"', escape='\"', "
        f"new_line='{escaped}', columns={columns_sql(field_names(sheet.headings))})"
    )


def lines_sql(newline: str, *, lenient: bool = False) -> str:
    """Return the table function that reads each line below the first whole; its one parameter is the path.

    `lenient` passes over a line that cannot be read, such as one that is too long, where else the statement fails.
    """
    escaped = newline.replace("\r", "\\r").replace("\n", "\\n")
    faults = "ignore_errors=true, " if lenient else ""
    return (
        f"read_csv(?, auto_detect=false, header=true, delim='', quote='', escape='', {faults}"
        f"new_line='{escaped}', columns={{'raw_text': 'VARCHAR'}})"
    )


def is_simple(sheet: Sheet) -> bool:
    """Whether a sheet is laid out so that DuckDB's own reader may split it: see `is_exact` and `number_lines`."""
    shape = sheet.shape
    if shape is None or shape.newline is None or shape.has_nul:
        return False
    # The remark columns of mended rows are read, which only the exact reader does.
    return sheet.headings.line_no == 1 and sheet.headings.line_count == 1 and not sheet.headings.is_mended


def is_exact(store: Store, sheet: Sheet, path: Path) -> bool:
    """Whether DuckDB's own reader splits a simple sheet into exactly one record for each physical line.

    Only then are line numbers and raw texts certain. It is tried on a connection of its own, because an error
    inside the load's transaction would end it. Lines and records being equal in number, no line was
    dropped (a blank one) and none was joined to another (a quotation mark over several lines).
    """
    shape = sheet.shape
    if shape is None or shape.newline is None:
        return False
    extra = ", ".join(quoted(f"not_read_{place}") for place in sheet.headings.must_be_blank)
    strangers = f"count(*) FILTER (WHERE trim(concat({extra}), {text_sql(BLANKS)}) <> '')" if extra else "0"
    trial = store.connection.cursor()
    try:
        lines = trial.execute(f"SELECT count(*) FROM {lines_sql(shape.newline)}", [str(path)]).fetchone()
        split = trial.execute(
            f"SELECT count(*), {strangers} FROM {split_sql(sheet, shape.newline)}", [str(path)]
        ).fetchone()
    except duckdb.Error:
        return False
    finally:
        trial.close()
    return lines == (shape.line_count - 1,) and split == (shape.line_count - 1, 0)


def number_lines(store: Store, sheet: Sheet, path: Path) -> bool:
    """Set the numbered lines of a simple sheet without quotation marks down; return whether they are all there.

    Without quotation marks a line is a record as it stands, so that lines need only be counted: one that the reader
    passed over, or took for two, shows in their number, and the sheet is then for the exact reader.
    """
    shape = sheet.shape
    if shape is None or shape.newline is None:
        return False
    store.run(
        f"CREATE OR REPLACE TEMP TABLE read_line AS SELECT raw_text FROM {lines_sql(shape.newline, lenient=True)}",
        [str(path)],
    )
    # All cores read, and the engine keeps the order of the file, so that a line's place in the table is its number.
    first, last, count = store.rows("SELECT coalesce(min(rowid), 0), max(rowid), count(*) FROM read_line")[0]
    if count == shape.line_count - 1 and (not count or last - first == count - 1):
        numbered = f"SELECT rowid - {first} + 2 AS line_no, raw_text FROM read_line"
        store.run(f"CREATE OR REPLACE TEMP VIEW numbered_line AS {numbered}")
        return True
    store.run("DROP TABLE read_line")
    return False
