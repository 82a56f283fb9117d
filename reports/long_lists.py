"""Lists of people too long for one page: the first rows, parts that can be read without scripts, and data to search.

A page shows the first rows of such a list, and names its parts, which are pages of a fixed number of rows in the
page's order. A set of data beside the pages holds every row, so that a search, a sort or a filter finds everybody.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any

from reports.blocks import Block, Cell, Inline, Link, Page, Paragraph, Points, Section, Table, Tool
from reports.data_scripts import data_address, data_name, packed_script
from reports.parts import row_parts
from reports.words import count

PART_ROWS = 200
"""Rows on one part: one of the widest list takes some 750 bytes."""

LEAST_ROWS = 10
"""Of each list a page shows so many rows, however many lists it has."""

FOLDER = "lists"
_SCRIPTS = ("draws.js", "rows.js")


def room(sizes: Sequence[int], most: int) -> int:
    """Return how many rows each list of a page may show, so that together they show no more than `most`.

    `sizes` are the lists' rows. A short list leaves its room to the others; each may show `LEAST_ROWS`.
    """
    left, share = most, most
    for place, size in enumerate(sorted(sizes)):
        share = left // (len(sizes) - place)
        if size > share:
            break
        left -= size
        share = size
    return max(share, LEAST_ROWS)


def scripts_for(sections: Iterable[Section]) -> tuple[str, ...]:
    """Return the scripts that a page of these sections needs for its long lists; none where it has none."""
    has_lists = any(
        isinstance(block, Tool) and block.name == "rows" for section in sections for block in section.blocks
    )
    return _SCRIPTS if has_lists else ()


def first_shown(most: int, size: int) -> str:
    """Return what is said beside a figure of a long list's first rows."""
    return f"Figure and table begin with the first {count(most)} of {count(size)}; search and parts below have all."


@dataclass(frozen=True)
class _LongList:
    """A list in parts: its key (a file name), table, title, where it stands, and the page's place in the masthead."""

    key: str
    table: Table
    title: str
    home: Link
    nav: str

    @property
    def name(self) -> str:
        return data_name("rows", self.key)

    @property
    def parts(self) -> list[range]:
        return row_parts(len(self.table.rows), PART_ROWS)

    def file(self, number: int) -> str:
        """Return the path of part `number`, from 1."""
        return f"{FOLDER}/{self.key}-{number}.html"

    def tool(self, start: int, root: str) -> Tool:
        # The script reads from the id which table it serves, and with which row of all the table begins.
        without = f"Where scripts run, all {count(len(self.table.rows))} rows can be searched and sorted here."
        return Tool(f"rows-{start}-{self.table.id}", "rows", without, root + data_address(self.name))


class LongLists:
    """The long lists of a site, gathered while its pages are made; afterwards their parts and data are taken."""

    def __init__(self) -> None:
        self._lists: list[_LongList] = []
        self._keys: set[str] = set()

    def add(self, table: Table, title: str, home: Link, nav: str) -> str:
        """Part a list whose place is `home` (from the top of the site); return the address of the first part."""
        key = table.id
        while key.casefold() in self._keys:
            # Two ids may differ by case alone, and be one file on some disks.
            key += "-x"
        self._keys.add(key.casefold())
        self._lists.append(_LongList(key, table, title, home, nav))
        return self._lists[-1].file(1)

    def front(
        self, table: Table, most: int, title: str, home: Link, nav: str, root: str = ""
    ) -> tuple[Table, list[Block]]:
        """Return the first `most` rows of a list, and what stands below: the search over all of it, and its parts.

        A list that is no longer than that has nothing below. The addresses of `table` and `home` are from the top of
        the site; what is returned is for a page from which `root` leads there.
        """
        rows = [[_moved(cell, home, root) for cell in row] for row in table.rows[:most]] if root else table.rows[:most]
        if len(table.rows) <= most:
            return replace(table, rows=rows), []
        self.add(table, title, home, nav)
        made = self._lists[-1]
        items: list[list[Inline]] = [
            [Link(_span(part), root + made.file(number)), f": {_ends(table, part)}"]
            for number, part in enumerate(made.parts, 1)
        ]
        whole = f"All {count(len(table.rows))} rows in this order"
        return (
            replace(table, rows=rows, row_ids=table.row_ids[:most]),
            [made.tool(0, root), Points(items, title=whole)],
        )

    def pages(self) -> Iterator[Page]:
        """Yield every part of every list."""
        for one in self._lists:
            for number, part in enumerate(one.parts, 1):
                yield _part_page(one, number, part)

    def scripts(self) -> Iterator[tuple[str, bytes]]:
        """Yield name and content of each list's data: caption, columns, and every row.

        A cell is its text, or a list: text, sorting value, address, mark, links, running text; without what is blank
        at the end. Addresses are from the top of the site.
        """
        for one in self._lists:
            header = {
                "caption": one.table.caption,
                "columns": [[column.title, column.kind] for column in one.table.columns],
                "rows": [[_packed(cell, one.home) for cell in row] for row in one.table.rows],
            }
            yield one.name, packed_script(one.name, header)


