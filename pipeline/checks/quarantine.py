"""Part the rows of a table: accepted ones go on, the others are set aside with reason and remedy."""

from __future__ import annotations

from collections.abc import Sequence

from pipeline.checks.contracts import Check
from pipeline.checks.findings import add_findings
from pipeline.checks.quoting import identifier, literal
from pipeline.checks.violations import copies_sql, same_key_sql, violations_sql
from pipeline.checks.words import Word, explain, subject_sql
from pipeline.errors import DisagreementError, Where
from pipeline.store import Store
from pipeline.store.database import named_sql
from schemas import Table
from schemas.store_tables import line_cells_sql, stored_type

_BATCH = 5000

_MOST_BITS = 500_000_000
"""More lines than this are not counted by a bit for each: that would take more than 64 MB a thread."""

META_TABLES = ("violation", "check_result", "set_aside")
"""The tables of `meta` that a check makes anew."""

_TEMP_TABLES = (
    """CREATE OR REPLACE TEMP TABLE failure (
        row_id BIGINT, check_id VARCHAR, place INTEGER, severity VARCHAR, column_name VARCHAR, value VARCHAR,
        subject VARCHAR)""",
    """CREATE OR REPLACE TEMP TABLE failure_word (
        check_id VARCHAR, subject VARCHAR, reason VARCHAR, remedy VARCHAR)""",
)


def part_rows(store: Store, table: Table, checks: Sequence[Check]) -> str:
    """Check the staged rows of one table, fill `checked.<table>`, and return the relation that was checked.

    That relation is the staged rows without exact copies of earlier ones. Violations go to `meta.violation`,
    rows that fail a check of severity `reject` to `meta.reject`, other failures to `meta.finding`.
    """
    relation, is_doubled = _set_copies_aside(store, table, checks)
    proven = _proven(store, table, checks)
    others = [check for check in checks if check.kind != "exact_copy" and check.id not in proven]
    # Rows with one key were found with the copies, so that a key is counted once.
    keyed = [check for check in others if check.kind == "unique" and check.columns == table.primary_key]
    # A look of its own for each check reads only the check's columns, and of them only the parts that may fail.
    among = [check for check in others if check not in keyed]
    looks = ((keyed if is_doubled else [], "same_key_once"), (among, relation))
    found = [violations_sql(some, rows) for some, rows in looks if some]
    if found:
        union = " UNION ALL ".join(found)
        store.run(f"INSERT INTO meta.violation SELECT * FROM (\n{union}\n) ORDER BY check_id, row_id")
    if store.value("SELECT count(*) FROM meta.violation WHERE table_name = ?", [table.name]):
        _set_failures_aside(store, table, checks, relation)
    _make_checked(store, table)
    return relation


def _set_failures_aside(store: Store, table: Table, checks: Sequence[Check], relation: str) -> None:
    """Write down what the violations of a table are, and set aside the rows that do not go on."""
    for statement in _TEMP_TABLES:
        store.run(statement)
    _explain_failures(store, table, checks, relation)
    rejects = named_sql("pipeline.checks", "rejects")
    store.run(f"INSERT INTO meta.reject {rejects}", {"table_name": table.name})
    add_findings(store, "meta.finding", "declared_findings", {"table_name": table.name})
    store.run(
        "INSERT INTO meta.set_aside SELECT $table_name, row_id FROM ("
        f"SELECT DISTINCT row_id FROM failure WHERE severity = 'reject' UNION ALL SELECT row_id FROM {copies_of(table)}"
        ") ORDER BY row_id",
        {"table_name": table.name},
    )


def _proven(store: Store, table: Table, checks: Sequence[Check]) -> frozenset[str]:
    """Return the checks of allowed values that no staged row can fail: its column's type holds no other value.

    A column that is not written row by row holds what a blank is read as, or nothing.
    """
    types = dict(
        store.rows(
            "SELECT column_name, data_type FROM duckdb_columns() WHERE schema_name = 'staged' AND table_name = ?",
            [f"{table.name}_row"],
        )
    )
    found = set()
    for check in checks:
        if check.kind != "in_set" or not types:
            continue
        column, allowed = table.field(check.columns[0]), check.args["values"]
        if column.name not in types:
            is_proven = column.blank_value is None or column.blank_value in allowed
        else:
            is_proven = allowed == column.enum and types[column.name] == stored_type(column) != column.duckdb_type
        if is_proven:
            found.add(check.id)
    return frozenset(found)


