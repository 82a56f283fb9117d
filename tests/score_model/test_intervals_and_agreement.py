"""Plain proportions and agreement against published figures."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.scoring.agreement.kappa import cohen_kappa
from pipeline.scoring.intervals import wilson


@pytest.mark.parametrize(
    ("successes", "trials", "low", "high"),
    [(81, 263, 0.2553, 0.3662), (15, 148, 0.0624, 0.1605), (0, 20, 0.0, 0.1611), (1, 29, 0.0061, 0.1718)],
)
def test_wilson_intervals_are_those_of_newcombe(successes: int, trials: int, low: float, high: float) -> None:
    # Newcombe 1998, Statistics in Medicine 17, table I, 95 %.
    assert wilson(successes, trials, 0.95) == pytest.approx((low, high), abs=5e-5)


@given(trials=st.integers(1, 5000), share=st.floats(0, 1), coverage=st.floats(0.5, 0.999))
def test_a_wilson_interval_holds_the_rate_and_mirrors_when_right_and_wrong_are_swapped(
    trials: int, share: float, coverage: float
) -> None:
    successes = round(share * trials)
    low, high = wilson(successes, trials, coverage)
    assert 0 <= low <= successes / trials <= high <= 1
    assert low < high
    assert wilson(trials - successes, trials, coverage) == pytest.approx((1 - high, 1 - low), abs=1e-12)


def test_nothing_seen_leaves_everything_possible() -> None:
    assert wilson(0, 0, 0.9) == (0.0, 1.0)


@pytest.mark.parametrize(
    ("table", "kappa"),
    [([[20, 5], [10, 15]], 0.4), ([[45, 15], [25, 15]], 0.130435), ([[25, 35], [5, 35]], 0.259259)],
)
def test_kappa_of_the_worked_examples(table: list[list[int]], kappa: float) -> None:
    # Widely reprinted worked examples of Cohen's kappa; by hand for the first: (.7 - .5) / (1 - .5).
    assert cohen_kappa(table) == pytest.approx(kappa, abs=1e-6)


@pytest.mark.parametrize("table", [[[0, 0], [0, 0]], [[9, 0], [0, 0]]], ids=["nothing", "one category"])
def test_kappa_without_anything_to_agree_on_is_not_a_number(table: list[list[int]]) -> None:
    assert math.isnan(cohen_kappa(table))
