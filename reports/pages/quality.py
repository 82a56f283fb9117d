"""Data quality, for the committee's data person: books, rows set aside, findings, checks."""

from __future__ import annotations

from collections import Counter

from reports.blocks import Cell, Column, Inline, Page, Paragraph, Section, Table
from reports.book import SeasonBook
from reports.links import SiteLinks, link_cell
from reports.words import NOTHING, count, num, plural

_SHOWN = 500


def quality_page(book: SeasonBook, links: SiteLinks) -> Page:
    """Make `quality.html`."""
    files, rejects, findings, checks = (book.rows(name) for name in ("file", "reject", "finding", "check"))
    lead: list[Inline] = [
        f"{plural(sum(row['rows_in'] for row in files if row['table_name']), 'row')} came in; "
        f"{plural(len(rejects), 'row was', 'rows were')} set aside, each with reason and remedy. "
        "Nothing is dropped in silence, and the books of each file add up."
    ]
    return Page(
        path="quality.html",
        title="Data quality",
        lead=lead,
        sections=[
            _books(files),
            _rejects(rejects),
            _findings(findings, links),
            _checks(checks),
        ],
        nav="quality.html",
    )


def _books(files: list[dict[str, object]]) -> Section:
    rows = [
        [
            Cell(str(row["path"]) + (f" [{row['sheet']}]" if row["sheet"] else "")),
            Cell(str(row["table_name"] or NOTHING)),
            Cell(str(row["encoding"] or NOTHING)),
            num(row["rows_in"], count(row["rows_in"])),  # type: ignore[arg-type]
            num(row["accepted"], count(row["accepted"])),  # type: ignore[arg-type]
            num(row["quarantined"], count(row["quarantined"])),  # type: ignore[arg-type]
            Cell(str(row["notes"] or "")),
        ]
        for row in files
    ]
    columns = [Column("File"), Column("Sheet"), Column("Encoding"), Column("Rows in", "num"), Column("Accepted", "num"),
               Column("Set aside", "num"), Column("Remarks", "long")]  # fmt: skip
    table = Table("books-table", "Rows in = accepted + set aside, file by file", columns, rows)
    return Section("books", "The books", [table], margin=["Header and wholly blank lines are not counted."])


def _rejects(rejects: list[dict[str, object]]) -> Section:
    table = Table(
        "rejects-table",
        "Every row set aside",
        [
            Column("File"),
            Column("Line", "num"),
            Column("Column"),
            Column("Value"),
            Column("Reason", "long"),
            Column("Remedy", "long"),
        ],
        [
            [
                Cell(str(row["path"])),
                num(row["line_no"], count(row["line_no"])),  # type: ignore[arg-type]
                Cell(str(row["column_name"] or NOTHING)),
                Cell(str(row["value"] or NOTHING)[:80]),
                Cell(str(row["reason"])),
                Cell(str(row["remedy"])),
            ]
            for row in rejects[:_SHOWN]
        ],
        empty="No row was set aside.",
    )
    more = (
        [Paragraph([f"The first {_SHOWN} of {len(rejects):,}; all are in the quarantine folder."])]
        if len(rejects) > _SHOWN
        else []
    )
    margin = "The quarantine folder has each row exactly as it came: mend it there, put it back, and run again."
    return Section("rejects", "Rows set aside", [table, *more], margin=[margin])


def _findings(findings: list[dict[str, object]], links: SiteLinks) -> Section:
    kinds = Counter(str(row["kind"]) for row in findings)
    summary = Table(
        "kinds-table",
        "Findings by kind",
        [Column("Kind"), Column("Number", "num")],
        [[Cell(kind.replace("_", " ")), num(number, count(number))] for kind, number in sorted(kinds.items())],
        empty="There is no finding.",
    )
    table = Table(
        "findings-table",
        "Findings: rows that count, but are worth a look",
        [
            Column("Kind"),
            Column("Evaluator"),
            Column("File"),
            Column("Line", "num"),
            Column("What", "long"),
            Column("To do", "long"),
        ],
        [
            [
                Cell(str(row["kind"]).replace("_", " ")),
                link_cell(links.evaluator(str(row["evaluator_id"])) if row["evaluator_id"] else NOTHING),
                Cell(str(row["path"] or NOTHING)),
                num(row["line_no"], count(row["line_no"])),  # type: ignore[arg-type]
                Cell(str(row["message"])),
                Cell(str(row["remedy"] or "")),
            ]
            for row in findings[:_SHOWN]
        ],
        empty="There is no finding.",
    )
    return Section("findings", "Findings", [summary, table])


def _checks(checks: list[dict[str, object]]) -> Section:
    table = Table(
        "checks-table",
        "Every check, decided by SQL and confirmed by great-expectations",
        [Column("Check"), Column("Sheet"), Column("What must hold", "long"), Column("Rows", "num"), Column("Failed", "num"),
         Column("Confirmed failed", "num"), Column("How confirmed"), Column("Agree")],
        [
            [
                Cell(str(row["check_id"])),
                Cell(str(row["table_name"])),
                Cell(str(row["title"])),
                num(row["rows_checked"], count(row["rows_checked"])),  # type: ignore[arg-type]
                num(row["failed"], count(row["failed"])),  # type: ignore[arg-type]
                num(row["gx_failed"], count(row["gx_failed"])),  # type: ignore[arg-type]
                Cell(str(row["gx_scope"] or NOTHING)),
                Cell({True: "yes", False: "no"}.get(row["agrees"], NOTHING)),  # type: ignore[call-overload]
            ]
            for row in checks
        ],
    )  # fmt: skip
    margin = "A difference between the two would stop the run: it would be a fault of ours, not of the data."
    return Section("checks", "Checks", [table], margin=[margin])
