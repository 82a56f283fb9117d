"""A call's life, from the row as it came to the grade; and what became of the sheets of a season."""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import schemas
from pipeline.errors import InputError, Where
from pipeline.history_text import call_text, sheets_text
from pipeline.ingest.cells import quoted
from pipeline.ingest.headings import nearest
from pipeline.store import Store

Document = dict[str, Any]

_RULING = (
    "state", "pitch", "ball_status", "batter", "runners", "runner_out", "choice", "instruct", "outs_added",
    "balls_after", "strikes_after", "needs", "rule_refs", "rule_ids", "because", "confidence",
)  # fmt: skip


def history(place: Path, call_id: str | None = None, *, out: Path = Path("out"), as_document: bool = False) -> str:
    """Return the history of one call, or without one that of the sheets, as text or one JSON document.

    `place` is a folder of results, or a season folder whose results are in `out`.

    Raises
    ------
    InputError
        There is no season store there, or no row of any sheet or earlier version holds the call.
    """
    with Store(_store_path(place, out), read_only=True) as store:
        document = sheets_history(store) if call_id is None else call_history(store, call_id)
    if as_document:
        return json.dumps(document, indent=2, ensure_ascii=False, default=str) + "\n"
    return sheets_text(document) if call_id is None else call_text(document)


def earlier_sheet(place: Path, version: str, *, out: Path = Path("out")) -> str:
    """Return the rows of an earlier version of a sheet as they came, as CSV under the headings of their columns.

    `version` is how the hash of that version begins, as `history` shows it. Columns that were not read are headed
    `#`. Blank rows, and the headings as they were written, are not kept.

    Raises
    ------
    InputError
        No version begins so, or more than one does, or its rows are not kept.
    """
    with Store(_store_path(place, out), read_only=True) as store:
        found = _records(
            store,
            "meta.sheet_version",
            "SELECT DISTINCT path, sheet, sha256, delimiter, columns, rows_kept FROM meta.sheet_version "
            "WHERE starts_with(sha256, $version) ORDER BY path, sheet, sha256",
            {"version": version},
        )
        if len(found) != 1:
            told = "no version of a sheet begins with" if not found else f"{len(found)} versions of sheets begin with"
            raise InputError(f"{told} {version!r}", hint="`platework history` without --version lists them")
        (sheet,) = found
        if not sheet["rows_kept"]:
            gone = "had to make room for later ones, or went with a store that was lost"
            why = "is the one loaded now" if sheet["rows_kept"] is None else gone
            raise InputError(
                f"the rows of version {version!r} of {sheet['path']} are not kept apart: it {why}",
                hint="look into the season folder, or into an older copy of the store",
            )
        rows = store.rows(
            "SELECT raw_text FROM meta.archived_row WHERE path = ? AND sheet = ? AND sha256 = ? ORDER BY line_no",
            [sheet["path"], sheet["sheet"], sheet["sha256"]],
        )
    heading = sheet["delimiter"].join(name or "#" for name in sheet["columns"] or ["#"])
    return "".join(f"{line}\n" for line in (heading, *(text for (text,) in rows)))


def _store_path(place: Path, out: Path) -> Path:
    if (place / "season.duckdb").is_file():
        return place / "season.duckdb"
    if (place / "policy.toml").is_file() and (out / "season.duckdb").is_file():
        return out / "season.duckdb"
    raise InputError(
        "there is no season store here",
        where=Where(place),
        hint="give the folder of results of `platework run`, or the season folder with --out and that folder",
    )


def sheets_history(store: Store) -> Document:
    """Return the loads in which something changed, what changed, and every version of every sheet.

    Keys: `runs`, `events`, `versions`.
    """
    return {
        "runs": _records(store, "meta.load_run", "SELECT * FROM meta.load_run ORDER BY run_no"),
        "events": _records(store, "meta.sheet_event", "SELECT * FROM meta.sheet_event ORDER BY run_no, path, sheet"),
        "versions": _records(
            store, "meta.sheet_version", "SELECT * FROM meta.sheet_version ORDER BY path, sheet, first_run, sha256"
        ),
    }


