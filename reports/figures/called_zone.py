"""A called zone as a measured drawing: the rule book's outline, measure marks in inches, and the called edges.

The inside of the batter stands on the left, whatever his side. A called edge stands where every second pitch is a
strike: the nearest part of the ball, not its centre, is held against it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any, Literal, NamedTuple

Row = Mapping[str, Any]

WIDTH = 344.0
"""Width of the drawing in its own units: that of a telephone's page."""

_PER_IN = 8.0
_LEFT, _TOP = 116.0, 92.0
_FOOT = 118.0
_REACH = 48.0
"""Offsets are drawn up to here, in the drawing's units; the number beside it stays true beyond."""

_SIDES = {"inside": "Inside", "outside": "Outside", "high": "High", "low": "Low"}


@dataclass(frozen=True)
class Edge:
    """One called edge: its line (x1, y1, x2, y2) and the band of its interval (x, y, width, height)."""

    name: str
    line: tuple[float, float, float, float]
    band: tuple[float, float, float, float]


class Measure(NamedTuple):
    """What the marks of a drawing's measures follow from: ends of the zone in inches, and how offsets are enlarged."""

    low: float
    high: float
    half_width: float
    enlarged: int


class MeasureMark(NamedTuple):
    """One mark of a measure, with its number where it carries one."""

    x1: float
    y1: float
    x2: float
    y2: float
    is_long: bool
    text: str = ""
    text_x: float = 0.0
    text_y: float = 0.0
    anchor: Literal["start", "middle", "end"] = "middle"


@dataclass(frozen=True)
class Label:
    """One word or number of the drawing."""

    x: float
    y: float
    text: str
    role: Literal["zone-side", "zone-value"]
    anchor: Literal["start", "middle", "end"] = "middle"


@dataclass(frozen=True)
class ZoneDrawing:
    """All parts of the drawing, in its own units; without an edge there is nothing to draw."""

    width: float
    height: float
    book: tuple[float, float, float, float]
    edges: Sequence[Edge]
    measure: Measure
    labels: Sequence[Label]
    words: str

    @property
    def enlarged(self) -> int:
        """How many times as large as the zone its offsets are drawn."""
        return self.measure.enlarged

    @property
    def note(self) -> str:
        """What is drawn to which scale."""
        times = {1: "to the same scale as the zone", 2: "twice as large as the zone"}
        return f"Marks in inches. Offsets are drawn {times.get(self.enlarged, f'{self.enlarged} times as large as the zone')}."


def signed(value: float | None) -> str:
    """Inches with their sign: `+1.2`."""
    if value is None:
        return "–"
    text = f"{value:+.1f}"
    return "0.0" if text in ("+0.0", "-0.0") else text.replace("-", "−")


def zone_drawing(rows: Sequence[Row], zone_low_in: float, zone_high_in: float, half_width_in: float) -> ZoneDrawing:
    """Draw the edges that have a figure. `rows` have `edge`, `offset_in`, `low`, `high` in inches."""
    width, height = 2 * half_width_in * _PER_IN, (zone_high_in - zone_low_in) * _PER_IN
    right, bottom = _LEFT + width, _TOP + height
    given = {row["edge"]: row for row in rows if row["offset_in"] is not None}
    furthest = max((abs(row[end]) for row in given.values() for end in ("low", "high")), default=0.0)
    enlarged = next((times for times in (4, 3, 2) if furthest * times * _PER_IN <= _REACH), 1)

    def drawn(value: float) -> float:
        return min(max(value * enlarged * _PER_IN, -_REACH), _REACH)

    at = {name: drawn(row["offset_in"]) for name, row in given.items()}
    called_left, called_right = _LEFT - at.get("inside", 0), right + at.get("outside", 0)
    called_top, called_bottom = _TOP - at.get("high", 0), bottom + at.get("low", 0)
    edges = []
    for name, row in given.items():
        low, high = drawn(row["low"]), drawn(row["high"])
        if name in ("inside", "outside"):
            x = called_left if name == "inside" else called_right
            start = _LEFT - high if name == "inside" else right + low
            line = (x, called_top, x, called_bottom)
            band = (start, called_top, high - low, called_bottom - called_top)
        else:
            y = called_top if name == "high" else called_bottom
            start = _TOP - high if name == "high" else bottom + low
            line = (called_left, y, called_right, y)
            band = (called_left, start, called_right - called_left, high - low)
        edges.append(Edge(name, _rounded(line), _rounded(band)))
    return ZoneDrawing(
        WIDTH,
        round(bottom + _FOOT, 1),
        _rounded((_LEFT, _TOP, width, height)),
        edges,
        Measure(zone_low_in, zone_high_in, half_width_in, enlarged),
        _labels(given, right, bottom),
        _words(rows),
    )


