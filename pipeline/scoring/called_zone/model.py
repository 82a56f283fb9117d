"""The joint posterior of all called zones given the SDs, and Laplace's approximation of the SDs' likelihood."""

from __future__ import annotations

import numpy as np

from pipeline.scoring.called_zone.blocks import Curvature, Prior, Values, weak
from pipeline.scoring.called_zone.edges import OFFSETS, VALUES, Pitches, Sums, information_slope, likelihood
from pipeline.scoring.called_zone.information import Information
from pipeline.scoring.called_zone.own_modes import OwnPosterior
from pipeline.scoring.design import Codes, Floats

_STEPS = 60
_TOLERANCE = 1e-5
_LONGEST_STEP = 1.0
_SLOW = 0.25
"""Newton's method squares what is left; where a step leaves more than this share, some umpires hold it up."""
_OWN_TOLERANCE = 1e-8
_LEAST_CURVATURE = 0.3
_SD_INFORMATION = 0.5
"""Added to the information on each log SD: an SD that the data say nothing of is known to a factor of four."""


class ZoneModel:
    """The joint posterior given the SDs of the eight values over umpires; keeps its mode from one call to the next."""

    def __init__(self, pitches: Pitches, prior: Prior) -> None:
        self.pitches, self.prior = pitches, prior
        self.terms = pitches.terms.shape[1]
        self.centre, self.border_precision = prior.centre(self.terms), prior.precision(self.terms)
        self._values = Values(np.zeros((VALUES, pitches.umpires)), self.centre.copy())
        self._sums: Sums | None = None
        self.curvature: Curvature | None = None
        self.expected: Curvature | None = None
        self._is_mended = False

    @property
    def values(self) -> Values:
        """The present values; setting them forgets what was computed at the former ones."""
        return self._values

    @values.setter
    def values(self, values: Values) -> None:
        if values is not self._values:
            self._values, self._sums = values, None

    @property
    def sums(self) -> Sums:
        """The likelihood and its derivatives at the present values."""
        if self._sums is None:
            self._sums = likelihood(self.pitches, self.at_groups(self._values))
        return self._sums

    def at_groups(self, values: Values) -> Floats:
        """Edge values of each group, shape (8, groups)."""
        at = values.own[:, self.pitches.umpire]
        at[:OFFSETS] += values.border[VALUES:].reshape(self.terms, OFFSETS).T @ self.pitches.terms.T
        return at

    def sums_of(self, by_group: Floats) -> Values:
        """Sums by level of a slope by group, shape (8, groups)."""
        to_border = np.zeros(self.centre.size)
        to_border[VALUES:] = (self.pitches.terms.T @ by_group[:OFFSETS].T).ravel()
        return Values(self.pitches.umpire_sums(by_group), to_border)

    def off(self) -> Floats:
        """How far each umpire stands from the population's means, shape (8, umpires)."""
        found: Floats = self._values.own - self._values.border[:VALUES, None]
        return found

    def squares(self) -> Floats:
        """Summed squares of what each SD is the SD of."""
        return np.asarray((self.off() ** 2).sum(axis=1))

    def kernels(self, sd: Floats) -> float:
        """Logarithms of the priors' kernels at the present values."""
        prior = self.border_precision @ (self._values.border - self.centre) ** 2
        return -0.5 * float((self.squares() / sd**2).sum() + prior) - self.pitches.umpires * float(np.log(sd).sum())

    def joint(self, sd: Floats) -> float:
        """Log-likelihood with the logarithms of the priors' kernels, at the present values."""
        return self.sums.value + self.kernels(sd)

    def slope(self, sd: Floats) -> Values:
        """Slope of the joint value."""
        found = self.sums_of(self.sums.gradient)
        pull = self.off() / sd[:, None] ** 2
        border = found.border + self.border_precision * (self.centre - self._values.border)
        border[:VALUES] += pull.sum(axis=1)
        return Values(found.own - pull, border)

    def climb(self, sd: Floats, steps: int = _STEPS) -> tuple[float, bool]:
        """Newton's method to the joint mode; return the joint value there and whether it arrived.

        Where an umpire's Hessian is not negative definite its expectation takes its place.
        """
        value = self.joint(sd)
        before = np.inf
        for _ in range(steps):
            self.curvature = self._curvature(sd)
            slope = self.slope(sd)
            step = self.curvature.solve(slope)
            gain = 0.5 * slope.dot(step)
            here = self._values
            if gain < _TOLERANCE:
                # What the last step leaves is smaller by orders.
                self.values = here.plus(step)
                return self.joint(sd), True
            if gain > _SLOW * before:
                self.values = here = self._without_stragglers(sd, 0.5 * (slope.own * step.own).sum(axis=0))
                value, before = self.joint(sd), np.inf
                continue
            before = gain
            step = _shortened(step)
            share = 1.0
            for _ in range(30):
                self.values = here.plus(step, share)
                new = self.joint(sd)
                # Newton's last steps change the value by less than it can be told.
                if new >= value - 1e-9 * abs(value):
                    break
                share *= 0.4
            else:
                self.values = here
                return value, False
            value = new
        return value, False

    def _without_stragglers(self, sd: Floats, gain: Floats) -> Values:
        """Return the values with those umpires at their own modes to whom a step promises a `gain`, (umpires,)."""
        values = self._values
        known = self.pitches.by_umpire[1]
        who = known[gain[known] > _OWN_TOLERANCE]
        if not who.size:
            return values
        own = values.own.copy()
        own[:, who] = self._own_posterior(sd, who).climbed(own[:, who], _OWN_TOLERANCE)
        return Values(own, values.border)

    def take_larger_modes(self, sd: Floats) -> None:
        """Give each umpire the larger of two modes: the one reached from here, and the one from the means.

        Where several edges might account for the same calls a posterior has a mode for each.
        """
        values = self._values
        who = self.pitches.by_umpire[1]
        posterior = self._own_posterior(sd, who)
        own = values.own.copy()
        here = posterior.climbed(own[:, who], _OWN_TOLERANCE)
        other = posterior.climbed(np.repeat(values.border[:VALUES, None], who.size, axis=1), _OWN_TOLERANCE)
        own[:, who] = np.where(posterior.volume(other) > posterior.volume(here), other, here)
        self.values = Values(own, values.border)

    def _own_posterior(self, sd: Floats, who: Codes) -> OwnPosterior:
        shift = self._values.border[VALUES:].reshape(self.terms, OFFSETS)
        return OwnPosterior(self.pitches.of(who), self._values.border[:VALUES], shift, sd)

    def _curvature(self, sd: Floats) -> Curvature:
        """Return the curvature for a step; umpires whose Hessian is not clearly negative give its expectation."""
        sums, p = self.sums, self.pitches
        observed = Information(p, sums.hessian)
        bad = np.zeros(p.umpires, dtype=bool)
        bad[weak(observed.own, sd, _LEAST_CURVATURE)] = True
        self._is_mended = bool(bad.any())
        if self._is_mended:
            observed = Information(p, np.where(bad[p.umpire], sums.expected, sums.hessian))
        try:
            return Curvature(observed, sd, self.border_precision)
        except np.linalg.LinAlgError:
            return self.expected_curvature(sd)

    def _observed_curvature(self, sd: Floats) -> Curvature | None:
        """Return the curvature as it is at the present values, nobody's replaced; None where it bends both ways."""
        try:
            return Curvature(Information(self.pitches, self.sums.hessian), sd, self.border_precision)
        except np.linalg.LinAlgError:
            return None

    def expected_curvature(self, sd: Floats) -> Curvature:
        """Return the expected curvature at the present values."""
        return Curvature(Information(self.pitches, self.sums.expected), sd, self.border_precision)

    def laplace(self, sd: Floats) -> tuple[float, Floats, bool]:
        """Return the log marginal likelihood, its gradient by the logarithms of the SDs, and whether it is sound.

        A factor SD is within it. The gradient is exact wherever the Hessian is negative definite at the mode.
        """
        value, arrived = self.climb(sd)
        self.expected = bent = self.expected_curvature(sd)
        total = value - 0.5 * bent.log_det + float(np.log(sd).sum())
        gradient = (self.squares() + bent.deviations()) / sd**2 - self.pitches.umpires + 1
        slope = information_slope(self.pitches, self.at_groups(self._values), bent.group_covariance())
        at_mode = self._observed_curvature(sd) if self._is_mended else None
        moved = (at_mode or self.curvature or bent).solve(self.sums_of(slope))
        off = self.off()
        carried = (moved.own * off).sum(axis=1) - moved.border[:VALUES] * off.sum(axis=1)
        return total, gradient - carried / sd**2, arrived

    def straightened(self) -> Straightened:
        """Return the model with the likelihood replaced by its curve of second order at the present values."""
        return Straightened(self)

    def move(self, bent: Curvature, by: Floats) -> Values:
        """Return how far the mode moves, in first order, when the logarithms of the SDs move by `by`."""
        pull = 2 * by / bent.sd**2
        own = self.off() * pull[:, None]
        border = np.zeros_like(self._values.border)
        border[:VALUES] = -own.sum(axis=1)
        return bent.solve(Values(own, border))


