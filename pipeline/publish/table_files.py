"""Write the published tables as files: CSV for spreadsheets, Parquet exact, and one workbook."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pipeline.formulas import spreadsheet_safe_sql
from pipeline.publish.declared import key_order
from pipeline.store import Store
from schemas import Field, Table

if TYPE_CHECKING:
    import xlsxwriter
    from xlsxwriter.format import Format
    from xlsxwriter.worksheet import Worksheet

WORKBOOK_ROWS = 100_000
"""Tables with more rows are left out of the workbook, which would open too slowly; its first sheet says so."""

_CELL_LENGTH = 32_767
"""The longest text that a cell of an XLSX workbook can hold."""

_MADE_ON = dt.datetime(2000, 1, 1)
"""The day written into the workbook as its making: fixed, so that two runs give the same bytes."""

_FORMATS = {
    "share": "0.0%",
    "probability": "0.0%",
    "in": "0.00",
    "logit": "0.000",
}
_WIDTHS = {"string": 24, "integer": 11, "number": 12, "date": 12, "boolean": 9, "datetime": 18}
_ABOUT = (
    "Every table is also beside this workbook as CSV (with an apostrophe before everything that a spreadsheet would "
    "take for the start of a formula) and as Parquet (exact). The data dictionary of the site explains each column."
)


def write_tables(store: Store, tables: Sequence[Table], folder: Path) -> None:
    """Write `<table>.csv` and `<table>.parquet` for each table, and `season.xlsx` with all that fit."""
    for table in tables:
        order = key_order(table)
        parquet = folder / f"{table.name}.parquet"
        csv = folder / f"{table.name}.csv"
        store.run(
            f"COPY (SELECT * FROM published.{table.name} ORDER BY {order}) TO '{_quoted(parquet)}' (FORMAT parquet)"
        )
        store.run(
            f"COPY (SELECT {', '.join(_spreadsheet_safe(field) for field in table.fields)} "
            f"FROM published.{table.name} ORDER BY {order}) TO '{_quoted(csv)}' (FORMAT csv, HEADER)"
        )
    write_workbook(store, tables, folder / "season.xlsx")


def _quoted(path: Path) -> str:
    return str(path).replace("'", "''")


def _spreadsheet_safe(field: Field) -> str:
    """Return the column such that no spreadsheet takes a text cell for a formula."""
    column = f'"{field.name}"'
    if field.type != "string":
        return column
    return f"{spreadsheet_safe_sql(column)} AS {column}"


def write_workbook(store: Store, tables: Sequence[Table], path: Path) -> None:
    """Write one sheet for each table of at most `WORKBOOK_ROWS` rows, after a sheet that lists them all."""
    import xlsxwriter

    options = {
        "strings_to_formulas": False,
        "strings_to_urls": False,
        "strings_to_numbers": False,
        "nan_inf_to_errors": True,
        "constant_memory": True,
    }
    with xlsxwriter.Workbook(str(path), options) as book:
        book.set_properties({"title": "Season tables", "created": _MADE_ON})
        heading = book.add_format({"bold": True, "bottom": 1, "text_wrap": True, "valign": "top"})
        counts = {t.name: int(store.value(f"SELECT count(*) FROM published.{t.name}")) for t in tables}
        _write_contents(book.add_worksheet("contents"), tables, counts, heading)
        formats = {unit: book.add_format({"num_format": text}) for unit, text in _FORMATS.items()}
        formats["date"] = book.add_format({"num_format": "yyyy-mm-dd"})
        for table in tables:
            if counts[table.name] <= WORKBOOK_ROWS:
                _write_sheet(book, store, table, counts[table.name], heading, formats)


def _write_contents(
    sheet: Worksheet, tables: Sequence[Table], counts: dict[str, int], heading: Format
) -> None:
    sheet.set_column(0, 0, 26)
    sheet.set_column(1, 1, 34)
    sheet.set_column(2, 2, 10)
    sheet.set_column(3, 3, 90)
    sheet.write_string(0, 0, _ABOUT)
    for place, text in enumerate(("table", "title", "rows", "what it holds")):
        sheet.write_string(2, place, text, heading)
    for row, table in enumerate(tables, 3):
        sheet.write_string(row, 0, table.name)
        sheet.write_string(row, 1, table.title)
        sheet.write_number(row, 2, counts[table.name])
        left_out = " (too long for a workbook: see the CSV)" if counts[table.name] > WORKBOOK_ROWS else ""
        sheet.write_string(row, 3, table.description + left_out)
    sheet.freeze_panes(3, 0)


def _write_sheet(
    book: xlsxwriter.Workbook,
    store: Store,
    table: Table,
    rows: int,
    heading: Format,
    formats: dict[str, Format],
) -> None:
    sheet = book.add_worksheet(table.name)
    for place, field in enumerate(table.fields):
        shown = formats.get("date") if field.type == "date" else formats.get(field.unit or "")
        sheet.set_column(place, place, _WIDTHS[field.type], shown)
        sheet.write_string(0, place, field.name, heading)
    sheet.freeze_panes(1, 1)
    sheet.autofilter(0, 0, max(rows, 1), len(table.fields) - 1)
    cells = store.rows(f"SELECT * FROM published.{table.name} ORDER BY {key_order(table)}")
    for row, values in enumerate(cells, 1):
        for place, (field, value) in enumerate(zip(table.fields, values, strict=True)):
            if value is not None:
                _write_cell(sheet, row, place, value, formats["date"] if field.type == "date" else None)


def _write_cell(sheet: Worksheet, row: int, place: int, value: Any, shown: Format | None) -> None:
    if isinstance(value, bool):
        sheet.write_boolean(row, place, value)
    elif isinstance(value, int | float):
        sheet.write_number(row, place, value)
    elif isinstance(value, dt.date):
        sheet.write_datetime(row, place, dt.datetime(value.year, value.month, value.day), shown)
    else:
        text = str(value)
        # Cut visibly: a workbook that drops the cell without a word would be worse.
        cut = text if len(text) <= _CELL_LENGTH else text[: _CELL_LENGTH - 12] + " … (cut)"
        sheet.write_string(row, place, cut)
