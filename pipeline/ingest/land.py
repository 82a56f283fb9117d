"""Land the rows of a sheet in `raw.*` as they came, and broken ones in `meta.reject`."""

from __future__ import annotations

import csv
import shutil
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

import duckdb

from pipeline.ingest.cells import cells_sql, plain_pattern, quoted, text_sql
from pipeline.ingest.files import Shape, text_lines
from pipeline.ingest.headings import Headings
from pipeline.ingest.mend_rows import MendRow, read_mend
from pipeline.ingest.records import Record, read_records
from pipeline.ingest.workbook import sheet_records
from pipeline.store import Store
from schemas import Table
from schemas.templates import EXAMPLE_MARK

if TYPE_CHECKING:
    from python_calamine import CalamineSheet

DEFAULT_LINE_BYTES = 2_000_000
REJECT_BATCH = 5000
_BLANK_CODES = (*range(9, 14), *range(28, 33), 133, 160, 5760, *range(8192, 8204), 8232, 8233, 8239, 8287, 12288, 65279)
BLANKS = "".join(map(chr, _BLANK_CODES))
"""What counts as blank at the ends of a cell: Unicode's blanks, and two marks that nobody sees."""


_BLANK_PATTERN = "[" + "".join(f"\\x{{{code:x}}}" for code in _BLANK_CODES) + "]*"


def trimmed_sql(cell: str, ends: str = BLANKS) -> str:
    """Return the DuckDB expression for a cell without what stands in `ends` at its ends, NULL where nothing is left."""
    # The engine takes `ends` apart for each cell anew, so it is spared where both ends are plain characters. As a
    # literal it is planned in no time; put together by `chr` in each of 75 columns it took 120 ms a sheet.
    return (
        f"CASE WHEN {cell} BETWEEN '!' AND '~' AND right({cell}, 1) BETWEEN '!' AND '~' THEN {cell} "
        f"WHEN {cell} <> '' THEN nullif(trim({cell}, {text_sql(ends)}), '') END"
    )


def _is_blank_sql(cell: str) -> str:
    return f"regexp_full_match({cell}, '{_BLANK_PATTERN}')"


@dataclass(frozen=True)
class Sheet:
    """One readable sheet: where it came from, which table it is, and how it is laid out.

    `text_path` is a UTF-8 file, or None for a sheet of a workbook, whose rows `book_sheet` holds. Landing fills
    `mends` with what the rows of a sheet of mended rows say. `words` is what the headings file `mapped_by` says that
    words of a column stand for.
    """

    file_id: int
    relative: str
    sheet_name: str | None
    table: Table
    sha256: str
    length: int
    encoding: str | None
    delimiter: str | None
    headings: Headings
    shape: Shape | None
    text_path: Path | None
    book_sheet: CalamineSheet | None = None
    notes: list[str] = field(default_factory=list)
    mends: list[MendRow] = field(default_factory=list)
    words: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    mapped_by: str | None = None

    @property
    def free_text(self) -> frozenset[int]:
        """Places of the fields in which a line may end inside quotation marks."""
        return frozenset(
            place
            for place, column in enumerate(self.headings.columns)
            if column is not None and _is_free_text(self.table, column)
        )


@dataclass(frozen=True)
class Landed:
    """The account of a landed sheet; `rows_in` leaves out headings, blank rows and example rows."""

    line_count: int
    rows_in: int
    rows_blank: int
    example_rows: int
    rows_broken: int


def _is_free_text(table: Table, column: str) -> bool:
    declared = table.field(column)
    return (
        declared.type == "string" and not declared.enum and declared.pattern is None and not declared.unique
    )


def _names(headings: Headings) -> list[str]:
    """Return a name for each field of a record: its column, or `not_read_<place>`."""
    return [column or f"not_read_{place}" for place, column in enumerate(headings.columns)]


def _columns_sql(names: Iterable[str]) -> str:
    return "{" + ", ".join(f"'{name}': 'VARCHAR'" for name in names) + "}"


