"""Shrinkage of many rates at once without a model of situations: two classical ways, for checks and plain tables."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import betaln, digamma, gammaln, polygamma

from pipeline.scoring.design import Floats

_MOST_STEPS = 200


@dataclass(frozen=True)
class JamesStein:
    """Estimates moved towards their mean; `kept` is the share of each deviation that is kept."""

    estimates: Floats
    kept: float


def james_stein(values: ArrayLike, sd: float) -> JamesStein:
    """Return the (not positive-part) estimates of Efron & Morris 1975, J. Am. Stat. Assoc. 70.

    Parameters
    ----------
    values
        One measurement per person, all with standard deviation `sd`; at least four.

    Raises
    ------
    ValueError
        There are fewer than four values, or they are all the same.
    """
    x = np.asarray(values, dtype=np.float64)
    square = float(np.sum((x - x.mean()) ** 2))
    if x.size < 4 or square == 0:
        raise ValueError("at least four values that differ are needed")
    kept = 1 - (x.size - 3) * sd**2 / square
    return JamesStein(x.mean() + kept * (x - x.mean()), kept)


@dataclass(frozen=True)
class BetaBinomial:
    """Rates of groups drawn from a beta distribution; each estimate is the mean given the group's own count."""

    alpha: float
    beta: float
    log_likelihood: float
    estimates: Floats


def beta_binomial(successes: ArrayLike, trials: ArrayLike) -> BetaBinomial:
    """Return the maximum-likelihood beta distribution of the groups' rates (binomial coefficients included).

    Newton's method on the logarithms of alpha and beta, from the moments of the raw rates.

    Raises
    ------
    ValueError
        The rates spread no more than luck gives: the likelihood has no maximum at finite alpha and beta.
    """
    y, n = np.asarray(successes, dtype=np.float64), np.asarray(trials, dtype=np.float64)
    rate = y.sum() / n.sum()
    at = np.log(np.array([rate, 1 - rate]) * 5.0)

    def value(logs: Floats) -> float:
        a, b = np.exp(logs)
        coefficients = gammaln(n + 1) - gammaln(y + 1) - gammaln(n - y + 1)
        return float(np.sum(coefficients + betaln(y + a, n - y + b) - betaln(a, b)))

    here = value(at)
    for _ in range(_MOST_STEPS):
        a, b = np.exp(at)
        both = np.sum(digamma(a + b) - digamma(n + a + b))
        slope = np.array([np.sum(digamma(y + a) - digamma(a)) + both, np.sum(digamma(n - y + b) - digamma(b)) + both])
        cross = np.sum(polygamma(1, a + b) - polygamma(1, n + a + b))
        own = np.array(
            [
                np.sum(polygamma(1, y + a) - polygamma(1, a)),
                np.sum(polygamma(1, n - y + b) - polygamma(1, b)),
            ]
        )
        scale = np.array([a, b])
        gradient = slope * scale
        hessian = (np.diag(own) + cross) * np.outer(scale, scale) + np.diag(gradient)
        values, vectors = np.linalg.eigh(-hessian)
        step = vectors @ ((vectors.T @ gradient) / np.maximum(np.abs(values), 1e-6))
        step *= min(1.0, 1.0 / max(float(np.abs(step).max()), 1e-12))
        if float(np.abs(gradient).max()) < 1e-9:
            break
        while value(at + step) < here - 1e-12 * abs(here) and float(np.abs(step).max()) > 1e-12:
            step = step / 2
        at, here = at + step, value(at + step)
        if at.max() > 15:
            raise ValueError("the rates spread no more than luck gives")
    a, b = (float(part) for part in np.exp(at))
    return BetaBinomial(a, b, here, (y + a) / (n + a + b))
