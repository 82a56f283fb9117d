"""Propose what the headings and words of a strange sheet stand for, and say how sure that is. Nothing is loaded.

Two things are compared: a heading with a column's name, title and other names, and the cells with what the column may
hold. The score of a pair is 0 to 100; what it takes to be proposed is stated below, and our own choice.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from rapidfuzz import fuzz

from pipeline.ingest.headings import known_headings, plain
from pipeline.ingest.units import UNITS
from schemas import Field, Table
from schemas.reader import NUMBER_PATTERN

SURE = 80
"""From this score on a heading or a word is proposed; below it stands as a question, commented out."""

NOTEWORTHY = 55
"""Below this score nothing is offered at all."""

CLEAR = 5
"""By so much a proposal must lead the next best column, or it stands as a question."""

WORDS_OFFERED = 40
"""Most different words of a column that are compared with its allowed values."""

OUTSIDE = 0.02
"""From more than this share of numbers outside a column's limits on, the unit is doubted."""

_YES, _NO = ("yes", "y", "true", "t", "x", "1"), ("no", "n", "false", "f", "0")
_UNIT_MARKS = {
    "km/h": r"km ?/? ?h|kph|kmh|kilomet", "m/s": r"\bm ?/ ?s\b|\bmps\b", "mph": r"\bmph\b|mi ?/ ?h|mile",
    "cm": r"\bcm\b|centimet", "mm": r"\bmm\b|millimet", "m": r"\(m\)|\bmet(er|re)s?\b",
    "ft": r"\bft\b|\bfeet\b|\bfoot\b", "in": r"\bin(ch(es)?)?\b|\"",
}  # fmt: skip
"""How a heading may name a unit."""

_NUMBER = re.compile(NUMBER_PATTERN)
_DAY = re.compile(r"[0-9]{1,4}[./-][0-9]{1,2}[./-][0-9]{1,4}([T ].*)?")


@dataclass(frozen=True)
class WordGuess:
    """A word of a column, how often it stands there, the allowed value that comes nearest, and how near (0 to 100)."""

    word: str
    count: int
    value: str | None
    score: int


@dataclass(frozen=True)
class Guess:
    """A heading of a sheet and the column that comes nearest.

    Attributes
    ----------
    score
        How sure it is, 0 to 100: two thirds the likeness of the heading, one third the share of cells that fit.
    heading_score, values_score
        Its two parts; `values_score` is None where the cells say neither yes nor no.
    rival
        The next best column, where it is so near that it may be meant as well.
    unit
        The unit that heading or cells speak for, where it is not the declared one.
    doubt
        Why the numbers speak against the unit that they would be read in.
    is_known
        Whether the heading is one that the load takes by itself.
    """

    heading: str
    column: str | None
    score: int
    heading_score: int
    values_score: int | None
    rival: str | None = None
    unit: str | None = None
    doubt: str | None = None
    is_known: bool = False
    words: tuple[WordGuess, ...] = field(default_factory=tuple)

    @property
    def is_sure(self) -> bool:
        """Whether it is proposed and not only asked."""
        return self.column is not None and self.score >= SURE and self.rival is None and self.doubt is None


def propose(header: Sequence[str], rows: Iterable[Sequence[str]], table: Table) -> list[Guess]:
    """Return a guess for each heading, each column given to one heading at most, the surest first.

    `rows` are cells as text, in the order of the headings.
    """
    cells = [Counter[str]() for _ in header]
    for row in rows:
        for place, value in enumerate(row[: len(header)]):
            if bare := value.strip():
                cells[place][bare] += 1
    known = known_headings(table)
    scored = {
        (place, column.name): _score(heading, cells[place], column)
        for place, heading in enumerate(header)
        if plain(heading)
        for column in table.fields
    }
    taken: dict[int, str] = {}
    for place, heading in enumerate(header):
        column = known.get(plain(heading))
        if column is not None and column.name not in taken.values():
            taken[place] = column.name
    by_name = dict(taken)
    for (place, name), (score, _, _) in sorted(scored.items(), key=lambda item: (-item[1][0], item[0])):
        if score >= NOTEWORTHY and place not in taken and name not in taken.values():
            taken[place] = name
    return [
        _guess(header[place], place, taken, scored, cells[place], table, is_known=place in by_name)
        for place in range(len(header))
        if plain(header[place])
    ]


_Scores = Mapping[tuple[int, str], tuple[int, int, int | None]]


def _guess(
    heading: str,
    place: int,
    taken: dict[int, str],
    scored: _Scores,
    cells: Counter[str],
    table: Table,
    *,
    is_known: bool,
) -> Guess:
    name = taken.get(place)
    if name is None:
        return Guess(heading.strip(), None, 0, 0, None)
    declared = table.field(name)
    score, by_heading, by_cells = scored[place, name]
    unit = _unit(heading, cells, declared)
    doubt = _doubt(cells, declared, unit)
    words = _words(cells, declared)
    if is_known:
        return Guess(heading.strip(), name, 100, 100, by_cells, None, unit, doubt, is_known, words)
    given = set(taken.values())
    others = {other: scored[place, other][0] for other in table.field_names if other not in given}
    rival = max(sorted(others), key=others.__getitem__, default=None)
    near = rival if rival is not None and others[rival] > score - CLEAR else None
    return Guess(heading.strip(), name, score, by_heading, by_cells, near, unit, doubt, is_known, words)