class Straightened:
    """The marginal likelihood of the SDs where the pitches' log-likelihood is quadratic: a second of pitches is saved.

    It costs a few milliseconds a time whatever the number of pitches, and gives the search for the SDs its start
    and its scale.
    """

    def __init__(self, model: ZoneModel) -> None:
        self._model = model
        self._information = Information(model.pitches, model.sums.expected)

    def marginal(self, log_sd: Floats) -> tuple[float, Floats]:
        """Return the log marginal likelihood and its gradient by the logarithms of the SDs; a factor SD is within."""
        model, sd = self._model, np.exp(log_sd)
        bent = Curvature(self._information, sd, model.border_precision)
        slope = model.slope(sd)
        step = bent.solve(slope)
        total = model.joint(sd) + 0.5 * slope.dot(step) - 0.5 * bent.log_det + float(log_sd.sum())
        off = model.off() + step.own - step.border[:VALUES, None]
        return total, ((off**2).sum(axis=1) + bent.deviations()) / sd**2 - model.pitches.umpires + 1

    def rough_information(self, log_sd: Floats) -> Floats:
        """Return approximate information on the logarithms of the SDs, as a diagonal matrix.

        A level known with reliability R counts 2 R squared.
        """
        sd = np.exp(log_sd)
        left = Curvature(self._information, sd, self._model.border_precision).deviations() / sd**2
        levels = self._model.pitches.umpires
        return np.diag(2 * (levels - left) ** 2 / levels + _SD_INFORMATION)

    def information(self, log_sd: Floats) -> Floats:
        """Return minus the second derivatives, by differences of the gradient; never less than next to nothing."""
        width = 0.02
        size = log_sd.size
        found = np.empty((size, size))
        for k in range(size):
            ends = [self.marginal(log_sd + np.where(np.arange(size) == k, h, 0))[1] for h in (width, -width)]
            found[k] = (ends[1] - ends[0]) / (2 * width)
        values, vectors = np.linalg.eigh((found + found.T) / 2)
        return np.asarray((vectors * np.maximum(values, _SD_INFORMATION)) @ vectors.T)


def _shortened(step: Values) -> Values:
    """Far from the mode a block's step may be far too long: that umpire then goes part of the way."""

    def short(levels: Floats) -> Floats:
        longest = np.abs(levels).max(axis=0, initial=1e-12)
        return np.asarray(levels * np.minimum(1.0, _LONGEST_STEP / longest))

    return Values(short(step.own), step.border)
