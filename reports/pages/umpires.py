"""One umpire's pages: the dossier of the site, and the packet that is his own."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from reports.blocks import Block, Cell, Column, Figure, Inline, Ledger, Link, Page, Paragraph, Points, Section, Table
from reports.book import Person, Row, SeasonBook
from reports.figures.charts import (
    BOUNDARY_ROWS,
    boundary_chart,
    bridge_chart,
    measured_calls,
    share_chart,
    standards_chart,
)
from reports.links import SiteLinks, link_cell
from reports.naming import slug
from reports.pages.called_zone import umpire_zone
from reports.pages.growth import growth_section
from reports.pages.looks import WhoSawWhom, looks_section
from reports.pages.plays import chosen_plays, play_entry
from reports.pages.readiness_detail import looks_blocks, sensitivity_blocks
from reports.words import (
    AREAS,
    CONSEQUENCES,
    HOLDS,
    NOTHING,
    READINGS,
    SLOT_ITEMS,
    count,
    interval,
    marked,
    num,
    number,
    percent,
    plural,
    points,
    reasons,
    sentence,
)

_PLAYS = 6
"""Misruled plays told in full on the page; the others are on the pages of calls."""


class UmpireRows:
    """What is published of each umpire, looked up by id."""

    def __init__(self, book: SeasonBook) -> None:
        self.book = book
        self.readiness: dict[str, Row] = {row["umpire_id"]: row for row in book.readiness}
        self.rank: dict[str, Row] = {
            row["umpire_id"]: row for row in book.rows("ranking") if row["area_or_overall"] == "overall"
        }
        self.quiz: dict[str, list[Row]] = {}
        for row in book.quiz_results:
            self.quiz.setdefault(row["umpire_id"], []).append(row)
        self.zones = book.by("called_zone", "umpire_id")
        self.zone_fit: Row | None = next(iter(book.rows("called_zone_fit")), None)
        self.looks = WhoSawWhom(book.rows("umpire_evaluator"))
        self.misruling: Mapping[str, Row] = {row["misruling_code"]: row for row in book.misrulings}


def umpire_page(known: UmpireRows, person: Person, calls: Sequence[Row], links: SiteLinks, path: str) -> Page:
    """Make the first page about one umpire, for the site or, with a packet's links, for himself."""
    ready = known.readiness.get(person.id)
    rates = {row["area"]: row for row in known.book.rates.get(person.id, [])}
    sections = [
        _standing(known, person, ready, links),
        looks_section(known.looks, person.id, calls, links),
        _adjustment(rates, links),
        growth_section(known.book.growth.get(person.id, [])),
        _boundary(calls, links),
        umpire_zone(known.zones.get(person.id, []), known.zone_fit, private=links.private),
        _misrulings(known, person, calls, links),
        _slot(known, person),
        _quiz(known, person),
    ]
    trail = [Link("Your letter", "index.html")] if links.private else [Link("Readiness board", f"{links.root}index.html")]
    return Page(
        path=path,
        title=person.name,
        lead=_lead(ready, links, known.rank.get(person.id), calls),
        sections=[section for section in sections if section is not None],
        trail=trail,
        nav=path if links.private else "index.html",
    )


def _lead(ready: Row | None, links: SiteLinks, rank: Row | None, calls: Sequence[Row]) -> list[Inline]:
    parts: list[Inline] = []
    if ready is None:
        parts.append("The policy names no level for this umpire's work, so no standard applies. ")
    else:
        word = READINGS[ready["verdict"]][0].lower()
        chance = (
            f"the chance of meeting every standard is {percent(ready['probability'], 0)}"
            if ready["probability"] is not None
            else "there is nothing to judge by yet"
        )
        parts.append(
            f"Now works {ready['level_title']}, judged for {ready['target_title']}. "
            f"Reading of the evidence: {word}; {chance}. "
        )
    if rank is not None and not links.private:
        parts.append(
            f"Place {rank['rank']} of the level, and truly somewhere from {rank['rank_low']} to {rank['rank_high']}. "
        )
    if calls:
        parts += [
            f"Every figure here goes back to {plural(len(calls), 'call')}: ",
            Link("all calls", "calls.html"),
            ".",
        ]
    if links.private:
        parts.append(" This packet is yours alone and names nobody else; what follows from it the committee decides.")
    return parts


