"""Tables and ledgers as HTML, put together in Python: they are nearly all that a season's pages consist of.

A template takes some ten times as long for them. Every text is escaped here, and only here.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from functools import lru_cache

from markupsafe import Markup

from reports.blocks import Cell, Column, Entry, Inline, Ledger, Link, MarkName, Table

_SPECIAL = re.compile("[&<>\"']")
_UNBROKEN = 12
_WIDE = 11
"""Columns from which a table is set smaller on paper, so that a sheet holds it."""
_JOINT = re.compile(r"(?<=[._+/])(?=.)")

_SHAPES: dict[str, str] = {
    "disc": '<circle cx="6" cy="6" r="4.5"/>',
    "block": '<rect x="1.8" y="1.8" width="8.4" height="8.4"/>',
    "rhomb": '<path d="M6 1 11 6 6 11 1 6Z"/>',
    "ring": '<circle cx="6" cy="6" r="4"/>',
    "cross": '<path d="M2 2 10 10M10 2 2 10"/>',
    "query": '<path d="M3.2 3.8C3.2 1 8.8 1 8.8 3.8 8.8 5.8 6 5.6 6 7.8M6 10v.6"/>',
    "dash": '<path d="M2 6H10"/>',
}
_GLYPHS = {
    name: f'<svg class="glyph glyph-{name}" viewBox="0 0 12 12" width="12" height="12" aria-hidden="true" '
    f'focusable="false">{path}</svg> '
    for name, path in _SHAPES.items()
}


def escaped(text: str) -> str:
    """Return a text with the five characters escaped that HTML could take for its own."""
    if not _SPECIAL.search(text):
        return text
    text = text.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")
    return text.replace('"', "&#34;").replace("'", "&#39;")


def glyph(name: MarkName) -> Markup:
    """Return a shape that stands before a word."""
    return Markup(_GLYPHS[name][:-1])  # noqa: S704


def link_html(link: Link) -> str:
    """Return a link, escaped."""
    return f'<a href="{escaped(link.href)}">{escaped(link.text)}</a>'


def inline_text(parts: Iterable[Inline]) -> str:
    """Return running text with its links, escaped; `Markup` is HTML already, and stands as it is."""
    return "".join(
        [
            escaped(part) if type(part) is str else link_html(part) if isinstance(part, Link) else part  # in order of frequency
            for part in parts
        ]
    )


@lru_cache(maxsize=4096)
def breakable_text(text: str) -> str:
    """Return a text, escaped, that may be broken within long names such as `plate_calls_E01.csv`, at their joints."""
    if len(text) < _UNBROKEN or " " in text:
        return escaped(text)
    return "<wbr>".join([escaped(part) for part in _JOINT.split(text)])


def _rich(text: str, item: Cell) -> str:
    """Return what stands in a cell that holds more than a text; `text` is its text as HTML."""
    if item.href:
        text = f'<a href="{escaped(item.href)}">{text}</a>'
    if item.mark:
        text = _GLYPHS[item.mark] + text
    if item.links:
        text += (", " if item.text else "") + ", ".join([link_html(link) for link in item.links])
    if item.parts:
        text += (": " if item.text else "") + inline_text(item.parts)
    return text


def _cell(item: Cell) -> str:
    text = breakable_text(item.text)
    return _rich(text, item) if item.href or item.mark or item.links or item.parts else text


@lru_cache(maxsize=1024)
def _whole(text: str) -> str:
    """Numbers of rules and days: no line break parts one."""
    return ", ".join([f'<span class="whole">{escaped(part)}</span>' for part in text.split(", ")])


_Ends = tuple[str, str, str, bool]


@lru_cache(maxsize=256)
def _ends(kind: str, is_first: bool) -> _Ends:
    """Return what stands before a cell of a column, plain and with a mark, what after it, and whether it stays whole."""
    if is_first:
        start = f'<th scope="row" class="{kind}"'
        return start, start, "</th>", False
    return f'<td class="{kind}"', f'<td class="{kind} marked"', "</td>", kind == "ref"


def _row_start(row_id: str | None) -> str:
    return f'<tr id="{escaped(row_id)}">' if row_id else "<tr>"


def _row(items: Sequence[Cell], ends: Sequence[_Ends], row_id: str | None) -> str:
    return f"{_row_start(row_id)}{''.join(_drawn_cells(items, ends))}</tr>\n"


def _drawn_cells(items: Sequence[Cell], ends: Sequence[_Ends]) -> list[str]:
    out = []
    for item, (plain, marked, end, is_whole) in zip(items, ends, strict=True):
        text, href, mark, sort, links, parts = item
        if is_whole:
            drawn = _whole(text) + ": " + inline_text(parts) if parts else _whole(text)
        elif href or mark or links or parts:
            drawn = _rich(breakable_text(text), item)
        else:
            drawn = breakable_text(text)
        start = marked if mark else plain
        if sort is None:
            out.append(f"{start}>{drawn}{end}")
        elif type(sort) is str:
            out.append(f'{start} data-sort="{escaped(sort)}">{drawn}{end}')
        else:
            # A number has no character that needs escaping.
            out.append(f'{start} data-sort="{sort}">{drawn}{end}')
    return out


def row_html(items: Sequence[Cell], columns: Sequence[Column], row_id: str | None) -> Markup:
    """Return a row that many tables share, ready for the page."""
    return Markup(_row(items, _columns(columns), row_id))  # noqa: S704


def row_of(cells: Iterable[str], row_id: str | None = None) -> Markup:
    """Return a row of cells that are ready for the page (`cells_html`)."""
    return Markup(f"{_row_start(row_id)}{''.join(cells)}</tr>\n")  # noqa: S704


def cells_html(items: Sequence[Cell], columns: Sequence[Column], *, first: bool = False) -> str:
    """Return some cells of a row that stand next to each other; with `first` the first one heads the row."""
    return "".join(_drawn_cells(items, [_ends(column.kind, first and not at) for at, column in enumerate(columns)]))


def _columns(columns: Sequence[Column]) -> list[_Ends]:
    return [_ends(column.kind, not place) for place, column in enumerate(columns)]


def table_html(block: Table) -> Markup:
    """Return a table in its frame, or the sentence that says why there is none."""
    caption = escaped(block.caption)
    if not block.rows and not block.ready:
        return Markup(f'<p class="nothing"><strong>{caption}.</strong> {escaped(block.empty)}</p>\n')  # noqa: S704
    name = escaped(block.id)
    wide = " wide" if len(block.columns) >= _WIDE else ""
    out = [
        f'<div class="table-wrap" role="group" aria-labelledby="{name}-caption" tabindex="0">\n'
        f'<table id="{name}" class="ledger-table{wide}">\n<caption id="{name}-caption">{caption}</caption>\n<thead><tr>\n'
    ]
    out += [f'<th scope="col" class="{column.kind}">{escaped(column.title)}</th>\n' for column in block.columns]
    out.append("</tr></thead>\n<tbody>\n")
    ends = _columns(block.columns)
    ids: Sequence[str | None] = block.row_ids or [None] * len(block.rows)
    out += [_row(items, ends, row_id) for items, row_id in zip(block.rows, ids, strict=True)]
    out += block.ready
    out.append("</tbody>\n")
    if block.total:
        out.append(f'<tfoot><tr><th scope="row">{_cell(block.total[0])}</th>')
        out += [
            f'<td class="{column.kind}">{_cell(item)}</td>'
            for item, column in zip(block.total[1:], block.columns[1:], strict=True)
        ]
        out.append("</tr></tfoot>\n")
    out.append("</table>\n</div>\n")
    return Markup("".join(out))  # noqa: S704


def lines_html(lines: Iterable[tuple[str, Sequence[Inline]]]) -> Markup:
    """Return lines of an entry, each a label and its text."""
    drawn = [f"<div><dt>{escaped(label)}</dt><dd>{inline_text(parts)}</dd></div>\n" for label, parts in lines]
    return Markup("".join(drawn))  # noqa: S704


def verdict_html(mark: MarkName | None, word: str) -> Markup:
    """Return a word with the shape before it."""
    return Markup((_GLYPHS[mark] if mark else "") + escaped(word))  # noqa: S704


def entry_html(entry_id: str, heading: str, verdict: Markup, lines: Markup, margin: str) -> Markup:
    """Return one entry of a ledger; verdict, lines and margin are ready for the page."""
    below = f'<p class="entry-margin">{margin}</p>' if margin else ""
    return Markup(  # noqa: S704
        f'<li id="{escaped(entry_id)}">\n<p class="entry-head"><span class="entry-name">{escaped(heading)}</span> '
        f'<span class="entry-verdict">{verdict}</span></p>\n<dl>\n{lines}</dl>\n{below}</li>\n'
    )


def _entry(entry: Entry) -> Markup:
    verdict = verdict_html(entry.mark, entry.verdict)
    return entry_html(entry.id, entry.heading, verdict, lines_html(entry.lines), inline_text(entry.margin))


def ledger_html(block: Ledger) -> Markup:
    """Return a ledger under its heading; nothing where it has no entry."""
    if not block.entries and not block.ready:
        return Markup("")
    entries = "".join([*[_entry(entry) for entry in block.entries], *block.ready])
    heading = f'<h3 id="{escaped(block.id)}">{escaped(block.title)}</h3>'
    return Markup(f'{heading}\n<ol class="ledger">\n{entries}</ol>\n')  # noqa: S704
