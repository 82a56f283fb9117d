"""Called zones of all umpires at once: empirical Bayes by Laplace's approximation.

Each umpire's eight values (four offsets, four log sharpnesses) are normal about the population's means, each with
an SD of its own; circumstances shift the edges by the same amount for everybody. The SDs maximise the
Laplace approximation of the likelihood with everything else integrated out. The curvature in it is the expected
one: with few pitches at an edge the observed one may be next to singular, and the approximation then has spikes
where there is nothing. A factor SD in that likelihood keeps an SD off zero (Chung, Rabe-Hesketh, Dorie, Gelman
& Liu 2013, Psychometrika 78; from memory): without it, a thin season would declare all umpires equal, and be sure
of it.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum

import numpy as np

from pipeline.scoring.called_zone.blocks import Curvature, Prior
from pipeline.scoring.called_zone.edges import (
    EDGES,
    OFFSETS,
    PAIRS,
    VALUES,
    Pitches,
    information_slope,
    likelihood,
    log_likelihood,
)
from pipeline.scoring.design import Floats
from pipeline.scoring.search import maximise

FEWEST_UMPIRES = 5
"""With fewer the spread over umpires cannot be learnt: it is set at FIXED_SD."""
FIXED_SD = np.array([2.0] * OFFSETS + [0.7] * OFFSETS)
FEWEST_PITCHES = 60
"""With fewer in the whole season nothing is fitted."""

_START_SD = np.array([1.0] * OFFSETS + [0.4] * OFFSETS)
_LOWEST_SD, _HIGHEST_SD = 0.02, 8.0
_STEPS = 60
_TOLERANCE = 1e-6
_LONGEST_STEP = 1.0
_LEAST_CURVATURE = 0.3
_TOLERATED_GAIN = 0.02
_WARM_ROUNDS = 3
_SD_INFORMATION = 0.5
"""Added to the information on each log SD: an SD that the data say nothing of is known to a factor of four."""


class ZoneOutcome(StrEnum):
    """How the fit ended. The first two give figures."""

    CONVERGED = "converged"
    FIXED_SPREAD = "fixed_spread"
    NOT_CONVERGED = "not_converged"
    TOO_FEW = "too_few"
    ONE_RESULT = "one_result"

    @property
    def has_estimates(self) -> bool:
        """Whether the numbers of the fit may be used."""
        return self in (ZoneOutcome.CONVERGED, ZoneOutcome.FIXED_SPREAD)


@dataclass(frozen=True)
class ZoneFit:
    """Called zones with their uncertainty. Offsets in inches; rows of sharpness are its logarithm.

    Attributes
    ----------
    outcome, message
        How the fit ended, as a word and as a sentence.
    values, sd
        Of each umpire, shape (8, umpires); the SD carries that of the population's SDs.
    mean, mean_sd, spread
        Of the population: means, their SDs, and SDs over umpires; shape (8,).
    shift, shift_sd
        How far each circumstance moves each edge, in inches, shape (terms, 4); the SD is widened where the pitches
        of a game go together.
    log_likelihood
        Of the pitches at these values.
    laplace
        Laplace's approximation of the logarithm of the marginal likelihood, priors included.
    start, end
        SDs over umpires before and after the search.
    iterations, evaluations, return_code, gradient_norm
        Of the search over the logarithms of the SDs; return codes as in the crossed-effects fits.
    """

    outcome: ZoneOutcome
    message: str
    pitches: int
    umpires: int
    values: Floats = field(default_factory=lambda: np.zeros((VALUES, 0)))
    sd: Floats = field(default_factory=lambda: np.zeros((VALUES, 0)))
    mean: Floats = field(default_factory=lambda: np.full(VALUES, np.nan))
    mean_sd: Floats = field(default_factory=lambda: np.full(VALUES, np.nan))
    spread: Floats = field(default_factory=lambda: np.full(VALUES, np.nan))
    shift: Floats = field(default_factory=lambda: np.zeros((0, OFFSETS)))
    shift_sd: Floats = field(default_factory=lambda: np.zeros((0, OFFSETS)))
    log_likelihood: float = float("nan")
    laplace: float = float("nan")
    start: Floats = field(default_factory=_START_SD.copy)
    end: Floats = field(default_factory=lambda: np.full(VALUES, np.nan))
    iterations: int = 0
    evaluations: int = 0
    return_code: int = 3
    gradient_norm: float = float("nan")


class ZoneModel:
    """The joint posterior of all values given the SDs over umpires; keeps its mode from one call to the next."""

    def __init__(self, pitches: Pitches, prior: Prior) -> None:
        self.pitches = pitches
        self.terms = pitches.terms.shape[1]
        self.centre, self.border_precision = prior.centre(self.terms), prior.precision(self.terms)
        self.own = np.zeros((VALUES, pitches.umpires))
        self.border = self.centre.copy()
        self.curvature: Curvature | None = None
        self.expected: Curvature | None = None

    def at_groups(self, own: Floats, border: Floats) -> Floats:
        """Edge values of each group, shape (8, groups)."""
        at = own[:, self.pitches.umpire]
        at[:OFFSETS] += border[VALUES:].reshape(self.terms, OFFSETS).T @ self.pitches.terms.T
        return at

    def joint(self, sd: Floats, own: Floats, border: Floats) -> float:
        """Log-likelihood with the logarithms of the priors' kernels."""
        value = log_likelihood(self.pitches, self.at_groups(own, border))
        return value + self._kernels(sd, own, border)

    def _kernels(self, sd: Floats, own: Floats, border: Floats) -> float:
        off = (own - border[:VALUES, None]) / sd[:, None]
        prior = self.border_precision @ (border - self.centre) ** 2
        return -0.5 * float((off**2).sum() + prior) - self.pitches.umpires * float(np.log(sd).sum())

    def climb(self, sd: Floats, steps: int = _STEPS) -> tuple[float, bool]:
        """Newton's method to the joint mode; return the joint value there and whether it arrived.

        Where an umpire's Hessian is not negative definite its expectation takes its place.
        """
        precision = 1 / sd**2
        value = -np.inf
        for _ in range(steps):
            at = self.at_groups(self.own, self.border)
            sums = likelihood(self.pitches, at)
            value = sums.value + self._kernels(sd, self.own, self.border)
            bent = self._curvature(at, sums.hessian, precision)
            pull = precision[:, None] * (self.own - self.border[:VALUES, None])
            slope_own = self.pitches.umpire_sums(sums.gradient) - pull
            slope = self.border_precision * (self.centre - self.border)
            slope[:VALUES] += pull.sum(axis=1)
            slope[VALUES:] += (self.pitches.terms.T @ sums.gradient[:OFFSETS].T).ravel()
            step_own, step = bent.solve(slope_own, slope)
            gain = 0.5 * float((slope_own * step_own).sum() + slope @ step)
            self.curvature, self.expected = bent, None
            if gain < _TOLERANCE:
                # The last step needs no second look: what it leaves is smaller by orders.
                self.own, self.border = self.own + step_own, self.border + step
                return value + gain, True
            # Far from the mode a block's step may be far too long: that umpire then goes part of the way.
            step_own *= np.minimum(1.0, _LONGEST_STEP / np.maximum(np.abs(step_own).max(axis=0), 1e-12))
            share = 1.0
            for _ in range(30):
                own, border = self.own + share * step_own, self.border + share * step
                # Newton's last steps change the value by less than it can be told.
                if self.joint(sd, own, border) >= value - 1e-9 * abs(value):
                    break
                share *= 0.4
            else:
                return value, False
            self.own, self.border = own, border
        return value, False

    def _curvature(self, at: Floats, hessian: Floats, precision: Floats) -> Curvature:
        """Return the curvature for a step; umpires whose Hessian is not clearly negative give its expectation."""
        sums = self.pitches.umpire_sums(hessian)
        full = np.zeros((self.pitches.umpires, VALUES, VALUES))
        root = 1 / np.sqrt(precision)
        for i, (a, b) in enumerate(PAIRS):
            full[:, a, b] = full[:, b, a] = -sums[i] * root[a] * root[b]
        bad = np.linalg.eigvalsh(full)[:, 0] < _LEAST_CURVATURE - 1
        if bad.any():
            expected = likelihood(self.pitches, at, expected=True).hessian
            hessian = np.where(bad[self.pitches.umpire], expected, hessian)
        try:
            return Curvature(self.pitches, hessian, precision, self.border_precision)
        except np.linalg.LinAlgError:
            return self.expected_curvature(1 / np.sqrt(precision))

    def expected_curvature(self, sd: Floats) -> Curvature:
        """Return the expected curvature at the present values."""
        hessian = likelihood(self.pitches, self.at_groups(self.own, self.border), expected=True).hessian
        return Curvature(self.pitches, hessian, 1 / sd**2, self.border_precision)

    def laplace(self, sd: Floats) -> tuple[float, Floats, bool]:
        """Return the log marginal likelihood, its gradient by the logarithms of the SDs, and whether it is sound.

        The factor SD is within it. The gradient is exact save for umpires whose Hessian is next to singular.
        """
        value, arrived = self.climb(sd)
        precision = 1 / sd**2
        at = self.at_groups(self.own, self.border)
        self.expected = bent = self.expected_curvature(sd)
        total = value - 0.5 * bent.log_det + float(np.log(sd).sum())
        off = self.own - self.border[:VALUES, None]
        spread = np.einsum("uaa->a", bent.deviation_covariance())
        gradient = precision * ((off**2).sum(axis=1) + spread) - self.pitches.umpires + 1
        slope = information_slope(self.pitches, at, bent.group_covariance())
        to_border = np.concatenate([np.zeros(VALUES), (self.pitches.terms.T @ slope[:OFFSETS].T).ravel()])
        own, border = (self.curvature or bent).solve(self.pitches.umpire_sums(slope), to_border)
        gradient -= precision * ((own * off).sum(axis=1) - border[:VALUES] * off.sum(axis=1))
        return total, gradient, arrived

    def spread_step(self, sd: Floats) -> Floats:
        """One step of the EM algorithm for the SDs at the present mode: a cheap way to a good start."""
        bent = self.expected_curvature(sd)
        off = self.own - self.border[:VALUES, None]
        total = (off**2).sum(axis=1) + np.einsum("uaa->a", bent.deviation_covariance())
        spread: Floats = np.sqrt(total / max(self.pitches.umpires - 1, 1))
        return np.clip(spread, 2 * _LOWEST_SD, _HIGHEST_SD / 2)

    def information(self, sd: Floats) -> Floats:
        """Approximate information on the logarithms of the SDs, shape (8, 8): that of the normal part."""
        bent = self.expected or self.expected_curvature(sd)
        share = bent.deviation_covariance() / np.outer(sd, sd)
        found: Floats = 2 * ((np.eye(VALUES) - share) ** 2).sum(axis=0) + _SD_INFORMATION * np.eye(VALUES)
        return found


