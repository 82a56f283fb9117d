"""What a row of a sheet of mended rows says: which row it stands for, and what it holds now."""

from __future__ import annotations

import re
from dataclasses import dataclass

from pipeline.ingest.headings import Headings
from pipeline.ingest.records import Record
from schemas.remarks import FILE, LINE, REASON, SHEET, WAS, leading_fields, unguarded

_WHOLE = re.compile(r"([0-9]{1,15})(?:[.]0*)?")


@dataclass(frozen=True)
class MendRow:
    """One mended row: where it stands, and the row that it names.

    `target_line` is None where what stands under `#line` is no line number. `cells` are its own cells by column,
    trimmed; None where the row cannot be split, and then `rest` is its text without the remarks.
    """

    line_no: int
    raw_text: str
    file: str
    sheet: str
    target_line: int | None
    was: str
    told_reason: str
    cells: dict[str, str] | None
    rest: str | None = None

    @property
    def is_blank(self) -> bool:
        """Whether nothing stands in its own cells, by which the row that it names is dropped."""
        return self.cells is not None and not any(self.cells.values())

    def repeats(self, cells: dict[str, str] | None, raw_text: str) -> bool:
        """Whether the row says nothing but what the row says that it names."""
        if self.cells is None or cells is None:
            return self.cells is None and cells is None and self.rest == raw_text
        names = self.cells.keys() | cells.keys()
        return all(self.cells.get(name, "") == cells.get(name, "") for name in names)


def read_mend(record: Record, headings: Headings, delimiter: str | None) -> MendRow | None:
    """Return what a record of a sheet of mended rows says; None where it names no row and so is a row of its own.

    A record that cannot be split is still understood where the remark columns stand first.
    """
    if record.problem is None:
        told, cells, rest = _of_fields(record.fields, headings), _cells(record.fields, headings), None
    else:
        lead = _remarks_in_front(headings)
        found = leading_fields(record.raw_text, delimiter or ",", lead) if lead else None
        if found is None:
            return None
        told, cells, rest = _of_fields(tuple(found[0]), headings), None, found[1]
    if not told[FILE] and not told[LINE]:
        return None
    line = _WHOLE.fullmatch(told[LINE])
    return MendRow(
        line_no=record.line_no,
        raw_text=record.raw_text,
        file=told[FILE].replace("\\", "/").removeprefix("./"),
        sheet=told[SHEET],
        target_line=int(line.group(1)) if line else None,
        was=told[WAS],
        told_reason=told[REASON],
        cells=cells,
        rest=rest,
    )


def _of_fields(fields: tuple[str, ...], headings: Headings) -> dict[str, str]:
    told = dict.fromkeys((FILE, SHEET, LINE, WAS, REASON), "")
    for name, place in headings.remarks:
        if place < len(fields):
            told[name] = unguarded(fields[place])
    return told


def _cells(fields: tuple[str, ...], headings: Headings) -> dict[str, str]:
    return {column: value.strip() for column, value in zip(headings.columns, fields, strict=True) if column is not None}


def _remarks_in_front(headings: Headings) -> int:
    """Return how many columns stand before the first that is no remark; 0 where a needed remark comes later."""
    blank = set(headings.must_be_blank)
    own = [place for place, column in enumerate(headings.columns) if column is not None or place in blank]
    lead = min(own, default=0)
    return lead if all(place < lead for _, place in headings.remarks) else 0
