"""Joint draws of intercept, SDs and effects: what every statement of certainty is counted on.

The SDs and the intercept are not taken as known: without that, intervals are too short where evaluators or
situations are few. A model is drawn over a set of SDs (`posterior_points.py`). Where cells, or the evaluators' and
situations' block, make that dear, it is drawn over twelve of them, or, if every factor has 50 levels or more and so
its SD is known well, around one point (`posterior_linear.py`), where the two give intervals of the same width.
"""

from __future__ import annotations

import numpy as np

from pipeline.scoring.crossed_effects import CrossedFit
from pipeline.scoring.draws import Draws
from pipeline.scoring.posterior_linear import draw_around_mode
from pipeline.scoring.posterior_points import draw_over_points, points_for
from pipeline.scoring.threads import one_blas_thread

__all__ = ["Draws", "draw_posterior"]


def draw_posterior(fit: CrossedFit, draws: int, seed: int) -> Draws:
    """Return joint draws for a fit that has estimates.

    Raises
    ------
    ValueError
        The fit has no estimates.
    """
    if not fit.has_estimates:
        raise ValueError(f"a fit that ended as {fit.record.outcome} has no posterior")
    rng = np.random.default_rng(seed)
    points = points_for(fit)
    with one_blas_thread():
        return draw_over_points(fit, draws, points, rng) if points else draw_around_mode(fit, draws, rng)
