"""Joint draws over a set of SDs: exact in the SDs up to the Laplace approximation, at some cost.

The intercept joins the effects as one more level with a very wide prior, so that only the SDs are left as
parameters. Points are spread evenly over their posterior (half-normal prior on each SD), each is weighted by
its posterior density over that of the spread, and at each the effects are drawn from the normal curve at
their mode, moved to where skewness draws their mean. That is the nested Laplace approximation of Rue,
Martino & Chopin 2009 (J. R. Stat. Soc. B 71), with the two-sided scales of Martins, Simpson, Lindgren & Rue
2013 (Comput. Stat. Data Anal. 67).
"""

from __future__ import annotations

import numpy as np
from scipy import linalg
from scipy.special import ndtri

from pipeline.scoring.crossed_effects import HIGHEST_SD, LOWEST_SD, PRIOR_SD, CrossedFit
from pipeline.scoring.design import Codes, Design, Floats, build_design
from pipeline.scoring.draws import Draws, draw_effects
from pipeline.scoring.elimination import ByFactor
from pipeline.scoring.laplace import LaplaceModel, Mode
from pipeline.scoring.parameters import prior_terms
from pipeline.scoring.search import maximise

MOST_POINTS = 64
FEWEST_POINTS = 24
MOST_CELLS_IN_ALL = 1_500_000
"""Cells times points: some seconds of work."""
BORDER_FLOPS_A_CELL = 5_000
"""A matrix of n evaluators and situations costs as much to factor as n^3 over this many cells to pass through."""
LARGE_POINTS = 12
FEW_LEVELS = 50
"""A factor of fewer levels leaves its SD so unsure that one point will not do, however many calls there are: with
8 evaluators one point gave .84 of the SDs of their severities, 12 points .95 (130,000 and 60,000 simulated calls)."""

INTERCEPT = "(intercept)"
INTERCEPT_SD = 30.0
# Where along each axis the height of the posterior sets the scale, in units of its curvature; and how much
# wider than that the points are spread, so that the tails are reached.
_PROBE = 1.6
_WIDER = 1.2
_LONGEST_PROBE = 3.0


