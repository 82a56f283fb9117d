"""Tables of the trial on known truth: cells that carry their Monte Carlo error."""

from __future__ import annotations

from collections.abc import Sequence

from reports.blocks import Block, Cell, Column, Table
from reports.pages.validity_words import METHODS, said_points, said_share
from reports.words import NOTHING, count, number, percent
from schemas.known_truth import Figure as Told
from schemas.known_truth import KnownTruth

_EVERY = (
    ("90 % interval", "covered_90"),
    ("50 % interval", "covered_50"),
    ("Width of 90 %", "width_90"),
    ("Root mean square", "rmse"),
    ("Mean size of errors", "error"),
    ("Bias", "bias"),
    ("Rank correlation", "rank_correlation"),
    ("Ready", "ready"),
    ("More looks", "more_looks"),
    ("Not yet", "not_yet"),
    ("Ready, but below", "ready_wrong"),
    ("Below by", "ready_short"),
    ("Not yet, but able", "not_yet_wrong"),
    ("Able called ready", "able_ready"),
)


def every_block(result: KnownTruth) -> list[Block]:
    """Return the table of every figure."""
    columns = [Column("Kind of season"), Column("Umpires", "num"), Column("Judged by"), Column("Seasons", "num")]
    rows = [
        [
            Cell(result.designs[design]["title"]),
            num_cell(float(result.sizes[size]["umpires"]), count(result.sizes[size]["umpires"])),
            Cell(METHODS[method][0]),
            num_cell(float(group.seasons), count(group.seasons)),
            *(figure_cell(name, group.get(name)) for _, name in _EVERY),
        ]
        for (design, size, method), group in result.groups.items()
        if method in ("platework", "percentage")
    ]
    columns += [Column(title, "num") for title, _ in _EVERY]
    return [Table("every-table", "Every kind, size and way of judging; errors and widths in points", columns, rows)]


def by_design(
    result: KnownTruth, table_id: str, caption: str, columns: Sequence[tuple[str, str, str, str]]
) -> Table:
    """Return a table with one row a kind of season; columns are title, figure, size and method."""
    rows = [
        [Cell(design["title"]), *(figure_cell(name, result.figure(name, key, size, method)) for _, name, size, method in columns)]
        for key, design in result.designs.items()
    ]
    return Table(table_id, caption, [Column("Kind of season"), *(Column(title, "num") for title, *_ in columns)], rows)


_IN_POINTS = ("rmse", "error", "width_90", "ready_short")


def figure_cell(name: str, told: Told | None) -> Cell:
    """A figure by its name: in points, as a share, or as a number."""
    if name.startswith("bias"):
        return points_cell(told, signed=True)
    if name in ("rank_correlation", "looks_median"):
        return plain_cell(told, 0 if name == "looks_median" else 2)
    return points_cell(told) if name in _IN_POINTS else share_cell(told, short=name in ("ready", "not_yet", "more_looks", "able"))


def num_cell(value: float, text: str) -> Cell:
    """A cell that shows `text` and is ordered by `value`."""
    return Cell(text, sort=value)


def share_cell(told: Told | None, *, short: bool = False) -> Cell:
    """A share with the reach of its Monte Carlo range; in short without."""
    if told is None:
        return Cell(NOTHING)
    return Cell(percent(told.value, 0) if short else said_share(told), sort=told.value)


def points_cell(told: Told | None, *, signed: bool = False) -> Cell:
    """Points with the reach of their Monte Carlo range."""
    return Cell(NOTHING) if told is None else Cell(said_points(told, signed=signed), sort=told.value)


def plain_cell(told: Told | None, digits: int = 2) -> Cell:
    """A plain number with the reach of its Monte Carlo range."""
    if told is None:
        return Cell(NOTHING)
    reach = "" if told.reach is None else f" ± {number(told.reach, digits)}"
    return Cell(f"{number(told.value, digits)}{reach}", sort=told.value)
