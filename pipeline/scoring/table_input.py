"""From a plain table to the numbers of a model: columns are named by the caller, misfits are named with their line."""

from __future__ import annotations

import difflib
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd

from pipeline.errors import InputError, Where
from pipeline.scoring.design import Codes, Floats

BLANKS = ("", "NA")
LINES_SHOWN = 5
_KNOWN_PAIRS = (
    ("0", "1"),
    ("no", "yes"),
    ("n", "y"),
    ("false", "true"),
    ("f", "t"),
    ("wrong", "right"),
    ("incorrect", "correct"),
    ("fail", "pass"),
)


@dataclass(frozen=True)
class PlainTable:
    """Columns of text by name.

    Attributes
    ----------
    columns
        Equally long; an empty cell or `NA` is a blank.
    lines
        Line of each row in the file, for messages.
    source
        Name of the file, for messages.
    """

    columns: Mapping[str, pd.Series]
    lines: Codes
    source: Path | str = "table"

    @classmethod
    def of(cls, columns: Mapping[str, Sequence[object]], source: Path | str = "table") -> PlainTable:
        """Return the table of columns in memory (lists, arrays, a data frame); the first row is line 2."""
        text = {str(name): _as_text(columns[name]) for name in columns}
        lengths = {len(column) for column in text.values()}
        if len(lengths) > 1:
            raise InputError("the columns differ in length", where=Where(source), hint="give columns of one length")
        return cls(text, np.arange(2, 2 + (lengths.pop() if lengths else 0), dtype=np.int64), source)

    def column(self, name: str) -> pd.Series:
        """Return a column, or say which there are."""
        if name not in self.columns:
            near = difflib.get_close_matches(name, list(self.columns), n=1)
            hint = f"did you mean {near[0]!r}? " if near else ""
            raise InputError(
                f"there is no column {name!r}",
                where=Where(self.source, 1),
                hint=f"{hint}the columns are: {', '.join(self.columns)}",
            )
        return self.columns[name]

    def lines_of(self, bad: np.ndarray) -> str:
        """Return the lines of the rows marked in `bad`, as words."""
        lines = self.lines[np.flatnonzero(bad)]
        shown = ", ".join(str(line) for line in lines[:LINES_SHOWN])
        rest = lines.size - LINES_SHOWN
        return f"line {shown}" if lines.size == 1 else f"lines {shown}" + (f" and {rest:,} more" if rest > 0 else "")

    def without_blanks(self, names: Sequence[str], *, drop: bool) -> tuple[PlainTable, int]:
        """Return the table with rows in which every named column is filled, and the number of rows dropped.

        Raises
        ------
        InputError
            There are blanks, and `drop` does not say to leave their rows out; or no row is left.
        """
        bad = np.zeros(self.lines.size, dtype=bool)
        for name in names:
            blank = self.column(name).isin(BLANKS).to_numpy(dtype=bool)
            if blank.any() and not drop:
                raise InputError(
                    f"{int(blank.sum()):,} of {blank.size:,} cells are blank ({self.lines_of(blank)})",
                    where=Where(self.source, int(self.lines[blank][0]), name),
                    hint="fill them, or leave such rows out with --drop-blank",
                )
            bad |= blank
        if self.lines.size == 0 or bad.all():
            raise InputError("there is no row to fit", where=Where(self.source), hint="fill the cells of some rows")
        if not bad.any():
            return self, 0
        kept = {name: column[~bad].reset_index(drop=True) for name, column in self.columns.items()}
        return PlainTable(kept, self.lines[~bad], self.source), int(bad.sum())

    def numbers(self, name: str) -> Floats:
        """Return a column of finite numbers; say which lines hold something else."""
        values = pd.to_numeric(self.column(name), errors="coerce").to_numpy(dtype=np.float64)
        bad = ~np.isfinite(values)
        if bad.any():
            first = self.column(name).to_numpy()[bad][0]
            raise InputError(
                f"{first!r} is not a number ({self.lines_of(bad)})",
                where=Where(self.source, int(self.lines[bad][0]), name),
                hint="write numbers with a decimal point, and nothing else in the cell",
            )
        return values

    def is_numeric(self, name: str) -> bool:
        """Return whether every cell of a column is a number."""
        return bool(pd.to_numeric(self.column(name), errors="coerce").notna().all())


def _as_text(values: Sequence[object]) -> pd.Series:
    column: pd.Series = pd.Series(list(values), dtype=getattr(values, "dtype", None))
    missing = column.isna()
    if pd.api.types.is_bool_dtype(column):
        column = column.map({True: "1", False: "0"})
    if pd.api.types.is_float_dtype(column) and bool((column[~missing] % 1 == 0).all()):
        column = column.astype("Int64")
    text = column.astype("object").map(lambda value: "" if value is None or value is pd.NA else str(value).strip())
    text[missing.to_numpy()] = ""
    return text.reset_index(drop=True)


