"""Type the rows of a landed sheet: lexical test first, cast second; misfits are set aside with a reason.

A cast alone takes too much: it reads `0x10` as 16, `1e400` as infinity and `9.5` as the whole number 10.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from pipeline.errors import ContractError, Where
from pipeline.ingest.land import BLANKS, Sheet, quoted
from pipeline.ingest.misfits import Misfit, explain
from pipeline.store import Store
from schemas import Field, Table
from schemas.reader import NUMBER_PATTERN

YES = ("yes", "y", "true", "t", "x", "1")
NO = ("no", "n", "false", "f", "0")
YES_NO = ("yes", "no")
ISO_DAY = r"([0-9]{4}-[0-9]{2}-[0-9]{2})([T ]00:00(:00([.]0*)?)?)?"
DOTTED_DAY = r"[0-9]{1,2}[.][0-9]{1,2}[.][0-9]{4}"
WORD_BATCH = 5000


def staged_table_sql(table: Table) -> str:
    """Return the statement that makes the staged table of `table` anew."""
    columns = ", ".join(f"{quoted(field.name)} {field.duckdb_type}" for field in table.fields)
    return (
        f"CREATE OR REPLACE TABLE staged.{table.name} "
        f"(row_id BIGINT, file_id INTEGER, line_no BIGINT, {columns})"
    )


def _listed(values: tuple[str, ...]) -> str:
    return "(" + ", ".join(f"'{value}'" for value in values) + ")"


def _word(cell: str) -> str:
    """Return SQL for a cell as allowed values are written: lower case, `_` for blanks and hyphens."""
    return f"replace(replace(lower({cell}), ' ', '_'), '-', '_')"


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
            f"CASE WHEN lower({cell}) IN {_listed(YES)} THEN 'yes' "
            f"WHEN lower({cell}) IN {_listed(NO)} THEN 'no' END"
        )
    return f"CASE WHEN {_word(cell)} IN {_listed(field.enum)} THEN {_word(cell)} END"


def _text_sql(field: Field, cell: str, decimal_comma: bool) -> str:
    return _enum_sql(field, cell) if field.enum else cell


def _integer_sql(field: Field, cell: str, decimal_comma: bool) -> str:
    # `3.0` is the whole number 3 as other programs write it where a column has blanks; `3.5` is none.
    return (
        f"CASE WHEN regexp_full_match({cell}, '[+-]?[0-9]+([.]0*)?') "
        f"THEN TRY_CAST(regexp_replace({cell}, '[.]0*$', '') AS BIGINT) END"
    )


def _number_sql(field: Field, cell: str, decimal_comma: bool) -> str:
    if decimal_comma:
        cell = f"replace({cell}, ',', '.')"
    return f"CASE WHEN regexp_full_match({cell}, '{NUMBER_PATTERN}') THEN TRY_CAST({cell} AS DOUBLE) END"


def _date_sql(field: Field, cell: str, decimal_comma: bool) -> str:
    # Day.month.year is taken only where it cannot be month.day.year: a day above 12, or day and month alike.
    iso = f"CAST(try_strptime(regexp_extract({cell}, '{ISO_DAY}', 1), '%Y-%m-%d') AS DATE)"
    day, month = (f"TRY_CAST(split_part({cell}, '.', {place}) AS INTEGER)" for place in (1, 2))
    clear = f"regexp_full_match({cell}, '{DOTTED_DAY}') AND ({day} > 12 OR {day} = {month})"
    dotted = f"CAST(try_strptime({cell}, '%d.%m.%Y') AS DATE)"
    return f"CASE WHEN regexp_full_match({cell}, '{ISO_DAY}') THEN {iso} WHEN {clear} THEN {dotted} END"


_TYPED: dict[str, Callable[[Field, str, bool], str]] = {
    "string": _text_sql,
    "integer": _integer_sql,
    "number": _number_sql,
    "date": _date_sql,
}


def typed_sql(field: Field, cell: str, *, decimal_comma: bool) -> str:
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
    return _TYPED[field.type](field, cell, decimal_comma)


@dataclass(frozen=True)
class Plan:
    """How one sheet is typed: its table, the columns it has, and whether commas are decimal points in it."""

    table: Table
    columns: tuple[str, ...]
    decimal_comma: bool

    @property
    def fields(self) -> tuple[Field, ...]:
        """The declared columns that the sheet has, in declared order."""
        return tuple(field for field in self.table.fields if field.name in self.columns)

    @property
    def checked(self) -> tuple[Field, ...]:
        """The columns among them in which a cell may not fit."""
        return tuple(field for field in self.fields if field.type != "string" or field.enum)


def rows_sql(plan: Plan) -> str:
    """Return the SELECT that gives each raw row of a file trimmed (`c_<column>`) and typed (`t_<column>`)."""
    cells = ", ".join(
        f"nullif(trim({quoted(field.name)}, {BLANKS}), '') AS {quoted('c_' + field.name)}"
        for field in plan.fields
    )
    typed = ", ".join(
        f"{typed_sql(field, cell, decimal_comma=plan.decimal_comma)} AS {quoted('t_' + field.name)}"
        for field in plan.fields
        for cell in (quoted("c_" + field.name),)
    )
    return (
        f"SELECT *, {typed} FROM "
        f"(SELECT line_no, raw_text, {cells} FROM raw.{plan.table.name} WHERE file_id = $file_id)"
    )


def _misfit_sql(field: Field) -> str:
    return f"({quoted('c_' + field.name)} IS NOT NULL AND {quoted('t_' + field.name)} IS NULL)"


def _any_misfit_sql(plan: Plan) -> str:
    return " OR ".join(_misfit_sql(field) for field in plan.checked) or "FALSE"


def _filled_sql(field: Field, plan: Plan) -> str:
    """Return the staged value of a column: its typed cell, or what a blank is read as."""
    typed = quoted("t_" + field.name) if field in plan.fields else "NULL"
    if field.blank_value is None:
        return typed
    filled = f"coalesce({typed}, CAST('{field.blank_value}' AS {field.duckdb_type}))"
    if field.borrowed_from is None:
        return filled
    # Borrowed facts speak only where the row has a case; without one a blank is not "nothing happened".
    case = ", ".join(quoted("c_" + item.name) for item in plan.fields if item.borrowed_from)
    return f"CASE WHEN coalesce(NULL, {case}) IS NOT NULL THEN {filled} END" if case else "NULL"


def accepted_sql(plan: Plan) -> str:
    """Return the statement that stages the rows of a file in which every cell fits, in the file's order."""
    table = plan.table
    columns = ", ".join(quoted(name) for name in table.field_names)
    values = ", ".join(_filled_sql(field, plan) for field in table.fields)
    return (
        f"INSERT INTO staged.{table.name} (row_id, file_id, line_no, {columns}) "
        f"SELECT $offset + line_no, $file_id, line_no, {values} "
        f"FROM ({rows_sql(plan)}) WHERE NOT ({_any_misfit_sql(plan)})"
    )


