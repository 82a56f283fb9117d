"""The chance of a called strike as a product of four edges, with its derivatives.

P(strike) = product over the edges of logistic((d + offset) / s), where d is how far inside the rule-book edge
the ball's centre was measured (any part of the ball counts, so the rule-book edge stands one radius out), offset
is how far beyond that edge the umpire calls, and s is his sharpness: the distance over which his calls turn from
half strikes to 73 % strikes.

A place is measured with a normal error. The mean of the logistic over that error has no closed form; it is
taken as the logistic of the same distance over sqrt(s^2 + c^2 sd^2) with c = 16 sqrt(3) / (15 pi), the usual
logit-probit scaling (Johnson & Kotz 1970; from memory). It is off by at most .011 in probability, whatever the
error (measured against fine quadrature in the tests). The errors at opposite edges are one and the
same error, which the product leaves aside: an edge's own error never reaches the edge on the other side.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from pipeline.scoring.design import Codes, Floats

EDGES = ("inside", "outside", "high", "low")
OFFSETS = 4
VALUES = 8
"""Of each umpire: four offsets in inches, then four logarithms of sharpness in inches, in the order of EDGES."""

ERROR_SCALE = (16 * math.sqrt(3) / (15 * math.pi)) ** 2
PAIRS = tuple((a, b) for a in range(VALUES) for b in range(a, VALUES))
_SURE = -1e-100


@dataclass(frozen=True)
class Pitches:
    """Called pitches, those of one umpire and one set of circumstances standing together.

    Attributes
    ----------
    inside_in
        Shape (4, pitches): how far inside each rule-book edge the ball's centre was measured, in inches; less
        than 0 outside.
    error_sd_in
        SD of the measured place, in inches, of each pitch.
    strike
        1 for a called strike, 0 for a ball.
    starts
        Where each group of pitches begins; a group is never empty.
    umpire
        The umpire of each group, in rising order.
    terms
        Shape (groups, terms): the circumstances that shift the edges, one row a group.
    umpires
        Number of umpires, those without a pitch among them.
    cluster
        The game of each group, or -1 where games are not told apart.
    """

    inside_in: Floats
    error_sd_in: Floats
    strike: Floats
    starts: Codes
    umpire: Codes
    terms: Floats
    umpires: int
    cluster: Codes

    @cached_property
    def counts(self) -> Codes:
        """Number of pitches of each group."""
        return np.diff(np.append(self.starts, self.strike.size))

    @cached_property
    def by_umpire(self) -> tuple[Codes, Codes]:
        """First group of each umpire who has one, and these umpires."""
        first = np.flatnonzero(np.diff(self.umpire, prepend=-1))
        return first.astype(np.int64), self.umpire[first]

    def umpire_sums(self, by_group: Floats) -> Floats:
        """Return the sums over each umpire's groups of an array of shape (values, groups)."""
        first, who = self.by_umpire
        found = np.zeros((by_group.shape[0], self.umpires))
        if first.size:
            found[:, who] = np.add.reduceat(by_group, first, axis=1)
        return found


def pack(
    inside_in: Floats,
    error_sd_in: Floats,
    strike: Floats,
    umpire: Codes,
    terms: Floats,
    umpires: int,
    cluster: Codes | None = None,
) -> Pitches:
    """Sort pitches into groups of one umpire, one set of circumstances and one cluster (a game).

    `inside_in` has shape (4, pitches), `terms` (pitches, terms); the rest are vectors over pitches.
    """
    _, pattern = np.unique(terms, axis=0, return_inverse=True) if terms.shape[1] else (0, np.zeros(umpire.size, int))
    pattern = pattern.ravel()
    game = np.zeros(umpire.size, dtype=np.int64) if cluster is None else cluster
    order = np.lexsort([pattern, game, umpire])
    keys = np.stack([umpire, game, pattern])[:, order]
    new = np.ones(umpire.size, dtype=bool)
    new[1:] = (np.diff(keys, axis=1) != 0).any(axis=0)
    starts = np.flatnonzero(new).astype(np.int64)
    return Pitches(
        inside_in=np.ascontiguousarray(inside_in[:, order]),
        error_sd_in=error_sd_in[order],
        strike=strike[order],
        starts=starts,
        umpire=umpire[order][starts],
        terms=terms[order][starts],
        umpires=umpires,
        cluster=game[order][starts] if cluster is not None else np.full(starts.size, -1),
    )


@dataclass(frozen=True)
class Sums:
    """Log-likelihood, and by group its gradient (8, groups) and the upper half of its Hessian (36, groups)."""

    value: float
    gradient: Floats
    hessian: Floats


