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
from pipeline.scoring.parameters import Packing, Point, information, mode_at
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
    design, model = fit.design, fit.model
    free = [name for name in design.names if design.present[name] > 1]
    packing = Packing.of(model, free)
    start = Point(fit.fixed, fit.own, {name: max(fit.sd[name], 0.1) for name in free})
    peak = search_mode(model, packing, start, PRIOR_SD)
    mode = mode_at(model, packing, peak.at)
    shift = _draw_hyper(model, packing, peak.at, draws, rng)
    intercept = mode.intercept + shift[:, 0]
    log_shift = {
        name: np.clip(shift[:, packing.first_sd + i], -_LONGEST_LOG_SHIFT, _LONGEST_LOG_SHIFT)
        for i, name in enumerate(free)
    }
    sd = {name: np.zeros(draws) for name in design.names}
    for name in free:
        sd[name] = np.minimum(mode.sd[name] * np.exp(log_shift[name]), HIGHEST_DRAWN_SD)
    kept = [name for name in design.names if name != design.child]
    noise = _draw_effects(mode, draws, rng)
    keys: list[str | int] = [0, *free]
    slopes = {key: model.mode_slopes(mode, key) for key in keys}
    diagonal = model.variances(mode).diagonal
    effects: dict[str, Floats] = {}
    for name in kept:
        if mode.sd[name] == 0:
            effects[name] = np.zeros((draws, design.sizes[name]))
            continue
        # One product of (draws, parameters) by (parameters, levels) instead of an outer product for each.
        rows = [slopes[key][name] + (mode.v[name] if key == name else 0) for key in keys]
        moved = np.stack([shift[:, 0], *(log_shift[key] for key in free)], axis=1) @ np.stack(rows)
        # Where little is known of a level its spread is that of its factor and grows with the drawn SD; where
        # much is known it does not: d log(posterior SD) / d log(SD) is the share of the prior variance that
        # is left.
        widened = log_shift[name][:, None] * np.clip(diagonal[name], 0, 1)
        np.exp(widened, out=widened)
        widened *= noise.pop(name)
        widened += moved
        widened += mode.v[name]
        widened *= mode.sd[name]
        effects[name] = widened
    return Draws(intercept, sd, effects, dict(mode.sd))


def _draw_hyper(model: LaplaceModel, packing: Packing, peak: Floats, draws: int, rng: np.random.Generator) -> Floats:
    """Return draws of all parameters as distances from the peak, shape (draws, parameters)."""
    curved = information(model, packing, peak, prior_sd=PRIOR_SD)
    values, vectors = linalg.eigh(curved)
    # The prior alone gives a log SD an information of about 2 at its peak; a smaller figure is noise of the
    # difference.
    values = np.maximum(values, 0.3)
    root = vectors / np.sqrt(values)
    found: Floats = rng.standard_normal((draws, peak.size)) @ root.T
    return found


def _draw_effects(mode: Mode, draws: int, rng: np.random.Generator) -> dict[str, Floats]:
    """Return draws of v minus its mode, given the hyperparameters; the child factor is integrated out."""
    curvature = mode.curvature
    layout = curvature.layout
    border = rng.standard_normal((draws, layout.border_size))
    if layout.border_size:
        border = linalg.solve_triangular(curvature.border_factor.T, border.T, lower=False, check_finite=False).T
    found = {name: border[:, o : o + layout.sizes[name]].copy() for name, o in layout.offsets.items()}
    block = rng.standard_normal((draws, layout.sizes[layout.block]))
    block *= np.sqrt(curvature.block_diagonal)
    for name in layout.border:
        block -= (curvature.block_border[name] @ found[name].T).T
    block /= curvature.block_diagonal
    found[layout.block] = block
    return found
