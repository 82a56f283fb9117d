"""Evaluators, for the committee: severity, drift, agreement with the rules and with each other, health of the sheets."""

from __future__ import annotations

from collections.abc import Sequence

from reports.blocks import Block, Cell, Column, Figure, Link, Page, Paragraph, Section, Table
from reports.book import Row, SeasonBook
from reports.figures.charts import points_chart, share_chart
from reports.links import SiteLinks, link_cell
from reports.long_lists import LongLists, scripts_for
from reports.pages.evaluator_health import health_of_all
from reports.pages.shared_looks import shared_looks
from reports.words import CODES, NOTHING, count, interval, num, percent, plural, point_range, points, sentence

_DRAWN = 60
_BY_NAME = 20
_LISTED = 100
SEVERITY_MARGIN = (
    "Severity is how far the share of right calls under this evaluator lies from the panel's, with umpires and "
    "situations held alike. Below zero: fewer calls come out right on these sheets. It is taken out of every umpire's "
    "adjusted rate, so nobody gains or loses by who watched."
)


def evaluators_page(book: SeasonBook, links: SiteLinks, lists: LongLists) -> Page:
    """Make `evaluators.html`; where figures show some evaluators only, a list of all is handed to `lists`."""
    rows = book.rows("evaluator")
    sections = [
        _messages(rows, links),
        _severity(rows, links),
        _drift(rows, links, book.season["interval"]),
        _agreement(rows, links),
        shared_looks(book, links),
        health_of_all(book.rows("evaluator_health"), links),
    ]
    if len(rows) > _DRAWN:
        sections.append(_everybody(rows, links, lists))
    return Page(
        path="evaluators.html",
        title="Evaluators",
        lead=[_lead(rows)],
        sections=sections,
        nav="evaluators.html",
        scripts=scripts_for(sections),
    )


def _lead(rows: Sequence[Row]) -> str:
    if not rows:
        return "No evaluator's call was accepted, so there is nothing to compare."
    calls, grades, agree = (sum(row[key] for row in rows) for key in ("calls", "grades", "agree"))
    told = f"{plural(len(rows), 'evaluator')} wrote down {plural(calls, 'call')}. "
    if grades:
        told += f"Of {plural(grades, 'grade')} that can be compared, {percent(agree / grades)} agree with the rules. "
    return told + "An evaluator's grade is never taken as the truth: the rules decide from the facts on the sheet."


def _everybody(rows: Sequence[Row], links: SiteLinks, lists: LongLists) -> Section:
    """Every evaluator by name: the tables above show the ends of their orders alone."""
    table = Table(
        "every-evaluator",
        "All evaluators, by name",
        [Column("Evaluator"), Column("Calls", "num"), Column("Games", "num"), Column("Umpires", "num"), Column("Severity", "num"),
         Column("Change", "num"), Column("Agree", "num")],
        [
            [
                link_cell(links.evaluator(row["evaluator_id"])),
                num(row["calls"], count(row["calls"]), links.evaluator_calls(row["evaluator_id"])),
                num(row["games"], count(row["games"])),
                num(row["umpires"], count(row["umpires"])),
                num(row["severity_points"], points(row["severity_points"])),
                num(row["drift_points_per_30_days"], points(row["drift_points_per_30_days"])),
                num(row["agree_rate"], percent(row["agree_rate"])),
            ]
            for row in sorted(rows, key=lambda row: (row["name"].casefold(), row["evaluator_id"]))
        ],
    )  # fmt: skip
    home = Link("Evaluators", "evaluators.html#everybody")
    shown, below = lists.front(table, _BY_NAME, "Evaluators by name", home, "evaluators.html")
    margin = "Severity in points of the right-call rate; change in points for each 30 days; agree: grades that are those of the rules."
    return Section("everybody", "Every evaluator", [shown, *below], margin=[margin])


def is_apart(low: float | None, high: float | None) -> bool:
    """Whether an interval leaves zero out."""
    return low is not None and high is not None and low * high > 0


