"""The simulator of seasons with known truth, the figures made of them, and the stored result held against both."""

from __future__ import annotations

import json
from dataclasses import asdict, replace

import numpy as np
import pytest
from scipy.stats import skew

from pipeline.errors import ContractError
from pipeline.scoring.rates import interval
from pipeline.scoring.validity import designs, measures
from pipeline.scoring.validity.judge import Estimates, judge
from pipeline.scoring.validity.plug_in import plain_fit, plug_in
from pipeline.scoring.validity.simulate import AREA, AreaTruth, simulate
from schemas.known_truth import known_truth, parse_known_truth

DESIGN = {design.key: design for design in designs.DESIGNS}
SMALL = designs.SIZES[0]


def truth_of(hardness, game_sd=0.0, intercept=0.0):
    nothing = np.zeros(0)
    return AreaTruth(intercept, nothing, nothing, np.array(hardness), nothing, game_sd)


def test_a_true_rate_is_the_mean_over_the_mix_of_situations() -> None:
    # Odds 3 and 1/3: rates 3/4 and 1/4. At odds three times as high: 9/10 and 1/2.
    truth = truth_of([np.log(3), -np.log(3)])
    rates = truth.rate(np.array([0.0, np.log(3)]), {"S00": 0.5, "S01": 0.5})
    assert rates == pytest.approx([0.5, 0.7])
    assert truth.rate(np.array([0.0]), {"S00": 0.8, "S01": 0.2}) == pytest.approx([0.65])


def test_a_true_rate_is_averaged_over_games() -> None:
    # By symmetry one half stays one half; 9/10 comes nearer to it.
    rates = truth_of([0.0, np.log(9)], game_sd=1.0).rate(np.array([0.0]), {"S00": 1.0})
    assert rates == pytest.approx([0.5])
    drawn = 1 / (1 + np.exp(-(np.log(9) + np.random.default_rng(1).normal(0, 1, 400_000))))
    assert truth_of([0.0, np.log(9)], game_sd=1.0).rate(np.array([0.0]), {"S01": 1.0}) == pytest.approx(
        [drawn.mean()], abs=4 * drawn.std() / np.sqrt(drawn.size)
    )


def test_a_season_is_the_same_each_time_and_another_for_another_number() -> None:
    one, again, other = (simulate(DESIGN["ordinary"], SMALL, k).cells(AREA) for k in (3, 3, 4))
    assert one.equals(again)
    assert not one.equals(other)


def test_every_umpire_has_the_games_and_calls_of_the_design() -> None:
    cells = simulate(DESIGN["few_looks"], SMALL, 0).cells(AREA)
    by_game = cells.groupby(["umpire_id", "game_id", "evaluator_id"])["trials"].sum()
    assert (by_game == 25).all()
    assert (by_game.groupby("umpire_id").size() == 2).all()
    assert cells["umpire_id"].nunique() == 24
    assert (cells["successes"] <= cells["trials"]).all()


def test_further_games_add_to_those_of_the_umpires_who_get_them() -> None:
    season = simulate(DESIGN["ordinary"], SMALL, 0)
    season.look(np.array([2] + 23 * [0]))
    games = season.cells(AREA).groupby("umpire_id")["game_id"].nunique()
    assert games.tolist() == [7] + 23 * [5]


def test_wrong_facts_turn_one_grade_in_fifty_over() -> None:
    # Odds of e^40: every call is right, so what is wrong was turned over; 24 * 5 * 60 calls.
    cells = simulate(replace(DESIGN["wrong_facts"], intercept=40.0), SMALL, 0).cells(AREA)
    wrong, calls = (cells["trials"] - cells["successes"]).sum(), cells["trials"].sum()
    assert calls == 7200
    assert wrong / calls == pytest.approx(0.02, abs=4 * np.sqrt(0.02 * 0.98 / 7200))


@pytest.mark.parametrize("key", ["ordinary", "skewed", "two_humps"])
def test_abilities_have_the_stated_mean_and_spread(key: str) -> None:
    many = replace(SMALL, umpires=20_000)
    skill = simulate(replace(DESIGN[key], games=0), many, 0).truth[AREA].skill
    assert skill.mean() == pytest.approx(0, abs=4 * 0.5 / np.sqrt(20_000))
    assert skill.std() == pytest.approx(0.5, abs=0.02)
    assert (skew(skill) < -1) == (key == "skewed")


