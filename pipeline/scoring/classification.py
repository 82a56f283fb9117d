"""How well a cut on a measure with error sorts people: accuracy and consistency of the decision."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import ndtr


@dataclass(frozen=True)
class Classification:
    """Share of people sorted rightly, and share sorted alike by two measurements of the same precision."""

    accuracy: float
    consistency: float


def rudner(
    measures: ArrayLike, standard_errors: ArrayLike, cut: float, weights: ArrayLike | None = None
) -> Classification:
    """Return accuracy and consistency of the decision `measure >= cut`.

    Each measure is taken as the person's true place, and as known with a normal error of its standard error:
    the method of Rudner 2001, 2005 (Pract. Assess. Res. Eval. 7(14), 10(13)).

    Parameters
    ----------
    measures, standard_errors
        One per person or per point of a grid; errors above 0.
    weights
        Share of each point; equal if not given.

    Raises
    ------
    ValueError
        A standard error is not above 0, or there is nobody.
    """
    place, error = np.asarray(measures, dtype=np.float64), np.asarray(standard_errors, dtype=np.float64)
    share = np.ones_like(place) if weights is None else np.asarray(weights, dtype=np.float64)
    if place.size == 0 or (error <= 0).any() or share.sum() <= 0:
        raise ValueError("measures with standard errors above 0 are needed")
    above = ndtr((place - cut) / error)
    right = np.where(place >= cut, above, 1 - above)
    same = above**2 + (1 - above) ** 2
    return Classification(float(np.average(right, weights=share)), float(np.average(same, weights=share)))
