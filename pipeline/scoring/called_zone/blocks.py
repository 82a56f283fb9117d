"""The curvature of the joint log posterior: a block of eight an umpire, bordered by the population's part.

The border holds the eight population means, then the shifts of the four edges by each circumstance (edge by
edge within a circumstance). Eliminating the umpires' blocks leaves one small dense matrix, so that work grows
linearly with the umpires.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.scoring.called_zone.edges import OFFSETS, PAIRS, VALUES, Pitches
from pipeline.scoring.design import Floats

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


class Curvature:
    """Minus the Hessian of the joint log posterior, factored.

    Parameters
    ----------
    hessian
        Of the log-likelihood by group, shape (36, groups).
    precision
        Reciprocal variances of the eight values over umpires.
    border_precision
        Those of the border's prior.
    """

    def __init__(self, pitches: Pitches, hessian: Floats, precision: Floats, border_precision: Floats) -> None:
        self.pitches = pitches
        self.precision = precision
        terms = pitches.terms.shape[1]
        size = VALUES + OFFSETS * terms
        blocks = np.zeros((pitches.umpires, VALUES, VALUES))
        sums = pitches.umpire_sums(hessian)
        for i, (a, b) in enumerate(PAIRS):
            blocks[:, a, b] = blocks[:, b, a] = -sums[i]
        blocks += np.diag(precision)
        cross = np.zeros((pitches.umpires, VALUES, size))
        cross[:, :, :VALUES] = -np.diag(precision)
        border = np.diag(border_precision)
        border[:VALUES, :VALUES] += pitches.umpires * np.diag(precision)
        position = {pair: i for i, pair in enumerate(PAIRS)}
        for k in range(terms):
            shift = VALUES + OFFSETS * k
            by_term = pitches.umpire_sums(hessian * pitches.terms[:, k])
            for a in range(VALUES):
                for e in range(OFFSETS):
                    cross[:, a, shift + e] = -by_term[position[min(a, e), max(a, e)]]
        for e in range(OFFSETS):
            for f in range(e, OFFSETS):
                met = -(pitches.terms.T * hessian[position[e, f]]) @ pitches.terms
                rows, columns = VALUES + e + OFFSETS * np.arange(terms), VALUES + f + OFFSETS * np.arange(terms)
                border[np.ix_(rows, columns)] += met
                if e != f:
                    border[np.ix_(columns, rows)] += met.T
        self._log_det = 0.0
        lower = np.linalg.cholesky(blocks)
        self._log_det += 2 * float(np.log(np.einsum("uaa->ua", lower)).sum())
        self.inverse: Floats = np.linalg.inv(blocks).astype(np.float64, copy=False)
        self.reach: Floats = self.inverse @ cross
        self._cross = cross
        schur = border - np.einsum("uab,uac->bc", cross, self.reach)
        factor = np.linalg.cholesky(schur)
        self._log_det += 2 * float(np.log(np.diag(factor)).sum())
        self.border: Floats = np.linalg.inv(schur).astype(np.float64, copy=False)

    @property
    def log_det(self) -> float:
        """Logarithm of the determinant."""
        return self._log_det

    def solve(self, own: Floats, border: Floats) -> tuple[Floats, Floats]:
        """Return the solution for a right side: the umpires' part, shape (8, umpires), and the border's."""
        first = np.einsum("uab,bu->ua", self.inverse, own)
        moved = self.border @ (border - np.einsum("uab,ua->b", self._cross, first))
        return (first - self.reach @ moved).T, moved

    def own_covariance(self) -> Floats:
        """Covariance of each umpire's eight values, shape (umpires, 8, 8)."""
        found: Floats = self.inverse + self.reach @ self.border @ self.reach.transpose(0, 2, 1)
        return found

    def deviation_covariance(self) -> Floats:
        """Covariance of each umpire's deviation from the population's means, shape (umpires, 8, 8)."""
        off = -self.reach.copy()
        off[:, :, :VALUES] -= np.eye(VALUES)
        found: Floats = self.inverse + off @ self.border @ off.transpose(0, 2, 1)
        return found

    def group_covariance(self) -> Floats:
        """Covariance of each group's edge values (the umpire's and the shifts), upper halves, (36, groups)."""
        groups = self.pitches.starts.size
        found = np.empty((len(PAIRS), groups))
        root = np.linalg.cholesky(self.border)
        upper = np.array(PAIRS).T
        edge = np.arange(OFFSETS)
        for start in range(0, groups, _CHUNK):
            part = slice(start, min(start + _CHUNK, groups))
            who = self.pitches.umpire[part]
            load = -self.reach[who]
            for k in range(self.pitches.terms.shape[1]):
                load[:, edge, VALUES + OFFSETS * k + edge] += self.pitches.terms[part, k][:, None]
            load = load @ root
            full = self.inverse[who] + load @ load.transpose(0, 2, 1)
            found[:, part] = full[:, upper[0], upper[1]].T
        return found

    def game_inflation(self, gradient: Floats, hessian: Floats) -> Floats:
        """Return how much wider the shifts' SDs are when a game's pitches go together, shape (terms * 4,).

        The variance of the shifts' influence summed by game, over that of independent pitches (a sandwich
        estimate clustered by game; Liang & Zeger 1986; from memory), never under 1. Gradient and expected Hessian are
        those of the groups at the mode. Few games give an unsure estimate, and 1 where games are not told apart.
        """
        terms = self.pitches.terms.shape[1]
        if terms == 0 or (self.pitches.cluster < 0).any():
            return np.ones(OFFSETS * terms)
        games, game = np.unique(self.pitches.cluster, return_inverse=True)
        summed, expected = np.zeros((games.size, OFFSETS * terms)), np.zeros(OFFSETS * terms)
        edge, pull = np.arange(OFFSETS), self.border[:, VALUES:]
        for start in range(0, game.size, _CHUNK):
            part = slice(start, start + _CHUNK)
            load = -self.reach[self.pitches.umpire[part]]
            for k in range(terms):
                load[:, edge, VALUES + OFFSETS * k + edge] += self.pitches.terms[part, k][:, None]
            load = load @ pull
            np.add.at(summed, game[part], np.einsum("gab,ag->gb", load, gradient[:, part]))
            information = np.zeros((load.shape[0], VALUES, VALUES))
            for i, (a, b) in enumerate(PAIRS):
                information[:, a, b] = information[:, b, a] = -hessian[i, part]
            expected += (load * (information @ load)).sum(axis=(0, 1))
        ratio = (summed**2).sum(axis=0) / np.maximum(expected, 1e-300)
        found: Floats = np.sqrt(np.maximum(ratio, 1.0))
        return found