def _standing(known: UmpireRows, person: Person, ready: Row | None, links: SiteLinks) -> Section | None:
    if ready is None:
        return None
    order = list(AREAS)
    standards = sorted(
        known.book.standards.get(person.id, []),
        key=lambda row: (order.index(row["area"]) if row["area"] in order else len(order), row["area"]),
    )
    met = sum(row["holds"] == "met" for row in standards)
    table = Table(
        "standards",
        f"Standards of {ready['target_title']}",
        [
            Column("Area"),
            Column("Reading"),
            Column("Estimate", "num"),
            Column("Interval", "num"),
            Column("Cut", "num"),
            Column("Chance it is met", "num"),
            Column("Looks", "num"),
        ],
        [
            [
                Cell(row["area_title"]),
                marked(HOLDS[row["holds"]]),
                num(row["estimate"], percent(row["estimate"])),
                Cell(interval(row["low"], row["high"]), sort=row["low"]),
                num(row["cut"], percent(row["cut"])),
                num(row["probability"], percent(row["probability"], 0)),
                num(row["calls"], count(row["calls"]), _looks_href(row, links, person)),
            ]
            for row in standards
        ],
        empty="The policy sets no standard for this level.",
    )
    blocks: list[Block] = [
        Paragraph([sentence(ready["decided_by"] or NOTHING)]),
        Figure(
            "standards-met",
            f"{met} of the {len(standards)} standards of {ready['target_title']} "
            f"{'is' if met == 1 else 'are'} met with the certainty that the policy asks for.",
            standards_chart(standards),
            table,
        )
    ]
    for title, column in (("Reasons for", "reasons_for"), ("Reasons against", "reasons_against")):
        blocks.append(Points([[text] for text in reasons(ready[column])], title=title))
    blocks.append(Points([[text] for text in reasons(ready["would_change"])], title="What would change the reading"))
    blocks += looks_blocks(ready, standards)
    blocks += sensitivity_blocks(ready, known.book.sensitivity.get(person.id, []))
    return Section(
        "standing",
        f"Against the standards of {ready['target_title']}",
        blocks,
        margin=[
            "A standard is met when its chance reaches the policy's certainty, short when that is ruled out, and not "
            "settled in between. The range shows where the true rate may lie."
        ],
    )


def _looks_href(row: Row, links: SiteLinks, person: Person) -> str | None:
    if row["area"] in ("positioning", "quiz"):
        return f"#{'slot' if row['area'] == 'positioning' else 'quiz'}" if row["calls"] else None
    return links.calls_of(person.id, f"area-{row['area']}") if row["calls"] else None


def _rate_href(row: Row, links: SiteLinks) -> str | None:
    if row["area"] in ("positioning", "quiz"):
        return f"#{'slot' if row['area'] == 'positioning' else 'quiz'}"
    return links.calls_of(row["umpire_id"], "" if row["area"] == "overall" else f"area-{slug(row['area'])}")


def _adjustment(rates: Mapping[str, Row], links: SiteLinks) -> Section | None:
    if not rates:
        return None
    order = [area for area in AREAS if area in rates] + sorted(set(rates) - set(AREAS))
    table = Table(
        "rates",
        "From the raw rate to the adjusted one, in points",
        [
            Column("Area"),
            Column("Right", "num"),
            Column("Graded", "num"),
            Column("Raw rate", "num"),
            Column("Raw interval", "num"),
            Column("Evaluators", "num"),
            Column("Situations", "num"),
            Column("Luck out", "num"),
            Column("Adjusted rate", "num"),
            Column("Adjusted interval", "num"),
        ],
        [
            [
                Cell(AREAS.get(area, area)),
                num(row["right_calls"], count(row["right_calls"])),
                num(
                    row["calls"],
                    count(row["calls"]),
                    _rate_href(row, links),
                ),
                num(row["raw_rate"], percent(row["raw_rate"])),
                Cell(interval(row["raw_low"], row["raw_high"]), sort=row["raw_low"]),
                num(row["evaluator_points"], points(row["evaluator_points"])),
                num(row["situation_points"], points(row["situation_points"])),
                num(row["shrinkage_points"], points(row["shrinkage_points"])),
                num(row["adjusted_rate"], percent(row["adjusted_rate"])),
                Cell(interval(row["adjusted_low"], row["adjusted_high"]), sort=row["adjusted_low"]),
            ]
            for area, row in ((area, rates[area]) for area in order)
        ],
    )
    overall = rates.get("overall")
    blocks: list[Block]
    if overall is None or overall["raw_rate"] is None or overall["adjusted_rate"] is None:
        blocks = [table]
    else:
        title = (
            f"{percent(overall['raw_rate'])} of the graded calls were right; under an average evaluator and the "
            f"season's mix of situations that is {percent(overall['adjusted_rate'])}."
        )
        blocks = [Figure("bridge", title, bridge_chart(overall), table)]
    return Section(
        "rates-part",
        "From raw to adjusted rate",
        blocks,
        margin=[
            "A raw rate mixes the umpire, the evaluator's severity, the difficulty of what he met, and luck. The parts "
            "add up: raw rate, evaluators, situations and luck taken out give the adjusted rate."
        ],
    )


