"""The tables of a season, declared once, and their typed reader."""

from schemas.reader import (
    Field,
    ForeignKey,
    RowRule,
    Table,
    all_tables,
    fact_columns,
    layer_tables,
    ruled_columns,
    table,
)

__all__ = [
    "Field",
    "ForeignKey",
    "RowRule",
    "Table",
    "all_tables",
    "fact_columns",
    "layer_tables",
    "ruled_columns",
    "table",
]
