"""Draws of the posterior against a long NUTS run of the same model on a small season.

The run is stored in `nuts/posterior.json`, the season in `nuts/season.csv`; `nuts/make_nuts.py` made both and
names versions, seeds and draws (20,000 kept, effective size 4,800 and more: a mean is known to .014 of its
standard deviation, an end of a 90 % interval to some .03, a probability to .007).
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

from pipeline.scoring import posterior as posterior_module
from pipeline.scoring.area_models import AreaModel, fit_area
from pipeline.scoring.rankings import rank_draws

HERE = Path(__file__).parent / "nuts"
UMPIRES = [f"U{i:02d}" for i in range(20)]


@pytest.fixture(scope="module")
def run() -> dict[str, Any]:
    made: dict[str, Any] = json.loads((HERE / "posterior.json").read_text())
    return made


def fitted() -> AreaModel:
    cells = pd.read_csv(HERE / "season.csv")
    cells[["successes", "trials"]] = cells[["successes", "trials"]].astype(float)
    return fit_area("pitches", cells, UMPIRES, 10_000, 1)


@pytest.fixture(scope="module")
def model() -> AreaModel:
    return fitted()


def compared(draws: np.ndarray, told: dict[str, Any]) -> dict[str, np.ndarray]:
    """Differences of mean and interval ends in units of the run's standard deviations, and ratios of the SDs."""
    sd = np.array(told["sd"])
    low, high = np.quantile(draws, [0.05, 0.95], axis=0)
    return {
        "mean": np.abs(draws.mean(axis=0) - np.array(told["mean"])) / sd,
        "ratio": draws.std(axis=0) / sd,
        "low": np.abs(low - np.array(told["low"])) / sd,
        "high": np.abs(high - np.array(told["high"])) / sd,
    }


def test_the_run_itself_is_sound(run: dict[str, Any]) -> None:
    told = run["diagnostics"]
    assert told["worst_rhat"] < 1.005
    assert told["least_ess"] > 4000
    # One of 20,000 transitions.
    assert told["divergent"] <= 2


def test_adjusted_rates_and_their_intervals_are_those_of_the_run(run: dict[str, Any], model: AreaModel) -> None:
    found = compared(np.asarray(model.adjusted, dtype=float), run["adjusted_rate"])
    # Without the shift from mode to mean it is .052.
    assert found["mean"].max() < 0.045
    assert found["low"].max() < 0.15
    assert found["high"].max() < 0.15
    assert 0.96 < found["ratio"].min() <= found["ratio"].max() < 1.04


@pytest.mark.parametrize(("factor", "ratio"), [("umpire", 0.04), ("evaluator", 0.06), ("situation", 0.08)])
def test_effects_are_those_of_the_run(run: dict[str, Any], model: AreaModel, factor: str, ratio: float) -> None:
    assert model.draws is not None
    found = compared(model.draws.effects[factor], run["effects"][factor])
    assert found["mean"].max() < 0.045
    assert max(found["low"].max(), found["high"].max()) < 0.2
    assert np.abs(found["ratio"] - 1).max() < ratio


def test_standard_deviations_are_those_of_the_run(run: dict[str, Any], model: AreaModel) -> None:
    assert model.draws is not None
    for name, told in run["sd"].items():
        found = compared(model.draws.sd[name], told)
        assert found["mean"] < 0.15, name
        assert abs(found["ratio"] - 1) < 0.15, name


def test_probabilities_of_rank_and_of_a_standard_are_those_of_the_run(run: dict[str, Any], model: AreaModel) -> None:
    rates = np.asarray(model.adjusted, dtype=float)
    ahead = (rates[:, :, None] > rates[:, None, :]).mean(axis=0)
    assert np.abs(ahead - np.array(run["ahead"])).max() < 0.025
    ranks = rank_draws(rates)
    assert np.abs(ranks.mean(axis=0) - np.array(run["rank"]["mean"])).max() < 0.1
    assert np.abs((ranks == 1).mean(axis=0) - np.array(run["rank"]["first"])).max() < 0.02
    assert np.abs((rates >= 0.8).mean(axis=0) - np.array(run["above_0.8"])).max() < 0.03


def test_around_one_point_umpires_are_compared_as_well_but_rates_are_too_certain_where_evaluators_are_few(
    run: dict[str, Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    # The way of very large models, on this small one: six evaluators leave their SD open, and one point cannot
    # show it. That is why models of ordinary size are drawn over many points.
    monkeypatch.setattr(posterior_module, "points_for", lambda fit: 0)
    model = fitted()
    assert model.draws is not None
    rates = np.asarray(model.adjusted, dtype=float)
    ahead = (rates[:, :, None] > rates[:, None, :]).mean(axis=0)
    assert np.abs(ahead - np.array(run["ahead"])).max() < 0.03
    assert np.abs(compared(model.draws.effects["umpire"], run["effects"]["umpire"])["ratio"] - 1).max() < 0.06
    assert 0.75 < compared(rates, run["adjusted_rate"])["ratio"].mean() < 0.95
