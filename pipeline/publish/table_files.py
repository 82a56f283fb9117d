"""Write the published tables as files: CSV for spreadsheets, Parquet exact, one workbook, and what describes them."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from pipeline.formulas import spreadsheet_safe_sql
from pipeline.publish.data_package import write_descriptor
from pipeline.publish.declared import key_order
from pipeline.publish.workbook import write_workbook
from pipeline.store import Store
from schemas import Field, Table


def write_tables(store: Store, tables: Sequence[Table], folder: Path, title: str = "") -> None:
    """Write `<table>.csv` and `<table>.parquet` for each table, `season.xlsx`, and `datapackage.json` for all of them.

    `title` is what the season is called.
    """
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
    rows = {table.name: int(store.value(f"SELECT count(*) FROM published.{table.name}")) for table in tables}
    write_workbook(store, tables, rows, title, folder / "season.xlsx")
    write_descriptor(folder, tables, rows, title)


def _quoted(path: Path) -> str:
    return str(path).replace("'", "''")


def _spreadsheet_safe(field: Field) -> str:
    """Return the column such that no spreadsheet takes a text cell for a formula."""
    column = f'"{field.name}"'
    if field.type != "string":
        return column
    return f"{spreadsheet_safe_sql(column)} AS {column}"