def ordered_levels(names: Sequence[str]) -> list[str]:
    """Return level names in order: by number where all are numbers, else by text."""
    try:
        keys = {name: float(name) for name in names}
    except ValueError:
        return sorted(names)
    if not all(math.isfinite(key) for key in keys.values()):
        return sorted(names)
    return sorted(names, key=lambda name: (keys[name], name))


def coded(column: pd.Series) -> tuple[Codes, list[str]]:
    """Return the code of each cell and the level names in the order of the codes."""
    first, found = pd.factorize(column)
    levels = ordered_levels([str(name) for name in found])
    place = {name: code for code, name in enumerate(levels)}
    turn = np.array([place[str(name)] for name in found], dtype=np.int64)
    return turn[first], levels


def effect_codes(table: PlainTable, effect: str) -> tuple[Codes, list[str]]:
    """Return codes and level names of an effect: a column, or several joined by `:` (each combination a level)."""
    if effect in table.columns or ":" not in effect:
        return coded(table.column(effect))
    parts = [table.column(name) for name in effect.split(":")]
    joined = parts[0]
    for part in parts[1:]:
        joined = joined + ":" + part
    return coded(joined)


def effect_columns(table: PlainTable, effects: Sequence[str]) -> list[str]:
    """Return the columns that effects stand on."""
    return [
        name
        for effect in effects
        for name in ([effect] if effect in table.columns or ":" not in effect else effect.split(":"))
    ]


@dataclass(frozen=True)
class Counts:
    """A binary or binomial response: successes and trials by row, and what was taken as a success."""

    successes: Floats
    trials: Floats
    success: str
    failure: str


def read_counts(table: PlainTable, response: str, trials: str | None, success: str | None) -> Counts:
    """Return the response as counts.

    With `trials` both columns are whole numbers. Without, the response has two values; which one is the success
    is said by `success`, or is the usual one of a known pair (1, yes, y, true, t, right, correct, pass), or else the
    later one in order.
    """
    if trials is not None:
        if success is not None:
            raise InputError(
                "a success value and a column of trials exclude each other",
                where=Where(table.source),
                hint="leave out one of them",
            )
        return _trial_counts(table, response, trials)
    codes, levels = coded(table.column(response))
    if len(levels) > 2:
        raise InputError(
            f"{response!r} has {len(levels)} different values; a result without trials has two",
            where=Where(table.source, 1, response),
            hint="name the column of trials with --trials, or say --family gaussian or --family ordered",
        )
    if success is not None:
        if success not in levels:
            raise InputError(
                f"no row has the value {success!r}",
                where=Where(table.source, 1, response),
                hint=f"the values are: {', '.join(levels)}",
            )
        place = levels.index(success)
    else:
        place = _usual_success(levels)
    right = (codes == place).astype(np.float64)
    failure = next((name for i, name in enumerate(levels) if i != place), "")
    return Counts(right, np.ones_like(right), levels[place] if place >= 0 else "", failure or levels[0])


def _usual_success(levels: list[str]) -> int:
    """Return the position of the usual success among one or two values; -1 if the one value is a failure."""
    small = [name.lower() for name in levels]
    for failure, success in _KNOWN_PAIRS:
        if set(small) <= {failure, success}:
            return small.index(success) if success in small else -1
    return len(levels) - 1


def _trial_counts(table: PlainTable, response: str, trials: str) -> Counts:
    y, n = table.numbers(response), table.numbers(trials)
    checks = (
        (response, y != np.floor(y), "is not a whole number of successes"),
        (trials, n != np.floor(n), "is not a whole number of trials"),
        (trials, n < 0, "is below 0"),
        (response, y < 0, "is below 0"),
        (response, y > n, f"is above the trials in {trials!r}"),
    )
    for name, bad, words in checks:
        if bad.any():
            value = table.column(name).to_numpy()[bad][0]
            raise InputError(
                f"{value} {words} ({table.lines_of(bad)})",
                where=Where(table.source, int(table.lines[bad][0]), name),
                hint="give counts: a share times its trials is one",
            )
    return Counts(y, n, response, f"{trials} - {response}")


def fixed_columns(table: PlainTable, covariates: Sequence[str]) -> tuple[Floats, list[str]]:
    """Return the covariates as columns: a number as it is, text as 0/1 for each level but the first."""
    columns: list[Floats] = []
    names: list[str] = []
    for name in covariates:
        if table.is_numeric(name):
            columns.append(table.numbers(name))
            names.append(name)
            continue
        codes, levels = coded(table.column(name))
        for code, level in enumerate(levels[1:], 1):
            columns.append((codes == code).astype(np.float64))
            names.append(f"{name}={level}")
    return np.stack(columns, axis=1) if columns else np.zeros((table.lines.size, 0)), names
