"""Integration over normal persons by the trapezoid rule on an even grid.

For a smooth integrand that vanishes at both ends the rule's error falls as ``exp(-2 pi^2 s^2 / h^2)`` for a
normal bump of SD ``s`` and step ``h`` [1]_: with ``h <= 0.75 s`` it is below 1e-15, where Gauss-Hermite rules of
the usual sizes miss the narrow posteriors of long tests.

References
----------
.. [1] Trefethen & Weideman 2014, SIAM Review 56(3), 385-458, section 5.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.scoring.design import Floats

REACH = 8.0
"""The grid goes from -REACH to REACH; a standard normal has 1.2e-15 of its mass outside."""
WIDEST_STEP = 0.25
STEP_BY_SD = 0.7
UNSEEN = 1e-6
"""Root of the part of a person at a node below which the information passes him over there."""


@dataclass(frozen=True)
class Grid:
    """Nodes on the standard normal scale, the logs of their weights (which add up to 1), and their distance."""

    nodes: Floats
    log_weights: Floats
    step: float


def even_grid(posterior_sd: float) -> Grid:
    """Return a grid that is exact to rounding for posteriors no narrower than `posterior_sd`."""
    half = int(np.ceil(REACH / min(WIDEST_STEP, STEP_BY_SD * posterior_sd)))
    nodes = np.linspace(-REACH, REACH, 2 * half + 1)
    log_weights = -0.5 * nodes**2
    log_weights -= np.log(np.sum(np.exp(log_weights)))
    return Grid(nodes, log_weights, REACH / half)


def narrowest_posterior(slopes: Floats, intercepts: Floats) -> float:
    """Return the smallest posterior SD of a person who answered every item, over the range of persons.

    By the test information ``sum a^2 P (1 - P)`` at its highest, plus 1 for the prior.
    """
    theta = np.linspace(-4.0, 4.0, 81)
    chance = 1 / (1 + np.exp(-np.clip(np.outer(theta, slopes) + intercepts, -700, 700)))
    information = (chance * (1 - chance)) @ slopes**2
    return float(1 / np.sqrt(1 + information.max()))


def is_fine_enough(grid: Grid, slopes: Floats, intercepts: Floats) -> bool:
    """Whether the grid is exact to rounding at these estimates."""
    return grid.step <= 0.85 * narrowest_posterior(slopes, intercepts)


def met_items(given: Floats, weights: Floats) -> Floats:
    """Return for each node and pair of items the weight of the rows in which both were answered.

    In single precision: each sum is right to about 1e-7 of itself, which standard errors do not show.

    Parameters
    ----------
    given
        Shape (rows, items): 1 answered, 0 not.
    weights
        Shape (rows, nodes): the expected persons of each row at each node.

    Returns
    -------
    Floats
        Shape (nodes, items, items).
    """
    answered, roots = given.astype(np.float32), np.sqrt(weights).astype(np.float32)
    found = np.empty((weights.shape[1], given.shape[1], given.shape[1]))
    for q, root in enumerate(np.ascontiguousarray(roots.T)):
        # A posterior reaches few nodes of the grid.
        rows = np.flatnonzero(root > UNSEEN)
        scaled = answered[rows] * root[rows, None]
        # One array on both sides: numpy then computes half of the symmetric product.
        found[q] = scaled.T @ scaled
    return found
