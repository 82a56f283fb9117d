"""Umpires' values at their own modes, while the border stays where it is: umpire by umpire.

Given the border, umpires have nothing to do with each other. One whose pitches leave his edges next to undecided
gains a little at every step for dozens of steps, while all the others have long arrived: among thousands of umpires
there is always such a one. Taking his steps alone costs his pitches instead of everybody's.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.scoring.called_zone.edges import OFFSETS, Pitches, group_log_likelihood, likelihood
from pipeline.scoring.called_zone.information import POSITION, matrices
from pipeline.scoring.design import Floats

_STEPS = 100
_TRIES = 30
_LEAST_BEND = 0.02
"""A step goes no farther along a direction than if the posterior bent there by this share of the prior."""
_LONGEST_STEP = 1.0


@dataclass(frozen=True)
class OwnPosterior:
    """The posterior of each umpire's eight values, given the border and the SDs over umpires.

    Attributes
    ----------
    pitches
        Of these umpires alone; every umpire has some.
    mean, shift
        The border: population means, shape (8,), and shifts, (terms, 4).
    sd
        SDs over umpires, (8,).
    """

    pitches: Pitches
    mean: Floats
    shift: Floats
    sd: Floats

    def value(self, own: Floats) -> Floats:
        """Log posterior of each umpire but for a constant, shape (umpires,), at values `own` of shape (8, umpires)."""
        by_group = group_log_likelihood(self.pitches, self._at_groups(own))
        found: Floats = self.pitches.umpire_sums(by_group[None])[0] - 0.5 * (self._off(own) ** 2).sum(axis=0)
        return found

    def volume(self, own: Floats) -> Floats:
        """Logarithm of the posterior's volume about each umpire's mode, by Laplace's approximation, (umpires,).

        With the expected curvature, as in the fit; but for a constant.
        """
        sums = likelihood(self.pitches, self._at_groups(own))
        root = np.linalg.cholesky(self._curvature(sums.expected))
        return np.asarray(self.value(own) - np.log(np.einsum("uaa->ua", root)).sum(axis=1))

    def climbed(self, own: Floats, tolerance: float) -> Floats:
        """Return the values at the modes that are reached from `own`, shape (8, umpires).

        Newton's method with the observed curvature; where that bends the wrong way its size counts, so that every
        step climbs. Each umpire's step is shortened by itself until his posterior rises; one who cannot rise
        stays. An umpire has arrived when a step promises less than `tolerance` in log posterior.
        """
        own, value = own.copy(), self.value(own)
        going = np.arange(self.pitches.umpires)
        part = self
        for _ in range(_STEPS):
            step, gain = part._step(own[:, going])
            far = gain >= tolerance
            if not far.all():
                going, step = going[far], step[:, far]
                part = OwnPosterior(part.pitches.of(np.flatnonzero(far)), self.mean, self.shift, self.sd)
            if not going.size:
                break
            here, share = own[:, going], np.ones(going.size)
            for _ in range(_TRIES):
                tried = here + share * step
                new = part.value(tried)
                fell = new < value[going]
                if not fell.any():
                    break
                share[fell] *= 0.4
            share[fell] = 0.0
            own[:, going], value[going] = here + share * step, np.where(fell, value[going], new)
            if fell.any():
                going = going[~fell]
                part = OwnPosterior(part.pitches.of(np.flatnonzero(~fell)), self.mean, self.shift, self.sd)
        return own

    def _at_groups(self, own: Floats) -> Floats:
        at = own[:, self.pitches.umpire]
        at[:OFFSETS] += self.shift.T @ self.pitches.terms.T
        return at

    def _off(self, own: Floats) -> Floats:
        """Deviations from the means in SDs."""
        return np.asarray((own - self.mean[:, None]) / self.sd[:, None])

    def _curvature(self, hessian: Floats) -> Floats:
        """Minus the Hessian in units of the prior's SDs, (umpires, 8, 8); the prior's own is one."""
        known = matrices(self.pitches.umpire_sums(hessian), POSITION)
        return np.asarray(known * np.outer(self.sd, self.sd) + np.eye(self.sd.size))

    def _step(self, own: Floats) -> tuple[Floats, Floats]:
        """Step of each umpire, shape (8, umpires), and what it promises."""
        sums = likelihood(self.pitches, self._at_groups(own))
        slope = self.pitches.umpire_sums(sums.gradient) * self.sd[:, None] - self._off(own)
        bend, axes = np.linalg.eigh(self._curvature(sums.hessian))
        along = (axes.transpose(0, 2, 1) @ slope.T[:, :, None])[:, :, 0] / np.maximum(np.abs(bend), _LEAST_BEND)
        scaled = (axes @ along[:, :, None])[:, :, 0].T
        gain = 0.5 * (slope * scaled).sum(axis=0)
        step = scaled * self.sd[:, None]
        return step * np.minimum(1.0, _LONGEST_STEP / np.abs(step).max(axis=0, initial=1e-12)), gain