def copies_of(table: Table) -> str:
    """Return the name of the temporary table (row_id, first_id) of the exact copies in the staged rows of a table."""
    return f"temp.{identifier(f'copies_{table.name}')}"


def _make_checked(store: Store, table: Table) -> None:
    """Make `checked.<table>` anew: the staged rows but those set aside. As a view it costs nothing to write."""
    name = identifier(table.name)
    store.run(f"CREATE OR REPLACE VIEW checked.{name} AS {accepted_sql(table, f'staged.{name}')}")


def accepted_sql(table: Table, source: str) -> str:
    """Return a SELECT of the rows of `source`, which holds staged rows of `table`, but those set aside."""
    return (
        f"SELECT * FROM {source} ANTI JOIN "
        f"(SELECT row_id FROM meta.set_aside WHERE table_name = {literal(table.name)}) AS aside USING (row_id)"
    )


def balance_books(store: Store) -> None:
    """See that each file's rows are all accounted for: each is accepted, set aside, or replaced by a mended one, once.

    Raises
    ------
    DisagreementError
        A file's rows do not add up, which is a fault of this program.
    """
    names = [name for (name,) in store.rows("SELECT DISTINCT table_name FROM meta.file WHERE table_name IS NOT NULL")]
    places = [("accepted", f"checked.{identifier(name)}") for name in sorted(names)]
    places += [("quarantined", "meta.reject"), ("replaced", "meta.replaced")]
    rows = " UNION ALL ".join(f"SELECT '{place}' AS place, file_id, line_no FROM {source}" for place, source in places)
    store.run(f"CREATE OR REPLACE TEMP VIEW placed_row AS {rows}")
    faults = store.records(named_sql("pipeline.checks", "books"), {"is_once": _is_each_once(store)})
    store.run("DROP VIEW placed_row")
    if faults:
        told = "; ".join(
            f"{row['path']}: {row['rows_in']} rows came in, {row['accepted']} were accepted and "
            f"{row['quarantined']} set aside, {row['replaced']} were replaced ({row['twice']} of them counted twice)"
            for row in faults
        )
        raise DisagreementError(
            f"the rows do not add up: {told}",
            where=Where(faults[0]["path"]),
            hint="this is a fault of the program: report it with the sheet",
        )


def _is_each_once(store: Store) -> bool:
    """Whether no line of a file stands twice in `placed_row`; where that is not certain, False.

    Each line of all files has a bit of its own, which takes a fraction of the time of telling lines apart as values.
    """
    rows, lines, is_filled = store.rows(named_sql("pipeline.checks", "placed_lines"))[0]
    if not rows:
        return True
    if not is_filled or lines > _MOST_BITS:
        return False
    return bool(rows == store.value(named_sql("pipeline.checks", "placed_once"), {"last": lines}))


def _set_copies_aside(store: Store, table: Table, checks: Sequence[Check]) -> tuple[str, bool]:
    """Set exact copies aside; return the relation of the others, and whether any key stands twice.

    Where one does, `same_key_once` holds the rows of such keys but the copies.
    """
    staged, copies = f"staged.{identifier(table.name)}", copies_of(table)
    check = next(check for check in checks if check.kind == "exact_copy")
    store.run(f"CREATE OR REPLACE TEMP TABLE same_key AS {same_key_sql(check, table.primary_key, staged)}")
    if not store.value("SELECT count(*) FROM same_key"):
        store.run(f"CREATE OR REPLACE TEMP TABLE {copies} (row_id BIGINT, first_id BIGINT)")
        return staged, False
    store.run(f"CREATE OR REPLACE TEMP TABLE {copies} AS {copies_sql(check, table.primary_key, 'same_key')}")
    store.run(f"CREATE OR REPLACE TEMP VIEW same_key_once AS SELECT * FROM same_key ANTI JOIN {copies} USING (row_id)")
    if not store.value(f"SELECT count(*) FROM {copies}"):
        return staged, True
    store.run(
        f"INSERT INTO meta.violation SELECT $table_name, row_id, $check_id FROM {copies} ORDER BY row_id",
        {"table_name": table.name, "check_id": check.id},
    )
    name = identifier(table.name)
    lines = f"(SELECT file_id, line_no, raw_text FROM raw.{name})"
    _note_sources(store, table, f"SELECT row_id FROM {copies} UNION SELECT first_id FROM {copies}", lines)
    store.run(f"CREATE OR REPLACE TEMP VIEW copy_of AS SELECT * FROM {copies}")
    store.run(
        f"INSERT INTO meta.reject {named_sql('pipeline.checks', 'copies')}",
        {"table_name": table.name, "remedy": check.remedy},
    )
    relation = identifier(f"uncopied_{table.name}")
    store.run(f"CREATE OR REPLACE TEMP VIEW {relation} AS SELECT * FROM {staged} ANTI JOIN {copies} USING (row_id)")
    return f"temp.{relation}", True


