"""Load a season: from the sheets people hand in to typed tables, with an account of every row."""

from __future__ import annotations

import logging
from collections.abc import Callable, Iterable
from pathlib import Path

from pipeline.config import RunConfig
from pipeline.errors import DisagreementError, FaultsError, InputError, Where
from pipeline.ingest import files, mends, versions
from pipeline.ingest.cells import raw_tables_sql
from pipeline.ingest.land import land
from pipeline.ingest.mapping import HeadingMaps
from pipeline.ingest.sheet import Landed, Sheet
from pipeline.ingest.stage import stage, staged_tables_sql
from pipeline.ingest.survey import Survey, look_through
from pipeline.store import StepResult, Store, scratch_folder
from pipeline.turns import quick_turns
from schemas import Table, layer_tables
from schemas.store_tables import meta_table_sql

log = logging.getLogger(__name__)

NOT_OURS = "not a sheet of ours: ignored"
WITHDRAWN = "withdrawn: listed, not loaded"

_META_TABLES = ("file", "sheet_layout", "reject", "mend", "replaced")
"""The accounts that each load makes anew."""


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
        survey = look_through(config, tables, folder)
        if survey.faults:
            raise FaultsError(survey.faults)
        if meanwhile is not None:
            meanwhile()
        with store.transaction(), quick_turns():
            return _load_all(store, survey, tables, folder, config)


def _load_all(
    store: Store, survey: Survey, tables: tuple[Table, ...], folder: Path, config: RunConfig
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


def _list_maps(store: Store, survey: Survey, season: Path) -> None:
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
