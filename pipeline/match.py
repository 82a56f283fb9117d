"""Propose a headings file for a sheet whose headings and words are not ours: the command `match`."""

from __future__ import annotations

import csv
import json
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import islice
from pathlib import Path

import schemas
from pipeline.errors import InputError, Where
from pipeline.ingest import files, workbook
from pipeline.ingest.headings import decide_delimiter, plain
from pipeline.ingest.propose import CLEAR, SURE, Guess, propose
from pipeline.store import write_bytes
from schemas import Table

ROWS = 5_000
"""So many rows of a sheet are looked at."""


@dataclass(frozen=True)
class Matched:
    """One sheet of a file: the table that it seems to be of, and the guesses.

    `score` says how sure the table is, of 100, where neither a name nor the caller said it; `rival` is the table next
    in order, where it is as near.
    """

    sheet: str | None
    table: Table
    is_named: bool
    score: int
    rival: str | None
    rows: int
    guesses: tuple[Guess, ...]

    @property
    def is_sure(self) -> bool:
        """Whether the table is proposed and not only asked."""
        return self.score >= SURE and self.rival is None

    @property
    def open_count(self) -> int:
        """How many headings and words are left as questions."""
        headings = sum(not guess.is_sure for guess in self.guesses)
        return (not self.is_sure) + headings + sum(word.score < SURE for guess in self.guesses for word in guess.words)


def match_file(path: Path, sheet: str | None = None) -> list[Matched]:
    """Compare the headings and cells of a CSV, or of each sheet of a workbook, with the declared tables.

    `sheet` names the table; else the name of file or sheet does, else the table whose columns come nearest.

    Raises
    ------
    InputError
        The file cannot be read, is empty, or `sheet` is no table of ours.
    """
    tables = {table.name: table for table in schemas.layer_tables("season")}
    if sheet is not None and sheet not in tables:
        raise InputError(f"there is no sheet {sheet!r}", hint=f"sheets are: {', '.join(tables)}")
    if not path.is_file():
        raise InputError("there is no such file", where=Where(path), hint="give a sheet: .csv or .xlsx")
    found = []
    for name, lines in _sheets(path, tables.get(sheet or "", tables["plate_calls"])):
        rows = [row for row in lines if any(cell.strip() for cell in row)]
        if len(rows) < 1:
            continue
        named = files.table_for(name or path.stem, tuple(tables)) or files.table_for(path.stem, tuple(tables))
        chosen = sheet or named
        tried = [tables[chosen]] if chosen else list(tables.values())
        guesses = {table.name: propose(rows[0], rows[1:], table) for table in tried}
        likeness = {table_name: _likeness(guesses[table_name], tables[table_name]) for table_name in guesses}
        best, *others = sorted(likeness, key=lambda table_name: (-likeness[table_name], table_name))
        near = others[0] if others and likeness[others[0]] > likeness[best] - CLEAR else None
        score = 100 if chosen else likeness[best]
        found.append(Matched(name, tables[best], best == named, score, near, len(rows) - 1, tuple(guesses[best])))
    if not found:
        raise InputError("the sheet is empty: it has not even headings", where=Where(path), hint="give another")
    return found


def _likeness(guesses: list[Guess], table: Table) -> int:
    """Return how well a sheet fits a table, of 100: the mean score, a column that is missing and needed counting 0."""
    found = {guess.column for guess in guesses}
    missing = sum(field.required and field.name not in found for field in table.fields)
    return round(sum(guess.score for guess in guesses) / max(len(guesses) + missing, 1))


def _sheets(path: Path, table: Table) -> Iterator[tuple[str | None, list[list[str]]]]:
    """Yield each sheet's name (None for a text file) and its first rows, headings among them."""
    where = str(path)
    if path.suffix.lower() in files.WORKBOOK_ENDINGS:
        for name, book_sheet in workbook.open_sheets(path, where).items():
            yield name, [row for _, row in islice(workbook.sheet_rows(book_sheet), ROWS + 1)]
        return
    encoding, _ = files.decide_encoding(path, where)
    with tempfile.TemporaryDirectory(prefix="platework-") as folder:
        lines = files.text_lines(files.as_utf8(path, encoding, Path(folder), 0))
        first = next((line for line in lines if line.strip(" \t\r\n,;|")), None)
        if first is None:
            return
        delimiter = decide_delimiter(first, table)
        try:
            header = next(csv.reader([first], delimiter=delimiter))
            yield None, [header, *islice(csv.reader(lines, delimiter=delimiter), ROWS)]
        except csv.Error as error:
            raise InputError(
                f"the sheet cannot be split into cells: {error}", where=Where(path), hint="mend its quotation marks"
            ) from error