def points_for(fit: CrossedFit) -> int:
    """Return how many points a model gets: as many as the bounds of work allow, 0 where one point does as well."""
    work = max(fit.cells, 1) + fit.design.border_size**3 // BORDER_FLOPS_A_CELL
    points = min(MOST_POINTS, MOST_CELLS_IN_ALL // work)
    if points >= FEWEST_POINTS:
        return points
    return LARGE_POINTS if any(1 < levels < FEW_LEVELS for levels in fit.design.present.values()) else 0


def draw_over_points(fit: CrossedFit, draws: int, points: int, rng: np.random.Generator) -> Draws:
    """Return joint draws for a fit that has estimates."""
    posterior = _SdPosterior(fit)
    peak, axes = posterior.peak(fit.sd)
    spread = _Spread(posterior, peak, axes)
    z = ndtri(_even_points(points, peak.size))
    at = spread.place(z)
    heights, effects_at = [], []
    for point in at:
        heights.append(posterior.height(point))
        effects_at.append(posterior.effects())
    weights = np.array(heights) - spread.log_density(z)
    weights = np.exp(weights - weights.max())
    counts = _shares(weights / weights.sum(), draws, rng)
    names = [name for name in fit.design.names if name != fit.design.child]
    intercept, sd = np.empty(draws), {name: np.zeros(draws) for name in fit.design.names}
    effects = {name: np.zeros((draws, fit.design.sizes[name])) for name in names}
    # Rows are dealt out at random: draws of two models are joined by their row.
    rows = rng.permutation(draws)
    done = 0
    for point, count, start in zip(at, counts.tolist(), effects_at, strict=True):
        if count == 0:
            continue
        mine, done = rows[done : done + count], done + count
        mode = posterior.mode(point, start)
        noise, mean = draw_effects(mode.curvature, count, rng), posterior.mean(mode)
        intercept[mine] = INTERCEPT_SD * (mean[INTERCEPT] + noise[INTERCEPT])[:, 0] + posterior.centre
        for name in posterior.free:
            sd[name][mine] = mode.sd[name]
        for name in names:
            if mode.sd[name] > 0:
                effects[name][mine] = mode.sd[name] * (mean[name] + noise[name])
    return Draws(intercept, sd, effects, posterior.sds(peak))


class _SdPosterior:
    """The posterior of the log SDs, all else integrated out by the Laplace approximation."""

    def __init__(self, fit: CrossedFit) -> None:
        d: Design = fit.design
        self.free = [name for name in d.names if d.present[name] > 1]
        self.centre = fit.intercept
        codes = {**d.codes, INTERCEPT: np.zeros(d.trials.size, dtype=np.int64)}
        nested = {d.child: d.block} if d.child is not None else None
        design = build_design(d.successes, d.trials, codes, nested, d.sizes)
        self._model = LaplaceModel(design)
        self._mode: Mode | None = None

    def sds(self, log_sd: Floats) -> dict[str, float]:
        sd = dict.fromkeys(self._model.design.names, 0.0)
        sd.update(zip(self.free, np.exp(log_sd).tolist(), strict=True))
        sd[INTERCEPT] = INTERCEPT_SD
        return sd

    def mode(self, log_sd: Floats, start: ByFactor | None = None) -> Mode:
        """Return the mode of the effects; with `start` (as `effects` gave it) in fewer steps."""
        if start is not None:
            self._model.effects = start
        return self._model.mode(self.centre, self.sds(log_sd))

    def mean(self, mode: Mode) -> ByFactor:
        """Return the mean of the standardised effects at a point, which skewness draws off their mode."""
        shift = self._model.mean_shift(mode)
        return {name: v + shift[name] for name, v in mode.v.items()}

    def effects(self) -> ByFactor:
        """Return the effects at the last mode."""
        return self._model.effects

    def height(self, log_sd: Floats) -> float:
        """Return the log density of the posterior, up to a constant."""
        return self.mode(log_sd).log_likelihood + prior_terms(log_sd, PRIOR_SD)[0]

    def _slope(self, log_sd: Floats) -> tuple[float, Floats]:
        mode = self._mode = self.mode(log_sd)
        density, slope = prior_terms(log_sd, PRIOR_SD)
        by_name = self._model.gradient(mode).log_sd
        return mode.log_likelihood + density, slope + np.array([by_name[name] for name in self.free])

    def _information(self) -> Floats:
        assert self._mode is not None  # noqa: S101  the search evaluates a point first
        rough = self._model.rough_information(self._mode).log_sd
        return np.array([rough[name] + 0.5 for name in self.free])

    def peak(self, start: dict[str, float]) -> tuple[Floats, Floats]:
        """Return the highest point, and as columns the axes of the curvature there, each of one SD."""
        first = np.log([max(start[name], 0.1) for name in self.free])
        low, high = (np.full(first.size, np.log(bound)) for bound in (LOWEST_SD, HIGHEST_SD))
        best = maximise(self._slope, first, self._information, low, high, 1e-6)
        widths = 1 / np.sqrt(np.maximum(self._information(), 1e-6))
        curved = np.empty((first.size, first.size))
        for i, width in enumerate(widths):
            step = np.zeros(first.size)
            step[i] = 0.05 * width
            curved[i] = (best.gradient - self._slope(best.at + step)[1]) / step[i]
        values, vectors = linalg.eigh((curved + curved.T) / 2)
        # The prior alone gives a log SD an information of about 2 at its peak; a smaller figure is noise of
        # the difference.
        return best.at, vectors / np.sqrt(np.maximum(values, 0.3))


class _Spread:
    """A normal density with a scale of its own on each side of each axis."""

    def __init__(self, posterior: _SdPosterior, peak: Floats, axes: Floats) -> None:
        self._peak, self._axes = peak, axes
        top = posterior.height(peak)
        scales = np.empty((2, peak.size))
        for i, axis in enumerate(axes.T):
            for side, sign in enumerate((-1.0, 1.0)):
                fall = top - posterior.height(peak + sign * _PROBE * axis)
                scales[side, i] = min(_PROBE / np.sqrt(2 * max(fall, 1e-3)), _LONGEST_PROBE)
        self._scales = _WIDER * scales

    def place(self, z: Floats) -> Floats:
        """Return the points for standard normal `z`, shape (points, SDs)."""
        stretched = z * np.where(z < 0, self._scales[0], self._scales[1])
        placed: Floats = np.clip(self._peak + stretched @ self._axes.T, np.log(LOWEST_SD), np.log(HIGHEST_SD))
        return placed

    def log_density(self, z: Floats) -> Floats:
        """Return the log density of the points placed for `z`, up to a constant.

        Half of the points lie on each side whatever the scales: the density is divided by the scale.
        """
        found: Floats = -np.sum(z**2 / 2 + np.log(np.where(z < 0, self._scales[0], self._scales[1])), axis=1)
        return found


def _even_points(count: int, dimensions: int) -> Floats:
    """Return points spread evenly over the unit cube: multiples of powers of a root of x^(d+1) = x + 1, modulo 1."""
    root = 2.0
    for _ in range(60):
        root = (1 + root) ** (1 / (dimensions + 1))
    steps = float(root) ** -np.arange(1.0, dimensions + 1.0)
    found: Floats = (0.5 + np.outer(np.arange(1, count + 1), steps)) % 1.0
    return found


def _shares(weights: Floats, draws: int, rng: np.random.Generator) -> Codes:
    """Return how many of the draws each point gets: its share, rounded so that the sum is right (systematic)."""
    ends = np.cumsum(weights) * draws
    ends[-1] = draws
    starts = np.concatenate([[0.0], ends[:-1]])
    offset = rng.random()
    return np.ceil(ends - offset).astype(np.int64) - np.ceil(starts - offset).astype(np.int64)
