"""Adjusted rates: the averaging, the parts, and honest width where little was seen."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from scipy.special import expit

from pipeline.scoring.area_models import averaged_rate, fit_area, reference_rate
from pipeline.scoring.posterior import Draws
from pipeline.scoring.rates import interval, umpire_rate_rows


@pytest.mark.parametrize("game_sd", [0.0, 0.3, 1.0])
@pytest.mark.parametrize("linear", [-2.0, 0.0, 1.5, 3.0])
def test_averaging_over_games_is_that_of_quadrature(linear: float, game_sd: float) -> None:
    nodes, weights = np.polynomial.hermite_e.hermegauss(60)
    exact = float(weights @ expit(linear + game_sd * nodes) / weights.sum())
    assert float(averaged_rate(np.array(linear), game_sd)) == pytest.approx(exact, abs=0.0015)


def test_the_interpolated_rate_is_the_plain_sum_over_situations() -> None:
    rng = np.random.default_rng(1)
    draws = Draws(
        intercept=rng.normal(1.5, 0.2, 50),
        sd={"game": np.abs(rng.normal(0.3, 0.1, 50))},
        effects={"situation": rng.normal(0, 1, (50, 7))},
        centre={},
    )
    mix, shift = rng.dirichlet(np.ones(7)), rng.normal(0, 1, (50, 20))
    direct = sum(
        share
        * averaged_rate(
            draws.intercept[:, None] + draws.effects["situation"][:, [s]] + shift, draws.sd["game"][:, None]
        )
        for s, share in enumerate(mix)
    )
    assert reference_rate(draws, mix, shift) == pytest.approx(direct, abs=3e-5)


def frame(rows: list[tuple[str, str, str, str, int, int]]) -> pd.DataFrame:
    table = pd.DataFrame(rows, columns=["umpire_id", "game_id", "evaluator_id", "stratum", "successes", "trials"])
    return table.astype({"successes": float, "trials": float})


def ordinary(seed: int = 1) -> pd.DataFrame:
    rng = np.random.default_rng(seed)
    rows = []
    for u in range(10):
        skill = rng.normal(0, 0.5)
        for g in range(4):
            for s, hard in (("easy", 3.0), ("hard", 0.5)):
                rows.append((f"U{u}", f"G{u}{g}", f"E{g % 3}", s, rng.binomial(25, expit(hard + skill)), 25))
    return frame(rows)


def test_the_parts_add_to_the_adjusted_rate_exactly() -> None:
    cells = ordinary()
    names = sorted(cells["umpire_id"].unique())
    seen = {(name, "pitches"): {"games": 4, "evaluators": 3} for name in names}
    for row in umpire_rate_rows(fit_area("pitches", cells, names, 500, 1), seen, 0.9):
        total = row["raw_rate"] + row["evaluator_points"] + row["situation_points"] + row["shrinkage_points"]
        assert total == pytest.approx(row["adjusted_rate"], abs=1e-12)
        assert row["adjusted_low"] < row["adjusted_rate"] < row["adjusted_high"]


def test_an_umpire_with_hard_calls_is_lifted_by_the_situations_part() -> None:
    cells = ordinary()
    hard = (cells["umpire_id"] == "U0") & (cells["stratum"] == "easy")
    names = sorted(cells["umpire_id"].unique())
    seen = {(name, "pitches"): {"games": 4, "evaluators": 3} for name in names}
    rows = {
        row["umpire_id"]: row for row in umpire_rate_rows(fit_area("pitches", cells[~hard], names, 500, 1), seen, 0.9)
    }
    assert rows["U0"]["situation_points"] > 0.05
    assert abs(rows["U1"]["situation_points"]) < 0.03


def test_one_who_was_never_seen_gets_the_width_of_the_population() -> None:
    cells = ordinary()
    model = fit_area("pitches", cells, [*sorted(cells["umpire_id"].unique()), "U_new"], 2000, 1)
    low, high = interval(model.adjusted, 0.9)
    width = high - low
    assert model.calls[-1] == 0
    assert width[-1] > 1.5 * width[:-1].max()
    # No one of the population is better known than all of it: his interval holds everybody's estimate but the
    # extremes.
    inside = (model.adjusted[:, :-1].mean(axis=0) > low[-1]) & (model.adjusted[:, :-1].mean(axis=0) < high[-1])
    assert inside.mean() >= 0.8


def test_no_spread_between_umpires_still_leaves_an_honest_interval() -> None:
    # 8 of 10 each: the likelihood is highest at SD 0, yet 10 calls do not show that all are alike.
    rows = [(f"U{u}", f"G{u}", f"E{u % 3}", "s", 8, 10) for u in range(8)]
    model = fit_area("hit_batter", frame(rows), [f"U{u}" for u in range(8)], 4000, 1)
    assert model.fit.sd["umpire"] == 0
    assert str(model.fit.record.outcome) == "singular"
    low, high = interval(model.adjusted, 0.9)
    assert (high - low).min() > 0.1
    assert (low < 0.8).all()
    assert (high > 0.8).all()


def test_where_nothing_went_wrong_each_umpire_has_the_interval_of_his_own_count() -> None:
    rows = [("U0", "G0", "E0", "s", 5, 5), ("U1", "G1", "E0", "s", 50, 50)]
    model = fit_area("hit_batter", frame(rows), ["U0", "U1", "U2"], 4000, 1)
    assert str(model.fit.record.outcome) == "no_variation"
    low, _ = interval(model.adjusted, 0.9)
    # Jeffreys: the 5 % point of Beta(5.5, 0.5) is .6943, of Beta(50.5, 0.5) .9625 (scipy.stats).
    assert low[0] == pytest.approx(0.694, abs=0.02)
    assert low[1] == pytest.approx(0.9625, abs=0.005)
    assert low[2] < 0.05
