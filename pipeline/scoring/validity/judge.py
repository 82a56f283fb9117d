"""A simulated season judged: by the scoring step's own functions, and by the plain percentage beside them."""

from __future__ import annotations

import bisect
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from pipeline.config import Policy
from pipeline.scoring.area_models import AreaModel, fit_area
from pipeline.scoring.design import Codes, Floats
from pipeline.scoring.evaluators import group_numbers, severities
from pipeline.scoring.intervals import wilson
from pipeline.scoring.looks import MOST_LOOKS, STEP_LOOKS
from pipeline.scoring.rankings import rank_draws, ranking_rows
from pipeline.scoring.rates import interval
from pipeline.scoring.readiness import readiness_tables
from pipeline.scoring.tables import Row
from pipeline.scoring.threads import one_blas_thread
from pipeline.scoring.validity.designs import COVERAGES, CUTS, LEVEL, RISK, bench_policy
from pipeline.scoring.validity.simulate import AREA, AreaTruth, Season

READY, NOT_YET, MORE = "ready", "not_yet", "more_looks"


@dataclass(frozen=True)
class Estimates:
    """What one method says of each umpire, rates from 0 to 1.

    Attributes
    ----------
    low, high
        Ends of the intervals, by coverage; empty for a method that has none.
    chance
        Of meeting every standard; None for a method that gives none.
    verdict
        `ready`, `not_yet` or `more_looks`.
    looks
        Further calls that are told to settle the reading; 0 where nothing is told.
    """

    rate: Floats
    low: Mapping[float, Floats]
    high: Mapping[float, Floats]
    chance: Floats | None
    verdict: Sequence[str]
    looks: Codes


@dataclass(frozen=True)
class Severity:
    """Evaluators: what is truly so against the season's average evaluator, and the intervals, in rate units."""

    truth: Floats
    low: Mapping[float, Floats]
    high: Mapping[float, Floats]


@dataclass(frozen=True)
class Ranks:
    """By umpire: the true place within those of the linked group, and the ends of the 90 % interval of it."""

    truth: Codes
    low: Codes
    high: Codes


@dataclass(frozen=True)
class Judged:
    """One season judged.

    Attributes
    ----------
    truth
        True adjusted rate of each umpire in the first area.
    able
        Whether an umpire truly meets every standard.
    by_method
        `platework`, `percentage` and `wilson`.
    outcome
        How the fit of the first area ended.
    linked
        Group of each umpire as the engine found it.
    """

    truth: Floats
    able: Codes
    by_method: Mapping[str, Estimates]
    severity: Severity | None
    ranks: Ranks
    outcome: str
    linked: Codes
    models: Mapping[str, AreaModel]


def judge(season: Season, draws: int, seed: int) -> Judged:
    """Fit and judge a season as the scoring step does.

    Parameters
    ----------
    draws, seed
        Posterior draws, and their seed.
    """
    policy = bench_policy(draws, tuple(season.truth))
    with one_blas_thread():
        models = {area: fit_area(area, season.cells(area), season.umpires, draws, seed) for area in season.truth}
    model = models[AREA]
    rates = {area: true_rates(season.truth[area], models[area]) for area in models}
    groups = group_numbers(model)
    roster = _roster(models)
    said: list[Row] = list(readiness_tables(policy, roster, models, {}, groups).readiness)
    return Judged(
        truth=rates[AREA],
        able=np.logical_and.reduce([rates[area] >= CUTS[area] for area in models]).astype(np.int64),
        by_method={
            "platework": _engine(model, said),
            "percentage": _percentage(models),
            "wilson": _wilson(models),
        },
        severity=_severity(season.truth[AREA], model),
        ranks=_ranks(model, roster, groups, policy, rates[AREA]),
        outcome=str(model.fit.record.outcome),
        linked=np.array([group or 0 for group in groups]),
        models=models,
    )


def true_rates(truth: AreaTruth, model: AreaModel) -> Floats:
    """Return what the adjusted rates estimate: the average evaluator of the population, the season's mix."""
    return truth.rate(truth.skill, dict(zip(model.situations, model.mix.tolist(), strict=True)))


def _roster(models: Mapping[str, AreaModel]) -> list[Row]:
    cells = models[AREA].cells.groupby("umpire")
    games, evaluators = cells["game"].nunique(), cells["evaluator"].nunique()
    calls = np.sum([model.calls for model in models.values()], axis=0)
    return [
        {
            "umpire_id": name,
            "name": name,
            "level": LEVEL,
            "games": int(games.loc[i]),
            "calls": int(calls[i]),
            "evaluators": int(evaluators.loc[i]),
        }
        for i, name in enumerate(models[AREA].umpires)
    ]


