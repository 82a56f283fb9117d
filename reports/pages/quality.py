"""Data quality, for the committee's data person: books, rows set aside, findings, checks."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from reports.blocks import Block, Cell, Column, Inline, Page, Paragraph, Section, Table
from reports.book import Row, SeasonBook
from reports.links import SiteLinks, link_cell, linked_cell
from reports.pages.evaluator_health import health_of_all
from reports.pages.quality_checks import SEVERITIES, checks_section
from reports.words import NOTHING, count, num, plural, sentence

_SHOWN = 500
_LONGEST = 240


def quality_page(book: SeasonBook, links: SiteLinks) -> Page:
    """Make `quality.html`."""
    files, rejects, findings, checks = (book.rows(name) for name in ("file", "reject", "finding", "check"))
    lead: list[Inline] = [
        f"{plural(sum(row['rows_in'] for row in files), 'row')} came in; "
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
            checks_section(checks),
            health_of_all(book.rows("evaluator_health"), links),
        ],
        nav="quality.html",
    )


def _place(row: Row) -> str:
    path = row["path"] or NOTHING
    return f"{path} [{row['sheet']}]" if row.get("sheet") else path


def _cut(text: str | None) -> str:
    text = text or NOTHING
    return text if len(text) <= _LONGEST else text[: _LONGEST - 1].rstrip() + "…"


def _books(files: Sequence[Row]) -> Section:
    columns = [
        Column("File"),
        Column("Read as"),
        Column("Rows in", "num"),
        Column("Accepted", "num"),
        Column("Set aside", "num"),
        Column("Replaced", "num"),
        Column("Blank lines", "num"),
        Column("Encoding"),
        Column("SHA-256 begins"),
        Column("Remarks", "long"),
    ]
    rows = [
        [
            Cell(_place(row)),
            Cell(row["table_name"] or "not a sheet of ours"),
            num(row["rows_in"], count(row["rows_in"])),
            num(row["accepted"], count(row["accepted"])),
            num(row["quarantined"], count(row["quarantined"]), "#rejects" if row["quarantined"] else None),
            num(row["replaced"], count(row["replaced"])),
            num(row["rows_blank"], count(row["rows_blank"])),
            Cell(row["encoding"] or "workbook"),
            Cell(row["sha256"][:12]),
            Cell(sentence(row["notes"] or "") or NOTHING),
        ]
        for row in files
    ]
    sums = [sum(row[key] for row in files) for key in ("rows_in", "accepted", "quarantined", "replaced", "rows_blank")]
    total = [Cell("All files"), Cell(""), *(num(value, count(value)) for value in sums), Cell(""), Cell(""), Cell("")]
    table = Table("books-table", "Rows in = accepted + set aside + replaced, file by file", columns, rows, total=total)
    margin = "Headings and wholly blank lines are no rows. A replaced row is one for which a mended row stands. The full hash of every file is in the manifest."
    return Section("books", "The books", [table], margin=[margin])


def _rejects(rejects: Sequence[Row]) -> Section:
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
                Cell(_place(row)),
                num(row["line_no"], count(row["line_no"])),
                Cell(row["column_name"] or "whole row"),
                Cell(_cut(row["value"])),
                Cell(sentence(row["reason"])),
                Cell(sentence(row["remedy"])),
            ]
            for row in rejects[:_SHOWN]
        ],
        empty="No row was set aside.",
    )
    blocks: list[Block] = [table]
    if len(rejects) > _SHOWN:
        blocks.append(Paragraph([f"The first {_SHOWN} of {len(rejects):,}; all are in the quarantine folder."]))
    margin = (
        "The quarantine folder has each row exactly as it came, under its own headings, and reasons.csv says why. "
        "Mend it there, put it back into the season folder, and run again."
    )
    return Section("rejects", "Rows set aside", blocks, margin=[margin])


def _findings(findings: Sequence[Row], links: SiteLinks) -> Section:
    kinds = Counter((row["kind"], row["severity"]) for row in findings)
    summary = Table(
        "kinds-table",
        "Findings by kind",
        [Column("Kind"), Column("What for"), Column("Number", "num")],
        [
            [Cell(kind.replace("_", " ")), Cell(SEVERITIES[severity]), num(number, count(number))]
            for (kind, severity), number in sorted(kinds.items())
        ],
        empty="There is no finding.",
    )
    table = Table(
        "findings-table",
        "Findings one by one",
        [
            Column("Kind"),
            Column("Evaluator"),
            Column("File"),
            Column("Line", "num"),
            Column("What", "long"),
            Column("To do", "long"),
            Column("Calls"),
            Column("Rules"),
        ],
        [
            [
                Cell(row["kind"].replace("_", " ")),
                link_cell(links.evaluator(row["evaluator_id"]) if row["evaluator_id"] else NOTHING),
                Cell(row["path"] or NOTHING),
                num(row["line_no"], count(row["line_no"])),
                Cell(sentence(row["message"])),
                Cell(sentence(row["remedy"] or "") or NOTHING),
                linked_cell(row["call_ids"], links.call),
                linked_cell(row["rule_ids"], links.rule),
            ]
            for row in findings[:_SHOWN]
        ],
        empty="There is no finding.",
    )
    blocks: list[Block] = [summary]
    if findings:
        blocks.append(table)
    if len(findings) > _SHOWN:
        more = f"The first {_SHOWN} of {len(findings):,}; all are in the table pub_finding."
        blocks.append(Paragraph([more]))
    margin = "A finding takes no row out of the results: it asks somebody to look."
    return Section("findings", "Findings", blocks, margin=[margin])
