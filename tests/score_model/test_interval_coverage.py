"""Simulated seasons with known truth: intervals cover at their stated rate, verdicts err at the accepted
one."""

from __future__ import annotations

import functools
from collections.abc import Callable
from typing import NamedTuple

import numpy as np
import pandas as pd
import pytest
from scipy.special import expit

from pipeline.scoring.area_models import fit_area
from pipeline.scoring.rates import interval

NODES, WEIGHTS = np.polynomial.hermite_e.hermegauss(20)


class Season(NamedTuple):
    """What is asked of one simulated season: draws (draws, umpires), fitted SDs, true and raw rates (umpires)."""

    adjusted: np.ndarray
    sd: dict[str, float]
    truth: np.ndarray
    raw: np.ndarray


def season(
    rng: np.random.Generator,
    umpires: int,
    games: int,
    per_game: int,
    evaluators: int,
    situations: int,
    game_sd: float,
) -> Season:
    """Simulate and fit a season; the truth is at the population's average evaluator."""
    skill = rng.normal(0, 0.5, umpires)
    severity = rng.normal(0, 0.4, evaluators)
    hard = rng.normal(0, 0.9, situations)
    rows = []
    for u in range(umpires):
        panel = rng.choice(evaluators, min(evaluators, int(rng.integers(2, 5))), replace=False)
        for g in range(games):
            evaluator = int(rng.choice(panel))
            form = rng.normal(0, game_sd)
            met, trials = np.unique(rng.integers(0, situations, per_game), return_counts=True)
            right = rng.binomial(trials, expit(1.6 + skill[u] + severity[evaluator] + form + hard[met]))
            rows += [
                (f"U{u:03d}", f"G{u:03d}-{g}", f"E{evaluator}", f"S{s:02d}", float(y), float(n))
                for s, y, n in zip(met, right, trials, strict=True)
            ]
    names = ["umpire_id", "game_id", "evaluator_id", "stratum", "successes", "trials"]
    frame = pd.DataFrame(rows, columns=names)
    model = fit_area("pitches", frame, [f"U{u:03d}" for u in range(umpires)], 1000, 1)
    place = [int(name[1:]) for name in model.situations]
    linear = 1.6 + skill[:, None, None] + hard[place][None, :, None] + game_sd * NODES[None, None, :]
    truth = np.einsum("usn,s,n->u", expit(linear), model.mix, WEIGHTS / WEIGHTS.sum())
    return Season(model.adjusted, dict(model.fit.sd), truth, model.right_calls / model.calls)


@functools.cache
def ordinary() -> list[Season]:
    """60 seasons with eight looks at everybody; simulated once, and asked in several ways."""
    rng = np.random.default_rng(20260301)
    return [season(rng, 25, 8, 60, 8, 12, 0.25) for _ in range(60)]


@functools.cache
def few_looks() -> list[Season]:
    """80 seasons with three looks at everybody, by four evaluators."""
    rng = np.random.default_rng(20260301)
    return [season(rng, 25, 3, 30, 4, 12, 0.25) for _ in range(80)]


@pytest.mark.slow
@pytest.mark.parametrize("seasons", [ordinary, few_looks], ids=["an ordinary season", "few looks and four evaluators"])
def test_adjusted_rates_are_covered_at_the_stated_rate(seasons: Callable[[], list[Season]]) -> None:
    covered, error, raw_error = [], [], []
    for adjusted, _, truth, raw in seasons():
        low, high = interval(adjusted, 0.9)
        covered.append(np.mean((low <= truth) & (truth <= high)))
        error.append(np.mean((adjusted.mean(axis=0) - truth) ** 2))
        raw_error.append(np.mean((raw - truth) ** 2))
    # The evaluators' common luck moves a whole season at once: the mean over seasons has an error of 1 to 2
    # points.
    assert 0.86 <= np.mean(covered) <= 0.95
    assert np.mean(error) < np.mean(raw_error)


@pytest.mark.slow
@pytest.mark.parametrize("seasons", [ordinary, few_looks], ids=["an ordinary season", "few looks and four evaluators"])
def test_those_called_ready_are_below_the_standard_no_more_often_than_the_risk_allows(
    seasons: Callable[[], list[Season]],
) -> None:
    cut, risk = 0.80, 0.1
    ready = wrong = plain_ready = plain_wrong = 0
    for adjusted, _, truth, raw in seasons():
        certain = (adjusted >= cut).mean(axis=0) >= 1 - risk
        ready, wrong = ready + certain.sum(), wrong + (certain & (truth < cut)).sum()
        plain_ready, plain_wrong = (
            plain_ready + (raw >= cut).sum(),
            plain_wrong + ((raw >= cut) & (truth < cut)).sum(),
        )
    assert ready > 100
    assert wrong / ready <= risk
    # The plain percentage, for comparison, promotes wrongly more often.
    assert plain_wrong / plain_ready > wrong / ready


@pytest.mark.slow
def test_standard_deviations_are_found_without_much_bias() -> None:
    found = [one.sd for one in ordinary()]
    for name, true in (("umpire", 0.5), ("evaluator", 0.4), ("situation", 0.9)):
        assert np.mean([sd[name] for sd in found]) == pytest.approx(true, rel=0.12)
