"""Put mended rows in the place of the rows they stand for, and keep a trail of it in `meta.mend`.

A row is replaced only where that is certain: the row named is there, and is as it was when it was handed back.
Any other mended row is set aside, so that nothing is changed in silence.
"""

from __future__ import annotations

import functools
from collections.abc import Sequence
from typing import Any

from pipeline.errors import DisagreementError, Where
from pipeline.ingest.cells import quoted
from pipeline.ingest.mend_verdict import HELD, Key, Mend, Original, compared, gone_rows, placed, settled
from pipeline.ingest.sheet import Sheet
from pipeline.store import Store


def apply_mends(store: Store, sheets: Sequence[Sheet]) -> None:
    """Decide on every mended row of the landed and staged `sheets`, and carry it out.

    Rows that are replaced leave `staged.*` and `meta.reject`, but stay in `raw.*`; the counts of `meta.file` follow.

    Raises
    ------
    DisagreementError
        The rows of a file no longer add up, which is a fault of this program.
    """
    mends = _standing(store, [Mend(sheet, row) for sheet in sheets for row in sheet.mends])
    if not mends:
        return
    by_place = {(sheet.relative, sheet.sheet_name or ""): sheet for sheet in sheets}
    mends = [placed(mend, by_place) for mend in mends]
    originals = _originals(store, mends)
    mends = settled([compared(mend, originals, functools.partial(_lines_with, store)) for mend in mends])
    _set_aside(store, [mend for mend in mends if mend.state not in HELD])
    _replace(store, mends)
    _write_trail(store, mends)
    _note_unmarked(store)
    _recount(store)


def _standing(store: Store, mends: list[Mend]) -> list[Mend]:
    """Leave out rows that were taken out as examples: they say nothing."""
    if not mends:
        return []
    found: set[Key] = set()
    for table in sorted({mend.sheet.table.name for mend in mends}):
        ids = sorted({mend.sheet.file_id for mend in mends if mend.sheet.table.name == table})
        found |= {
            (file_id, line_no)
            for file_id, line_no in store.rows(
                f"SELECT file_id, line_no FROM raw.{table} WHERE list_contains($ids, file_id) "
                "UNION ALL SELECT file_id, line_no FROM meta.reject WHERE list_contains($ids, file_id)",
                {"ids": ids},
            )
        }
    return [mend for mend in mends if mend.key in found]


def _originals(store: Store, mends: list[Mend]) -> dict[Key, Original]:
    found: dict[Key, Original] = {}
    tables = {mend.sheet.table.name: mend.sheet.table for mend in mends if mend.target}
    for name, table in sorted(tables.items()):
        keys = sorted({mend.target for mend in mends if mend.target and mend.sheet.table.name == name})
        store.run(
            "CREATE OR REPLACE TEMP TABLE mend_target AS "
            "SELECT unnest(?::INTEGER[]) AS file_id, unnest(?::BIGINT[]) AS line_no",
            [[key[0] for key in keys], [key[1] for key in keys]],
        )
        columns = ", ".join(quoted(column) for column in table.field_names)
        reasons = {
            (file_id, line_no): (reason, text)
            for file_id, line_no, reason, text in store.rows(
                "SELECT file_id, line_no, reason, raw_text FROM meta.reject SEMI JOIN mend_target "
                "USING (file_id, line_no)"
            )
        }
        for key, (reason, text) in reasons.items():
            found[key] = Original(text, None, reason)
        for file_id, line_no, text, *cells in store.rows(
            f"SELECT file_id, line_no, raw_text, {columns} FROM raw.{name} SEMI JOIN mend_target "
            "USING (file_id, line_no)"
        ):
            key = (file_id, line_no)
            values = {c: (v or "").strip() for c, v in zip(table.field_names, cells, strict=True)}
            found[key] = Original(text, values, reasons.get(key, (None, ""))[0])
        store.run("DROP TABLE mend_target")
    return found


def _lines_with(store: Store, mend: Mend) -> list[int]:
    """Return the lines of the named sheet in which the row stands now that was handed back."""
    if not mend.row.was or mend.target is None:
        return []
    marked = "'r' || left(sha256(raw_text), 12) = $was AND file_id = $file_id"
    return sorted(
        line_no
        for (line_no,) in store.rows(
            f"SELECT line_no FROM raw.{mend.sheet.table.name} WHERE {marked} "
            f"UNION SELECT line_no FROM meta.reject WHERE {marked}",
            {"was": mend.row.was, "file_id": mend.target[0]},
        )
    )


def _insert(store: Store, table: str, types: str, rows: Sequence[tuple[Any, ...]]) -> None:
    """Insert rows whose columns have the types named, in one statement."""
    if rows:
        unnested = ", ".join(f"unnest(?::{kind}[])" for kind in types.split())
        store.run(f"INSERT INTO {table} SELECT {unnested}", [list(column) for column in zip(*rows, strict=True)])


