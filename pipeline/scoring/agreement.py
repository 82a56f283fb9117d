"""Agreement of two judges beyond chance."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike


def cohen_kappa(counts: ArrayLike) -> float:
    """Return Cohen's kappa of a square table, rows one judge and columns the other.

    NaN when nothing was judged or chance alone would agree always (both judges used one and the same category
    only).
    """
    table = np.asarray(counts, dtype=np.float64)
    total = table.sum()
    if total == 0:
        return float("nan")
    observed = np.trace(table) / total
    expected = float(table.sum(axis=1) @ table.sum(axis=0)) / total**2
    return float((observed - expected) / (1 - expected)) if expected < 1 else float("nan")
