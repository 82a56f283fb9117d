"""Find the heading line of a sheet, its delimiter, and which column each heading stands for."""

from __future__ import annotations

import csv
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from rapidfuzz import fuzz, process

from pipeline.errors import InputError, PlateworkError, Where
from schemas import Field, Table
from schemas.remarks import NEEDED, REMARK, REMARKS

DELIMITERS = (",", ";", "\t", "|")

NEAR = 70
"""Least likeness, of 100, at which another word is offered as what was meant."""

MENDED_NOTE = "mended rows: each stands for the row that it names under #file and #line"

EDGES = " \t\r\n\xa0\u2007\u202f\u200b\ufeff\u201c\u201d\u201e\u2018\u2019\u201a"
"""What is taken off both ends of a heading."""

_CONTROL = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f]")


@dataclass(frozen=True)
class Meaning:
    """What a heading stands for: a column ('' where it is passed over), and the unit of its cells if another."""

    column: str
    unit: str | None = None


@dataclass(frozen=True)
class Headings:
    """What stands above the rows of a sheet.

    Attributes
    ----------
    columns
        For each field of a record, in the sheet's order: the declared column, or None where the heading is
        blank or a remark.
    width
        How many fields a record must have.
    must_be_blank
        Places of the fields that have no heading, and so may hold nothing.
    line_no
        Physical line of the heading, from 1; everything above it is blank.
    line_count
        How many physical lines the heading takes.
    remarks
        For each remark column that tells of a mended row, its heading in compared form and its place.
    units
        For each column whose cells are in another unit than the declared one, that unit.
    """

    columns: tuple[str | None, ...]
    must_be_blank: tuple[int, ...]
    line_no: int
    line_count: int
    notes: tuple[str, ...]
    remarks: tuple[tuple[str, int], ...] = ()
    units: tuple[tuple[str, str], ...] = ()

    @property
    def is_mended(self) -> bool:
        """Whether the rows of the sheet stand for rows of other sheets, which they name."""
        return {name for name, _ in self.remarks} >= set(NEEDED)

    @property
    def width(self) -> int:
        """How many fields a record must have."""
        return len(self.columns)


def plain(heading: str) -> str:
    """Return a heading as it is compared.

    Trimmed, also of quotation marks as word processors set them, case-folded, with one `_` for blanks, hyphens and
    dots.
    """
    return re.sub(r"[\s_.\-\u2010\u2011]+", "_", heading.strip(EDGES).casefold()).strip("_")


def known_headings(table: Table) -> dict[str, Field]:
    """Return every accepted heading of a table in compared form, its own names before aliases."""
    known = {plain(alias): field for field in table.fields for alias in field.aliases}
    return known | {plain(field.name): field for field in table.fields}


def nearest(word: str, words: Iterable[str]) -> str | None:
    """Return the word most like `word`, or None where none is like it."""
    hit = process.extractOne(word, sorted(words), scorer=fuzz.WRatio, score_cutoff=NEAR)
    return hit[0] if hit else None


def split_line(line: str, delimiter: str) -> list[str]:
    """Split one physical line into fields; csv.Error where its quotation marks do not match."""
    return next(csv.reader([line], delimiter=delimiter, strict=True), [])


def decide_delimiter(line: str, table: Table, mapped: Iterable[str] = ()) -> str:
    """Return the delimiter under which most fields of the heading line are headings of the table.

    `mapped` holds headings in compared form that a headings file explains.
    """
    known = known_headings(table).keys() | set(mapped)

    def recognised(delimiter: str) -> tuple[int, int]:
        try:
            parts = split_line(line, delimiter)
        except csv.Error:
            # Quotation marks that do not match are found later; here only the delimiter is looked for.
            parts = line.replace('"', "").split(delimiter)
        return (sum(plain(part) in known for part in parts), len(parts))

    return max(DELIMITERS, key=recognised)


