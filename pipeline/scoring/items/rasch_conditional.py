"""The Rasch model by conditional maximum likelihood: nothing is assumed of the persons.

Given a person's score ``s`` on the items that he answered, the chance of his answers is
``exp(-sum b_i x_i) / gamma_s``, with ``gamma_s`` the elementary symmetric function of order ``s`` of ``exp(-b)``
over those items [1]_. A person counts with the items that he answered, so that gaps need no filling in: groups
are formed by the items answered and the score, each with its own symmetric functions.

The functions are computed without cancellation. Tilt the items by the ability ``t`` whose expected score is
``s``; then ``gamma_s = exp(-t s) prod(1 + exp(t - b_i)) pmf(s)``, where ``pmf`` is the distribution of a sum of
independent 0/1 variables, and its value at the mean is the mean of its characteristic function over points of the
unit circle (a discrete Fourier transform) [2]_: exact with more than ``n`` points, and exact to rounding with as
many as the spread of the score asks for. The chances of an item, and of
two items, given the score, are means of the same function times one, or two, factors.

References
----------
.. [1] Andersen 1972, J. R. Statist. Soc. B 34, 42-54.
.. [2] Hong 2013, Computational Statistics and Data Analysis 59, 41-51 (the transform).
.. [3] Fischer 1981, Psychometrika 46, 59-77 (when the estimates exist).
.. [4] Bennett 1962, J. Am. Statist. Assoc. 57, 33-45.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from scipy import linalg, sparse
from scipy.sparse import csgraph
from scipy.special import expit, logit

from pipeline.scoring.design import Codes, Floats
from pipeline.scoring.diagnostics import FitRecord, Outcome
from pipeline.scoring.items.answers import Answers, ScoreGroups, score_groups
from pipeline.scoring.items.climb import climb
from pipeline.scoring.items.tilt import tilts

_NUMBERS = 500_000
_ROWS = 4096
MANY_GROUPS = 5_000
ROUNDING = 1e-15
"""What is below this part of a chance is left out."""


@dataclass(frozen=True)
class ConditionalRasch:
    """Estimates in logits; NaN where there is none.

    Parameters
    ----------
    difficulty
        Of each item, adding up to zero.
    difficulty_se
        From the exact conditional information, under the same restriction.
    log_likelihood
        Conditional log-likelihood of all persons.
    linked
        Number of the set that each item belongs to; with more than one there are no estimates.
    """

    difficulty: Floats
    difficulty_se: Floats
    log_likelihood: float
    linked: Codes
    record: FitRecord


@dataclass(frozen=True)
class GroupChances:
    """Of some score groups: log gamma, and the chance of each item to be right given the score."""

    rows: Codes
    log_gamma: Floats
    chance: Floats
    factors: tuple[Floats, Floats]
    """Real and imaginary part, each of shape (groups, points, items): each point's factor of an item."""
    weights: tuple[Floats, Floats]
    """Real and imaginary part, each of shape (groups, points): what a product of factors is weighted with."""


def _points_needed(variance: float, items: int) -> int:
    """Return how many points of the circle tell a score's chance from those of all scores that could be taken for it.

    With M points the chances of scores that lie M apart are added together. By Bennett's inequality [4]_ a sum of
    0/1 variables lies M above, or below, its mean with chance at most ``exp(-v h(M / v))``,
    ``h(u) = (1 + u) log(1 + u) - u``; M is the first for which that is below rounding. Odd, to keep off -1, where an
    item of chance one half is zero; never more than the items ask for.
    """
    whole = items + 1 + items % 2
    number = np.arange(1, whole, 2)
    far = number / max(variance, 1e-300)
    enough = variance * ((1 + far) * np.log1p(far) - far) > -np.log(ROUNDING)
    return int(number[enough][0]) if enough.any() else whole


