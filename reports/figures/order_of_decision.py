"""The order of decision as a drawing: boxes in layers by dependency, and one line for each dependency.

Everything is placed from the declarations. A question stands in the layer after the last of those it depends on;
layers run from top to bottom, so that the drawing reads on a telephone and in print. The lines that leave one
question share a lane to the left of the boxes, and lanes whose spans do not meet share a place.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

Row = Mapping[str, Any]

WIDTH = 352.0
"""Width of the drawing in its own units: that of a telephone's page."""

PAPER_WIDTH = 600.0
"""Width of the drawing for paper, which is lower, so that it fits one sheet at a size that can be read."""

_LANE = 11.0
_PORT = 7.0
_PAD = 8.0
_GAP = 8.0
_HEAD = 12.0
_TEXT_HEIGHT = 14.5
_BEND = 4.0
_TITLE_CHAR = 7.9
_SMALL_CHAR = 6.9
"""Widths of a letter at 13 and 12 units, on the wide side for the fonts of the pages."""

_MOST_ANSWERS = 70
"""Answers of more letters than this are counted, and listed beside the drawing."""


@dataclass(frozen=True)
class Box:
    """One question: its name, corner, size, and lines of text with the height of each line's foot.

    The count of rules stands at `rules_x`, at the right end of the last line of answers where both fit in it.
    """

    decision: str
    x: float
    y: float
    width: float
    height: float
    question: Sequence[tuple[float, str]]
    answers: Sequence[tuple[float, str]]
    rules: tuple[float, str]
    rules_x: float
    rules_at_end: bool


@dataclass(frozen=True)
class Line:
    """One dependency: `source` feeds `target`; `path` and `head` are the SVG paths of the line and its head."""

    source: str
    target: str
    path: str
    head: str


@dataclass(frozen=True)
class Layer:
    """A layer's number, from 1, and the height of its heading's foot."""

    number: int
    x: float
    y: float


@dataclass(frozen=True)
class OrderDrawing:
    """All parts of the drawing, in its own units."""

    width: float
    height: float
    layers: Sequence[Layer]
    boxes: Sequence[Box]
    lines: Sequence[Line]


def layers_of(decisions: Sequence[Row], feeds: Sequence[Row]) -> dict[str, int]:
    """Return the layer of each decision, from 0: one more than the greatest of those that feed it.

    `decisions` are in the order in which they are taken; only an earlier one can feed a later one.
    """
    found: dict[str, int] = {}
    for row in decisions:
        before = [found[one["decision"]] for one in feeds if one["feeds"] == row["decision"] and one["decision"] in found]
        found[row["decision"]] = max(before, default=-1) + 1
    return found


def wrapped(text: str, letters: int) -> list[str]:
    """Return a text in lines of at most so many letters; a longer word is cut."""
    lines: list[str] = []
    for word in text.split():
        while len(word) > letters:
            lines.append(word[:letters])
            word = word[letters:]
        if lines and len(lines[-1]) + 1 + len(word) <= letters:
            lines[-1] += f" {word}"
        elif word:
            lines.append(word)
    return lines or [""]


def lanes_of(spans: Mapping[str, tuple[int, int]]) -> dict[str, int]:
    """Return a lane for each span of places, the shortest nearest the boxes; spans that overlap have different ones.

    A span may begin in the box in which another ends.
    """
    taken: list[list[tuple[int, int]]] = []
    found: dict[str, int] = {}
    for name, (first, last) in sorted(spans.items(), key=lambda item: (item[1][1] - item[1][0], item[1], item[0])):
        free = (lane for lane, others in enumerate(taken) if all(last <= a or b <= first for a, b in others))
        lane = next(free, len(taken))
        if lane == len(taken):
            taken.append([])
        taken[lane].append((first, last))
        found[name] = lane
    return found


def order_drawing(
    decisions: Sequence[Row], feeds: Sequence[Row], rules_text: Mapping[str, str], width: float = WIDTH
) -> OrderDrawing:
    """Place the boxes and lines; `rules_text` says how many rules answer each question, `width` is the least width."""
    layer_of = layers_of(decisions, feeds)
    ordered = sorted(decisions, key=lambda row: layer_of[row["decision"]])  # keeps the order within a layer
    place = {row["decision"]: number for number, row in enumerate(ordered)}
    drawn = [one for one in feeds if place.get(one["decision"], 0) < place.get(one["feeds"], 0)]
    spans = {
        name: (place[name], max(place[one["feeds"]] for one in drawn if one["decision"] == name))
        for name in {one["decision"] for one in drawn}
    }
    lanes = lanes_of(spans)
    left = _LANE * (max(lanes.values(), default=-1) + 1) + 8
    width = max(width, left + 200)
    layers: list[Layer] = []
    boxes: dict[str, Box] = {}
    y = 4.0  # so that the first heading stands within the drawing
    for row in ordered:
        number = layer_of[row["decision"]] + 1
        if not layers or layers[-1].number != number:
            y += _HEAD
            layers.append(Layer(number, left, y - 5))
        arriving = sum(one["feeds"] == row["decision"] for one in drawn)
        box = _box(row, left, y, width - left - 1, arriving, rules_text.get(row["decision"], ""))
        boxes[row["decision"]] = box
        y += box.height + _GAP
    ports: dict[str, int] = dict.fromkeys(boxes, 0)
    lines = []
    for one in sorted(drawn, key=lambda one: (place[one["feeds"]], -lanes[one["decision"]], place[one["decision"]])):
        port = ports[one["feeds"]]
        ports[one["feeds"]] += 1
        lines.append(_line(boxes[one["decision"]], boxes[one["feeds"]], left - 8 - _LANE * lanes[one["decision"]], port))
    return OrderDrawing(width, y - _GAP + 1 if boxes else 0.0, layers, list(boxes.values()), lines)


def _box(row: Row, x: float, y: float, width: float, arriving: int, rules: str) -> Box:
    inner = width - 2 * _PAD
    question = wrapped(f"{row['place']}. {row['question']}", int(inner / _TITLE_CHAR))
    answers = str(row["outcomes"] or "")
    if len(answers) > _MOST_ANSWERS:
        answers = f"{answers.count('; ') + 1} answers"
    letters = int(inner / _SMALL_CHAR)
    small = wrapped(answers.replace("; ", " / "), letters)
    at_end = len(small[-1]) + len(rules) + 3 <= letters
    feet = [y + _PAD + 11 + _TEXT_HEIGHT * number for number in range(len(question) + len(small) + (not at_end))]
    text = _PAD + _TEXT_HEIGHT * len(feet) + 4
    height = max(text, _PAD + _PORT * (arriving + 1) + 4)
    parted = len(question), len(question) + len(small)
    return Box(
        row["decision"],
        x,
        y,
        width,
        height,
        list(zip(feet[: parted[0]], question, strict=True)),
        list(zip(feet[parted[0] : parted[1]], small, strict=True)),
        (feet[-1], rules),
        x + width - _PAD if at_end else x + _PAD,
        at_end,
    )


def _line(source: Box, target: Box, lane: float, port: int) -> Line:
    out = source.y + source.height - 8
    into = target.y + _PAD + _PORT * port
    edge = source.x
    path = (
        f"M{edge:g} {out:g}H{lane + _BEND:g}Q{lane:g} {out:g} {lane:g} {out + _BEND:g}"
        f"V{into - _BEND:g}Q{lane:g} {into:g} {lane + _BEND:g} {into:g}H{edge - 5:g}"
    )
    head = f"M{edge:g} {into:g}l-6 -3v6z"
    return Line(source.decision, target.decision, path, head)
