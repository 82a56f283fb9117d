"""How many more looks, and how much a reading hangs on the cut: worked out on draws of known spread."""

from __future__ import annotations

from statistics import NormalDist

import numpy as np
import pytest

from pipeline.config import Evidence, Level
from pipeline.scoring.looks import Standing, drawn_together, further_looks, looks_needed
from pipeline.scoring.readiness import EVERY_CUT, reading, sensitivity

LEVEL = Level("v", "V", {"pitches": 0.9, "quiz": 0.6}, Evidence(3, 150, 2), 0.1, 0.1)
ROW = {"games": 5, "calls": 400, "evaluators": 3}
QUANTILES = np.array([NormalDist().inv_cdf((i + 0.5) / 4000) for i in range(4000)])


def normal(area: str, cut: float, mean: float, sd: float, calls: int = 400) -> Standing:
    draws = mean + sd * QUANTILES
    chance = float(np.mean(draws >= cut))
    holds = "met" if chance >= 0.9 else "short" if chance <= 0.1 else "unsure"
    return Standing(area, cut, draws, calls, mean, mean - 1.645 * sd, mean + 1.645 * sd, chance, holds)


def test_the_number_of_looks_is_that_of_the_normal_formula() -> None:
    # Two points above the cut with SD .02: z = 1.2816 is reached at SD .02 / 1.2816 = .015606, that is at
    # 1/.015606^2 = 4106 of information instead of 2500. 400 calls brought 2500 - 1/.05^2 = 2100, 5.25 each;
    # 1606 / 5.25 = 305.9, to the next ten 310.
    assert further_looks(normal("pitches", 0.9, 0.92, 0.02), LEVEL, 0.05) == 310


def test_a_settled_standard_needs_no_looks_and_one_on_the_cut_is_promised_none() -> None:
    assert further_looks(normal("pitches", 0.9, 0.96, 0.02), LEVEL, 0.05) is None
    assert further_looks(normal("pitches", 0.9, 0.9001, 0.02), LEVEL, 0.05) is None


def test_so_many_more_binomial_calls_do_draw_the_posterior_together_that_far() -> None:
    # A beta posterior from 300 calls at .9, and from 300 + 310 at the same rate.
    one = normal("pitches", 0.88, 0.9, np.sqrt(0.9 * 0.1 / 301), 300)
    exact = np.sqrt(0.9 * 0.1 / 611)
    assert drawn_together(one, 310, 10.0).std() == pytest.approx(exact, rel=0.01)


def test_two_standards_each_sure_enough_but_not_both_at_once_ask_for_looks_that_settle_both() -> None:
    rng = np.random.default_rng(1)
    one, other = normal("pitches", 0.9, 0.928, 0.02), normal("hit_batter", 0.9, 0.928, 0.02)
    shuffled = Standing(**{**vars(other), "draws": rng.permutation(other.draws)})
    # Each is met with .92, both with .84: calls are named although no single standard is open.
    found = looks_needed(LEVEL, [one, shuffled], ROW, {"pitches": 0.05, "hit_batter": 0.05})
    assert found.areas == ()
    assert found.calls is not None
    assert found.calls > 0
    # 80 calls a game.
    assert found.games == -(-found.calls // 80)


def test_what_the_least_evidence_lacks_is_named_by_its_kind() -> None:
    found = looks_needed(LEVEL, [normal("pitches", 0.9, 0.96, 0.01)], ROW | {"evaluators": 1}, {})
    assert (found.calls, found.evaluators, found.quiz_answers) == (None, 1, 0)


def test_quiz_answers_are_counted_apart_from_calls() -> None:
    quiz = normal("quiz", 0.6, 0.66, 0.06, 40)
    found = looks_needed(LEVEL, [normal("pitches", 0.9, 0.99, 0.01), quiz], ROW, {"quiz": 0.2})
    assert found.quiz_answers == further_looks(quiz, LEVEL, 0.2)
    assert found.calls is None
    assert found.areas == ("quiz",)


def test_a_quiz_that_is_met_but_keeps_the_whole_from_being_sure_is_asked_for_too() -> None:
    # The quiz is met with Phi(.06 / .045) = .909, balls and strikes with .977: each sure enough for .91 or all
    # but so, but however many calls are seen both together come to no more than the quiz's .909.
    rng = np.random.default_rng(1)
    strict = Level("v", "V", {}, Evidence(3, 150, 2), 0.09, 0.05)
    quiz = normal("quiz", 0.6, 0.66, 0.045, 40)
    quiz = Standing(**{**vars(quiz), "draws": rng.permutation(quiz.draws), "holds": "met"})
    pitches = normal("pitches", 0.9, 0.94, 0.02)
    assert quiz.draws is not None
    assert 0.90 < np.mean(quiz.draws >= 0.6) < 0.92
    found = looks_needed(strict, [pitches, quiz], ROW, {"quiz": 0.2, "pitches": 0.05})
    assert found.quiz_answers in (20, 40)
    assert further_looks(quiz, strict, 0.2) is None


def test_sensitivity_gives_the_reading_at_one_and_two_points_either_way() -> None:
    # SD one point, one point above the cut: the chance is Phi(1 - shift in points).
    rows = sensitivity(LEVEL, [normal("pitches", 0.9, 0.91, 0.01)], ROW, {})
    found = {(row.area, row.shift): (round(row.probability, 2), row.verdict) for row in rows}
    expected = {-0.02: (1.0, "ready"), -0.01: (0.98, "ready"), 0.01: (0.5, "more_looks"), 0.02: (0.16, "more_looks")}
    assert found == {(area, shift): said for area in (EVERY_CUT, "pitches") for shift, said in expected.items()}


def test_moving_one_cut_leaves_the_others_where_they_are() -> None:
    low = normal("quiz", 0.6, 0.5, 0.01)
    rows = sensitivity(LEVEL, [normal("pitches", 0.9, 0.99, 0.001), low], ROW, {})
    assert {row.probability for row in rows if row.area == "pitches"} == {0.0}


@pytest.mark.parametrize(
    ("chance", "flags", "verdict", "words"),
    [
        (0.95, {}, "ready", "at least 90.0 %"),
        (0.05, {}, "not_yet", "at most 10.0 %"),
        (0.5, {}, "more_looks", "between 10.0 % and 90.0 %"),
        (0.95, {"unseen": True}, "more_looks", "nothing was seen"),
        (0.95, {"lacking": True}, "more_looks", "least evidence"),
        (0.95, {"too_many": True, "lacking": True}, "not_yet", "More misrulings"),
        (None, {}, "more_looks", "nothing to judge by"),
    ],
)
def test_the_clause_that_decided_is_told(chance, flags, verdict, words) -> None:  # type: ignore[no-untyped-def]
    found = reading(LEVEL, chance, **{"lacking": False, "unseen": False, "too_many": False, **flags})
    assert found[0] == verdict
    assert words in found[1]
