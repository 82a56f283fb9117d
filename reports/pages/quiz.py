"""The rules quiz: items, keys checked against the rules, and results."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from reports.blocks import Block, Cell, Column, Figure, Link, Page, Paragraph, Section, Table
from reports.book import Row, SeasonBook
from reports.figures.charts import share_chart
from reports.figures.item_chart import item_chart
from reports.links import SiteLinks, link_cell
from reports.long_lists import LongLists, first_shown, room, scripts_for
from reports.words import CODES, NOTHING, count, interval, num, number, percent, plain_names, plural, topic

_VERDICTS = {
    "confirmed": "confirmed",
    "wrong": "the key is wrong",
    "ambiguous": "several options are right",
    "none_right": "no option is right",
    "open": "the case leaves out a fact that decides",
}


SHOWN = 100
"""Umpires on the page, over all quizzes: a row and its line in the figure take about a kilobyte."""


def quiz_page(book: SeasonBook, links: SiteLinks, lists: LongLists) -> Page:
    """Make `quiz.html`; the results of too many umpires for it are handed to `lists`."""
    sat = Counter(row["quiz_id"] for row in book.quiz_results)
    most = room(list(sat.values()), SHOWN)
    sections = [_withheld(book), _results(book, links, lists, most), _hardness(book), _items(book)]
    return Page(
        path="quiz.html",
        title="Rules quiz",
        lead=[
            "Every key was checked against the rules. Items whose key the rules do not confirm are withheld from scoring."
        ],
        sections=sections,
        nav="quiz.html",
        scripts=scripts_for(sections),
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
                Cell((row["right_options"] or NOTHING).replace(";", " or ")),
                Cell(_VERDICTS.get(row["key_verdict"] or "", NOTHING)),
                Cell(plain_names(row["because"] or NOTHING)),
            ]
            for row in book.rows("quiz_item")
            if row["withheld"]
        ],
        empty="No item is withheld.",
    )
    return Section(
        "withheld", "Keys that do not stand", [table], margin=["Settle these before anybody's result is discussed."]
    )


def _results(book: SeasonBook, links: SiteLinks, lists: LongLists, most: int) -> Section:
    margin = ["Wilson intervals. An item left out counts as not right. Where intervals overlap much, do not rank."]
    blocks: list[Block] = []
    quizzes = sorted({row["quiz_id"] for row in book.quiz_results})
    if not quizzes:
        blocks.append(Paragraph(["Nobody sat a quiz."]))
    for place, quiz_id in enumerate(quizzes):
        rows = sorted(
            (row for row in book.quiz_results if row["quiz_id"] == quiz_id),
            key=lambda row: (-(row["percent"] or 0.0), row["umpire_id"]),
        )
        title = f"Quiz {quiz_id}: share of the scored items that each of {plural(len(rows), 'umpire')} had right."
        chart = share_chart(rows[:most], "name", "percent", "low", "high", "share right")
        every = _results_table(rows, links, place, quiz_id)
        table, below = lists.front(every, most, f"Quiz {quiz_id}", Link("Rules quiz", "quiz.html#results"), "quiz.html")
        note = first_shown(most, len(rows)) if below else ""
        blocks += [Figure(f"quiz-{place}", title, chart, table, note=note), *below]
    return Section("results", "Results", blocks, margin=margin)


def _results_table(rows: Sequence[Row], links: SiteLinks, place: int, quiz_id: str) -> Table:
    return Table(
        f"results-{place}",
        f"Results of quiz {quiz_id}",
        [
            Column("Umpire"),
            Column("Right", "num"),
            Column("Answered", "num"),
            Column("Items", "num"),
            Column("Share", "num"),
            Column("Interval", "num"),
            Column("Measure", "num"),
        ],
        [
            [
                link_cell(links.umpire(row["umpire_id"])),
                num(row["right_answers"], count(row["right_answers"])),
                num(row["answered"], count(row["answered"])),
                num(row["items"], count(row["items"])),
                num(row["percent"], percent(row["percent"])),
                Cell(interval(row["low"], row["high"]), sort=row["low"]),
                _with_error(row["measure"], row["measure_se"]),
            ]
            for row in rows
        ],
    )


def _with_error(value: float | None, error: float | None) -> Cell:
    return num(value, NOTHING if value is None or error is None else f"{number(value)} ± {number(error)}")


def _hardness(book: SeasonBook) -> Section:
    rows = sorted(
        (row for row in book.rows("quiz_item") if row["difficulty"] is not None),
        key=lambda row: (-row["difficulty"], row["item_id"]),
    )
    margin = [
        "Rasch model. Difficulty and measure share one scale (logits): an umpire who stands level with an item has it right half the time. 0 is the average item. ± is one standard error.",
        "Infit and outfit: 1 is as the model says. Well above 1: strong umpires miss the item, or weak ones have it, more often than they should; look at its wording. Well below 1: it repeats what other items ask.",
        "An item that all had right, or all wrong, has no difficulty.",
    ]
    if not rows:
        return Section("hardness", "How hard each item is", [Paragraph(["There are too few answers to tell."])])
    table = Table(
        "hardness-table",
        "Items from the hardest to the easiest",
        [Column("Item"), Column("Topic"), Column("Difficulty", "num"), Column("Infit", "num"), Column("Outfit", "num")],
        [
            [
                Cell(row["item_id"]),
                Cell(topic(row["topic"])),
                _with_error(row["difficulty"], row["difficulty_se"]),
                num(row["infit"], number(row["infit"])),
                num(row["outfit"], number(row["outfit"])),
            ]
            for row in rows
        ],
    )
    title = f"The hardest of {plural(len(rows), 'item')} is {rows[0]['item_id']}, the easiest {rows[-1]['item_id']}."
    chart = item_chart(rows, book.quiz_results)
    return Section("hardness", "How hard each item is", [Figure("quiz-hardness", title, chart, table)], margin=margin)


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
