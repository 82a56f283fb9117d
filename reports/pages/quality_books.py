"""What became of every row: the books of each file, rows set aside, mended rows, amendments, versions."""

from __future__ import annotations

from collections.abc import Sequence

from reports.blocks import Block, Cell, Column, Paragraph, Section, Table
from reports.book import Row
from reports.links import SiteLinks, link_cell
from reports.words import NOTHING, count, day, num, plain_names, plural, sentence

_LONGEST = 160
_FILES = 100
_REMARKS = 60
_AMENDMENTS = 100
_SUMS = ("rows_in", "accepted", "quarantined", "replaced", "rows_blank")
_COUNTS = [
    Column("Rows in", "num"),
    Column("Accepted", "num"),
    Column("Set aside", "num"),
    Column("Replaced", "num"),
    Column("Blank lines", "num"),
]

STAGES = {"load": "on reading", "check": "on checking"}
MEND_STATES = {
    "applied": "taken: it stands for the row that it names",
    "dropped": "taken: blank, so the row that it names does not count",
    "unchanged": "put back as it came: the first row stands",
    "repeated": "the same mend twice: one counts",
    "stale": "set aside: the row has changed since",
    "no_sheet": "set aside: the sheet that it names is not there",
    "unplaced": "set aside: it names no row",
    "contested": "set aside: several mends of one row differ",
    "circular": "set aside: mended rows name one another",
}
"""What became of a mended row, in words."""


def _place(row: Row) -> str:
    path = row["path"] or NOTHING
    return f"{path} [{row['sheet']}]" if row.get("sheet") else path


def _cut(text: str | None) -> str:
    text = text or NOTHING
    return text if len(text) <= _LONGEST else text[: _LONGEST - 1].rstrip() + "…"


def _sums(rows: Sequence[Row]) -> list[Cell]:
    found = [sum(row[key] for row in rows) for key in _SUMS]
    return [num(value, count(value)) for value in found]


def books_section(files: Sequence[Row]) -> Section:
    """Make the section of the books: sheet by sheet, then file by file."""
    names = sorted({row["table_name"] for row in files}, key=lambda name: (name is None, name))
    by_sheet = {name: [row for row in files if row["table_name"] == name] for name in names}
    sheets = Table(
        "sheets-table",
        "Rows in = accepted + set aside + replaced, sheet by sheet",
        [Column("Sheet"), Column("Files", "num"), *_COUNTS],
        [
            [Cell(plain_names(name or "not a sheet of ours")), num(len(rows), count(len(rows))), *_sums(rows)]
            for name, rows in by_sheet.items()
        ],
        total=[Cell("All sheets"), num(len(files), count(len(files))), *_sums(files)] if files else (),
        empty="No file was handed in.",
    )
    blocks: list[Block] = [sheets]
    if files:
        blocks.append(_files(files))
    if remarks := [row for row in files if row["notes"]]:
        blocks.append(_remarks(remarks[:_REMARKS]))
    if len(remarks) > _REMARKS:
        blocks.append(Paragraph([f"The first {_REMARKS} of {len(remarks):,}; all are in tables/pub_file.csv."]))
    if len(files) > _FILES:
        more = f"{_FILES} of {len(files):,} files, those with something to look at first; all are in tables/pub_file.csv."
        blocks.append(Paragraph([more]))
    margin = (
        "Headings and wholly blank lines are no rows. A replaced row is one for which a mended row stands. The full hash "
        "of every file is in manifest.json."
    )
    return Section("books", "The books", blocks, margin=[margin])


def _files(files: Sequence[Row]) -> Table:
    shown = list(files)
    if len(files) > _FILES:
        shown = sorted(files, key=lambda row: not (row["quarantined"] or row["replaced"] or row["notes"]))[:_FILES]
    columns = [
        Column("File"),
        Column("Read as"),
        *_COUNTS,
        Column("Encoding"),
        Column("SHA-256 begins"),
    ]
    rows = [
        [
            Cell(_place(row)),
            Cell(plain_names(row["table_name"] or "not a sheet of ours")),
            num(row["rows_in"], count(row["rows_in"])),
            num(row["accepted"], count(row["accepted"])),
            num(row["quarantined"], count(row["quarantined"]), "#rejects" if row["quarantined"] else None),
            num(row["replaced"], count(row["replaced"]), "#mends" if row["replaced"] else None),
            num(row["rows_blank"], count(row["rows_blank"])),
            Cell(row["encoding"] or "workbook"),
            Cell(row["sha256"][:12]),
        ]
        for row in shown
    ]
    return Table("books-table", "The same, file by file", columns, rows)


def _remarks(files: Sequence[Row]) -> Table:
    return Table(
        "remarks-table",
        "What was noticed on reading, and which headings and words were read as others",
        [Column("File"), Column("Remarks", "long")],
        [[Cell(_place(row)), Cell(sentence(row["notes"]))] for row in files],
    )


