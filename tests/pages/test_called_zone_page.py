"""The called zone's drawing and pages: placed by hand, true in words, and silent where there is nothing."""

from __future__ import annotations

import pytest

from reports.figures.called_zone import signed, zone_drawing
from reports.pages.called_zone import effect_sentence, umpire_zone

FIT = {"outcome": "converged", "zone_low_in": 18.0, "zone_high_in": 42.0, "plate_half_width_in": 8.5}


def edge(name, offset=None, low=None, high=None):
    sharp = None if offset is None else 1.0
    return {
        "edge": name, "offset_in": offset, "low": low, "high": high, "sharpness_in": sharp,
        "sharpness_low": sharp, "sharpness_high": sharp, "near_pitches": 9, "pitches": 40,
    }  # fmt: skip


def test_an_offset_of_an_inch_is_drawn_an_inch_beyond_the_outline():
    rows = [edge("inside", 0.0, -1.0, 1.0), edge("outside", 1.0, 0.5, 1.5), edge("high", -0.5, -1, 0), edge("low")]
    drawing = zone_drawing(rows, 18, 42, 8.5)
    left, top, width, height = drawing.book
    # The plate is 17 in and the zone 24 in, at 8 units an inch; offsets fit four times as large, 32 units an inch.
    assert (width, height, drawing.enlarged) == (136, 192, 4)
    by_name = {one.name: one for one in drawing.edges}
    assert set(by_name) == {"inside", "outside", "high"}
    assert by_name["outside"].line[0] == left + width + 32
    assert by_name["outside"].band[:3:2] == (left + width + 16, 32)
    assert by_name["inside"].line[0] == left
    assert by_name["high"].line[1] == top + 16
    assert "low: too few pitches for a figure" in drawing.words
    assert "high: 0.5 in within the rule book's edge" in drawing.words
    assert [label.text for label in drawing.labels].count("too few") == 1


def test_a_far_edge_is_drawn_to_the_zones_own_scale_and_stays_on_the_sheet():
    drawing = zone_drawing([edge("outside", 9.0, 7.0, 11.0)], 18, 42, 8.5)
    assert drawing.enlarged == 1
    assert drawing.edges[0].line[0] <= drawing.width
    assert "+9.0 in" in [label.text for label in drawing.labels]


def test_without_an_edge_nothing_is_drawn():
    assert zone_drawing([edge(name) for name in ("inside", "outside", "high", "low")], 18, 42, 8.5).edges == []
    assert umpire_zone([], FIT, private=False) is None
    assert umpire_zone([edge("low", 1.0, 0.0, 2.0)], None, private=False) is None


@pytest.mark.parametrize(
    ("shift", "low", "high", "says"),
    [
        (-0.8, -1.2, -0.4, "the low strike is lost more often; the edge moves in by 0.8 in (−1.2 to −0.4)."),
        (0.6, 0.1, 1.1, "the low strike is given more often; the edge moves out by 0.6 in (+0.1 to +1.1)."),
    ],
)
def test_a_shift_is_said_in_words_with_size_and_interval(shift, low, high, says):
    row = {"circumstance": "head_low", "edge": "low", "shift_in": shift, "low": low, "high": high}
    assert effect_sentence(row) == f"Head below the top of the zone: {says}"


def test_inches_carry_a_sign_and_nothing_is_a_dash():
    assert [signed(value) for value in (1.24, -0.04, -1.26, None)] == ["+1.2", "0.0", "−1.3", "–"]


def test_a_packet_speaks_to_its_owner():
    rows = [edge("inside", 0.0, -1, 1), edge("outside"), edge("high", 0.1, 0, 1), edge("low", 0.2, 0, 1)]
    own = umpire_zone(rows, FIT, private=True)
    assert own is not None
    assert own.blocks[0].title == "Where you call the edges, from 40 measured taken pitches."
    assert "outside" in own.blocks[1].parts[0]
