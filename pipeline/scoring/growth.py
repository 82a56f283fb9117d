"""Growth: how far an umpire's adjusted rate changed over his season, and how sure that is.

The change is that of the rate over the season's mix of situations under an average evaluator without drift,
from the day of his first graded game to that of his last. Slopes are shrunk towards a common trend by what
umpires' slopes really differ (`growth_model.py`); how much they differ is itself uncertain, and the interval
counts that in.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtri

from pipeline.scoring.area_models import AreaModel, averaged_rate
from pipeline.scoring.design import Floats, sums
from pipeline.scoring.growth_model import GrowthModel, Solution
from pipeline.scoring.threads import one_blas_thread

FEWEST_GAMES = 4
FEWEST_DAYS = 3
SHORTEST_SPAN_DAYS = 14
"""Under these the dates are said not to be spread enough, and no change is given."""

SPREAD_PRIOR_SD = 0.25
"""Scale of the half-normal prior of the SD of slopes, logits per 30 days: over four months, one logit."""

NOT_SPREAD = "not enough spread of dates"
DAY_ZERO = dt.date(2000, 1, 1)
_MONTH = 30.0
_TRIED_SDS = np.geomspace(0.01, 1.2, 13)
_TRIED_DRIFTS = np.geomspace(0.01, 0.6, 7)
_LEAST_WEIGHT = 0.005
_DRAWS = 2000
_CURVE_POINTS = 400


@dataclass(frozen=True)
class Growth:
    """Change of every umpire, in the order of the model's umpires; NaN where the dates are not spread enough.

    `growth_sd` and `drift_sd` are the SDs of slopes between umpires and evaluators (logits per 30 days) that the
    data make most credible. `days`, `first` and `last` count from the model's own day zero.
    """

    first: Floats
    last: Floats
    games: Floats
    days: Floats
    early: Floats
    late: Floats
    change: Floats
    low: Floats
    high: Floats
    better: Floats
    common: Floats
    spread_enough: Floats
    growth_sd: float
    drift_sd: float


def growth_of(model: AreaModel, days: Floats, coverage: float) -> Growth | None:
    """Return the change of every umpire over his season; None where the area cannot be modelled over time.

    Parameters
    ----------
    days
        For each cell of the model the day of its game, as a number; NaN where unknown.
    coverage
        Of the interval, as 0.9.
    """
    if model.draws is None or "evaluator" not in model.cells or "game" not in model.cells:
        return None
    known = ~np.isnan(days)
    if not known.any():
        return None
    seen = _seen(model, days, known)
    first, last, games, distinct = seen
    enough = (games >= FEWEST_GAMES) & (distinct >= FEWEST_DAYS) & (last - first >= SHORTEST_SPAN_DAYS)
    nothing = np.full(first.size, np.nan)
    if not enough.any():
        blank = dict.fromkeys(("early", "late", "change", "low", "high", "better", "common"), nothing)
        return Growth(*seen, **blank, spread_enough=enough.astype(float), growth_sd=np.nan, drift_sd=np.nan)
    trials = model.cells["trials"].to_numpy(float)
    middle = float(np.average(days[known], weights=trials[known]))
    fitted = GrowthModel(model, (days - middle) / _MONTH, known.astype(float))
    with one_blas_thread():
        points = _points(fitted)
    curve_at, curve = _curve(model, fitted)
    ends = ((first - middle) / _MONTH, (last - middle) / _MONTH)
    found = {name: nothing.copy() for name in ("early", "late", "change", "low", "high", "better")}
    picked = _picked(points.weights)
    z = _normals(_DRAWS)
    tail = (1 - coverage) / 2
    for u in np.flatnonzero(enough):
        level, slope = _draws_of(points, picked, z, int(u))
        early, late = (np.interp(level + slope * end[u], curve_at, curve) for end in ends)
        change = late - early
        found["early"][u], found["late"][u], found["change"][u] = early.mean(), late.mean(), change.mean()
        found["low"][u], found["high"][u] = np.quantile(change, [tail, 1 - tail])
        found["better"][u] = np.mean(change > 0)
    best = points.solutions[int(np.argmax(points.weights))]
    common = np.interp(best.common[0] + best.common[1] * ends[1], curve_at, curve) - np.interp(
        best.common[0] + best.common[1] * ends[0], curve_at, curve
    )
    return Growth(
        *seen,
        **found,
        common=np.where(enough, common, np.nan),
        spread_enough=enough.astype(float),
        growth_sd=float(points.sds[int(np.argmax(points.weights))]),
        drift_sd=points.drift_sd,
    )


def _seen(model: AreaModel, days: Floats, known: Floats) -> tuple[Floats, Floats, Floats, Floats]:
    """Return first and last day, games and distinct days of each umpire; NaN and 0 for one never seen."""
    umpire, game = (model.cells[name].to_numpy() for name in ("umpire", "game"))
    size = len(model.umpires)
    first, last = np.full(size, np.inf), np.full(size, -np.inf)
    np.minimum.at(first, umpire[known], days[known])
    np.maximum.at(last, umpire[known], days[known])
    games = np.unique(np.stack([umpire[known], game[known]]), axis=1)[0].astype(np.int64)
    pairs = np.unique(np.stack([umpire[known], days[known]]), axis=1)[0].astype(np.int64)
    counted = [sums(each, np.ones(each.size), size) for each in (games, pairs)]
    unseen = counted[0] == 0
    first[unseen], last[unseen] = np.nan, np.nan
    return first, last, counted[0], counted[1]


def growth_rows(model: AreaModel, days: Floats, coverage: float) -> list[dict[str, object]]:
    """Return the rows of `scores.growth` for one area: umpires with a graded call in it.

    `days` counts from `DAY_ZERO`. An area that cannot be modelled over time has no rows.
    """
    growth = growth_of(model, days, coverage)
    if growth is None:
        return []
    return [
        {
            "umpire_id": umpire,
            "area": model.name,
            "games": int(growth.games[u]),
            "days": int(growth.days[u]),
            "first_on": _day(growth.first[u]),
            "last_on": _day(growth.last[u]),
            "outcome": "estimated" if growth.spread_enough[u] else NOT_SPREAD,
            "rate_early": float(growth.early[u]),
            "rate_late": float(growth.late[u]),
            "change": float(growth.change[u]),
            "change_low": float(growth.low[u]),
            "change_high": float(growth.high[u]),
            "p_better": float(growth.better[u]),
            "common_change": float(growth.common[u]),
            "growth_sd": growth.growth_sd,
            "drift_sd": growth.drift_sd,
        }
        for u, umpire in enumerate(model.umpires)
        if model.calls[u] > 0
    ]


def _day(number: float) -> str | None:
    return None if np.isnan(number) else (DAY_ZERO + dt.timedelta(days=int(number))).isoformat()


@dataclass(frozen=True)
class _Points:
    sds: Floats
    solutions: list[Solution]
    weights: Floats
    drift_sd: float


def _points(model: GrowthModel) -> _Points:
    """Return the solutions over the tried SDs of slopes with their posterior weights.

    The drift's SD is set to its most credible value: it is averaged over less than the umpires' because it
    only enters through what evaluators' looks share.
    """
    middle = float(_TRIED_SDS[len(_TRIED_SDS) // 2])
    at_work = model.working(model.start)
    for _ in range(3):
        at_work = model.working(model.linear(at_work, model.solve(at_work, middle, middle)))
    drifts = [model.solve(at_work, middle, drift).log_density + _prior(drift) for drift in _TRIED_DRIFTS]
    drift_sd = float(_TRIED_DRIFTS[int(np.argmax(drifts))])
    logs = np.array([model.solve(at_work, sd, drift_sd).log_density + _prior(sd) for sd in _TRIED_SDS])
    weights = np.exp(logs - logs.max())
    weights /= weights.sum()
    kept = np.flatnonzero(weights >= _LEAST_WEIGHT)
    return _Points(
        _TRIED_SDS[kept],
        [model.solve(at_work, float(_TRIED_SDS[k]), drift_sd, shared=True) for k in kept],
        weights[kept] / weights[kept].sum(),
        drift_sd,
    )


def _prior(sd: float) -> float:
    """Return the log density of a half-normal SD, on the log scale on which the points are even."""
    return -0.5 * (sd / SPREAD_PRIOR_SD) ** 2 + float(np.log(sd))


def _picked(weights: Floats) -> list[slice]:
    """Return for each point the draws that are taken from it, in proportion to its weight."""
    ends = np.round(np.cumsum(weights) * _DRAWS).astype(int)
    return [slice(int(start), int(end)) for start, end in zip([0, *ends[:-1]], ends, strict=True)]


def _normals(size: int) -> Floats:
    """Return `size` evenly spread pairs of normal numbers: no chance, and every piece of them is spread alike."""
    steps = np.arange(1, size + 1)[:, None]
    # The R2 sequence: multiples of the powers of the plastic number's inverse.
    plastic = 1.32471795724474602596
    found: Floats = ndtri((0.5 + steps * np.array([1 / plastic, 1 / plastic**2])) % 1.0)
    return found


def _draws_of(points: _Points, picked: list[slice], z: Floats, u: int) -> tuple[Floats, Floats]:
    level, slope = np.empty(_DRAWS), np.empty(_DRAWS)
    for one, part in zip(points.solutions, picked, strict=True):
        v11, v12, v22 = one.own[:, u] + one.shared[:, u]
        root = np.sqrt(v22)
        slope[part] = one.mean[1, u] + root * z[part, 0]
        left = np.sqrt(max(v11 - v12**2 / v22, 0.0))
        level[part] = one.mean[0, u] + v12 / root * z[part, 0] + left * z[part, 1]
    return level, slope


def _curve(model: AreaModel, fitted: GrowthModel) -> tuple[Floats, Floats]:
    """Return the rate over the reference mix as a curve of the level."""
    at = np.linspace(fitted.intercept - 8, fitted.intercept + 8, _CURVE_POINTS)
    effects = model.fit.effects["situation"]
    rate = np.zeros(_CURVE_POINTS)
    for share, effect in zip(model.mix, effects, strict=True):
        rate += share * averaged_rate(at + effect, fitted.sd["game"])
    return at, rate