def misfits_sql(plan: Plan) -> str:
    """Return the statement that lists each cell of a file that does not fit: line, place, column, value."""
    listed = ", ".join(
        f"CASE WHEN {_misfit_sql(field)} THEN "
        f"{{'place': {place}, 'column_name': '{field.name}', 'value': {quoted('c_' + field.name)}}} END"
        for place, field in enumerate(plan.checked)
    )
    return (
        "CREATE OR REPLACE TEMP TABLE misfit AS "
        "SELECT line_no, raw_text, cell.place, cell.column_name, cell.value FROM "
        f"(SELECT line_no, raw_text, unnest(list_filter([{listed}], lambda cell: cell IS NOT NULL)) AS cell "
        f"FROM ({rows_sql(plan)}) WHERE {_any_misfit_sql(plan)})"
    )


_REJECT_SQL = """
INSERT INTO meta.reject
SELECT $file_id, $path, $table_name, line_no, arg_min(column_name, place), arg_min(value, place),
       CASE WHEN count(*) = 1 THEN any_value(reason)
            ELSE string_agg(column_name || ': ' || reason, '; ' ORDER BY place) END,
       CASE WHEN count(*) = 1 THEN any_value(remedy)
            ELSE string_agg(column_name || ': ' || remedy, '; ' ORDER BY place) END,
       any_value(raw_text), 'load'
FROM misfit JOIN misfit_word USING (column_name, value)
GROUP BY line_no
ORDER BY line_no
"""


