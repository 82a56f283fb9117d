"""How sound an evaluator's sheets are: a section of the own page and packet, and a table of all for the committee."""

from __future__ import annotations

from collections.abc import Sequence

from reports.blocks import Block, Cell, Column, Link, Paragraph, Section, Table
from reports.book import Row
from reports.links import SiteLinks, link_cell, linked_cell
from reports.words import NOTHING, count, interval, num, number, percent, plain_names, plural, sentence, topic

MEASURES = {
    "facts_recorded": "Deciding facts recorded",
    "contradictions": "Calls whose facts contradict",
    "wrong_grades": "Grades against the rules",
    "graded_right": "Grades that say right",
    "wrong_passed": "Wrong rulings graded right",
    "repeated_rows": "Measured rows that repeat another",
    "last_digit": "Last digit 0 or 5",
    "days_late": "Days from game to entry",
}
COLUMNS = {"ball_x_in": "Place across the plate", "ball_z_in": "Height of the place"}

_CAUTION = (
    "None of this proves anything: a share from few cases moves by chance, umpires and games differ, and of two "
    "hundred shares that are only luck about one stands out all the same. It says where to look, and with whom to talk."
)
LETTER_CAUTION = (
    "None of this proves anything. Umpires and games differ, and of many figures that are only luck one will stand out all "
    "the same. You know best how your sheets came about."
)
_MARGIN = (
    "Deciding facts are those that the rules asked for on the way to a ruling; columns whose blank "
    "the sheet reads as a value are not counted. Stands out: above the median of all by more than a 99 % interval, with at least 30 cases and 3 found, or, of days, more than half later than a week; "
    "medians are of at least five evaluators and name nobody."
)
_DIGITS = (
    "Measures written to a tenth of an inch end in each digit about as often; whole inches do not, and are not tested. "
    "A half-inch habit shows as many 0 and 5: that is a matter of rounding, and honest. The test is Pearson's chi-square, "
    "corrected for the number of tests of the season (Holm)."
)


def health_section(rows: Sequence[Row], links: SiteLinks) -> Section:
    """Make the section of one evaluator; every figure of others in it is a median without names."""
    order = list(MEASURES)
    main = sorted((row for row in rows if not row["part"]), key=lambda row: order.index(row["measure"]))
    blocks: list[Block] = [
        Paragraph([_CAUTION], tone="caution"),
        Table(
            "health-table",
            "The sheets in numbers, beside the median of all evaluators",
            [Column("What"), Column("Found", "num"), Column("Of", "num"), Column("Value", "num"),
             Column("Interval", "num"), Column("Median of all", "num"), Column("Stands out"), Column("Calls"),
             Column("Remark", "long")],
            [_main_row(row, links) for row in main],
            empty="No call of these sheets was accepted.",
        ),
        _topics([row for row in rows if row["measure"] == "wrong_grades" and row["part"]], links),
        _digits([row for row in rows if row["measure"] == "last_digit"]),
    ]  # fmt: skip
    return Section("health", "Health of the sheets", blocks, margin=[_MARGIN, " ", _DIGITS])


def _value(row: Row, key: str = "value") -> str:
    """A share as percent, days as days; to a hundredth where it is less than one in a hundred."""
    value = row[key]
    if row["measure"] == "days_late":
        return number(value, 0 if value is None or value == int(value) else 1)
    return percent(value, 2 if value is not None and 0 < value < 0.01 else 1)


def _main_row(row: Row, links: SiteLinks) -> list[Cell]:
    remark = row["remark"]
    if row["measure"] == "days_late":
        remark = f"{plural(row['found'], 'call was', 'calls were')} written down more than a week after the game"
    return [
        Cell(MEASURES[row["measure"]]),
        num(row["found"], count(row["found"])),
        num(row["cases"], count(row["cases"])),
        num(row["value"], _value(row)),
        Cell(interval(row["low"], row["high"]), sort=row["low"]),
        num(row["median"], _value(row, "median")),
        _stands_out(row),
        linked_cell(row["call_ids"], links.call),
        Cell(plain_names(sentence(remark)) if remark else NOTHING),
    ]


def _stands_out(row: Row) -> Cell:
    return Cell({True: "yes", False: "no"}.get(row["stands_out"], "not compared"))


def _topics(rows: Sequence[Row], links: SiteLinks) -> Table:
    wrong = sorted((row for row in rows if row["found"]), key=lambda row: (-row["found"], row["part"]))
    return Table(
        "health-topics",
        "Grades against the rules by topic, with the rules that speak against them most often",
        [Column("Topic"), Column("Against", "num"), Column("Grades", "num"), Column("Share", "num"),
         Column("Median of all", "num"), Column("Rules"), Column("Calls")],
        [
            [
                Cell(topic(row["part"])),
                num(row["found"], count(row["found"])),
                num(row["cases"], count(row["cases"])),
                num(row["value"], _value(row)),
                num(row["median"], _value(row, "median")),
                linked_cell(row["rule_ids"], links.rule),
                linked_cell(row["call_ids"], links.call),
            ]
            for row in wrong
        ],
        empty="No grade on these sheets is against the rules.",
    )  # fmt: skip


