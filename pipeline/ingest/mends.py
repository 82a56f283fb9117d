"""Put mended rows in the place of the rows they stand for, and keep a trail of it in `meta.mend`.

A row is replaced only where that is certain: the row named is there, and is as it was when it was handed back.
Any other mended row is set aside, so that nothing is changed in silence.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

from pipeline.errors import DisagreementError, Where
from pipeline.ingest.land import Sheet, quoted
from pipeline.ingest.mend_rows import MendRow
from pipeline.store import Store
from schemas.remarks import fingerprint

Key = tuple[int, int]
"""A row of the season: file id and line number."""

META_TABLES = (
    """CREATE OR REPLACE TABLE meta.mend (
        state VARCHAR, table_name VARCHAR, file_id INTEGER, path VARCHAR, sheet VARCHAR, line_no BIGINT,
        raw_text VARCHAR, original_path VARCHAR, original_sheet VARCHAR, original_line_no BIGINT,
        original_text VARCHAR, original_reason VARCHAR, is_checked BOOLEAN, message VARCHAR)""",
    """CREATE OR REPLACE TABLE meta.replaced (
        file_id INTEGER, line_no BIGINT, table_name VARCHAR, by_file_id INTEGER, by_line_no BIGINT)""",
)
"""The trail of mended rows, and the rows for which another row stands.

