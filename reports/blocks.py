"""What pages are put together from: paragraphs, tables, figures, ledgers. Data only; templates draw them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import ClassVar, Literal, NamedTuple

from markupsafe import Markup

from reports.figures.called_zone import ZoneDrawing
from reports.figures.order_of_decision import OrderDrawing
from reports.figures.rows import RowChart

MarkName = Literal["disc", "block", "rhomb", "ring", "cross", "query", "dash"]
"""Shapes that stand beside a word; none carries meaning by colour alone."""


class Link(NamedTuple):
    """Words that lead to a place within the same folder of pages."""

    text: str
    href: str


Inline = str | Link


class Cell(NamedTuple):
    """One cell of a table.

    `sort` is what the column is ordered by where that is not the text. `mark` is a shape before the text.
    `links` stand after the text, parted by commas. `parts` are running text after it.
    """

    text: str
    href: str | None = None
    mark: MarkName | None = None
    sort: float | str | None = None
    links: tuple[Link, ...] = ()
    parts: tuple[Inline, ...] = ()


@dataclass(frozen=True)
class Column:
    """One column: heading, and whether it holds text, figures, long text, days, or numbers of rules that stay whole."""

    title: str
    kind: Literal["text", "num", "long", "day", "ref"] = "text"


@dataclass(frozen=True)
class Table:
    """A table with a caption. `row_ids` are anchors of the rows, `empty` what is said when there are none.

    `ready` are rows that many tables share, as HTML with their anchors (`drawing.row_html`).
    """

    kind: ClassVar[str] = "table"
    id: str
    caption: str
    columns: Sequence[Column]
    rows: Sequence[Sequence[Cell]]
    row_ids: Sequence[str] = ()
    empty: str = "Nothing to show."
    total: Sequence[Cell] = ()
    ready: Sequence[Markup] = ()


@dataclass(frozen=True)
class Figure:
    """A drawn figure with the table of its numbers beside it. `title` is a plain sentence."""

    kind: ClassVar[str] = "figure"
    id: str
    title: str
    chart: RowChart
    table: Table
    note: str = ""


@dataclass(frozen=True)
class Paragraph:
    """Running text with links; `tone` is `caution` for what a reader must not overlook."""

    kind: ClassVar[str] = "paragraph"
    parts: Sequence[Inline]
    tone: Literal["plain", "caution", "lead"] = "plain"


@dataclass(frozen=True)
class Points:
    """A list of short sentences."""

    kind: ClassVar[str] = "points"
    items: Sequence[Sequence[Inline]]
    title: str = ""


@dataclass(frozen=True)
class Terms:
    """Short statements, each under a word that says what it is."""

    kind: ClassVar[str] = "terms"
    items: Sequence[tuple[str, Sequence[Inline]]]


@dataclass(frozen=True)
class Outline:
    """Lines that stand one within another, each with its depth from 0."""

    kind: ClassVar[str] = "outline"
    lines: Sequence[tuple[int, str]]

    @property
    def steps(self) -> list[tuple[int, int, str]]:
        """Each line with the lists to open before it and those to close; never deeper by more than one at a time."""
        found, at = [], -1
        for depth, words in self.lines:
            depth = min(max(depth, 0), at + 1)
            found.append((max(depth - at, 0), max(at - depth, 0), words))
            at = depth
        return found

    @property
    def last_depth(self) -> int:
        """How many lists are open after the last line."""
        at = -1
        for depth, _ in self.lines:
            at = min(max(depth, 0), at + 1)
        return at + 1


@dataclass(frozen=True)
class Exact:
    """A text as it stands in the declarations, folded away under its title."""

    kind: ClassVar[str] = "exact"
    title: str
    text: str


@dataclass(frozen=True)
class Steps:
    """The order of decision: drawn for the screen and for paper, and as an ordered list. `title` is a sentence."""

    kind: ClassVar[str] = "steps"
    id: str
    title: str
    drawing: OrderDrawing
    paper: OrderDrawing
    entries: Sequence[Entry]
    note: str = ""


@dataclass(frozen=True)
class ZoneFigure:
    """A called zone drawn against the rule book's, with the table of its numbers. `title` is a plain sentence."""

    kind: ClassVar[str] = "zone"
    id: str
    title: str
    drawing: ZoneDrawing
    table: Table
    note: str = ""


@dataclass(frozen=True)
class Tool:
    """A place that a script fills: `name` of the tool, addresses of its data, and what is read where none runs."""

    kind: ClassVar[str] = "tool"
    id: str
    name: Literal["find", "rows", "trial", "compare"]
    without: str
    source: str = ""


@dataclass(frozen=True)
class Entry:
    """One entry of a ledger: what it is, its mark, lines of label and text, and what goes in the margin."""

    id: str
    heading: str
    mark: MarkName | None
    verdict: str
    lines: Sequence[tuple[str, Sequence[Inline]]]
    margin: Sequence[Inline] = ()


@dataclass(frozen=True)
class Ledger:
    """Entries one under another, each with its own anchor; `ready` are entries as HTML (`drawing.entry_html`)."""

    kind: ClassVar[str] = "ledger"
    id: str
    title: str
    entries: Sequence[Entry]
    ready: Sequence[Markup] = ()


@dataclass(frozen=True)
class Blank:
    """A place to write by hand: what belongs there, boxes to tick, and how many ruled lines."""

    label: str
    choices: Sequence[str] = ()
    lines: int = 0


@dataclass(frozen=True)
class FormEntry:
    """One entry of a form: what it is, its mark, lines of label and text, and what is to be filled in below them."""

    id: str
    heading: Inline
    mark: MarkName | None
    verdict: str
    lines: Sequence[tuple[str, Sequence[Inline]]]
    blanks: Sequence[Blank]


@dataclass(frozen=True)
class Form:
    """Entries to be filled in on paper."""

    kind: ClassVar[str] = "form"
    id: str
    title: str
    entries: Sequence[FormEntry]


Block = Table | Figure | Paragraph | Points | Ledger | Terms | Outline | Exact | Steps | ZoneFigure | Tool | Form


@dataclass
class Section:
    """A headed part of a page, with a note in the margin on how to read it.

    `drawn` is the section as HTML, from when it is first asked for.
    """

    id: str
    title: str
    blocks: Sequence[Block]
    margin: Sequence[Inline] = ()
    drawn: str | None = field(default=None, init=False, repr=False, compare=False)


@dataclass(frozen=True)
class Page:
    """One page: its path within the folder, title, lead and sections.

    `trail` leads back to where a reader came from; `scripts` are those of the assets that fill its tools.
    """

    path: str
    title: str
    lead: Sequence[Inline]
    sections: Sequence[Section]
    trail: Sequence[Link] = field(default_factory=tuple)
    nav: str = ""
    scripts: Sequence[str] = ()

    @property
    def root(self) -> str:
        """The way from this page to the top of its folder of pages."""
        return "../" * self.path.count("/")
