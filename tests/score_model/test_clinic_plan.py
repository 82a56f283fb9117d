"""The clinic plan: who is taught what, and what that is expected to change."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.config import Clinics
from pipeline.scoring.clinic_effect import Effect, effect_of, knowledge, removed_share, shrunk_rates
from pipeline.scoring.clinic_map import map_rows
from pipeline.scoring.clinic_plan import plan_sessions

CLINICS = Clinics(share_removed_rules=0.4, share_removed_practice=0.2, share_removed_off=0.5)


def test_a_session_takes_the_subject_that_gains_most_then_the_one_that_adds_most():
    # Two seats. Alone: A gives 5 + 4 = 9, B gives 8 + 0 = 8, C gives 3 + 3 = 6. With A: B makes the sums
    # 5, 4, 8 (seats 8 + 5 = 13), C makes 8, 7, 0 (15). So A and C, with the first and the second person.
    gains = np.array([[5.0, 0, 3], [4, 0, 3], [0, 8, 0]])
    first, second = plan_sessions(gains, sessions=2, seats=2, subjects=2, sessions_a_person=2)
    assert (first.subjects, first.people) == ((0, 2), (0, 1))
    # What is left is B for the third person.
    assert (second.subjects, second.people) == ((1,), (2,))


def test_ties_go_to_the_subject_and_the_person_that_come_first():
    gains = np.ones((3, 2))
    (only,) = plan_sessions(gains, sessions=1, seats=2, subjects=1, sessions_a_person=1)
    assert (only.subjects, only.people) == ((0,), (0, 1))


def test_the_plan_ends_when_nothing_is_left_to_gain():
    gains = np.array([[1.0, 0.0]])
    assert len(plan_sessions(gains, sessions=9, seats=5, subjects=2, sessions_a_person=9)) == 1
    assert plan_sessions(np.zeros((4, 2)), 3, 5, 2, 2) == []
    assert plan_sessions(np.zeros((4, 0)), 3, 5, 2, 2) == []


@given(
    gains=st.lists(st.lists(st.sampled_from([0.0, 0.0, 0.5, 1, 2, 7]), min_size=3, max_size=3), min_size=1, max_size=8),
    sessions=st.integers(0, 4), seats=st.integers(1, 4), subjects=st.integers(1, 3), most=st.integers(1, 3),
)  # fmt: skip
@settings(max_examples=200, deadline=None)
def test_seats_subjects_and_attendances_are_kept_and_nobody_is_taught_twice(gains, sessions, seats, subjects, most):
    values = np.array(gains)
    plan = plan_sessions(values, sessions, seats, subjects, most)
    assert len(plan) <= sessions
    taught = []
    for one in plan:
        assert 1 <= len(one.people) == len(set(one.people)) <= seats
        assert 1 <= len(one.subjects) == len(set(one.subjects)) <= subjects
        for k in one.subjects:
            taught += [(person, k) for person in one.taught[k].tolist()]
            assert set(one.taught[k].tolist()) <= set(one.people)
    for person in range(len(values)):
        assert sum(person in one.people for one in plan) <= most
    assert len(taught) == len(set(taught))
    assert all(values[pair] > 0 for pair in taught)


def test_whoever_was_taught_a_subject_sits_through_it_again_without_being_counted_again():
    # One seat. First A for the first person (9), then for the second (8, and B 1); left is B for the first.
    gains = np.array([[9.0, 5.0], [8.0, 1.0]])
    first, second, third = plan_sessions(gains, sessions=3, seats=1, subjects=1, sessions_a_person=2)
    assert [(one.subjects, one.people) for one in (first, second, third)] == [((0,), (0,)), ((0,), (1,)), ((1,), (0,))]
    # Two seats, one subject in the first session; in the second B is worth 6 with both, and A nothing.
    first, second = plan_sessions(gains, sessions=2, seats=2, subjects=1, sessions_a_person=2)
    assert first.taught[0].tolist() == [0, 1]
    assert (second.subjects, second.taught[1].tolist()) == ((1,), [0, 1])


def test_the_quiz_says_what_somebody_knows_only_where_the_answers_carry_it():
    # From an even prior 4 of 4 gives a Beta(5, 1): P(2/3 or more) = 1 - (2/3)^5 = 0.868. 3 of 4 gives a Beta(4, 2):
    # 1 - [5 (2/3)^4 - 4 (2/3)^5] = 0.539. 1 of 4, a Beta(2, 4): (1/3)^5 + 5 (2/3) (1/3)^4 = 0.045.
    assert knowledge(4, 4) == "known"
    assert knowledge(3, 4) == "not_clear"
    assert knowledge(1, 4) == "not_known"
    assert knowledge(0, 0) == knowledge(2, 2) == "not_asked"


def test_where_the_eye_decides_teaching_the_rule_removes_no_more_than_practice():
    assert removed_share("not_known", 0.0, CLINICS) == 0.4
    assert removed_share("known", 0.0, CLINICS) == 0.2
    assert removed_share("not_clear", 0.0, CLINICS) == removed_share("not_asked", 0.0, CLINICS) == pytest.approx(0.3)
    assert removed_share("not_known", 1.0, CLINICS) == 0.2
    # A quarter by the eye: 0.25 x 0.2 + 0.75 x 0.4.
    assert removed_share("not_known", 0.25, CLINICS) == pytest.approx(0.35)


def test_the_range_of_the_effect_is_the_rates_interval_with_the_assumption_at_its_ends():
    # 30 expected, 9 removed with a standard deviation of 2: 9 -+ 1.645 x 2 = 5.71 to 12.29; half off either way.
    low, high = Effect(30.0, 9.0, 4.0, 100.0).interval(CLINICS, 0.9)
    assert low == pytest.approx(0.5 * (9 - 1.644854 * 2), abs=1e-5)
    assert high == pytest.approx(1.5 * (9 + 1.644854 * 2), abs=1e-5)
    # No more than all can be removed: 10 of 12 times 1.5 would be 15, so the factor stays at 12 / 10.
    assert Effect(12.0, 10.0, 0.0, 100.0).interval(CLINICS, 0.9)[1] == pytest.approx(12.0)
    # Nor more than there are calls: 10 + 1.645 x 10 = 26.4 becomes 12, times 1.5.
    assert Effect(30.0, 10.0, 100.0, 12.0).interval(CLINICS, 0.9)[1] == pytest.approx(18.0)
    assert Effect(0.0, 0.0, 0.0, 0.0).interval(CLINICS, 0.9) == (0.0, 0.0)


def test_rates_without_spread_beyond_luck_are_one_rate_with_one_error():
    times, chances = np.array([2.0, 2, 2, 2]), np.array([20.0, 20, 20, 20])
    rates = shrunk_rates(times, chances)
    # Jeffreys' prior: (8 + 1/2) / (80 + 1), with the variance of a Beta(8.5, 72.5).
    assert rates.mean == pytest.approx([8.5 / 81] * 4)
    variance = 8.5 * 72.5 / (81**2 * 82)
    effect = effect_of(rates, chances, np.full(4, 0.5), np.array([0, 2]))
    assert effect.expected == pytest.approx(2 * 20 * 8.5 / 81)
    assert effect.removed == pytest.approx(20 * 8.5 / 81)
    # One error for all: the standard deviations add up, 2 x 20 x 0.5 x sd.
    assert effect.variance == pytest.approx(20**2 * variance)


def test_rates_of_a_handful_of_calls_are_one_rate_for_all():
    # One wrong of six calls of three umpires: no distribution can be told from that.
    rates = shrunk_rates(np.array([1.0, 0, 0]), np.array([2.0, 3, 1]))
    assert rates.mean == pytest.approx([1.5 / 7] * 3)
    effect = effect_of(rates, np.array([2.0, 3, 1]), np.full(3, 0.3), np.array([0]))
    assert effect.interval(CLINICS, 0.9)[1] <= 0.9


def test_all_wrong_or_a_single_umpire_gives_finite_rates():
    for times, chances in (([3.0, 2.0], [3.0, 2.0]), ([4.0], [9.0]), ([0.0, 0.0], [5.0, 0.0])):
        rates = shrunk_rates(np.array(times), np.array(chances))
        assert np.isfinite(rates.mean).all()
        assert np.isfinite(rates.sd).all()
        assert np.isfinite(rates.spread).all()


def test_who_is_picked_for_many_wrong_rulings_is_promised_no_more_than_his_true_rate():
    """Simulated seasons: the expected wrong rulings of those picked, against the truth of their rates.

    Rates come from a Beta(2, 20); 60 umpires with 5 to 60 chances; the 12 who are expected to rule wrongly most often
    are picked. Raw counts of those picked lie above the truth (the worst luck was picked), the shrunk ones do not, and
    the 90 % range of the expected number holds the truth about as often as it says (200 seasons: standard error 2 %).
    """
    rng = np.random.default_rng(7)
    inside, bias, raw_bias = 0, [], []
    for _ in range(200):
        truth = rng.beta(2, 20, 60)
        chances = rng.integers(5, 61, 60).astype(float)
        times = rng.binomial(chances.astype(int), truth).astype(float)
        rates = shrunk_rates(times, chances)
        picked = np.argsort(-rates.mean * chances, kind="stable")[:12]
        effect = effect_of(rates, chances, np.ones(60), picked)
        true = float((truth * chances)[picked].sum())
        half = 1.644854 * effect.variance**0.5
        inside += abs(effect.expected - true) <= half
        bias.append(effect.expected - true)
        raw_bias.append(float(times[picked].sum()) - true)
    assert 0.83 <= inside / 200 <= 0.96
    assert abs(np.mean(bias)) < 1.0
    assert np.mean(raw_bias) > 10


def test_a_level_is_above_the_others_only_when_its_whole_interval_is():
    # Low: 30 of 100, Wilson 90 % interval 0.230 to 0.380; the others 12 of 100. High: 10 of 50, 0.123 to 0.308, beside
    # (30 + 2) / 150 = 0.213. Top: 2 of 50, 0.013 to 0.113, beside 40 / 150 = 0.267. Interval by the formula of Newcombe.
    rows = [
        {"level": "low", "topic": "t", "times": 30, "chances": 100, "umpires": 5},
        {"level": "high", "topic": "t", "times": 10, "chances": 50, "umpires": 4},
        {"level": "top", "topic": "t", "times": 2, "chances": 50, "umpires": 2},
        {"level": "top", "topic": "only", "times": 1, "chances": 2, "umpires": 1},
    ]
    made = map_rows(rows, 0.9)
    assert [row["beside"] for row in made] == ["above", "alike", "below", "alone"]
    assert made[0]["rate"] == 0.3
    assert (round(made[0]["rate_low"], 3), round(made[0]["rate_high"], 3)) == (0.231, 0.38)
