"""The Rasch model with normal persons, by marginal maximum likelihood.

    P(right) = 1 / (1 + exp(-a (theta - b_i))),   theta ~ normal(0, 1),

with one slope ``a`` for all items, free or fixed. ``a`` is also the persons' SD in logits. Given the items that
a person answered, only the number right matters, so persons are counted by score group and the work does not
grow with their number. What is missing is left out of the person's product (missing at random).

References
----------
.. [1] Bock & Aitkin 1981, Psychometrika 46, 443-459 (the marginal likelihood).
.. [2] Louis 1982, J. R. Statist. Soc. B 44, 226-233 (the information, used here exactly).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import linalg, sparse
from scipy.special import expit, logit

from pipeline.scoring.design import Floats
from pipeline.scoring.diagnostics import FitRecord, Outcome
from pipeline.scoring.items.answers import Answers, ScoreGroups, score_groups
from pipeline.scoring.items.climb import Climb, climb
from pipeline.scoring.items.grid import (
    Grid,
    even_grid,
    is_fine_enough,
    met_items,
    narrowest_posterior,
)

NO_SLOPE = 1e-3
"""A common slope below this cannot be told from none."""
FAR = 60.0


@dataclass(frozen=True)
class MarginalRasch:
    """Estimates on the scale of standard normal persons.

    Parameters
    ----------
    difficulty, difficulty_se
        Of each item: the person who has it right half the time. NaN where there is none.
    slope, slope_se
        The common slope; its SE is NaN where the slope was fixed.
    log_likelihood
        Marginal log-likelihood of the answers (of all persons, without the multinomial constant).
    person, person_se
        Mean and SD of each person's posterior.
    """

    difficulty: Floats
    difficulty_se: Floats
    slope: float
    slope_se: float
    log_likelihood: float
    person: Floats
    person_se: Floats
    record: FitRecord


class _Likelihood:
    """The marginal likelihood of one table; a point is the intercepts, and the slope last if it is free."""

    def __init__(self, groups: ScoreGroups, grid: Grid, fixed_slope: float | None) -> None:
        self.groups, self.grid, self.fixed = groups, grid, fixed_slope
        number = groups.pattern.size
        self.of_pattern = sparse.csr_array(
            (np.ones(number), (groups.pattern, np.arange(number))), shape=(groups.masks.shape[0], number)
        )
        self.seen: tuple[Floats, Floats, Floats] | None = None

    def parts(self, point: Floats) -> tuple[Floats, float]:
        return (point[:-1], float(point[-1])) if self.fixed is None else (point, self.fixed)

    def chances(self, point: Floats) -> Floats:
        intercept, slope = self.parts(point)
        return np.asarray(expit(intercept[:, None] + slope * self.grid.nodes))

    def log_joint(self, point: Floats) -> Floats:
        """Return log P(score group's answers, node) without the items' totals, shape (groups, nodes)."""
        intercept, slope = self.parts(point)
        base = self.grid.log_weights - self.groups.masks @ np.logaddexp(0, intercept[:, None] + slope * self.grid.nodes)
        joint = base[self.groups.pattern]
        joint += np.outer(slope * self.groups.score, self.grid.nodes)
        return np.asarray(joint)

    def posterior(self, point: Floats) -> tuple[Floats, Floats]:
        if self.seen is None or not np.array_equal(self.seen[0], point):
            joint = self.log_joint(point)
            peak = joint.max(axis=1)
            joint -= peak[:, None]
            np.exp(joint, out=joint)
            total = joint.sum(axis=1)
            joint /= total[:, None]
            self.seen = point.copy(), joint, peak + np.log(total)
        return self.seen[1], self.seen[2]

    def by_pattern(self, weights: Floats) -> Floats:
        """Return the sum over groups of each pattern of answered items."""
        return np.asarray(self.of_pattern @ weights)

    def value(self, point: Floats) -> tuple[float, Floats]:
        g = self.groups
        posterior, height = self.posterior(point)
        persons = self.by_pattern(posterior * g.count[:, None])
        expected = self.chances(point) * (g.masks.T @ persons)
        intercept, _ = self.parts(point)
        total = float(intercept @ g.item_totals + g.count @ height)
        gradient = g.item_totals - expected.sum(axis=1)
        if self.fixed is None:
            ability = float((g.count * g.score) @ (posterior @ self.grid.nodes))
            gradient = np.append(gradient, ability - float(expected.sum(axis=0) @ self.grid.nodes))
        return total, gradient

    def information(self, point: Floats) -> tuple[Floats, Floats]:
        """Return minus the second derivatives, and the part of them that complete data would give [2]_."""
        g, nodes = self.groups, self.grid.nodes
        posterior, _ = self.posterior(point)
        weights = posterior * g.count[:, None]
        chance = self.chances(point)
        persons = self.by_pattern(weights)
        spread = chance * (1 - chance) * (g.masks.T @ persons)
        items = chance.shape[0]
        size = items + (self.fixed is None)
        complete, squares = np.zeros((size, size)), np.zeros((size, size))
        complete[np.arange(items), np.arange(items)] = spread.sum(axis=1)
        if g.masks.shape[0] == 1:
            squares[:items, :items] = np.outer(g.masks[0], g.masks[0]) * ((chance * persons[0]) @ chance.T)
        else:
            squares[:items, :items] = np.einsum("qik,iq,kq->ik", met_items(g.masks, persons), chance, chance)
        means = np.zeros((g.count.size, size))
        means[:, :items] = g.masks[g.pattern] * (posterior @ chance.T)
        if self.fixed is None:
            complete[items, :items] = complete[:items, items] = spread @ nodes
            complete[items, items] = float(spread.sum(axis=0) @ nodes**2)
            pull = nodes * (g.score[:, None] - (g.masks @ chance)[g.pattern])
            # The intercept's score is x - P, the slope's theta (s - sum P): hence the minus.
            shared = -np.sum(chance * (g.masks.T @ self.by_pattern(weights * pull)), axis=1)
            squares[items, :items] = squares[:items, items] = shared
            squares[items, items] = float(np.sum(weights * pull**2))
            means[:, items] = -np.sum(posterior * pull, axis=1)
        return complete - squares + means.T @ (means * g.count[:, None]), complete


def fit_marginal_rasch(answers: Answers, fixed_slope: float | None = None) -> MarginalRasch:
    """Fit the model; every item must have a right and a wrong answer.

    Parameters
    ----------
    fixed_slope
        The common slope, or None to estimate it (needs two items).
    """
    groups = score_groups(answers)
    if fixed_slope is None and answers.items < 2:
        return _nothing(answers, Outcome.TOO_FEW, "a common slope cannot be told from one item; two are needed")
    start = np.asarray(logit(answers.item_totals / answers.item_counts))
    if fixed_slope is None:
        start = np.append(1.15 * start, 1.0)
    ended, likelihood = _search(groups, start, fixed_slope)
    intercept, slope = likelihood.parts(ended.point)
    if fixed_slope is None and slope < 0:
        # The likelihood is the same for a and -a (the persons' scale turned round).
        ended.point[-1], slope = -slope, -slope
    outcome, message = _outcome(ended, slope, fixed_slope)
    record = FitRecord(
        outcome,
        message,
        end={"slope": slope},
        iterations=ended.steps,
        evaluations=ended.evaluations,
        return_code=0 if ended.settled else 1,
        gradient_norm=float(np.linalg.norm(ended.gradient)),
    )
    posterior, _ = likelihood.posterior(ended.point)
    nodes = likelihood.grid.nodes
    mean = posterior @ nodes
    sd = np.sqrt(np.maximum(posterior @ nodes**2 - mean**2, 0.0))
    difficulty = np.full(answers.items, np.nan)
    se, slope_se = difficulty.copy(), float("nan")
    if outcome is Outcome.CONVERGED:
        difficulty = -intercept / slope
        se, slope_se = _errors(ended, intercept, slope, fixed_slope)
    of_person = groups.of_person
    return MarginalRasch(difficulty, se, slope, slope_se, ended.value, mean[of_person], sd[of_person], record)


def _search(groups: ScoreGroups, start: Floats, fixed_slope: float | None) -> tuple[Climb, _Likelihood]:
    """Climb, on a finer grid if the estimates turn out to need one."""
    items = groups.item_totals.size
    slope = 1.0 if fixed_slope is None else fixed_slope
    grid = even_grid(narrowest_posterior(np.full(items, slope), start[:items]))
    while True:
        likelihood = _Likelihood(groups, grid, fixed_slope)
        ended = climb(start, likelihood.value, likelihood.information, lambda x: bool(np.abs(x).max() > FAR))
        intercept, slope = likelihood.parts(ended.point)
        slopes = np.full(items, slope)
        if not ended.settled or is_fine_enough(grid, slopes, intercept):
            return ended, likelihood
        grid, start = even_grid(narrowest_posterior(slopes, intercept)), ended.point


def _outcome(ended: Climb, slope: float, fixed_slope: float | None) -> tuple[Outcome, str]:
    if not ended.settled:
        return Outcome.NOT_CONVERGED, "the search did not settle: the estimates run away or the answers are too few"
    if fixed_slope is None and slope < NO_SLOPE:
        return (
            Outcome.SINGULAR,
            "the common slope is zero: persons do not differ more than chance, and no difficulty can be placed on "
            "their scale",
        )
    eigenvalues = linalg.eigvalsh(ended.information)
    if eigenvalues[0] <= 1e-10 * eigenvalues[-1]:
        return Outcome.SINGULAR, "the answers do not determine slope and difficulties together: they are too few"
    return Outcome.CONVERGED, "the fit settled"


def _errors(ended: Climb, intercept: Floats, slope: float, fixed_slope: float | None) -> tuple[Floats, float]:
    """Return the SEs of the difficulties -d / a by the delta method, and of the slope."""
    covariance = linalg.inv(ended.information)
    items = np.arange(intercept.size)
    variance = covariance[items, items] / slope**2
    if fixed_slope is not None:
        return np.sqrt(variance), float("nan")
    rate = intercept / slope**2
    variance = variance + rate**2 * covariance[-1, -1] - 2 * rate / slope * covariance[items, -1]
    return np.sqrt(variance), float(np.sqrt(covariance[-1, -1]))


def _nothing(answers: Answers, outcome: Outcome, message: str) -> MarginalRasch:
    nan = float("nan")
    items, persons = np.full(answers.items, nan), np.full(answers.persons, nan)
    return MarginalRasch(items, items, nan, nan, nan, persons, persons, FitRecord(outcome, message))
