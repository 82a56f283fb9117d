"""The history of a call, or of a season's sheets, in words for a terminal."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

Record = Mapping[str, Any]

_PARTS = ("pitch", "ball_status", "batter", "runners", "runner_out", "choice", "instruct")
_MENDED = {
    "applied": "replaces",
    "dropped": "is blank, and so drops",
    "unchanged": "was put back as it came, so it changes nothing:",
    "repeated": "repeats a mend of",
}


def call_text(history: Record) -> str:
    """Return the history of a call as `pipeline.history.call_history` gives it, in words."""
    lines = [f"Call {history['call_id']}", ""]
    for title, part in (
        ("As it came", _rows(history["rows"])),
        ("Mended", _mends(history["mends"])),
        ("In earlier versions of the sheets", _versions(history["versions"])),
        ("Amended", _amendments(history["amendments"])),
        ("Findings", _findings(history["findings"])),
        ("Ruling", _ruling(history["ruling"])),
        ("Grade", _grade(history["grade"], history["parts"])),
    ):
        lines += [title, *(f"  {line}" for line in part), ""]
    return "\n".join(lines).rstrip() + "\n"


def _place(record: Record, before: str = "") -> str:
    sheet = f" [{record[before + 'sheet']}]" if record.get(before + "sheet") else ""
    return f"{record[before + 'path']}{sheet} line {record[before + 'line_no']}"


def _said(value: Any) -> str:
    """Return a value as words: `first_base|out` as `first base or out`."""
    return "blank" if value is None or value == "" else str(value).replace("_", " ").replace("|", " or ")


def _rows(rows: list[Record]) -> Iterator[str]:
    if not rows:
        yield "no sheet of the season as it is now has this call"
    for row in rows:
        by = f" by {_place(row['by'])}" if "by" in row else ""
        yield f"{_place(row)} (version {row['version']}): {row['status']}{by}"
        yield f"  {row['raw_text']}"
        if row.get("reason"):
            yield f"  why: {row['reason']}"
            yield f"  to do: {row['remedy']}"


def _mends(mends: list[Record]) -> Iterator[str]:
    if not mends:
        yield "nothing"
    for mend in mends:
        named = _place(mend, "original_") if mend["original_path"] else "no row"
        yield f"{_place(mend)} {_MENDED.get(mend['state'], 'was set aside as a mend of')} {named}"
        if mend["original_text"] is not None:
            yield f"  it was: {mend['original_text']}"
        if mend["original_reason"]:
            yield f"  handed back because: {mend['original_reason']}"
        if mend["message"]:
            yield f"  set aside because: {mend['message']}"
        if not mend["is_checked"] and mend["state"] == "applied":
            yield "  without a mark under #was, so nobody can tell whether the row had changed"


def _versions(versions: list[Record]) -> Iterator[str]:
    if not versions:
        yield "none"
    for row in versions:
        yield (
            f"{_place(row)} (version {row['version']}), first loaded {row['first_loaded_at']} UTC "
            f"(load {row['first_run']}), last in load {row['last_run']}"
        )
        yield f"  {row['raw_text']}"


def _amendments(amendments: list[Record]) -> Iterator[str]:
    if not amendments:
        yield "nothing"
    for item in amendments:
        who = f"{item['evaluator_id']} ({item['evaluator']})" if item.get("evaluator") else item["evaluator_id"]
        if item["status"] == "accepted":
            then = "" if item["holds"] else " (a later amendment holds)"
            yield (
                f"{item['date']} by {who}: {item['column_name']} from {_said(item['value_before'])} "
                f"to {_said(item['value'])}{then}"
            )
        else:
            yield f"set aside: {item['date']} by {who}: {item['column_name']} to {_said(item['value'])}"
            yield f"  why: {item['aside_reason']}"
            yield f"  to do: {item['remedy']}"
        yield f"  because: {item['reason']}"
        yield f"  from: {_place(item)}"


def _findings(findings: list[Record]) -> Iterator[str]:
    if not findings:
        yield "none"
    for item in findings:
        yield f"{item['kind'].replace('_', ' ')}: {item['message']}"
        yield f"  to do: {item['remedy']}"


def _ruling(ruling: Record | None) -> Iterator[str]:
    if ruling is None:
        yield "none: the call is not accepted, or the season has not been ruled yet"
        return
    yield f"{ruling['state']}: " + "; ".join(
        f"{part.replace('_', ' ')} {_said(ruling[part])}" for part in _PARTS if ruling[part] not in (None, "", "none")
    )
    if ruling["because"]:
        yield f"because: {ruling['because']}"
    if ruling["needs"]:
        yield f"would be settled by: {ruling['needs'].replace('_', ' ')}"
    if ruling["rule_refs"]:
        yield f"rules: {ruling['rule_refs']} ({ruling['rule_ids']}); {ruling['confidence']}"


def _grade(grade: Record | None, parts: list[Record]) -> Iterator[str]:
    if grade is None:
        yield "none yet"
        return
    yield f"{_said(grade['verdict'])}: called {grade['ruled_text'] or 'nothing that was noted'}"
    for part in parts:
        chance = f", chance of being right {part['p_right']:.2f}" if part["p_right"] is not None else ""
        yield (
            f"  {_said(part['component'])}: called {_said(part['ruled'])}, right {_said(part['right_value'])}: "
            f"{_said(part['verdict'])}{chance}"
        )
    if grade["verdict"] == "edge":
        yield "an edge pitch: where it was measured cannot decide it, so it counts neither way"
    if grade["zone_margin_in"] is not None:
        side = "inside" if grade["zone_margin_in"] >= 0 else "outside"
        off = f"{abs(grade['zone_margin_in']):.2f} in"
        yield f"measured {off} {side} the zone's boundary, nearest: {grade['nearest_edge']}"
    if grade["misruling_code"]:
        yield f"misruling: {grade['misruling_code']} (costs: {_said(grade['consequence'])})"
    if grade["evaluator_grade"]:
        agrees = {True: "the rules agree", False: "the rules do not agree", None: "not comparable with the rules"}
        yield f"the evaluator's own word: {_said(grade['evaluator_grade'])}; {agrees[grade['evaluator_agrees']]}"


def sheets_text(history: Record) -> str:
    """Return the history of the sheets as `pipeline.history.sheets_history` gives it, in words."""
    if not history["runs"]:
        return "The store remembers no load yet: load the season again.\n"
    lines = []
    for run in history["runs"]:
        lines.append(f"Load {run['run_no']}, {run['loaded_at']} UTC")
        for event in (item for item in history["events"] if item["run_no"] == run["run_no"]):
            sheet = f" [{event['sheet']}]" if event["sheet"] else ""
            version = event["sha256_now"] or event["sha256_before"]
            note = f", {event['note']}" if event["note"] else ""
            lines.append(f"  {event['event']}: {event['path']}{sheet} (version {version[:12]}){note}")
    lines += ["", "Versions"]
    for item in history["versions"]:
        sheet = f" [{item['sheet']}]" if item["sheet"] else ""
        kept = "" if item["rows_kept"] is None else f", {item['rows_kept']:,} rows kept"
        lines.append(
            f"  {item['path']}{sheet} {item['sha256'][:12]}: {item['rows_in']:,} rows, loads {item['first_run']} to "
            f"{item['last_run']}{kept}"
        )
    return "\n".join(lines) + "\n"