def _rounded(values: tuple[float, float, float, float]) -> tuple[float, float, float, float]:
    a, b, c, d = (round(value, 1) for value in values)
    return a, b, c, d


@lru_cache(maxsize=64)
def measure_marks(measure: Measure) -> list[MeasureMark]:
    """Return the marks of the measures beside the zone, and of those across its edges."""
    right = _LEFT + 2 * measure.half_width * _PER_IN
    bottom = _TOP + (measure.high - measure.low) * _PER_IN
    beside = _marks(right, bottom, measure.half_width, measure.low, measure.high)
    return beside + _edge_marks(right, bottom, measure.enlarged)


def _marks(right: float, bottom: float, half: float, low: float, high: float) -> list[MeasureMark]:
    """Marks at every inch, longer and numbered at every sixth: along the foot from the plate's middle, beside by height."""
    middle, foot, side = (_LEFT + right) / 2, bottom + 92, right + 58
    marks = []
    reach = int(half)
    for i in range(-reach, reach + 1):
        x, is_long = middle + i * _PER_IN, i % 4 == 0
        text = str(abs(i)) if is_long else ""
        mark = MeasureMark(
            round(x, 1), round(foot - (7 if is_long else 4), 1), round(x, 1), round(foot, 1), is_long, text,
            round(x, 1), round(foot + 13, 1),
        )  # fmt: skip
        marks.append(mark)
    for i in range(int(low) + 1, int(high) + 1):
        y, is_long = bottom - (i - low) * _PER_IN, i % 6 == 0
        text = str(i) if is_long else ""
        mark = MeasureMark(
            round(side - (7 if is_long else 4), 1), round(y, 1), round(side, 1), round(y, 1), is_long, text,
            round(side + 5, 1), round(y + 4, 1), "start",
        )  # fmt: skip
        marks.append(mark)
    return marks


def _edge_marks(right: float, bottom: float, enlarged: int) -> list[MeasureMark]:
    """A short measure across each edge: a mark at every inch beyond and within the rule book's."""
    marks: list[MeasureMark] = []
    middle, half_way = (_LEFT + right) / 2, round((_TOP + bottom) / 2, 1)
    step = enlarged * _PER_IN
    for i in range(-int(24 / step), int(_REACH / step) + 1):
        d, long = i * step, 4.0 if i else 8.0
        marks += [
            MeasureMark(round(x, 1), half_way - long, round(x, 1), half_way + long, not i)
            for x in (_LEFT - d, right + d)
        ]
        marks += [
            MeasureMark(middle - long, round(y, 1), middle + long, round(y, 1), not i) for y in (_TOP - d, bottom + d)
        ]
    return marks


def _labels(given: Mapping[str, Row], right: float, bottom: float) -> list[Label]:
    middle, half_way = (_LEFT + right) / 2, (_TOP + bottom) / 2
    places: dict[str, tuple[float, float]] = {
        "inside": (34, half_way - 4),
        "outside": (right + 24, half_way),
        "high": (middle, _TOP - 72),
        "low": (middle, bottom + 66),
    }
    labels = []
    for name, (x, y) in places.items():
        value = f"{signed(given[name]['offset_in'])} in" if name in given else "too few"
        if name == "inside":
            labels += [Label(x, y, _SIDES[name], "zone-side"), Label(x, y + 16, value, "zone-value")]
        elif name == "outside":
            labels += [Label(right + 24, _TOP - 72, _SIDES[name], "zone-side")]
            labels += [Label(right + 24, _TOP - 56, value, "zone-value")]
        elif name == "high":
            labels += [Label(x - 24, y, _SIDES[name], "zone-side"), Label(x - 24, y + 16, value, "zone-value")]
        else:
            labels += [Label(x - 30, y, _SIDES[name], "zone-side"), Label(x + 24, y, value, "zone-value")]
    return labels


def _words(rows: Sequence[Row]) -> str:
    parts = []
    for row in rows:
        if row["offset_in"] is None:
            parts.append(f"{row['edge']}: too few pitches for a figure")
        else:
            where = "beyond" if row["offset_in"] >= 0 else "within"
            parts.append(
                f"{row['edge']}: {abs(row['offset_in']):.1f} in {where} the rule book's edge, "
                f"interval {signed(row['low'])} to {signed(row['high'])}"
            )
    return "The called edges against the rule book's. " + "; ".join(parts) + "."
