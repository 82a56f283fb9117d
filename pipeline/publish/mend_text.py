"""Lay beside each mended row that was taken what changed in it, cell by cell, for `pub_mend`."""

from __future__ import annotations

from pipeline.store import Store
from schemas import Table, layer_tables


def make_mend_text(store: Store) -> None:
    """Make the temporary table `mend_change`: one row per mended row that was taken, with its changes in words.

    Changes are told from the cells as they came. Where either row could not be taken apart into cells there is no
    row, and where nothing differs `changes` is null.
    """
    store.run("CREATE OR REPLACE TEMP TABLE mend_change (path VARCHAR, sheet VARCHAR, line_no BIGINT, changes VARCHAR)")
    mended = {name for (name,) in store.rows("SELECT DISTINCT table_name FROM meta.mend WHERE state = 'applied'")}
    for table in layer_tables("season"):
        if table.name in mended and store.has_table(f"raw.{table.name}"):
            store.run(_changes_sql(table), [*(field.name for field in table.fields), table.name])


def drop_mend_text(store: Store) -> None:
    """Drop what `make_mend_text` made."""
    store.run("DROP TABLE mend_change")


def _changes_sql(table: Table) -> str:
    """Return the statement for one table; all names are declared ones, and each stands again as a parameter."""
    cells = ", ".join(
        f"""CASE WHEN came."{field.name}" IS DISTINCT FROM mended."{field.name}" THEN ? || ': '
            || coalesce(CAST(came."{field.name}" AS VARCHAR), 'blank') || ' → '
            || coalesce(CAST(mended."{field.name}" AS VARCHAR), 'blank') END"""
        for field in table.fields
    )
    return f"""INSERT INTO mend_change
        SELECT mend.path, mend.sheet, mend.line_no, nullif(concat_ws('; ', {cells}), '') AS changes
        FROM meta.mend AS mend
        JOIN raw.{table.name} AS mended ON mended.file_id = mend.file_id AND mended.line_no = mend.line_no
        JOIN meta.file AS file ON file.path = mend.original_path AND file.sheet IS NOT DISTINCT FROM mend.original_sheet
        JOIN raw.{table.name} AS came ON came.file_id = file.file_id AND came.line_no = mend.original_line_no
        WHERE mend.state = 'applied' AND mend.table_name = ?"""
