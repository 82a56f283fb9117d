"""Remember the sheets of earlier loads: which versions there were, what became of them, and their rows.

These tables outlive a load, unlike all others of the store. Loading the same files again adds nothing to them. The
time of a load stands here and in no published table, so that results depend on the sheets alone.
"""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime

from pipeline.ingest.cells import quoted
from pipeline.ingest.sheet import Sheet
from pipeline.store import Store, take_over_copy, write_copy
from schemas import layer_tables
from schemas.store_tables import HISTORY, meta_table_sql

KEPT_VERSIONS = 20
"""How many earlier versions of one sheet keep their rows (our own choice): a weekly sheet of half a year."""

KEPT_ROWS = 2_000_000
"""How many rows of earlier versions are kept in all (our own choice); the rows of the oldest versions go first."""

Place = tuple[str, str]
"""Path of a file, and sheet of the workbook or ''."""


@dataclass(frozen=True)
class Before:
    """What the store held before a load: the hash of each sheet."""

    loaded: dict[Place, str]


def remember(store: Store, sheets: Sequence[Sheet]) -> Before:
    """Keep the rows of sheets that are about to be replaced or are gone; return what was loaded before.

    To be called inside the load's transaction, before its tables are made anew.
    """
    for name in HISTORY:
        store.run(meta_table_sql(name, anew=False))
    if not store.has_table("meta.file"):
        return _remembered(store, sheets)
    now = {_place(sheet): sheet.sha256 for sheet in sheets}
    loaded: dict[Place, str] = {}
    for file_id, path, sheet, table_name, sha256 in store.rows(
        "SELECT file_id, path, coalesce(sheet, ''), table_name, sha256 FROM meta.file "
        "WHERE table_name IS NOT NULL ORDER BY file_id"
    ):
        loaded[path, sheet] = sha256
        if now.get((path, sheet)) != sha256:
            _archive(store, file_id, (path, sheet), table_name, sha256)
    return Before(loaded)


def _remembered(store: Store, sheets: Sequence[Sheet]) -> Before:
    """Return what was loaded before into a store that is lost, or that an older program wrote, as far as it is known.

    The rows of sheets that have changed since are not there to be kept.
    """
    if not store.value("SELECT 1 FROM meta.load_run") and not take_over_copy(store):
        return Before({})
    loaded = {
        (path, sheet): sha256
        for path, sheet, sha256 in store.rows(
            "SELECT path, sheet, sha256 FROM meta.sheet_version "
            "WHERE rows_kept IS NULL OR last_run = (SELECT max(run_no) FROM meta.load_run) "
            "ORDER BY last_run, path, sheet"
        )
    }
    now = {_place(sheet): sheet.sha256 for sheet in sheets}
    for place, sha256 in loaded.items():
        if now.get(place) != sha256:
            store.run(
                "UPDATE meta.sheet_version SET rows_kept = 0 "
                "WHERE path = ? AND sheet = ? AND sha256 = ? AND rows_kept IS NULL",
                [*place, sha256],
            )
    return Before(loaded)


def _place(sheet: Sheet) -> Place:
    return sheet.relative, sheet.sheet_name or ""


def _archive(store: Store, file_id: int, place: Place, table_name: str, sha256: str) -> None:
    names = {"path": place[0], "sheet": place[1], "sha256": sha256}
    known = "FROM meta.archived_row WHERE path = $path AND sheet = $sheet AND sha256 = $sha256"
    tables = {table.name: table for table in layer_tables("season")}
    if table_name not in tables or not store.has_table(f"raw.{table_name}") or store.value(f"SELECT 1 {known}", names):
        return
    key = quoted(tables[table_name].key_column)
    sources = [
        f"SELECT line_no, raw_text, trim({key}) AS row_key FROM raw.{table_name} WHERE file_id = $file_id",
        # What could not be split has its text among the rejects, or in the trail once it was mended.
        "SELECT line_no, raw_text, NULL FROM meta.reject WHERE file_id = $file_id AND line_no IS NOT NULL",
    ]
    if store.has_table("meta.mend"):
        sources += [
            "SELECT line_no, raw_text, NULL FROM meta.mend WHERE file_id = $file_id",
            "SELECT original_line_no, original_text, NULL FROM meta.mend WHERE original_path = $path "
            "AND coalesce(original_sheet, '') = $sheet AND state = 'applied'",
        ]
    store.run(
        "INSERT INTO meta.archived_row "
        "SELECT $path, $sheet, $sha256, $table_name, line_no, max(row_key), max(raw_text) "
        f"FROM ({' UNION ALL '.join(sources)}) AS came(line_no, raw_text, row_key) GROUP BY line_no ORDER BY line_no",
        {**names, "file_id": file_id, "table_name": table_name},
    )
    store.run(
        f"UPDATE meta.sheet_version SET rows_kept = (SELECT count(*) {known}) "
        "WHERE path = $path AND sheet = $sheet AND sha256 = $sha256",
        names,
    )


