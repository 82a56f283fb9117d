"""What a cell says about its linear predictor: log-likelihood and derivatives, by kind of response.

Both kinds are log-concave in the linear predictor, so that the mode of the effects is unique.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np
from scipy.special import expit, log_expit

from pipeline.scoring.design import Codes, Design, Floats

_PIECE = 1 << 14


@dataclass(frozen=True)
class Slopes:
    """Log-likelihood of all cells and, by cell, its first and negative second derivative by the predictor."""

    value: float
    residual: Floats
    weight: Floats


@dataclass(frozen=True)
class OwnSlopes:
    """By cell, the derivative of log-likelihood, residual and weight by one parameter of the response."""

    value: Floats
    residual: Floats
    weight: Floats


class Response(Protocol):
    """A kind of response. `own` are its own parameters (thresholds), free numbers."""

    @property
    def size(self) -> int:
        """Number of own parameters."""

    def slopes(self, eta: Floats, own: Floats) -> Slopes:
        """Return value and derivatives at predictors `eta`."""

    def third(self, eta: Floats, own: Floats) -> Floats:
        """Return by cell the derivative of the weight by the predictor."""

    def own_slopes(self, eta: Floats, own: Floats) -> list[OwnSlopes]:
        """Return the derivatives by each own parameter."""


class Binomial:
    """Successes out of trials, logit link."""

    size = 0

    def __init__(self, design: Design) -> None:
        self._successes = design.successes
        self._trials = design.trials

    def slopes(self, eta: Floats, own: Floats) -> Slopes:
        """See `Response`."""
        residual, weight = np.empty_like(eta), np.empty_like(eta)
        value = 0.0
        # In pieces that stay in the cache: with millions of cells the memory is what takes time.
        for start in range(0, eta.size, _PIECE):
            piece = slice(start, start + _PIECE)
            at, successes, trials = eta[piece], self._successes[piece], self._trials[piece]
            # One exponential gives both log(1 + exp(eta)) and the mean, without overflow at either end.
            small = np.exp(-np.abs(at))
            value += float(successes @ at - trials @ (np.log1p(small) + np.maximum(at, 0)))
            small /= 1 + small
            mean = np.where(at >= 0, 1 - small, small)
            fitted = trials * mean
            np.subtract(successes, fitted, out=residual[piece])
            np.multiply(fitted, 1 - mean, out=weight[piece])
        return Slopes(value, residual, weight)

    def third(self, eta: Floats, own: Floats) -> Floats:
        """See `Response`."""
        found = np.empty_like(eta)
        for start in range(0, eta.size, _PIECE):
            piece = slice(start, start + _PIECE)
            mean = expit(eta[piece])
            np.multiply(self._trials[piece] * mean * (1 - mean), 1 - 2 * mean, out=found[piece])
        return found

    def own_slopes(self, eta: Floats, own: Floats) -> list[OwnSlopes]:
        """See `Response`."""
        return []


class Ordered:
    """Ordered categories: logit P(category <= k) = threshold_k - eta (the cumulative logit, or proportional odds).

    Own parameters: the first threshold, then the logarithms of the steps to the next.
    """

    def __init__(self, design: Design) -> None:
        self._category: Codes = design.category
        self._count = design.trials
        self.size = int(design.category.max())

    def thresholds(self, own: Floats) -> Floats:
        """Return the thresholds, ascending."""
        return np.cumsum(np.concatenate([own[:1], np.exp(own[1:])]))

    def start(self) -> Floats:
        """Return the own parameters that fit the marginal shares."""
        share = np.bincount(self._category, weights=self._count, minlength=self.size + 1)
        below = np.cumsum(share)[:-1] / share.sum()
        cuts = np.log(below / (1 - below))
        return np.concatenate([cuts[:1], np.log(np.diff(cuts))])

    def _ends(self, eta: Floats, own: Floats) -> tuple[Floats, Floats]:
        cuts = np.concatenate([[-np.inf], self.thresholds(own), [np.inf]])
        return cuts[self._category + 1] - eta, cuts[self._category] - eta

    def slopes(self, eta: Floats, own: Floats) -> Slopes:
        """See `Response`."""
        upper, lower = self._ends(eta, own)
        # expit(u) - expit(l) = expit(u) expit(-l) (1 - exp(l - u)), which loses no digits in the tails.
        logs = log_expit(upper) + log_expit(-lower) + np.log1p(-np.exp(lower - upper))
        above, below = expit(upper), expit(lower)
        weight = self._count * (above * (1 - above) + below * (1 - below))
        return Slopes(float(self._count @ logs), self._count * (above + below - 1), weight)

    def third(self, eta: Floats, own: Floats) -> Floats:
        """See `Response`."""
        above, below = (expit(end) for end in self._ends(eta, own))
        bend = above * (1 - above) * (1 - 2 * above) + below * (1 - below) * (1 - 2 * below)
        return np.asarray(-self._count * bend)

    def own_slopes(self, eta: Floats, own: Floats) -> list[OwnSlopes]:
        """See `Response`."""
        upper, lower = self._ends(eta, own)
        above, below = expit(upper), expit(lower)
        top, bottom = above * (1 - above), below * (1 - below)
        gap = -np.expm1(lower - upper)
        # f(u) / (F(u) - F(l)) with the common factors of the tails taken out.
        by_upper = (1 - above) / ((1 - below) * gap)
        by_lower = -below / (above * gap)
        by_cut = []
        for k in range(self.size):
            at_top, at_bottom = self._category == k, self._category == k + 1
            value = np.where(at_top, by_upper, 0) + np.where(at_bottom, by_lower, 0)
            residual = np.where(at_top, top, 0) + np.where(at_bottom, bottom, 0)
            weight = np.where(at_top, top * (1 - 2 * above), 0) + np.where(at_bottom, bottom * (1 - 2 * below), 0)
            by_cut.append(np.stack([value, residual, weight]) * self._count)
        # A step moves every threshold after it.
        found = []
        for j in range(self.size):
            scale = 1.0 if j == 0 else float(np.exp(own[j]))
            moved = scale * np.sum(by_cut[j:], axis=0)
            found.append(OwnSlopes(moved[0], moved[1], moved[2]))
        return found