`state` is `applied`, `unchanged` (put back as it came), `repeated` (the same mend twice), or why it was set aside:
`unplaced`, `no_sheet`, `stale`, `contested`, `circular`.
"""

HELD = ("applied", "unchanged", "repeated")
"""States of a mended row that is not set aside."""


@dataclass(frozen=True)
class _Original:
    """The row that a mended one names, as it is now; `reason` is why loading set it aside, if it did."""

    raw_text: str
    cells: dict[str, str] | None
    reason: str | None


@dataclass(frozen=True)
class _Mend:
    """A mended row, the row it names as far as that is known, and what became of it."""

    sheet: Sheet
    row: MendRow
    target: Key | None = None
    original: _Original | None = None
    state: str = "applied"
    reason: str | None = None
    remedy: str = ""

    @property
    def key(self) -> Key:
        return (self.sheet.file_id, self.row.line_no)

    def aside(self, state: str, reason: str, remedy: str) -> _Mend:
        return replace(self, state=state, reason=reason, remedy=remedy)


def apply_mends(store: Store, sheets: Sequence[Sheet]) -> None:
    """Decide on every mended row of the landed and staged `sheets`, and carry it out.

    Rows that are replaced leave `staged.*` and `meta.reject`, but stay in `raw.*`; the counts of `meta.file` follow.

    Raises
    ------
    DisagreementError
        The rows of a file no longer add up, which is a fault of this program.
    """
    mends = _standing(store, [_Mend(sheet, row) for sheet in sheets for row in sheet.mends])
    if not mends:
        return
    mends = [_placed(mend, {(s.relative, s.sheet_name or ""): s for s in sheets}) for mend in mends]
    originals = _originals(store, mends)
    mends = _settled([_compared(store, mend, originals) for mend in mends])
    _set_aside(store, [mend for mend in mends if mend.state not in HELD])
    _replace(store, mends)
    _write_trail(store, mends)
    _recount(store)


def _standing(store: Store, mends: list[_Mend]) -> list[_Mend]:
    """Leave out rows that were taken out as blank or as examples: they say nothing."""
    if not mends:
        return []
    found: set[Key] = set()
    for table in sorted({mend.sheet.table.name for mend in mends}):
        ids = sorted({mend.sheet.file_id for mend in mends if mend.sheet.table.name == table})
        found |= {
            (file_id, line_no)
            for file_id, line_no in store.rows(
                f"SELECT file_id, line_no FROM raw.{table} WHERE list_contains($ids, file_id) "
                "UNION ALL SELECT file_id, line_no FROM meta.reject WHERE list_contains($ids, file_id)",
                {"ids": ids},
            )
        }
    return [mend for mend in mends if mend.key in found]


def _placed(mend: _Mend, by_place: dict[tuple[str, str], Sheet]) -> _Mend:
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
            f"the sheet {place}, for a row of which this one stands, is not in the season",
            "put the sheet back, or take this row out; if the sheet has a new name, write it under #file",
        )
    if named.table.name != mend.sheet.table.name:
        return mend.aside(
            "unplaced",
            f"{row.file} is a sheet of {named.table.name}, this one of {mend.sheet.table.name}",
            f"name this sheet after {named.table.name}",
        )
    return replace(mend, target=(named.file_id, row.target_line))


def _originals(store: Store, mends: list[_Mend]) -> dict[Key, _Original]:
    found: dict[Key, _Original] = {}
    tables = {mend.sheet.table.name: mend.sheet.table for mend in mends if mend.target}
    for name, table in sorted(tables.items()):
        keys = sorted({mend.target for mend in mends if mend.target and mend.sheet.table.name == name})
        store.run(
            "CREATE OR REPLACE TEMP TABLE mend_target AS "
            "SELECT unnest(?::INTEGER[]) AS file_id, unnest(?::BIGINT[]) AS line_no",
            [[key[0] for key in keys], [key[1] for key in keys]],
        )
        columns = ", ".join(quoted(column) for column in table.field_names)
        reasons = {
            (file_id, line_no): (reason, text)
            for file_id, line_no, reason, text in store.rows(
                "SELECT file_id, line_no, reason, raw_text FROM meta.reject SEMI JOIN mend_target "
                "USING (file_id, line_no)"
            )
        }
        for key, (reason, text) in reasons.items():
            found[key] = _Original(text, None, reason)
        for file_id, line_no, text, *cells in store.rows(
            f"SELECT file_id, line_no, raw_text, {columns} FROM raw.{name} SEMI JOIN mend_target "
            "USING (file_id, line_no)"
        ):
            key = (file_id, line_no)
            values = {c: (v or "").strip() for c, v in zip(table.field_names, cells, strict=True)}
            found[key] = _Original(text, values, reasons.get(key, (None, ""))[0])
        store.run("DROP TABLE mend_target")
    return found


def _compared(store: Store, mend: _Mend, originals: dict[Key, _Original]) -> _Mend:
    """Hold a mended row against the row it names, as that is now."""
    if mend.target is None:
        return mend
    row, original = mend.row, originals.get(mend.target)
    place = f"line {row.target_line} of {row.file}" + (f" [{row.sheet}]" if row.sheet else "")
    if original is None or (row.was and row.was != fingerprint(original.raw_text)):
        told = "there is no row now in" if original is None else "the row has changed since it was handed back:"
        lines = _lines_with(store, mend)
        moved = f"the same row now stands in line {lines[0]}: write that under #line" if len(lines) == 1 else None
        again = f"; if the mend still holds, write {fingerprint(original.raw_text)} under #was" if original else ""
        return replace(mend, original=original).aside(
            "stale",
            f"{told} {place}",
            moved or f"look at the sheet as it is now{again}; otherwise take this row out",
        )
    mend = replace(mend, original=original)
    return replace(mend, state="unchanged") if row.repeats(original.cells, original.raw_text) else mend


def _lines_with(store: Store, mend: _Mend) -> list[int]:
    """Return the lines of the named sheet in which the row stands now that was handed back."""
    if not mend.row.was or mend.target is None:
        return []
    marked = "'r' || left(sha256(raw_text), 12) = $was AND file_id = $file_id"
    return sorted(
        line_no
        for (line_no,) in store.rows(
            f"SELECT line_no FROM raw.{mend.sheet.table.name} WHERE {marked} "
            f"UNION SELECT line_no FROM meta.reject WHERE {marked}",
            {"was": mend.row.was, "file_id": mend.target[0]},
        )
    )


def _settled(mends: list[_Mend]) -> list[_Mend]:
    """Settle rows that are mended more than once, and mends that lead back to themselves."""
    rivals: dict[Key, list[_Mend]] = defaultdict(list)
    for mend in mends:
        if mend.state == "applied" and mend.target is not None:
            rivals[mend.target].append(mend)
    verdict: dict[Key, _Mend] = {}
    for group in rivals.values():
        cells = group[0].row.cells
        if cells is not None and all(mend.row.cells == cells for mend in group):
            verdict |= {mend.key: replace(mend, state="repeated") for mend in group[1:]}
        elif len(group) > 1:
            verdict |= {mend.key: _contested(mend, group) for mend in group}
    mends = [verdict.get(mend.key, mend) for mend in mends]
    while turning := _turning(_gone(mends)):
        mends = [_circular(mend) if mend.key in turning else mend for mend in mends]
    return mends


def _contested(mend: _Mend, group: list[_Mend]) -> _Mend:
    others = [f"line {m.row.line_no} of {m.sheet.relative}" for m in group if m.key != mend.key]
    return mend.aside(
        "contested",
        f"line {mend.row.target_line} of {mend.row.file} is mended more than once, and differently: "
        f"also in {' and '.join(others[:4])}",
        "keep the one that holds",
    )


def _circular(mend: _Mend) -> _Mend:
    return mend.aside(
        "circular",
        "the mended rows name one another, so none of them stands for a row of a sheet",
        "write under #file and #line the row of the sheet that is mended",
    )


def _gone(mends: Sequence[_Mend]) -> dict[Key, tuple[Key, _Mend]]:
    """Return each row for which another stands: which one that is, and the mended row that says so."""
    gone: dict[Key, tuple[Key, _Mend]] = {}
    first = {mend.target: mend.key for mend in mends if mend.state == "applied"}
    for mend in mends:
        if mend.state == "applied" and mend.target:
            gone[mend.target] = (mend.key, mend)
    for mend in mends:
        if mend.state in ("unchanged", "repeated") and mend.target:
            # Where its twin is set aside, a repeated mend stands for itself, and that is a circle of one.
            stands = mend.target if mend.state == "unchanged" else first.get(mend.target, mend.key)
            gone.setdefault(mend.key, (stands, mend))
    return gone


def _turning(gone: dict[Key, tuple[Key, _Mend]]) -> set[Key]:
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


def _insert(store: Store, table: str, types: str, rows: Sequence[tuple[Any, ...]]) -> None:
    """Insert rows whose columns have the types named, in one statement."""
    if rows:
        unnested = ", ".join(f"unnest(?::{kind}[])" for kind in types.split())
        store.run(f"INSERT INTO {table} SELECT {unnested}", [list(column) for column in zip(*rows, strict=True)])


def _take(store: Store, tables: Sequence[str], keys: Sequence[Key]) -> None:
    """Take rows out of tables that have `file_id` and `line_no`."""
    store.run(
        "CREATE OR REPLACE TEMP TABLE taken AS SELECT unnest(?::INTEGER[]) AS file_id, unnest(?::BIGINT[]) AS line_no",
        [[key[0] for key in keys], [key[1] for key in keys]],
    )
    for table in tables:
        store.run(
            f"DELETE FROM {table} AS gone USING taken "
            "WHERE gone.file_id = taken.file_id AND gone.line_no = taken.line_no"
        )
    store.run("DROP TABLE taken")


def _set_aside(store: Store, mends: list[_Mend]) -> None:
    for name in sorted({mend.sheet.table.name for mend in mends}):
        some = [mend for mend in mends if mend.sheet.table.name == name]
        _take(store, (f"staged.{name}", "meta.reject"), [mend.key for mend in some])
        _insert(
            store,
            "meta.reject",
            "INTEGER VARCHAR VARCHAR BIGINT VARCHAR VARCHAR VARCHAR VARCHAR VARCHAR VARCHAR",
            [
                (m.sheet.file_id, m.sheet.relative, name, m.row.line_no, None, None, m.reason, m.remedy,
                 m.row.raw_text, "load")
                for m in some
            ],
        )  # fmt: skip


def _replace(store: Store, mends: list[_Mend]) -> None:
    """Take out the rows for which another stands, and write down which one that is."""
    gone = {key: (mend.sheet.table.name, stands) for key, (stands, mend) in _gone(mends).items()}
    for name in sorted({name for name, _ in gone.values()}):
        _take(store, (f"staged.{name}", "meta.reject"), [key for key, (table, _) in gone.items() if table == name])
    _insert(
        store,
        "meta.replaced",
        "INTEGER BIGINT VARCHAR INTEGER BIGINT",
        [(*key, name, *by) for key, (name, by) in sorted(gone.items())],
    )


def _write_trail(store: Store, mends: list[_Mend]) -> None:
    rows = []
    for mend in mends:
        row, original = mend.row, mend.original
        reason = (original.reason if original else None) or row.told_reason or None
        rows.append((
            mend.state, mend.sheet.table.name, mend.sheet.file_id, mend.sheet.relative, mend.sheet.sheet_name,
            row.line_no, row.raw_text, row.file or None, row.sheet or None, row.target_line,
            original.raw_text if original else None, reason, bool(row.was), mend.reason,
        ))  # fmt: skip
    _insert(
        store,
        "meta.mend",
        "VARCHAR VARCHAR INTEGER VARCHAR VARCHAR BIGINT VARCHAR VARCHAR VARCHAR BIGINT VARCHAR VARCHAR BOOLEAN VARCHAR",
        rows,
    )


def _recount(store: Store) -> None:
    """Bring the account of each file up to date and see that it still adds up."""
    names = [row[0] for row in store.rows("SELECT DISTINCT table_name FROM meta.file WHERE table_name IS NOT NULL")]
    union = " UNION ALL ".join(f"SELECT file_id FROM staged.{name}" for name in sorted(names))
    store.run(
        "UPDATE meta.file SET "
        f"rows_staged = (SELECT count(*) FROM ({union}) AS staged WHERE staged.file_id = file.file_id), "
        "rows_rejected = (SELECT count(*) FROM meta.reject WHERE reject.file_id = file.file_id), "
        "rows_replaced = (SELECT count(*) FROM meta.replaced WHERE replaced.file_id = file.file_id) "
        "WHERE table_name IS NOT NULL"
    )
    faults = store.rows(
        "SELECT path, rows_in, rows_staged, rows_rejected, rows_replaced FROM meta.file "
        "WHERE table_name IS NOT NULL AND rows_in <> rows_staged + rows_rejected + rows_replaced ORDER BY path"
    )
    if faults:
        path, came, staged, rejected, replaced = faults[0]
        raise DisagreementError(
            f"{came} rows came in, but {staged} were staged, {rejected} set aside and {replaced} replaced",
            where=Where(path),
            hint="this is a fault of the program: report it with the sheets",
        )
