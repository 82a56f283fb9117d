"""The rules quiz: items, keys checked against the rules, and results."""

from __future__ import annotations

from reports.blocks import Cell, Column, Page, Section, Table
from reports.book import SeasonBook
from reports.links import SiteLinks, link_cell
from reports.words import CODES, NOTHING, count, interval, num, number, percent, topic

_VERDICTS = {
    "confirmed": "confirmed",
    "wrong": "the key is wrong",
    "ambiguous": "several options are right",
    "none_right": "no option is right",
    "open": "the case leaves out a fact that decides",
}


def quiz_page(book: SeasonBook, links: SiteLinks) -> Page:
    """Make `quiz.html`."""
    return Page(
        path="quiz.html",
        title="Rules quiz",
        lead=[
            "Every key was checked against the rules. Items whose key the rules do not confirm are withheld from scoring."
        ],
        sections=[_withheld(book), _results(book, links), _items(book)],
        nav="quiz.html",
    )


def _withheld(book: SeasonBook) -> Section:
    table = Table(
        "withheld-table",
        "Items withheld from scoring",
        [
            Column("Item"),
            Column("Code"),
            Column("Stem", "long"),
            Column("Key"),
            Column("Right by the rules"),
            Column("Verdict"),
            Column("Because", "long"),
        ],
        [
            [
                Cell(row["item_id"]),
                Cell(CODES.get(row["rule_code"], row["rule_code"])),
                Cell(row["stem"]),
                Cell(row["key"]),
                Cell(row["right_options"] or NOTHING),
                Cell(_VERDICTS.get(row["key_verdict"] or "", NOTHING)),
                Cell(row["because"] or ""),
            ]
            for row in book.rows("quiz_item")
            if row["withheld"]
        ],
        empty="No item is withheld.",
    )
    return Section(
        "withheld", "Keys that do not stand", [table], margin=["Settle these before anybody's result is discussed."]
    )


def _results(book: SeasonBook, links: SiteLinks) -> Section:
    table = Table(
        "results-table",
        "Results of each umpire",
        [
            Column("Umpire"),
            Column("Quiz"),
            Column("Right", "num"),
            Column("Answered", "num"),
            Column("Items", "num"),
            Column("Share", "num"),
            Column("Interval", "num"),
        ],
        [
            [
                link_cell(links.umpire(row["umpire_id"])),
                Cell(row["quiz_id"]),
                num(row["right_answers"], count(row["right_answers"])),
                num(row["answered"], count(row["answered"])),
                num(row["items"], count(row["items"])),
                num(row["percent"], percent(row["percent"])),
                Cell(interval(row["low"], row["high"]), sort=row["low"]),
            ]
            for row in book.quiz_results
        ],
        empty="Nobody sat a quiz.",
    )
    return Section("results", "Results", [table], margin=["Wilson intervals. An item left out counts as not right."])


def _items(book: SeasonBook) -> Section:
    table = Table(
        "items-table",
        "Every item",
        [
            Column("Item"),
            Column("Topic"),
            Column("Stem", "long"),
            Column("Key"),
            Column("Key checked"),
            Column("Answers", "num"),
            Column("Share right", "num"),
            Column("Item against rest", "num"),
        ],
        [
            [
                Cell(row["item_id"]),
                Cell(topic(row["topic"])),
                Cell(row["stem"]),
                Cell(row["key"]),
                Cell(_VERDICTS.get(row["key_verdict"] or "", "no rule speaks of it")),
                num(row["responses"], count(row["responses"])),
                num(row["p"], percent(row["p"])),
                num(row["point_biserial"], number(row["point_biserial"])),
            ]
            for row in book.rows("quiz_item")
        ],
        empty="There is no quiz item.",
    )
    return Section(
        "items", "Items", [table], margin=["Item against rest: the correlation with the score on the other items."]
    )
