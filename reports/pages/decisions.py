"""The committee's minutes: the advice on each umpire judged, room for the decision, and what was decided before."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from itertools import groupby

from reports.blocks import (
    Blank,
    Block,
    Cell,
    Column,
    Form,
    FormEntry,
    Inline,
    Link,
    MarkName,
    Page,
    Paragraph,
    Points,
    Section,
    Table,
)
from reports.book import Row, SeasonBook
from reports.clinic_words import DECISIONS
from reports.links import SiteLinks, link_cell
from reports.long_lists import LongLists, scripts_for
from reports.naming import folder_names
from reports.pages.form_names import ENTRIES, READING_ORDER, entry_anchor, is_by_name, names_section
from reports.words import AREAS, NOTHING, READINGS, count, day, marked, num, percent, plural, reasons, sentence

FORM_PAGES = 150
"""Pages of the form that the first page lists."""

LISTED = 100
"""Decisions that the first page lists."""

COMPARISONS: dict[str, tuple[str, MarkName]] = {
    "agrees": ("As advised", "ring"),
    "differs": ("Not as advised", "block"),
    "not_compared": ("Not compared", "dash"),
}
_ADVICE = {"ready": "promote", "not_yet": "keep at the level now worked", "more_looks": "more looks first"}


def decision_pages(book: SeasonBook, atlas_links: SiteLinks, deep: SiteLinks, lists: LongLists) -> Iterator[Page]:
    """Yield decisions.html and the pages of the form under decisions/; deep holds the links of the latter.

    Where a level has several pages of the form, a list of everybody by name is handed to `lists`.
    """
    rows = book.rows("committee_decision")
    by_umpire: dict[str, list[Row]] = {}
    for row in rows:
        by_umpire.setdefault(row["umpire_id"], []).append(row)
    parts = _parts(book)
    yield _front(book, rows, parts, atlas_links, lists)
    for file, title, umpires in parts:
        yield _form_page(book, file, title, umpires, by_umpire, deep)


def _parts(book: SeasonBook) -> list[tuple[str, str, list[Row]]]:
    """Return file, title and umpires of each page of the form: by level, then by reading and chance."""
    ordered = sorted(
        book.readiness,
        key=lambda row: (
            book.level_order(row["target_level"]), READING_ORDER[row["verdict"]], -(row["probability"] or 0.0), row["name"],
            row["umpire_id"],
        ),
    )  # fmt: skip
    names = folder_names(row["target_level"] for row in ordered)
    found: list[tuple[str, str, list[Row]]] = []
    for target, group in groupby(ordered, key=lambda row: row["target_level"]):
        umpires: list[Row] = list(group)
        title = umpires[0]["target_title"]
        for first in range(0, len(umpires), ENTRIES):
            part = umpires[first : first + ENTRIES]
            several = f", {first + 1} to {first + len(part)} of {len(umpires)}" if len(umpires) > ENTRIES else ""
            file = f"decisions/{names[target]}-{first // ENTRIES + 1}.html"
            found.append((file, f"{title}{several}", part))
    return found


def _front(
    book: SeasonBook, rows: Sequence[Row], parts: Sequence[tuple[str, str, list[Row]]], links: SiteLinks, lists: LongLists
) -> Page:
    sections = [_forms_section(book, parts, lists)]
    if is_by_name(Counter(row["target_level"] for row in book.readiness).values()):
        sections.append(names_section(parts, links, lists))
    sections += [*_record(book, rows, links, lists), _how_section()]
    return Page(
        "decisions.html",
        "Decisions",
        [
            "The committee decides; the pages advise. Here are the minutes to fill in, with the advice on each umpire and what it "
            "rests on, and what the committee decided before. No score and no reading is made from a decision."
        ],
        sections,
        nav="decisions.html",
        scripts=scripts_for(sections),
    )


def _forms_section(book: SeasonBook, parts: Sequence[tuple[str, str, list[Row]]], lists: LongLists) -> Section:
    meeting = FormEntry(
        "meeting",
        "The meeting",
        None,
        "",
        (),
        [Blank("Date", lines=1), Blank("Present", lines=2), Blank("Stood aside, for whom and why", lines=2)],
    )
    cells = []
    for file, title, umpires in parts:
        tally = Counter(row["verdict"] for row in umpires)
        cells.append(
            [
                Cell(f"Judged for {title}", href=file),
                num(len(umpires), count(len(umpires))),
                *(num(tally[verdict], count(tally[verdict])) for verdict in READINGS),
            ]
        )
    table = Table(
        "minutes-pages",
        "The form, level by level",
        [Column("Page"), Column("Umpires", "num"), *(Column(f"Advice: {_ADVICE[verdict]}", "num") for verdict in READINGS)],
        cells,
        empty="Nobody is judged for a level, so there is nothing to decide.",
    )
    home = Link("Decisions", "decisions.html#minutes")
    shown, below = lists.front(table, FORM_PAGES, "Pages of the form", home, "decisions.html")
    return Section(
        "minutes",
        "Minutes to fill in",
        [Form("meeting-form", "", [meeting]), shown, *below],
        margin=["Print this page and the pages of the levels. Whoever is close to an umpire stands aside for him, and it is noted."],
    )


def _record(book: SeasonBook, rows: Sequence[Row], links: SiteLinks, lists: LongLists) -> list[Section]:
    latest = [row for row in rows if row["is_latest"]]
    tally = Counter(row["comparison"] for row in latest)
    blocks: list[Block] = []
    if rows:
        earlier = len(rows) - len(latest)
        text = (
            f"{plural(len(latest), 'decision')} on {plural(len({row['umpire_id'] for row in latest}), 'umpire')}: "
            f"{tally['agrees']} as these pages advise today, {tally['differs']} otherwise, {tally['not_compared']} that cannot "
            "be compared (another decision, or a level of which nothing is said now)."
        )
        if earlier:
            text += f" {plural(earlier, 'earlier decision')} on the same umpire and level stand in the list too."
        blocks.append(Paragraph([text]))
    ordered = sorted(
        rows,
        key=lambda row: (
            not row["is_latest"], list(COMPARISONS).index(row["comparison"]) != 1, book.level_order(row["level"]),
            row["name"], row["umpire_id"], row["decided_on"],
        ),
    )  # fmt: skip
    table = Table(
        "decision-record",
        "Decisions on record, those that differ from the advice first",
        [
            Column("Umpire"),
            Column("Level decided on"),
            Column("Meeting", "ref"),
            Column("Decision"),
            Column("Advice now"),
            Column("Chance", "num"),
            Column("Beside the advice"),
            Column("The committee's reasons", "long"),
        ],
        [_record_cells(book, row, links) for row in ordered],
        empty="No decision was handed in. Write them into decisions.csv (platework blank decisions prints an empty sheet).",
    )
    home = Link("Decisions", "decisions.html#record")
    shown, below = lists.front(table, LISTED, "Decisions on record", home, "decisions.html")
    blocks += [shown, *below]
    return [
        Section(
            "record",
            "What was decided",
            blocks,
            margin=[
                "The advice is today's, on all that was seen by now; the committee may have known less, or more. To decide "
                "otherwise is the committee's right: its reasons stand beside it."
            ],
        )
    ]


def _record_cells(book: SeasonBook, row: Row, links: SiteLinks) -> list[Cell]:
    advice = marked(READINGS[row["verdict"]], READING_ORDER[row["verdict"]]) if row["verdict"] else Cell(NOTHING)
    decided = DECISIONS[row["decision"]] + (f" ({row['decided_by']})" if row["decided_by"] else "")
    return [
        link_cell(links.umpire(row["umpire_id"])),
        Cell(book.level_title(row["level"])),
        Cell(day(row["decided_on"])),
        Cell(decided + ("" if row["is_latest"] else "; decided anew later")),
        advice,
        num(row["probability"], percent(row["probability"], 0)),
        marked(COMPARISONS[row["comparison"]]),
        Cell(row["reasons"] or NOTHING),
    ]


def _how_section() -> Section:
    return Section(
        "keep",
        "Keep what was decided",
        [
            Points(
                [
                    ["After the meeting write one row for each decision into decisions.csv in the season's folder: umpire, level, decision, date, who decided by office, reasons."],
                    ["At the next run it is checked (an umpire who is on no roster, a level that the policy lacks), kept with the season, and set beside the advice on this page and in tables/pub_committee_decision.csv."],
                    ["A later decision on the same umpire and level is a row of its own; the earlier one stays."],
                    ["Scores, readings and rankings are the same with and without it."],
                ]
            )
        ],
    )


def _form_page(
    book: SeasonBook, file: str, title: str, umpires: Sequence[Row], earlier: dict[str, list[Row]], links: SiteLinks
) -> Page:
    tally = Counter(row["verdict"] for row in umpires)
    said = ", ".join(f"{tally[verdict]} {READINGS[verdict][0].lower()}" for verdict in READINGS)
    return Page(
        file,
        f"Minutes: judged for {title}",
        [
            f"{plural(len(umpires), 'umpire')}: {said}. The advice is what the evidence says against the policy's risks; the "
            "decision and its reasons are the committee's."
        ],
        [
            Section(
                "entries",
                "Each umpire",
                [Form("decision-form", "", [_entry(book, row, earlier.get(row["umpire_id"], []), links) for row in umpires])],
                margin=["Tick a box, and say why in a sentence that the umpire may read. Where the advice is not followed the reasons matter most."],
            )
        ],
        trail=(Link("Decisions", f"{links.root}decisions.html"),),
        nav="decisions.html",
    )


def _entry(book: SeasonBook, row: Row, earlier: Sequence[Row], links: SiteLinks) -> FormEntry:
    lines: list[tuple[str, Sequence[Inline]]] = [
        ("Advice", [f"{_ADVICE[row['verdict']].capitalize()}. {sentence(row['decided_by'])}"]),
        ("Chance", [f"{percent(row['probability'], 0)} of meeting every standard of {row['target_title']}; now works {row['level_title']}."]),
    ]  # fmt: skip
    for label, column in (("For", "reasons_for"), ("Against", "reasons_against"), ("Would change it", "would_change")):
        said = reasons(row[column])
        if said:
            lines.append((label, [" ".join(said)]))
    lines.append(("Evidence", _evidence(row, links)))
    if row["nearest_area"]:
        lines.append(
            (
                "Nearest",
                [
                    f"{AREAS.get(row['nearest_area'], row['nearest_area'])}: {percent(row['nearest_estimate'])} against a cut of "
                    f"{percent(row['nearest_cut'])}."
                ],
            )
        )
    for one in earlier:
        beside = COMPARISONS[one["comparison"]][0].lower()
        said_why = f": {one['reasons']}" if one["reasons"] else ", no reasons on record"
        lines.append(
            (
                "Before",
                [f"{day(one['decided_on'])}, for {book.level_title(one['level'])}: {DECISIONS[one['decision']].lower()} ({beside}){said_why}"],
            )
        )
    return FormEntry(
        entry_anchor(row["umpire_id"]),
        links.umpire(row["umpire_id"]),
        READINGS[row["verdict"]][1],
        f"{READINGS[row['verdict']][0]}, {percent(row['probability'], 0)}",
        lines,
        [Blank("Decision", list(DECISIONS.values())), Blank("Reasons", lines=2)],
    )


def _evidence(row: Row, links: SiteLinks) -> list[Inline]:
    calls = plural(row["calls"], "graded call")
    where = links.calls_of(row["umpire_id"])
    least = "the least that the policy asks for was seen" if row["evidence_ok"] else "less than the policy asks for"
    return [
        Link(calls, where) if where else calls,
        f" in {plural(row['games'], 'game')} by {plural(row['evaluators'], 'evaluator')}; {least}.",
    ]
