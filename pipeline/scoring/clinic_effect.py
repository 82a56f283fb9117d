"""What a clinic session would take away: everybody's expected wrong rulings, and the share that teaching removes."""

from __future__ import annotations

from dataclasses import dataclass
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray
from scipy.special import betainc, digamma, polygamma

from pipeline.config import Clinics
from pipeline.scoring.design import Floats
from pipeline.scoring.shrinkage import beta_binomial

KNOWLEDGE = ("not_known", "known", "not_clear", "not_asked")
"""What the quiz says of an umpire and a subject."""

KNOWN_FROM = 2 / 3
"""Somebody who truly answers at least this share of a subject's items right knows it (our own choice, no source)."""

FEWEST_ANSWERS = 3
"""With fewer answers nothing is said (our own choice, no source)."""

SURE = 0.8
"""So sure must the answers make us of it, or of its contrary (our own choice, no source)."""


@dataclass(frozen=True)
class Rates:
    """Each umpire's rate of wrong rulings on one subject, given the season.

    `mean` and `sd` have shape (umpires,): the mean, and the standard deviation from his own calls. What is common to
    all, the distribution that the rates are drawn from, is itself not known exactly: `slope`, shape (umpires, k), says
    how the means move with its k parameters, `spread`, shape (k, k), is their covariance.
    """

    mean: Floats
    sd: Floats
    slope: Floats
    spread: Floats


UNTOLD = 3.0
"""Where the logarithm of a parameter of the rates' distribution has a larger standard deviation (it may be off
twentyfold), so few calls tell nothing of differences between umpires (our own choice, no source)."""


def shrunk_rates(times: Floats, chances: Floats) -> Rates:
    """Return the rates of umpires drawn from one beta distribution, each given his own count.

    The umpires of highest count are those whom luck hurt most; without shrinkage a plan that picks them would
    promise what luck alone gives back. Where the season shows no difference between umpires beyond luck, or tells
    nothing of it, all have one rate, and one error.

    Parameters
    ----------
    times, chances
        Wrong rulings and graded calls of each umpire, shape (umpires,); not all chances are 0.
    """
    seen = chances > 0
    total, tried = float(times.sum()), float(chances.sum())
    if seen.sum() > 1 and 0 < total < tried:
        try:
            with np.errstate(all="ignore"):
                found = beta_binomial(times[seen], chances[seen])
                rates = _drawn_rates(found.alpha, found.beta, times, chances)
        except (ValueError, FloatingPointError, np.linalg.LinAlgError):
            rates = None
        if rates is not None:
            return rates
    # Jeffreys' prior for one rate.
    a, b = total + 0.5, tried - total + 0.5
    mean = np.full(times.shape, a / (a + b))
    variance = a * b / ((a + b) ** 2 * (a + b + 1))
    return Rates(mean, np.zeros(times.shape), np.ones((len(mean), 1)), np.array([[variance]]))


def _drawn_rates(alpha: float, beta: float, times: Floats, chances: Floats) -> Rates | None:
    """Return the rates under a fitted beta distribution; None where its parameters cannot be told."""
    a, b, n = alpha + times, beta + chances - times, alpha + beta + chances
    mean = a / n
    slope = np.column_stack([alpha * (1 - mean) / n, -beta * mean / n])
    # Second derivatives of the log-likelihood in the logarithms of alpha and beta.
    both = np.sum(digamma(alpha + beta) - digamma(n))
    first = np.array([np.sum(digamma(a) - digamma(alpha)) + both, np.sum(digamma(b) - digamma(beta)) + both])
    cross = np.sum(polygamma(1, alpha + beta) - polygamma(1, n))
    own = [np.sum(polygamma(1, a) - polygamma(1, alpha)), np.sum(polygamma(1, b) - polygamma(1, beta))]
    scale = np.array([alpha, beta])
    second = (np.diag(own) + cross) * np.outer(scale, scale) + np.diag(first * scale)
    spread = np.linalg.inv(-second)
    if not np.isfinite(spread).all():
        return None
    least, most = np.linalg.eigvalsh(spread)
    if least <= 0 or most > UNTOLD**2:
        return None
    return Rates(mean, np.sqrt(mean * (1 - mean) / (n + 1)), slope, spread)


def knowledge(right: int, answers: int) -> str:
    """Return one of KNOWLEDGE from the answers to a subject's items.

    The chance that the true share of right answers is KNOWN_FROM or more, from an even prior: at least SURE is
    known, at most 1 - SURE is not known. Under FEWEST_ANSWERS he counts as not asked.
    """
    if answers < FEWEST_ANSWERS:
        return "not_asked"
    p_known = 1 - float(betainc(right + 1, answers - right + 1, KNOWN_FROM))
    if p_known >= SURE:
        return "known"
    return "not_known" if p_known <= 1 - SURE else "not_clear"


def removed_share(state: str, judged: float, clinics: Clinics) -> float:
    """Return what share of somebody's wrong rulings on a subject one session is supposed to remove.

    Parameters
    ----------
    state
        One of KNOWLEDGE.
    judged
        The share of the subject's wrong rulings that are a matter of the eye; there a rule taught helps nobody.
    """
    rules, practice = clinics.share_removed_rules, clinics.share_removed_practice
    taught = {"not_known": rules, "known": practice}.get(state, (rules + practice) / 2)
    return judged * practice + (1 - judged) * taught


@dataclass(frozen=True)
class Effect:
    """Wrong rulings expected of some umpires in a season like this one, and how many of them a session removes.

    `variance` is that of `removed`, from the rates alone; `most` is what would be removed if every graded call of
    theirs were wrong.
    """

    expected: float
    removed: float
    variance: float
    most: float

    def __add__(self, other: Effect) -> Effect:
        """Return the effect of both, on different pairs of umpire and subject."""
        return Effect(
            self.expected + other.expected, self.removed + other.removed, self.variance + other.variance,
            self.most + other.most,
        )  # fmt: skip

    def interval(self, clinics: Clinics, coverage: float) -> tuple[float, float]:
        """Return the range of `removed`: the rates' interval, with the assumed shares at their low and high ends.

        No share exceeds 1, and no more is removed than there are calls.
        """
        half = NormalDist().inv_cdf(0.5 + coverage / 2) * self.variance**0.5
        off = clinics.share_removed_off
        factor = min(1 + off, self.expected / self.removed) if self.removed > 0 else 1.0
        return max(0.0, self.removed - half) * (1 - off), min(self.removed + half, self.most) * factor


NOTHING = Effect(0.0, 0.0, 0.0, 0.0)


def effect_of(rates: Rates, chances: Floats, shares: Floats, chosen: NDArray[np.int64]) -> Effect:
    """Return the effect of teaching one subject to the umpires at the places `chosen`.

    Parameters
    ----------
    rates, chances, shares
        Of all umpires: rates, graded calls, and the share that a session removes; shape (umpires,).
    chosen
        Places of those who are taught.
    """
    wrong, weight = rates.mean * chances, (chances * shares)[chosen]
    common = weight @ rates.slope[chosen]
    variance = float(np.square(weight * rates.sd[chosen]).sum()) + float(common @ rates.spread @ common)
    return Effect(float(wrong[chosen].sum()), float((wrong * shares)[chosen].sum()), variance, float(weight.sum()))
