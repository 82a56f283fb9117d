"""Type the rows of a landed sheet; misfits are set aside with a reason."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

from pipeline.ingest.cells import BLANKS, cells_sql, quoted, trimmed_sql
from pipeline.ingest.misfits import Misfit, explain
from pipeline.ingest.sheet import Sheet
from pipeline.ingest.typed import OTHER_DAY, PLAIN_READING, QUOTES, Reading, cast_sql, typed_sql
from pipeline.store import Store
from schemas import Field, Table
from schemas.store_tables import stored_type

WORD_BATCH = 5000

_MANY_ROWS = 100_000
"""From so many rows on, what saves time on each is worth a statement that the engine plans longer."""


def staged_tables_sql(table: Table, present: Collection[str]) -> tuple[str, str]:
    """Return the statements that make the rows of `table` anew, and their view; sheets have the columns `present`.

    `staged.<table>_row` holds what is written row by row, `staged.<table>` shows each declared column in its declared
    type: where no sheet has it, what a blank is read as.
    """
    written = [field for field in table.fields if _is_written(field, present)]
    stored = ", ".join(f"{quoted(field.name)} {stored_type(field)}{_storage_sql(table, field)}" for field in written)
    shown = ", ".join(_shown_sql(field, is_written=field in written) for field in table.fields)
    return (
        f"CREATE OR REPLACE TABLE staged.{table.name}_row "
        f"(row_id BIGINT, file_id INTEGER, line_no BIGINT{', ' if stored else ''}{stored})",
        f"CREATE OR REPLACE VIEW staged.{table.name} AS "
        f"SELECT row_id, file_id, line_no, {shown} FROM staged.{table.name}_row",
    )


def _shown_sql(field: Field, *, is_written: bool) -> str:
    """Return a column as the view shows it; one that holds a constant takes neither room nor time."""
    name, kind = quoted(field.name), field.duckdb_type
    if not is_written:
        constant = "NULL" if field.blank_value is None else f"'{field.blank_value}'"
        return f"CAST({constant} AS {kind}) AS {name}"
    return name if stored_type(field) == kind else f"CAST({name} AS {kind}) AS {name}"


def _storage_sql(table: Table, field: Field) -> str:
    kind = stored_type(field)
    if kind == "VARCHAR" and table.primary_key == (field.name,):
        # Ids that stand once each have nothing that a dictionary could share: looking for one doubles what they cost.
        return " USING COMPRESSION zstd"
    # An allowed value is one byte. To make less of it takes a tenth of the time to write a row, for a seventh of the
    # store's size.
    return " USING COMPRESSION uncompressed" if kind.startswith("ENUM") else ""


def _is_written(field: Field, present: Collection[str]) -> bool:
    """Whether a column is written row by row: sheets have it, or what a blank is read as hangs on the row."""
    return field.name in present or (field.borrowed_from is not None and field.blank_value is not None)


@dataclass(frozen=True)
class Plan:
    """How one sheet is typed: its table, the column of each field, how cells are read, and the columns to write."""

    table: Table
    columns: tuple[str | None, ...]
    delimiter: str = ","
    reading: Reading = PLAIN_READING
    written: tuple[str, ...] = ()

    @property
    def fields(self) -> tuple[Field, ...]:
        """The declared columns that the sheet has, in declared order."""
        return tuple(field for field in self.table.fields if field.name in self.columns)

    @property
    def checked(self) -> tuple[Field, ...]:
        """The columns among them in which a cell may not fit."""
        return tuple(field for field in self.fields if field.type != "string" or field.enum)

    @property
    def parameters(self) -> dict[str, list[str]]:
        """The words of the columns and what they stand for, as `rows_sql` needs them bound."""
        bound = {}
        for place, field in enumerate(self.fields):
            if words := self.reading.words.get(field.name):
                bound[f"from_{place}"], bound[f"to_{place}"] = list(words.keys()), list(words.values())
        return bound

    def cell(self, field: Field) -> str:
        """Return the cell of a column as it is typed: trimmed, and with what its word stands for."""
        return quoted(("m_" if field.name in self.reading.words else "c_") + field.name)


def _trimmed_sql(field: Field, plan: Plan) -> str:
    # Quotation marks around a number or a word say nothing; in free text they are the writer's own.
    ends = BLANKS + QUOTES if field in plan.checked else BLANKS
    return f"{trimmed_sql(quoted(field.name), ends)} AS {quoted('c_' + field.name)}"


def rows_sql(plan: Plan) -> str:
    """Return the SELECT that gives each raw row that is not plain trimmed (`c_<column>`) and typed (`t_<column>`).

    `is_misfit` says whether a cell of it does not fit.
    """
    cells = ", ".join(_trimmed_sql(field, plan) for field in plan.fields)
    typed = ", ".join(
        f"{typed_sql(field, plan.cell(field), plan.reading)} AS {quoted('t_' + field.name)}" for field in plan.fields
    )
    landed = cells_sql(plan.table, plan.columns, plan.delimiter, is_plain=False)
    source = f"SELECT line_no, raw_text, {cells} FROM ({landed})"
    mapped = ", ".join(
        f"nullif(coalesce(list_extract($to_{place}::VARCHAR[], nullif(list_position($from_{place}::VARCHAR[], "
        f"lower({cell})), 0)), {cell}), '') AS {quoted('m_' + field.name)}"
        for place, field in enumerate(plan.fields)
        if field.name in plan.reading.words
        for cell in (quoted("c_" + field.name),)
    )
    if mapped:
        source = f"SELECT *, {mapped} FROM ({source})"
    # A condition on `is_misfit` would be pushed below what it is made of, and every cell be typed twice; one that calls
    # `random` stays where it is. It is never below 0.
    misfit = f"(({_any_misfit_sql(plan)}) OR random() < 0)"
    return f"SELECT *, {misfit} AS is_misfit FROM (SELECT *, {typed} FROM ({source}))"


def _misfit_sql(field: Field, plan: Plan) -> str:
    return f"({plan.cell(field)} IS NOT NULL AND {quoted('t_' + field.name)} IS NULL)"


def _any_misfit_sql(plan: Plan) -> str:
    return " OR ".join(_misfit_sql(field, plan) for field in plan.checked) or "FALSE"


def _filled_sql(field: Field, plan: Plan) -> str:
    """Return the staged value of a column: its typed cell, or what a blank is read as."""
    typed = quoted("t_" + field.name) if field in plan.fields else "NULL"
    if field.blank_value is None:
        return typed
    filled = f"coalesce({typed}, CAST('{field.blank_value}' AS {stored_type(field)}))"
    if field.borrowed_from is None:
        return filled
    # Borrowed facts speak only where the row has a case; without one a blank is not "nothing happened".
    case = ", ".join(plan.cell(item) for item in plan.fields if item.borrowed_from)
    return f"CASE WHEN coalesce(NULL, {case}) IS NOT NULL THEN {filled} END" if case else "NULL"


def plain_rows_sql(plan: Plan, *, are_many: bool = False) -> str:
    """Return the SELECT that gives each plain row of a file as `rows_sql` does: a cast is all that its cells need.

    `are_many` says that rows are so many that what saves time on each is worth a longer statement.
    """
    landed = cells_sql(plan.table, plan.columns, plan.delimiter, is_plain=True)
    cells = ", ".join(f"{quoted(field.name)} AS {quoted('c_' + field.name)}" for field in plan.fields)
    typed = ", ".join(
        f"{cast_sql(field, quoted(field.name), plan.reading, are_many=are_many)} AS {quoted('t_' + field.name)}"
        for field in plan.fields
    )
    return f"SELECT line_no, {cells}, {typed} FROM ({landed})"


def accepted_sql(plan: Plan, rows: str) -> str:
    """Return the statement that stages `rows` (a SELECT) of a file, in the file's order."""
    table = plan.table
    written = [field for field in table.fields if field.name in plan.written]
    columns = "".join(f", {quoted(field.name)}" for field in written)
    values = "".join(f", {_filled_sql(field, plan)}" for field in written)
    return (
        f"INSERT INTO staged.{table.name}_row (row_id, file_id, line_no{columns}) "
        f"SELECT $offset + line_no, $file_id, line_no{values} "
        f"FROM ({rows})"
    )


