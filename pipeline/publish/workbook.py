"""One workbook with the published tables, laid out for people: what it is, the tables, and what each column means."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pipeline.publish.declared import key_order
from pipeline.store import Store
from schemas import Field, Table

if TYPE_CHECKING:
    import xlsxwriter
    from xlsxwriter.format import Format
    from xlsxwriter.worksheet import Worksheet

WORKBOOK_ROWS = 30_000
"""Tables with more rows are left out of the workbook, which would take too long to write and to open; its first sheet
says so."""

_CELL_LENGTH = 32_767
"""The longest text that a cell of an XLSX workbook can hold."""

_MADE_ON = dt.datetime(2000, 1, 1)
"""The day written into the workbook as its making: fixed, so that two runs give the same bytes."""

_PERCENT = "%"
_SHARES = ("share", "probability")
_SHOWN = {"share": "0.0%", "probability": "0.0%", "in": "0.00", "inch": "0.00"}
_UNITS = {"share": _PERCENT, "probability": _PERCENT, "inch": "in"}
_LEAST_WIDTH, _MOST_WIDTH, _WRAP_FROM = 9, 60, 40
_BAR = "#56B4E9"
"""Sky blue of the palette of Okabe and Ito; the bar stands beside its number and says nothing that it does not."""

_ABOUT = (
    "Each sheet is one table; its name here leads to it. Headings stay in sight, every column can be filtered, and a "
    "heading names its unit after a comma.",
    "Percentages are shares of 1, shown as percent; a bar in a cell shows the same share. An empty cell means what the "
    "sheet “columns” says.",
    "Every table is also beside this workbook as CSV (with an apostrophe before everything that a spreadsheet would "
    "take for the start of a formula) and as Parquet (exact); datapackage.json describes all files.",
)


class _Formats:
    """The workbook's formats, each made once."""

    def __init__(self, book: xlsxwriter.Workbook) -> None:
        self._book = book
        self._made: dict[tuple[str, bool], Format] = {}
        self.title = book.add_format({"bold": True, "font_size": 16})
        self.heading = book.add_format({"bold": True, "bottom": 1, "text_wrap": True, "valign": "top"})
        self.name = book.add_format({"font_color": "#0072B2", "underline": 1, "valign": "top"})
        self.text = book.add_format({"text_wrap": True, "valign": "top"})
        self.count = book.add_format({"num_format": "#,##0", "valign": "top"})

    def of(self, field: Field, *, wrap: bool) -> Format:
        """Return the format of a column."""
        if field.type == "date":
            shown = "yyyy-mm-dd"
        elif field.type == "datetime":
            shown = "yyyy-mm-dd hh:mm"
        elif field.type == "integer":
            shown = "#,##0"
        elif field.type == "number":
            shown = _SHOWN.get(field.unit or "", "0.000")
        else:
            shown = "@" if field.type == "string" else "General"
        if (shown, wrap) not in self._made:
            self._made[shown, wrap] = self._book.add_format({"num_format": shown, "text_wrap": wrap, "valign": "top"})
        return self._made[shown, wrap]


def heading(field: Field) -> str:
    """Return a column's heading: its title, with the unit after a comma."""
    return f"{field.title}, {_UNITS.get(field.unit, field.unit)}" if field.unit else field.title


def for_people(table: Table) -> bool:
    """Whether a table has anything to read in a workbook: packed bytes, as the draws are, have not."""
    return all(field.unit != "base64" for field in table.fields)


def write_workbook(store: Store, tables: Sequence[Table], rows: Mapping[str, int], title: str, path: Path) -> None:
    """Write one sheet for each table of at most `WORKBOOK_ROWS` rows, after `contents` and `columns`.

    No text becomes a formula, a number or a link, whatever it looks like.
    """
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
        formats = _Formats(book)
        shown = [table for table in tables if not _left_out(table, rows[table.name])]
        _write_contents(book.add_worksheet("contents"), tables, rows, title, formats)
        _write_columns(book.add_worksheet("columns"), tables, formats)
        for table in shown:
            _write_table(book.add_worksheet(table.name), store, table, rows[table.name], formats)


def _left_out(table: Table, rows: int) -> str:
    """Return why a table has no sheet, in words; empty where it has one."""
    if not for_people(table):
        return " (packed bytes for the pages and for programs: see the CSV)"
    return " (too long for a workbook: see the CSV)" if rows > WORKBOOK_ROWS else ""


