"""Joint draws of intercept, SDs and effects: what every statement of certainty is counted on.

The effects are drawn from the normal curve at their mode. The SDs and the intercept are not taken as known:
they are drawn from the normal approximation of their own posterior (log scale, half-normal prior), and the
effects move and widen with them. Without that, intervals are too short where evaluators or situations are
few.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import linalg

from pipeline.scoring.crossed_effects import PRIOR_SD, CrossedFit, search_mode
from pipeline.scoring.design import Floats
from pipeline.scoring.laplace import LaplaceModel, Mode
from pipeline.scoring.threads import one_blas_thread

HIGHEST_DRAWN_SD = 4.0
_LONGEST_LOG_SHIFT = 2.5


@dataclass(frozen=True)
class Draws:
    """Joint draws, one row per draw.

    Attributes
    ----------
    intercept
        Shape (draws,).
    sd
        By factor, shape (draws,).
    effects
        By factor, shape (draws, levels), logit scale. The child factor (games) is not drawn: its variation is
        averaged over by its SD.
    centre
        The SDs at the mode of their posterior.
    """

    intercept: Floats
    sd: dict[str, Floats]
    effects: dict[str, Floats]
    centre: dict[str, float]


def draw_posterior(fit: CrossedFit, draws: int, seed: int) -> Draws:
    """Return joint draws for a fit that has estimates.

    Raises
    ------
    ValueError
        The fit has no estimates.
    """
    if not fit.has_estimates:
        raise ValueError(f"a fit that ended as {fit.record.outcome} has no posterior")
    with one_blas_thread():
        return _draw(fit, draws, np.random.default_rng(seed))


def _draw(fit: CrossedFit, draws: int, rng: np.random.Generator) -> Draws:
    design = fit.design
    model = LaplaceModel(design)
    free = [name for name in design.names if np.unique(design.codes[name]).size > 1]
    start = {"intercept": fit.intercept, **{name: max(fit.sd[name], 0.1) for name in free}}
    peak = search_mode(model, start, free, PRIOR_SD)
    mode = _mode_at(model, peak.at, free)
    shift = _draw_hyper(model, mode, peak.at, free, draws, rng)
    intercept = mode.intercept + shift[:, 0]
    log_shift = {name: np.clip(shift[:, 1 + i], -_LONGEST_LOG_SHIFT, _LONGEST_LOG_SHIFT) for i, name in enumerate(free)}
    sd = {name: np.zeros(draws) for name in design.names}
    for name in free:
        sd[name] = np.minimum(mode.sd[name] * np.exp(log_shift[name]), HIGHEST_DRAWN_SD)
    kept = [name for name in design.names if name != design.child]
    noise = _draw_effects(model, mode, draws, rng)
    slopes = {key: model.mode_slopes(mode, key) for key in (None, *free)}
    diagonal = model.variances(mode).diagonal
    effects: dict[str, Floats] = {}
    for name in kept:
        if mode.sd[name] == 0:
            effects[name] = np.zeros((draws, design.sizes[name]))
            continue
        moved = shift[:, :1] * slopes[None][name]
        for key in free:
            slope = slopes[key][name] + (mode.v[name] if key == name else 0)
            moved += log_shift[key][:, None] * slope
        # Where little is known of a level its spread is that of its factor and grows with the drawn SD; where
        # much is known it does not: d log(posterior SD) / d log(SD) is the share of the prior variance that
        # is left.
        widened = noise[name]
        widened *= np.exp(log_shift[name][:, None] * np.clip(diagonal[name], 0, 1))
        widened += moved + mode.v[name]
        widened *= mode.sd[name]
        effects[name] = widened
    return Draws(intercept, sd, effects, dict(mode.sd))


def _mode_at(model: LaplaceModel, point: Floats, free: list[str]) -> Mode:
    sd = dict.fromkeys(model.design.names, 0.0)
    sd.update(zip(free, np.exp(point[1:]).tolist(), strict=True))
    return model.mode(float(point[0]), sd)


def _draw_hyper(
    model: LaplaceModel, mode: Mode, peak: Floats, free: list[str], draws: int, rng: np.random.Generator
) -> Floats:
    """Return draws of (intercept, log SDs) as distances from the peak, shape (draws, 1 + factors)."""

    def gradient(at: Mode) -> Floats:
        by_intercept, slopes = model.gradient(at)
        relative = np.array([at.sd[name] ** 2 for name in free]) / PRIOR_SD**2
        slope: Floats = np.array([by_intercept, *(slopes[name] for name in free)])
        slope[1:] += 1 - relative
        return slope

    rough, by_name = model.rough_information(mode)
    width = 1 / np.sqrt(np.maximum(np.array([rough, *(by_name[name] + 0.5 for name in free)]), 1e-6))
    centre = gradient(mode)
    information = np.empty((peak.size, peak.size))
    for i in range(peak.size):
        step = np.zeros_like(peak)
        step[i] = 0.05 * width[i]
        information[i] = (centre - gradient(_mode_at(model, peak + step, free))) / step[i]
    information = (information + information.T) / 2
    values, vectors = linalg.eigh(information)
    # The prior alone gives a log SD an information of about 2 at its peak; a smaller figure is noise of the
    # difference.
    values = np.maximum(values, 0.3)
    root = vectors / np.sqrt(values)
    found: Floats = rng.standard_normal((draws, peak.size)) @ root.T
    return found


def _draw_effects(model: LaplaceModel, mode: Mode, draws: int, rng: np.random.Generator) -> dict[str, Floats]:
    """Return draws of v minus its mode, given the hyperparameters; the child factor is integrated out."""
    design, curvature = model.design, mode.curvature
    border = rng.standard_normal((draws, design.border_size))
    if design.border_size:
        border = linalg.solve_triangular(curvature.border_factor.T, border.T, lower=False, check_finite=False).T
    found = {name: border[:, o : o + design.sizes[name]].copy() for name, o in design.offsets.items()}
    block = rng.standard_normal((draws, design.sizes[design.block])) * np.sqrt(curvature.block_diagonal)
    for name in design.border:
        block -= (curvature.block_border[name] @ found[name].T).T
    block /= curvature.block_diagonal
    found[design.block] = block
    return found
