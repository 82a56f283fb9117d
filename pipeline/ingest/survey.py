"""Look through a season folder before anything is loaded: its sheets, how they are laid out, and what is wrong."""

from __future__ import annotations

import contextlib
import csv
from collections.abc import Iterable, Iterator
from concurrent.futures import Executor, Future, ThreadPoolExecutor
from dataclasses import dataclass, field, replace
from pathlib import Path

from pipeline.config import RunConfig
from pipeline.errors import InputError, PlateworkError, Where
from pipeline.ingest import files, workbook
from pipeline.ingest.headings import decide_delimiter, is_binary, read_headings
from pipeline.ingest.mapping import HeadingMaps
from pipeline.ingest.sheet import Sheet
from schemas import Table
from schemas.remarks import FILE, LINE

LOOKED_BELOW = 20
"""How many lines under the first are looked through for misplaced headings."""


@dataclass
class Survey:
    """What looking through the season folder brought: sheets to load, files passed over, and faults.

    `withdrawn` holds the path of each withdrawn file by its hash; `maps` are the headings files.
    """

    maps: HeadingMaps
    sheets: list[Sheet] = field(default_factory=list)
    ignored: list[tuple[int, files.Source, str | None, str, int]] = field(default_factory=list)
    withdrawn: dict[str, str] = field(default_factory=dict)
    faults: list[PlateworkError] = field(default_factory=list)
    next_id: int = 1

    def take_id(self) -> int:
        """Return the next file id; ids follow the order of paths, then of sheets in a workbook."""
        self.next_id += 1
        return self.next_id - 1


def look_through(config: RunConfig, tables: tuple[Table, ...], folder: Path) -> Survey:
    """Find the sheets and read their headings, noting every fault instead of stopping at the first."""
    by_name = {table.name: table for table in tables}
    survey = Survey(HeadingMaps(config.season, by_name))
    names = tuple(table.name for table in tables)
    with ThreadPoolExecutor(1) as beside:
        for number, source in enumerate(files.find_sources(config.season, config.out, names)):
            try:
                if source.trouble is not None:
                    raise source.trouble
                if source.is_packed and not source.is_withdrawn:
                    for inner in files.unpacked(source, folder, number, names):
                        _look_into(inner, by_name, folder, survey, beside)
                else:
                    _look_into(source, by_name, folder, survey, beside)
            except InputError as fault:
                survey.faults.append(fault)
    survey.faults += survey.maps.faults
    if not survey.maps.faults:
        # Where a headings file is at fault, nobody knows what is missing.
        survey.faults += files.missing_tables(_present(survey, names), config.season)
    return survey


def _present(survey: Survey, names: tuple[str, ...]) -> set[str]:
    """Return the tables of which there is a sheet; one that is there but at fault is not also missing."""
    at_fault = {str(fault.where.path) for fault in survey.faults if fault.where}
    faulty = (survey.maps.table_of(path, None) or files.table_for(Path(path).stem, names) for path in at_fault)
    return {sheet.table.name for sheet in survey.sheets} | {name for name in faulty if name}


def _look_into(
    source: files.Source, by_name: dict[str, Table], folder: Path, survey: Survey, beside: Executor
) -> None:
    try:
        if source.is_foreign and not source.is_withdrawn:
            raise _foreign(source)
        files.refuse_unreadable(source.path, source.relative)
        # Of a large file the hash takes longer than all else that is looked at here.
        hashed = beside.submit(files.hash_file, source.path, source.relative)
        said = None if source.is_workbook else survey.maps.table_of(source.relative, None)
        if said is not None:
            source = replace(source, table_name=said or None)
        if source.is_withdrawn:
            survey.ignored.append((survey.take_id(), source, None, *hashed.result()))
            survey.withdrawn[hashed.result()[0]] = source.relative
        elif source.is_workbook:
            _look_into_workbook(source, *hashed.result(), by_name, survey)
        elif source.table_name is None:
            survey.ignored.append((survey.take_id(), source, None, *hashed.result()))
        else:
            _look_into_text(source, hashed, by_name[source.table_name], folder, survey)
    except InputError as fault:
        survey.faults.append(fault)


def _mapped_like(relative: str, header: list[str], rows: Iterable[list[str]]) -> str:
    """Return the path whose headings file holds for a sheet: its own, or of mended rows that of the sheet they name."""
    names = [heading.strip().casefold() for heading in header]
    if FILE not in names or LINE not in names:
        return relative
    place = names.index(FILE)
    named = (row[place].strip() for row in rows if len(row) > place)
    return next((path.replace("\\", "/").removeprefix("./") for path in named if path), relative)


def _cells(lines: list[str], delimiter: str) -> Iterator[list[str]]:
    with contextlib.suppress(csv.Error):
        yield from csv.reader(lines, delimiter=delimiter)


def _foreign(source: files.Source) -> InputError:
    return InputError(
        f"a spreadsheet with the ending {source.path.suffix} cannot be read",
        where=Where(source.relative),
        hint="save it as .xlsx or as CSV (UTF-8), and take this file out of the folder",
    )