def _write_contents(
    sheet: Worksheet, tables: Sequence[Table], rows: Mapping[str, int], title: str, formats: _Formats
) -> None:
    _page(sheet)
    for place, width in enumerate((28, 34, 10, 90)):
        sheet.set_column(place, place, width)
    sheet.write_string(0, 0, title or "Season tables", formats.title)
    for row, text in enumerate(_ABOUT, 1):
        sheet.write_string(row, 0, text)
    top = len(_ABOUT) + 2
    for place, text in enumerate(("Table", "Title", "Rows", "What it holds")):
        sheet.write_string(top, place, text, formats.heading)
    for row, table in enumerate(tables, top + 1):
        left_out = _left_out(table, rows[table.name])
        if left_out:
            sheet.write_string(row, 0, table.name, formats.text)
        else:
            sheet.write_url(row, 0, f"internal:'{table.name}'!A1", formats.name, table.name)
        sheet.write_string(row, 1, table.title, formats.text)
        sheet.write_number(row, 2, rows[table.name], formats.count)
        sheet.write_string(row, 3, table.description + left_out, formats.text)
    sheet.freeze_panes(top + 1, 1)


def _write_columns(sheet: Worksheet, tables: Sequence[Table], formats: _Formats) -> None:
    """Write what every column of every table means."""
    _page(sheet)
    heads = (
        ("Table", 26),
        ("Column", 26),
        ("Heading", 34),
        ("Unit", 12),
        ("An empty cell means", 34),
        ("What it holds", 70),
    )
    for place, (text, width) in enumerate(heads):
        sheet.set_column(place, place, width)
        sheet.write_string(0, place, text, formats.heading)
    row = 0
    for table in tables:
        for field in table.fields:
            row += 1
            cells = (table.name, field.name, heading(field), field.unit or "", field.blank or "", field.description)
            for place, text in enumerate(cells):
                sheet.write_string(row, place, text, formats.text)
    sheet.freeze_panes(1, 2)
    sheet.autofilter(0, 0, max(row, 1), len(heads) - 1)


def _page(sheet: Worksheet) -> None:
    """On paper: A4 across, one page wide, with the sheet's name and the page's number."""
    sheet.set_landscape()
    sheet.set_paper(9)
    sheet.fit_to_pages(1, 0)
    sheet.set_footer("&L&A&R&P / &N")


def _write_table(sheet: Worksheet, store: Store, table: Table, rows: int, formats: _Formats) -> None:
    _page(sheet)
    sheet.repeat_rows(0)
    lengths = _lengths(store, table)
    last = max(rows, 1)
    shown: list[Format] = []
    for place, field in enumerate(table.fields):
        words = heading(field)
        longest_word = max(len(word) for word in words.split())
        width = min(max(lengths[place], longest_word, _LEAST_WIDTH) + 2, _MOST_WIDTH)
        form = formats.of(field, wrap=field.type == "string" and lengths[place] > _WRAP_FROM)
        shown.append(form)
        sheet.set_column(place, place, width, form)
        sheet.write_string(0, place, words, formats.heading)
        if field.unit in _SHARES:
            sheet.conditional_format(1, place, last, place, _bar())
    sheet.freeze_panes(1, 1)
    sheet.autofilter(0, 0, last, len(table.fields) - 1)
    cells = store.rows(f"SELECT * FROM published.{table.name} ORDER BY {key_order(table)}")
    for row, values in enumerate(cells, 1):
        _write_row(sheet, row, values, shown)


def _bar() -> dict[str, Any]:
    return {
        "type": "data_bar",
        "bar_solid": True,
        "bar_color": _BAR,
        "bar_border_color": _BAR,
        "min_type": "num",
        "min_value": 0,
        "max_type": "num",
        "max_value": 1,
    }


def _lengths(store: Store, table: Table) -> list[int]:
    """Return the length in characters of the longest text of each column, 10 for a day, what a number needs."""
    fixed = {"date": 10, "datetime": 16, "boolean": 6, "number": 8, "integer": 8}
    texts = [field for field in table.fields if field.type == "string"]
    if not texts:
        return [fixed[field.type] for field in table.fields]
    longest = ", ".join(f'max(length("{field.name}"))' for field in texts)
    (found,) = store.rows(f"SELECT {longest} FROM published.{table.name}")
    by_name = {field.name: int(value or 0) for field, value in zip(texts, found, strict=True)}
    return [by_name[field.name] if field.name in by_name else fixed[field.type] for field in table.fields]


def _write_row(sheet: Worksheet, row: int, values: Iterable[Any], shown: Sequence[Format]) -> None:
    for place, value in enumerate(values):
        if value is None:
            continue
        form = shown[place]
        if isinstance(value, bool):
            sheet.write_boolean(row, place, value, form)
        elif isinstance(value, int | float):
            sheet.write_number(row, place, value, form)
        elif isinstance(value, dt.datetime):
            sheet.write_datetime(row, place, value, form)
        elif isinstance(value, dt.date):
            sheet.write_datetime(row, place, dt.datetime(value.year, value.month, value.day), form)
        else:
            sheet.write_string(row, place, _fitting(str(value)), form)


def _fitting(text: str) -> str:
    # Cut visibly: a workbook that drops the cell without a word would be worse.
    return text if len(text) <= _CELL_LENGTH else text[: _CELL_LENGTH - 12] + " … (cut)"