def _part_page(one: _LongList, number: int, part: range) -> Page:
    rows = [[_moved(cell, one.home, "../") for cell in one.table.rows[place]] for place in part]
    table = replace(
        one.table,
        rows=rows,
        row_ids=one.table.row_ids[part.start : part.stop],
        caption=f"{one.table.caption}, {_span(part)} of {count(len(one.table.rows))}",
    )
    return Page(
        one.file(number),
        f"{one.title}, {_span(part)} of {count(len(one.table.rows))}",
        [f"From {_ends(one.table, part)}, in the order of the whole list."],
        [
            Section(
                "rows",
                "The rows",
                [Paragraph(_ways(one, number)), one.tool(part.start, "../"), table, Paragraph(_ways(one, number))],
            )
        ],
        trail=(Link(one.home.text, f"../{one.home.href}"),),
        nav=one.nav,
        scripts=_SCRIPTS,
    )


def _ways(one: _LongList, number: int) -> list[Inline]:
    """Return the ways from a part to the parts beside it, to the last ones, and to where the list begins."""
    found: list[Inline] = []
    parts = one.parts
    for words, to in (("First", 1), ("Before", number - 1), ("After", number + 1), ("Last", len(parts))):
        if 1 <= to <= len(parts) and to != number:
            found += [f"{words}: ", Link(_span(parts[to - 1]), one.file(to).removeprefix(f"{FOLDER}/")), ". "]
    return [*found, "All parts: ", Link(one.home.text, f"../{one.home.href}"), "."]


def _span(part: range) -> str:
    return f"{count(part.start + 1)} to {count(part.stop)}" if len(part) > 1 else count(part.stop)


def _ends(table: Table, part: range) -> str:
    first, last = (table.rows[place][0].text for place in (part.start, part.stop - 1))
    return f"{first} to {last}" if len(part) > 1 else first


def _address(href: str, home: Link) -> str:
    """Return an address as it is from the top of the site; one within the page of the list leads to that page."""
    return f"{home.href.partition('#')[0]}{href}" if href.startswith("#") else href


def _moved(cell: Cell, home: Link, root: str) -> Cell:
    """Return a cell with its addresses as they are on a page from which `root` leads to the top."""
    if cell.href is None and not cell.links and not cell.parts:
        return cell

    def link(to: Link) -> Link:
        return Link(to.text, f"{root}{_address(to.href, home)}")

    return cell._replace(
        href=None if cell.href is None else f"{root}{_address(cell.href, home)}",
        links=tuple(link(to) for to in cell.links),
        parts=tuple(link(part) if isinstance(part, Link) else part for part in cell.parts),
    )


def _packed(cell: Cell, home: Link) -> str | list[Any]:
    """Return a cell as the data have it."""

    def inline(part: Inline) -> str | list[str]:
        return [part.text, _address(part.href, home)] if isinstance(part, Link) else str(part)

    href = None if cell.href is None else _address(cell.href, home)
    found: list[Any] = [
        cell.text,
        cell.sort,
        href,
        cell.mark,
        [inline(link) for link in cell.links],
        [inline(p) for p in cell.parts],
    ]
    while len(found) > 1 and not found[-1] and found[-1] != 0:
        found.pop()
    return cell.text if len(found) == 1 else found
