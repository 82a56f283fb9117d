"""One case in full: what was seen, what the rules ask, what follows, and what would settle an open case."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from pipeline.rules.answer import CaseRuling, rule_case
from pipeline.rules.compile import RuleBook, rule_book
from pipeline.rules.model import CODE_TITLES, RULING_FIELDS
from pipeline.rules.vocabulary import facts
from pipeline.store import Store

_TITLES = {
    "pitch": "Pitch",
    "ball_status": "Ball",
    "batter": "Batter",
    "runners": "Runners",
    "runner_out": "Runner out",
    "choice": "Coach's choice",
    "instruct": "Instruction",
}


def explain_call(store: Store, source: str, call_id: str) -> str | None:
    """Return the explanation of one row of `source` as text, or None when it has no such `call_id`."""
    found = store.records(f"SELECT * FROM {source} WHERE call_id = ?", [call_id])
    if not found:
        return None
    row = found[0]
    known = {name: None if row[name] is None else str(row[name]) for name in facts()}
    day = row["game_on"]
    book = rule_book()
    ruling = rule_case(book, book.regime(row["rule_code"], day), known)
    return _text(book, row, known, ruling, row["rule_code"], day)


def _text(
    book: RuleBook,
    row: Mapping[str, Any],
    known: Mapping[str, str | None],
    ruling: CaseRuling,
    code: str,
    day: dt.date,
) -> str:
    regime = book.regime(code, day)
    asked, _ = book.forest.path(regime.root, known)
    vocabulary = facts()
    lines = [f"Ruling under {code} ({CODE_TITLES[code]}), rules of {day.isoformat()}: {ruling.state}", ""]
    lines += [f"  {_TITLES[name]:<15} {ruling.ruling[name] or '(not called)'}" for name in RULING_FIELDS]
    lines += [f"  {'Outs added':<15} {ruling.outs_added or '-'}"]
    if ruling.balls_after or ruling.strikes_after:
        lines += [f"  {'Count after':<15} {ruling.balls_after or '?'}-{ruling.strikes_after or '?'}"]
    lines += ["", "Because", f"  {ruling.because}", ""]
    if row.get("zone_margin_in") is not None:
        margin = row["zone_margin_in"]
        side = "inside" if margin >= 0 else "beyond"
        lines += [
            "Measured",
            f"  The ball's edge reached {abs(margin):.1f} in {side} the edge of the zone; "
            f"with this source's error the pitch was a strike with probability {row['p_strike']:.2f}.",
            "",
        ]
    lines += ["Facts asked, in order"]
    lines += [f"  {vocabulary[name].title}: {value}" for name, value in asked] or ["  (none were recorded)"]
    if ruling.needs:
        lines += ["", "Would settle it", *(f"  {name}" for name in ruling.needs)]
    lines += ["", "Rules used"]
    for rule_id in ruling.rule_ids:
        rule = book.rules[rule_id]
        if rule.says:
            entry = rule.codes[code]
            note = f" ({entry.note})" if entry.note else ""
            lines.append(f"  {rule_id}  {entry.reference} [{entry.confidence}]{note}")
            lines.append(f"        {rule.title}")
    lines += ["", f"How well these rules are known: {ruling.confidence} (the weakest of those used)"]
    return "\n".join(lines)


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
    writer.writerow([*names, *(f"ruling_{name}" if name in names else name for name in columns)])
    writer.writerows(["" if cell is None else cell for cell in row] for row in rows)
    text = stream.getvalue()
    if out is not None:
        write_bytes(out, text.encode())
    return text
