"""Headings files: what the headings and words of a source stand for, written down by people and used at load.

`headings.toml` in the season folder holds for all sheets, `<file>.headings.toml` beside a file for that file alone, in
the place of the first. Nothing else is ever supposed about a heading.
"""

from __future__ import annotations

import difflib
import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path, PurePosixPath
from typing import Any

from pipeline.errors import ConfigError, PlateworkError, Where
from pipeline.ingest.headings import Meaning, plain
from pipeline.ingest.units import UNITS
from schemas import Field, Table

SEASON_FILE = "headings.toml"
BESIDE = ".headings.toml"
SHEETS = "sheets"
_PARTS = ("headings", "values")
_ENTRY = ("column", "unit")


@dataclass(frozen=True)
class TableMap:
    """What stands in the sheets of one table.

    Attributes
    ----------
    headings
        For a heading in compared form, the column and the unit that its cells are in.
    values
        For a column, what a word in it (trimmed, in lower case) stands for; '' is a blank.
    """

    headings: Mapping[str, Meaning] = field(default_factory=dict)
    values: Mapping[str, Mapping[str, str]] = field(default_factory=dict)


@dataclass(frozen=True)
class HeadingMap:
    """One headings file: its path in the season folder, what it says of each table, and of which table a sheet is.

    `sheets` maps a file (`north.csv`), a sheet of a workbook (`Calls`) or both (`north.xlsx [Calls]`), in lower case,
    to a table, or to '' where it is to be passed over.
    """

    relative: str
    tables: Mapping[str, TableMap] = field(default_factory=dict)
    sheets: Mapping[str, str] = field(default_factory=dict)

    def table_of(self, relative: str, sheet: str | None) -> str | None:
        """Return the table that a sheet is said to be of, '' to pass it over, None where nothing is said."""
        path = relative.casefold()
        name = path.rsplit("/", 1)[-1]
        places = [path, name]
        if sheet is not None:
            inner = sheet.strip().casefold()
            places = [f"{path} [{inner}]", f"{name} [{inner}]", inner, *places]
        return next((self.sheets[place] for place in places if place in self.sheets), None)


def read_heading_map(
    path: Path, relative: str, tables: Mapping[str, Table]
) -> tuple[HeadingMap, list[PlateworkError]]:
    """Return what a headings file says, and every fault in it, with line and hint."""
    try:
        text = path.read_text(encoding="utf-8-sig")
        raw = tomllib.loads(text)
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        return HeadingMap(relative), [
            ConfigError(
                f"the headings file cannot be read: {error}",
                where=Where(relative),
                hint="mend that line; `platework match` writes one that can be read",
            )
        ]
    reader = _Reader(relative, text)
    found = {}
    sheets: dict[str, str] = {}
    for key, part in raw.items():
        if key == SHEETS:
            sheets = _read_sheets(reader, part, tables)
        elif key not in tables:
            reader.unknown(key, (*tables, SHEETS), "neither a sheet of ours nor `sheets`")
        elif reader.is_section(key, part):
            found[key] = _read_table(reader, part, tables[key])
    return HeadingMap(relative, found, sheets), list(reader.faults)


class _Reader:
    """Remembers faults with the line on which a key first stands."""

    def __init__(self, relative: str, text: str) -> None:
        self.relative = relative
        self.lines = text.splitlines()
        self.faults: list[ConfigError] = []

    def fault(self, message: str, key: str, hint: str) -> None:
        # A key may be in quotation marks, bare, or a part of a section's name.
        forms = (rf"""["']{re.escape(key)}["']""", rf"(?<![\w-]){re.escape(key)}\s*[.=\]]")
        found = (number for form in forms for number, text in enumerate(self.lines, 1) if re.search(form, text))
        line = next(found, None)
        self.faults.append(ConfigError(message, where=Where(self.relative, line), hint=hint))

    def unknown(self, key: str, allowed: tuple[str, ...], what: str) -> None:
        near = difflib.get_close_matches(key, allowed, n=1)
        hint = f"did you mean {near[0]!r}?" if near else f"allowed are: {', '.join(allowed)}"
        self.fault(f"{key!r} is {what}", key, hint)

    def is_section(self, key: str, raw: Any) -> bool:
        if not isinstance(raw, dict):
            self.fault(f"{key!r} must be a section", key, f"write [{key}] and keys under it")
        return isinstance(raw, dict)


def _read_sheets(reader: _Reader, raw: Any, tables: Mapping[str, Table]) -> dict[str, str]:
    sheets: dict[str, str] = {}
    if reader.is_section(SHEETS, raw):
        for place, name in raw.items():
            if not isinstance(name, str) or (name and name not in tables):
                reader.fault(
                    f"{place!r} is mapped to {name!r}, which is no sheet of ours",
                    place,
                    f'allowed are: {", ".join(tables)}, or "" to pass it over',
                )
            else:
                sheets[place.strip().replace("\\", "/").casefold()] = name
    return sheets


