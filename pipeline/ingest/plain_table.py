"""Read a table of the caller's own making (any headings) as text, each row with its line."""

from __future__ import annotations

import csv
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from pipeline.errors import FaultsError, InputError, PlateworkError, Where
from pipeline.ingest.files import decide_encoding
from pipeline.ingest.headings import nearest

FAULTS_SHOWN = 20


@dataclass(frozen=True)
class PlainTable:
    """A table as text: headings, and for each row that is not blank its line and its cells, trimmed."""

    path: Path
    names: tuple[str, ...]
    lines: tuple[int, ...]
    rows: tuple[list[str], ...]

    def place(self, name: str, option: str) -> int:
        """Return the number of a column that the caller named by an option.

        Raises
        ------
        InputError
            There is no such column; the nearest heading is named.
        """
        if name in self.names:
            return self.names.index(name)
        near = nearest(name, self.names)
        meant = f"did you mean {near!r}? " if near else ""
        raise InputError(
            f"there is no column {name!r} for {option}",
            where=Where(self.path, 1),
            hint=f"{meant}the columns are {', '.join(self.names[:12])}{' …' if len(self.names) > 12 else ''}",
        )

    def column(self, place: int) -> list[str]:
        """Return the cells of one column."""
        return [row[place] for row in self.rows]

    def fault(self, row: int, place: int, message: str, hint: str) -> InputError:
        """Make the error of one cell, with its line and heading."""
        return InputError(message, where=Where(self.path, self.lines[row], self.names[place]), hint=hint)


def refuse(faults: Sequence[PlateworkError]) -> None:
    """Raise the faults found, if any; a long list is cut, and says so.

    Raises
    ------
    FaultsError
        There are faults.
    """
    if not faults:
        return
    shown = list(faults[:FAULTS_SHOWN])
    if len(faults) > len(shown):
        shown.append(InputError(f"and {len(faults) - len(shown):,} more of this kind"))
    raise FaultsError(shown)


def read_plain_table(path: Path) -> PlainTable:
    """Read a CSV with a header; comma, semicolon, tab or bar between cells, whichever the header has most of.

    Raises
    ------
    InputError
        There is no such file, it is empty or has no row below the header, or a heading is blank or stands twice.
    FaultsError
        Rows with too few or too many cells, each with its line.
    """
    if not path.is_file():
        raise InputError("there is no such file", where=Where(path), hint="give a CSV file with a header")
    encoding, _ = decide_encoding(path, str(path))
    with path.open(encoding=encoding, newline="") as stream:
        first = stream.readline().lstrip("\ufeff")
        if not first.strip():
            raise InputError("the file is empty", where=Where(path), hint="give a CSV file with a header")
        stream.seek(0)
        reader = csv.reader(stream, delimiter=max(",;\t|", key=first.count))
        names = tuple(name.strip().lstrip("\ufeff") for name in next(reader))
        lines, rows = [], []
        following = reader.line_num + 1
        for cells in reader:
            line, following = following, reader.line_num + 1
            trimmed = [cell.strip() for cell in cells]
            # In a table of one column a blank line is a row with a blank cell.
            if any(trimmed) or (len(names) == 1 and not cells):
                lines.append(line)
                rows.append(trimmed if trimmed else [""])
    _check_names(path, names)
    refuse(
        [
            InputError(
                f"the row has {len(row)} cells, the header {len(names)}",
                where=Where(path, line),
                hint="mend the commas, or put quotes around a cell that holds one",
            )
            for line, row in zip(lines, rows, strict=True)
            if len(row) != len(names)
        ]
    )
    if not rows:
        raise InputError("there is no row below the header", where=Where(path), hint="give the rows too")
    return PlainTable(path, names, tuple(lines), tuple(rows))


def _check_names(path: Path, names: tuple[str, ...]) -> None:
    for place, name in enumerate(names):
        if not name:
            raise InputError(
                f"the heading of column {place + 1} is blank",
                where=Where(path, 1),
                hint="give each column a name; a column of row numbers can be named and given by an option",
            )
        if name in names[:place]:
            raise InputError(
                f"the heading {name!r} stands twice", where=Where(path, 1), hint="give each column a name of its own"
            )
