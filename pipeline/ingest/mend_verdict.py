"""Decide what becomes of each mended row: it replaces the row it names, changes nothing, or is set aside."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

from pipeline.ingest.mend_rows import MendRow
from pipeline.ingest.sheet import Sheet
from schemas.remarks import fingerprint

Key = tuple[int, int]
"""A row of the season: file id and line number."""

HELD = ("applied", "dropped", "unchanged", "repeated")
"""States of a mended row that is not set aside."""


@dataclass(frozen=True)
class Original:
    """The row that a mended one names, as it is now; `reason` is why loading set it aside, if it did."""

    raw_text: str
    cells: dict[str, str] | None
    reason: str | None


@dataclass(frozen=True)
class Mend:
    """A mended row, the row it names as far as that is known, and what became of it."""

    sheet: Sheet
    row: MendRow
    target: Key | None = None
    original: Original | None = None
    state: str = "applied"
    reason: str | None = None
    remedy: str = ""

    @property
    def key(self) -> Key:
        """The mended row itself."""
        return (self.sheet.file_id, self.row.line_no)

    def aside(self, state: str, reason: str, remedy: str) -> Mend:
        """Return the mended row as one that is set aside."""
        return replace(self, state=state, reason=reason, remedy=remedy)


def placed(mend: Mend, by_place: Mapping[tuple[str, str], Sheet]) -> Mend:
    """Find the sheet that a mended row names, by path and sheet of the workbook ('' for a plain file)."""
    row = mend.row
    if not row.file or row.target_line is None:
        return mend.aside(
            "unplaced",
            "the row does not say which row it stands for",
            "fill in #file and #line as they were, or blank both if this is a new row",
        )
    named = by_place.get((row.file, row.sheet))
    if named is None:
        place = f"{row.file} [{row.sheet}]" if row.sheet else row.file
        return mend.aside(
            "no_sheet",
            f"the sheet {place} is not in the season, and this row stands for one of its rows",
            "put the sheet back, or take this row out; if the sheet has a new name, write it under #file",
        )
    if named.table.name != mend.sheet.table.name:
        return mend.aside(
            "unplaced",
            f"{row.file} is a sheet of {named.table.name}, this one of {mend.sheet.table.name}",
            f"name this sheet after {named.table.name}",
        )
    return replace(mend, target=(named.file_id, row.target_line))


def compared(mend: Mend, originals: Mapping[Key, Original], lines_with: Callable[[Mend], Sequence[int]]) -> Mend:
    """Hold a mended row against the row it names, as that is now.

    `lines_with` gives the lines of the named sheet in which the row stands now that was handed back.
    """
    if mend.target is None:
        return mend
    row, original = mend.row, originals.get(mend.target)
    place = f"line {row.target_line} of {row.file}" + (f" [{row.sheet}]" if row.sheet else "")
    if original is None or (row.was and row.was != fingerprint(original.raw_text)):
        told = "there is no row now in" if original is None else "the row has changed since it was handed back:"
        lines = lines_with(mend)
        moved = f"the same row now stands in line {lines[0]}: write that under #line" if len(lines) == 1 else None
        again = f"; if the mend still holds, write {fingerprint(original.raw_text)} under #was" if original else ""
        return replace(mend, original=original).aside(
            "stale",
            f"{told} {place}",
            moved or f"look at the sheet as it is now{again}; otherwise take this row out",
        )
    mend = replace(mend, original=original)
    if row.is_blank:
        return replace(mend, state="dropped") if row.was else _unmarked(mend)
    return replace(mend, state="unchanged") if row.repeats(original.cells, original.raw_text) else mend


def _unmarked(mend: Mend) -> Mend:
    return mend.aside(
        "unplaced",
        "a blank row drops the row that it names, and without the mark under #was that is not done",
        "copy #was from the quarantine, or take this row out",
    )


def settled(mends: list[Mend]) -> list[Mend]:
    """Settle rows that are mended more than once, and mends that lead back to themselves."""
    rivals: dict[Key, list[Mend]] = defaultdict(list)
    for mend in mends:
        if mend.state in ("applied", "dropped") and mend.target is not None:
            rivals[mend.target].append(mend)
    verdict: dict[Key, Mend] = {}
    for group in rivals.values():
        cells = group[0].row.cells
        if cells is not None and all(mend.row.cells == cells for mend in group):
            verdict |= {mend.key: replace(mend, state="repeated") for mend in group[1:]}
        elif len(group) > 1:
            verdict |= {mend.key: _contested(mend, group) for mend in group}
    mends = [verdict.get(mend.key, mend) for mend in mends]
    while turning := _turning(gone_rows(mends)):
        mends = [_circular(mend) if mend.key in turning else mend for mend in mends]
    return mends


def _contested(mend: Mend, group: list[Mend]) -> Mend:
    others = [f"line {m.row.line_no} of {m.sheet.relative}" for m in group if m.key != mend.key]
    return mend.aside(
        "contested",
        f"line {mend.row.target_line} of {mend.row.file} is mended more than once, and differently: "
        f"also in {' and '.join(others[:4])}",
        "keep the one that holds",
    )


def _circular(mend: Mend) -> Mend:
    return mend.aside(
        "circular",
        "the mended rows name one another, so none of them stands for a row of a sheet",
        "write under #file and #line the row of the sheet that is mended",
    )


def gone_rows(mends: Sequence[Mend]) -> dict[Key, tuple[Key, Mend]]:
    """Return each row for which another stands: which one that is, and the mended row that says so."""
    gone: dict[Key, tuple[Key, Mend]] = {}
    first = {mend.target: mend.key for mend in mends if mend.state in ("applied", "dropped")}
    for mend in mends:
        if mend.state in ("applied", "dropped") and mend.target:
            gone[mend.target] = (mend.key, mend)
    for mend in mends:
        if mend.state in ("unchanged", "repeated") and mend.target:
            # Where its twin is set aside, a repeated mend stands for itself, and that is a circle of one.
            stands = mend.target if mend.state == "unchanged" else first.get(mend.target, mend.key)
            gone.setdefault(mend.key, (stands, mend))
    return gone


def _turning(gone: dict[Key, tuple[Key, Mend]]) -> set[Key]:
    """Return the mended rows by which a row would stand for itself in the end, and so be lost."""
    ended: set[Key] = set()
    for start in gone:
        path: dict[Key, None] = {}
        step = start
        while step in gone and step not in path and step not in ended:
            path[step] = None
            step = gone[step][0]
        if step in path:
            keys = list(path)
            return {gone[key][1].key for key in keys[keys.index(step) :]}
        ended |= path.keys()
    return set()
