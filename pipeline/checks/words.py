"""Say in plain words why a row fails a check, and what to do about it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from rapidfuzz import fuzz, process

from pipeline.checks.contracts import Check, bounds_text, noun
from pipeline.checks.quoting import identifier
from pipeline.store import Store
from schemas import Table
from schemas import table as declared

SEPARATOR = "\x1f"
"""Stands between the values of several columns in a subject; no sheet holds it."""

NEAR = 80
"""Least likeness, of 100, at which another id is offered as what was meant: one slip in five letters."""

_MOST_COMPARED = 1_000_000
"""So many pairs of ids are compared at once at most: 8 MB of likenesses."""

_SHOWN_LENGTH = 60
_SHOWN_LINES = 4


@dataclass(frozen=True)
class Word:
    """Reason and remedy for all rows that fail one check with the same values (`subject`)."""

    check_id: str
    subject: str
    reason: str
    remedy: str


def subject_sql(check: Check) -> str:
    """Return SQL for the values that a check looked at, as one text."""
    parts = [f"coalesce(CAST({identifier(name)} AS VARCHAR), '')" for name in check.columns]
    return " || chr(31) || ".join(parts)


def explain(store: Store, table: Table, check: Check, relation: str, subjects: Sequence[str]) -> list[Word]:
    """Return the words for each subject that fails `check`.

    `relation` holds the rows that were checked; the sheets in `raw.*` tell where a missing id stands.
    """
    if check.kind == "unique":
        return _unique_words(store, table, check, relation, subjects)
    if check.kind == "foreign_key":
        return _foreign_words(store, check, subjects)
    return [
        Word(check.id, subject, _reason(table, check, subject), _fitting(check, subject) or check.remedy)
        for subject in subjects
    ]


def _fitting(check: Check, subject: str) -> str | None:
    """Return what to write instead, where a row names the column that its value must fit."""
    source = check.args.get("fits")
    if source is None:
        return None
    name, _ = subject.split(SEPARATOR)
    column = declared(source).field(name)
    if column.enum:
        joined = f", joined by {column.list_separator}" if column.list_separator else ""
        return f"write one of {', '.join(column.enum)}{joined}"
    noun_of_type = "whole number" if column.type == "integer" else "number"
    if column.minimum is None and column.maximum is None:
        return f"write a {noun_of_type}"
    return f"write a {noun_of_type}, {bounds_text(column.minimum, column.maximum, column.unit)}"


def _reason(table: Table, check: Check, subject: str) -> str:
    shown = _shown(subject)
    match check.kind:
        case "not_null":
            return f"nothing is filled in, and every {noun(table)} needs it"
        case "in_set":
            return f"{shown} is not one of: {', '.join(check.args['values'])}"
        case "range":
            unit = table.field(check.columns[0]).unit
            allowed = bounds_text(check.args["minimum"], check.args["maximum"], unit)
            return f"{shown} is not in the range {allowed}"
        case "regex":
            return f"{shown} has not the form that is asked for"
        case _:
            values = dict(zip(check.columns, subject.split(SEPARATOR), strict=True))
            told = ", ".join(f"{name} {_shown(value)}" for name, value in values.items())
            return f"{check.args['message']} ({told})"


def _shown(value: str) -> str:
    if not value:
        return "blank"
    # A number of ours reads 7.0 where the sheet says 7.
    text = value.removesuffix(".0") if value.removesuffix(".0").lstrip("+-").isdigit() else value
    return repr(text if len(text) <= _SHOWN_LENGTH else text[: _SHOWN_LENGTH - 1] + "…")


def _unique_words(store: Store, table: Table, check: Check, relation: str, subjects: Sequence[str]) -> list[Word]:
    subject = subject_sql(check)
    stands = {
        key: list(zip(places, lines, strict=True))
        for key, places, lines in store.rows(
            f"""
            SELECT {subject} AS subject, list(file.place ORDER BY row_id), list(line_no ORDER BY row_id)
            FROM {relation}
            JOIN (
                SELECT file_id, path || coalesce(' [' || sheet || ']', '') AS place FROM meta.file
            ) AS file USING (file_id)
            WHERE {subject} IN (SELECT unnest(?::VARCHAR[]))
            GROUP BY subject
            """,
            [list(subjects)],
        )
    }
    words = []
    for text in subjects:
        reason = f"{_named(table, check, text)} stands on {_lines(stands[text])} with different values"
        words.append(Word(check.id, text, reason, check.remedy))
    return words


def _lines(stands: list[tuple[str, int]]) -> str:
    """Return places as words: `line 12 and line 40 of a.csv`, `line 12 of a.csv and line 3 of b.csv`."""
    shown = stands[:_SHOWN_LINES]
    parts = []
    for number, (place, line_no) in enumerate(shown):
        is_last_of_file = number + 1 == len(shown) or shown[number + 1][0] != place
        parts.append(f"line {line_no}" + (f" of {place}" if is_last_of_file else ""))
    if len(stands) > len(shown):
        parts.append(f"{len(stands) - len(shown)} more")
    return f"{', '.join(parts[:-1])} and {parts[-1]}"


def _named(table: Table, check: Check, subject: str) -> str:
    if check.columns == table.primary_key and len(check.columns) == 1:
        return f"{noun(table)} {_shown(subject)}"
    values = zip(check.columns, subject.split(SEPARATOR), strict=True)
    return ", ".join(f"{name} {_shown(value)}" for name, value in values)


def _foreign_words(store: Store, check: Check, subjects: Sequence[str]) -> list[Word]:
    parent, target = identifier(check.args["table"]), identifier(check.args["target"])
    # An id whose own row was set aside is not unknown: say where that row stands.
    aside = {
        key: (place, line_no)
        for key, place, line_no in store.rows(
            f"""
            SELECT trim(raw.{target}), arg_min(file.place, (raw.file_id, raw.line_no)),
                   arg_min(raw.line_no, (raw.file_id, raw.line_no))
            FROM raw.{parent} AS raw
            JOIN (
                SELECT file_id, path || coalesce(' [' || sheet || ']', '') AS place FROM meta.file
            ) AS file USING (file_id)
            WHERE trim(raw.{target}) IN (SELECT unnest(?::VARCHAR[]))
            GROUP BY trim(raw.{target})
            """,
            [list(subjects)],
        )
    }
    known = [str(row[0]) for row in store.rows(f"SELECT DISTINCT {target} FROM checked.{parent} ORDER BY 1 NULLS LAST")]
    near = nearest_ids([text for text in subjects if text not in aside], known)
    words = []
    for text in subjects:
        if text in aside:
            place, line_no = aside[text]
            reason = f"{_shown(text)} was itself set aside ({place} line {line_no})"
            remedy = f"mend that row of {check.args['table']} and load again"
        else:
            reason = f"{_shown(text)} is not in the sheet {check.args['table']}"
            meant = near.get(text)
            remedy = f"did you mean {meant!r}? Otherwise {check.remedy}" if meant is not None else check.remedy
        words.append(Word(check.id, text, reason, remedy))
    return words


def nearest_ids(texts: Sequence[str], known: Sequence[str]) -> dict[str, str]:
    """Return for each text the known id that it is most like, the first of several; texts near to none are left out."""
    found: dict[str, str] = {}
    if not known:
        return found
    step = max(1, _MOST_COMPARED // len(known))
    for start in range(0, len(texts), step):
        batch = texts[start : start + step]
        likeness = process.cdist(batch, known, scorer=fuzz.ratio, score_cutoff=NEAR, dtype=np.float64)
        for text, scores, place in zip(batch, likeness, likeness.argmax(axis=1), strict=True):
            if scores[place]:
                found[text] = known[place]
    return found
