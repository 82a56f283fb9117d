"""Verdicts from draws that are made up so that every probability is known."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from pipeline.config import Evidence, Level
from pipeline.scoring.rankings import rank_draws, tie_groups
from pipeline.scoring.readiness import Standing, decide, meets_all

LEVEL = Level(
    "varsity",
    "Varsity",
    {"pitches": 0.9, "hit_batter": 0.8},
    evidence=Evidence(games=3, calls=150, evaluators=2),
    risk_ready=0.1,
    risk_not_yet=0.1,
    disqualifying={"safety": 0},
)
ROW = {"games": 5, "calls": 400, "evaluators": 3}


def one(area: str, cut: float, share_met: float, calls: int = 200, spread: float = 0.02) -> Standing:
    """A standing whose draws meet the cut in exactly `share_met` of 1,000 draws."""
    draws = cut + spread * (np.arange(1000) - 1000 * (1 - share_met) + 0.5) / 1000
    probability = float(np.mean(draws >= cut))
    assert probability == pytest.approx(share_met)
    holds = "no_evidence" if calls == 0 else "met" if share_met >= 0.9 else "short" if share_met <= 0.1 else "unsure"
    return Standing(area, cut, draws, calls, float(draws.mean()), draws[50], draws[950], probability, holds)


def said(*standings: Standing, row: dict[str, int] = ROW, made: dict[str, int] | None = None) -> Any:
    return decide(LEVEL, standings, row, made or {}, {"pitches": 0.05, "hit_batter": 0.1})


@pytest.mark.parametrize(
    ("share", "verdict"),
    [(1.0, "ready"), (0.9, "ready"), (0.5, "more_looks"), (0.1, "not_yet"), (0.0, "not_yet")],
)
def test_the_verdict_follows_the_accepted_risks(share: float, verdict: str) -> None:
    assert said(one("pitches", 0.9, share)).verdict == verdict


def test_all_standards_must_be_met_in_the_same_draw() -> None:
    first, second = one("pitches", 0.9, 0.95), one("hit_batter", 0.8, 0.95)
    reversed_draws = Standing(**{**vars(second), "draws": second.draws[::-1]})
    assert meets_all([first, second]) == pytest.approx(0.95)
    assert meets_all([first, reversed_draws]) == pytest.approx(0.90)


@pytest.mark.parametrize("lack", [{"games": 2}, {"calls": 149}, {"evaluators": 1}])
def test_without_the_least_evidence_there_is_no_verdict(lack: dict[str, int]) -> None:
    found = said(one("pitches", 0.9, 1.0), row=ROW | lack)
    ((name, number),) = lack.items()
    assert found.verdict == "more_looks"
    assert not found.evidence_ok
    assert any(reason.startswith(f"{number} {name} seen") for reason in found.reasons_against)


def test_one_disqualifying_misruling_is_enough_whatever_the_rates() -> None:
    found = said(one("pitches", 0.9, 1.0), made={"safety": 1})
    assert found.verdict == "not_yet"
    assert found.reasons_against[0] == "1 misrulings on safety, where at most 0 are allowed"


def test_nobody_is_ready_in_an_area_in_which_nothing_was_seen() -> None:
    unseen = one("hit_batter", 0.8, 1.0, calls=0)
    found = said(one("pitches", 0.9, 1.0), unseen)
    assert found.verdict == "more_looks"
    assert "Hit batter: nothing was seen" in found.reasons_against
    assert "Looks in Hit batter" in found.would_change


def test_an_area_without_any_data_leaves_the_verdict_open_and_the_probability_to_the_others() -> None:
    found = said(one("pitches", 0.9, 1.0), Standing("quiz", 0.6, None, 0, None, None, None, None, "no_evidence"))
    assert (found.verdict, found.probability) == ("more_looks", 1.0)


def test_the_nearest_standard_is_the_one_least_likely_met() -> None:
    found = said(one("pitches", 0.9, 0.95), one("hit_batter", 0.8, 0.4))
    assert found.nearest.area == "hit_batter"
    assert any(reason.startswith("Balls and strikes: 9") for reason in found.reasons_for)
    assert any(reason.startswith("Hit batter: ") for reason in found.reasons_against)


def test_more_looks_says_how_many_and_fewer_are_needed_the_further_the_estimate_lies_from_the_cut() -> None:
    near, far = said(one("pitches", 0.9, 0.75, spread=0.1)), said(one("pitches", 0.9, 0.85, spread=0.1))
    assert near.looks_needed is not None
    assert far.looks_needed is not None
    assert 0 < far.looks_needed < near.looks_needed


def test_missing_evidence_sets_the_least_number_of_looks() -> None:
    found = said(one("pitches", 0.9, 1.0), row=ROW | {"calls": 100, "games": 1})
    # Two more games at 100 calls a game.
    assert found.looks_needed == 200


def test_what_a_lower_or_higher_cut_would_do_is_told() -> None:
    found = said(one("pitches", 0.9, 0.5, spread=0.04))
    assert "one point lower the probability would be 75.0 %" in found.would_change
    assert "one point higher the probability would be 25.0 %" in found.would_change


def test_ranks_within_a_draw_are_whole_and_ordered() -> None:
    ranks = rank_draws(np.array([[0.7, 0.9, 0.8], [0.9, 0.8, 0.7]]))
    assert ranks.tolist() == [[3, 1, 2], [1, 2, 3]]


def test_those_whom_the_evidence_cannot_part_share_a_group() -> None:
    rng = np.random.default_rng(1)
    means = np.array([0.95, 0.945, 0.90, 0.895])
    rates = means + rng.normal(0, 0.01, (4000, 4))
    assert tie_groups(rates, 0.9) == [1, 1, 2, 2]
    assert tie_groups(means + rng.normal(0, 1e-6, (100, 4)), 0.9) == [1, 2, 3, 4]


def test_a_standard_of_positioning_is_looked_at_in_games_and_one_of_the_quiz_by_answers() -> None:
    slot = said(one("positioning", 0.7, 0.75, calls=100, spread=0.2))
    assert slot.looks_needed is not None
    assert f"About {slot.looks_needed} more calls" in slot.would_change
    rules = said(one("pitches", 0.9, 1.0), one("quiz", 0.6, 0.75, calls=40, spread=0.3))
    assert rules.looks_needed is None
    assert "more quiz answers" in rules.would_change


def test_an_estimate_on_the_cut_is_not_promised_a_verdict() -> None:
    found = said(one("pitches", 0.9, 0.5, spread=0.05))
    assert found.looks_needed is None
    assert "unlikely to settle it" in found.would_change