def test_the_tie_of_severe_evaluators_to_strong_umpires_is_as_strong_as_said() -> None:
    found = []
    for replicate in range(10):
        season = simulate(replace(DESIGN["severe_with_strong"], games=0), designs.SIZES[1], replicate)
        truth = season.truth[AREA]
        found.append(np.corrcoef(truth.skill, [truth.severity[panel].mean() for panel in season.panels])[0, 1])
    assert np.mean(found) == pytest.approx(-0.6, abs=0.07)


def test_groups_without_a_link_are_found_and_never_ranked_across() -> None:
    judged = judge(simulate(DESIGN["unlinked"], SMALL, 0), 200, 1)
    assert sorted(np.bincount(judged.linked)[1:].tolist()) == [12, 12]
    assert judged.ranks.high.max() <= 12
    assert judged.ranks.truth.max() == 12


def test_with_very_many_looks_the_truth_is_found() -> None:
    design = replace(DESIGN["ordinary"], games=120, calls=120, evaluator_sd=0.05)
    judged = judge(simulate(design, SMALL, 0), 500, 1)
    # 14,400 calls at some 90 % have a standard error of a quarter of a point; games and evaluators add as much.
    assert np.abs(judged.by_method["platework"].rate - judged.truth).max() < 0.015
    assert measures.season_record(judged, "platework")["rank_correlation"] > 0.97


def test_the_figures_of_a_season_are_as_worked_out_by_hand() -> None:
    low, high = {0.5: np.array([0.89, 0.90, 0.5]), 0.9: np.array([0.85, 0.90, 0.5])}, {}
    high[0.5], high[0.9] = np.array([0.91, 0.95, 0.6]), np.array([0.95, 0.95, 0.8])
    said = Estimates(
        rate=np.array([0.90, 0.92, 0.55]),
        low=low,
        high=high,
        chance=np.array([0.55, 0.95, 0.02]),
        verdict=["more_looks", "ready", "not_yet"],
        looks=np.array([120, 0, 0]),
    )
    record = measures.estimate_record(said, np.array([0.91, 0.88, 0.70]), np.array([1, 0, 0]), np.array([1, 1, 1]))
    # Errors -1, +4 and -15 points: mean -4, mean size 20/3, mean square 242/3.
    assert record["bias"] == pytest.approx(-4)
    assert record["error"] == pytest.approx(20 / 3)
    assert record["squared"] == pytest.approx(242 / 3)
    # Held by 50 %: the first alone; by 90 %: the first and the third.
    assert record["covered_50"] == pytest.approx(1 / 3)
    assert record["covered_90"] == pytest.approx(2 / 3)
    assert (record["ready"], record["ready_wrong"], record["not_yet_wrong"]) == (1, 1, 0)
    assert record["ready_wrong_said"] == pytest.approx(0.05)
    assert record["ready_short"] == pytest.approx(2)
    assert (record["looks_told"], record["looks_median"]) == (1, 120)
    # Orders 2, 1, 3 and 1, 2, 3: 1 - 6 * 2 / (3 * 8) = 1/2.
    assert record["rank_correlation"] == pytest.approx(0.5)
    assert (record["bin_5"], record["bin_9_able"], record["bin_0_said"]) == (1, 0, pytest.approx(0.02))


def test_a_share_over_seasons_carries_the_error_of_a_ratio() -> None:
    # Shares 1/4 and 3/4 of four each: half, with residuals -1 and 1: sqrt(2 * (1 + 1)) / 8.
    assert measures.ratio([1, 3], [4, 4]) == pytest.approx((0.5, 0.25))
    assert measures.ratio([0, 0], [0, 0]) is None
    # None in 20: the error of half a case.
    assert measures.ratio([0, 0], [10, 10]) == pytest.approx((0.0, 0.025))


def test_who_gives_all_the_same_rate_ranks_nobody() -> None:
    same = np.full(4, 0.9)
    assert measures.within_groups(same, np.arange(4.0), np.ones(4, dtype=np.int64)) == 0.0


