"""Load a season: from the sheets people hand in to typed tables, with an account of every row."""

from __future__ import annotations

import contextlib
import csv
import logging
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import Executor, Future, ThreadPoolExecutor
from dataclasses import dataclass, field, replace
from pathlib import Path

from pipeline.config import RunConfig
from pipeline.errors import DisagreementError, FaultsError, InputError, PlateworkError, Where
from pipeline.ingest import files, mends, versions, workbook
from pipeline.ingest.cells import raw_tables_sql
from pipeline.ingest.headings import decide_delimiter, is_binary, read_headings
from pipeline.ingest.land import land
from pipeline.ingest.mapping import HeadingMaps
from pipeline.ingest.sheet import Landed, Sheet
from pipeline.ingest.stage import stage, staged_tables_sql
from pipeline.store import StepResult, Store, scratch_folder
from pipeline.turns import quick_turns
from schemas import Table, layer_tables
from schemas.remarks import FILE, LINE
from schemas.store_tables import meta_table_sql

log = logging.getLogger(__name__)

NOT_OURS = "not a sheet of ours: ignored"
WITHDRAWN = "withdrawn: listed, not loaded"
LOOKED_BELOW = 20
"""How many lines under the first are looked through for misplaced headings."""

_META_TABLES = ("file", "sheet_layout", "reject", "mend", "replaced")
"""The accounts that each load makes anew."""


@dataclass
class _Survey:
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


def load_season(config: RunConfig, store: Store, meanwhile: Callable[[], None] | None = None) -> StepResult:
    """Read every sheet of the season folder into `raw.*` and `staged.*`, in one transaction.

    Rows that cannot be split or typed go to `meta.reject`, each with file, line, reason and remedy;
    `meta.file` holds the account of every file. `meanwhile` is called once all sheets are known to be readable, to
    begin what may go on beside the loading.

    Raises
    ------
    FaultsError
        Sheets are missing, unreadable, or have headings that are not understood; all such faults at once.
    DisagreementError
        The rows of a file do not add up, which is a fault of this program.
    """
    tables = layer_tables("season")
    with scratch_folder(config.out) as folder:
        survey = _look_through(config, tables, folder)
        present = {sheet.table.name for sheet in survey.sheets}
        # A sheet that is there but at fault is not also missing.
        at_fault = {str(fault.where.path) for fault in survey.faults if fault.where}
        faulty = {
            survey.maps.table_of(path, None) or files.table_for(Path(path).stem, _names(tables)) for path in at_fault
        }
        if not survey.maps.faults:
            # Where a headings file is at fault, nobody knows what is missing.
            survey.faults += files.missing_tables(present | {name for name in faulty if name}, config.season)
        if survey.faults:
            raise FaultsError(survey.faults)
        if meanwhile is not None:
            meanwhile()
        with store.transaction(), quick_turns():
            return _load_all(store, survey, tables, folder, config)


def _names(tables: tuple[Table, ...]) -> tuple[str, ...]:
    return tuple(table.name for table in tables)


def _look_through(config: RunConfig, tables: tuple[Table, ...], folder: Path) -> _Survey:
    """Find the sheets and read their headings, noting every fault instead of stopping at the first."""
    by_name = {table.name: table for table in tables}
    survey = _Survey(HeadingMaps(config.season, by_name))
    names = _names(tables)
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
    return survey