def _score(heading: str, cells: Counter[str], declared: Field) -> tuple[int, int, int | None]:
    """Return the score of a pair and its two parts."""
    bare = _without_unit(heading) if declared.unit else plain(heading).replace("_", " ")
    names = {declared.name, declared.title, *declared.aliases}
    if declared.unit:
        names |= {declared.name.removesuffix(f"_{declared.unit}"), _without_unit(declared.title)}
    spoken = [plain(name).replace("_", " ") for name in sorted(names)]
    # Whole words in any order count, and so does the spelling; a single shared word of many does not.
    likeness = max(max(fuzz.ratio(bare, name), fuzz.token_sort_ratio(bare, name)) for name in spoken)
    partial = 0.85 * max(fuzz.token_set_ratio(bare, name) for name in spoken)
    by_heading = round(max(likeness, partial))
    by_cells = _cells_score(cells, declared)
    if by_cells is None:
        # Cells that say neither yes nor no count as half.
        return round((2 * by_heading + 50) / 3), by_heading, None
    return round((2 * by_heading + by_cells) / 3), by_heading, by_cells


def _without_unit(heading: str) -> str:
    text = heading.casefold()
    for mark in _UNIT_MARKS.values():
        text = re.sub(rf"[\[(]?({mark})[\])]?", " ", text)
    return plain(text).replace("_", " ")


def _cells_score(cells: Counter[str], declared: Field) -> int | None:
    """Return the share of cells that fit a column, of 100; None where that says nothing.

    A column that tells rows apart is known by its cells being all different; any other text fits everywhere.
    """
    total = sum(cells.values())
    if not total:
        return None
    if declared.type == "string" and not declared.enum and not declared.pattern:
        return round(100 * len(cells) / total) if declared.unique else None
    return round(100 * sum(count for value, count in cells.items() if _fits(value, declared)) / total)


def _fits(value: str, declared: Field) -> bool:
    if declared.enum:
        parts = value.split(declared.list_separator) if declared.list_separator else [value]
        return all(_nearest_value(part, declared)[1] >= SURE for part in parts)
    if declared.type in ("number", "integer"):
        return _number(value) is not None and (declared.type == "number" or (_number(value) or 0) % 1 == 0)
    if declared.type == "date":
        return bool(_DAY.fullmatch(value))
    if declared.pattern:
        return bool(re.fullmatch(declared.pattern, value))
    return True


def _number(value: str) -> float | None:
    text = value.replace(",", ".").replace("\u2212", "-")
    return float(text) if _NUMBER.fullmatch(text) else None


def _nearest_value(word: str, declared: Field) -> tuple[str | None, int]:
    """Return the allowed value that comes nearest to a word, and how near, of 100."""
    said = plain(word)
    if set(declared.enum) == {"yes", "no"}:
        told = "yes" if said in _YES else "no" if said in _NO else None
        if told:
            return told, 100
    best, score = None, 0
    for value in declared.enum:
        near = round(fuzz.ratio(said.replace("_", " "), value.replace("_", " ")))
        if value.startswith(said) and sum(other.startswith(said) for other in declared.enum) == 1:
            # The beginning of one allowed value and of no other, such as `str` for strike; a letter alone says less.
            near = max(near, 90 if len(said) > 1 else 75)
        if near > score:
            best, score = value, near
    return best, score


def _words(cells: Counter[str], declared: Field) -> tuple[WordGuess, ...]:
    """Return a guess for each word that the load would not take by itself, the most frequent first."""
    if not declared.enum:
        return ()
    guesses = []
    for word, count in sorted(cells.items(), key=lambda item: (-item[1], item[0]))[:WORDS_OFFERED]:
        value, score = _nearest_value(word, declared)
        if score < 100:
            guesses.append(WordGuess(word, count, value if score >= NOTEWORTHY else None, score))
    return tuple(guesses)


def _unit(heading: str, cells: Counter[str], declared: Field) -> str | None:
    """Return the unit that the heading names; None where it names the declared one or none."""
    allowed = UNITS.get(declared.unit or "", {}) if declared.type == "number" else {}
    named = [unit for unit in allowed if re.search(_UNIT_MARKS[unit], heading.casefold())]
    return named[0] if len(named) == 1 and named[0] != declared.unit else None


def _doubt(cells: Counter[str], declared: Field, unit: str | None) -> str | None:
    """Return why the numbers of a measured column speak against a unit, and which unit they would fit."""
    units = UNITS.get(declared.unit or "", {}) if declared.type == "number" else {}
    numbers = [number for value in cells.elements() if (number := _number(value)) is not None]
    if not units or not numbers:
        return None
    outside = {name: _outside(numbers, declared, name) for name in units}
    share = outside[unit or declared.unit or ""]
    if share <= OUTSIDE:
        return None
    fitting = [name for name, out in outside.items() if out <= OUTSIDE]
    meant = f"; in {' or '.join(fitting)} they would fit" if fitting else ""
    return f"{share:.0%} of the numbers would be outside the column's limits{meant}"


def _outside(numbers: Sequence[float], declared: Field, unit: str) -> float:
    """Return the share of numbers that are outside a column's limits once they are converted from `unit`."""
    factor = float(UNITS[declared.unit or ""][unit])
    inside = [number * factor if unit == "ft" else number / factor for number in numbers]
    low = float(declared.minimum) if declared.minimum is not None else float("-inf")
    high = float(declared.maximum) if declared.maximum is not None else float("inf")
    return sum(not low <= number <= high for number in inside) / len(inside)