def group_chances(difficulty: Floats, groups: ScoreGroups) -> Iterator[GroupChances]:
    """Go through the score groups, some at a time, those alike in the spread of their scores together.

    The difficulties may have any origin.
    """
    items = difficulty.size
    tilt = _tilts(difficulty, groups)
    spread = _spreads(difficulty, groups, tilt)
    order = np.argsort(spread, kind="stable")
    start = 0
    while start < order.size:
        # In the order of their spread the last of a slab needs the most points, and the first reaches furthest.
        least = float(spread[order[start]])
        stop = min(start + max(1, _NUMBERS // (items * (items // 2 + 1))), order.size)
        number = _points_needed(float(spread[order[stop - 1]]), items)
        points = np.arange(number // 2 + 1)
        angle = 2 * np.pi * points / number
        # Each factor is at most exp(-p (1 - p) (1 - cos)) in size: far round the circle nothing is left.
        angle = angle[least * (1 - np.cos(angle)) < -np.log(ROUNDING)]
        yield _slab(difficulty, groups, np.sort(order[start:stop]), tilt, angle, number)
        start = stop


def _tilts(difficulty: Floats, groups: ScoreGroups) -> Floats:
    found = np.empty(groups.count.size)
    for start in range(0, found.size, _ROWS):
        rows = slice(start, start + _ROWS)
        # The result is the same at any tilt; near the score it is free of cancellation.
        found[rows] = tilts(difficulty, groups.masks[groups.pattern[rows]], groups.score[rows], within=0.05)
    return found


def _spreads(difficulty: Floats, groups: ScoreGroups, tilt: Floats) -> Floats:
    """Return the variance of the score of each group at its tilt."""
    found = np.empty(tilt.size)
    for start in range(0, found.size, _ROWS):
        rows = slice(start, start + _ROWS)
        chance = expit(tilt[rows, None] - difficulty)
        found[rows] = np.sum(chance * (1 - chance) * groups.masks[groups.pattern[rows]], axis=1)
    return found


def _slab(
    difficulty: Floats, groups: ScoreGroups, rows: Codes, tilts_of: Floats, angle: Floats, number: int
) -> GroupChances:
    mask, score, tilt = groups.masks[groups.pattern[rows]], groups.score[rows], tilts_of[rows]
    # Half of the circle is enough: the other half is its mirror image.
    twice = np.where(angle == 0, 1.0, 2.0) / number
    right = expit(tilt[:, None] - difficulty) * mask
    wrong = 1 - right
    cosine, sine = np.cos(angle), np.sin(angle)
    both = right * wrong
    # An item's part of the characteristic function is e = q + p exp(i a), its square |e|^2 = 1 - 2 p q (1 - cos a).
    square = 1 - 2 * both[:, None, :] * (1 - cosine)[None, :, None]
    each = np.empty((rows.size, angle.size, difficulty.size), dtype=np.complex128)
    each.real = wrong[:, None, :] + right[:, None, :] * cosine[None, :, None]
    each.imag = right[:, None, :] * sine[None, :, None]
    shifted = np.multiply.reduce(each, axis=2) * np.exp(-1j * angle * score[:, None])
    mass = shifted.real @ twice
    weights = shifted * twice / mass[:, None]
    # p exp(i a) / e = p (p + q exp(i a)) / |e|^2, without a complex division.
    np.divide(1.0, square, out=square)
    real = (right**2)[:, None, :] + both[:, None, :] * cosine[None, :, None]
    real *= square
    imaginary = both[:, None, :] * sine[None, :, None]
    imaginary *= square
    given = (weights.real[:, None, :] @ real - weights.imag[:, None, :] @ imaginary)[:, 0, :]
    # log(1 - P) is -log(1 + exp(t - b)).
    whole = np.sum(np.logaddexp(0, tilt[:, None] - difficulty) * mask, axis=1)
    return GroupChances(
        rows,
        whole - tilt * score + np.log(mass),
        given,
        (real, imaginary),
        (np.ascontiguousarray(weights.real), np.ascontiguousarray(weights.imag)),
    )


def _shortened(values: Floats) -> Floats:
    return np.asarray(values, dtype=np.float32)


class _Likelihood:
    """The conditional likelihood; a point is the difficulties, whose origin does not matter."""

    def __init__(self, groups: ScoreGroups, totals: Floats) -> None:
        self.groups, self.totals = groups, totals

    def value(self, point: Floats) -> tuple[float, Floats]:
        height, gradient = -float(point @ self.totals), -self.totals
        for some in group_chances(point, self.groups):
            count = self.groups.count[some.rows]
            height -= float(count @ some.log_gamma)
            gradient = gradient + count @ some.chance
        return height, gradient

    def exact(self, point: Floats) -> Floats:
        """Return the information: the sum over persons of the covariance of their answers given the score."""
        items = point.size
        # Where groups are many, single precision within a slab is enough for standard errors, and twice as fast.
        short = self.groups.count.size > MANY_GROUPS
        both, single, means = np.zeros((items, items)), np.zeros(items), np.zeros((items, items))
        for some in group_chances(point, self.groups):
            count = self.groups.count[some.rows]
            flat = [part.reshape(-1, items) for part in some.factors]
            columns = [(part * count[:, None]).reshape(-1, 1) for part in some.weights]
            real, imaginary, level, turned = (_shortened(part) if short else part for part in (*flat, *columns))
            # The real part of the weight times the product of two factors.
            both += (level * real - turned * imaginary).T @ real - (level * imaginary + turned * real).T @ imaginary
            single += count @ some.chance
            means += some.chance.T @ (some.chance * count[:, None])
        np.fill_diagonal(both, single)
        return both - means

    def information(self, point: Floats) -> tuple[Floats, Floats]:
        # The origin is free: a ridge along it leaves every other direction as it is, and that one at rest.
        exact = self.exact(point)
        ridge = np.full_like(exact, np.trace(exact) / exact.shape[0] ** 2)
        return exact + ridge, np.diag(np.diag(exact)) + ridge


def fit_conditional_rasch(answers: Answers) -> ConditionalRasch:
    """Fit the model; every item must have a right and a wrong answer."""
    items = answers.items
    linked = linked_items(answers)
    if items < 2:
        return _nothing(answers, linked, Outcome.TOO_FEW, "one item cannot be compared; two are needed")
    if linked.max() > 0:
        return _nothing(
            answers,
            linked,
            Outcome.SEPARATED,
            "the items fall into sets that cannot be compared: no chain of persons did better on one and worse on "
            "the other, in both directions",
        )
    groups = _informative(score_groups(answers))
    totals = _totals(answers)
    start = -np.asarray(logit(np.clip(answers.item_totals / answers.item_counts, 1e-6, 1 - 1e-6)))
    likelihood = _Likelihood(groups, totals)
    ended = climb(
        1.1 * (start - start.mean()), likelihood.value, likelihood.information, lambda x: bool(np.abs(x).max() > 60)
    )
    record = FitRecord(
        Outcome.CONVERGED if ended.settled else Outcome.NOT_CONVERGED,
        "the fit settled" if ended.settled else "the search did not settle",
        iterations=ended.steps,
        evaluations=ended.evaluations,
        return_code=0 if ended.settled else 1,
        gradient_norm=float(np.linalg.norm(ended.gradient)),
    )
    if not ended.settled:
        return _nothing(answers, linked, record.outcome, record.message, record)
    exact = likelihood.exact(ended.point)
    # The inverse under sum b = 0: add the free direction, invert, take it away again.
    level = np.trace(exact) / items
    variance = np.diag(linalg.inv(exact + level / items)) - 1 / (level * items)
    return ConditionalRasch(
        ended.point - ended.point.mean(), np.sqrt(np.maximum(variance, 0.0)), ended.value, linked, record
    )


def linked_items(answers: Answers) -> Codes:
    """Return for each item the number of its set, from 0.

    Item i leads to item k when somebody had i right and k wrong. Two items can be compared when each leads to the
    other, by a chain [3]_; only then do finite estimates exist.
    """
    leads = answers.right.T @ (answers.given - answers.right) > 0
    _, label = csgraph.connected_components(sparse.csr_array(leads), directed=True, connection="strong")
    _, first = np.unique(label, return_index=True)
    order = {int(label[at]): place for place, at in enumerate(np.sort(first))}
    return np.array([order[int(name)] for name in label], dtype=np.int64)


def _informative(groups: ScoreGroups) -> ScoreGroups:
    """Leave out those with nothing or everything right: their score settles every answer."""
    number = groups.masks.sum(axis=1)[groups.pattern]
    kept = (groups.score > 0) & (groups.score < number)
    return ScoreGroups(
        groups.masks, groups.pattern[kept], groups.score[kept], groups.count[kept], groups.of_person, groups.item_totals
    )


def _totals(answers: Answers) -> Floats:
    """Return the right answers of each item from the persons who are informative."""
    score, number = answers.right.sum(axis=1), answers.given.sum(axis=1)
    kept = (score > 0) & (score < number)
    return np.asarray(kept.astype(np.float64) @ answers.right)


def _nothing(
    answers: Answers, linked: Codes, outcome: Outcome, message: str, record: FitRecord | None = None
) -> ConditionalRasch:
    blank = np.full(answers.items, np.nan)
    return ConditionalRasch(blank, blank, float("nan"), linked, record or FitRecord(outcome, message))