def _look_into(
    source: files.Source, by_name: dict[str, Table], folder: Path, survey: _Survey, beside: Executor
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
    source: files.Source, hashed: Future[tuple[str, int]], table: Table, folder: Path, survey: _Survey
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
    source: files.Source, sha256: str, length: int, by_name: dict[str, Table], survey: _Survey
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


def _load_all(
    store: Store, survey: _Survey, tables: tuple[Table, ...], folder: Path, config: RunConfig
) -> StepResult:
    before = versions.remember(store, survey.sheets)
    for account in _META_TABLES:
        store.run(meta_table_sql(account))
    for table in tables:
        headings = [sheet.headings.columns for sheet in survey.sheets if sheet.table.name == table.name]
        present = {column for columns in headings for column in columns if column is not None}
        for statement in (*raw_tables_sql(table, present), *staged_tables_sql(table, present)):
            store.run(statement)
        if store.has_table(f"checked.{table.name}"):
            # It is a view of the staged rows, and none of these is checked yet.
            store.run(f"CREATE OR REPLACE VIEW checked.{table.name} AS SELECT * FROM staged.{table.name} LIMIT 0")
    rows_in = 0
    first_with: dict[tuple[str, str | None], str] = {}
    for sheet in _with_progress(survey.sheets, config):
        landed = land(store, sheet, folder)
        _refuse_other_map(sheet, survey.maps)
        staged, set_aside = stage(store, sheet, config.policy.date_order)
        _settle(sheet, landed, staged, set_aside, first_with)
        _write_file(store, sheet, landed, staged)
        rows_in += landed.rows_in
    mends.apply_mends(store, survey.sheets)
    for file_id, source, name, sha256, length in survey.ignored:
        note = WITHDRAWN if source.is_withdrawn else NOT_OURS
        log.info("%s%s: %s", source.relative, f" [{name}]" if name else "", note)
        store.run(
            "INSERT INTO meta.file (file_id, path, sheet, sha256, bytes, rows_in, rows_blank, rows_staged, "
            "rows_rejected, rows_replaced, notes) VALUES (?, ?, ?, ?, ?, 0, 0, 0, 0, 0, ?)",
            [file_id, source.relative, name, sha256, length, note],
        )
    _list_maps(store, survey, config.season)
    _refuse_empty_season(store, config.season)
    versions.record(store, survey.sheets, before, survey.withdrawn)
    rows_out, rejected, replaced = store.rows(
        "SELECT coalesce(sum(rows_staged), 0), coalesce(sum(rows_rejected), 0), coalesce(sum(rows_replaced), 0) "
        "FROM meta.file"
    )[0]
    return StepResult(
        "load",
        rows_in,
        int(rows_out),
        notes={
            "files": len({sheet.relative for sheet in survey.sheets}),
            "rejected": int(rejected),
            "replaced": int(replaced),
        },
    )


def _refuse_other_map(sheet: Sheet, maps: HeadingMaps) -> None:
    """Stop where mended rows are not in the units and words of the headings file that is used for their sheet.

    Raises
    ------
    FaultsError
        The rows name sheets for which another headings file holds, or none.
    """
    others = {mend.file for mend in sheet.mends if mend.file}
    strange = sorted(name for name in others if maps.map_of(name, sheet.table)[1] != sheet.mapped_by)
    if strange:
        raise FaultsError([
            InputError(
                f"the rows of {strange[0]} are read by another headings file than the others in this sheet",
                where=Where(sheet.relative),
                hint="put the mended rows of each sheet into a file of their own",
            )
        ])  # fmt: skip


def _list_maps(store: Store, survey: _Survey, season: Path) -> None:
    """Write the headings files beside the sheets, so that what was read by them can be told from what was not."""
    for relative, is_used in survey.maps.files():
        sha256, length = files.hash_file(season / relative, relative)
        note = "headings file: says what headings and words stand for" if is_used else "headings file: no sheet uses it"
        store.run(
            "INSERT INTO meta.file (file_id, path, sha256, bytes, rows_in, rows_blank, rows_staged, "
            "rows_rejected, rows_replaced, notes) VALUES (?, ?, ?, ?, 0, 0, 0, 0, 0, ?)",
            [survey.take_id(), relative, sha256, length, note],
        )


def _with_progress(sheets: list[Sheet], config: RunConfig) -> Iterable[Sheet]:
    if not config.show_progress:
        return sheets
    from tqdm import tqdm

    return tqdm(sheets, desc="load", unit="sheet", leave=False)


def _settle(
    sheet: Sheet, landed: Landed, staged: int, set_aside: int, first_with: dict[tuple[str, str | None], str]
) -> None:
    """Check that the rows of a sheet add up, and write down what is worth knowing about it."""
    set_aside += landed.rows_broken
    if landed.rows_in != staged + set_aside:
        raise DisagreementError(
            f"{landed.rows_in} rows came in, but {staged} were staged and {set_aside} set aside",
            where=Where(sheet.relative),
            hint="this is a fault of the program: report it with the sheet",
        )
    if landed.example_rows:
        sheet.notes.append(f"example rows passed over: {landed.example_rows}")
    if not landed.rows_in:
        sheet.notes.append("no rows below the headings")
    twin = first_with.setdefault((sheet.sha256, sheet.sheet_name), sheet.relative)
    if twin != sheet.relative:
        sheet.notes.append(f"same content as {twin}")


def _write_file(store: Store, sheet: Sheet, landed: Landed, staged: int) -> None:
    store.run(
        "INSERT INTO meta.file VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, 0, ?)",
        [
            sheet.file_id,
            sheet.relative,
            sheet.sheet_name,
            sheet.table.name,
            sheet.sha256,
            sheet.length,
            sheet.encoding,
            sheet.delimiter,
            landed.line_count,
            sheet.headings.line_count,
            landed.rows_in,
            landed.rows_blank,
            staged,
            landed.rows_in - staged,
            "; ".join(sheet.notes) or None,
        ],
    )


def _refuse_empty_season(store: Store, season: Path) -> None:
    """Stop where the sheets are there but hold nothing: every further step would only repeat it.

    Raises
    ------
    FaultsError
        Umpires, games, or both calls and quiz responses have no row at all.
    """
    came = dict(store.rows("SELECT table_name, sum(rows_in) FROM meta.file GROUP BY table_name"))
    filled = {name for name, rows in came.items() if name and rows}
    if faults := files.missing_rows(filled, season):
        raise FaultsError(faults)
