"""Newton's method for a log-likelihood with a known gradient, and its record."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy import linalg

from pipeline.scoring.design import Floats

Value = Callable[[Floats], tuple[float, Floats]]
"""From a point, the log-likelihood and its gradient."""
Information = Callable[[Floats], tuple[Floats, Floats]]
"""From a point, minus the second derivatives, and a positive definite matrix that is at least as large."""

DECREMENT = 1e-13
"""Stop when the gain that the next step promises is below this: the estimates are then within 1e-6 SE."""


@dataclass(frozen=True)
class Climb:
    """Where a search ended; `settled` says whether it stopped because nothing was left to gain."""

    point: Floats
    value: float
    gradient: Floats
    information: Floats
    settled: bool
    steps: int
    evaluations: int


def _factor(information: Information, point: Floats) -> Any:
    exact, bound = information(point)
    try:
        return linalg.cho_factor(exact)
    except linalg.LinAlgError:
        # Away from the top the exact matrix may not be positive definite. That of the complete data is, and a
        # step by it climbs (Lange 1995, J. R. Statist. Soc. B 57, the EM gradient algorithm).
        return linalg.cho_factor(bound + 1e-9 * np.eye(bound.shape[0]) * np.trace(bound) / bound.shape[0])


def climb(
    start: Floats,
    value: Value,
    information: Information,
    lost: Callable[[Floats], bool] = lambda point: False,
    max_steps: int = 200,
) -> Climb:
    """Climb to the top of a log-likelihood.

    The factored information is kept as long as each step with it cuts what is left to gain a hundredfold, since
    it costs more than the gradient. A step that does not climb is halved.

    Parameters
    ----------
    lost
        Whether a point is so far out that estimates are running away.

    Raises
    ------
    numpy.linalg.LinAlgError
        Even the complete-data information is singular.
    """
    point, (height, gradient) = start, value(start)
    factor = None
    last = np.inf
    evaluations, steps, settled = 1, 0, False
    while steps < max_steps and not settled and not lost(point):
        steps += 1
        step = linalg.cho_solve(factor, gradient) if factor is not None else gradient
        gain = float(gradient @ step) / 2
        if factor is None or gain > 0.01 * last:
            factor = _factor(information, point)
            step = linalg.cho_solve(factor, gradient)
            gain = float(gradient @ step) / 2
        last = gain
        length, slack = 1.0, 1e-13 * (1 + abs(height))
        found = None
        while length > 1e-8:
            trial = point + length * step
            new_height, new_gradient = value(trial)
            evaluations += 1
            if np.isfinite(new_height) and new_height >= height - slack:
                found = trial, new_height, new_gradient
                break
            length /= 2
        if found is None:
            break
        point, height, gradient = found
        settled = gain < DECREMENT or (gain < slack and length == 1.0)
        if length < 1.0:
            factor = None
    return Climb(point, height, gradient, information(point)[0], settled, steps, evaluations)
