"""Under a reading: how many more looks, where, and how much the reading hangs on the cuts."""

from __future__ import annotations

from collections.abc import Sequence

from reports.blocks import Block, Cell, Column, Paragraph, Table
from reports.book import Row
from reports.words import AREAS, READINGS, count, marked, num, percent, plural, points

_ORDER = list(AREAS)
_ALL = "all"


def looks_blocks(ready: Row, standards: Sequence[Row]) -> list[Block]:
    """Return what is said of further looks: nothing where the reading needs none."""
    wanted = [
        plural(ready[column], one, many)
        for column, one, many in (
            ("looks_needed", "more call", "more calls"),
            ("games_needed", "more game", "more games"),
            ("evaluators_needed", "more evaluator", "more evaluators"),
            ("quiz_answers_needed", "more quiz answer", "more quiz answers"),
        )
        if ready[column]
    ]
    if ready["verdict"] != "more_looks" or not wanted:
        return []
    areas = [AREAS.get(area, area) for area in (ready["looks_areas"] or "").split(";") if area]
    where = f" What is open: {', '.join(areas)}." if areas else ""
    table = Table(
        "looks-table",
        "More looks that would settle each standard by itself",
        [Column("Area"), Column("Seen", "num"), Column("More looks", "num")],
        [
            [
                Cell(row["area_title"]),
                num(row["calls"], count(row["calls"])),
                num(row["looks_needed"], count(row["looks_needed"])),
            ]
            for row in standards
        ],
    )
    text = (
        f"Looks to a reading, if the rates stay as they are: {', '.join(wanted)}.{where} A rough guide: what is seen "
        "in those looks will move the estimates too."
    )
    return [Paragraph([text]), table]


def sensitivity_blocks(ready: Row, rows: Sequence[Row]) -> list[Block]:
    """Return the reading with each cut one and two points lower and higher."""
    if not rows:
        return []
    shifts = sorted({row["shift"] for row in rows})
    by_area: dict[str, dict[float, Row]] = {}
    for row in rows:
        by_area.setdefault(row["area"], {})[row["shift"]] = row
    areas = sorted(by_area, key=lambda area: (area != _ALL, _ORDER.index(area) if area in _ORDER else len(_ORDER), area))
    changed = sum(row["changes"] for row in rows)
    word = READINGS[ready["verdict"]][0].lower()
    told = (
        f"The reading stays {word} with every cut moved by up to two points."
        if not changed
        else f"Of {len(rows)} cuts moved by one or two points, {changed} would give another reading than {word}."
    )
    table = Table(
        "sensitivity",
        "The reading had the cuts been lower or higher, in points",
        [Column("Cut moved"), *(column for shift in shifts for column in (Column(points(shift)), Column("Chance", "num")))],
        [
            [
                Cell("All cuts together" if area == _ALL else AREAS.get(area, area)),
                *(cell for shift in shifts for cell in _cells(by_area[area].get(shift))),
            ]
            for area in areas
        ],
    )
    return [Paragraph([told]), table]


def _cells(row: Row | None) -> list[Cell]:
    if row is None:
        return [Cell(""), Cell("")]
    return [marked(READINGS[row["verdict"]]), num(row["probability"], percent(row["probability"], 0))]
