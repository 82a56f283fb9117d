"""Say in plain words why a cell does not fit its column, and what to write instead."""

from __future__ import annotations

import datetime as dt
import re
from dataclasses import dataclass

from pipeline.ingest.headings import nearest
from schemas import Field
from schemas.dictionary import UNIT_WORDS, range_words

_DAY_PARTS = re.compile(r"([0-9]{1,4})[./-]([0-9]{1,2})[./-]([0-9]{2,4})")
_ISO = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")
_SHOWN = 60


@dataclass(frozen=True)
class Misfit:
    """A cell that does not fit: the column, the value, the reason, and the remedy."""

    column: str
    value: str
    reason: str
    remedy: str


def explain(field: Field, value: str, date_order: str | None = None) -> Misfit:
    """Return why `value` does not fit `field`, and what to do about it; `date_order` as the season has set it."""
    shown = value if len(value) <= _SHOWN else value[: _SHOWN - 1] + "…"
    reason, remedy = _words(field, value, shown, date_order)
    return Misfit(field.name, value, reason, remedy)


def _words(field: Field, value: str, shown: str, date_order: str | None) -> tuple[str, str]:
    if field.enum:
        return _enum_words(field, value, shown)
    if field.type == "date":
        return _date_words(field, value, shown, date_order)
    kind = "a whole number" if field.type == "integer" else "a number"
    unit = f" ({UNIT_WORDS.get(field.unit, field.unit)})" if field.unit else ""
    remedy = f"write {kind}{range_words(field)}{unit}, such as {field.example}{_or_blank(field)}"
    if "," in value and re.fullmatch(r"[+-]?[0-9]+,[0-9]+", value):
        remedy = f"write {value.replace(',', '.')} if the comma is a decimal point; {remedy}"
    return f"{shown!r} is not {kind}", remedy


def _or_blank(field: Field) -> str:
    return "" if field.required else f", or leave it blank ({field.blank})"


def _enum_words(field: Field, value: str, shown: str) -> tuple[str, str]:
    allowed = ", ".join(field.enum)
    joined = f" (several may be joined by {field.list_separator})" if field.list_separator else ""
    parts = value.split(field.list_separator) if field.list_separator else [value]
    near = [nearest(part.strip().casefold().replace(" ", "_"), field.enum) for part in parts]
    offers = [item for item in near if item]
    if len(offers) == len(parts):
        meant = (field.list_separator or "").join(offers)
        remedy = f"did you mean {meant!r}?"
    else:
        remedy = f"write one of the allowed values{_or_blank(field)}"
    return f"{shown!r} is not one of: {allowed}{joined}", remedy


def _date_words(field: Field, value: str, shown: str, date_order: str | None) -> tuple[str, str]:
    example = f"write the day as year-month-day, such as {field.example}{_or_blank(field)}"
    if _ISO.fullmatch(value):
        return f"{shown!r} is a day that is not in the calendar", example
    readings = _readings(value)
    if readings and date_order is not None and _DAY_PARTS.fullmatch(value):
        said = "day-month-year" if date_order == "dmy" else "month-day-year"
        reason = f"{shown!r} is neither a day written as year-month-day nor, as the policy says, as {said}"
        return reason, f"write {' or '.join(readings)}"
    if len(readings) > 1:
        return f"{shown!r} could be two different days", f"write {' or '.join(readings)}, whichever is meant"
    if readings:
        return f"{shown!r} is not a day written as year-month-day", f"write {readings[0]}"
    return f"{shown!r} is not a day written as year-month-day", example


def _readings(value: str) -> list[str]:
    """Return the days, in ISO form, that a date written another way could mean."""
    match = _DAY_PARTS.fullmatch(value)
    if not match:
        return []
    first, second, third = (int(part) for part in match.groups())
    if len(match.group(1)) == 4:
        orders = [(first, second, third)]
    else:
        year = third if len(match.group(3)) == 4 else 2000 + third
        orders = [(year, first, second), (year, second, first)]
    days = []
    for year, month, day in orders:
        try:
            text = dt.date(year, month, day).isoformat()
        except ValueError:
            continue
        if text not in days:
            days.append(text)
    return days
