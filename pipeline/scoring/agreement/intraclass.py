"""Intraclass correlations of a complete table, subjects by raters, with intervals.

References
----------
.. [1] Shrout & Fleiss 1979, Psychological Bulletin 86, 420-428 (names, estimates, intervals).
.. [2] McGraw & Wong 1996, Psychological Methods 1, 30-46 (the interval of (2, 1) as used here).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.stats import f as f_distribution

from pipeline.scoring.design import Floats

_NAN = float("nan")


@dataclass(frozen=True)
class MeanSquares:
    """The two-way table of variance: between subjects, within them, between raters, and what is left."""

    subjects: int
    raters: int
    between: float
    within: float
    rater: float
    residual: float


def mean_squares(table: Floats) -> MeanSquares:
    """Return the mean squares of a complete table of at least two subjects and two raters."""
    n, k = table.shape
    centred = table - table.mean()
    rows, columns = centred.mean(axis=1), centred.mean(axis=0)
    rest = centred - rows[:, None] - columns
    between, rater = k * float(rows @ rows), n * float(columns @ columns)
    residual = float(np.sum(rest**2))
    return MeanSquares(
        n, k, between / (n - 1), (rater + residual) / (n * (k - 1)), rater / (k - 1), residual / ((n - 1) * (k - 1))
    )


@dataclass(frozen=True)
class Intraclass:
    """One coefficient and its two-sided interval; NaN where there is none."""

    value: float
    low: float
    high: float


def intraclass_correlations(table: Floats, coverage: float = 0.95) -> dict[str, Intraclass]:
    """Return the six coefficients of [1]_ by name, `icc_1_1` to `icc_3_k`.

    1: each subject by raters of its own; 2: the same raters, a sample of all; 3: these raters and no others. The
    second part is 1 for a single score and `k` for the mean of all raters.
    """
    m = mean_squares(table)
    n, k = m.subjects, m.raters
    mixed = m.between + (k - 1) * m.residual + k * (m.rater - m.residual) / n
    one = _of_ratio(m.between, m.within, n - 1, n * (k - 1), k, coverage)
    three = _of_ratio(m.between, m.residual, n - 1, (n - 1) * (k - 1), k, coverage)
    single = _over(m.between - m.residual, mixed)
    low, high = _random_raters(m, single, coverage)
    # Spearman-Brown takes the ends of the single score's interval to those of the mean's.
    several = Intraclass(
        _over(m.between - m.residual, m.between + (m.rater - m.residual) / n),
        _over(k * low, 1 + (k - 1) * low),
        _over(k * high, 1 + (k - 1) * high),
    )
    return {
        "icc_1_1": one[0],
        "icc_2_1": Intraclass(single, low, high),
        "icc_3_1": three[0],
        "icc_1_k": one[1],
        "icc_2_k": several,
        "icc_3_k": three[1],
    }


def _over(part: float, whole: float) -> float:
    return part / whole if whole != 0 else _NAN


def _of_ratio(
    between: float, error: float, df_between: int, df_error: int, k: int, coverage: float
) -> tuple[Intraclass, Intraclass]:
    """Return single and mean coefficient where both rest on one ratio of mean squares."""
    single, mean = _over(between - error, between + (k - 1) * error), _over(between - error, between)
    if error <= 0:
        return Intraclass(single, _NAN, _NAN), Intraclass(mean, _NAN, _NAN)
    tail = (1 + coverage) / 2
    low = between / error / f_distribution.ppf(tail, df_between, df_error)
    high = between / error * f_distribution.ppf(tail, df_error, df_between)
    return (
        Intraclass(single, float((low - 1) / (low + k - 1)), float((high - 1) / (high + k - 1))),
        Intraclass(mean, float(1 - 1 / low) if low > 0 else _NAN, float(1 - 1 / high) if high > 0 else _NAN),
    )


def _random_raters(m: MeanSquares, single: float, coverage: float) -> tuple[float, float]:
    n, k = m.subjects, m.raters
    if m.residual <= 0 or np.isnan(single):
        return _NAN, _NAN
    ratio = m.rater / m.residual
    rest = n * (1 + (k - 1) * single) - k * single
    df = (k - 1) * (n - 1) * (k * single * ratio + rest) ** 2 / ((n - 1) * (k * single * ratio) ** 2 + rest**2)
    if df <= 0:
        return _NAN, _NAN
    tail = (1 + coverage) / 2
    below, above = f_distribution.ppf(tail, n - 1, df), f_distribution.ppf(tail, df, n - 1)
    spread = k * m.rater + (k * n - k - n) * m.residual
    low = n * (m.between - below * m.residual) / (below * spread + n * m.between)
    high = n * (above * m.between - m.residual) / (spread + n * above * m.between)
    return float(low), float(high)
