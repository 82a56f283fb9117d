"""The sections about one umpire that read the same in the dossier of the site and in his own packet."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from reports.blocks import Block, Cell, Column, Figure, Paragraph, Points, Section, Table
from reports.book import Person, Row, SeasonBook
from reports.figures.charts import (
    BOUNDARY_ROWS,
    boundary_chart,
    bridge_chart,
    measured_calls,
    share_chart,
    standards_chart,
)
from reports.naming import slug
from reports.pages.growth import growth_section
from reports.pages.looks import WhoSawWhom
from reports.pages.readiness_detail import looks_blocks, sensitivity_blocks
from reports.parts import WHOLE as CALLS
from reports.words import (
    AREAS,
    HOLDS,
    NOTHING,
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


@dataclass(frozen=True)
class OwnSections:
    """Sections that lead nowhere but to the calls beside them, so that both pages can share them, drawn once."""

    standing: Section | None
    rates: Section | None
    growth: Section | None
    boundary: Section | None
    slot: Section | None
    quiz: Section | None

    @classmethod
    def of(cls, known: UmpireRows, person: Person, calls: Sequence[Row]) -> OwnSections:
        """Make the sections of one umpire from what is published of him and his calls."""
        return cls(
            standing=_standing(known, person),
            rates=_adjustment(known, person),
            growth=growth_section(known.book.growth.get(person.id, [])),
            boundary=_boundary(calls),
            slot=_slot(known, person),
            quiz=_quiz(known, person),
        )


def _standing(known: UmpireRows, person: Person) -> Section | None:
    ready = known.readiness.get(person.id)
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
                num(row["calls"], count(row["calls"]), _looks_href(row)),
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
        ),
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


def _looks_href(row: Row) -> str | None:
    return _place(row["area"], row["area"]) if row["calls"] else None


def _rate_href(row: Row) -> str:
    return _place(row["area"], slug(row["area"]))


def _place(area: str, part: str) -> str:
    """Return where the looks at an area stand: on this page, or among the calls beside it."""
    if area in ("positioning", "quiz"):
        return "#slot" if area == "positioning" else "#quiz"
    return CALLS if area == "overall" else f"{CALLS}#area-{part}"


def _adjustment(known: UmpireRows, person: Person) -> Section | None:
    rates: dict[str, Row] = {row["area"]: row for row in known.book.rates.get(person.id, [])}
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
                    _rate_href(row),
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


def _boundary(calls: Sequence[Row]) -> Section | None:
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
                Cell(name, href=f"{CALLS}#pitches-{grade}" if found else None),
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