def _empty(where: str) -> InputError:
    return InputError(
        "the sheet is empty: it has not even headings",
        where=Where(where),
        hint="fill it in (`platework blank` writes the headings), or take it out of the folder",
    )


def _look_into_text(
    source: files.Source, hashed: Future[tuple[str, int]], table: Table, folder: Path, survey: Survey
) -> None:
    file_id = survey.take_id()
    encoding, note = files.decide_encoding(source.path, source.relative)
    path = files.as_utf8(source.path, encoding, folder, file_id)
    lines = files.text_lines(path)
    above = 0
    line = next(lines, None)
    while line is not None and not line.strip(" \t\r\n,;|"):
        above += 1
        line = next(lines, None)
    if line is None:
        raise _empty(source.relative)
    if is_binary(line):
        raise InputError(
            "this is not a sheet: its first line holds control characters",
            where=Where(source.relative, above + 1),
            hint="save the sheet again as CSV (UTF-8), or as .xlsx",
        )
    mapped, _ = survey.maps.map_of(source.relative, table)
    delimiter = decide_delimiter(line, table, mapped.headings)
    header, heading_lines = _read_heading_record(line, lines, delimiter, source.relative, above + 1)
    below = [text for text, _ in zip(lines, range(LOOKED_BELOW), strict=False)]
    like = _mapped_like(source.relative, header, _cells(below, delimiter))
    mapped, origin = survey.maps.map_of(like, table)
    headings, faults = read_headings(
        header, above + 1, heading_lines, table, source.relative, below, mapped.headings, origin or ""
    )
    survey.faults += faults
    if faults:
        return
    notes = [text for text in (note, *headings.notes) if text]
    shape = files.measure(path)
    sha256, length = hashed.result()
    survey.sheets.append(
        Sheet(
            file_id=file_id,
            relative=source.relative,
            sheet_name=None,
            table=table,
            sha256=sha256,
            length=length,
            encoding=encoding,
            delimiter=delimiter,
            headings=headings,
            shape=shape,
            text_path=path,
            notes=notes,
            words=mapped.values,
            mapped_by=origin,
        )
    )


def _read_heading_record(
    line: str, lines: Iterator[str], delimiter: str, where: str, line_no: int
) -> tuple[list[str], int]:
    """Return the headings and how many lines they take; a heading in quotation marks may hold line ends."""
    taken = [line]

    def tap() -> Iterator[str]:
        yield line
        for more in lines:
            taken.append(more)
            if len(taken) > LOOKED_BELOW:
                return
            yield more

    try:
        return next(csv.reader(tap(), delimiter=delimiter, strict=True)), len(taken)
    except csv.Error as error:
        raise InputError(
            "the quotation marks in the heading line do not match",
            where=Where(where, line_no),
            hint="close every quotation mark that is opened, or take them all out",
        ) from error


def _look_into_workbook(
    source: files.Source, sha256: str, length: int, by_name: dict[str, Table], survey: Survey
) -> None:
    sheets = workbook.open_sheets(source.path, source.relative)
    errors = workbook.error_cells(source.path)
    filled = [name for name, sheet in sheets.items() if sheet.height]
    if not filled:
        raise _empty(source.relative)
    for name, book_sheet in sheets.items():
        file_id = survey.take_id()
        where = f"{source.relative} [{name}]"
        said = survey.maps.table_of(source.relative, name)
        table_name = files.table_for(name, tuple(by_name)) if said is None else said or None
        if said is None and table_name is None and len(filled) == 1 and name == filled[0]:
            table_name = source.table_name
        if table_name is None:
            survey.ignored.append((file_id, source, name, sha256, length))
            continue
        if name in errors:
            survey.faults.append(workbook.refuse_error_cells(errors[name], where))
            continue
        rows = workbook.sheet_rows(book_sheet)
        first = next((row for row in rows if any(value.strip() for value in row[1])), None)
        if first is None:
            survey.faults.append(_empty(where))
            continue
        line_no, header = first
        cells = [row for (_, row), _ in zip(rows, range(LOOKED_BELOW), strict=False)]
        like = _mapped_like(source.relative, header, cells)
        mapped, origin = survey.maps.map_of(like, by_name[table_name])
        below = ["\t".join(row) for row in cells]
        headings, faults = read_headings(
            header, line_no, 1, by_name[table_name], where, below, mapped.headings, origin or ""
        )
        survey.faults += faults
        if not faults:
            survey.sheets.append(
                Sheet(
                    file_id=file_id,
                    relative=source.relative,
                    sheet_name=name,
                    table=by_name[table_name],
                    sha256=sha256,
                    length=length,
                    encoding=None,
                    delimiter=None,
                    headings=headings,
                    shape=None,
                    text_path=None,
                    book_sheet=book_sheet,
                    notes=list(headings.notes),
                    words=mapped.values,
                    mapped_by=origin,
                )
            )
