"""Write names and values of the declarations into DuckDB SQL, so that none of them can be read as code."""

from __future__ import annotations

import datetime as dt

from pipeline.errors import ContractError


def identifier(name: str) -> str:
    """Return a column or table name as a DuckDB identifier."""
    return '"' + name.replace('"', '""') + '"'


def literal(value: str | float | dt.date) -> str:
    """Return a declared value as a DuckDB literal.

    Raises
    ------
    ContractError
        The value is none of text, number and date.
    """
    if isinstance(value, bool):
        raise ContractError(f"{value!r} cannot be written into SQL: declare text or a number")
    if isinstance(value, str):
        return "'" + value.replace("'", "''") + "'"
    if isinstance(value, dt.date) and not isinstance(value, dt.datetime):
        return f"DATE '{value.isoformat()}'"
    if isinstance(value, int | float):
        return repr(value)
    raise ContractError(f"{value!r} cannot be written into SQL: declare text, a number or a date")


def listed(values: tuple[str, ...]) -> str:
    """Return values as a DuckDB list in brackets, for IN."""
    return "(" + ", ".join(literal(value) for value in values) + ")"