def _looks_like_headings(line: str, table: Table) -> bool:
    known = known_headings(table)
    try:
        parts = split_line(line, decide_delimiter(line, table))
    except csv.Error:
        return False
    return sum(plain(part) in known for part in parts) >= max(2, len(parts) // 2)


def read_headings(
    header: list[str],
    line_no: int,
    line_count: int,
    table: Table,
    where: str,
    below: list[str],
    mapped: Mapping[str, Meaning] | None = None,
    origin: str = "",
) -> tuple[Headings, list[PlateworkError]]:
    """Map the headings of a sheet to declared columns; return the map and every fault found.

    `below` holds some of the lines under the heading, in which to look for the real one. `mapped` is what a headings
    file, `origin`, says of headings in compared form; it goes before the names and aliases of columns.
    """
    mapped = mapped or {}
    known = known_headings(table)
    known |= {name: table.field(meaning.column) for name, meaning in mapped.items() if meaning.column}
    names = [plain(heading) for heading in header]
    if not any(name in known for name in names):
        return Headings((), (), line_no, line_count, ()), [_not_headings(line_no, table, where, below)]
    faults: list[PlateworkError] = []
    columns: list[str | None] = []
    must_be_blank: list[int] = []
    remarks: list[str] = []
    first_heading: dict[str, str] = {}
    places: dict[str, int] = {}
    for place, (heading, name) in enumerate(zip(header, names, strict=True)):
        columns.append(None)
        if not name:
            must_be_blank.append(place)
        elif heading.strip().startswith(REMARK):
            remarks.append(heading.strip())
            if name in REMARKS:
                places.setdefault(name, place)
        elif name in mapped and not mapped[name].column:
            continue
        elif name not in known:
            faults.append(_unknown(heading.strip(), name, known, line_no, table, where))
        elif known[name].name in first_heading:
            column = known[name].name
            faults.append(
                InputError(
                    f"the column {column!r} stands twice, "
                    f"under {first_heading[column]!r} and {heading.strip()!r}",
                    where=Where(where, line_no, heading.strip()),
                    hint="take one of the two columns out",
                )
            )
        else:
            columns[-1] = known[name].name
            first_heading[known[name].name] = heading.strip()
    near_missed = {fault.hint for fault in faults}
    faults += [
        InputError(
            f"the column {field.name!r} ({field.title}) is missing, and every row needs it",
            where=Where(where, line_no, field.name),
            hint=f"add a column headed {field.name}; for example {field.example}",
        )
        for field in table.fields
        if field.required and field.name not in first_heading and _meant(field.name) not in near_missed
    ]
    notes: tuple[str, ...] = (f"remark columns not read: {', '.join(remarks)}",) if remarks else ()
    if places.keys() >= set(NEEDED):
        notes = (MENDED_NOTE,)
    notes += _other_names(header, columns, mapped, origin)
    units = tuple(
        (meaning.column, meaning.unit)
        for meaning in (mapped.get(name) for name in names)
        if meaning is not None and meaning.unit is not None
    )
    return (
        Headings(tuple(columns), tuple(must_be_blank), line_no, line_count, notes, tuple(places.items()), units),
        faults,
    )


def _other_names(
    header: list[str], columns: list[str | None], mapped: Mapping[str, Meaning], origin: str
) -> tuple[str, ...]:
    """Return notes on headings that are not the columns' own names: by alias, and as the headings file says."""
    aliased, explained = [], []
    for heading, column in zip(header, columns, strict=True):
        shown, meaning = heading.strip(EDGES), mapped.get(plain(heading))
        if meaning is not None:
            unit = f" in {meaning.unit}" if meaning.unit else ""
            explained.append(f"{shown!r} as {meaning.column}{unit}" if meaning.column else f"{shown!r} passed over")
        elif column is not None and plain(heading) != plain(column):
            aliased.append(f"{shown!r} as {column}")
    notes = []
    if aliased:
        notes.append(f"headings read by their other names: {', '.join(aliased)}")
    if explained:
        notes.append(f"headings read as {origin} says: {', '.join(explained)}")
    return tuple(notes)


def _meant(name: str) -> str:
    return f"did you mean {name!r}?"


def _unknown(
    heading: str, name: str, known: dict[str, Field], line_no: int, table: Table, where: str
) -> PlateworkError:
    near = nearest(name, known)
    hint = (
        _meant(known[near].name)
        if near
        else f"take the column out, or put {REMARK} before its heading to have it passed over; or say in headings.toml "
        "what it stands for (`platework match` proposes it)"
    )
    return InputError(
        f"the heading {heading!r} is not one of the sheet {table.name!r}",
        where=Where(where, line_no, heading),
        hint=hint,
    )


def _not_headings(line_no: int, table: Table, where: str, below: list[str]) -> PlateworkError:
    for number, line in enumerate(below, line_no + 1):
        if _looks_like_headings(line, table):
            return InputError(
                f"the headings of the sheet {table.name!r} should stand in the first line, "
                f"but they stand in line {number}",
                where=Where(where, line_no),
                hint=f"take out the lines above line {number}",
            )
    some = ", ".join(field.name for field in table.fields if field.required)
    return InputError(
        f"the first line holds no heading of the sheet {table.name!r}",
        where=Where(where, line_no),
        hint=f"put the headings in the first line; it needs at least: {some}",
    )


def is_binary(line: str) -> bool:
    """Whether a line holds control characters that no sheet has in its headings."""
    return bool(_CONTROL.search(line))