def rejects_section(kinds: Sequence[Row], shown: Sequence[Row], rejected: int) -> Section:
    """Make the section of the rows set aside: where they failed, then one by one as far as there is room."""
    if not rejected:
        return Section("rejects", "Rows set aside", [Paragraph(["No row was set aside: every row could be used."])])
    blocks: list[Block] = [
        Table(
            "reject-kinds-table",
            "Where the rows failed",
            [Column("Sheet"), Column("Column"), Column("Found"), Column("Rows", "num"), Column("Files", "num"),
             Column("The first of the reasons", "long")],
            [
                [
                    Cell(plain_names(row["table_name"] or "not recognised")),
                    Cell(row["column_name"] or "whole row"),
                    Cell(STAGES[row["stage"]]),
                    num(row["rows"], count(row["rows"])),
                    num(row["files"], count(row["files"])),
                    Cell(_cut(sentence(row["reason"]))),
                ]
                for row in kinds
            ],
        ),
        Table(
            "rejects-table",
            "Rows set aside, one by one",
            [Column("File"), Column("Line", "num"), Column("Column"), Column("Value"), Column("Reason", "long"),
             Column("Remedy", "long")],
            [
                [
                    Cell(_place(row)),
                    num(row["line_no"], count(row["line_no"])),
                    Cell(row["column_name"] or "whole row"),
                    Cell(_cut(row["value"])),
                    Cell(sentence(row["reason"])),
                    Cell(sentence(row["remedy"])),
                ]
                for row in shown
            ],
        ),
    ]  # fmt: skip
    if len(shown) < rejected:
        more = f"The first {len(shown):,} of {rejected:,}; all are in quarantine/reasons.csv and tables/pub_reject.csv."
        blocks.append(Paragraph([more]))
    margin = (
        "The folder quarantine has each row exactly as it came, under its own headings. Mend it there, put the file into "
        "the season folder, and run again: the mended row then stands for the first one."
    )
    return Section("rejects", "Rows set aside", blocks, margin=[margin])


def mends_section(states: Sequence[Row], shown: Sequence[Row]) -> Section:
    """Make the section of mended rows that came back: how many came to what, then the first, each with its first row."""
    if not states:
        return Section("mends", "Mended rows", [Paragraph(["No mended row was put back so far."])])
    told = "; ".join(f"{row['mends']:,} {MEND_STATES[row['state']]}" for row in states)
    table = Table(
        "mends-table",
        "The trail of mended rows",
        [Column("Mended row"), Column("Stands for"), Column("What became of it", "long"), Column("Why it was handed back", "long"),
         Column("What changed", "long")],
        [
            [
                Cell(f"{_place(row)}, line {count(row['line_no'])}"),
                Cell(_original(row)),
                Cell(sentence(row["message"] or MEND_STATES[row["state"]])),
                Cell(sentence(row["original_reason"] or "") or NOTHING),
                Cell(_changes(row)),
            ]
            for row in shown
        ],
    )  # fmt: skip
    margin = "The row as it first came is kept; all mends and both texts in full are in tables/pub_mend.csv."
    blocks: list[Block] = [Paragraph([sentence(told)]), table]
    everything = sum(row["mends"] for row in states)
    if len(shown) < everything:
        blocks.append(Paragraph([f"The first {len(shown):,} of {everything:,}, those that were not taken before the others."]))
    return Section("mends", "Mended rows", blocks, margin=[margin])


def _changes(row: Row) -> str:
    if row["changes"] is None and row["state"] == "applied":
        return _cut(f"{row['original_text'] or 'a blank row'} → {row['raw_text']}")
    return _cut(row["changes"])


def _original(row: Row) -> str:
    if row["original_path"] is None:
        return NOTHING
    where = f"{row['original_path']} [{row['original_sheet']}]" if row["original_sheet"] else row["original_path"]
    return f"{where}, line {count(row['original_line_no'])}" if row["original_line_no"] is not None else where


def amendments_section(amendments: Sequence[Row], links: SiteLinks) -> Section:
    """Make the section of values amended since, as by an appeal that was upheld."""
    if not amendments:
        text = "No call was amended. An appeal that is upheld goes onto the sheet amendments, with who, when and why."
        return Section("amendments", "Amendments", [Paragraph([text])])
    table = Table(
        "amendments-table",
        "Values that were amended; the sheet keeps its own",
        [Column("Call"), Column("What"), Column("On the sheet"), Column("Counts as"), Column("Amended by"),
         Column("On", "day"), Column("Why", "long")],
        [
            [
                link_cell(links.call(row["call_id"])),
                Cell(plain_names(row["column_name"])),
                Cell(plain_names(row["sheet_value"] or "not recorded")),
                Cell(plain_names(row["value"])),
                link_cell(links.evaluator(row["evaluator_id"])),
                Cell(day(row["amended_on"])),
                Cell(sentence(row["reason"])),
            ]
            for row in amendments[:_AMENDMENTS]
        ],
    )  # fmt: skip
    calls = len({row["call_id"] for row in amendments})
    told = f"{plural(len(amendments), 'value')} of {plural(calls, 'call')} {'was' if len(amendments) == 1 else 'were'} amended."
    blocks: list[Block] = [Paragraph([told]), table]
    if len(amendments) > _AMENDMENTS:
        blocks.append(Paragraph([f"The first {_AMENDMENTS}; all are in tables/pub_amendment.csv."]))
    return Section("amendments", "Amendments", blocks, margin=["Of two amendments of one value the later counts."])


def versions_section() -> Section:
    """Make the section on earlier versions of sheets, of which pages must not tell: they are the same whatever was before."""
    text = (
        "These pages show the sheets as they now lie in the season folder. A sheet that was replaced by a newer version "
        "or taken out keeps its rows in the season store. The command platework history RESULTS lists "
        "every version; with --version it writes the rows of one, with --call it tells one call's life from source row to grade."
    )
    return Section("versions", "Earlier versions", [Paragraph([text])])
