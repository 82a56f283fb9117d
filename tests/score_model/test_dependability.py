"""Dependability of readings: a known identity, simulation, and what it must not depend on."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.special import expit, logit

from pipeline.config import Level
from pipeline.scoring.dependability import Sources, at_cut, forecast, measured, needed
from pipeline.scoring.items.classical import item_statistics

LEVEL = Level("upper", "Upper", {}, risk_ready=0.2, risk_not_yet=0.1)


def test_the_index_at_the_mean_of_a_quiz_is_kuder_and_richardsons_formula_21() -> None:
    # Brennan 2001, Generalizability Theory, section 2.5.2 (from memory): for persons by items answered 0/1 the
    # estimate of Phi(lambda) at lambda = the mean is KR-21. The components are those of the two-way table.
    rng = np.random.default_rng(7)
    persons, items = 80, 12
    table = (rng.random((persons, items)) < expit(rng.normal(0.4, 1, (persons, 1)) - rng.normal(0, 1, items))).astype(float)
    grand, rows, columns = table.mean(), table.mean(axis=1), table.mean(axis=0)
    ms_p = items * np.sum((rows - grand) ** 2) / (persons - 1)
    ms_i = persons * np.sum((columns - grand) ** 2) / (items - 1)
    residual = table - rows[:, None] - columns + grand
    ms_r = np.sum(residual**2) / ((persons - 1) * (items - 1))
    spread, error = (ms_p - ms_r) / items, ((ms_i - ms_r) / persons + ms_r) / items
    # The estimated distance to the cut is lessened by the sampling variance of the mean.
    unsure = spread / persons + (ms_i - ms_r) / persons / items + ms_r / persons / items
    found = (spread - unsure) / (spread - unsure + error)
    assert found == pytest.approx(item_statistics(table).kr21, abs=1e-9)
    assert at_cut(spread - unsure, grand, grand, error) == pytest.approx(found)


def test_a_cut_at_the_mean_leaves_phi_and_one_far_off_is_easily_told() -> None:
    # Worked by hand: 4 / (4 + 1) = .8; (4 + 16) / (4 + 16 + 1) = 20 / 21.
    assert at_cut(4, 0, 0, 1) == pytest.approx(0.8)
    assert at_cut(4, 0, 4, 1) == pytest.approx(20 / 21)


def test_a_cut_at_the_mean_is_right_as_often_as_two_normal_variables_agree_in_sign() -> None:
    # Two normal variables with correlation r have the same sign with chance 1/2 + asin(r) / pi (Sheppard 1899). The
    # measure and the truth correlate by the root of phi, two measures by phi.
    told = forecast(mean=1.3, spread=0.6, cut=1.3, error=0.2, level=LEVEL)
    assert told.dependability == pytest.approx(0.75)
    assert told.accuracy == pytest.approx(0.5 + np.arcsin(np.sqrt(0.75)) / np.pi, abs=1e-5)
    assert told.consistency == pytest.approx(0.5 + np.arcsin(0.75) / np.pi, abs=1e-5)


def test_a_forecast_is_what_becomes_of_simulated_umpires() -> None:
    rng = np.random.default_rng(11)
    number, mean, spread, cut, error = 400_000, 2.0, 0.5, 2.4, 0.35
    truth = rng.normal(mean, np.sqrt(spread), number)
    phi = spread / (spread + error)
    once, again = (mean + phi * (truth + rng.normal(0, np.sqrt(error), number) - mean) for _ in range(2))
    told = forecast(mean, spread, cut, error, LEVEL)
    # Four standard errors of a share of 400,000 are below .0032.
    assert told.accuracy == pytest.approx(np.mean((once >= cut) == (truth >= cut)), abs=0.0032)
    assert told.consistency == pytest.approx(np.mean((once >= cut) == (again >= cut)), abs=0.0032)
    above = 1 - _normal((cut - once) / np.sqrt(spread * (1 - phi)))
    assert told.settled == pytest.approx(np.mean((above >= 0.8) | (above <= 0.1)), abs=0.0032)


def _normal(z: np.ndarray) -> np.ndarray:
    from scipy.special import ndtr

    return ndtr(z)


def test_the_error_of_a_plan_is_that_of_watched_games() -> None:
    # Calls drawn as the model has it: one situation, games and evaluators about the umpire. The error of the logit
    # of a plain share, over many umpires of one true rate, against the sum of sources. To first order only, hence
    # the wide bound; leaving out any one source would miss it (shares .35, .40, .25).
    rng = np.random.default_rng(3)
    umpires, games, evaluators, calls = 4000, 4, 2, 40
    true, sd_evaluator, sd_game = 1.0, 0.3, 0.45
    by_evaluator = np.repeat(rng.normal(0, sd_evaluator, (umpires, evaluators)), games // evaluators, axis=1)
    linear = true + by_evaluator + rng.normal(0, sd_game, (umpires, games))
    share = rng.binomial(calls, expit(linear)).sum(axis=1) / (games * calls)
    chance = expit(true)
    sources = Sources(sd_evaluator**2, sd_game**2, 1 / (chance * (1 - chance)))
    error = sources.error(games, evaluators, calls)
    parts = np.array([sd_evaluator**2 / evaluators, sd_game**2 / games, sources.call / (games * calls)])
    assert error == pytest.approx(parts.sum())
    assert (parts / error).min() > 0.2
    assert error == pytest.approx(logit(share).var(), rel=0.12)


def test_measures_are_as_dependable_as_the_draws_say() -> None:
    # Draws made so that centres have variance .6 and each posterior .2: phi = 1 - .2 / .8 = .75.
    rng = np.random.default_rng(5)
    centres = rng.normal(0, 1, 400)
    centres = (centres - centres.mean()) / centres.std() * np.sqrt(0.6)
    noise = rng.normal(0, 1, (2000, 400))
    noise = (noise - noise.mean(axis=0)) / noise.std(axis=0) * np.sqrt(0.2)
    said = measured(centres + noise, 0.0, LEVEL)
    assert said.spread == pytest.approx(0.8)
    assert said.dependability == pytest.approx(0.75)
    assert said.error == pytest.approx(0.8 / 3)
    # As if the umpires were normal about the mean: within three standard errors of a mean over 400.
    told = forecast(0.0, 0.8, 0.0, said.error, LEVEL)
    assert said.accuracy == pytest.approx(told.accuracy, abs=0.03)
    assert said.consistency == pytest.approx(told.consistency, abs=0.03)
    assert said.settled == pytest.approx(told.settled, abs=0.075)


@given(
    spread=st.floats(0.01, 4),
    error=st.floats(0.001, 20),
    cut=st.floats(-3, 3),
    more=st.floats(1.01, 5),
)
def test_less_error_never_makes_a_decision_less_dependable(spread: float, error: float, cut: float, more: float) -> None:
    one, two = forecast(0, spread, cut, error * more, LEVEL), forecast(0, spread, cut, error, LEVEL)
    assert two.dependability > one.dependability
    assert two.accuracy >= one.accuracy - 1e-9
    for told in (one, two):
        assert 0.5 <= told.accuracy <= 1 + 1e-9
        assert 0.5 - 1e-9 <= told.consistency <= 1 + 1e-9
        assert 0 <= told.settled <= 1 + 1e-9


def test_games_by_one_evaluator_alone_may_never_suffice() -> None:
    sources = Sources(evaluator=1.0, game=0.1, call=6.0)
    alone = needed(sources, LEVEL, 2.0, 0.3, 2.0, 40, evaluators=1)
    by_four = needed(sources, LEVEL, 2.0, 1.5, 2.0, 40, evaluators=4)
    assert alone is None
    assert by_four is not None
    error = sources.error(by_four, min(by_four, 4), 40)
    assert forecast(2.0, 1.5, 2.0, error, LEVEL).accuracy >= 0.8
    if by_four > 1:
        before = sources.error(by_four - 1, min(by_four - 1, 4), 40)
        assert forecast(2.0, 1.5, 2.0, before, LEVEL).accuracy < 0.8