def _write_words(store: Store, words: list[Misfit]) -> None:
    """Put reason and remedy of each distinct misfit into a temporary table, to be joined to the rows."""
    store.run(
        "CREATE OR REPLACE TEMP TABLE misfit_word "
        "(column_name VARCHAR, value VARCHAR, reason VARCHAR, remedy VARCHAR)"
    )
    for start in range(0, len(words), WORD_BATCH):
        batch = words[start : start + WORD_BATCH]
        store.run(
            "INSERT INTO misfit_word SELECT unnest(?::VARCHAR[]), unnest(?::VARCHAR[]), "
            "unnest(?::VARCHAR[]), unnest(?::VARCHAR[])",
            [
                [word.column for word in batch],
                [word.value for word in batch],
                [word.reason for word in batch],
                [word.remedy for word in batch],
            ],
        )


def _reject_misfits(store: Store, sheet: Sheet, plan: Plan) -> int:
    table = sheet.table
    store.run(misfits_sql(plan), {"file_id": sheet.file_id})
    pairs = store.rows("SELECT DISTINCT column_name, value FROM misfit ORDER BY column_name, value")
    if pairs:
        _write_words(store, [explain(table.field(column), value) for column, value in pairs])
        store.run(_REJECT_SQL, {"file_id": sheet.file_id, "path": sheet.relative, "table_name": table.name})
        store.run("DROP TABLE misfit_word")
    count = int(store.value("SELECT count(DISTINCT line_no) FROM misfit"))
    store.run("DROP TABLE misfit")
    return count


def _has_decimal_comma(store: Store, sheet: Sheet) -> bool:
    present = set(sheet.headings.columns)
    numbers = [field.name for field in sheet.table.fields if field.type == "number" and field.name in present]
    if not numbers:
        return False
    conditions = " OR ".join(f"contains({quoted(name)}, ',')" for name in numbers)
    return bool(
        store.value(
            f"SELECT count(*) FROM raw.{sheet.table.name} WHERE file_id = ? AND ({conditions})",
            [sheet.file_id],
        )
    )


def stage(store: Store, sheet: Sheet) -> tuple[int, int]:
    """Type the landed rows of one sheet; return how many were staged and how many set aside.

    Commas are read as decimal points only in a sheet delimited by semicolons, and that is noted.
    """
    decimal_comma = sheet.delimiter == ";" and _has_decimal_comma(store, sheet)
    if decimal_comma:
        sheet.notes.append("decimal commas read as decimal points")
    plan = Plan(
        sheet.table, tuple(column for column in sheet.headings.columns if column is not None), decimal_comma
    )
    # Row ids are line numbers counted on over the files, so that a mended row gets the id it would have had.
    offset = int(
        store.value(
            "SELECT coalesce(sum(line_count), 0) FROM meta.file WHERE table_name = ?", [sheet.table.name]
        )
    )
    store.run(accepted_sql(plan), {"file_id": sheet.file_id, "offset": offset})
    staged = int(
        store.value(f"SELECT count(*) FROM staged.{sheet.table.name} WHERE file_id = ?", [sheet.file_id])
    )
    landed = int(
        store.value(f"SELECT count(*) FROM raw.{sheet.table.name} WHERE file_id = ?", [sheet.file_id])
    )
    set_aside = 0 if staged == landed else _reject_misfits(store, sheet, plan)
    return staged, set_aside
