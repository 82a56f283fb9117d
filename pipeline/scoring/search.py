"""Maximise a smooth function of a few parameters from its value and gradient."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from pipeline.scoring.design import Floats

MAX_STEPS = 80
GAIN_TOLERANCE = 1e-9
FINE = 1e-12
"""Gain tolerance for figures that are compared with another program's, digit by digit."""

_LONGEST_MOVE = 1.5
_NOISE = 1e-14
"""Share of the value under which a gain cannot be told from rounding."""


@dataclass(frozen=True)
class Maximum:
    """Where the search ended; `code` as in `FitRecord.return_code`."""

    at: Floats
    value: float
    gradient: Floats
    steps: int
    evaluations: int
    code: int


def maximise(
    function: Callable[[Floats], tuple[float, Floats]],
    start: Floats,
    information: Callable[[], Floats],
    low: Floats,
    high: Floats,
    tolerance: float = GAIN_TOLERANCE,
) -> Maximum:
    """Return a maximum of `function` within the box from `low` to `high` (BFGS with halved steps).

    Parameters
    ----------
    function
        Gives value and gradient at a point.
    start
        First point.
    information
        Called once after the first evaluation: approximate negative second derivatives, to scale the first
        steps; a vector, or a positive definite matrix. With a good scale five to eight evaluations are enough.

    Notes
    -----
    It stops when the gain that the curvature promises, g' B^-1 g / 2, falls under `tolerance` in
    log-likelihood: with 1e-9 the parameters are then within 5e-5 of their standard errors.
    """
    x = np.clip(start, low, high)
    value, gradient = function(x)
    known = information()
    curvature = known if known.ndim == 2 else np.diag(np.maximum(known, 1e-3))
    evaluations = 1
    for step_number in range(1, MAX_STEPS + 1):
        # A parameter at its bound that wants to go further stays where it is.
        free = ~(((x <= low) & (gradient < 0)) | ((x >= high) & (gradient > 0)))
        step = np.zeros_like(x)
        if free.any():
            step[free] = np.linalg.solve(curvature[np.ix_(free, free)], gradient[free])
        gain = 0.5 * float(gradient @ step)
        if gain < max(tolerance, _NOISE * abs(value)):
            return Maximum(x, value, gradient, step_number - 1, evaluations, 0)
        step *= min(1.0, _LONGEST_MOVE / np.abs(step).max())
        found = False
        for _ in range(25):
            tried = np.clip(x + step, low, high)
            new_value, new_gradient = function(tried)
            evaluations += 1
            if new_value >= value + 1e-4 * float(gradient @ (tried - x)) - 1e-10 * abs(value):
                found = True
                break
            step *= 0.35
        if not found:
            return Maximum(x, value, gradient, step_number, evaluations, 2)
        moved, turned = tried - x, gradient - new_gradient
        bent = curvature @ moved
        along, expected = float(moved @ turned), float(moved @ bent)
        if along < 0.1 * expected:
            # Damped update (Powell 1978): keeps the curvature positive where the function is not concave.
            share = 0.9 * expected / (expected - along)
            turned = share * turned + (1 - share) * bent
            along = float(moved @ turned)
        if along > 0:
            curvature += np.outer(turned, turned) / along - np.outer(bent, bent) / expected
        x, value, gradient = tried, new_value, new_gradient
    return Maximum(x, value, gradient, MAX_STEPS, evaluations, 1)