def _digits(rows: Sequence[Row]) -> Table:
    return Table(
        "health-digits",
        "Last digits of measures",
        [Column("Measure"), Column("Values", "num"), Column("End in 0 or 5", "num"), Column("Chance", "num"),
         Column("Corrected", "num"), Column("Stands out"), Column("Remark", "long")],
        [
            [
                Cell(COLUMNS.get(row["part"], plain_names(row["part"]))),
                num(row["cases"], count(row["cases"])),
                num(row["value"], percent(row["value"], 0)),
                num(row["p_value"], _chance(row["p_value"])),
                num(row["p_corrected"], _chance(row["p_corrected"])),
                _stands_out(row),
                Cell(_digit_remark(row)),
            ]
            for row in rows
        ],
        empty="No place was measured by hand or from video on these sheets.",
    )  # fmt: skip


def _digit_remark(row: Row) -> str:
    if row["remark"]:
        return sentence(row["remark"])
    return NOTHING if row["p_value"] is not None else "Fewer than 50 values, so not tested."


def _chance(value: float | None) -> str:
    if value is None:
        return NOTHING
    return "under 0.001" if value < 0.001 else f"{value:.3f}"


_MOST = 100
_SHOWN = ("facts_recorded", "contradictions", "wrong_grades", "graded_right", "wrong_passed", "repeated_rows", "days_late")


def health_of_all(rows: Sequence[Row], links: SiteLinks) -> Section:
    """Make the table of all evaluators for the committee; of very many, those in whom something stands out."""
    everybody = sorted({row["evaluator_id"] for row in rows})
    outstanding = {row["evaluator_id"] for row in rows if row["stands_out"]}
    people = everybody if len(everybody) <= _MOST else sorted(outstanding)[:_MOST]
    by_place = {(row["evaluator_id"], row["measure"]): row for row in rows if not row["part"]}
    names = _names_standing_out(rows)
    dated = any(row["measure"] == "days_late" for row in rows)
    shown = [name for name in _SHOWN if name != "days_late" or dated]
    table = Table(
        "health-of-all",
        "Health of the sheets, evaluator by evaluator",
        [Column("Evaluator"), *(Column(MEASURES[name], "num") for name in shown), Column("Stands out in", "long")],
        [
            [
                link_cell(links.evaluator(person)),
                *(_figure(by_place.get((person, name))) for name in shown),
                Cell(names.get(person, "nothing")),
            ]
            for person in people
        ],
        empty="No evaluator's call was accepted.",
        total=[Cell("Median of all"), *(_middle(rows, name) for name in shown), Cell("")] if people else (),
    )
    blocks: list[Block] = [Paragraph([_CAUTION], tone="caution"), table]
    if len(people) < len(everybody):
        more = f"{len(people):,} of {plural(len(everybody), 'evaluator')}; all are in tables/pub_evaluator_health.csv."
        blocks.append(Paragraph([more]))
    if everybody and not dated:
        blocks.append(Paragraph(["No sheet gives the day of entry (recorded on), so nothing is said of lateness."]))
    return Section("sheet-health", "Health of the sheets", blocks, margin=[_MARGIN])


def standing_out(rows: Sequence[Row], links: SiteLinks) -> Section:
    """Make the short list of whose sheets to look at, for the page on the data."""
    names = _names_standing_out(rows)
    more = Paragraph(["All measures of every evaluator: ", Link("health of the sheets", "evaluators.html#sheet-health"), "."])
    if not names:
        text = "No evaluator's sheets stand out from those of the others in any measure."
        return Section("sheet-health", "Evaluators' sheets", [Paragraph([text]), more], margin=[_MARGIN])
    table = Table(
        "standing-out",
        f"{plural(len(names), 'evaluator')} whose sheets stand out in something",
        [Column("Evaluator"), Column("Stands out in", "long")],
        [[link_cell(links.evaluator(person)), Cell(text)] for person, text in sorted(names.items())[:_MOST]],
    )
    return Section("sheet-health", "Evaluators' sheets", [Paragraph([_CAUTION], tone="caution"), table, more], margin=[_MARGIN])


def _figure(row: Row | None) -> Cell:
    return Cell(NOTHING) if row is None else num(row["value"], _value(row))


def _middle(rows: Sequence[Row], measure: str) -> Cell:
    found = [row for row in rows if row["measure"] == measure and not row["part"] and row["median"] is not None]
    return num(found[0]["median"], _value(found[0], "median")) if found else Cell(NOTHING)


def _names_standing_out(rows: Sequence[Row]) -> dict[str, str]:
    """In what each evaluator's sheets stand out, in words; evaluators in whom nothing does are left out."""
    found: dict[str, list[str]] = {}
    for row in rows:
        if row["stands_out"]:
            part = f" ({COLUMNS.get(row['part'], plain_names(row['part']))})" if row["part"] else ""
            found.setdefault(row["evaluator_id"], []).append(MEASURES[row["measure"]] + part)
    return {person: ", ".join(names) for person, names in found.items()}
