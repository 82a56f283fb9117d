"""A sheet that is to be loaded, and the account of one that is landed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

from pipeline.ingest.files import Shape
from pipeline.ingest.headings import Headings
from pipeline.ingest.mend_rows import MendRow
from schemas import Table

if TYPE_CHECKING:
    from python_calamine import CalamineSheet


@dataclass(frozen=True)
class Sheet:
    """One readable sheet: where it came from, which table it is, and how it is laid out.

    `text_path` is a UTF-8 file, or None for a sheet of a workbook, whose rows `book_sheet` holds. Landing fills
    `mends` with what the rows of a sheet of mended rows say. `words` is what the headings file `mapped_by` says that
    words of a column stand for.
    """

    file_id: int
    relative: str
    sheet_name: str | None
    table: Table
    sha256: str
    length: int
    encoding: str | None
    delimiter: str | None
    headings: Headings
    shape: Shape | None
    text_path: Path | None
    book_sheet: CalamineSheet | None = None
    notes: list[str] = field(default_factory=list)
    mends: list[MendRow] = field(default_factory=list)
    words: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    mapped_by: str | None = None

    @property
    def free_text(self) -> frozenset[int]:
        """Places of the fields in which a line may end inside quotation marks."""
        return frozenset(
            place
            for place, column in enumerate(self.headings.columns)
            if column is not None and _is_free_text(self.table, column)
        )


@dataclass(frozen=True)
class Landed:
    """The account of a landed sheet; `rows_in` leaves out headings, blank rows and example rows."""

    line_count: int
    rows_in: int
    rows_blank: int
    example_rows: int
    rows_broken: int


def _is_free_text(table: Table, column: str) -> bool:
    declared = table.field(column)
    return (
        declared.type == "string" and not declared.enum and declared.pattern is None and not declared.unique
    )
