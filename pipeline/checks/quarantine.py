"""Part the rows of a table: accepted ones go on, the others are set aside with reason and remedy."""

from __future__ import annotations

from collections.abc import Sequence

from pipeline.checks.contracts import Check
from pipeline.checks.findings import add_findings
from pipeline.checks.quoting import identifier
from pipeline.checks.violations import copies_sql, violations_sql
from pipeline.checks.words import Word, explain, subject_sql
from pipeline.errors import DisagreementError, Where
from pipeline.store import Store
from pipeline.store.database import named_sql
from schemas import Table

_BATCH = 5000

META_TABLES = ("violation", "check_result")
"""The tables of `meta` that a check makes anew."""

_TEMP_TABLES = (
    """CREATE OR REPLACE TEMP TABLE copy_of (row_id BIGINT, first_id BIGINT)""",
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
    for statement in _TEMP_TABLES:
        store.run(statement)
    relation = _set_copies_aside(store, table, checks)
    store.run(
        f"INSERT INTO meta.violation SELECT * FROM (\n"
        f"{violations_sql([check for check in checks if check.kind != 'exact_copy'], relation)}\n"
        ") ORDER BY check_id, row_id"
    )
    _explain_failures(store, table, checks, relation)
    rejects = named_sql("pipeline.checks", "rejects")
    store.run(f"INSERT INTO meta.reject {rejects}", {"table_name": table.name})
    add_findings(store, "meta.finding", "declared_findings", {"table_name": table.name})
    stored = ", ".join(_make_checked(store, table))
    store.run(
        f"INSERT INTO checked.{identifier(table.name)} ({stored}) SELECT {stored} FROM {relation} "
        "WHERE row_id NOT IN (SELECT row_id FROM failure WHERE severity = 'reject') ORDER BY row_id"
    )
    return relation


def _make_checked(store: Store, table: Table) -> list[str]:
    """Make `checked.<table>` anew with the columns of `staged.<table>`; return those that are written row by row.

    The others, which no sheet has, are generated there and here, so that they cost nothing.
    """
    columns = store.rows(
        "SELECT column_name, data_type, column_default FROM duckdb_columns() "
        "WHERE schema_name = 'staged' AND table_name = ? ORDER BY column_index",
        [table.name],
    )
    declared = ", ".join(
        f"{identifier(name)} {kind}" + (f" GENERATED ALWAYS AS ({constant}) VIRTUAL" if constant else "")
        for name, kind, constant in columns
    )
    store.run(f"CREATE OR REPLACE TABLE checked.{identifier(table.name)} ({declared})")
    return [identifier(name) for name, _, constant in columns if not constant]


def balance_books(store: Store) -> None:
    """See that each file's rows are all accounted for: each is accepted, set aside, or replaced by a mended one, once.

    Raises
    ------
    DisagreementError
        A file's rows do not add up, which is a fault of this program.
    """
    store.run("CREATE OR REPLACE TEMP TABLE accepted_row (file_id INTEGER, line_no BIGINT)")
    for (name,) in store.rows("SELECT DISTINCT table_name FROM meta.file WHERE table_name IS NOT NULL"):
        store.run(f"INSERT INTO accepted_row SELECT file_id, line_no FROM checked.{identifier(name)}")
    faults = store.records(named_sql("pipeline.checks", "books"))
    store.run("DROP TABLE accepted_row")
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


def _set_copies_aside(store: Store, table: Table, checks: Sequence[Check]) -> str:
    staged = f"staged.{identifier(table.name)}"
    check = next(check for check in checks if check.kind == "exact_copy")
    store.run(f"INSERT INTO copy_of {copies_sql(check, table.primary_key, staged)}")
    if not store.value("SELECT count(*) FROM copy_of"):
        return staged
    store.run(
        "INSERT INTO meta.violation SELECT $table_name, row_id, $check_id FROM copy_of ORDER BY row_id",
        {"table_name": table.name, "check_id": check.id},
    )
    _note_sources(store, table, "SELECT row_id FROM copy_of UNION SELECT first_id FROM copy_of")
    store.run(
        f"INSERT INTO meta.reject {named_sql('pipeline.checks', 'copies')}",
        {"table_name": table.name, "remedy": check.remedy},
    )
    relation = identifier(f"uncopied_{table.name}")
    store.run(
        f"CREATE OR REPLACE TEMP TABLE {relation} AS SELECT * FROM {staged} "
        "WHERE row_id NOT IN (SELECT row_id FROM copy_of) ORDER BY row_id"
    )
    return f"temp.{relation}"


def _note_sources(store: Store, table: Table, row_ids: str) -> None:
    """Fill `source_row` with where the rows of the SELECT `row_ids` came from, and their text."""
    person = identifier("evaluator_id") if "evaluator_id" in table.field_names else "NULL"
    name = identifier(table.name)
    store.run(
        f"""
        CREATE OR REPLACE TEMP TABLE source_row AS
        SELECT row_id, file_id, line_no, raw_text, CAST(person_id AS VARCHAR) AS person_id
        FROM (SELECT row_id, file_id, line_no, {person} AS person_id FROM staged.{name}) AS staged
        JOIN (SELECT file_id, line_no, raw_text FROM raw.{name}) AS raw USING (file_id, line_no)
        WHERE row_id IN ({row_ids})
        """
    )


def _explain_failures(store: Store, table: Table, checks: Sequence[Check], relation: str) -> None:
    """Fill `failure` with each violation and its values, and `failure_word` with what to say about them."""
    failed = {
        row[0] for row in store.rows("SELECT DISTINCT check_id FROM meta.violation WHERE table_name = ?", [table.name])
    }
    raw = f"raw.{identifier(table.name)}"
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
            JOIN (SELECT row_id, file_id, line_no, {subject_sql(check)} AS subject FROM {relation}) AS looked
                USING (row_id)
            JOIN {raw} AS raw USING (file_id, line_no)
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
    _note_sources(store, table, "SELECT row_id FROM failure")


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