def _shown(rows: Sequence[Row], key: str) -> list[Row]:
    """The rows that have a value, in its order, as many as a figure has room for: half from each end."""
    known = sorted((row for row in rows if row[key] is not None), key=lambda row: (row[key], row["evaluator_id"]))
    if len(known) <= _DRAWN:
        return known
    return known[: _DRAWN // 2] + known[-(_DRAWN // 2) :]


def _limited(rows: Sequence[Row], key: str) -> list[Block]:
    known = sum(row[key] is not None for row in rows)
    if known <= _DRAWN:
        return []
    half = _DRAWN // 2
    return [Paragraph([f"The {half} lowest and {half} highest of {known:,}; all are in tables/pub_evaluator.csv."])]


def _how_many(number: int, of: int) -> str:
    if number == 0:
        return f"None of {plural(of, 'evaluator')}"
    return f"{number:,} of {plural(of, 'evaluator')}"


def _severity(rows: Sequence[Row], links: SiteLinks) -> Section:
    shown = _shown(rows, "severity_points")
    table = Table(
        "severity-table",
        "Severity in points of the right-call rate, the most severe first",
        [Column("Evaluator"), Column("Severity", "num"), Column("Interval", "num"), Column("Calls", "num"),
         Column("Games", "num"), Column("Umpires", "num")],
        [
            [
                link_cell(links.evaluator(row["evaluator_id"])),
                num(row["severity_points"], points(row["severity_points"])),
                Cell(point_range(row["severity_low"], row["severity_high"]), sort=row["severity_low"]),
                num(row["calls"], count(row["calls"]), links.evaluator_calls(row["evaluator_id"])),
                num(row["games"], count(row["games"])),
                num(row["umpires"], count(row["umpires"])),
            ]
            for row in shown
        ],
        empty="There is too little to tell severity from.",
    )  # fmt: skip
    known = [row for row in rows if row["severity_points"] is not None]
    severe = sum(is_apart(row["severity_low"], row["severity_high"]) and row["severity_points"] < 0 for row in known)
    lenient = sum(is_apart(row["severity_low"], row["severity_high"]) and row["severity_points"] > 0 for row in known)
    apart = "is" if severe + lenient == 1 else "are"
    title = f"{_how_many(severe + lenient, len(known))} {apart} apart from the panel: {severe} more severe, {lenient} more lenient."
    chart = points_chart(shown, "severity_points", "severity_low", "severity_high", "points from the panel's average")
    figure = Figure("severity-points", title, chart, table)
    return Section("severity", "Severity", [figure, *_limited(rows, "severity_points")], margin=[SEVERITY_MARGIN])


def _drift(rows: Sequence[Row], links: SiteLinks, certainty: float) -> Section:
    shown = _shown(rows, "drift_points_per_30_days")
    table = Table(
        "drift-table",
        "Change of severity in points for each 30 days, who grew strictest first",
        [Column("Evaluator"), Column("Change", "num"), Column("Interval", "num")],
        [
            [
                link_cell(links.evaluator(row["evaluator_id"])),
                num(row["drift_points_per_30_days"], points(row["drift_points_per_30_days"])),
                Cell(point_range(row["drift_low"], row["drift_high"]), sort=row["drift_low"]),
            ]
            for row in shown
        ],
        empty="No evaluator was seen on enough days to tell a change.",
    )
    known = [row for row in rows if row["drift_points_per_30_days"] is not None]
    moved = sum(is_apart(row["drift_low"], row["drift_high"]) for row in known)
    title = f"{_how_many(moved, len(known))} moved over the season by more than the interval allows for chance."
    chart = points_chart(shown, "drift_points_per_30_days", "drift_low", "drift_high", "points in 30 days")
    margin = (
        f"Below zero: grew stricter. Of evaluators who did not move at all, {percent(1 - certainty, 0)} would still "
        "seem to, by chance alone."
    )
    figure = Figure("drift-points", title, chart, table)
    return Section("drift", "Change over the season", [figure, *_limited(rows, "drift_points_per_30_days")], margin=[margin])


def _agreement(rows: Sequence[Row], links: SiteLinks) -> Section:
    shown = _shown(rows, "agree_rate")
    table = Table(
        "agreement-table",
        "Grades that agree with the rules, the fewest first",
        [Column("Evaluator"), Column("Grades", "num"), Column("Agree", "num"), Column("Against", "num"), Column("Share", "num"),
         Column("Interval", "num"), Column("Facts recorded", "num")],
        [
            [
                link_cell(links.evaluator(row["evaluator_id"])),
                num(row["grades"], count(row["grades"])),
                num(row["agree"], count(row["agree"])),
                num(row["grades"] - row["agree"], count(row["grades"] - row["agree"]),
                    links.evaluator_part(row["evaluator_id"], "misgrades")),
                num(row["agree_rate"], percent(row["agree_rate"])),
                Cell(interval(row["agree_low"], row["agree_high"]), sort=row["agree_low"]),
                num(row["facts_recorded_share"], percent(row["facts_recorded_share"], 0)),
            ]
            for row in shown
        ],
        empty="No grade on the sheets can be compared.",
    )  # fmt: skip
    chart = share_chart(
        shown, "name", "agree_rate", "agree_low", "agree_high", "share of grades that agree with the rules"
    )
    title = "Nobody's grades can be compared with the rules."
    if shown:
        ends = percent(shown[0]["agree_rate"]), percent(shown[-1]["agree_rate"])
        title = f"Between {ends[0]} and {ends[1]} of each evaluator's grades are those that the rules give."
        if len(shown) == 1:
            title = f"{ends[0]} of the grades are those that the rules give."
    margin = (
        "Only grades of right or wrong on calls that the rules settle are compared. Facts recorded: the share of calls "
        "whose facts settle the ruling."
    )
    figure = Figure("agreement-shares", title, chart, table)
    return Section("agreement", "Agreement with the rules", [figure, *_limited(rows, "agree_rate")], margin=[margin])


def _messages(rows: Sequence[Row], links: SiteLinks) -> Section:
    found = [row for row in rows if row["message"] or row["other_code_suspect"]]
    table = Table(
        "messages-table",
        "What to talk about, and with whom",
        [Column("Evaluator"), Column("In words", "long"), Column("Seems to apply"), Column("Calls that fit it", "num")],
        [
            [
                link_cell(links.evaluator(row["evaluator_id"])),
                Cell(sentence(row["message"] or "")),
                Cell(CODES.get(row["other_code_suspect"] or "", NOTHING)),
                num(row["other_code_calls"], count(row["other_code_calls"]) if row["other_code_calls"] else NOTHING),
            ]
            for row in found[:_LISTED]
        ],
        empty="Nothing stands out on any evaluator's sheets.",
    )
    margin = "A pattern on paper is a question, not a verdict: ask before concluding. Each evaluator's packet says the same in a letter."
    blocks: list[Block] = [table]
    if len(found) > _LISTED:
        blocks.append(Paragraph([f"The first {_LISTED} of {len(found):,}; all are in tables/pub_evaluator.csv."]))
    return Section("messages", "Worth a conversation", blocks, margin=[margin])