def _boundary(calls: Sequence[Row], links: SiteLinks) -> Section | None:
    measured = measured_calls(calls)
    if not measured:
        return None
    groups = []
    for name, pitch, grade in BOUNDARY_ROWS:
        found = [
            call["zone_margin_in"] for call in measured if call["ruled_pitch"] == pitch and call["verdict"] == grade
        ]
        groups.append(
            [
                Cell(name, href=f"calls.html#pitches-{grade}" if found else None),
                num(len(found), count(len(found))),
                num(min(found, default=None), number(min(found, default=None), 1)),
                num(max(found, default=None), number(max(found, default=None), 1)),
            ]
        )
    table = Table(
        "boundary-table",
        "Measured taken pitches by what was called, inches from the boundary (outside −, inside +)",
        [
            Column("Called"),
            Column("Pitches", "num"),
            Column("From, in", "num"),
            Column("To, in", "num"),
        ],
        groups,
    )
    return Section(
        "boundary",
        "Balls and strikes by distance",
        [
            Figure(
                "boundary-strip",
                f"Where {plural(len(measured), 'measured pitch', 'measured pitches')} lay from the boundary of the "
                "batter's own zone, by what was called.",
                boundary_chart(measured),
                table,
                note="Pitches more than 12 in away stand at the end of the axis.",
            )
        ],
        margin=[
            "The boundary is where the ball's edge just meets the edge of the zone. A wrong call far from it is a "
            "different thing from one close by; those that the measurement cannot decide are edge pitches, "
            "counted neither way."
        ],
    )


def _misrulings(known: UmpireRows, person: Person, calls: Sequence[Row], links: SiteLinks) -> Section:
    examples: dict[str, list[Link]] = {}
    for call in calls:
        if call["misruling_code"]:
            link = links.call(call["call_id"])
            if isinstance(link, Link):
                examples.setdefault(call["misruling_code"], []).append(link)
    rows = []
    for row in known.book.umpire_misrulings.get(person.id, []):
        code = row["misruling_code"]
        about = known.misruling.get(code)
        title = about["title"] if about else code
        rows.append(
            [
                link_cell(links.misruling(code, title)),
                Cell(CONSEQUENCES[about["consequence"]] if about else NOTHING),
                num(row["times"], count(row["times"])),
                Cell("", links=tuple(examples.get(code, ())), sort=row["times"]),
            ]
        )
    table = Table(
        "own-misrulings",
        "Misrulings, most frequent first",
        [Column("Misruling"), Column("What it costs"), Column("Times", "num"), Column("Calls", "long")],
        rows,
        empty="No misruling was found among the graded calls.",
    )
    wrong = [call for call in calls if call["verdict"] == "wrong"]
    shown = chosen_plays(wrong, _PLAYS)
    blocks: list[Block] = [table]
    if shown:
        title = "The plays themselves" if len(shown) == len(wrong) else f"{len(shown)} of the {len(wrong)} plays themselves"
        blocks.append(Ledger("own-plays", title, [play_entry(f"own-{n}", call, links) for n, call in enumerate(shown, 1)]))
    return Section(
        "misrulings",
        "Misrulings",
        blocks,
        margin=["What was ruled in the place of what. Each call leads to the facts, the ruling and the rule."],
    )


def _slot(known: UmpireRows, person: Person) -> Section | None:
    rows = known.book.positioning.get(person.id, [])
    if not rows:
        return None
    order = list(SLOT_ITEMS)
    rows = sorted(rows, key=lambda row: order.index(row["item"]) if row["item"] in order else len(order))
    shown = [{**row, "label": SLOT_ITEMS.get(row["item"], row["item"])} for row in rows]
    table = Table(
        "slot-table",
        "How the plate was worked",
        [
            Column("Looked at"),
            Column("As it should be", "num"),
            Column("Checks", "num"),
            Column("Share", "num"),
            Column("Interval", "num"),
        ],
        [
            [
                Cell(row["label"]),
                num(row["good"], count(row["good"])),
                num(row["checks"], count(row["checks"])),
                num(row["rate"], percent(row["rate"])),
                Cell(interval(row["low"], row["high"]), sort=row["low"]),
            ]
            for row in shown
        ],
    )
    chart = share_chart(shown, "label", "rate", "low", "high", "share of checks that were as they should be")
    title = "How often each part of working the slot was as it should be."
    return Section(
        "slot",
        "Working the slot",
        [Figure("slot-shares", title, chart, table)],
        margin=["Plain shares of checks with Wilson intervals."],
    )


def _quiz(known: UmpireRows, person: Person) -> Section | None:
    rows = known.quiz.get(person.id, [])
    if not rows:
        return None
    table = Table(
        "quiz-own",
        "Quiz results",
        [
            Column("Quiz"),
            Column("Right", "num"),
            Column("Answered", "num"),
            Column("Items", "num"),
            Column("Share right", "num"),
            Column("Interval", "num"),
        ],
        [
            [
                Cell(row["quiz_id"]),
                num(row["right_answers"], count(row["right_answers"])),
                num(row["answered"], count(row["answered"])),
                num(row["items"], count(row["items"])),
                num(row["percent"], percent(row["percent"])),
                Cell(interval(row["low"], row["high"]), sort=row["low"]),
            ]
            for row in rows
        ],
    )
    text = "Items whose key the rules do not confirm are not scored."
    return Section(
        "quiz", "Rules quiz", [table, Paragraph([sentence(text)])], margin=["An item left out counts as not right."]
    )