class _Pieces:
    """What every derivative of one evaluation is made from; arrays of shape (4, pitches) or (pitches,)."""

    def __init__(self, pitches: Pitches, at: Floats) -> None:
        counts = pitches.counts
        own = np.repeat(np.exp(2 * at[OFFSETS:]), counts, axis=1)
        scale = own + ERROR_SCALE * pitches.error_sd_in**2
        self.share = own / scale
        self.per_in = 1 / np.sqrt(scale)
        self.z = (pitches.inside_in + np.repeat(at[:OFFSETS], counts, axis=1)) * self.per_in
        small = np.exp(-np.abs(self.z))
        near, far = 1 / (1 + small), small / (1 + small)
        inside = self.z > 0
        self.yes = np.where(inside, near, far)
        self.no = np.where(inside, far, near)
        log_yes = np.minimum(self.z, 0) - np.log1p(small)
        self.log_p = np.minimum(log_yes.sum(axis=0), _SURE)
        self.odds = 1 / np.expm1(-self.log_p)
        self.z_t = -self.share * self.z

    def first(self) -> Floats:
        """Gradient of log P, shape (8, pitches)."""
        return np.concatenate([self.no * self.per_in, self.no * self.z_t])

    def second(self) -> tuple[Floats, Floats, Floats]:
        """Second derivatives of log P by offset twice, offset and sharpness, sharpness twice; (4, pitches) each."""
        bend = -self.yes * self.no
        z_tt = self.z * self.share * (3 * self.share - 2)
        return (
            bend * self.per_in**2,
            bend * self.per_in * self.z_t - self.no * self.share * self.per_in,
            bend * self.z_t**2 + self.no * z_tt,
        )


def log_chance(pitches: Pitches, at: Floats) -> Floats:
    """Return log P(called strike) of each pitch, for edge values `at` of shape (8, groups)."""
    found: Floats = _Pieces(pitches, at).log_p
    return found


def log_likelihood(pitches: Pitches, at: Floats) -> float:
    """Return the log-likelihood for edge values `at` of shape (8, groups)."""
    return _value(pitches, log_chance(pitches, at))


def _value(pitches: Pitches, log_p: Floats) -> float:
    return float(np.where(pitches.strike > 0, log_p, np.log(-np.expm1(log_p))).sum())


def likelihood(pitches: Pitches, at: Floats, *, expected: bool = False) -> Sums:
    """Return the log-likelihood with gradient and Hessian by group, for edge values `at` of shape (8, groups).

    With `expected` the Hessian is its expectation at these values, which is never positive in any direction.
    """
    piece = _Pieces(pitches, at)
    slope, bend = _outer(pitches, piece)
    first = piece.first()
    starts = pitches.starts
    gradient = np.add.reduceat(slope * first, starts, axis=1)
    hessian = np.empty((len(PAIRS), starts.size))
    weighted = (-piece.odds if expected else bend) * first
    inner = None if expected else piece.second()
    for i, (a, b) in enumerate(PAIRS):
        term = weighted[a] * first[b]
        if inner is not None and a % OFFSETS == b % OFFSETS:
            term += slope * inner[a // OFFSETS + b // OFFSETS][a % OFFSETS]
        hessian[i] = np.add.reduceat(term, starts)
    return Sums(_value(pitches, piece.log_p), gradient, hessian)


def _outer(pitches: Pitches, piece: _Pieces) -> tuple[Floats, Floats]:
    """First and second derivative of a pitch's log-likelihood by log P."""
    ball = 1 - pitches.strike
    return pitches.strike - ball * piece.odds, -ball * piece.odds * (1 + piece.odds)


def information_slope(pitches: Pitches, at: Floats, covariance: Floats) -> Floats:
    """Return how the trace of information times a covariance changes with each value: by group, (8, groups).

    The information is minus the expected Hessian; `covariance` has shape (36, groups), upper half as in PAIRS.
    """
    piece = _Pieces(pitches, at)
    first, (oo, ot, tt) = piece.first(), piece.second()
    position = {pair: i for i, pair in enumerate(PAIRS)}
    times = np.zeros_like(first)
    for a in range(VALUES):
        for b in range(VALUES):
            times[a] += np.repeat(covariance[position[min(a, b), max(a, b)]], pitches.counts) * first[b]
    found = piece.odds * (1 + piece.odds) * (first * times).sum(axis=0) * first
    offset, sharp = times[:OFFSETS], times[OFFSETS:]
    found[:OFFSETS] += 2 * piece.odds * (oo * offset + ot * sharp)
    found[OFFSETS:] += 2 * piece.odds * (ot * offset + tt * sharp)
    by_group: Floats = np.add.reduceat(found, pitches.starts, axis=1)
    return by_group