def fit_zone(pitches: Pitches, prior: Prior | None = None) -> ZoneFit:
    """Fit the called zones of all umpires.

    Too few pitches, one result only, and a search that got lost are named outcomes without figures. With fewer
    than five umpires the spread over umpires is not learnt but set wide, and the outcome says so.
    """
    size = pitches.strike.size
    refused = _refused(pitches)
    if refused is not None:
        return ZoneFit(*refused, pitches=size, umpires=pitches.umpires)
    model = ZoneModel(pitches, prior or Prior())
    if int(pitches.by_umpire[1].size) < FEWEST_UMPIRES:
        _, _, arrived = model.laplace(FIXED_SD)
        outcome = ZoneOutcome.FIXED_SPREAD if arrived else ZoneOutcome.NOT_CONVERGED
        message = (
            f"fewer than {FEWEST_UMPIRES} umpires have pitches, so how far umpires differ was not learnt but set wide"
            if arrived
            else "the search for the edges did not arrive"
        )
        return _account(model, FIXED_SD, outcome, message, (0, 1, 0, float("nan")), learnt=False)
    sd = _START_SD
    for _ in range(_WARM_ROUNDS):
        model.climb(sd, 3)
        sd = model.spread_step(sd)
    best, at_best = -np.inf, (model.own, model.border)

    def target(log_sd: Floats) -> tuple[float, Floats]:
        nonlocal best, at_best
        # From the best mode so far: a thin umpire may have two, and a search must not change between them.
        model.own, model.border = at_best
        value, gradient, sound = model.laplace(np.exp(log_sd))
        if not sound:
            return -np.inf, gradient
        if value > best:
            best, at_best = value, (model.own, model.border)
        return value, gradient

    low, high = np.full(VALUES, np.log(_LOWEST_SD)), np.full(VALUES, np.log(_HIGHEST_SD))
    found = maximise(target, np.log(sd), lambda: np.diag(model.information(sd)), low, high)
    sd_end = np.exp(found.at)
    model.own, model.border = at_best
    _, _, arrived = model.laplace(sd_end)
    # A search that stops on the last digits of the value has arrived when there is next to nothing to gain.
    gain = 0.5 * float(found.gradient @ np.linalg.solve(model.information(sd_end), found.gradient))
    done = arrived and bool(np.isfinite(found.value)) and (found.code == 0 or gain < _TOLERATED_GAIN)
    norm = float(np.linalg.norm(found.gradient))
    outcome = ZoneOutcome.CONVERGED if done else ZoneOutcome.NOT_CONVERGED
    message = "the fit converged" if done else "the search for the spread over umpires did not arrive"
    return _account(model, sd_end, outcome, message, (found.steps, found.evaluations, found.code, norm), learnt=True)


