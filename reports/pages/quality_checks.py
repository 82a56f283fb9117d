"""The checks: suites and severities on the page on the data, and a page of every check with both counts."""

from __future__ import annotations

from collections.abc import Sequence

from reports.blocks import Block, Cell, Column, Link, Page, Paragraph, Section, Table
from reports.book import Row
from reports.links import SiteLinks
from reports.words import NOTHING, count, num, plain_names, plural

SEVERITIES = {
    "reject": "set the row aside",
    "warn": "mend or decide",
    "note": "good to know",
}
_SCOPES = {"whole": "every row", "sample": "every failing row and a sample of the others", "sql only": "counted once"}
PAGE = "checks.html"
"""The page of every check."""

_MARGIN = (
    "Each check is declared once. SQL decides which rows fail; great-expectations is asked the same of the typed rows, "
    "and must name the same row ids. On a long table it looks at every failing row and at one in a hundred of the others. "
    "A difference would stop the run: it would be a fault of ours, not of the data."
)
_FILES = (
    "validation/suite.json holds the suites as great-expectations reads them, validation/validation.json what it "
    "answered, with the ids of failing rows."
)


def checks_told(checks: Sequence[Row]) -> str:
    """Say how many checks were made, and how many of them a second count confirmed."""
    twice = [row for row in checks if row["agrees"] is not None]
    agreeing = sum(bool(row["agrees"]) for row in twice)
    if not checks:
        return "No check was made."
    if not twice:
        return f"{plural(len(checks), 'check was', 'checks were')} made; none was counted a second time."
    if agreeing == len(twice):
        confirmed = f"great-expectations confirmed {'it' if agreeing == 1 else 'every one'}, row by row"
    else:
        confirmed = f"great-expectations confirmed {agreeing:,} of them, row by row"
    return (
        f"{plural(len(checks), 'check was', 'checks were')} made; {len(twice):,} of them look at single rows or keys and "
        f"were counted a second time: {confirmed}."
    )


def suites_section(checks: Sequence[Row], links: SiteLinks) -> Section:
    """Make the section on checks of the page on the data: by suite and by severity."""
    if not checks:
        return Section("checks", "Checks", [Paragraph([checks_told(checks)])])
    more = Paragraph([_FILES, " ", Link("Every check with both counts", f"{links.root}{PAGE}"), "."])
    blocks: list[Block] = [Paragraph([checks_told(checks)]), _suites(checks), _severities(checks), more]
    return Section("checks", "Checks", blocks, margin=[_MARGIN])


def checks_page(checks: Sequence[Row], links: SiteLinks) -> Page:
    """Make `checks.html`: what each check asks, and what both counts found."""
    failing = [row for row in checks if row["failed"]]
    passing = [row for row in checks if not row["failed"]]
    names = sorted({row["table_name"] for row in passing})
    sections = [
        Section(
            "failing",
            "Checks that something failed",
            [_one_by_one("failing-table", "What failed, by SQL and again by great-expectations", failing)],
            margin=[_MARGIN],
        ),
        *(
            Section(
                f"sheet-{name}",
                f"Nothing failed: {plain_names(name)}",
                [_one_by_one(f"checks-{name}", plain_names(name), [row for row in passing if row["table_name"] == name])],
            )
            for name in names
        ),
    ]
    return Page(
        path=PAGE,
        title="Every check",
        lead=[checks_told(checks), " Checks across rows or sheets have no expectation, and are counted in findings. ", _FILES],
        sections=sections,
        trail=[Link("Data quality", f"{links.root}quality.html")],
        nav="quality.html",
    )


def _suites(checks: Sequence[Row]) -> Table:
    rows = []
    for name in sorted({row["table_name"] for row in checks}):
        made = [row for row in checks if row["table_name"] == name]
        declared = [row for row in made if row["kind"] != "across"]
        twice = [row for row in declared if row["agrees"] is not None]
        scopes = sorted({_SCOPES.get(row["gx_scope"] or "", NOTHING) for row in twice})
        rows.append(
            [
                Cell(plain_names(name)),
                num(len(declared), count(len(declared))),
                num(len(made) - len(declared), count(len(made) - len(declared))),
                num(max(row["rows_checked"] for row in made), count(max(row["rows_checked"] for row in made))),
                num(sum(row["failed"] > 0 for row in made), count(sum(row["failed"] > 0 for row in made))),
                Cell(f"{sum(bool(row['agrees']) for row in twice):,} of {len(twice):,}" if twice else NOTHING, sort=len(twice)),
                Cell(", ".join(scopes) or NOTHING),
            ]
        )
    return Table(
        "suites-table",
        "Suites, one for each sheet, made from its declaration",
        [Column("Suite"), Column("Declared checks", "num"), Column("Across rows and sheets", "num"),
         Column("Rows looked at", "num"), Column("Checks with a failure", "num"), Column("Row ids agree", "num"),
         Column("Second count over")],
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


def _one_by_one(table_id: str, caption: str, checks: Sequence[Row]) -> Table:
    ordered = sorted(checks, key=lambda row: (-row["failed"], row["table_name"], row["check_id"]))
    return Table(
        table_id,
        caption,
        [Column("Check"), Column("What must hold", "long"), Column("Severity"), Column("Rows", "num"),
         Column("Failed", "num"), Column("Second count", "num"), Column("Over"), Column("Row ids agree")],
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
        empty="Nothing failed.",
    )  # fmt: skip
