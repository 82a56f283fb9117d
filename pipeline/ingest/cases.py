"""Read a list of cases (facts and a rule code, a row each) for a ruling without a season store."""

from __future__ import annotations

import csv
import datetime as dt
from pathlib import Path

import schemas
from pipeline.errors import FaultsError, InputError, PlateworkError, Where
from pipeline.formulas import without_marks
from pipeline.ingest.cells import quoted
from pipeline.ingest.files import decide_encoding
from pipeline.ingest.headings import nearest
from pipeline.ingest.misfits import explain
from pipeline.ingest.typed import typed_sql
from pipeline.store import Store

FAULTS_SHOWN = 20


def _header(path: Path, encoding: str) -> tuple[list[str], str]:
    with path.open(encoding=encoding, newline="") as stream:
        first = stream.readline()
    if not first.strip():
        raise InputError(
            "the file is empty", where=Where(path), hint="give a CSV with a header and a row for each case"
        )
    delimiter = max(",;\t|", key=first.count)
    header = next(csv.reader([first], delimiter=delimiter))
    return [without_marks(name.strip().lstrip("\ufeff")) for name in header], delimiter


def land_cases(store: Store, path: Path, today: dt.date) -> list[str]:
    """Load a case list: `raw.case` as it came, and a temporary table `source_call` typed; return the headings.

    Columns of the list that are facts of `plate_calls` are typed and checked, `rule_code` is required, `date`
    picks the rules of that day (blank: today), all others are passed through.

    Raises
    ------
    FaultsError
        Values that do not fit, each with its line, column, what is allowed and the nearest right one.
    """
    if not path.is_file():
        raise InputError("there is no such file", where=Where(path), hint="give a CSV with a row for each case")
    encoding, _ = decide_encoding(path, str(path))
    names, delimiter = _header(path, encoding)
    if "rule_code" not in names:
        near = nearest("rule_code", names)
        raise InputError(
            "the column rule_code is missing" + (f"; {near!r} comes nearest" if near else ""),
            where=Where(path, 1),
            hint="add a column rule_code with nfhs, obr or ncaa in each row",
        )
    if len(set(names)) != len(names) or "" in names:
        raise InputError(
            "a heading is blank or stands twice",
            where=Where(path, 1),
            hint="give each column a name of its own",
        )
    with path.open(encoding=encoding, newline="") as stream:
        records = list(csv.reader(stream, delimiter=delimiter))[1:]
    faults: list[PlateworkError] = [
        InputError(
            f"the row has {len(row)} cells, the header {len(names)}",
            where=Where(path, line),
            hint="mend the commas",
        )
        for line, row in enumerate(records, 2)
        if row and any(cell.strip() for cell in row) and len(row) != len(names)
    ]
    if faults:
        raise FaultsError(faults[:FAULTS_SHOWN])
    # What a list of ours marked for spreadsheets is read as it was.
    rows = [
        (line, *(without_marks(cell) for cell in row))
        for line, row in enumerate(records, 2)
        if len(row) == len(names) and any(cell.strip() for cell in row)
    ]
    columns = [quoted(f"in_{name}") for name in names]
    store.run(f"CREATE OR REPLACE TABLE raw.case_row (line_no BIGINT, {', '.join(f'{c} VARCHAR' for c in columns)})")
    if rows:
        width = len(names) + 1
        unnested = ", ".join(["unnest(?::BIGINT[])"] + ["unnest(?::VARCHAR[])"] * len(names))
        store.run(f"INSERT INTO raw.case_row SELECT {unnested}", [[row[i] for row in rows] for i in range(width)])
    _stage_cases(store, path, names, today)
    return names


def _stage_cases(store: Store, path: Path, names: list[str], today: dt.date) -> None:
    calls = schemas.table("plate_calls")
    wanted = {
        field.name: field for field in calls.fields if field.name in (*schemas.fact_columns(), *schemas.ruled_columns())
    }
    wanted["rule_code"] = schemas.table("games").field("rule_code")
    wanted["game_on"] = schemas.table("games").field("date")
    cells = {}
    for name in wanted:
        given = "date" if name == "game_on" else name
        cells[name] = f"nullif(trim({quoted('in_' + given)}), '')" if given in names else "CAST(NULL AS VARCHAR)"
    faults: list[PlateworkError] = []
    for name, field in wanted.items():
        typed = typed_sql(field, cells[name])
        bad = store.rows(
            f"SELECT line_no, {cells[name]} FROM raw.case_row "
            f"WHERE {cells[name]} IS NOT NULL AND ({typed}) IS NULL ORDER BY 1"
        )
        for line, value in bad:
            misfit = explain(field, value)
            faults.append(InputError(misfit.reason, where=Where(path, line, name), hint=misfit.remedy))
        if field.minimum is not None or field.maximum is not None:
            out_of_range = store.rows(
                f"SELECT line_no, {cells[name]} FROM raw.case_row WHERE ({typed}) < ? OR ({typed}) > ? ORDER BY 1",
                [field.minimum, field.maximum],
            )
            faults += [
                InputError(
                    f"{value!r} is outside {field.minimum} to {field.maximum}",
                    where=Where(path, line, name),
                    hint="mend the value",
                )
                for line, value in out_of_range
            ]
    missing = store.rows(f"SELECT line_no FROM raw.case_row WHERE {cells['rule_code']} IS NULL ORDER BY 1")
    faults += [
        InputError("the row names no rule code", where=Where(path, line, "rule_code"), hint="write nfhs, obr or ncaa")
        for (line,) in missing
    ]
    if faults:
        raise FaultsError(faults[:FAULTS_SHOWN])
    typed_columns = []
    for name, field in wanted.items():
        typed = typed_sql(field, cells[name])
        if field.blank_value is not None:
            typed = f"coalesce({typed}, '{field.blank_value}')"
        if name == "game_on":
            typed = f"coalesce({typed}, DATE '{today.isoformat()}')"
        typed_columns.append(f"CAST({typed} AS {field.duckdb_type}) AS {quoted(name)}")
    store.run(
        "CREATE OR REPLACE TEMP TABLE source_call AS "
        f"SELECT CAST(line_no AS VARCHAR) AS call_id, {', '.join(typed_columns)} FROM raw.case_row"
    )