def _note_sources(store: Store, table: Table, row_ids: str, lines: str) -> None:
    """Fill `source_row` with where the rows of the SELECT `row_ids` came from, and their text as `lines` has it."""
    person = identifier("evaluator_id") if "evaluator_id" in table.field_names else "NULL"
    name = identifier(table.name)
    store.run(
        f"""
        CREATE OR REPLACE TEMP TABLE source_row AS
        SELECT row_id, file_id, line_no, raw.raw_text, CAST(person_id AS VARCHAR) AS person_id
        FROM (
            SELECT row_id, file_id, line_no, {person} AS person_id FROM staged.{name} SEMI JOIN ({row_ids}) AS told
                USING (row_id)
        ) AS staged
        JOIN {lines} AS raw USING (file_id, line_no)
        """
    )


def _explain_failures(store: Store, table: Table, checks: Sequence[Check], relation: str) -> None:
    """Fill `failure` with each violation and its values, and `failure_word` with what to say about them."""
    failed = {
        row[0] for row in store.rows("SELECT DISTINCT check_id FROM meta.violation WHERE table_name = ?", [table.name])
    }
    told = [check for check in checks if check.id in failed and check.kind != "exact_copy"]
    shown_columns = sorted({name for check in told for name in check.columns})
    # The rows that fail and their cells as they came are looked up once, for all checks.
    store.run(
        f"""
        CREATE OR REPLACE TEMP TABLE failed_row AS SELECT * FROM {relation} SEMI JOIN
        (SELECT row_id FROM meta.violation WHERE table_name = {literal(table.name)}) AS violation USING (row_id)
        """
    )
    lines = f"(SELECT * FROM raw.{identifier(f'{table.name}_line')} SEMI JOIN failed_row USING (file_id, line_no))"
    store.run(f"CREATE OR REPLACE TEMP TABLE failed_raw AS {line_cells_sql(shown_columns, lines)}")
    for place, check in enumerate(checks):
        if check.id not in failed or check.kind == "exact_copy":
            continue
        shown = ", ".join(f"nullif(trim(raw.{identifier(name)}), '')" for name in check.columns)
        store.run(
            f"""
            INSERT INTO failure
            SELECT violation.row_id, violation.check_id, $place, $severity, $columns,
                   nullif(array_to_string([{shown}], ', '), ''), looked.subject
            FROM meta.violation AS violation
            JOIN (SELECT row_id, file_id, line_no, {subject_sql(check)} AS subject FROM failed_row) AS looked
                USING (row_id)
            JOIN failed_raw AS raw USING (file_id, line_no)
            WHERE violation.table_name = $table_name AND violation.check_id = $check_id
            ORDER BY violation.row_id
            """,
            {
                "place": place,
                "severity": check.severity,
                "columns": check.columns_text,
                "table_name": table.name,
                "check_id": check.id,
            },
        )
        select = "SELECT DISTINCT subject FROM failure WHERE check_id = ? ORDER BY subject"
        subjects = [row[0] for row in store.rows(select, [check.id])]
        _write_words(store, explain(store, table, check, relation, subjects))
    _note_sources(store, table, "SELECT row_id FROM failure", "failed_raw")


def _write_words(store: Store, words: Sequence[Word]) -> None:
    for start in range(0, len(words), _BATCH):
        batch = words[start : start + _BATCH]
        store.run(
            "INSERT INTO failure_word SELECT unnest(?::VARCHAR[]), unnest(?::VARCHAR[]), "
            "unnest(?::VARCHAR[]), unnest(?::VARCHAR[])",
            [
                [word.check_id for word in batch],
                [word.subject for word in batch],
                [word.reason for word in batch],
                [word.remedy for word in batch],
            ],
        )
