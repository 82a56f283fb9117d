"""The data dictionary: every table and column, made from the declarations."""

from __future__ import annotations

from collections.abc import Iterator

from reports.blocks import Block, Cell, Column, Link, Page, Paragraph, Points, Section, Table
from reports.words import NOTHING, sentence
from schemas import all_tables
from schemas.dictionary import TableEntry, table_entry

_LAYERS = {
    "season": ("Handed in", "A sheet of the season folder: what people fill in."),
    "published": (
        "Results",
        "A table of the tables folder, which these pages are made from. In its CSV, a text that a spreadsheet would "
        "take for a formula starts with an apostrophe; the Parquet file is exact.",
    ),
}


_RESULTS = "dictionary-results.html"


def dictionary_pages() -> Iterator[Page]:
    """Yield `dictionary.html` of the sheets that are handed in, and a second page of the tables of results."""
    tables = sorted(all_tables(), key=lambda table: table.name)
    made = "Made from the same declarations that load, check and publish them."
    results = [table for table in tables if table.layer == "published"]
    sheets = [table for table in tables if table.layer != "published"]
    yield Page(
        path="dictionary.html",
        title="Data dictionary: sheets",
        lead=[
            "Every sheet that is handed in, column by column: what it holds, what is allowed, and what a blank means. "
            f"{made} ",
            Link(f"The {len(results)} tables of results", _RESULTS),
            " have a page of their own.",
        ],
        sections=[_section(table_entry(table), table.layer) for table in sheets],
        nav="dictionary.html",
    )
    yield Page(
        path=_RESULTS,
        title="Data dictionary: results",
        lead=[
            "Every table of results, column by column: what it holds, what is allowed, and what a blank means. ",
            made,
        ],
        sections=[_section(table_entry(table), table.layer) for table in results],
        trail=[Link("Data dictionary: sheets", "dictionary.html")],
        nav="dictionary.html",
    )


def _section(entry: TableEntry, layer: str) -> Section:
    has_headings = any(column.other_headings for column in entry.columns)
    columns = [
        Column("Column"),
        Column("What it holds", "long"),
        Column("Kind"),
        Column("Allowed", "long"),
        Column("A blank means", "long"),
    ]
    if has_headings:
        columns.append(Column("Also understood as", "long"))
    rows = []
    for column in entry.columns:
        row = [
            Cell(column.column),
            Cell(f"{column.title}. {column.description}".strip()),
            Cell(", ".join(part for part in (column.type, column.unit, "required" * column.required) if part)),
            Cell(", ".join(column.allowed) or column.limits.strip() or NOTHING),
            Cell((column.blank + (f" (read as {column.read_as})" if column.read_as else "")) or NOTHING),
        ]
        if has_headings:
            row.append(Cell(", ".join(column.other_headings) or NOTHING))
        rows.append(row)
    told, about = _LAYERS.get(layer, (layer, ""))
    blocks: list[Block] = [
        Paragraph([entry.description]),
        Table(f"dictionary-{entry.table}", f"{told}: columns of {entry.table}", columns, rows),
    ]
    facts = [f"Each row is told apart by: {', '.join(entry.key)}."] if entry.key else []
    facts += [f"{names} must stand in {table}." for names, table in entry.points_to]
    facts += [sentence(rule) for rule in entry.row_rules]
    blocks.append(Points([[fact] for fact in facts]))
    return Section(entry.table, f"{entry.title} ({entry.table})", blocks, margin=[f"{told}. {about}"])