def _take(store: Store, tables: Sequence[str], keys: Sequence[Key]) -> None:
    """Take rows out of tables that have `file_id` and `line_no`."""
    store.run(
        "CREATE OR REPLACE TEMP TABLE taken AS SELECT unnest(?::INTEGER[]) AS file_id, unnest(?::BIGINT[]) AS line_no",
        [[key[0] for key in keys], [key[1] for key in keys]],
    )
    for table in tables:
        store.run(
            f"DELETE FROM {table} AS gone USING taken "
            "WHERE gone.file_id = taken.file_id AND gone.line_no = taken.line_no"
        )
    store.run("DROP TABLE taken")


def _set_aside(store: Store, mends: list[Mend]) -> None:
    for name in sorted({mend.sheet.table.name for mend in mends}):
        some = [mend for mend in mends if mend.sheet.table.name == name]
        _take(store, (f"staged.{name}_row", "meta.reject"), [mend.key for mend in some])
        _insert(
            store,
            "meta.reject",
            "INTEGER VARCHAR VARCHAR BIGINT VARCHAR VARCHAR VARCHAR VARCHAR VARCHAR VARCHAR",
            [
                (m.sheet.file_id, m.sheet.relative, name, m.row.line_no, None, None, m.reason, m.remedy,
                 m.row.raw_text, "load")
                for m in some
            ],
        )  # fmt: skip


def _replace(store: Store, mends: list[Mend]) -> None:
    """Take out the rows for which another stands, and write down which one that is."""
    gone: dict[Key, tuple[str, tuple[int | None, int | None]]] = {
        key: (mend.sheet.table.name, stands) for key, (stands, mend) in gone_rows(mends).items()
    }
    for mend in mends:
        if mend.state == "dropped":
            # Nothing stands for a row that drops another.
            gone.setdefault(mend.key, (mend.sheet.table.name, (None, None)))
    for name in sorted({name for name, _ in gone.values()}):
        _take(store, (f"staged.{name}_row", "meta.reject"), [key for key, (table, _) in gone.items() if table == name])
    _insert(
        store,
        "meta.replaced",
        "INTEGER BIGINT VARCHAR INTEGER BIGINT",
        [(*key, name, *by) for key, (name, by) in sorted(gone.items())],
    )


def _write_trail(store: Store, mends: list[Mend]) -> None:
    rows = []
    for mend in mends:
        row, original = mend.row, mend.original
        reason = (original.reason if original else None) or row.told_reason or None
        rows.append((
            mend.state, mend.sheet.table.name, mend.sheet.file_id, mend.sheet.relative, mend.sheet.sheet_name,
            row.line_no, row.raw_text, row.file or None, row.sheet or None, row.target_line,
            original.raw_text if original else None, reason, bool(row.was), mend.reason,
        ))  # fmt: skip
    _insert(
        store,
        "meta.mend",
        "VARCHAR VARCHAR INTEGER VARCHAR VARCHAR BIGINT VARCHAR VARCHAR VARCHAR BIGINT VARCHAR VARCHAR BOOLEAN VARCHAR",
        rows,
    )


def _note_unmarked(store: Store) -> None:
    """Note for each sheet how many of its rows were taken though nobody can tell whether the original changed."""
    store.run(
        """
        UPDATE meta.file
        SET notes = concat_ws('; ', notes, 'mended rows taken without a mark under #was: ' || taken.rows)
        FROM (
            SELECT file_id, count(*) AS rows FROM meta.mend WHERE state = 'applied' AND NOT is_checked GROUP BY file_id
        ) AS taken
        WHERE file.file_id = taken.file_id
        """
    )


def _recount(store: Store) -> None:
    """Bring the account of each file up to date and see that it still adds up."""
    names = [row[0] for row in store.rows("SELECT DISTINCT table_name FROM meta.file WHERE table_name IS NOT NULL")]
    union = " UNION ALL ".join(f"SELECT file_id FROM staged.{name}" for name in sorted(names))
    store.run(
        "UPDATE meta.file SET "
        f"rows_staged = (SELECT count(*) FROM ({union}) AS staged WHERE staged.file_id = file.file_id), "
        "rows_rejected = (SELECT count(*) FROM meta.reject WHERE reject.file_id = file.file_id), "
        "rows_replaced = (SELECT count(*) FROM meta.replaced WHERE replaced.file_id = file.file_id) "
        "WHERE table_name IS NOT NULL"
    )
    faults = store.rows(
        "SELECT path, rows_in, rows_staged, rows_rejected, rows_replaced FROM meta.file "
        "WHERE table_name IS NOT NULL AND rows_in <> rows_staged + rows_rejected + rows_replaced ORDER BY path"
    )
    if faults:
        path, came, staged, rejected, replaced = faults[0]
        raise DisagreementError(
            f"{came} rows came in, but {staged} were staged, {rejected} set aside and {replaced} replaced",
            where=Where(path),
            hint="this is a fault of the program: report it with the sheets",
        )
