"""Lay the columns of a sheet that somebody must fill in beside the rulings, for `pub_fact` and `pub_evaluator_fact`."""

from __future__ import annotations

import schemas
from pipeline.publish.rule_words import either, plain
from pipeline.store import Store

_GROUPS = ("situation", "pitch", "bat", "batter")
"""What happened; the other groups say who wrote it down, what was ruled, and what the evaluator thought of it."""


_MEASURED_TOO = {"location": ("Place of the pitch, measured or by eye", "or the measured place and zone")}
"""Facts that are known from other columns as well: their titles, and what else may be written."""


def make_fact_text(store: Store) -> None:
    """Make the temporary table `fact_text`: each fact of `plate_calls` whose blank means that nobody recorded it.

    `allowed` says what may be written there, in words.
    """
    store.run("CREATE OR REPLACE TEMP TABLE fact_text (fact VARCHAR, place BIGINT, title VARCHAR, allowed VARCHAR)")
    for place, field in enumerate(schemas.table("plate_calls").fields):
        if field.group in _GROUPS and field.blank_value is None:
            title, more = _MEASURED_TOO.get(field.name, (field.title, ""))
            allowed = f"{_allowed(field)}, {more}" if more else _allowed(field)
            store.run("INSERT INTO fact_text VALUES (?, ?, ?, ?)", [field.name, place, title, allowed])


def drop_fact_text(store: Store) -> None:
    """Drop what `make_fact_text` made."""
    store.run("DROP TABLE fact_text")


def _allowed(field: schemas.Field) -> str:
    if field.enum:
        return either([plain(value) for value in field.enum])
    words = {"integer": "a whole number", "number": "a number", "date": "a day"}.get(field.type, "words")
    units = {"in": "inches", "mph": "miles an hour"}
    return f"{words} in {units.get(field.unit, field.unit)}" if field.unit else words
