"""One case in full, as text or as a document: what was seen, what the rules ask, what follows, and what lies near."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import schemas
from pipeline.errors import InputError
from pipeline.formulas import safe_row
from pipeline.rules.answer import NONE_CALLED
from pipeline.rules.compile import rule_book
from pipeline.rules.explanation import Explanation, document, explain
from pipeline.rules.model import CODES, RULING_FIELDS
from pipeline.rules.vocabulary import facts
from pipeline.rulings.explain_text import explanation_text
from pipeline.rulings.quiz_key import stated
from pipeline.store import Store


@dataclass(frozen=True)
class Measured:
    """Where a measured pitch crossed: how deep the ball's edge reached into the zone, and how likely it was a strike.

    `zone_margin_in` is in inches, negative beyond the zone; `p_strike` allows for the error of the measurement.
    """

    zone_margin_in: float
    p_strike: float


def read_call(text: str) -> dict[str, str]:
    """Read a call as it is given on the command line: `part=value` pairs joined by `;`.

    Raises
    ------
    InputError
        A part or value does not exist, or a part has no value.
    """
    hint = "write for example batter=first_base;pitch=ball"
    if any("=" not in part for part in text.split(";") if part.strip()):
        raise InputError(f"{text!r} is no call", hint=hint)
    call = stated(text)
    calls = schemas.table("plate_calls")
    for name, value in call.items():
        if name not in RULING_FIELDS:
            raise InputError(f"{name!r} is no part of a ruling", hint=f"the parts are: {', '.join(RULING_FIELDS)}")
        allowed = (*calls.field(f"ruled_{name}").enum, NONE_CALLED)
        if value not in allowed:
            raise InputError(f"{value!r} is no value of {name}", hint=f"allowed are: {', '.join(allowed)}")
    if not call:
        raise InputError("nothing was called", hint=hint)
    return call


def known_facts(row: Mapping[str, Any]) -> dict[str, str | None]:
    """The deciding facts of one row of a table of calls; None: not recorded."""
    return {name: None if row.get(name) is None else str(row[name]) for name in facts()}


def _measured(row: Mapping[str, Any]) -> Measured | None:
    if row.get("zone_margin_in") is None or row.get("p_strike") is None:
        return None
    return Measured(float(row["zone_margin_in"]), float(row["p_strike"]))


def _row(store: Store, source: str, call_id: str) -> dict[str, Any] | None:
    found = store.records(f"SELECT * FROM {source} WHERE call_id = ?", [call_id])
    return found[0] if found else None


def call_explanation(
    store: Store,
    source: str,
    call_id: str,
    called: Mapping[str, str] | None = None,
    under: Mapping[str, str] | None = None,
    settled: tuple[tuple[str, str], ...] | None = None,
) -> tuple[Explanation, Measured | None] | None:
    """Return the explanation of one row of `source`, or None when it has no such `call_id`.

    Parameters
    ----------
    called
        What the umpire called; without it, what the row's ruled columns say.
    under
        By other rule code, the `call_id` under which `source` has the same sheet as that code reads it.
    settled
        The points that the league settles (see `pipeline.rules.options.settle`); None: the rules' own words.
    """
    row = _row(store, source, call_id)
    if row is None:
        return None
    ruled = called or {name: row[f"ruled_{name}"] for name in RULING_FIELDS if row.get(f"ruled_{name}")}
    other_rows = {code: _row(store, source, other) for code, other in (under or {}).items() if code in CODES}
    explanation = explain(
        rule_book(settled),
        row["rule_code"],
        row["game_on"],
        known_facts(row),
        ruled,
        known_under={code: known_facts(other) for code, other in other_rows.items() if other is not None},
        settled=settled,
    )
    return explanation, _measured(row)


def as_text(explanation: Explanation, measured: Measured | None, *, show_all: bool = False) -> str:
    """An explanation as text; `show_all` also names the rules of other topics that were passed by."""
    told = None if measured is None else (measured.zone_margin_in, measured.p_strike)
    return explanation_text(explanation, told, show_all=show_all)


def as_json(explanation: Explanation, measured: Measured | None) -> str:
    """An explanation as one JSON document; its keys are the fields of `Explanation`, and `measured`."""
    return json.dumps(document(explanation) | {"measured": document(measured)}, indent=2, ensure_ascii=False)


def explain_call(store: Store, source: str, call_id: str) -> str | None:
    """Return the explanation of one row of `source` as text, or None when it has no such `call_id`."""
    found = call_explanation(store, source, call_id)
    return None if found is None else as_text(*found)


def write_rulings(store: Store, names: list[str], out: Path | None) -> str:
    """Return the case list with its rulings as CSV text, in the list's order, and write it to `out` if given.

    The columns as they came, then the ruling's; a heading of the list that a ruling also uses is kept first and
    the ruling's own gets the prefix `ruling_`.
    """
    import csv
    import io

    from pipeline.rulings.batch import COLUMNS
    from pipeline.store import write_bytes

    # The contract's order: the ruling, what it does to the count, how it was reached.
    columns = (*RULING_FIELDS, *(name for name in COLUMNS if name not in (*RULING_FIELDS, "state")), "state")
    given = ", ".join('"in_' + name.replace('"', '""') + '"' for name in names)
    ruled = ", ".join(f"coalesce({name}, '')" for name in columns)
    rows = store.rows(
        f"SELECT {given}, {ruled} FROM raw.case_row JOIN rulings.case_ruling "
        "ON case_ruling.call_id = CAST(case_row.line_no AS VARCHAR) ORDER BY line_no"
    )
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\n")
    writer.writerow(safe_row([*names, *(f"ruling_{name}" if name in names else name for name in columns)]))
    writer.writerows(safe_row("" if cell is None else cell for cell in row) for row in rows)
    text = stream.getvalue()
    if out is not None:
        write_bytes(out, text.encode())
    return text
