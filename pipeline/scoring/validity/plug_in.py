"""Rates and verdicts from modes and conditional SDs alone, as a fitted model of a statistics package gives them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from statistics import NormalDist

import numpy as np
from scipy.special import ndtr

from pipeline.scoring.area_models import AreaModel
from pipeline.scoring.design import Floats
from pipeline.scoring.readiness import reading
from pipeline.scoring.validity.designs import COVERAGES, CUTS, bench_policy
from pipeline.scoring.validity.judge import Estimates
from pipeline.scoring.validity.simulate import AREA, AreaTruth

_GRID = np.linspace(-8, 8, 1601)


@dataclass(frozen=True)
class PlainFit:
    """A fit on the logit scale, levels in the order of the engine's model: modes, and SDs given all else."""

    intercept: float
    game_sd: float
    umpires: Floats
    umpire_sds: Floats
    situations: Floats
    log_likelihood: float


def plain_fit(model: AreaModel) -> PlainFit:
    """Return the engine's own fit in this form; it must have estimates."""
    fit = model.fit
    return PlainFit(
        intercept=fit.intercept,
        game_sd=fit.sd["game"],
        umpires=fit.effects["umpire"],
        umpire_sds=fit.effect_sds["umpire"],
        situations=fit.effects["situation"],
        log_likelihood=fit.log_likelihood,
    )


def plug_in(fits: Mapping[str, PlainFit], models: Mapping[str, AreaModel]) -> Estimates:
    """Return what the fits say when everything but the umpire's own effect is taken as known.

    The rate is that at the mode, the interval that at the mode plus and minus a multiple of the conditional SD.
    Areas are independent, and the verdict follows by the engine's own rule.
    """
    ends = {area: _rates(fit, models[area]) for area, fit in fits.items()}
    fit, rate = fits[AREA], ends[AREA]
    low, high = {}, {}
    for coverage in COVERAGES:
        reach = NormalDist().inv_cdf(0.5 + coverage / 2) * fit.umpire_sds
        low[coverage], high[coverage] = (np.interp(fit.umpires + k * reach, _GRID, rate) for k in (-1, 1))
    chance = np.ones(fit.umpires.size)
    for area, one in fits.items():
        at_cut = float(np.interp(CUTS[area], ends[area], _GRID))
        chance *= ndtr((one.umpires - at_cut) / np.maximum(one.umpire_sds, 1e-9))
    level = bench_policy(1, tuple(fits)).levels[0]
    return Estimates(
        rate=np.interp(fit.umpires, _GRID, rate),
        low=low,
        high=high,
        chance=chance,
        verdict=[reading(level, float(p), lacking=False, unseen=False, too_many=False)[0] for p in chance],
        looks=np.zeros(chance.size, dtype=np.int64),
    )


def _rates(fit: PlainFit, model: AreaModel) -> Floats:
    """Return the rate over the season's mix along a grid of umpires' effects."""
    hardness = np.zeros(1 + max(int(name[1:]) for name in model.situations))
    hardness[[int(name[1:]) for name in model.situations]] = fit.situations
    nothing = np.zeros(0)
    known = AreaTruth(fit.intercept, nothing, nothing, hardness, nothing, fit.game_sd)
    return known.rate(_GRID, dict(zip(model.situations, model.mix.tolist(), strict=True)))
