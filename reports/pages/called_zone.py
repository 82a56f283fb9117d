"""The called zone: where the edges are really called, on average, by umpire, and what moves them."""

from __future__ import annotations

from collections.abc import Sequence

from reports.blocks import Block, Cell, Column, Inline, Link, Page, Paragraph, Points, Section, Table, ZoneFigure
from reports.book import Row, SeasonBook
from reports.figures.called_zone import signed, zone_drawing
from reports.links import SiteLinks, link_cell
from reports.long_lists import LongLists, scripts_for
from reports.words import NOTHING, count, num, number, percent, plural

SHOWN = 150
"""Umpires on the page."""

GIVES_FIGURES = ("converged", "fixed_spread")
CIRCUMSTANCES = {
    "left_batter": "Left-handed batter",
    "left_pitcher": "Left-handed pitcher",
    "same_hand": "Batter and pitcher of one hand",
    "low_slot": "Sidearm or submarine arm slot",
    "out_of_slot": "Umpire not in the slot",
    "drift_toward": "Umpire drifts toward the batter",
    "drift_away": "Umpire drifts away from the batter",
    "head_low": "Head below the top of the zone",
    "head_high": "Head above the top of the zone",
}
_LOST = {"inside": "inside strike", "outside": "outside strike", "high": "high strike", "low": "low strike"}
_KINDS = {
    "matchup": ("matchup", "By batter, pitcher and arm slot"),
    "positioning": ("positioning", "By how the plate was worked"),
}
_CAUTION = (
    "A shift goes together with a circumstance; it need not come from it. Use it to choose what to look at in a clinic, "
    "not to judge one umpire."
)
_READING = (
    "A called edge stands where every second pitch is a strike, the nearest part of the ball held against the edge of "
    "the batter's own zone. More than 0: the zone is called larger there; less than 0: smaller. Inside and outside are "
    "the batter's, whatever his side."
)


def span(low: float | None, high: float | None) -> str:
    """An interval of offsets in inches: `−0.4 to +0.8`."""
    return NOTHING if low is None or high is None else f"{signed(low)} to {signed(high)}"


def called_zone_page(book: SeasonBook, links: SiteLinks, lists: LongLists) -> Page:
    """Make `zone.html`; the zones of too many umpires for it are handed to `lists`."""
    fits = book.rows("called_zone_fit")
    fit = fits[0] if fits else None
    sections: list[Section] = []
    if fit is None or fit["outcome"] not in GIVES_FIGURES:
        why = "No pitch was looked at" if fit is None else f"No called zone is given: {fit['message']}"
        sections.append(Section("none", "No called zone", [Paragraph([f"{why}."])]))
    else:
        effects = book.rows("called_zone_effect")
        sections = [
            _average(book, fit),
            *(_effects(book, kind, effects) for kind in ("positioning", "matchup")),
            _umpires(book, links, lists),
            _method(book, fit),
        ]
    return Page(
        path="zone.html",
        title="The called zone",
        lead=_lead(fit),
        sections=sections,
        nav="zone.html",
        scripts=scripts_for(sections),
    )


def _lead(fit: Row | None) -> list[Inline]:
    if fit is None:
        return ["Where the zone is really called, against the rule book."]
    return [
        "Where the zone is really called, against the rule book: from "
        f"{plural(fit['pitches'], 'taken pitch', 'taken pitches')} with a measured place, called ball or strike, of "
        f"{plural(fit['umpires'], 'umpire')}."
    ]


