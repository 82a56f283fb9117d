"""Growth on simulated seasons with known truth: intervals cover, evaluators' drift is not taken for growth."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
import pytest
from scipy.special import expit

from pipeline.scoring.area_models import AreaModel, fit_area
from pipeline.scoring.growth import NOT_SPREAD, growth_of, growth_rows

NODES, WEIGHTS = np.polynomial.hermite_e.hermegauss(20)
HARD = np.array([2.0, 0.5, -0.5])


def season(
    rng: np.random.Generator,
    *,
    slopes: np.ndarray,
    drifts: np.ndarray,
    games: int = 10,
    per_game: int = 48,
    game_sd: float = 0.2,
) -> tuple[AreaModel, np.ndarray, np.ndarray]:
    """Return the fitted area, the day of each cell, and the true change from first to last game.

    Slopes of umpires and evaluators are in logits per 30 days; the season has 120 days.
    """
    skill, severity = rng.normal(0, 0.4, slopes.size), rng.normal(0, 0.3, drifts.size)
    rows, days, ends = [], [], []
    for u, slope in enumerate(slopes):
        mine = np.sort(rng.choice(120, games, replace=False))
        ends.append((mine[0], mine[-1]))
        for g, day in enumerate(mine):
            e, month = int(rng.integers(drifts.size)), (day - 60) / 30
            eta = 1.2 + skill[u] + slope * month + severity[e] + drifts[e] * month + rng.normal(0, game_sd)
            for s, hard in enumerate(HARD):
                trials = per_game // HARD.size
                right = float(rng.binomial(trials, expit(eta + hard)))
                rows.append((f"U{u:03d}", f"G{u:03d}-{g}", f"E{e}", f"S{s}", right, float(trials)))
                days.append(float(day))
    names = ["umpire_id", "game_id", "evaluator_id", "stratum", "successes", "trials"]
    frame = pd.DataFrame(rows, columns=names)
    model = fit_area("overall", frame, [f"U{u:03d}" for u in range(slopes.size)], 400, 1)

    def rate(day: np.ndarray) -> Any:
        linear = (1.2 + skill + slopes * (day - 60) / 30)[:, None, None] + HARD[None, :, None] + game_sd * NODES
        return np.einsum("usn,s,n->u", expit(linear), model.mix, WEIGHTS / WEIGHTS.sum())

    first, last = np.array(ends, dtype=float).T
    return model, np.array(days), rate(last) - rate(first)


def coverage(seasons: int, seed: int, drift_sd: float, common: float) -> tuple[float, float, float]:
    """Return the share of 90 % intervals that cover, the mean squared error and that of "no change"."""
    rng = np.random.default_rng(seed)
    covered, error, none = [], [], []
    for _ in range(seasons):
        slopes, drifts = common + rng.normal(0, 0.15, 30), rng.normal(0, drift_sd, 6)
        model, days, truth = season(rng, slopes=slopes, drifts=drifts)
        found = growth_of(model, days, 0.9)
        assert found is not None
        covered.append(np.mean((found.low <= truth) & (truth <= found.high)))
        error.append(np.mean((found.change - truth) ** 2))
        none.append(np.mean(truth**2))
    return float(np.mean(covered)), float(np.mean(error)), float(np.mean(none))


def test_changes_are_covered_and_nearer_to_the_truth_than_no_change_is() -> None:
    covered, error, none = coverage(4, 3, 0.0, 0.0)
    # 120 intervals of 90 %, and a season's common luck moves 30 at once.
    assert 0.80 <= covered <= 0.98
    assert error < none


@pytest.mark.slow
@pytest.mark.parametrize(("drift_sd", "common"), [(0.0, 0.0), (0.2, 0.1)], ids=["steady panel", "panel that drifts"])
def test_changes_are_covered_at_the_stated_rate(drift_sd: float, common: float) -> None:
    covered, error, none = coverage(40, 77, drift_sd, common)
    assert 0.86 <= covered <= 0.95
    assert error < none


def test_one_who_grows_is_found_and_a_drifting_evaluator_is_not_taken_for_it() -> None:
    rng = np.random.default_rng(8)
    slopes, drifts = np.zeros(20), np.zeros(5)
    slopes[:3], drifts[0] = 1.0, -0.8
    model, days, truth = season(rng, slopes=slopes, drifts=drifts, games=14, per_game=90)
    found = growth_of(model, days, 0.9)
    assert found is not None
    assert (found.low[:3] > 0).all()
    assert ((found.low[:3] <= truth[:3]) & (truth[:3] <= found.high[:3])).sum() >= 2
    assert (found.better[:3] > 0.95).all()
    # 17 steady umpires: two false alarms are expected at 90 %.
    assert np.sum((found.low[3:] > 0) | (found.high[3:] < 0)) <= 5


def test_early_and_late_differ_by_the_change_and_only_the_distance_of_days_matters() -> None:
    model, days, _ = season(np.random.default_rng(2), slopes=np.full(8, 0.2), drifts=np.zeros(3))
    found, later = growth_of(model, days, 0.9), growth_of(model, days + 9000, 0.9)
    assert found is not None
    assert later is not None
    assert found.late - found.early == pytest.approx(found.change, abs=1e-12)
    assert later.change == pytest.approx(found.change, abs=1e-9)
    assert (found.low < found.change).all()
    assert (found.change < found.high).all()


def test_dates_that_are_not_spread_enough_are_named_and_give_no_figure() -> None:
    model, days, _ = season(np.random.default_rng(2), slopes=np.zeros(6), drifts=np.zeros(3))
    umpire = model.cells["umpire"].to_numpy()
    # The first has all games in one fortnight less a day, the second on two days, the third no dates at all.
    days[umpire == 0] = 40 + days[umpire == 0] % 13
    days[umpire == 1] = np.where(days[umpire == 1] < 60, 10.0, 100.0)
    days[umpire == 2] = np.nan
    rows = {row["umpire_id"]: row for row in growth_rows(model, days, 0.9)}
    assert [rows[f"U{u:03d}"]["outcome"] for u in range(6)] == [NOT_SPREAD] * 3 + ["estimated"] * 3
    assert all(np.isnan(float(str(rows[f"U{u:03d}"]["change"]))) for u in range(3))
    assert (rows["U002"]["first_on"], rows["U002"]["games"]) == (None, 0)
    assert str(rows["U003"]["first_on"]).startswith("2000-")


def test_an_area_without_dates_or_evaluators_has_no_growth() -> None:
    model, days, _ = season(np.random.default_rng(2), slopes=np.zeros(4), drifts=np.zeros(3), games=4)
    assert growth_rows(model, np.full_like(days, np.nan), 0.9) == []
    quiz = model.cells.drop(columns=["evaluator", "game"])
    assert growth_of(AreaModel(**{**vars(model), "cells": quiz}), days, 0.9) is None
