"""Findings on the page on the data: by kind with what to do, then the first of each kind one by one."""

from __future__ import annotations

from collections.abc import Sequence

from reports.blocks import Block, Cell, Column, Paragraph, Section, Table
from reports.book import Row
from reports.links import SiteLinks, link_cell, linked_cell
from reports.naming import slug
from reports.pages.quality_checks import SEVERITIES
from reports.words import NOTHING, count, num, plain_names, plural, sentence


def findings_section(kinds: Sequence[Row], shown: Sequence[Row], links: SiteLinks) -> Section:
    """Make the section; `shown` are the first findings of each kind."""
    margin = "A finding takes no row out of the results: it asks somebody to look."
    if not kinds:
        text = "There is no finding: nothing on the accepted rows asks for a second look."
        return Section("findings", "Findings", [Paragraph([text])], margin=[margin])
    summary = Table(
        "kinds-table",
        "Findings by kind, those to mend or decide first",
        [Column("Kind"), Column("What for"), Column("Number", "num"), Column("Files", "num"), Column("Evaluators", "num"),
         Column("What should hold", "long"), Column("What to do", "long")],
        [
            [
                Cell(plain_names(row["kind"]), href=f"#{_place(row)}"),
                Cell(SEVERITIES[row["severity"]]),
                num(row["findings"], count(row["findings"])),
                num(row["files"], count(row["files"]) if row["files"] else NOTHING),
                num(row["evaluators"], count(row["evaluators"]) if row["evaluators"] else NOTHING),
                Cell(sentence(row["title"] or "") or NOTHING),
                Cell(sentence(row["remedy"] or "") or NOTHING),
            ]
            for row in kinds
        ],
    )  # fmt: skip
    blocks: list[Block] = [summary]
    for kind in kinds:
        found = [row for row in shown if (row["kind"], row["severity"]) == (kind["kind"], kind["severity"])]
        blocks.append(_one_by_one(kind, found, links))
        if len(found) < kind["findings"]:
            more = (
                f"The first {len(found):,} of {kind['findings']:,}; all are in tables/pub_finding.csv, their rows in "
                "quarantine/accepted_with_findings"
            )
            where = ", and each evaluator's on his or her own page" if kind["evaluators"] else ""
            blocks.append(Paragraph([f"{more}{where}."]))
    return Section("findings", "Findings", blocks, margin=[margin])


def _place(row: Row) -> str:
    return f"kind-{slug(row['kind'])}-{row['severity']}"


def _one_by_one(kind: Row, found: Sequence[Row], links: SiteLinks) -> Table:
    has_people = any(row["evaluator_id"] for row in found)
    has_rules = any(row["rule_ids"] for row in found)
    columns = [Column("File"), Column("Line", "num"), Column("What", "long"), Column("Calls")]
    rows = []
    for row in found:
        cells = [
            Cell(row["path"] or NOTHING),
            num(row["line_no"], count(row["line_no"])),
            Cell(sentence(row["message"])),
            linked_cell(row["call_ids"], links.call),
        ]
        if has_people:
            cells.insert(2, link_cell(links.evaluator(row["evaluator_id"]) if row["evaluator_id"] else NOTHING))
        if has_rules:
            cells.append(linked_cell(row["rule_ids"], links.rule))
        rows.append(cells)
    if has_people:
        columns.insert(2, Column("Evaluator"))
    if has_rules:
        columns.append(Column("Rules"))
    name = plain_names(kind["kind"])
    title = f"{name[0].upper()}{name[1:]}: {plural(kind['findings'], 'finding')} to {SEVERITIES[kind['severity']]}"
    if kind["severity"] == "note":
        title = f"{name[0].upper()}{name[1:]}: {plural(kind['findings'], 'finding')}, {SEVERITIES['note']}"
    return Table(_place(kind), title, columns, rows)
