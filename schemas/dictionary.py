"""The data dictionary: every declared column in words, and every table as a plain Table Schema document."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from schemas.reader import Field, Table

UNIT_WORDS = {"in": "inches", "mph": "miles per hour", "year": "years"}
"""Units of the declarations as people say them."""

TYPE_WORDS = {
    "string": "text",
    "integer": "whole number",
    "number": "number",
    "date": "day (year-month-day)",
    "boolean": "true or false",
    "datetime": "day and time",
}


@dataclass(frozen=True)
class ColumnEntry:
    """One column of the dictionary; every part is text for the reader, empty where there is nothing to say.

    `blank` says what an empty cell means, and `read_as` the value it is read as, if it is read as one.
    """

    column: str
    title: str
    group: str
    description: str
    type: str
    unit: str
    required: bool
    allowed: tuple[str, ...]
    limits: str
    blank: str
    read_as: str
    other_headings: tuple[str, ...]
    example: str


@dataclass(frozen=True)
class TableEntry:
    """One table of the dictionary; `points_to` lists (columns, table) of its foreign keys."""

    table: str
    title: str
    description: str
    key: tuple[str, ...]
    points_to: tuple[tuple[str, str], ...]
    row_rules: tuple[str, ...]
    columns: tuple[ColumnEntry, ...]


def range_words(field: Field) -> str:
    """Return the limits of a column, led by a blank (` from 0 to 3`); empty where it has none."""
    if field.minimum is not None and field.maximum is not None:
        return f" from {field.minimum} to {field.maximum}"
    if field.minimum is not None:
        return f" of {field.minimum} or more"
    return f" of {field.maximum} or less" if field.maximum is not None else ""


def _column_entry(field: Field) -> ColumnEntry:
    several = f", several joined by {field.list_separator}" if field.list_separator else ""
    return ColumnEntry(
        column=field.name,
        title=field.title,
        group=field.group or "",
        description=field.description,
        type=TYPE_WORDS[field.type] + several,
        unit=UNIT_WORDS.get(field.unit, field.unit) if field.unit else "",
        required=field.required,
        allowed=field.enum,
        limits=range_words(field).strip(),
        blank="a blank is not allowed" if field.required else field.blank or "",
        read_as=field.blank_value or "",
        other_headings=field.aliases,
        example=field.example or "",
    )


def table_entry(table: Table) -> TableEntry:
    """Return the dictionary entry of one table, columns in declared order."""
    return TableEntry(
        table=table.name,
        title=table.title,
        description=table.description,
        key=table.primary_key,
        points_to=tuple((", ".join(key.fields), key.table) for key in table.foreign_keys),
        row_rules=tuple(
            f"refused where {rule.message}" for rule in table.row_rules if rule.severity == "reject"
        ),
        columns=tuple(_column_entry(field) for field in table.fields),
    )


def table_schema(table: Table) -> dict[str, Any]:
    """Return a table as a plain Table Schema document, with borrowed columns written out and no keys of ours.

    The allowed values of a column that may hold several are left out: the standard cannot state them.
    """
    schema: dict[str, Any] = {
        "fields": [_standard_field(field) for field in table.fields],
        "missingValues": [""],
    }
    if table.primary_key:
        schema["primaryKey"] = list(table.primary_key)
    if table.foreign_keys:
        schema["foreignKeys"] = [
            {
                "fields": list(key.fields),
                "reference": {"resource": key.table, "fields": list(key.target_fields)},
            }
            for key in table.foreign_keys
        ]
    return schema


def _standard_field(field: Field) -> dict[str, Any]:
    stated = {
        "required": field.required or None,
        "unique": field.unique or None,
        "enum": list(field.enum) if field.enum and not field.list_separator else None,
        "minimum": field.minimum,
        "maximum": field.maximum,
        "pattern": field.pattern,
    }
    constraints = {key: value for key, value in stated.items() if value is not None}
    described = {
        "name": field.name,
        "title": field.title,
        "type": field.type,
        "description": field.description,
    }
    return described | ({"constraints": constraints} if constraints else {})