def _read_table(reader: _Reader, raw: Mapping[str, Any], table: Table) -> TableMap:
    for key in raw:
        if key not in _PARTS:
            reader.unknown(key, _PARTS, f"not a part of [{table.name}]")
    headings: dict[str, Meaning] = {}
    values: dict[str, dict[str, str]] = {}
    given = raw.get("headings", {})
    if reader.is_section("headings", given):
        for heading, meant in given.items():
            meaning = _read_meaning(reader, heading, meant, table)
            if meaning is None:
                continue
            if not plain(heading):
                reader.fault("a blank heading cannot be mapped", heading, "give the column a heading in the sheet")
            elif headings.setdefault(plain(heading), meaning) != meaning:
                reader.fault(f"the heading {heading!r} is mapped twice", heading, "take one of the two out")
    given = raw.get("values", {})
    if reader.is_section("values", given):
        for column, words in given.items():
            if column not in table.field_names:
                reader.unknown(column, table.field_names, f"not a column of {table.name}")
            elif reader.is_section(column, words):
                values[column] = _read_words(reader, words, table.field(column))
    return TableMap(headings, values)


def _read_meaning(reader: _Reader, heading: str, raw: Any, table: Table) -> Meaning | None:
    entry = {"column": raw} if isinstance(raw, str) else raw
    if not isinstance(entry, dict) or not isinstance(entry.get("column"), str):
        reader.fault(
            f"what {heading!r} stands for is not understood",
            heading,
            f'write "{heading}" = "column", or {{ column = "column", unit = "cm" }}',
        )
        return None
    for key in entry:
        if key not in _ENTRY:
            reader.unknown(key, _ENTRY, f"not a setting of the heading {heading!r}")
    column, unit = entry["column"], entry.get("unit")
    if not column:
        return Meaning("", None)
    if column not in table.field_names:
        near = difflib.get_close_matches(column, table.field_names, n=1)
        reader.fault(
            f"{heading!r} is mapped to {column!r}, which is no column of {table.name}",
            heading,
            f"did you mean {near[0]!r}?" if near else f"allowed are: {', '.join(table.field_names)}",
        )
        return None
    declared = table.field(column)
    allowed = tuple(UNITS.get(declared.unit or "", {})) if declared.type == "number" else ()
    if unit is not None and unit not in allowed:
        reader.fault(
            f"{column} cannot be in {unit!r}",
            heading,
            f"allowed are: {', '.join(allowed)}" if allowed else f"take the unit out: {column} is not measured in one",
        )
        return None
    return Meaning(column, None if unit == declared.unit else unit)


def _read_words(reader: _Reader, raw: Mapping[str, Any], declared: Field) -> dict[str, str]:
    words: dict[str, str] = {}
    for word, meant in raw.items():
        allowed = declared.enum
        if not isinstance(meant, str) or (allowed and meant and not _is_allowed(meant, declared)):
            near = difflib.get_close_matches(str(meant), allowed, n=1)
            reader.fault(
                f"{word!r} is mapped to {meant!r}, which {declared.name} cannot be",
                word,
                f"did you mean {near[0]!r}?" if near else f"allowed are: {', '.join(allowed) or 'texts'}",
            )
        elif words.setdefault(word.strip().lower(), meant) != meant:
            reader.fault(f"the word {word!r} is mapped twice", word, "take one of the two out")
    return words


def _is_allowed(value: str, declared: Field) -> bool:
    parts = value.split(declared.list_separator) if declared.list_separator else [value]
    return all(part in declared.enum for part in parts)


class HeadingMaps:
    """The headings files of a season folder, each read once, when it is first asked for."""

    def __init__(self, season: Path, tables: Mapping[str, Table]) -> None:
        self._season, self._tables = season, tables
        self._read: dict[str, HeadingMap | None] = {}
        self.faults: list[PlateworkError] = []
        self.used: set[str] = set()
        self._present = frozenset(relative for relative, _ in self.files())

    def _get(self, relative: str) -> HeadingMap | None:
        if relative not in self._read:
            self._read[relative] = None
            # A remark of a mended row may name anything; only what was found in the folder is ever opened.
            if relative in self._present:
                self._read[relative], faults = read_heading_map(self._season / relative, relative, self._tables)
                self.faults += faults
        return self._read[relative]

    def of(self, relative: str) -> HeadingMap | None:
        """Return the headings file for the sheet at `relative`: that beside it (or its .zip), else the season's."""
        beside = [relative, *(str(parent) for parent in PurePosixPath(relative).parents if parent.suffix)]
        return next((found for place in beside if (found := self._get(place + BESIDE))), None) or self._get(SEASON_FILE)

    def table_of(self, relative: str, sheet: str | None) -> str | None:
        """Return the table that a sheet is said to be of; '' to pass it over, None where no file says it."""
        for found in (self.of(relative), self._get(SEASON_FILE)):
            if found is not None and (said := found.table_of(relative, sheet)) is not None:
                self.used.add(found.relative)
                return said
        return None

    def map_of(self, relative: str, table: Table) -> tuple[TableMap, str | None]:
        """Return what is said of a sheet of `table`, and the file that says it."""
        found = self.of(relative)
        if found is None or table.name not in found.tables:
            return TableMap(), None
        self.used.add(found.relative)
        return found.tables[table.name], found.relative

    def files(self) -> list[tuple[str, bool]]:
        """Return each headings file of the season folder and whether it was used, in the order of paths."""
        found = (path for path in self._season.rglob(f"*{BESIDE}") if path.is_file())
        present = [path.relative_to(self._season).as_posix() for path in found]
        if (self._season / SEASON_FILE).is_file():
            present.append(SEASON_FILE)
        looked = {relative for relative, read in self._read.items() if read is not None}
        return sorted((relative, relative in self.used) for relative in looked | set(present))
