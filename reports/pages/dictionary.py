"""The data dictionary: every sheet and column, made from the declarations."""

from __future__ import annotations

from reports.blocks import Cell, Column, Page, Paragraph, Section, Table
from reports.words import NOTHING
from schemas import layer_tables
from schemas.dictionary import TableEntry, table_entry


def dictionary_page() -> Page:
    """Make `dictionary.html`."""
    return Page(
        path="dictionary.html",
        title="Data dictionary",
        lead=[
            "Every sheet and column: what it holds, what is allowed, and what a blank means. Made from the same "
            "declarations that load and check the sheets."
        ],
        sections=[_section(table_entry(table)) for table in layer_tables("season")],
        nav="dictionary.html",
    )


def _section(entry: TableEntry) -> Section:
    table = Table(
        f"dictionary-{entry.table}",
        f"Columns of {entry.table}",
        [
            Column("Column"),
            Column("What it holds", "long"),
            Column("Kind"),
            Column("Unit"),
            Column("Allowed", "long"),
            Column("A blank means", "long"),
        ],
        [
            [
                Cell(column.column),
                Cell(column.description or column.title),
                Cell(column.type + (" (required)" if column.required else "")),
                Cell(column.unit or NOTHING),
                Cell(", ".join(column.allowed) or column.limits or NOTHING),
                Cell(column.blank + (f" (read as {column.read_as})" if column.read_as else "")),
            ]
            for column in entry.columns
        ],
    )
    return Section(entry.table, entry.title, [Paragraph([entry.description]), table])
