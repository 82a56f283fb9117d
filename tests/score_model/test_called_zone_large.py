"""What keeps the called zone's fit linear in umpires: own modes, and a large season's start from a sample."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from scipy.optimize import minimize
from scipy.special import expit

from pipeline.scoring.called_zone import model as zone_model
from pipeline.scoring.called_zone import spread
from pipeline.scoring.called_zone.blocks import Prior, Values
from pipeline.scoring.called_zone.edges import ERROR_SCALE, _row_codes, pack
from pipeline.scoring.called_zone.fit import ZoneOutcome, fit_zone
from pipeline.scoring.called_zone.model import ZoneModel
from pipeline.scoring.called_zone.own_modes import OwnPosterior

MEAN = np.array([0.6, 1.0, -0.3, 0.4, *[np.log(0.9)] * 4])
SPREAD = np.array([0.8] * 4 + [0.3] * 4)
SHIFT = np.array([[0.3, -0.4, 0.0, 0.8]])


def season(seed, umpires, each, spread=SPREAD):
    """Every value is known; places are measured with an error of 0.5 in and taken as they were measured."""
    rng = np.random.default_rng(seed)
    size = umpires * each
    umpire = np.repeat(np.arange(umpires), each)
    terms = (rng.random((size, 1)) < 0.4) - 0.4
    own = MEAN[:, None] + spread[:, None] * rng.standard_normal((8, umpires))
    x, z = rng.normal(0, 9, size), rng.normal(30, 11, size)
    inside = np.stack([9.95 + x, 9.95 - x, 43.5 - z, z - 16.5])
    chance = expit((inside + own[:4, umpire] + SHIFT.T @ terms.T) / np.exp(own[4:, umpire])).prod(axis=0)
    strike = (rng.random(size) < chance).astype(float)
    return pack(inside + rng.normal(0, 0.5, inside.shape), np.full(size, 0.5), strike, umpire, terms, umpires)


def log_posterior(posterior, umpire, values):
    """The same by another road: the formula written out for one umpire, with sums over his pitches."""
    p = posterior.pitches
    rows = np.repeat(p.umpire, p.counts) == umpire
    terms = np.repeat(p.terms, p.counts, axis=0)[rows]
    scale = np.sqrt(np.exp(2 * values[4:, None]) + ERROR_SCALE * p.error_sd_in[rows] ** 2)
    moved = p.inside_in[:, rows] + values[:4, None] + posterior.shift.T @ terms.T
    chance = expit(moved / scale).prod(axis=0)
    said = np.log(np.where(p.strike[rows] > 0, chance, 1 - chance)).sum()
    return said - 0.5 * (((values - posterior.mean) / posterior.sd) ** 2).sum()


def test_an_umpires_own_mode_is_the_one_that_a_search_over_the_formula_finds():
    posterior = OwnPosterior(season(4, umpires=5, each=250), MEAN, SHIFT, SPREAD)
    start = np.repeat(MEAN[:, None], 5, axis=1)
    found = posterior.climbed(start, 1e-10)
    value = posterior.value(found)
    for u in range(5):
        best = minimize(lambda values, u=u: -log_posterior(posterior, u, values), MEAN, options={"gtol": 1e-6})
        np.testing.assert_allclose(found[:, u], best.x, atol=1e-4)
        assert value[u] == pytest.approx(-best.fun, abs=1e-6)


def test_umpires_with_next_to_no_pitches_arrive_too_and_each_by_himself():
    pitches = season(5, umpires=60, each=12)
    posterior = OwnPosterior(pitches, MEAN, SHIFT, 3 * SPREAD)
    start = np.repeat(MEAN[:, None], 60, axis=1)
    found = posterior.climbed(start, 1e-10)
    assert (posterior.value(found) > posterior.value(start)).all()
    # At a mode no value is worth moving, either way.
    for k in range(8):
        for width in (-1e-3, 1e-3):
            moved = found.copy()
            moved[k] += width
            assert (posterior.value(moved) < posterior.value(found)).all()
    # Nobody's mode hangs on who else is there.
    some = np.array([3, 17, 40])
    alone = OwnPosterior(pitches.of(some), MEAN, SHIFT, 3 * SPREAD).climbed(start[:, some], 1e-10)
    np.testing.assert_allclose(alone, found[:, some], atol=1e-6)


def test_of_two_modes_an_umpire_gets_the_larger():
    # Where the pitches thrown past two edges are few, either may be the blurred one. A start with the sharpness of
    # opposite edges exchanged leaves some umpires at the smaller mode.
    sd = np.array([0.2] * 4 + [0.7] * 4)
    model = ZoneModel(season(6, umpires=200, each=60, spread=sd), Prior())
    model.climb(sd)
    model.values = Values(model.values.own[[0, 1, 2, 3, 6, 7, 4, 5]], model.values.border)
    model.climb(sd)
    who = model.pitches.by_umpire[1]
    border = model.values.border
    posterior = OwnPosterior(model.pitches.of(who), border[:8], border[8:].reshape(1, 4), sd)
    before = model.values.own
    model.take_larger_modes(sd)
    gained = posterior.volume(model.values.own) - posterior.volume(before)
    # Arriving moves a mode by next to nothing, and its volume with it.
    assert gained.min() > -1e-3
    assert gained.max() > 0.1


def test_a_few_umpires_do_not_hold_up_all_others(monkeypatch):
    # In this thin season some umpires gain a little at each of dozens of steps: 138 steps in all, 49 as it is now.
    pitches, found, steps = season(4, umpires=200, each=30), [], []
    curvature = ZoneModel._curvature
    monkeypatch.setattr(ZoneModel, "_curvature", lambda self, sd: (steps.append(1), curvature(self, sd))[1])
    for share in (np.inf, zone_model._SLOW):
        monkeypatch.setattr(zone_model, "_SLOW", share)
        steps.clear()
        fit = fit_zone(pitches)
        assert fit.outcome is ZoneOutcome.CONVERGED
        found.append((len(steps), fit))
    (slow, one), (fast, other) = found
    assert fast < 0.5 * slow
    assert other.laplace == pytest.approx(one.laplace, abs=0.01)
    np.testing.assert_allclose(other.spread, one.spread, rtol=0.02)


def test_thin_seasons_that_were_given_up_are_fitted():
    # Thirty umpires with twenty pitches each: with everybody's steps tied to the slowest one's all five were given up.
    fits = [fit_zone(season(seed, umpires=30, each=20)) for seed in (0, 1, 3, 5, 6)]
    assert [fit.outcome for fit in fits] == [ZoneOutcome.CONVERGED] * 5


def test_a_large_season_set_out_from_a_sample_ends_where_the_long_way_ends(monkeypatch):
    pitches = season(8, umpires=240, each=120)
    long = fit_zone(pitches)
    monkeypatch.setattr(spread, "SAMPLE", 60)
    monkeypatch.setattr(spread, "LARGE", 180)
    evaluated = []
    laplace = ZoneModel.laplace
    monkeypatch.setattr(
        ZoneModel, "laplace", lambda self, sd: (evaluated.append(self.pitches.umpires), laplace(self, sd))[1]
    )
    short = fit_zone(pitches)
    assert short.outcome is long.outcome is ZoneOutcome.CONVERGED
    assert {60, 240} == set(evaluated)
    # The same maximum, or a higher one where an umpire has two modes.
    assert short.laplace > long.laplace - 1e-3
    np.testing.assert_allclose(short.spread, long.spread, rtol=0.02)
    np.testing.assert_allclose(short.mean, long.mean, atol=0.1 * long.mean_sd.max())


def test_a_sample_that_gives_no_start_leaves_the_long_way(monkeypatch):
    pitches = season(9, umpires=40, each=60)
    long = fit_zone(pitches)
    monkeypatch.setattr(spread, "_from_sample", lambda model: None)
    monkeypatch.setattr(spread, "LARGE", 30)
    assert fit_zone(pitches).laplace == long.laplace


def test_pitches_of_some_umpires_are_theirs_alone():
    pitches = season(10, umpires=6, each=7)
    some = pitches.of(np.array([1, 4]))
    rows = np.isin(np.repeat(pitches.umpire, pitches.counts), [1, 4])
    assert some.umpires == 2
    assert some.counts.sum() == 14
    np.testing.assert_array_equal(some.inside_in, pitches.inside_in[:, rows])
    np.testing.assert_array_equal(some.strike, pitches.strike[rows])
    np.testing.assert_array_equal(np.repeat(some.umpire, some.counts), np.repeat([0, 1], 7))


@given(arrays(np.float64, st.tuples(st.integers(0, 12), st.integers(0, 4)), elements=st.sampled_from([-0.4, 0.0, 0.6])))
def test_rows_are_numbered_as_a_comparison_of_whole_rows_numbers_them(terms):
    rows = sorted({tuple(row) for row in terms.tolist()})
    assert _row_codes(terms).tolist() == [rows.index(tuple(row)) for row in terms.tolist()]