def test_modes_alone_give_nearly_the_rates_of_the_draws_but_shorter_intervals() -> None:
    judged = judge(simulate(DESIGN["ordinary"], SMALL, 1), 1000, 1)
    modes = plug_in({AREA: plain_fit(judged.models[AREA])}, judged.models)
    ours = judged.by_method["platework"]
    assert np.abs(modes.rate - ours.rate).max() < 0.02
    assert (modes.high[0.9] - modes.low[0.9]).mean() < (ours.high[0.9] - ours.low[0.9]).mean()


# The stored result.


def test_the_stored_result_was_made_from_the_designs_of_today() -> None:
    stored = known_truth()
    assert list(stored.designs.values()) == json.loads(json.dumps([asdict(one) for one in designs.DESIGNS]))
    assert list(stored.sizes.values()) == [asdict(one) for one in designs.SIZES]
    about = stored.about
    assert (about["seed"], about["cuts"], about["risk"]) == (designs.SEED, designs.CUTS, designs.RISK)
    assert set(about["versions"]) == {"platework", "numpy", "scipy", "python", "lme4"}
    assert {(d, s) for d, s, method in stored.groups if method == "platework"} == {
        (d.key, s.key) for d in designs.DESIGNS for s in designs.SIZES
    }


@pytest.mark.parametrize("key", ["ordinary", "unlinked", "two_standards"])
def test_a_stored_season_comes_out_again(key: str) -> None:
    stored = known_truth()
    replay = next(one for one in stored.replays if (one["design"], one["replicate"]) == (key, 0))
    record = measures.season_record(judge(simulate(DESIGN[key], SMALL, 0), stored.about["draws"], 0), "platework")
    told = replay["record"]
    # The truth is the simulator's own; what the draws say may move a little with the engine.
    assert record["able"] == told["able"]
    for name, reach in (("squared", 0.3), ("width_90", 0.3), ("rank_correlation", 0.02), ("covered_90", 1.5 / 24)):
        assert record[name] == pytest.approx(told[name], abs=reach), name
    for name in ("ready", "not_yet", "more_looks"):
        assert abs(record[name] - told[name]) <= 1, name


@pytest.fixture(scope="module")
def fresh():
    """Ten seasons that the stored result has not seen."""
    return [judge(simulate(DESIGN["ordinary"], SMALL, 10_000 + k), 1000, k) for k in range(10)]


def covered(seasons, narrower: float) -> float:
    shares = []
    for judged in seasons:
        model = judged.models[AREA]
        centre = model.adjusted.mean(axis=0)
        low, high = interval(centre + narrower * (model.adjusted - centre), 0.9)
        shares.append(np.mean((low <= judged.truth) & (judged.truth <= high)))
    return float(np.mean(shares))


@pytest.mark.slow
def test_seasons_never_seen_are_covered_as_the_stored_ones_were(fresh) -> None:
    stored = known_truth().group("ordinary", SMALL.key)
    value, error, _ = stored.figures["covered_90"]
    # Of one season the coverage has the standard deviation error * sqrt(seasons): four errors of ten seasons.
    reach = 4 * error * np.sqrt(stored.seasons / len(fresh))
    assert covered(fresh, 1.0) == pytest.approx(value, abs=reach)
    # The bound is one that intervals of half the width do not pass.
    assert covered(fresh, 0.5) < value - reach


def test_the_stored_figures_hold_what_the_method_states_in_ordinary_seasons() -> None:
    stored = known_truth()
    for size in stored.sizes:
        ready = stored.figure("ready_wrong", "ordinary", size)
        covered_90 = stored.figure("covered_90", "ordinary", size)
        assert ready.value - 2 * ready.error <= designs.RISK, size
        assert covered_90.value + 3 * covered_90.error >= 0.9, size
        ours, plain = (stored.figure("rmse", "ordinary", size, method).value for method in ("platework", "percentage"))
        assert ours < plain, size


def test_a_broken_stored_result_is_named() -> None:
    with pytest.raises(ContractError, match=r"known_truth\.json"):
        parse_known_truth("{}")
    with pytest.raises(ContractError, match="cannot be read"):
        parse_known_truth("no json")
