"""Put amended values in their place, and hold the rows against the row rules.

Each value may be allowed, and the row still fall apart.
"""

from __future__ import annotations

from pipeline.checks.across import ACROSS
from pipeline.checks.contracts import checks_of
from pipeline.checks.findings import put_findings
from pipeline.checks.quoting import identifier, literal
from pipeline.checks.violations import rule_sql
from pipeline.store import Store
from schemas import Field, table


def find_amended_rows(store: Store, target: str) -> None:
    """Add to `target` one finding for each call and row rule that its amendments break.

    A rule that the sheet's own row breaks too is told there, not here. Reads `checked.amended_call`.
    """
    rules = [check for check in checks_of(table("plate_calls")) if "sql" in check.args]
    selects = [
        f"SELECT call_id, {literal(rule.args['name'])} AS rule, {literal(rule.args['message'])} AS message, "
        f"{literal(rule.columns_text)} AS column_name, {literal(rule.remedy)} AS remedy FROM checked.amended_call "
        f"WHERE NOT {rule_sql(rule)} AND call_id IN "
        f"(SELECT call_id FROM checked.plate_calls WHERE {rule_sql(rule)})"
        for rule in rules
    ]
    put_findings(
        store,
        target,
        ACROSS["amended_row"],
        f"""
        WITH broken AS ({" UNION ALL ".join(selects)}),
        cause AS (
            SELECT call_id, max(row_id) AS row_id, arg_max(file_id, row_id) AS file_id,
                arg_max(line_no, row_id) AS line_no, arg_max(evaluator_id, row_id) AS evaluator_id
            FROM checked.amendments GROUP BY call_id
        )
        SELECT
            'amended_row/' || rule || '/' || call_id AS finding_id,
            'amendments' AS table_name,
            cause.row_id,
            file.path,
            cause.line_no,
            broken.column_name,
            call_id AS value,
            'once call ' || call_id || ' is amended, ' || broken.message AS message,
            broken.remedy || ', by an amendment of a later day' AS remedy,
            cause.evaluator_id AS person_id,
            call_id AS call_ids
        FROM broken JOIN cause USING (call_id) JOIN meta.file AS file USING (file_id)
        """,
    )


def make_amended_calls(store: Store) -> None:
    """Make `checked.amended_call`: each call with an accepted amendment, whole, as it counts.

    Here and nowhere else is said which amendment holds: of one cell the latest day's, and of one day the later row
    (two different ones of a day are set aside before). Rows and sheets keep their own values in `checked.plate_calls`.
    """
    store.run(
        "CREATE OR REPLACE TABLE checked.amended_call AS SELECT * FROM checked.plate_calls "
        "WHERE call_id IN (SELECT call_id FROM checked.amendments)"
    )
    declared = {field.name: field for field in table("plate_calls").fields}
    for (name,) in store.rows('SELECT DISTINCT "column" FROM checked.amendments ORDER BY 1'):
        store.run(
            f"UPDATE checked.amended_call SET {identifier(name)} = {_value_sql(declared[name])} "
            "FROM (SELECT call_id, arg_max(value, (date, row_id)) AS value FROM checked.amendments "
            'WHERE "column" = $name GROUP BY call_id) AS latest WHERE amended_call.call_id = latest.call_id',
            {"name": name},
        )


def _value_sql(field: Field) -> str:
    """Return SQL for an amended value as the sheet's own would be read, several joined ones in declared order."""
    if not field.list_separator:
        return f"TRY_CAST(latest.value AS {field.duckdb_type})"
    allowed = ", ".join(literal(value) for value in field.enum)
    separator = literal(field.list_separator)
    parts = f"list_transform(string_split(latest.value, {separator}), lambda part: trim(part))"
    return f"array_to_string(list_filter([{allowed}], lambda value: list_contains({parts}, value)), {separator})"
