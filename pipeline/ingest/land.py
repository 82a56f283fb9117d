"""Land the rows of a sheet in `raw.*` as they came, and broken ones in `meta.reject`."""

from __future__ import annotations

import csv
import shutil
from collections.abc import Iterator
from pathlib import Path

from pipeline.ingest.cells import cells_sql, is_blank_sql, plain_pattern, quoted, text_sql, trimmed_sql
from pipeline.ingest.files import text_lines
from pipeline.ingest.lines import columns_sql, field_names, is_exact, is_simple, lines_sql, number_lines, split_sql
from pipeline.ingest.mend_rows import read_mend
from pipeline.ingest.records import Record, read_records
from pipeline.ingest.sheet import Landed, Sheet
from pipeline.ingest.workbook import sheet_records
from pipeline.store import Store
from schemas.templates import EXAMPLE_MARK

DEFAULT_LINE_BYTES = 2_000_000
REJECT_BATCH = 5000


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
    listed = ", ".join(f"cells.{quoted(name)}" for name in field_names(sheet.headings))
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
        f"columns={columns_sql(['line_no', 'raw_text', *names])})",
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
    blank = _take_out(store, sheet, f"{is_blank_sql(first)} AND {is_blank_sql(f'concat({all_read})')}{others}")
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
