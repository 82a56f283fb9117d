"""One fitted model for each area of plate work, with the rates of all umpires drawn from it."""

from __future__ import annotations

import zlib
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.special import expit

from pipeline.scoring.crossed_effects import CrossedFit, fit_crossed_effects
from pipeline.scoring.design import Codes, Floats, sums
from pipeline.scoring.posterior import Draws, draw_posterior

_SERIES_ERROR, _MOST_TERMS = 1e-7, 64
_IN_CACHE = 1 << 15
# Gauss-Hermite nodes and weights of order 3: for a game SD of 0.5 the average is exact to 0.00004, for 1 to
# 0.0013.
_NODES = ((-np.sqrt(3.0), 1 / 6), (0.0, 2 / 3), (np.sqrt(3.0), 1 / 6))


@dataclass(frozen=True)
class AreaModel:
    """The model of one area.

    Attributes
    ----------
    name
        The area, or `overall`.
    umpires, evaluators, situations
        Identifiers in the order of the codes; umpires are all those of the roster.
    cells
        Right and graded counts with the codes `umpire`, `evaluator`, `situation`, `game`.
    calls, right_calls
        Per umpire.
    mix
        Share of each situation in the season: the reference mix.
    adjusted
        Draws of each umpire's adjusted rate, shape (draws, umpires), in single precision.
    """

    name: str
    umpires: tuple[str, ...]
    evaluators: tuple[str, ...]
    situations: tuple[str, ...]
    cells: pd.DataFrame
    fit: CrossedFit
    draws: Draws | None
    calls: Floats
    right_calls: Floats
    mix: Floats
    adjusted: Floats
    evaluator_groups: Codes | None


def averaged_rate(linear: Floats, game_sd: Floats | float) -> Floats:
    """Return the right-call rate at a linear predictor, averaged over games of SD `game_sd`."""
    rate: Floats = sum((weight * expit(linear + node * game_sd) for node, weight in _NODES), np.zeros(()))
    return rate


def fit_area(name: str, cells: pd.DataFrame, umpires: Sequence[str], draws: int, seed: int) -> AreaModel:
    """Fit one area.

    Parameters
    ----------
    cells
        Columns `umpire_id`, `game_id`, `evaluator_id`, `stratum`, `successes`, `trials`. A column that is all
        missing (a quiz has no evaluator and no game) is no factor of the model.
    umpires
        All umpires that are to be judged, seen in this area or not: an unseen one is as likely as not to be
        anybody of the population, and gets the interval that this implies.
    draws, seed
        Number of posterior draws, and the seed (the area's name is mixed in, so that areas are independent).
    """
    place = {umpire: code for code, umpire in enumerate(umpires)}
    cells = cells[cells["umpire_id"].isin(place)].reset_index(drop=True)
    coded = pd.DataFrame({"successes": cells["successes"], "trials": cells["trials"]})
    coded["umpire"] = cells["umpire_id"].map(place).astype("int64")
    situation, situations = pd.factorize(cells["stratum"], sort=True)
    coded["situation"] = situation
    evaluators: Sequence[str] = ()
    factors: dict[str, Codes] = {"umpire": coded["umpire"].to_numpy(), "situation": situation}
    nested = None
    if cells["evaluator_id"].notna().all():
        evaluator, found = pd.factorize(cells["evaluator_id"], sort=True)
        evaluators = found.tolist()
        coded["evaluator"] = factors["evaluator"] = evaluator
    if cells["game_id"].notna().all():
        game = pd.factorize(pd.factorize(cells["game_id"], sort=True)[0] * len(place) + coded["umpire"], sort=True)[0]
        coded["game"] = factors["game"] = game
        nested = {"game": "umpire"}
    y, n = coded["successes"].to_numpy(float), coded["trials"].to_numpy(float)
    linked = ("umpire", "evaluator") if "evaluator" in factors else None
    fit = fit_crossed_effects(y, n, factors, nested, linked, {"umpire": len(place)})
    calls, right = (sums(factors["umpire"], values, len(place)) for values in (n, y))
    mix = sums(factors["situation"], n, len(situations)) / n.sum()
    own_seed = (seed + zlib.crc32(name.encode())) % 2**32
    posterior = draw_posterior(fit, draws, own_seed) if fit.has_estimates else None
    if posterior is not None:
        adjusted = _adjusted(posterior, mix)
    else:
        # Nothing to borrow from others: each umpire's own count with Jeffreys' prior, not adjusted for
        # anything.
        rng = np.random.default_rng(own_seed)
        adjusted = rng.beta(right + 0.5, calls - right + 0.5, size=(draws, len(place)))
    return AreaModel(
        name=name,
        umpires=tuple(umpires),
        evaluators=tuple(evaluators),
        situations=tuple(situations),
        cells=coded,
        fit=fit,
        draws=posterior,
        calls=calls,
        right_calls=right,
        mix=mix,
        adjusted=adjusted.astype(np.float32),
        evaluator_groups=fit.group_of.get("evaluator"),
    )


def game_sd(draws: Draws) -> Floats:
    """Return the drawn SD of games, zero in a model without them."""
    return draws.sd.get("game", np.zeros_like(draws.intercept))


def reference_rate(draws: Draws, mix: Floats, shift: Floats) -> Floats:
    """Return the rate over the reference mix for each draw, with `shift` added to the linear predictor.

    `shift` and the result have shape (draws, n). Within a draw the rate is a smooth curve of the shift. It is
    computed at the nodes of a Chebyshev series and read off that (error under 1e-6): the cost does not grow with
    umpires times situations.
    """
    low, high = float(shift.min()), float(shift.max())
    middle, half = (low + high) / 2, max((high - low) / 2, 1e-6)
    series = _series(draws, mix, middle, half)
    result = np.empty(shift.shape)
    # Rows by the few, so that all steps of the recurrence (Clenshaw's) are done in the cache.
    few = max(1, _IN_CACHE // max(shift.shape[1], 1))
    for start in range(0, shift.shape[0], few):
        part = slice(start, start + few)
        twice = (shift[part] - middle) * (2 / half)
        after, later = np.zeros_like(twice), np.zeros_like(twice)
        for k in range(series.shape[1] - 1, 0, -1):
            later = twice * after - later
            later += series[part, k, None]
            after, later = later, after
        result[part] = series[part, :1] + 0.5 * twice * after - later
    return result


def _series(draws: Draws, mix: Floats, middle: float, half: float) -> Floats:
    """Return by draw the Chebyshev coefficients of the rate as a function of the shift within half of the middle."""
    spread = game_sd(draws)
    nodes = _NODES if spread.any() else ((0.0, 1.0),)
    # The logistic curve has its nearest pole pi away from the real line: the series falls off at this pace.
    pace = np.pi / half + np.hypot(1, np.pi / half)
    size = int(np.clip(np.ceil(np.log(_SERIES_ERROR) / -np.log(pace)) + 1, 4, _MOST_TERMS))
    angle = np.pi * (np.arange(size) + 0.5) / size
    base = draws.intercept[:, None] + draws.effects["situation"]
    value = np.zeros((base.shape[0], size))
    for i, at in enumerate(middle + half * np.cos(angle)):
        for node, weight in nodes:
            value[:, i] += weight * (expit(base + (at + node * spread)[:, None]) @ mix)
    turned = np.cos(np.outer(angle, np.arange(size))) * (2 / size)
    turned[:, 0] /= 2
    found: Floats = value @ turned
    return found


def _adjusted(draws: Draws, mix: Floats) -> Floats:
    return reference_rate(draws, mix, draws.effects["umpire"])
