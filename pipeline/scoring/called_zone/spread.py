"""The search for the SDs over umpires: where Laplace's approximation of their likelihood is highest."""

from __future__ import annotations

from functools import partial

import numpy as np

from pipeline.scoring.called_zone.blocks import Curvature, Values
from pipeline.scoring.called_zone.edges import OFFSETS, VALUES
from pipeline.scoring.called_zone.model import ZoneModel
from pipeline.scoring.design import Codes, Floats
from pipeline.scoring.search import Maximum, maximise

START_SD = np.array([1.0] * OFFSETS + [0.4] * OFFSETS)
SAMPLE = 500
"""Umpires from whom a large season's search gets its start."""
LARGE = 3 * SAMPLE
"""From so many umpires on a season is large: with fewer the sample saves little."""

_LOWEST_SD, _HIGHEST_SD = 0.02, 8.0
_SD_TOLERANCE = 1e-4
_STRAIGHT_TOLERANCE = 1e-4
_ROUNDS = 12
_SETTLED = 0.02
_WIDTH = 0.05
_LEAST_INFORMATION = 0.5


def search_spread(model: ZoneModel) -> tuple[Maximum, bool]:
    """Return where the logarithms of the SDs end, and whether the model's values are at their mode there.

    The search over Laplace's approximation takes some fifteen evaluations, of which most find the place and the
    scale, and few the last digits. In a large season the former are done on a sample of umpires: the result is the
    same within the tolerance, since the last search is always over everybody.
    """
    start = _from_sample(model) if model.pitches.by_umpire[1].size >= LARGE else None
    log_sd, shape = start or _from_straight(model)
    return _highest(model, log_sd, shape)


def _from_straight(model: ZoneModel) -> tuple[Floats, Floats]:
    """Return a start and the information there from the likelihood straightened at the present values.

    The SDs are found, again and again, for the straightened likelihood, and the values then move on.
    """
    log_sd = np.log(START_SD)
    low, high = _bounds()
    model.climb(START_SD, 3)
    for _ in range(_ROUNDS):
        straight = model.straightened()
        known_before = partial(straight.rough_information, log_sd)
        near = maximise(straight.marginal, log_sd, known_before, low, high, _STRAIGHT_TOLERANCE)
        moved, log_sd = float(np.abs(near.at - log_sd).max()), near.at
        model.climb(np.exp(log_sd), 2)
        if moved < _SETTLED:
            break
    return log_sd, model.straightened().information(log_sd)


def _from_sample(model: ZoneModel) -> tuple[Floats, Floats] | None:
    """Return the SDs of every so-many-th umpire and the information of all that follows, or None if that fails.

    Leaves the model's values at the sample's means.
    """
    known = model.pitches.by_umpire[1]
    who: Codes = known[np.linspace(0, known.size - 1, SAMPLE).astype(np.int64)]
    part = ZoneModel(model.pitches.of(who), model.prior)
    found, arrived = search_spread(part)
    if not arrived or found.code:
        return None
    shape = np.empty((VALUES, VALUES))
    here = part.values
    for k in range(VALUES):
        part.values = here
        _, gradient, sound = part.laplace(np.exp(found.at + np.where(np.arange(VALUES) == k, _WIDTH, 0.0)))
        if not sound:
            return None
        shape[k] = (found.gradient - gradient) / _WIDTH
    size, axes = np.linalg.eigh((shape + shape.T) / 2)
    model.climb(START_SD, 3)
    model.climb(np.exp(found.at), 3)
    model.take_larger_modes(np.exp(found.at))
    return found.at, (axes * np.maximum(size * (known.size / SAMPLE), _LEAST_INFORMATION)) @ axes.T


def _highest(model: ZoneModel, log_sd: Floats, shape: Floats) -> tuple[Maximum, bool]:
    best = -np.inf
    known: tuple[Floats, Values, Curvature] | None = None

    def target(at: Floats) -> tuple[float, Floats]:
        nonlocal best, known
        if known is not None:
            # From the best mode so far: a thin umpire may have two, and a search must not change between them.
            best_at, model.values, bent = known
            model.values = model.values.plus(model.move(bent, at - best_at))
        value, gradient, sound = model.laplace(np.exp(at))
        if not sound or model.curvature is None:
            return -np.inf, gradient
        if value > best:
            best, known = value, (at, model.values, model.curvature)
        return value, gradient

    low, high = _bounds()
    found = maximise(target, log_sd, lambda: shape, low, high, _SD_TOLERANCE)
    arrived = known is not None
    if known is not None and not (np.array_equal(known[0], found.at) and model.values is known[1]):
        model.values = known[1]
        _, _, arrived = model.laplace(np.exp(found.at))
    return found, arrived


def _bounds() -> tuple[Floats, Floats]:
    return np.full(VALUES, np.log(_LOWEST_SD)), np.full(VALUES, np.log(_HIGHEST_SD))