def record(store: Store, sheets: Sequence[Sheet], before: Before, withdrawn: dict[str, str]) -> None:
    """Write down the versions that are loaded now, and what changed; nothing where no file did.

    `withdrawn` holds the paths in folders for withdrawn sheets by their hash.
    """
    now = {_place(sheet): sheet.sha256 for sheet in sheets}
    inputs = _inputs(now, withdrawn)
    last = store.rows("SELECT run_no, inputs_sha256 FROM meta.load_run ORDER BY run_no DESC LIMIT 1")
    if last and last[0][1] == inputs:
        write_copy(store, inputs)
        return
    run_no = last[0][0] + 1 if last else 1
    store.run(
        "INSERT INTO meta.load_run VALUES (?, ?, ?)",
        [run_no, datetime.now(UTC).replace(tzinfo=None, microsecond=0), inputs],
    )
    known = {(path, sheet) for path, sheet in store.rows("SELECT DISTINCT path, sheet FROM meta.sheet_event")}
    for place in sorted(now.keys() | before.loaded.keys()):
        old, new = before.loaded.get(place), now.get(place)
        if old == new:
            continue
        event = "replaced" if old and new else "withdrawn" if old else "returned" if place in known else "added"
        note = None
        if event == "withdrawn":
            note = f"now in {withdrawn[old or '']}" if old in withdrawn else "no longer in the season folder"
        store.run("INSERT INTO meta.sheet_event VALUES (?, ?, ?, ?, ?, ?, ?)", [run_no, event, *place, old, new, note])
    for sheet in sheets:
        _record_version(store, sheet, run_no)
    _keep_within_bounds(store)
    write_copy(store, inputs)


def _inputs(now: dict[Place, str], withdrawn: dict[str, str]) -> str:
    digest = hashlib.sha256()
    for place, sha256 in sorted(now.items()):
        digest.update("\0".join((*place, sha256, "")).encode())
    for sha256, path in sorted(withdrawn.items()):
        digest.update("\0".join((path, sha256, "withdrawn", "")).encode())
    return digest.hexdigest()


def _record_version(store: Store, sheet: Sheet, run_no: int) -> None:
    key = [*_place(sheet), sheet.sha256]
    same = "path = ? AND sheet = ? AND sha256 = ?"
    if store.value(f"SELECT 1 FROM meta.sheet_version WHERE {same}", key):
        store.run(f"UPDATE meta.sheet_version SET last_run = ? WHERE {same}", [run_no, *key])
        return
    rows_in = store.value("SELECT rows_in FROM meta.file WHERE file_id = ?", [sheet.file_id])
    store.run(
        "INSERT INTO meta.sheet_version VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, NULL)",
        [
            *key,
            sheet.table.name,
            sheet.length,
            rows_in,
            sheet.delimiter or ",",
            [column or "" for column in sheet.headings.columns],
            run_no,
            run_no,
        ],
    )


def _keep_within_bounds(store: Store) -> None:
    """Let go of the rows of the oldest versions where there are too many; that they existed is not forgotten."""
    over = store.rows(
        """
        SELECT path, sheet, sha256 FROM (
            SELECT
                path, sheet, sha256,
                row_number() OVER (PARTITION BY path, sheet ORDER BY last_run DESC, sha256) AS place,
                sum(rows_kept) OVER (ORDER BY last_run DESC, path, sheet, sha256) AS rows
            FROM meta.sheet_version WHERE rows_kept > 0
        ) WHERE place > ? OR rows > ?
        """,
        [KEPT_VERSIONS, KEPT_ROWS],
    )
    for key in over:
        same = "path = ? AND sheet = ? AND sha256 = ?"
        store.run(f"DELETE FROM meta.archived_row WHERE {same}", list(key))
        store.run(f"UPDATE meta.sheet_version SET rows_kept = 0 WHERE {same}", list(key))
