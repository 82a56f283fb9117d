"""Write rows that were set aside, and rows accepted with a finding, so that they can be mended and put back."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Mapping, Sequence
from itertools import groupby
from pathlib import Path, PurePosixPath
from typing import Any

from pipeline.config import RunConfig
from pipeline.formulas import spreadsheet_safe
from pipeline.publish.mend_sheets import layout_of, mend_name
from pipeline.store import Store
from pipeline.store.database import named_sql

REASONS = "reasons.csv"
REVIEW = "accepted_with_findings"
"""The folder of rows that are accepted all the same."""

_COLUMNS = (
    "file", "sheet", "line", "quarantine_file", "quarantine_line", "column", "value", "reason", "remedy", "found_on",
)  # fmt: skip
_FOUND_ON = {"load": "reading", "check": "checking"}


def write_quarantine(config: RunConfig, store: Store, folder: Path) -> int:
    """Write a CSV for each sheet with rows set aside, `reasons.csv`, and a CSV for each with rows to look at again.

    A CSV has the remark columns of `schemas.remarks`, then the original headings and the text of its rows as it
    came; it is in UTF-8 whatever the sheet was in. Return how many rows were set aside.

    Raises
    ------
    InputError
        A sheet with such rows is gone or has changed since it was loaded.
    """
    taken = {PurePosixPath(path).name.casefold() for (path,) in store.rows("SELECT path FROM meta.file")}
    reasons = io.StringIO()
    table = csv.writer(reasons, lineterminator="\n")
    table.writerow(_COLUMNS)
    count = 0
    for name, line, row in _write_sheets(config, store.records(named_sql("pipeline.publish", "quarantine")), folder,
                                         "mend", taken):  # fmt: skip
        table.writerow(_reason(row, name, line))
        count += 1
    (folder / REASONS).write_text(reasons.getvalue(), encoding="utf-8", newline="")
    for _ in _write_sheets(config, _with_findings(store), folder / REVIEW, "review", taken):
        pass
    return count


def _write_sheets(
    config: RunConfig, rows: Sequence[Mapping[str, Any]], folder: Path, kind: str, taken: set[str]
) -> Iterable[tuple[str, int, Mapping[str, Any]]]:
    """Write the rows of each file; yield the name of the sheet written, the line, and the row, in their order."""
    for _, group in groupby(rows, key=lambda row: row["file_id"]):
        # A quotation mark that is not closed would swallow the rows under it in a spreadsheet program.
        some = sorted(group, key=lambda row: (row["raw_text"] or "").count('"') % 2)
        name = mend_name(some[0], kind, taken)
        target = folder / name
        target.parent.mkdir(parents=True, exist_ok=True)
        layout = layout_of(config.season / some[0]["path"], some[0])
        text = [layout.first_line()]
        line = 1 + text[0].count(layout.newline)
        for row in some:
            text.append(layout.row(row))
            yield name, line, row
            line += text[-1].count(layout.newline)
        target.write_text("".join(text), encoding="utf-8", newline="")


def _reason(row: Mapping[str, Any], name: str, line: int) -> tuple[Any, ...]:
    cells = (
        row["path"], row["sheet"], row["line_no"], name, line, row["column_name"],
        row["value"], row["reason"], row["remedy"], _FOUND_ON[row["stage"]],
    )  # fmt: skip
    # Unlike the rows themselves, this list is not read again: it is for spreadsheets only.
    return tuple(spreadsheet_safe(cell) if isinstance(cell, str) else cell for cell in cells)


def _with_findings(store: Store) -> list[dict[str, Any]]:
    """Return the accepted rows of which a finding says that they should be mended or decided on, by file and line."""
    findings = "SELECT * FROM meta.finding"
    if store.has_table("meta.ruling_finding"):
        findings += " UNION ALL BY NAME SELECT * FROM meta.ruling_finding"
    findings = f"SELECT * FROM ({findings}) WHERE severity = 'warn' AND row_id IS NOT NULL"
    found: list[dict[str, Any]] = []
    if not store.has_table("meta.finding"):
        return found
    for (name,) in store.rows(f"SELECT DISTINCT table_name FROM ({findings}) ORDER BY 1 NULLS LAST"):
        found += store.records(
            f"""
            WITH told AS (
                SELECT
                    row_id,
                    string_agg(DISTINCT column_name, ', ' ORDER BY column_name) AS column_name,
                    string_agg(message, '; ' ORDER BY finding_id) AS reason,
                    string_agg(DISTINCT remedy, '; ' ORDER BY remedy) AS remedy
                FROM ({findings}) WHERE table_name = $name GROUP BY row_id
            )
            SELECT
                file_id, file.path, file.sheet, file.table_name, file.sha256, file.encoding, file.delimiter,
                file.header_lines, line_no, told.column_name, told.reason, told.remedy, raw.raw_text
            FROM told
            JOIN checked."{name}" AS checked USING (row_id)
            JOIN meta.file AS file USING (file_id)
            JOIN raw."{name}" AS raw USING (file_id, line_no)
            """,
            {"name": name},
        )
    return sorted(found, key=lambda row: (row["file_id"], row["line_no"]))