def edge_table(table_id: str, caption: str, rows: Sequence[Row], *, spread: bool = False) -> Table:
    """Make the table of four edges that stands beside a drawing."""
    columns = [Column("Edge"), Column("Offset, in", "num"), Column("Interval", "num")]
    columns += [Column("Spread over umpires, in", "num")] if spread else []
    columns += [Column("Sharpness, in", "num"), Column("Interval", "num"), Column("Pitches near", "num")]
    shown = []
    for row in rows:
        thin = row["offset_in"] is None
        cells = [
            Cell(row["edge"].capitalize()),
            num(row["offset_in"], "too few" if thin else signed(row["offset_in"])),
            Cell(span(row["low"], row["high"]), sort=row["low"]),
        ]
        cells += [num(row["spread_in"], number(row["spread_in"], 1))] if spread else []
        sharp = NOTHING if thin else f"{row['sharpness_low']:.1f}–{row['sharpness_high']:.1f}"
        cells += [
            num(row["sharpness_in"], number(row["sharpness_in"], 1)),
            Cell(sharp, sort=row["sharpness_low"]),
            num(row["near_pitches"], count(row["near_pitches"])),
        ]
        shown.append(cells)
    return Table(table_id, caption, columns, shown)


def _average(book: SeasonBook, fit: Row) -> Section:
    rows = book.rows("called_zone_mean")
    drawing = zone_drawing(rows, fit["zone_low_in"], fit["zone_high_in"], fit["plate_half_width_in"])
    title = "Where the average umpire calls the edges, on the season's mean batter."
    table = edge_table("zone-mean", "The average umpire, inches beyond the rule book's edge", rows, spread=True)
    blocks: list[Block] = [ZoneFigure("zone-average", title, drawing, table, drawing.note)]
    if fit["outcome"] == "fixed_spread":
        blocks.append(Paragraph([f"{fit['message'].capitalize()}."], "caution"))
    return Section("average", "The average umpire", blocks, margin=[_READING])


def effect_sentence(row: Row) -> str:
    """Say what a circumstance goes together with at one edge."""
    verb = "is lost more often" if row["shift_in"] < 0 else "is given more often"
    side = "in" if row["shift_in"] < 0 else "out"
    return (
        f"{CIRCUMSTANCES[row['circumstance']]}: the {_LOST[row['edge']]} {verb}; the edge moves {side} by "
        f"{abs(row['shift_in']):.1f} in ({span(row['low'], row['high'])})."
    )


def _effects(book: SeasonBook, kind: str, effects: Sequence[Row]) -> Section:
    rows = [row for row in effects if row["kind"] == kind]
    sure = [row for row in rows if row["shift_in"] is not None and (row["low"] > 0 or row["high"] < 0)]
    sure.sort(key=lambda row: -abs(row["shift_in"]))
    names = list(dict.fromkeys(row["circumstance"] for row in rows))
    section_id, title = _KINDS[kind]
    table = Table(
        f"zone-{kind}",
        f"{title}: how far each edge moves out (+) or in (−), inches",
        [Column("Circumstance"), *(Column(edge.capitalize(), "num") for edge in _LOST),
         Column("Pitches with", "num"), Column("Without", "num"), Column("Games with", "num")],
        [_effect_cells([row for row in rows if row["circumstance"] == name]) for name in names],
    )  # fmt: skip
    said = (
        Points([[effect_sentence(row)] for row in sure], title="What the intervals keep clear of zero")
        if sure
        else Paragraph(["No shift is kept clear of zero by its interval: nothing is shown to move an edge."])
    )
    blocks: list[Block] = [said, table]
    given = sum(row["shift_in"] is not None for row in rows)
    if given:
        level = book.season["interval"]
        luck = (
            f"Of {plural(given, 'shift')} about {(1 - level) * given:.0f} would be kept clear of zero by luck alone, "
            "if nothing moved any edge."
        )
        blocks.append(Paragraph([luck]))
    if kind == "positioning":
        blocks.append(Paragraph([_CAUTION], "caution"))
    return Section(
        section_id,
        title,
        blocks,
        margin=[
            "The difference between never and always, the same for every umpire. Where there are too few pitches or "
            "games on either side, no figure is given."
        ],
    )


