"""Write the rows that were set aside, exactly as they came, so that they can be mended and loaded again."""

from __future__ import annotations

import csv
import hashlib
import io
import re
from collections.abc import Iterator, Mapping
from itertools import groupby
from pathlib import Path, PurePosixPath
from typing import Any

from pipeline.config import RunConfig
from pipeline.errors import InputError, Where
from pipeline.store import Store
from pipeline.store.database import named_sql

REASONS = "reasons.csv"
_COLUMNS = (
    "file", "sheet", "line", "quarantine_file", "quarantine_line", "column", "value", "reason", "remedy", "found_on",
)  # fmt: skip
_FOUND_ON = {"load": "reading", "check": "checking"}


def write_quarantine(config: RunConfig, store: Store, folder: Path) -> int:
    """Write one CSV for each sheet with rows set aside, and `reasons.csv`; return how many rows there are.

    A file keeps the original headings and the text of its rows; it is in UTF-8 whatever the sheet was in. A
    sheet of a workbook becomes a CSV whose name begins with its table, so that it is recognised.

    Raises
    ------
    InputError
        A sheet with rows set aside is gone or has changed since it was loaded.
    """
    reasons = io.StringIO()
    table = csv.writer(reasons, lineterminator="\n")
    table.writerow(_COLUMNS)
    count = 0
    rejects = store.records(named_sql("pipeline.publish", "quarantine"))
    for _, group in groupby(rejects, key=lambda row: row["file_id"]):
        rows = list(group)
        name = quarantine_name(rows[0])
        target = folder / name
        target.parent.mkdir(parents=True, exist_ok=True)
        heading, newline = _heading(config.season / rows[0]["path"], rows[0])
        text = [heading + newline]
        line = 1 + _line_ends(text[0], newline)
        for row in rows:
            raw = (row["raw_text"] or "").rstrip("\r\n")
            text.append(raw + newline)
            table.writerow(_reason(row, name, line))
            line += _line_ends(text[-1], newline)
            count += 1
        target.write_text("".join(text), encoding="utf-8", newline="")
    (folder / REASONS).write_text(reasons.getvalue(), encoding="utf-8", newline="")
    return count


def _line_ends(text: str, newline: str) -> int:
    return text.count(newline)


def _reason(row: Mapping[str, Any], name: str, line: int) -> tuple[Any, ...]:
    return (
        row["path"], row["sheet"], row["line_no"], name, line, row["column_name"],
        row["value"], row["reason"], row["remedy"], _FOUND_ON[row["stage"]],
    )  # fmt: skip


def quarantine_name(row: Mapping[str, Any]) -> str:
    """Return the path within the quarantine for one sheet: that of the file, or a CSV's for a workbook's sheet."""
    path = PurePosixPath(row["path"])
    if row["sheet"] is None:
        return str(path)
    parts = (row["table_name"], _plain(path.stem), _plain(row["sheet"]), str(row["file_id"]))
    return str(path.with_name("-".join(parts) + ".csv"))


def _plain(text: str) -> str:
    return re.sub(r"[^A-Za-z0-9_]+", "_", text)


def _heading(path: Path, row: Mapping[str, Any]) -> tuple[str, str]:
    """Return the heading of a sheet as it stands there, and the line ending used after it."""
    if not path.is_file() or _hash(path) != row["sha256"]:
        raise InputError(
            "the sheet has changed since it was loaded, so its rows cannot be set aside under its headings",
            where=Where(row["path"]),
            hint="run the whole season again with `platework run`",
        )
    if row["sheet"] is not None:
        return _workbook_heading(path, row["sheet"]), "\n"
    return _text_heading(path, row["encoding"] or "utf-8", row["header_lines"] or 1)


def _hash(path: Path) -> str:
    digest = hashlib.sha256()
    with path.open("rb") as stream:
        while chunk := stream.read(1 << 20):
            digest.update(chunk)
    return digest.hexdigest()


def _text_heading(path: Path, encoding: str, lines: int) -> tuple[str, str]:
    with path.open(encoding="utf-8-sig" if encoding.startswith("utf-8") else encoding, newline="") as stream:
        taken = ""
        for line in _from_first_filled(iter(stream)):
            taken += line
            lines -= 1
            if not lines:
                break
    heading = taken.rstrip("\r\n")
    return heading, taken[len(heading) :] or "\n"


def _from_first_filled(lines: Iterator[str]) -> Iterator[str]:
    for line in lines:
        if line.strip(" \t\r\n,;|"):
            yield line
            yield from lines


def _workbook_heading(path: Path, sheet: str) -> str:
    from python_calamine import CalamineWorkbook

    for cells in CalamineWorkbook.from_path(path).get_sheet_by_name(sheet).iter_rows():
        texts = [str(cell) for cell in cells]
        if any(text.strip() for text in texts):
            line = io.StringIO()
            csv.writer(line, lineterminator="").writerow(texts)
            return line.getvalue()
    return ""
