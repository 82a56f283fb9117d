"""Joint draws around one point: for models so large that the SDs are known well, and a further point costs much.

The parameters are drawn from the normal approximation of their posterior (log scale, half-normal prior), and
the effects move and widen with them in first order, about where skewness draws their mean.
"""

from __future__ import annotations

import numpy as np
from scipy import linalg

from pipeline.scoring.crossed_effects import PRIOR_SD, CrossedFit, search_mode
from pipeline.scoring.design import Floats
from pipeline.scoring.draws import HIGHEST_DRAWN_SD, Draws, draw_effects
from pipeline.scoring.laplace import LaplaceModel
from pipeline.scoring.parameters import Packing, Point, information, mode_at, prior_terms

_LONGEST_LOG_SHIFT = 2.5
# Where along each axis the height sets the scale, in units of the curvature, and the widest scale that is believed.
_PROBE, _WIDEST = 1.6, 3.0


def draw_around_mode(fit: CrossedFit, draws: int, rng: np.random.Generator) -> Draws:
    """Return joint draws for a fit that has estimates."""
    design, model = fit.design, fit.model
    free = [name for name in design.names if design.present[name] > 1]
    packing = Packing.of(model, free)
    start = Point(fit.fixed, fit.own, {name: max(fit.sd[name], 0.1) for name in free})
    # The normal curve drawn from is no more exact than this.
    peak = search_mode(model, packing, start, PRIOR_SD, tolerance=1e-6)
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
    skewed = model.mean_shift(mode)
    noise = draw_effects(mode.curvature, draws, rng)
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
        widened += mode.v[name] + skewed[name]
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
    axes = vectors / np.sqrt(values)
    below, above = _scales(model, packing, peak, axes)
    # Of a curve with two scales each side holds its scale's share of the mass.
    is_above = rng.random((draws, peak.size)) * (below + above) < above
    stretched = np.abs(rng.standard_normal((draws, peak.size))) * np.where(is_above, above, -below)
    found: Floats = stretched @ axes.T
    return found


def _scales(model: LaplaceModel, packing: Packing, peak: Floats, axes: Floats) -> tuple[Floats, Floats]:
    """Return how wide the posterior is below and above its peak along each axis, in units of its curvature."""

    def height(at: Floats) -> float:
        return mode_at(model, packing, at).log_likelihood + prior_terms(at[packing.first_sd :], PRIOR_SD)[0]

    top = height(peak)
    scales = np.empty((2, peak.size))
    for i, axis in enumerate(axes.T):
        for side, sign in enumerate((-1.0, 1.0)):
            fall = top - height(peak + sign * _PROBE * axis)
            scales[side, i] = min(_PROBE / np.sqrt(2 * max(fall, 1e-3)), _WIDEST)
    return scales[0], scales[1]