def misfits_sql(plan: Plan) -> str:
    """Return the statement that lists each cell of a file that does not fit: line, place, column, value."""
    listed = ", ".join(
        f"CASE WHEN {_misfit_sql(field, plan)} THEN "
        f"{{'place': {place}, 'column_name': '{field.name}', 'value': {quoted('c_' + field.name)}}} END"
        for place, field in enumerate(plan.checked)
    )
    return (
        "CREATE OR REPLACE TEMP TABLE misfit AS "
        "SELECT line_no, raw_text, cell.place, cell.column_name, cell.value FROM "
        f"(SELECT line_no, raw_text, unnest(list_filter([{listed}], lambda cell: cell IS NOT NULL)) AS cell "
        f"FROM ({rows_sql(plan)}) WHERE is_misfit)"
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
    store.run(misfits_sql(plan), {"file_id": sheet.file_id, **plan.parameters})
    pairs = store.rows("SELECT DISTINCT column_name, value FROM misfit ORDER BY column_name, value")
    if pairs:
        _write_words(store, [explain(table.field(column), value, plan.reading.date_order) for column, value in pairs])
        store.run(_REJECT_SQL, {"file_id": sheet.file_id, "path": sheet.relative, "table_name": table.name})
        store.run("DROP TABLE misfit_word")
    count = int(store.value("SELECT count(DISTINCT line_no) FROM misfit"))
    store.run("DROP TABLE misfit")
    return count


def _has_cell(store: Store, sheet: Sheet, kind: str, condition: str) -> bool:
    """Whether a cell of a column of some type fits a condition on `{cell}`; no plain line has any that is asked for."""
    present = set(sheet.headings.columns)
    names = [field.name for field in sheet.table.fields if field.type == kind and field.name in present]
    found = " OR ".join(condition.replace("{cell}", quoted(name)) for name in names)
    rows = cells_sql(sheet.table, sheet.headings.columns, sheet.delimiter or ",", is_plain=False)
    return bool(names) and bool(
        store.value(f"SELECT count(*) FROM ({rows}) WHERE {found}", {"file_id": sheet.file_id})
    )


def _reading(store: Store, sheet: Sheet, date_order: str | None) -> Reading:
    """Decide how the cells of a landed sheet are read, and note what is not plain to see."""
    decimal_comma = sheet.delimiter != "," and _has_cell(store, sheet, "number", "contains({cell}, ',')")
    if decimal_comma:
        sheet.notes.append("decimal commas read as decimal points")
    other_day = f"regexp_matches({{cell}}, '{OTHER_DAY}')"
    if date_order is not None and _has_cell(store, sheet, "date", other_day):
        said = "day before month" if date_order == "dmy" else "month before day"
        sheet.notes.append(f"days not in ISO form read with {said}, as the policy says")
    columns = set(sheet.headings.columns)
    words = {column: words for column, words in sheet.words.items() if column in columns and words}
    if words:
        sheet.notes.append(f"words read as {sheet.mapped_by} says, in: {', '.join(sorted(words))}")
    return Reading(decimal_comma, date_order, dict(sheet.headings.units), words)


_STORED_COLUMNS = """
SELECT column_name FROM duckdb_columns() WHERE schema_name = 'staged' AND table_name = ?
"""


def stage(store: Store, sheet: Sheet, date_order: str | None = None) -> tuple[int, int]:
    """Type the landed rows of one sheet; return how many were staged and how many set aside.

    Commas are read as decimal points only in a sheet that is not delimited by them, and that is noted. `date_order`
    is the season's word on days that are not in ISO form.
    """
    counted = f"SELECT count(*) FROM raw.{sheet.table.name}_line WHERE file_id = ?"
    stored = {name for (name,) in store.rows(_STORED_COLUMNS, [f"{sheet.table.name}_row"])}
    written = tuple(name for name in sheet.table.field_names if name in stored)
    reading = _reading(store, sheet, date_order)
    plan = Plan(sheet.table, sheet.headings.columns, sheet.delimiter or ",", reading, written)
    # Row ids are line numbers counted on over the files, so that a mended row gets the id it would have had.
    offset = int(
        store.value(
            "SELECT coalesce(sum(line_count), 0) FROM meta.file WHERE table_name = ?", [sheet.table.name]
        )
    )
    bound = {"file_id": sheet.file_id, "offset": offset}
    plain = int(store.value(f"{counted} AND is_plain", [sheet.file_id]))
    if plain:
        store.run(accepted_sql(plan, plain_rows_sql(plan, are_many=plain >= _MANY_ROWS)), bound)
    odd = int(store.value(f"{counted} AND NOT is_plain", [sheet.file_id]))
    if odd:
        fitting = f"SELECT * FROM ({rows_sql(plan)}) WHERE NOT is_misfit"
        store.run(accepted_sql(plan, fitting), {**bound, **plan.parameters})
    staged = int(
        store.value(f"SELECT count(*) FROM staged.{sheet.table.name}_row WHERE file_id = ?", [sheet.file_id])
    )
    set_aside = 0 if staged == plain + odd else _reject_misfits(store, sheet, plan)
    return staged, set_aside
