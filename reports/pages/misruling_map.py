"""The misruling map: where wrong rulings are made, subject by level."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from reports.blocks import Cell, Column, Figure, MarkName, Section, Table
from reports.book import Row, SeasonBook
from reports.clinic_words import subject
from reports.figures.charts import MOST_ROWS, share_chart
from reports.links import SiteLinks
from reports.words import NOTHING, count, percent, plural

_BESIDE: dict[str, tuple[str, MarkName]] = {
    "above": ("above", "block"),
    "below": ("below", "ring"),
    "alike": ("alike", "dash"),
    "alone": ("alone", "dash"),
}


def map_section(book: SeasonBook, links: SiteLinks) -> Section:
    """Make the section of the map."""
    rows = book.rows("level_topic")
    levels = sorted({row["level"] for row in rows}, key=book.level_order)
    worst = {topic: sum(row["times"] for row in rows if row["topic"] == topic) for topic in {row["topic"] for row in rows}}
    topics = sorted(worst, key=lambda topic: (-worst[topic], topic))
    cells = {(row["level"], row["topic"]): row for row in rows}
    table = Table(
        "misruling-map",
        "Share of graded calls ruled wrongly, and wrong of graded; the mark says how the level stands beside the others",
        [Column("Subject"), *(Column(f"Works {book.level_title(level)}") for level in levels)],
        [
            [_subject_cell(topic, links), *(_cell(cells.get((level, topic))) for level in levels)]
            for topic in topics
        ],
        empty="No call was graded.",
    )
    if not rows:
        return Section("map", "Subject by level", [table])
    drawn = [
        {**cells[level, topic], "label": f"{subject(topic)}: {book.level_title(level)}"}
        for topic in topics
        for level in levels
        if (level, topic) in cells
    ]
    chart = share_chart(drawn, "label", "rate", "rate_low", "rate_high", "share of graded calls ruled wrongly")
    chart = replace(chart, label_length=46)
    note = f"The first {MOST_ROWS} rows; the table has all." if len(drawn) > MOST_ROWS else ""
    return Section(
        "map",
        "Subject by level",
        [Figure("map-figure", _title(book, rows), chart, table, note=note)],
        margin=[
            "Levels are those that umpires now work. Above (block): the level's whole interval lies above the share of all other "
            "levels together. Below (ring): under it. Alike (dash): its interval holds that share, so chance alone may make "
            "the difference. Alone: no other level met the subject."
        ],
    )


def _title(book: SeasonBook, rows: Sequence[Row]) -> str:
    above = [row for row in rows if row["beside"] == "above"]
    if not above:
        return "On no subject does a level rule wrongly more often than the others, beyond what chance may do."
    named = [f"{subject(row['topic']).lower()} at {book.level_title(row['level'])}" for row in sorted(above, key=lambda row: (-row["times"], row["topic"]))]
    shown = ", ".join(named[:3]) + (f" and {plural(len(named) - 3, 'more cell')}" if len(named) > 3 else "")
    return f"Ruled wrongly more often than at the other levels: {shown}."


def _subject_cell(topic: str, links: SiteLinks) -> Cell:
    target = links.topic(topic, subject(topic))
    return Cell(target) if isinstance(target, str) else Cell(target.text, href=target.href)


def _cell(row: Row | None) -> Cell:
    if row is None:
        return Cell(NOTHING)
    words, mark = _BESIDE[row["beside"]]
    return Cell(
        f"{percent(row['rate'])} ({count(row['times'])} of {count(row['chances'])}), {words}", mark=mark, sort=row["rate"]
    )