def call_history(store: Store, call_id: str) -> Document:
    """Return all that the store knows of one call.

    Keys: `call_id`; `rows` (of the sheets as they are, each `accepted`, `set aside` or `replaced`); `mends`;
    `versions` (rows of earlier versions of the sheets); `findings`; `amendments`; `ruling`, `grade` (None where there
    is none) and `parts` (the grade of each part).
    """
    if not store.has_table("raw.plate_calls"):
        raise InputError("the season has not been loaded yet", hint="run the whole season with `platework run`")
    rows = _rows(store, call_id)
    document = {
        "call_id": call_id,
        "rows": rows,
        "mends": _mends(store, rows),
        "versions": _versions(store, call_id),
        "findings": _findings(store, rows),
        "amendments": _amendments(store, call_id),
        "ruling": _one(store, "rulings.ruling", f"SELECT {', '.join(_RULING)} FROM rulings.ruling WHERE call_id = $id",
                       call_id),
        "parts": _records(
            store, "scores.grade",
            "SELECT component, ruled, right_value, verdict, p_right FROM scores.grade WHERE call_id = $id "
            "ORDER BY component NULLS LAST",
            {"id": call_id},
        ),
        "grade": _grade(store, call_id),
    }  # fmt: skip
    if not rows and not document["versions"] and not document["amendments"]:
        raise _unknown(store, call_id)
    return document


def _unknown(store: Store, call_id: str) -> InputError:
    ids = [str(row[0]) for row in store.rows("SELECT DISTINCT trim(call_id) FROM raw.plate_calls WHERE call_id <> ''")]
    near = nearest(call_id, ids)
    return InputError(
        f"no sheet of the season, now or before, has a call {call_id!r}",
        hint=f"did you mean {near!r}?" if near else "look the id up in the sheet",
    )


def _records(
    store: Store, table: str, sql: str, parameters: Mapping[str, Any] | None = None
) -> list[Document]:
    """Return the records of a query on a table that an older or unfinished store may not have."""
    return store.records(sql, parameters) if store.has_table(table) else []


def _one(store: Store, table: str, sql: str, call_id: str) -> Document | None:
    found = _records(store, table, sql, {"id": call_id})
    return found[0] if found else None


def _rows(store: Store, call_id: str) -> list[Document]:
    found = store.records(
        """
        SELECT raw.file_id, raw.line_no, file.path, file.sheet, left(file.sha256, 12) AS version, raw.raw_text
        FROM raw.plate_calls AS raw JOIN meta.file AS file USING (file_id)
        WHERE trim(raw.call_id) = $id ORDER BY file.path, file.sheet NULLS FIRST, raw.line_no
        """,
        {"id": call_id},
    )
    for row in found:
        key = {"file_id": row["file_id"], "line_no": row["line_no"]}
        same = "file_id = $file_id AND line_no = $line_no"
        aside = _records(store, "meta.reject", f"SELECT reason, remedy, stage FROM meta.reject WHERE {same}", key)
        by = _records(
            store, "meta.replaced",
            "SELECT file.path, file.sheet, gone.by_line_no AS line_no FROM meta.replaced AS gone "
            "JOIN meta.file AS file ON file.file_id = gone.by_file_id "
            "WHERE gone.file_id = $file_id AND gone.line_no = $line_no",
            key,
        )  # fmt: skip
        row["status"] = "replaced" if by else "set aside" if aside else "accepted"
        row |= aside[0] if aside else {}
        row |= {"by": by[0]} if by else {}
    return found


def _mends(store: Store, rows: list[Document]) -> list[Document]:
    found = _records(
        store, "meta.mend",
        "SELECT * FROM meta.mend WHERE table_name = 'plate_calls' ORDER BY path, sheet NULLS FIRST, line_no",
    )  # fmt: skip
    here = {(row["path"], row["sheet"], row["line_no"]) for row in rows}
    return [
        {name: value for name, value in mend.items() if name not in ("file_id", "table_name")}
        for mend in found
        if (mend["path"], mend["sheet"], mend["line_no"]) in here
        or (mend["original_path"], mend["original_sheet"], mend["original_line_no"]) in here
    ]