def _engine(model: AreaModel, said: Sequence[Row]) -> Estimates:
    ends = {coverage: interval(model.adjusted, coverage) for coverage in COVERAGES}
    return Estimates(
        rate=model.adjusted.mean(axis=0, dtype=np.float64),
        low={coverage: low for coverage, (low, _) in ends.items()},
        high={coverage: high for coverage, (_, high) in ends.items()},
        chance=np.array([row["probability"] for row in said]),
        verdict=[row["verdict"] for row in said],
        looks=np.array([row["looks_needed"] or 0 for row in said], dtype=np.int64),
    )


def _percentage(models: Mapping[str, AreaModel]) -> Estimates:
    """Return the plain percentage with its Wilson interval; whoever is at the cut is ready, all others not yet."""
    raw = {area: model.right_calls / model.calls for area, model in models.items()}
    ends = {coverage: _wilson_ends(models[AREA], coverage) for coverage in COVERAGES}
    met = np.logical_and.reduce([raw[area] >= CUTS[area] for area in models])
    return Estimates(
        rate=raw[AREA],
        low={coverage: low for coverage, (low, _) in ends.items()},
        high={coverage: high for coverage, (_, high) in ends.items()},
        chance=None,
        verdict=[READY if one else NOT_YET for one in met],
        looks=np.zeros(met.size, dtype=np.int64),
    )


def _wilson(models: Mapping[str, AreaModel]) -> Estimates:
    """Return the percentage judged by its interval: ready when the lower end is at the cut, at the same risk."""
    plain = _percentage(models)
    ends = {area: _wilson_ends(model, 1 - 2 * RISK) for area, model in models.items()}
    ready = np.logical_and.reduce([low >= CUTS[area] for area, (low, _) in ends.items()])
    short = np.logical_or.reduce([high < CUTS[area] for area, (_, high) in ends.items()])
    verdict = [READY if up else NOT_YET if down else MORE for up, down in zip(ready, short, strict=True)]
    looks = _wilson_looks(models[AREA], verdict) if len(models) == 1 else np.zeros(ready.size, dtype=np.int64)
    return Estimates(plain.rate, plain.low, plain.high, None, verdict, looks)


def _wilson_looks(model: AreaModel, verdict: Sequence[str]) -> Codes:
    """Return the calls, at an unchanged percentage, that bring the interval clear of the cut; 0 beyond the most."""
    steps = range(STEP_LOOKS, MOST_LOOKS + 1, STEP_LOOKS)
    found = np.zeros(len(verdict), dtype=np.int64)
    for i in np.flatnonzero(np.array(verdict) == MORE):
        calls, raw = float(model.calls[i]), float(model.right_calls[i] / model.calls[i])

        def clears(more: int, calls: float = calls, raw: float = raw) -> bool:
            low, high = wilson(raw * (calls + more), calls + more, 1 - 2 * RISK)
            return low >= CUTS[AREA] or high < CUTS[AREA]

        at = bisect.bisect_left(steps, True, key=clears)
        found[i] = steps[at] if at < len(steps) else 0
    return found


def _wilson_ends(model: AreaModel, coverage: float) -> tuple[Floats, Floats]:
    pairs = [wilson(y, n, coverage) for y, n in zip(model.right_calls, model.calls, strict=True)]
    low, high = np.array(pairs).T
    return low, high


def _severity(truth: AreaTruth, model: AreaModel) -> Severity | None:
    """Return the evaluators' intervals with the truth: an average umpire under each, against the average of all."""
    said = {coverage: severities(model, coverage) for coverage in COVERAGES}
    if not said[COVERAGES[0]]:
        return None
    severity = np.array([truth.severity[int(name[1:])] for name in model.evaluators])
    mix = dict(zip(model.situations, model.mix.tolist(), strict=True))
    average = truth.rate(np.array([severity.mean()]), mix)
    return Severity(
        truth=truth.rate(severity, mix) - average,
        low={c: np.array([one[name].low for name in model.evaluators]) for c, one in said.items()},
        high={c: np.array([one[name].high for name in model.evaluators]) for c, one in said.items()},
    )


def _ranks(
    model: AreaModel, roster: Sequence[Row], groups: Sequence[int | None], policy: Policy, truth: Floats
) -> Ranks:
    said = {str(row["umpire_id"]): row for row in ranking_rows(model, roster, groups, [LEVEL], policy.interval)}
    linked = np.array([group or 0 for group in groups])
    place = np.empty(truth.size, dtype=np.int64)
    for group in np.unique(linked):
        inside = np.flatnonzero(linked == group)
        place[inside] = rank_draws(truth[None, inside])[0]
    low, high = (np.array([int(str(said[name][end])) for name in model.umpires]) for end in ("rank_low", "rank_high"))
    return Ranks(place, low, high)