def split_sql(sheet: Sheet, newline: str) -> str:
    """Return the table function that splits a whole sheet; its one parameter is the path."""
    escaped = newline.replace("\r", "\\r").replace("\n", "\\n")
    delimiter = "\\t" if sheet.delimiter == "\t" else sheet.delimiter
    return (
        f"read_csv(?, auto_detect=false, header=true, delim='{delimiter}', quote='\"', escape='\"', "
        f"new_line='{escaped}', columns={_columns_sql(_names(sheet.headings))})"
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
    # Lines are numbered on one core, as they are read; set down first, they go to all cores for what costs more.
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


def _is_plain_sql(sheet: Sheet, text: str = "raw_text") -> str:
    """Return the condition under which a line is typed as it stands."""
    pattern = None
    if sheet.delimiter is not None and not any(sheet.words.get(column or "") for column in sheet.headings.columns):
        headings = sheet.headings
        pattern = plain_pattern(sheet.table, headings.columns, headings.must_be_blank, sheet.delimiter)
    return f"regexp_full_match({text}, {text_sql(pattern)})" if pattern is not None else "FALSE"


def land_split(store: Store, sheet: Sheet, path: Path) -> None:
    """Land a sheet for which `is_exact` holds: both readers keep the file's order, so lines and cells pair by place."""
    newline = sheet.shape.newline if sheet.shape and sheet.shape.newline else "\n"
    listed = ", ".join(f"cells.{quoted(name)}" for name in _names(sheet.headings))
    store.run(
        f"INSERT INTO raw.{sheet.table.name}_line "
        f"SELECT ?, row_number() OVER () + 1, lines.raw_text, {_is_plain_sql(sheet, 'lines.raw_text')}, "
        f"CASE WHEN contains(lines.raw_text, '\"') THEN [{listed}] END "
        f"FROM {lines_sql(newline)} AS lines POSITIONAL JOIN {split_sql(sheet, newline)} AS cells",
        [sheet.file_id, str(path), str(path)],
    )


def land_lines(store: Store, sheet: Sheet) -> tuple[int, int]:
    """Land the numbered lines of a sheet; return how many were broken, and how many blank ones not kept.

    A line is all that is kept; those that do not split into the right number of cells are looked at one by one.
    """
    # An empty line is read as NULL, and not kept.
    store.run(
        f"INSERT INTO raw.{sheet.table.name}_line SELECT ?, line_no, raw_text, {_is_plain_sql(sheet)}, NULL "
        "FROM numbered_line WHERE raw_text <> ''",
        [sheet.file_id],
    )
    came = int(store.value("SELECT count(*) FROM numbered_line"))
    store.run("DROP VIEW numbered_line")
    store.run("DROP TABLE read_line")
    kept = int(store.value(f"SELECT count(*) FROM raw.{sheet.table.name}_line WHERE file_id = ?", [sheet.file_id]))
    broken, blank = _take_out_broken(store, sheet) if _has_odd_lines(store, sheet) else (0, 0)
    return broken, blank + came - kept


def _has_odd_lines(store: Store, sheet: Sheet) -> bool:
    """Whether a sheet has lines that are not plain; broken, blank and example rows are among these alone."""
    odd = f"SELECT 1 FROM raw.{sheet.table.name}_line WHERE file_id = ? AND NOT is_plain LIMIT 1"
    return bool(store.rows(odd, [sheet.file_id]))


def _take_out_broken(store: Store, sheet: Sheet) -> tuple[int, int]:
    """Set lines aside that have not the right number of cells, or one too many; return how many, and how many blank."""
    delimiter = sheet.delimiter or ","
    parts = f"string_split(raw_text, {text_sql(delimiter)})"
    strangers = "".join(f" OR parts[{place + 1}] <> ''" for place in sheet.headings.must_be_blank)
    store.run(
        f"CREATE OR REPLACE TEMP TABLE odd_line AS SELECT line_no, raw_text FROM (SELECT line_no, raw_text, {parts} AS "
        f"parts FROM raw.{sheet.table.name}_line WHERE file_id = ? AND NOT is_plain) "
        f"WHERE len(parts) <> {sheet.headings.width}{strangers} ORDER BY line_no",
        [sheet.file_id],
    )
    broken = blank = 0
    gone: list[int] = []
    after = 0
    while batch := store.rows(f"SELECT * FROM odd_line WHERE line_no > {after} ORDER BY line_no LIMIT {REJECT_BATCH}"):
        told = []
        for line_no, text in batch:
            record = next(read_records(iter([text + "\n"]), delimiter, sheet.headings.width, frozenset(), line_no))
            reason, remedy = record.problem, record.remedy or ""
            if reason is None and not record.is_blank:
                reason, remedy = _stranger(record, sheet) or (None, "")
            if reason is not None:
                told.append((line_no, reason, remedy, text))
            blank += record.is_blank
            if reason is not None or record.is_blank:
                gone.append(line_no)
        broken += len(told)
        _set_aside(store, sheet, told)
        after = batch[-1][0]
    if gone:
        store.run(
            f"DELETE FROM raw.{sheet.table.name}_line WHERE file_id = ? AND line_no IN (SELECT unnest(?::BIGINT[]))",
            [sheet.file_id, gone],
        )
    store.run("DROP TABLE odd_line")
    return broken, blank


def _records(sheet: Sheet) -> Iterator[Record]:
    headings = sheet.headings
    below = headings.line_no + headings.line_count - 1
    if sheet.book_sheet is not None:
        yield from sheet_records(sheet.book_sheet, below)
        return
    if sheet.text_path is None or sheet.delimiter is None:
        return
    lines = text_lines(sheet.text_path)
    for _ in range(below):
        next(lines, None)
    yield from read_records(lines, sheet.delimiter, headings.width, sheet.free_text, below + 1)


def _stranger(record: Record, sheet: Sheet) -> tuple[str, str] | None:
    """Return reason and remedy where a value stands in a column that has no heading."""
    for place in sheet.headings.must_be_blank:
        if record.fields[place].strip():
            return (
                f"{record.fields[place].strip()!r} stands in column {place + 1}, which has no heading",
                "move the value under a heading, or give the column one",
            )
    return None


def land_exact(store: Store, sheet: Sheet, folder: Path) -> tuple[int, int, int]:
    """Land a sheet record by record; return how many records came, how many were broken, and how many empty.

    Whole records go through a clean temporary file, which DuckDB loads many times faster than rows handed
    over one by one; broken ones go to `meta.reject`. Empty lines are counted and not kept.
    """
    clean = folder / f"clean_{sheet.file_id}.csv"
    came = longest = empty = 0
    broken: list[tuple[int, str, str, str]] = []
    broken_count = 0
    no_cells = [""] * sheet.headings.width
    with clean.open("w", encoding="utf-8", newline="") as stream:
        writer = csv.writer(stream, lineterminator="\r\n")
        for record in _records(sheet):
            came += 1
            if not record.raw_text:
                empty += 1
                continue
            reason, remedy = record.problem, record.remedy or ""
            if reason is None and not record.is_blank:
                reason, remedy = _stranger(record, sheet) or (None, "")
            if sheet.headings.is_mended and not record.is_blank:
                mend = read_mend(record, sheet.headings, sheet.delimiter)
                if mend:
                    sheet.mends.append(mend)
            if reason is not None:
                broken.append((record.line_no, reason, remedy, record.raw_text))
                broken_count += 1
                if len(broken) >= REJECT_BATCH:
                    _set_aside(store, sheet, broken)
                    broken = []
                continue
            cells = no_cells if record.is_blank else record.fields[: sheet.headings.width]
            writer.writerow([record.line_no, record.raw_text, *cells])
            longest = max(longest, 2 * len(record.raw_text))
    _set_aside(store, sheet, broken)
    # A character may take four bytes, and the row holds its text twice, quotation marks doubled.
    most = max(DEFAULT_LINE_BYTES, 10 * longest)
    names = [f"cell_{place}" for place in range(sheet.headings.width)]
    is_split = "contains(raw_text, '\"')" if sheet.book_sheet is None else "TRUE"
    store.run(
        f"INSERT INTO raw.{sheet.table.name}_line "
        f"SELECT ?, CAST(line_no AS BIGINT), raw_text, {_is_plain_sql(sheet)}, "
        f"CASE WHEN {is_split} THEN [{', '.join(names)}] END "
        "FROM read_csv(?, auto_detect=false, header=false, delim=',', quote='\"', escape='\"', "
        f"new_line='\\r\\n', max_line_size={most}, buffer_size={16 * most}, "
        f"columns={_columns_sql(['line_no', 'raw_text', *names])})",
        [sheet.file_id, str(clean)],
    )
    clean.unlink()
    return came, broken_count, empty


def _set_aside(store: Store, sheet: Sheet, broken: list[tuple[int, str, str, str]]) -> None:
    if not broken:
        return
    line_nos, reasons, remedies, texts = (list(part) for part in zip(*broken, strict=True))
    store.run(
        "INSERT INTO meta.reject SELECT ?, ?, ?, unnest(?::BIGINT[]), NULL, NULL, unnest(?::VARCHAR[]), "
        "unnest(?::VARCHAR[]), unnest(?::VARCHAR[]), 'load'",
        [sheet.file_id, sheet.relative, sheet.table.name, line_nos, reasons, remedies, texts],
    )


def _take_out(store: Store, sheet: Sheet, condition: str) -> int:
    """Delete those lines of this sheet whose cells fit a condition, and return how many; no plain line ever does."""
    rows = cells_sql(sheet.table, sheet.headings.columns, sheet.delimiter or ",", is_plain=False)
    store.run(
        f"CREATE OR REPLACE TEMP TABLE taken_out AS SELECT line_no FROM ({rows}) WHERE {condition}",
        {"file_id": sheet.file_id},
    )
    count = int(store.value("SELECT count(*) FROM taken_out"))
    if count:
        store.run(
            f"DELETE FROM raw.{sheet.table.name}_line WHERE file_id = ? AND line_no IN (SELECT line_no FROM taken_out)",
            [sheet.file_id],
        )
    store.run("DROP TABLE taken_out")
    return count


def _take_out_empty(store: Store, sheet: Sheet) -> tuple[int, int]:
    """Delete the blank lines of a sheet and its example row; return how many there were of each."""
    read = [quoted(column) for column in sheet.headings.columns if column is not None]
    # The first column, which is rarely blank, spares looking at the others.
    first, all_read = f"coalesce({read[0]}, '')", ", ".join(read)
    # A blank row among mended ones that names a row has something to say: that one is dropped.
    named = ", ".join(str(mend.line_no) for mend in sheet.mends)
    others = f" AND NOT list_contains([{named}], line_no)" if named else ""
    blank = _take_out(store, sheet, f"{_is_blank_sql(first)} AND {_is_blank_sql(f'concat({all_read})')}{others}")
    key = quoted(sheet.table.key_column)
    marked = f"contains(upper({key}), '{EXAMPLE_MARK}') AND starts_with(upper({trimmed_sql(key)}), '{EXAMPLE_MARK}')"
    return blank, _take_out(store, sheet, marked)


def land(store: Store, sheet: Sheet, folder: Path) -> Landed:
    """Land one sheet and return its account.

    Blank rows and the example row of a blank sheet are counted apart and not kept.
    """
    store.run(
        "INSERT INTO meta.sheet_layout VALUES (?, ?, ?)",
        [sheet.file_id, sheet.delimiter or ",", [column or "" for column in sheet.headings.columns]],
    )
    path = sheet.text_path
    if path is not None and any(mark in str(path) for mark in "*?["):
        # DuckDB takes these as wildcards.
        path = Path(shutil.copyfile(path, folder / f"sheet_{sheet.file_id}.csv"))
    shape = sheet.shape if path is not None and is_simple(sheet) else None
    if path is not None and shape is not None and not shape.has_quotes and number_lines(store, sheet, path):
        came = shape.line_count - 1
        broken, empty = land_lines(store, sheet)
    elif path is not None and shape is not None and shape.has_quotes and is_exact(store, sheet, path):
        land_split(store, sheet, path)
        came, broken, empty = shape.line_count - 1, 0, 0
    else:
        came, broken, empty = land_exact(store, sheet, folder)
    blank, examples = _take_out_empty(store, sheet) if _has_odd_lines(store, sheet) else (0, 0)
    blank += empty
    heading_end = sheet.headings.line_no + sheet.headings.line_count - 1
    above = sheet.headings.line_no - 1
    line_count = sheet.shape.line_count if sheet.shape is not None else heading_end + came
    return Landed(
        line_count=line_count,
        rows_in=came - blank - examples,
        rows_blank=blank + examples + above,
        example_rows=examples,
        rows_broken=broken,
    )