def headings_text(path: Path, matched: list[Matched]) -> str:
    """Return the headings file proposed for a file, in TOML: what is sure, and what is left to be decided.

    Questions are commented out, so that a file taken as it is explains no more than what was sure.
    """
    name = path.name
    lines = [
        f"# Proposed for {_text(name)}: look through it before use. The numbers say how sure each line is, of 100;",
        f"# below {SURE}, or where something speaks against it, a line is a question: it begins with # ? and says",
        "# nothing until you take these marks away. Put the file into the season folder as headings.toml, for all",
        f"# sheets, or beside the sheet as {_text(name + '.headings.toml')}, for that one.",
    ]
    unnamed = [item for item in matched if not item.is_named]
    if unnamed:
        lines += ["", "[sheets]", *(_sheet_line(name, item) for item in unnamed)]
    for table_name in dict.fromkeys(item.table.name for item in matched):
        seen: dict[str, Guess] = {}
        for item in matched:
            if item.table.name == table_name:
                for guess in item.guesses:
                    seen.setdefault(plain(guess.heading), guess)
        lines += _table_lines(table_name, list(seen.values()))
    return "\n".join(lines) + "\n"


def _sheet_line(name: str, item: Matched) -> str:
    place = name if item.sheet is None else f"{name} [{item.sheet}]"
    near = f"; {item.rival} is as near" if item.rival else ""
    return f"{'' if item.is_sure else '# ? '}{_text(place)} = {_text(item.table.name)}  # {item.score} of 100{near}"


def _table_lines(table: str, guesses: list[Guess]) -> list[str]:
    lines = ["", f"[{table}.headings]"]
    known = [guess for guess in guesses if guess.is_known and guess.unit is None and guess.doubt is None]
    if known:
        lines.append(f"# understood without this file: {', '.join(_text(guess.heading) for guess in known)}")
    lines += [_heading_line(guess) for guess in guesses if guess not in known]
    for guess in guesses:
        # A question about a heading brings its words along as questions, since they hang on it.
        if guess.words and guess.column is not None:
            lines += ["", f"[{table}.values.{guess.column}]"]
            for word in guess.words:
                ask = "" if word.score >= SURE and guess.is_sure else "# ? "
                near = f"{word.score} of 100" if word.value else "none comes near"
                lines.append(
                    f"{ask}{_text(word.word)} = {_text(word.value or '')}  # {near}; stands {word.count:,} times"
                )
    return lines


def _heading_line(guess: Guess) -> str:
    if guess.column is None:
        return f'# ? {_text(guess.heading)} = ""  # no column comes near; "" passes it over'
    meant = _text(guess.column)
    if guess.unit:
        meant = f"{{ column = {meant}, unit = {_text(guess.unit)} }}"
    cells = "no cells to compare" if guess.values_score is None else f"cells {guess.values_score}"
    doubts = "".join(f"; {text}" for text in (guess.rival and f"{guess.rival} is as near", guess.doubt) if text)
    ask = "" if guess.is_sure else "# ? "
    said = f"{guess.score} of 100: heading {guess.heading_score}, {cells}{doubts}"
    return f"{ask}{_text(guess.heading)} = {meant}  # {said}"


def _text(value: str) -> str:
    """Return a text as TOML writes it, on one line whatever it holds."""
    return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")


def write_proposal(path: Path, matched: list[Matched], out: Path | None) -> str:
    """Return the proposed headings file, and write it to `out` if given.

    Raises
    ------
    InputError
        `out` is there already: decisions that somebody took are not written over.
    """
    text = headings_text(path, matched)
    if out is not None:
        if out.exists():
            raise InputError(
                "this file is there already, and is not written over",
                where=Where(out),
                hint="give another name to --out",
            )
        write_bytes(out, text.encode())
    return text