def _versions(store: Store, call_id: str) -> list[Document]:
    return _records(
        store, "meta.archived_row",
        """
        SELECT row.path, nullif(row.sheet, '') AS sheet, row.line_no, left(row.sha256, 12) AS version, row.raw_text,
               first.run_no AS first_run, first.loaded_at AS first_loaded_at, known.last_run
        FROM meta.archived_row AS row
        JOIN meta.sheet_version AS known USING (path, sheet, sha256)
        JOIN meta.load_run AS first ON first.run_no = known.first_run
        WHERE row.table_name = 'plate_calls' AND row.row_key = $id
        ORDER BY known.first_run, row.path, row.sheet, row.line_no
        """,
        {"id": call_id},
    )  # fmt: skip


def _findings(store: Store, rows: list[Document]) -> list[Document]:
    found: list[Document] = []
    for table in ("meta.finding", "meta.ruling_finding"):
        for row in rows:
            if row["status"] == "accepted":
                found += _records(
                    store, table,
                    "SELECT kind, severity, column_name, value, message, remedy, path, line_no "
                    f"FROM {table} AS finding WHERE finding.table_name = 'plate_calls' AND finding.row_id = "
                    "(SELECT row_id FROM checked.plate_calls WHERE file_id = $file_id AND line_no = $line_no) "
                    "ORDER BY finding_id",
                    {"file_id": row["file_id"], "line_no": row["line_no"]},
                )  # fmt: skip
    return found


def _amendments(store: Store, call_id: str) -> list[Document]:
    """Return the amendments of a call by day, each with the value before it; those set aside come last."""
    if not store.has_table("raw.amendments"):
        return []
    kept = _records(
        store, "checked.amendments",
        """
        SELECT amendment.date, amendment.evaluator_id, person.name AS evaluator, amendment."column" AS column_name,
               amendment.value, amendment.reason, file.path, file.sheet, amendment.line_no
        FROM checked.amendments AS amendment
        JOIN meta.file AS file USING (file_id)
        LEFT JOIN checked.evaluators AS person USING (evaluator_id)
        WHERE amendment.call_id = $id ORDER BY amendment.date, amendment.row_id
        """,
        {"id": call_id},
    )  # fmt: skip
    values = _sheet_values(store, call_id)
    last = {item["column_name"]: place for place, item in enumerate(kept)}
    for place, item in enumerate(kept):
        name = item["column_name"]
        item |= {"status": "accepted", "value_before": values.get(name), "holds": last[name] == place}
        values[name] = item["value"]
    aside = store.records(
        """
        SELECT trim(raw.date) AS date, trim(raw.evaluator_id) AS evaluator_id, trim(raw."column") AS column_name,
               trim(raw.value) AS value, trim(raw.reason) AS reason, file.path, file.sheet, raw.line_no,
               reject.reason AS aside_reason, reject.remedy
        FROM raw.amendments AS raw
        JOIN meta.reject AS reject USING (file_id, line_no)
        JOIN meta.file AS file USING (file_id)
        WHERE trim(raw.call_id) = $id ORDER BY file.path, raw.line_no
        """,
        {"id": call_id},
    )
    return kept + [item | {"status": "set aside", "holds": False} for item in aside]


def _sheet_values(store: Store, call_id: str) -> dict[str, Any]:
    """Return what the sheet itself says of an accepted call, blanks read as declared."""
    if not store.has_table("checked.plate_calls"):
        return {}
    names = ", ".join(quoted(name) for name in schemas.table("plate_calls").field_names)
    found = store.records(f"SELECT {names} FROM checked.plate_calls WHERE call_id = $id", {"id": call_id})
    return found[0] if found else {}


def _grade(store: Store, call_id: str) -> Document | None:
    return _one(
        store, "scores.call_grade",
        """
        SELECT grade.verdict, grade.p_right, grade.ruled_text, grade.right_text, grade.misruling_code,
               grade.consequence, grade.evaluator_grade, grade.evaluator_agrees, call.zone, call.zone_basis,
               call.zone_margin_in, call.nearest_edge, call.umpire_id, call.evaluator_id, call.game_id, call.game_on,
               call.rule_code
        FROM scores.call_grade AS grade JOIN facts.fct_call AS call USING (call_id)
        WHERE call_id = $id
        """,
        call_id,
    )  # fmt: skip
