"""How dependable the readings are: now, and with other amounts of watching."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from reports.blocks import Block, Cell, Column, Figure, Link, Page, Paragraph, Points, Section, Table
from reports.book import Row, SeasonBook
from reports.figures.palette import Role
from reports.figures.rows import Mark, RowChart, Rule, Series, Shape
from reports.words import AREAS, NOTHING, THIN, count, interval, num, number, percent, plural

_WORDS = [
    "Dependability: of the spread of the umpires' measures, the share that is spread of the umpires and not of evaluators, games and luck. 1 would be measures without error.",
    "At the cut: the same for the distance from the cut. It is high where nearly everybody stands clear of the cut, however rough the measures.",
    "Right side: the share of umpires whose likelier side of the cut is expected to be the right one, if everybody had to be placed on one side today. The readings do better than that, because they leave the doubtful ones at more looks.",
    "Same side again: the share who would come out on the same side if measured as well again.",
    "Games needed: the fewest games an umpire, shared by so many evaluators, at which the wrong sides fall to the risk that the policy accepts for ready. A dash: 60 games would not do, since an evaluator's severity stands in the way; or there is no evaluator, as in the quiz, whose sheets count as games.",
]
_LIMITS = (
    "Expected figures for an umpire of this level, from the fitted variances as if they were known, and normal. More games "
    "by the same evaluator take away luck and the swing of games, never that evaluator's own severity."
)
_ORDER = list(AREAS)


def dependability_page(book: SeasonBook) -> Page:
    """Make `dependability.html`."""
    now, plan = book.by("dependability", "target_level"), book.by("dependability_plan", "target_level")
    sections = [
        Section(f"level-{place}", f"Judged for {book.level_title(level)}", _level(now[level], plan.get(level, []), place))
        for place, level in enumerate(sorted(now, key=book.level_order))
    ]
    if not sections:
        sections = [Section("none", "Nothing to say yet", [Paragraph(["No level has three umpires who were seen in one area: how umpires spread cannot be told."])])]
    sections.append(Section("words", "What the words mean", [Points([[text] for text in _WORDS]), Paragraph([_LIMITS])]))
    return Page(
        path="dependability.html",
        title="How dependable the readings are",
        lead=["Which standards the season's watching can decide, and how much more of it, by how many evaluators, would decide the others."],
        sections=sections,
        trail=[Link("Method and limits", "method.html")],
        nav="method.html",
    )  # fmt: skip


def _title(row: Row) -> str:
    area = str(row["area"])
    return AREAS.get(area, area)


def _by_area(rows: Sequence[Row]) -> list[Row]:
    return sorted(rows, key=lambda row: (_ORDER.index(row["area"]) if row["area"] in _ORDER else len(_ORDER), row["area"]))


def _level(rows: Sequence[Row], plan: Sequence[Row], place: int) -> list[Block]:
    rows = _by_area(rows)
    risk = rows[0]["risk"]
    good = sum(row["accuracy"] >= 1 - risk for row in rows)
    title = (
        f"{good} of {plural(len(rows), 'standard')} would put at most {percent(risk, 0)} of the umpires on the wrong side of the cut."
    )
    table = Table(
        f"now-{place}",
        "Dependability of each standard, with the season's watching",
        [Column("Standard"), Column("Umpires", "num"), Column("Cut", "num"), Column("Middle rate", "num"), Column("Two thirds lie in", "num"),
         Column("Games each", "num"), Column("Calls a game", "num"), Column("Dependability", "num"), Column("At the cut", "num"),
         Column("Right side", "num"), Column("Same side again", "num"), Column("Settled", "num")],
        [
            [
                Cell(_title(row)),
                num(row["umpires"], count(row["umpires"])),
                num(row["cut"], percent(row["cut"])),
                num(row["mean_rate"], percent(row["mean_rate"])),
                Cell(interval(row["rate_low"], row["rate_high"]), sort=row["rate_low"]),
                num(row["looks"], number(row["looks"], 1)),
                num(row["calls_per_look"], number(row["calls_per_look"], 1)),
                num(row["dependability"], number(row["dependability"])),
                num(row["dependability_at_cut"], number(row["dependability_at_cut"])),
                num(row["accuracy"], percent(row["accuracy"], 0)),
                num(row["consistency"], percent(row["consistency"], 0)),
                num(row["settled"], percent(row["settled"], 0)),
            ]
            for row in rows
        ],
    )  # fmt: skip
    blocks: list[Block] = [Figure(f"sides-{place}", title, _chart(rows, risk), table), _needed(rows, place)]
    if plan:
        blocks.append(_plan(plan, place))
    return blocks


def _chart(rows: Sequence[Row], risk: float) -> RowChart:
    kinds: tuple[tuple[str, str, Shape, Role], ...] = (
        ("accuracy", "right side of the cut", "circle", "accent"),
        ("consistency", "same side again", "diamond-open", "ink"),
    )
    return RowChart(
        labels=[_title(row) for row in rows],
        x_title="expected share of umpires",
        x_low=0.5,
        x_high=1.0,
        ticks=[(0.5 + i / 10, f"{50 + 10 * i}{THIN}%") for i in range(6)],
        series=[
            Series(
                name,
                shape,
                role,
                [
                    Mark(at, row[key], f"{_title(row)}, {name}: {percent(row[key], 0)}")
                    for at, row in enumerate(rows)
                ],
            )
            for key, name, shape, role in kinds
        ],
        rules=[Rule(1 - risk, f"the policy's risk: {percent(1 - risk, 0)}")],
        values=[percent(row["accuracy"], 0) for row in rows],
    )


def _needed(rows: Sequence[Row], place: int) -> Table:
    return Table(
        f"needed-{place}",
        "Games an umpire needed for the policy's risk (sheets, for the quiz)",
        [
            Column("Standard"),
            Column("Games now", "num"),
            Column("By one evaluator", "num"),
            Column("Shared by two", "num"),
            Column("Shared by four", "num"),
        ],
        [
            [
                Cell(_title(row)),
                num(row["looks"], number(row["looks"], 1)),
                *(num(row[key], NOTHING if row[key] is None else count(row[key])) for key in ("needed_1", "needed_2", "needed_4")),
            ]
            for row in rows
        ],
    )


def _plan(plan: Sequence[Row], place: int) -> Table:
    found = {(row["area"], row["games"], row["evaluators"]): row for row in plan}
    shared = sorted({row["evaluators"] for row in plan if row["evaluators"]})
    pairs = list(dict.fromkeys((row["area"], row["games"]) for row in _by_area(plan)))
    titles = {row["area"]: _title(row) for row in plan}
    return Table(
        f"plan-{place}",
        "What other amounts of watching would bring: right sides of the cut, and readings settled",
        [
            Column("Standard"),
            Column("Games", "num"),
            *(Column(f"Right, {_many(n)}", "num") for n in shared),
            *(Column(f"Settled, {_many(n)}", "num") for n in shared),
        ],
        [
            [
                Cell(titles[area], sort=_ORDER.index(area) if area in _ORDER else len(_ORDER)),
                num(games, count(games)),
                *(
                    num(row[key], percent(row[key], 0)) if (row := _of(found, area, games, n, shared)) else Cell("")
                    for key in ("accuracy", "settled")
                    for n in shared
                ),
            ]
            for area, games in pairs
        ],
    )


def _many(evaluators: int) -> str:
    return plural(evaluators, "evaluator")


def _of(found: Mapping[tuple[str, int, int], Row], area: str, games: int, evaluators: int, shared: Sequence[int]) -> Row | None:
    # A quiz has no evaluator: its figure stands in the first column.
    return found.get((area, games, evaluators)) or (found.get((area, games, 0)) if evaluators == shared[0] else None)
