"""Kappa: agreement beyond chance of two raters, and of several."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from pipeline.scoring.design import Floats

_NAN = float("nan")


def cohen_kappa(counts: ArrayLike, disagreement: ArrayLike | None = None) -> float:
    """Return Cohen's kappa of a square table, rows one rater and columns the other.

    NaN when nothing was judged or chance alone would agree always (both raters used one and the same category
    only).

    Parameters
    ----------
    disagreement
        Weight of each cell, 0 on the diagonal; without it every disagreement counts 1.

    References
    ----------
    Cohen 1960, Educational and Psychological Measurement 20, 37-46; with weights 1968, Psychological Bulletin 70.
    """
    table = np.asarray(counts, dtype=np.float64)
    total = table.sum()
    weights = 1 - np.eye(table.shape[0]) if disagreement is None else np.asarray(disagreement, dtype=np.float64)
    if total == 0:
        return _NAN
    observed = float(np.sum(weights * table)) / total
    expected = float(table.sum(axis=1) @ weights @ table.sum(axis=0)) / total**2
    return float(1 - observed / expected) if expected > 0 else _NAN


def distance_weights(values: ArrayLike, power: int) -> Floats:
    """Return the disagreement of each pair of values as their distance to a power, 1 (linear) or 2 (quadratic)."""
    x = np.asarray(values, dtype=np.float64)
    return np.asarray(np.abs(x[:, None] - x) ** power)


def fleiss_kappa(counts: ArrayLike) -> tuple[float, float, float]:
    """Return Fleiss' kappa, the observed and the expected agreement.

    NaN when a subject has fewer than two ratings or another number than the rest, or only one category was used.

    Parameters
    ----------
    counts
        Shape (subjects, categories): how many raters gave each category.

    References
    ----------
    Fleiss 1971, Psychological Bulletin 76, 378-382.
    """
    table = np.asarray(counts, dtype=np.float64)
    raters = table.sum(axis=1)
    if raters.size == 0 or raters.min() < 2 or np.ptp(raters) > 0:
        return _NAN, _NAN, _NAN
    n = raters[0]
    observed = float(np.mean((np.sum(table**2, axis=1) - n) / (n * (n - 1))))
    share = table.sum(axis=0) / table.sum()
    expected = float(np.sum(share**2))
    if np.count_nonzero(share) < 2:
        return _NAN, observed, expected
    return (observed - expected) / (1 - expected), observed, expected
