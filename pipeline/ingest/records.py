"""The exact reader: split lines into records one by one, so that a broken line costs itself and no other."""

from __future__ import annotations

import csv
import sys
from collections import deque
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

MOST_LINES = 200
"""A record of more physical lines than this is a quotation mark that was never closed."""

GUARDED_WIDTH = 5
"""From this many columns on, a quoted line that is itself a whole record betrays an open quotation mark."""

UNCLOSED = "a quotation mark is opened and not closed"
BROKEN_QUOTE = "a quotation mark closes in the middle of a value"
NUL = "the row holds a NUL character, which no sheet should"

csv.field_size_limit(min(sys.maxsize, 2**31 - 1))


@dataclass(frozen=True)
class Record:
    """One record: where it begins, its text as it came (without the last line ending), and its fields.

    `problem` says in words why it could not be split (`fields` is then empty); `remedy` what to do.
    """

    line_no: int
    raw_text: str
    fields: tuple[str, ...]
    problem: str | None = None
    remedy: str | None = None

    @property
    def is_blank(self) -> bool:
        """Whether nothing stands in the record but blanks and delimiters."""
        return self.problem is None and not any(value.strip() for value in self.fields)


_EMPTY = ("\n", "\r\n", "\r")


class _Tap:
    """Hands out lines, keeps those of the record under way, and takes lines back."""

    def __init__(self, lines: Iterator[str]) -> None:
        self.lines = lines
        self.waiting: deque[str] = deque()
        self.taken: list[str] = []

    def __iter__(self) -> _Tap:
        return self

    def __next__(self) -> str:
        if len(self.taken) > MOST_LINES:
            raise StopIteration
        line = self.waiting.popleft() if self.waiting else next(self.lines)
        self.taken.append(line)
        return line

    def skip_empty(self) -> bool:
        """Pass over the next line if nothing stands in it; return whether that was so."""
        if not self.waiting:
            line = next(self.lines, None)
            if line is None:
                return False
            self.waiting.append(line)
        if self.waiting[0] in _EMPTY:
            self.waiting.popleft()
            return True
        return False

    def give_back(self, lines: list[str]) -> None:
        """Have these lines handed out again, before any other."""
        self.waiting.extendleft(reversed(lines))


def read_records(
    lines: Iterator[str], delimiter: str, width: int, free_text: frozenset[int], first_line_no: int
) -> Iterator[Record]:
    """Yield every record of a sheet below its headings: whole, broken or blank, none is dropped.

    Parameters
    ----------
    lines
        Physical lines with their endings.
    delimiter
        One character.
    width
        How many fields a record has.
    free_text
        Places of the fields in which a line may end inside quotation marks.
    first_line_no
        The physical line number of the first of `lines`.
    """
    tap = _Tap(lines)
    line_no = first_line_no
    reader = csv.reader(tap, delimiter=delimiter, strict=True)
    while True:
        # A sheet may end in a million empty lines, so these are told as soon as they are seen.
        while tap.skip_empty():
            yield Record(line_no, "", ())
            line_no += 1
        tap.taken = []
        try:
            fields: list[str] | None = next(reader)
        except StopIteration:
            if not tap.taken:
                return
            fields = None
        except csv.Error:
            fields = None
        taken = tap.taken
        if fields is None or not _may_stand(fields, taken, delimiter, width, free_text):
            # Only the first line is set aside; what it swallowed is read again, line by line.
            tap.give_back(taken[1:])
            taken = taken[:1]
            reader = csv.reader(tap, delimiter=delimiter, strict=True)
            yield _lone(taken[0], line_no, delimiter, width)
        else:
            yield _checked(tuple(fields), "".join(taken), line_no, width)
        line_no += len(taken)


def _may_stand(
    fields: list[str], taken: list[str], delimiter: str, width: int, free_text: frozenset[int]
) -> bool:
    """Whether a record of several lines is believed; one of a single line always is."""
    if len(taken) == 1:
        return True
    if not _fits(fields, width):
        return False
    if any(("\n" in value or "\r" in value) and place not in free_text for place, value in enumerate(fields)):
        return False
    return width < GUARDED_WIDTH or not any(_is_whole(line, delimiter, width) for line in taken[1:])


def _fits(fields: Sequence[str], width: int) -> bool:
    """Whether a record has a cell for each heading; blank ones beyond, as spreadsheets leave, do no harm."""
    return len(fields) >= width and not any(value.strip() for value in fields[width:])


def _is_whole(line: str, delimiter: str, width: int) -> bool:
    try:
        return len(next(csv.reader([line], delimiter=delimiter, strict=True), [])) == width
    except csv.Error:
        return False


def _lone(line: str, line_no: int, delimiter: str, width: int) -> Record:
    try:
        fields = next(csv.reader([line], delimiter=delimiter, strict=True), [])
    except csv.Error as error:
        problem = BROKEN_QUOTE if "expected after" in str(error) else UNCLOSED
        return Record(
            line_no,
            _bare(line),
            (),
            problem,
            'close the quotation mark, and write a quotation mark inside a value twice ("")',
        )
    return _checked(tuple(fields), line, line_no, width)


def _checked(fields: tuple[str, ...], text: str, line_no: int, width: int) -> Record:
    if "\0" in text:
        return Record(line_no, _bare(text), (), NUL, "type the row again")
    record = Record(line_no, _bare(text), fields)
    if record.is_blank:
        return record
    if _fits(fields, width):
        return Record(line_no, _bare(text), fields[:width])
    few_or_many = (
        "fill in the missing cells (a blank cell still needs its delimiter)"
        if len(fields) < width
        else "put quotation marks around a value that holds the delimiter, or take out what is too much"
    )
    return Record(
        line_no,
        _bare(text),
        (),
        f"the row has {len(fields)} {'cell' if len(fields) == 1 else 'cells'}, the heading line has {width}",
        few_or_many,
    )


def _bare(text: str) -> str:
    if text.endswith("\r\n"):
        return text[:-2]
    return text[:-1] if text.endswith(("\n", "\r")) else text
