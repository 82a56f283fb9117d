"""Joint draws from the posterior of a crossed-effects model."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import linalg

from pipeline.scoring.design import Floats
from pipeline.scoring.elimination import Curvature

HIGHEST_DRAWN_SD = 4.0


@dataclass(frozen=True)
class Draws:
    """Joint draws, one row per draw.

    Attributes
    ----------
    intercept
        Shape (draws,).
    sd
        By factor, shape (draws,).
    effects
        By factor, shape (draws, levels), logit scale. The child factor (games) is not drawn: its variation is
        averaged over by its SD.
    centre
        The SDs at the mode of their posterior.
    """

    intercept: Floats
    sd: dict[str, Floats]
    effects: dict[str, Floats]
    centre: dict[str, float]


def draw_effects(curvature: Curvature, draws: int, rng: np.random.Generator) -> dict[str, Floats]:
    """Return draws of v minus its mode, given the hyperparameters; the child factor is integrated out."""
    layout = curvature.layout
    border = rng.standard_normal((draws, layout.border_size))
    if layout.border_size:
        border = linalg.solve_triangular(curvature.border_factor.T, border.T, lower=False, check_finite=False).T
    found = {name: border[:, o : o + layout.sizes[name]].copy() for name, o in layout.offsets.items()}
    block = rng.standard_normal((draws, layout.sizes[layout.block]))
    block *= np.sqrt(curvature.block_diagonal)
    for name in layout.border:
        block -= (curvature.block_border[name] @ found[name].T).T
    block /= curvature.block_diagonal
    found[layout.block] = block
    return found
