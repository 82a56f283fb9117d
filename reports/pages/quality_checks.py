"""The checks on the page on the data: suites, checks by severity, and each check with both counts."""

from __future__ import annotations

from collections.abc import Sequence

from reports.blocks import Block, Cell, Column, Paragraph, Section, Table
from reports.book import Row
from reports.words import NOTHING, count, num, plural

SEVERITIES = {
    "reject": "set the row aside",
    "warn": "mend or decide",
    "note": "good to know",
}
_SCOPES = {"whole": "every row", "sample": "failing rows and a sample", "sql only": "not counted twice"}


def checks_section(checks: Sequence[Row]) -> Section:
    """Make the section on checks: by suite, by severity, and one by one."""
    twice = [row for row in checks if row["agrees"] is not None]
    agreeing = sum(bool(row["agrees"]) for row in twice)
    told = (
        f"{plural(len(checks), 'check was', 'checks were')} made; {len(twice)} of them were counted a second time by "
        f"great-expectations, and {'all' if agreeing == len(twice) else agreeing} of these counts agree. "
        "Checks across several rows or sheets have no expectation and are counted in findings."
    )
    margin = (
        "A difference between the two counts would stop the run: it would be a fault of ours, not of the data. The suites "
        "and their results lie in the folder validation, as suite.json and validation.json."
    )
    blocks: list[Block] = [Paragraph([told]), _suites(checks), _severities(checks), _one_by_one(checks)]
    return Section("checks", "Checks", blocks, margin=[margin])


def _suites(checks: Sequence[Row]) -> Table:
    rows = []
    for name in sorted({row["table_name"] for row in checks}):
        made = [row for row in checks if row["table_name"] == name]
        declared = [row for row in made if row["kind"] != "across"]
        scopes = sorted({_SCOPES.get(row["gx_scope"] or "", NOTHING) for row in declared})
        rows.append(
            [
                Cell(name),
                num(len(declared), count(len(declared))),
                num(len(made) - len(declared), count(len(made) - len(declared))),
                num(max(row["rows_checked"] for row in made), count(max(row["rows_checked"] for row in made))),
                num(sum(row["failed"] > 0 for row in made), count(sum(row["failed"] > 0 for row in made))),
                Cell(", ".join(scopes) or NOTHING),
            ]
        )
    return Table(
        "suites-table",
        "Suites, one for each sheet, made from its declaration",
        [Column("Suite"), Column("Declared checks", "num"), Column("Across rows and sheets", "num"),
         Column("Rows", "num"), Column("Checks with a failure", "num"), Column("Looked at twice")],
        rows,
        empty="No check was made.",
    )  # fmt: skip


def _severities(checks: Sequence[Row]) -> Table:
    rows = []
    for severity, words in SEVERITIES.items():
        made = [row for row in checks if row["severity"] == severity]
        failed = sum(row["failed"] for row in made)
        rows.append(
            [
                Cell(words.capitalize()),
                num(len(made), count(len(made))),
                num(sum(row["failed"] > 0 for row in made), count(sum(row["failed"] > 0 for row in made))),
                num(failed, count(failed)),
            ]
        )
    return Table(
        "severities-table",
        "Checks by severity",
        [Column("Severity"), Column("Checks", "num"), Column("With a failure", "num"),
         Column("Failures in all", "num")],
        rows,
    )  # fmt: skip


def _one_by_one(checks: Sequence[Row]) -> Table:
    # Checks that something failed come first, then those that nothing failed, each by table.
    ordered = sorted(checks, key=lambda row: (-row["failed"], row["table_name"], row["check_id"]))
    return Table(
        "checks-table",
        "Every check, counted by SQL and again by great-expectations",
        [
            Column("Check"),
            Column("What must hold", "long"),
            Column("Severity"),
            Column("Rows", "num"),
            Column("Failed", "num"),
            Column("Second count", "num"),
            Column("Looked at"),
            Column("Counts agree"),
        ],
        [
            [
                Cell(row["check_id"]),
                Cell(row["title"]),
                Cell(SEVERITIES[row["severity"]]),
                num(row["rows_checked"], count(row["rows_checked"])),
                num(row["failed"], count(row["failed"])),
                num(row["gx_failed"], count(row["gx_failed"])),
                Cell(_SCOPES.get(row["gx_scope"] or "", NOTHING)),
                Cell({True: "yes", False: "no"}.get(row["agrees"], NOTHING)),
            ]
            for row in ordered
        ],
        empty="No check was made.",
    )
