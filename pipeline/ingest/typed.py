"""How a cell is typed: lexical test first, cast second.

A cast alone takes too much: it reads `0x10` as 16, `1e400` as infinity and `9.5` as the whole number 10.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from dataclasses import field as with_default

from pipeline.errors import ContractError, Where
from pipeline.ingest.cells import text_sql
from pipeline.ingest.units import converted_sql
from schemas import Field
from schemas.reader import NUMBER_PATTERN
from schemas.store_tables import stored_type

YES = ("yes", "y", "true", "t", "x", "1")
NO = ("no", "n", "false", "f", "0")
YES_NO = ("yes", "no")
ISO_DAY = r"([0-9]{4}-[0-9]{2}-[0-9]{2})([T ]00:00(:00([.]0*)?)?)?"
OTHER_DAY = r"[0-9]{1,2}([.][0-9]{1,2}[.]|/[0-9]{1,2}/|-[0-9]{1,2}-)[0-9]{4}"
"""Day and month in either order, then the year, with one mark between them."""

QUOTES = "\u201c\u201d\u201e\u2018\u2019\u201a"
"""Quotation marks as word processors set them, double and single, upper and lower."""

MINUS = "\u2212"
_JOINTS = " -\u00a0\u2007\u202f\u2010\u2011"
"""What may stand between the words of an allowed value: blank and hyphen, also those at which no line breaks."""

_FEW_VALUES = 8
"""Up to so many allowed values a cell is compared with each of them."""


@dataclass(frozen=True)
class Reading:
    """How the cells of a sheet are read.

    Attributes
    ----------
    decimal_comma
        Whether commas are decimal points.
    date_order
        `dmy` or `mdy` where the season says in which order day and month stand in a day that is not in ISO form.
    units
        For each column whose cells are in another unit than the declared one, that unit.
    words
        For a column, what words in it (in lower case) stand for.
    """

    decimal_comma: bool = False
    date_order: str | None = None
    units: Mapping[str, str] = with_default(default_factory=dict)
    words: Mapping[str, Mapping[str, str]] = with_default(default_factory=dict)


PLAIN_READING = Reading()


def _listed(values: tuple[str, ...]) -> str:
    return "(" + ", ".join(f"'{value}'" for value in values) + ")"


def _word(cell: str) -> str:
    """Return SQL for a cell as allowed values are written: lower case, `_` for blanks and hyphens."""
    # From the fourth codepoint on these are rare, and `translate` is slow.
    plain = f"replace(replace(lower({cell}), ' ', '_'), '-', '_')"
    rare = f"translate(lower({cell}), {text_sql(_JOINTS)}, '{'_' * len(_JOINTS)}')"
    return f"CASE WHEN regexp_matches({cell}, '[^ -~]') THEN {rare} ELSE {plain} END"


def _enum_sql(field: Field, cell: str) -> str:
    if field.list_separator:
        parts = f"string_split({cell}, '{field.list_separator}')"
        words = f"list_transform({parts}, lambda part: {_word('trim(part)')})"
        allowed = "[" + ", ".join(f"'{value}'" for value in field.enum) + "]"
        # In declared order, each once, so that `low+inside` and `inside+low` are one value.
        kept = f"list_filter({allowed}, lambda value: list_contains({words}, value))"
        return (
            f"CASE WHEN len(list_filter({words}, lambda word: NOT list_contains({allowed}, word))) = 0 "
            f"THEN array_to_string({kept}, '{field.list_separator}') END"
        )
    if field.enum == YES_NO:
        return (
            f"CASE WHEN {cell} IN {_listed(YES_NO)} THEN {cell} WHEN lower({cell}) IN {_listed(YES)} THEN 'yes' "
            f"WHEN lower({cell}) IN {_listed(NO)} THEN 'no' END"
        )
    # Most cells hold an allowed value as it is, and comparing costs a fraction of making a word of it.
    return (
        f"CASE WHEN {cell} IN {_listed(field.enum)} THEN {cell} "
        f"WHEN {_word(cell)} IN {_listed(field.enum)} THEN {_word(cell)} END"
    )


def _text_sql(field: Field, cell: str, reading: Reading) -> str:
    return _enum_sql(field, cell) if field.enum else cell


def _integer_sql(field: Field, cell: str, reading: Reading) -> str:
    # `3.0` is the whole number 3 as other programs write it where a column has blanks; `3.5` is none.
    # One digit, which most are, needs no pattern.
    return (
        f"CASE WHEN strlen({cell}) = 1 AND {cell} BETWEEN '0' AND '9' THEN CAST(ascii({cell}) - 48 AS BIGINT) "
        f"WHEN regexp_full_match({cell}, '[+-]?[0-9]+([.]0*)?') "
        f"THEN TRY_CAST(regexp_replace({cell}, '[.]0*$', '') AS BIGINT) END"
    )


def _number_sql(field: Field, cell: str, reading: Reading) -> str:
    if reading.decimal_comma:
        cell = f"replace({cell}, ',', '.')"
    bare = f"replace({cell}, '{MINUS}', '-')"
    # A minus sign proper is looked for only where the cell would not fit otherwise.
    number = (
        f"CASE WHEN regexp_full_match({cell}, '{NUMBER_PATTERN}') THEN TRY_CAST({cell} AS DOUBLE) "
        f"WHEN starts_with({cell}, '{MINUS}') AND regexp_full_match({bare}, '{NUMBER_PATTERN}') "
        f"THEN TRY_CAST({bare} AS DOUBLE) END"
    )
    unit = reading.units.get(field.name)
    return converted_sql(f"({number})", field.unit or "", unit) if unit else number


def _date_sql(field: Field, cell: str, reading: Reading) -> str:
    # Without the season's setting, another form than ISO is taken only where it can be but one day: one of the two
    # parts is above 12, or both are alike. With it, a day that does not follow the setting is refused.
    iso = f"CAST(try_strptime(regexp_extract({cell}, '{ISO_DAY}', 1), '%Y-%m-%d') AS DATE)"
    marked = f"translate({cell}, '/-', '..')"
    first, second = (f"TRY_CAST(split_part({marked}, '.', {place}) AS INTEGER)" for place in (1, 2))
    forms = {"dmy": "%d.%m.%Y", "mdy": "%m.%d.%Y"}
    day_first, month_first = (f"CAST(try_strptime({marked}, '{form}') AS DATE)" for form in forms.values())
    other = {"dmy": day_first, "mdy": month_first, None: (
        f"CASE WHEN {first} > 12 OR {first} = {second} THEN {day_first} WHEN {second} > 12 THEN {month_first} END"
    )}[reading.date_order]  # fmt: skip
    return (
        f"CASE WHEN regexp_full_match({cell}, '{ISO_DAY}') THEN {iso} "
        f"WHEN regexp_full_match({cell}, '{OTHER_DAY}') THEN {other} END"
    )


_TYPED: dict[str, Callable[[Field, str, Reading], str]] = {
    "string": _text_sql,
    "integer": _integer_sql,
    "number": _number_sql,
    "date": _date_sql,
}


def typed_sql(field: Field, cell: str, reading: Reading = PLAIN_READING) -> str:
    """Return the DuckDB expression that types the trimmed text `cell`, NULL where it does not fit.

    Raises
    ------
    ContractError
        No lexical test is known for the type of this column.
    """
    if field.type not in _TYPED:
        raise ContractError(
            f"columns of type {field.type!r} cannot be loaded from a sheet",
            where=Where("schemas", column=field.name),
        )
    return _TYPED[field.type](field, cell, reading)


def cast_sql(field: Field, cell: str, reading: Reading, *, are_many: bool) -> str:
    """Return the DuckDB expression that types a plain cell, which is written just as its column is declared.

    `are_many` says that rows are so many that what saves time on each is worth a longer statement.
    """
    if field.type == "string":
        return _known_value_sql(field, cell) if are_many else cell
    cast = f"CAST({cell} AS {field.duckdb_type})"
    unit = reading.units.get(field.name) if field.type == "number" else None
    return converted_sql(cast, field.unit or "", unit) if unit else cast


def _known_value_sql(field: Field, cell: str) -> str:
    """Return a cell that holds an allowed value, or a text, as it is stored."""
    kind = stored_type(field)
    if kind == field.duckdb_type or len(field.enum) > _FEW_VALUES:
        return cell
    # The engine looks each text up in a table of the values; comparing with a few takes a third of the time.
    values = " ".join(f"WHEN {cell} = '{value}' THEN CAST('{value}' AS {kind})" for value in field.enum)
    return f"CASE {values} END"
