"""The curvature of the joint log posterior: a block of eight an umpire, bordered by the population's part.

The border holds the eight population means, then the shifts of the four edges by each circumstance (edge by
edge within a circumstance). Eliminating the umpires' blocks leaves one small dense matrix, so that work grows
linearly with the umpires.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.scoring.called_zone.edges import OFFSETS, VALUES, Pitches
from pipeline.scoring.called_zone.information import Information
from pipeline.scoring.design import Codes, Floats

_CHUNK = 4096


@dataclass(frozen=True)
class Prior:
    """What is held before any pitch is seen: wide, so that it matters only where there is next to nothing.

    SDs, in inches, of a population's mean offset and of a shift; centre and SD of the mean log sharpness. An
    infinite SD leaves the prior out.
    """

    offset_sd_in: float = 6.0
    log_sharpness: float = 0.0
    log_sharpness_sd: float = 1.5
    shift_sd_in: float = 3.0

    def centre(self, terms: int) -> Floats:
        """Centre of the border's parameters."""
        return np.concatenate([np.zeros(OFFSETS), np.full(OFFSETS, self.log_sharpness), np.zeros(OFFSETS * terms)])

    def precision(self, terms: int) -> Floats:
        """Reciprocal variances of the border's parameters."""
        sds = [self.offset_sd_in] * OFFSETS + [self.log_sharpness_sd] * OFFSETS + [self.shift_sd_in] * (OFFSETS * terms)
        return 1 / np.array(sds) ** 2


@dataclass(frozen=True)
class Values:
    """Values of all levels, or a slope or step of them.

    Attributes
    ----------
    own
        Of each umpire, shape (8, umpires).
    border
        Population means, then shifts.
    """

    own: Floats
    border: Floats

    def plus(self, step: Values, share: float = 1.0) -> Values:
        """Return these values moved by a share of a step."""
        return Values(self.own + share * step.own, self.border + share * step.border)

    def dot(self, other: Values) -> float:
        """Inner product."""
        return float((self.own * other.own).sum() + self.border @ other.border)


class Curvature:
    """Minus the Hessian of the joint log posterior, factored.

    Parameters
    ----------
    information
        What the pitches say.
    sd
        SDs over umpires of the eight values.
    border_precision
        Reciprocal variances of the border's prior.

    Raises
    ------
    numpy.linalg.LinAlgError
        The matrix is not positive definite.
    """

    def __init__(self, information: Information, sd: Floats, border_precision: Floats) -> None:
        i, p = information, information.pitches
        self.pitches: Pitches = p
        self.sd = sd
        precision = 1 / sd**2
        size = i.border
        blocks = i.own + np.diag(precision)
        cross = np.zeros((p.umpires, VALUES, size))
        cross[:, :, :VALUES] = -np.diag(precision)
        cross[:, :, VALUES:] = i.own_shift
        border = np.diag(border_precision)
        border[:VALUES, :VALUES] += p.umpires * np.diag(precision)
        border[VALUES:, VALUES:] += i.shift
        self.log_det = 0.0
        self.log_det += _log_det(blocks)
        self.inverse: Floats = np.linalg.inv(blocks).astype(np.float64, copy=False)
        self.reach: Floats = self.inverse @ cross
        self._cross = cross
        schur = border - _flat(cross).T @ _flat(self.reach)
        root = np.linalg.cholesky(schur)
        self.log_det += 2 * float(np.log(np.diag(root)).sum())
        self.border: Floats = np.linalg.inv(schur).astype(np.float64, copy=False)

    def solve(self, right: Values) -> Values:
        """Return the solution for a right side."""
        first = (self.inverse @ right.own.T[:, :, None])[:, :, 0]
        moved = self.border @ (right.border - _flat(self._cross).T @ first.ravel())
        return Values(np.ascontiguousarray((first - self.reach @ moved).T), moved)

    def own_covariance(self) -> Floats:
        """Covariance of each umpire's eight values, shape (umpires, 8, 8)."""
        found: Floats = self.inverse + self.reach @ self.border @ self.reach.transpose(0, 2, 1)
        return found

    def own_variance(self) -> Floats:
        """Variance of each umpire's eight values, shape (8, umpires)."""
        return np.asarray(self._variance(self.inverse, self.reach).T)

    def deviations(self) -> Floats:
        """Variances of the umpires' deviations from the means, summed over umpires, shape (8,)."""
        off = -self.reach
        off[:, :, :VALUES] -= np.eye(VALUES)
        return np.asarray(self._variance(self.inverse, off).sum(axis=0))

    def _variance(self, inner: Floats, load: Floats) -> Floats:
        """Diagonals of inner + load border load'."""
        reached = (_flat(load) @ self.border).reshape(load.shape)
        found: Floats = np.einsum("naa->na", inner) + (reached * load).sum(axis=2)
        return found

    def group_covariance(self) -> Floats:
        """Covariance of each group's edge values (the umpire's and the shifts), upper halves, (36, groups)."""
        p, root = self.pitches, np.linalg.cholesky(self.border)
        groups = p.starts.size
        upper = np.triu_indices(VALUES)
        found = np.empty((upper[0].size, groups))
        edge = np.arange(OFFSETS)
        for start in range(0, groups, _CHUNK):
            part = slice(start, min(start + _CHUNK, groups))
            who = p.umpire[part]
            load = -self.reach[who]
            for k in range(p.terms.shape[1]):
                load[:, edge, VALUES + OFFSETS * k + edge] += p.terms[part, k][:, None]
            load = (_flat(load) @ root).reshape(load.shape)
            full = self.inverse[who] + load @ load.transpose(0, 2, 1)
            found[:, part] = full[:, upper[0], upper[1]].T
        return found


def _flat(stack: Floats) -> Floats:
    """A stack of matrices as one with all rows below each other."""
    return stack.reshape(-1, stack.shape[2])


def _log_det(stack: Floats) -> float:
    lower = np.linalg.cholesky(stack)
    return 2 * float(np.log(np.einsum("uaa->ua", lower)).sum())


def weak(stack: Floats, sd: Floats, least: float) -> Codes:
    """Return which matrices, with a prior of these SDs added and in its units, have an eigenvalue under `least`."""
    if not stack.size:
        return np.zeros(0, dtype=np.int64)
    lowest = np.linalg.eigvalsh(stack * np.outer(sd, sd))[:, 0]
    return np.flatnonzero(lowest < least - 1)