def _effect_cells(rows: Sequence[Row]) -> list[Cell]:
    first = rows[0]
    cells = [Cell(CIRCUMSTANCES[first["circumstance"]])]
    for row in rows:
        thin = row["shift_in"] is None
        text = "too few" if thin else f"{signed(row['shift_in'])} ({span(row['low'], row['high'])})"
        cells.append(num(row["shift_in"], text))
    return [
        *cells,
        num(first["pitches_with"], count(first["pitches_with"])),
        num(first["pitches_without"], count(first["pitches_without"])),
        num(first["games_with"], count(first["games_with"])),
    ]


def _umpires(book: SeasonBook, links: SiteLinks, lists: LongLists) -> Section:
    rows = []
    for umpire, edges in book.by("called_zone", "umpire_id").items():
        cells = [link_cell(links.umpire(umpire))]
        for row in edges:
            thin = row["offset_in"] is None
            cells.append(
                num(row["offset_in"], "too few" if thin else f"{signed(row['offset_in'])} ({span(row['low'], row['high'])})")
            )
        rows.append([*cells, num(edges[0]["pitches"], count(edges[0]["pitches"]))])
    table = Table(
        "zone-umpires",
        "Called edges of each umpire, inches beyond the rule book's",
        [Column("Umpire"), *(Column(edge.capitalize(), "num") for edge in _LOST), Column("Pitches", "num")],
        rows,
    )
    shown, below = lists.front(table, SHOWN, "Called edges", Link("The called zone", "zone.html#umpires"), "zone.html")
    return Section("umpires", "Each umpire", [shown, *below], margin=["A thin record is drawn towards the average."])


def _method(book: SeasonBook, fit: Row) -> Section:
    level = percent(book.season["interval"], 0)
    return Section(
        "method",
        "How it is made",
        [
            Points(
                [
                    ["The chance of a called strike is the product of four edges, each with an offset and a sharpness: the distance over which the calls turn from every second pitch a strike to 73 in 100."],
                    ["Umpires are taken as normal about the average umpire, edge by edge; how far they differ is learnt from the season (empirical Bayes by Laplace's approximation)."],
                    ["The error of a measured place, by its source in the policy, is taken out of the sharpness, and of the places themselves: a pitch measured far out is more often one measured too far. The scaling used for it is off by at most .011 in probability."],
                    [f"Intervals are {level} ones and carry the doubt about how far umpires differ. On simulated seasons with known edges they held the truth in 85 to 94 of 100, edge by edge; where each game had edges of its own (SD .8 in), in 80 to 85."],
                    [f"The fit: {fit['message']}; log-likelihood {number(fit['log_likelihood'], 1)}, {plural(fit['evaluations'], 'evaluation')}."],
                    ["The interval of a shift is widened where the pitches of a game go together. Left out: the count, the score, the catcher, and edges of one umpire that go together."],
                ]
            )
        ],
    )  # fmt: skip


def umpire_zone(rows: Sequence[Row], fit: Row | None, *, private: bool) -> Section | None:
    """Make the section of one umpire's called zone; nothing where he has no measured taken pitch."""
    if not rows or fit is None:
        return None
    given = [row for row in rows if row["offset_in"] is not None]
    whose = "you call" if private else "he calls"
    title = f"Where {whose} the edges, from {plural(rows[0]['pitches'], 'measured taken pitch', 'measured taken pitches')}."
    drawing = zone_drawing(rows, fit["zone_low_in"], fit["zone_high_in"], fit["plate_half_width_in"])
    table = edge_table("zone-own", "Called edges, inches beyond the rule book's edge", rows)
    blocks: list[Block] = [ZoneFigure("zone-drawing", title, drawing, table, f"Drawn on the season's mean batter. {drawing.note}")]
    if len(given) < len(rows):
        thin = ", ".join(row["edge"] for row in rows if row["offset_in"] is None)
        blocks.append(Paragraph([f"Too few pitches near an edge for a figure: {thin}."]))
    return Section("called-zone", "The called zone", blocks, margin=[_READING])
