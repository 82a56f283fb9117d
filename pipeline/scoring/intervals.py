"""Intervals for a plain proportion."""

from __future__ import annotations

import math
from statistics import NormalDist

from scipy.special import betaincinv


def wilson(successes: float, trials: float, coverage: float) -> tuple[float, float]:
    """Return the Wilson score interval of a proportion; (0, 1) when nothing was seen.

    Parameters
    ----------
    successes, trials
        Counts.
    coverage
        Two-sided, as 0.9.

    Notes
    -----
    Formula of Newcombe 1998, Statistics in Medicine 17, method 3.
    """
    if trials <= 0:
        return 0.0, 1.0
    z = NormalDist().inv_cdf(0.5 + coverage / 2)
    rate = successes / trials
    centre = (rate + z * z / (2 * trials)) / (1 + z * z / trials)
    half = z / (1 + z * z / trials) * math.sqrt(rate * (1 - rate) / trials + z * z / (4 * trials * trials))
    # At 0 of n and n of n one end is exact; the square root would leave it off by a rounding error.
    low = 0.0 if successes == 0 else max(0.0, centre - half)
    high = 1.0 if successes == trials else min(1.0, centre + half)
    return low, high


def exact(successes: float, trials: float, coverage: float) -> tuple[float, float]:
    """Return the exact interval of a proportion, which covers at least at its rate; (0, 1) when nothing was seen.

    Notes
    -----
    Clopper & Pearson 1934, Biometrika 26, by quantiles of the beta distribution; method 5 of Newcombe 1998.
    """
    if trials <= 0:
        return 0.0, 1.0
    tail = (1 - coverage) / 2
    wrong = trials - successes
    low = 0.0 if successes == 0 else float(betaincinv(successes, wrong + 1, tail))
    high = 1.0 if wrong == 0 else float(betaincinv(successes + 1, wrong, 1 - tail))
    return low, high
