"""The called zone's likelihood: values by hand, derivatives against differences, the measurement error."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.special import expit

from pipeline.scoring.called_zone.blocks import Prior
from pipeline.scoring.called_zone.edges import ERROR_SCALE, PAIRS, information_slope, likelihood, log_chance, pack
from pipeline.scoring.called_zone.fit import ZoneModel


def some_pitches(seed=1, size=400, umpires=5, terms=2):
    rng = np.random.default_rng(seed)
    x, z = rng.uniform(-14, 14, size), rng.uniform(12, 48, size)
    d = np.stack([10 + x, 10 - x, 43.5 - z, z - 16.5])
    p = expit(d / 0.9).prod(axis=0)
    return pack(
        d,
        rng.choice([0.0, 0.5, 1.5], size),
        (rng.random(size) < p).astype(float),
        rng.integers(0, umpires, size),
        rng.integers(0, 2, (size, terms)) - 0.4,
        umpires,
    )


def some_values(pitches, seed=2):
    rng = np.random.default_rng(seed)
    groups = pitches.starts.size
    return np.concatenate([rng.normal(0, 1, (4, groups)), rng.normal(0, 0.4, (4, groups))])


def test_on_the_edge_and_far_from_the_others_every_second_pitch_is_a_strike():
    one = pack(np.array([[0.0], [20], [12], [12]]), np.zeros(1), np.ones(1), np.zeros(1, int), np.zeros((1, 0)), 1)
    chance = np.exp(log_chance(one, np.zeros((8, 1))))[0]
    # logistic(0) logistic(20) logistic(12)^2 = .5 * .999999998 * .999993856^2
    assert chance == pytest.approx(0.5 * (1 - 2.061154e-9) * (1 - 6.144175e-6) ** 2, abs=1e-12)


def test_an_offset_widens_and_sharpness_steepens():
    one = pack(np.array([[-2.0], [20], [30], [30]]), np.zeros(1), np.ones(1), np.zeros(1, int), np.zeros((1, 0)), 1)
    at = np.zeros((8, 1))
    at[0] = 1.5
    at[4] = np.log(0.5)
    # (-2 + 1.5) / .5 = -1; logistic(-1) = .26894142
    assert np.exp(log_chance(one, at))[0] == pytest.approx(0.26894142, abs=1e-7)


@given(seed=st.integers(0, 500))
@settings(max_examples=10, deadline=None)
def test_gradient_and_hessian_are_those_of_finite_differences(seed):
    pitches = some_pitches(seed)
    at = some_values(pitches, seed + 1)
    sums = likelihood(pitches, at)
    group = seed % pitches.starts.size
    step = 1e-5
    for a in range(8):
        up, down = at.copy(), at.copy()
        up[a, group] += step
        down[a, group] -= step
        more, less = likelihood(pitches, up), likelihood(pitches, down)
        assert (more.value - less.value) / (2 * step) == pytest.approx(sums.gradient[a, group], rel=1e-5, abs=1e-5)
        for b in range(8):
            slope = (more.gradient[b, group] - less.gradient[b, group]) / (2 * step)
            stated = sums.hessian[PAIRS.index((min(a, b), max(a, b))), group]
            assert slope == pytest.approx(stated, rel=1e-4, abs=1e-4)


def test_the_slope_of_the_information_is_that_of_finite_differences():
    pitches = some_pitches(3)
    at = some_values(pitches)
    rng = np.random.default_rng(5)
    root = rng.normal(0, 0.3, (pitches.starts.size, 8, 8))
    full = root @ root.transpose(0, 2, 1)
    upper = np.array([full[:, a, b] for a, b in PAIRS])
    stated = -information_slope(pitches, at, upper)
    twice = np.array([1.0 if a == b else 2.0 for a, b in PAIRS])
    for a in range(8):
        up, down = at.copy(), at.copy()
        up[a] += 1e-5
        down[a] -= 1e-5
        slope = (
            likelihood(pitches, up).expected - likelihood(pitches, down).expected
        ) / 2e-5
        found = (twice[:, None] * slope * upper).sum(axis=0)
        np.testing.assert_allclose(found, stated[a], rtol=1e-4, atol=1e-4)


def test_the_expected_hessian_is_never_positive():
    pitches = some_pitches(4)
    sums = likelihood(pitches, some_values(pitches))
    full = np.zeros((pitches.starts.size, 8, 8))
    for i, (a, b) in enumerate(PAIRS):
        full[:, a, b] = full[:, b, a] = sums.expected[i]
    assert np.linalg.eigvalsh(full).max() < 1e-8


@pytest.mark.parametrize("error_in_sharpness", [0.25, 0.5, 1.0, 2.0, 3.0, 4.0, 12.0])
def test_the_scaling_for_measurement_error_is_within_a_hundredth(error_in_sharpness):
    # The trapezoid rule on a fine grid stands for the exact mean of the logistic over the normal error.
    nodes = np.linspace(-8.5, 8.5, 6001)
    weights = np.exp(-(nodes**2) / 2)
    distance = np.linspace(-40, 40, 401)
    exact = expit(distance[:, None] + error_in_sharpness * nodes) @ weights / weights.sum()
    scaled = expit(distance / np.sqrt(1 + ERROR_SCALE * error_in_sharpness**2))
    # The largest found is .01094, at an error of three times the sharpness.
    assert np.abs(exact - scaled).max() < 0.011


def test_the_marginal_likelihoods_gradient_is_that_of_finite_differences():
    pitches = some_pitches(7, size=1500, umpires=6)
    model = ZoneModel(pitches, Prior())
    sd = np.array([1.1, 0.8, 0.9, 1.4, 0.3, 0.5, 0.4, 0.35])
    _, gradient, sound = model.laplace(sd)
    assert sound
    for k in range(8):
        moved = [model.laplace(sd * np.exp(np.where(np.arange(8) == k, h, 0)))[0] for h in (1e-3, -1e-3)]
        assert (moved[0] - moved[1]) / 2e-3 == pytest.approx(gradient[k], abs=2e-4)


def test_packing_keeps_every_pitch_with_its_umpire_and_circumstances():
    d = np.arange(24.0).reshape(4, 6)
    umpire = np.array([1, 0, 1, 0, 3, 1])
    terms = np.array([[0.0], [1], [0], [0], [1], [1]])
    packed = pack(d, np.ones(6), np.array([1.0, 0, 1, 0, 1, 0]), umpire, terms, 4)
    assert packed.umpire.tolist() == [0, 0, 1, 1, 3]
    assert packed.counts.tolist() == [1, 1, 2, 1, 1]
    assert packed.inside_in[0].tolist() == [3, 1, 0, 2, 5, 4]
    assert packed.umpire_sums(packed.counts[None, :].astype(float)).tolist() == [[2, 3, 0, 1]]