def _refused(pitches: Pitches) -> tuple[ZoneOutcome, str] | None:
    size = pitches.strike.size
    if size < FEWEST_PITCHES:
        return ZoneOutcome.TOO_FEW, f"{size} measured taken pitches; at least {FEWEST_PITCHES} are asked for"
    if pitches.strike.min() == pitches.strike.max():
        word = "strike" if pitches.strike[0] else "ball"
        return ZoneOutcome.ONE_RESULT, f"every pitch was called a {word}: there is no edge to find"
    return None


def _account(
    model: ZoneModel,
    sd: Floats,
    outcome: ZoneOutcome,
    message: str,
    search: tuple[int, int, int, float],
    *,
    learnt: bool,
) -> ZoneFit:
    pitches, bent = model.pitches, model.expected
    if bent is None or not outcome.has_estimates:
        return ZoneFit(ZoneOutcome.NOT_CONVERGED, message, pitches.strike.size, pitches.umpires)
    own_variance = np.einsum("uaa->au", bent.own_covariance())
    border_variance = np.diag(bent.border).copy()
    if learnt:
        known = np.linalg.inv(model.information(sd))
        off = model.own - model.border[:VALUES, None]
        moved = [_moved(bent, off, k) for k in range(VALUES)]
        own_moves, moves = np.stack([own for own, _ in moved]), np.stack([border for _, border in moved])
        own_variance += np.einsum("kau,kl,lau->au", own_moves, known, own_moves)
        border_variance += np.einsum("ka,kl,la->a", moves, known, moves)
    steps, evaluations, code, norm = search
    at = model.at_groups(model.own, model.border)
    sums = likelihood(pitches, at, expected=True)
    border_variance[VALUES:] *= bent.game_inflation(sums.gradient, sums.hessian) ** 2
    return ZoneFit(
        outcome=outcome,
        message=message,
        pitches=pitches.strike.size,
        umpires=pitches.umpires,
        values=model.own,
        sd=np.sqrt(own_variance),
        mean=model.border[:VALUES],
        mean_sd=np.sqrt(border_variance[:VALUES]),
        spread=sd,
        shift=model.border[VALUES:].reshape(model.terms, OFFSETS),
        shift_sd=np.sqrt(border_variance[VALUES:]).reshape(model.terms, OFFSETS),
        log_likelihood=sums.value,
        laplace=float("nan") if not learnt else model.joint(sd, model.own, model.border) - 0.5 * bent.log_det,
        end=sd,
        iterations=steps,
        evaluations=evaluations,
        return_code=code,
        gradient_norm=norm,
    )


def _moved(bent: Curvature, off: Floats, value: int) -> tuple[Floats, Floats]:
    """How the mode moves with the logarithm of one SD."""
    own = np.zeros_like(off)
    own[value] = 2 * bent.precision[value] * off[value]
    border = np.zeros(bent.border.shape[0])
    border[value] = -own[value].sum()
    return bent.solve(own, border)


__all__ = ["EDGES", "FEWEST_PITCHES", "FEWEST_UMPIRES", "ZoneFit", "ZoneModel", "ZoneOutcome", "fit_zone"]
