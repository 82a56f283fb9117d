"""The two-parameter logistic model with normal persons, by marginal maximum likelihood.

    P(right) = 1 / (1 + exp(-(a_i theta + d_i))),   theta ~ normal(0, 1),   difficulty b_i = -d_i / a_i.

A person's posterior depends on the answers through ``t = sum a_i x_i`` only (and on which items were answered),
so that the likelihood and its gradient cost persons x nodes, not persons x items x nodes. The information is
exact (observed), by the formula of [2]_. What is missing is left out of the person's product (missing at
random). Identical rows of answers are counted, not repeated.

References
----------
.. [1] Bock & Aitkin 1981, Psychometrika 46, 443-459 (the marginal likelihood).
.. [2] Louis 1982, J. R. Statist. Soc. B 44, 226-233.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np
from scipy import linalg
from scipy.special import expit

from pipeline.scoring.design import Floats
from pipeline.scoring.diagnostics import FitRecord, Outcome
from pipeline.scoring.items.answers import Answers, distinct_answers
from pipeline.scoring.items.climb import Climb, climb
from pipeline.scoring.items.grid import (
    Grid,
    even_grid,
    is_fine_enough,
    met_items,
    narrowest_posterior,
)

FEWEST_ITEMS = 3
"""Two items have three free frequencies and the model four parameters."""
FAR = 40.0
CHUNK = 4096


@dataclass(frozen=True)
class TwoParameter:
    """Estimates on the scale of standard normal persons; NaN where there is none.

    Parameters
    ----------
    slope, slope_se, difficulty, difficulty_se
        Of each item; SEs of difficulties by the delta method.
    log_likelihood
        Marginal log-likelihood of the answers of all persons.
    person, person_se
        Mean and SD of each person's posterior.
    """

    slope: Floats
    slope_se: Floats
    difficulty: Floats
    difficulty_se: Floats
    log_likelihood: float
    person: Floats
    person_se: Floats
    record: FitRecord
    runaway: tuple[int, ...] = field(default=())


@dataclass(frozen=True)
class _Slab:
    """Some rows of answers, and the posterior of those who gave them."""

    right: Floats
    given: Floats
    count: Floats
    posterior: Floats
    height: Floats


class _Likelihood:
    """The marginal likelihood of one table; a point is all intercepts, then all slopes."""

    def __init__(self, answers: Answers, count: Floats, grid: Grid) -> None:
        self.answers, self.count, self.grid = answers, count, grid
        self.totals = count @ answers.right
        self.complete = answers.is_complete

    def logits(self, point: Floats) -> Floats:
        intercept, slope = np.split(point, 2)
        return intercept[:, None] + slope[:, None] * self.grid.nodes

    def slabs(self, point: Floats, logits: Floats) -> Iterator[_Slab]:
        slope = point[self.totals.size :]
        wrong = np.logaddexp(0, logits)
        whole = self.grid.log_weights - wrong.sum(axis=0)
        for start in range(0, self.answers.persons, CHUNK):
            rows = slice(start, start + CHUNK)
            right, given = self.answers.right[rows], self.answers.given[rows]
            joint = np.outer(right @ slope, self.grid.nodes)
            joint += whole if self.complete else self.grid.log_weights - given @ wrong
            peak = joint.max(axis=1)
            joint -= peak[:, None]
            np.exp(joint, out=joint)
            total = joint.sum(axis=1)
            joint /= total[:, None]
            yield _Slab(right, given, self.count[rows], joint, peak + np.log(total))

    def value(self, point: Floats) -> tuple[float, Floats]:
        items, nodes = self.totals.size, self.grid.nodes
        logits = self.logits(point)
        chance = expit(logits)
        height = float(point[:items] @ self.totals)
        seen = np.zeros(nodes.size) if self.complete else np.zeros((items, nodes.size))
        ability = np.zeros(items)
        for slab in self.slabs(point, logits):
            height += float(slab.count @ slab.height)
            mean = slab.posterior @ nodes
            ability += (slab.count * mean) @ slab.right
            if self.complete:
                seen += slab.count @ slab.posterior
            else:
                seen += (slab.given * slab.count[:, None]).T @ slab.posterior
        expected = chance * seen
        return height, np.concatenate([self.totals - expected.sum(axis=1), ability - expected @ nodes])

    def information(self, point: Floats) -> tuple[Floats, Floats]:
        """Return minus the second derivatives, and the part of them that complete data would give.

        A person's scores are ``x - P`` and ``theta (x - P)``. Minus their covariance over the posterior, summed,
        is what not knowing theta takes away; it is put together from the covariances of P, theta P and theta.
        """
        items, nodes = self.totals.size, self.grid.nodes
        logits = self.logits(point)
        chance = expit(logits)
        curves = np.concatenate([chance, chance * nodes])
        seen = np.zeros((items, nodes.size))
        lost = np.zeros((2 * items, 2 * items))
        by_node = np.zeros((0 if self.complete else nodes.size, items, items))
        for slab in self.slabs(point, logits):
            twice = np.tile(slab.given, 2)
            mean = slab.posterior @ nodes
            spread = slab.posterior @ nodes**2 - mean**2
            level = (slab.posterior @ curves.T) * twice
            shared = (slab.posterior @ (curves * nodes).T) * twice - mean[:, None] * level
            weighted = slab.right * slab.count[:, None]
            lost -= level.T @ (level * slab.count[:, None])
            cross = weighted.T @ shared
            lost[items:, :] -= cross
            lost[:, items:] -= cross.T
            lost[items:, items:] += slab.right.T @ (weighted * spread[:, None])
            if self.complete:
                seen += slab.count @ slab.posterior
            else:
                by_node += met_items(slab.given, slab.posterior * slab.count[:, None])
        if self.complete:
            lost += (curves * seen[0]) @ curves.T
        else:
            seen = np.einsum("qii->iq", by_node)
            for q in range(nodes.size):
                lost += np.tile(by_node[q], (2, 2)) * np.outer(curves[:, q], curves[:, q])
        spread_items = chance * (1 - chance) * seen
        complete = np.zeros_like(lost)
        at = np.arange(items)
        complete[at, at] = spread_items.sum(axis=1)
        complete[at, items + at] = complete[items + at, at] = spread_items @ nodes
        complete[items + at, items + at] = spread_items @ nodes**2
        return complete - lost, complete


def fit_two_parameter(answers: Answers, start_slope: float, start_intercept: Floats) -> TwoParameter:
    """Fit the model; every item must have a right and a wrong answer.

    Parameters
    ----------
    start_slope, start_intercept
        Where to start: the common slope and the intercepts of the Rasch model.
    """
    if answers.items < FEWEST_ITEMS:
        return _nothing(answers, "slopes cannot be told from fewer than three items")
    distinct, count, of_person = distinct_answers(answers)
    start = np.concatenate([start_intercept, np.full(answers.items, start_slope)])
    try:
        ended, likelihood = _search(distinct, count, start)
    except linalg.LinAlgError:
        return _nothing(answers, "the answers do not determine the slopes", Outcome.NOT_CONVERGED)
    intercept, slope = np.split(ended.point, 2)
    posterior_mean, posterior_sd = _persons(likelihood, ended.point)
    # The likelihood is the same when the persons' scale is turned round; on the whole, slopes point upwards.
    turn = 1.0 if slope.sum() >= 0 else -1.0
    slope, posterior_mean = turn * slope, turn * posterior_mean
    outcome, message, runaway = _outcome(ended, intercept, slope)
    record = FitRecord(
        outcome,
        message,
        iterations=ended.steps,
        evaluations=ended.evaluations,
        return_code=0 if ended.settled else 1,
        gradient_norm=float(np.linalg.norm(ended.gradient)),
    )
    if outcome is not Outcome.CONVERGED:
        return _nothing(answers, message, outcome, record, runaway)
    difficulty = -intercept / slope
    covariance = linalg.inv(ended.information)
    at = np.arange(answers.items)
    v_d, v_a = covariance[at, at], covariance[answers.items + at, answers.items + at]
    v_da = turn * covariance[answers.items + at, at]
    rate = intercept / slope**2
    difficulty_se = np.sqrt(v_d / slope**2 + rate**2 * v_a - 2 * rate / slope * v_da)
    return TwoParameter(
        slope,
        np.sqrt(v_a),
        difficulty,
        difficulty_se,
        ended.value,
        posterior_mean[of_person],
        posterior_sd[of_person],
        record,
    )


def _search(answers: Answers, count: Floats, start: Floats) -> tuple[Climb, _Likelihood]:
    """Climb, on a finer grid if the estimates turn out to need one."""
    grid = even_grid(0.8 * narrowest_posterior(start[answers.items :], start[: answers.items]))
    while True:
        likelihood = _Likelihood(answers, count, grid)
        ended = climb(start, likelihood.value, likelihood.information, lambda x: bool(np.abs(x).max() > FAR))
        intercept, slope = np.split(ended.point, 2)
        if not ended.settled or is_fine_enough(grid, slope, intercept):
            return ended, likelihood
        grid, start = even_grid(narrowest_posterior(slope, intercept)), ended.point


def _persons(likelihood: _Likelihood, point: Floats) -> tuple[Floats, Floats]:
    nodes, means, sds = likelihood.grid.nodes, [], []
    for slab in likelihood.slabs(point, likelihood.logits(point)):
        mean = slab.posterior @ nodes
        means.append(mean)
        sds.append(np.sqrt(np.maximum(slab.posterior @ nodes**2 - mean**2, 0.0)))
    return np.concatenate(means), np.concatenate(sds)


def _outcome(ended: Climb, intercept: Floats, slope: Floats) -> tuple[Outcome, str, tuple[int, ...]]:
    far = np.flatnonzero(np.maximum(np.abs(intercept), np.abs(slope)) > FAR)
    if far.size:
        message = "a slope grows without limit: the item splits the persons almost perfectly, or they are too few"
        return Outcome.SEPARATED, message, tuple(far.tolist())
    if not ended.settled:
        return Outcome.NOT_CONVERGED, "the search did not settle: too few answers for a slope of each item", ()
    eigenvalues = linalg.eigvalsh(ended.information)
    if eigenvalues[0] <= 1e-9 * eigenvalues[-1]:
        return Outcome.SINGULAR, "some direction of slopes and difficulties is not determined by the answers", ()
    flat = np.flatnonzero(np.abs(slope) < 1e-6)
    if flat.size:
        return Outcome.SINGULAR, "an item has slope zero, and so no difficulty", tuple(flat.tolist())
    return Outcome.CONVERGED, "the fit settled", ()


def _nothing(
    answers: Answers,
    message: str,
    outcome: Outcome = Outcome.TOO_FEW,
    record: FitRecord | None = None,
    runaway: tuple[int, ...] = (),
) -> TwoParameter:
    nan = float("nan")
    items, persons = np.full(answers.items, nan), np.full(answers.persons, nan)
    return TwoParameter(
        items, items, items, items, nan, persons, persons, record or FitRecord(outcome, message), runaway
    )
