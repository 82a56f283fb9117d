"""Draws packed for a page say the same as the draws themselves."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.config import Level, Policy
from pipeline.scoring import page_draws
from pipeline.scoring.page_draws import (
    draws_for_page,
    linked_within,
    order_rows,
    places,
    stops,
    stops_reached,
    trial_tables,
)

POLICY = Policy(
    "S", "A", None, None,
    (Level("low", "Low", {"pitches": 0.9}), Level("high", "High", {"pitches": 0.9137, "quiz": 0.5})),
)  # fmt: skip


def roster(*levels: str) -> list[dict[str, Any]]:
    return [{"umpire_id": f"U{i}", "level": level} for i, level in enumerate(levels)]


def model(rates: list[list[float]], evaluators: list[int] | None = None, situations: list[int] | None = None) -> Any:
    """A fitted area as far as it is asked: draws in rows, one call of each umpire by the evaluator given."""
    drawn = np.array(rates, dtype=np.float32)
    umpires = drawn.shape[1]
    groups = {} if evaluators is None else {"umpire": np.array(evaluators)}
    cells = pd.DataFrame({"umpire": range(umpires), "situation": situations or [0] * umpires})
    return SimpleNamespace(
        adjusted=drawn,
        calls=np.ones(umpires),
        umpires=tuple(f"U{i}" for i in range(umpires)),
        evaluators=() if evaluators is None else ("E1",),
        situations=("s",) * (max(situations or [0]) + 1),
        cells=cells,
        fit=SimpleNamespace(group_of=groups),
    )


def test_the_stops_are_the_half_points_and_the_policys_own_cut() -> None:
    assert len(stops(None)) == 201
    assert stops(None)[:3] == [0.0, 0.005, 0.01]
    assert stops(0.945) == stops(None)
    assert stops(0.9137)[182:185] == [0.91, 0.9137, 0.915]


def test_a_stop_is_the_number_that_a_policy_file_is_read_as() -> None:
    assert set(stops(None)) == {float(f"{k * 5 / 1000:.3f}") for k in range(201)}


@given(
    st.lists(st.floats(0, 1, width=32), min_size=1, max_size=30),
    st.one_of(st.none(), st.floats(0, 1)),
)
def test_a_byte_says_of_every_stop_whether_a_draw_reaches_it(drawn: list[float], cut: float | None) -> None:
    rates, at = np.array(drawn, dtype=np.float32), stops(cut)
    reached = stops_reached(rates, at)
    for place, stop in enumerate(at, 1):
        assert (reached >= place).tolist() == (rates.astype(np.float64) >= stop).tolist()


def test_a_draw_on_the_stop_reaches_it() -> None:
    # 0.5 is exact in single precision; 0.945 is not: the nearest single is 0.94499999..., below the stop.
    assert stops_reached(np.array([0.5], dtype=np.float32), [0.25, 0.5, 0.75]).tolist() == [2]
    assert float(np.float32(0.945)) < 0.945
    assert stops_reached(np.array([0.945], dtype=np.float32), [0.945]).tolist() == [0]


def test_more_stops_than_a_byte_can_count_are_refused() -> None:
    with pytest.raises(ValueError, match="256 stops"):
        stops_reached(np.array([0.5], dtype=np.float32), [0.5] * 256)


@given(st.lists(st.lists(st.sampled_from([0.1, 0.2, 0.3, 0.4]), min_size=4, max_size=4), min_size=1, max_size=20))
def test_places_say_who_is_ahead_and_equal_rates_share_one(drawn: list[list[float]]) -> None:
    rates = np.array(drawn, dtype=np.float32)
    found = places(rates)
    for one in range(4):
        for other in range(4):
            assert ((found[:, one] < found[:, other]) == (rates[:, one] > rates[:, other])).all()


def test_everybody_stands_under_the_level_that_he_is_judged_for_with_draws_that_belong_together() -> None:
    people = roster("low", "high", "elsewhere")
    area = model([[0.90, 0.95, 0.5], [0.92, 0.91, 0.5]])
    stop_rows, rows = trial_tables(POLICY, people, {"pitches": area})
    assert [(row["target_level"], row["area"], row["umpire_id"]) for row in rows] == [
        ("high", "pitches", "U0"), ("high", "pitches", "U1"),
    ]  # fmt: skip
    # The stops up to .90 are 181 (0 is the first); .92 is 184th and the policy's .9137 stands before it. The single
    # next to .90 is a little below it, that next to .92 a little above; .95 a little below; .91 a little above.
    singles = [float(np.float32(x)) for x in (0.90, 0.92, 0.95, 0.91)]
    expected = [sum(stop <= x for stop in stops(0.9137)) for x in singles]
    assert [list(row["reached"]) for row in rows] == [expected[:2], expected[2:]]
    own = [row for row in stop_rows if row["is_policy"]]
    assert [(row["area"], row["cut"]) for row in own] == [("pitches", 0.9137), ("quiz", 0.5)]


def test_a_large_level_keeps_its_first_draws_and_one_too_large_keeps_none(monkeypatch: pytest.MonkeyPatch) -> None:
    assert draws_for_page(4000, 28 * 6) == 4000
    # 6 MiB over 1,667 umpires in six areas: 6,291,456 / 10,002 = 629.02.
    assert draws_for_page(4000, 1667 * 6) == 629
    # 6,291,456 / 31,500 = 199.7: fewer than 200.
    assert draws_for_page(4000, 31_500) == 0
    assert draws_for_page(100, 28 * 6) == 100
    monkeypatch.setattr(page_draws, "MOST_BYTES", 6)
    monkeypatch.setattr(page_draws, "FEWEST_DRAWS", 2)
    people, area = roster("low", "low"), model([[0.1 * k, 0.2] for k in range(5)])
    _, rows = trial_tables(POLICY, people, {"pitches": area})
    assert [(row["draws"], len(row["reached"])) for row in rows] == [(3, 3), (3, 3)]
    monkeypatch.setattr(page_draws, "FEWEST_DRAWS", 4)
    stop_rows, rows = trial_tables(POLICY, people, {"pitches": area})
    assert rows == []
    assert stop_rows


def test_places_are_counted_within_the_level_now_worked_and_groups_are_kept_apart() -> None:
    people = roster("low", "high", "low", "low")
    # U0 and U2 are linked; U3 was seen by others only, and U1 works another level, alone.
    overall = model([[0.9, 0.99, 0.8, 0.7], [0.7, 0.99, 0.8, 0.9]], [0, 0, 0, 1])
    rows = order_rows(people, {"overall": overall})
    assert [(row["umpire_id"], row["linked_group"], list(row["places"])) for row in rows] == [
        ("U0", 1, [1, 3]), ("U2", 1, [2, 2]), ("U3", 2, [3, 1]),
    ]  # fmt: skip
    assert {(row["level"], row["draws"], row["bytes_each"]) for row in rows} == {("low", 2, 1)}


def test_a_level_of_more_than_255_takes_two_bytes_a_place() -> None:
    people = roster(*["low"] * 300)
    rates = np.linspace(0.9, 0.1, 300)[None, :].repeat(3, axis=0)
    rows = order_rows(people, {"overall": model(rates.tolist(), [0] * 300)})
    assert {row["bytes_each"] for row in rows} == {2}
    assert np.frombuffer(rows[299]["places"], dtype="<u2").tolist() == [300, 300, 300]


def test_of_a_level_too_large_for_all_areas_only_the_overall_rate_is_kept(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(page_draws, "MOST_BYTES", 6)
    monkeypatch.setattr(page_draws, "FEWEST_DRAWS", 3)
    area = model([[0.9, 0.8]] * 5, [0, 0])
    rows = order_rows(roster("low", "low"), {"overall": area, "pitches": area})
    assert [(row["area"], row["draws"]) for row in rows] == [("overall", 3), ("overall", 3)]
    monkeypatch.setattr(page_draws, "FEWEST_DRAWS", 4)
    assert order_rows(roster("low", "low"), {"overall": area, "pitches": area}) == []


def test_quiz_takers_are_linked_by_the_items_that_they_answered() -> None:
    # U0 and U2 answered item 0, U1 item 1.
    assert linked_within(model([[0.5, 0.5, 0.5]], None, [0, 1, 0])) == [1, 2, 1]
