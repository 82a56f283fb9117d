"""Check a season: what the declarations ask of every row, and what shows only across rows and sheets."""

from __future__ import annotations

from collections import Counter
from concurrent.futures import ThreadPoolExecutor
from queue import Queue

from pipeline.checks.contracts import applicable, checks_of, in_dependency_order
from pipeline.checks.cross_table import find_across
from pipeline.checks.findings import make_finding_table, note_results
from pipeline.checks.quarantine import META_TABLES, balance_books, copies_of, part_rows
from pipeline.checks.validation import Asked, Looked, Validated, ask, confirm
from pipeline.config import RunConfig
from pipeline.store import StepResult, Store
from pipeline.turns import quick_turns
from schemas import layer_tables
from schemas.store_tables import meta_table_sql


def check_season(config: RunConfig, store: Store) -> StepResult:
    """Part the staged rows into `checked.*` and rejects, and write down findings, in one transaction.

    SQL decides; great-expectations checks the same rows from the same declarations and must name the same
    ones. The suites and their results go to `OUT/validation/` once the transaction stands.

    Raises
    ------
    DisagreementError
        The two ways of checking name different rows, or the rows of a file do not add up: a fault of this
        program. Nothing is written then.
    """
    with store.transaction(), quick_turns(), ThreadPoolExecutor(1) as beside:
        asked: Queue[Asked | None] = Queue()
        # Great-expectations runs on one core and mostly in Python, the engine mostly not: they do not wait for each
        # other.
        confirmed = beside.submit(confirm, iter(asked.get, None))
        try:
            looked = _part_all(store, asked)
            balance_books(store)
            find_across(config, store)
        finally:
            asked.put(None)
        validated = confirmed.result()
        _write_results(store, looked, validated)
        across = note_results(store, "meta.finding", "check")
        rows_in = sum(item.came for item in looked)
        rows_out = sum(int(store.value(f"SELECT count(*) FROM checked.{item.table.name}")) for item in looked)
        notes = {
            "checks": across + sum(len(item.checks) for item in looked if item.rows),
            "rejected": rows_in - rows_out,
            "findings": int(store.value("SELECT count(*) FROM meta.finding")),
        }
    validated.write(config.out / "validation")
    return StepResult("check", rows_in, rows_out, notes=notes)


def _part_all(store: Store, asked: Queue[Asked | None]) -> list[Looked]:
    """Check every table, those that others point to first; ask to have each confirmed, and return what was checked."""
    for name in META_TABLES:
        store.run(meta_table_sql(name))
    make_finding_table(store, "meta.finding")
    store.run("DELETE FROM meta.reject WHERE stage = 'check'")
    handed_in = {row[0] for row in store.rows("SELECT DISTINCT table_name FROM meta.file WHERE table_name IS NOT NULL")}
    looked = []
    for table in in_dependency_order(layer_tables("season")):
        checks = applicable(checks_of(table), handed_in)
        relation = part_rows(store, table, checks)
        if table.name in handed_in:
            came = int(store.value(f"SELECT count(*) FROM staged.{table.name}"))
            rows = int(store.value(f"SELECT count(*) FROM {relation}"))
            looked.append(Looked(table, relation, came, rows, checks, copies_of(table)))
            if rows:
                asked.put(ask(store, looked[-1]))
    return looked


_RESULT_COLUMNS = 11


def _write_results(store: Store, looked: list[Looked], validated: Validated) -> None:
    """Fill `meta.check_result`: one row for each check that was made."""
    failed = Counter(
        dict(store.rows("SELECT check_id, count(*) FROM meta.violation GROUP BY check_id ORDER BY check_id"))
    )
    made: list[object] = []
    for item in looked:
        for check in item.checks:
            outcome = validated.outcomes.get(check.id)
            made += [
                check.id,
                check.table,
                check.kind,
                "all" if check.kind == "exact_copy" else check.columns_text,
                check.severity,
                check.title,
                item.came if check.kind == "exact_copy" else item.rows,
                failed[check.id],
                len(outcome.failing) if outcome else None,
                validated.scopes[check.table] if outcome else "sql only",
                # A difference has raised by now; where SQL alone looked there is nothing to agree with.
                True if outcome else None,
            ]
    if made:
        # In one statement: planning a few hundred takes longer than much of the checking.
        row = f"({', '.join('?' * _RESULT_COLUMNS)})"
        rows = ", ".join([row] * (len(made) // _RESULT_COLUMNS))
        store.run(f"INSERT INTO meta.check_result VALUES {rows}", made)
