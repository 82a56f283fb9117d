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
from collections.abc import Iterator
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
_SURE, _HOPELESS = -1e-100, -700.0
_PIECE = 1 << 13
"""Pitches taken together: their arrays stay in the cache, which is worth a factor of three."""


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
    def error_variance(self) -> Floats:
        """Variance that the measurement adds to each pitch's squared sharpness."""
        found: Floats = ERROR_SCALE * self.error_sd_in**2
        return found

    @cached_property
    def by_umpire(self) -> tuple[Codes, Codes]:
        """First group of each umpire who has one, and these umpires."""
        first = np.flatnonzero(np.diff(self.umpire, prepend=-1))
        return first.astype(np.int64), self.umpire[first]

    @cached_property
    def games(self) -> Games:
        """The games of each umpire; none where they are not told apart."""
        if (self.cluster < 0).any():
            nothing = np.zeros(0, dtype=np.int64)
            return Games(nothing, nothing, nothing, np.full(self.umpire.size, -1))
        new = (np.diff(self.umpire, prepend=-1) != 0) | (np.diff(self.cluster, prepend=-1) != 0)
        starts = np.flatnonzero(new).astype(np.int64)
        umpire = self.umpire[starts]
        first = np.flatnonzero(np.diff(umpire, prepend=-1)).astype(np.int64)
        return Games(starts, umpire, first, np.cumsum(new) - 1)

    def umpire_sums(self, by_group: Floats) -> Floats:
        """Return the sums over each umpire's groups of an array of shape (values, groups)."""
        first, who = self.by_umpire
        found = np.zeros((by_group.shape[0], self.umpires))
        if first.size:
            found[:, who] = np.add.reduceat(by_group, first, axis=1)
        return found

    def of(self, who: Codes) -> Pitches:
        """Return the pitches of some umpires alone, given in rising order; they are numbered anew in that order."""
        place = np.full(self.umpires, -1)
        place[who] = np.arange(who.size)
        kept = place[self.umpire] >= 0
        rows = np.repeat(kept, self.counts)
        counts = self.counts[kept]
        return Pitches(
            inside_in=np.ascontiguousarray(self.inside_in[:, rows]),
            error_sd_in=self.error_sd_in[rows],
            strike=self.strike[rows],
            starts=np.cumsum(counts) - counts,
            umpire=place[self.umpire[kept]],
            terms=self.terms[kept],
            umpires=int(who.size),
            cluster=self.cluster[kept],
        )

    def game_sums(self, by_group: Floats) -> Floats:
        """Return the sums over each game's groups of an array of shape (values, groups)."""
        if not self.games.starts.size:
            return np.zeros((by_group.shape[0], 0))
        found: Floats = np.add.reduceat(by_group, self.games.starts, axis=1)
        return found

    @cached_property
    def pieces(self) -> list[tuple[slice, slice]]:
        """Groups and pitches of each piece that the likelihood is computed in."""
        ends = np.append(self.starts[1:], self.strike.size)
        found, group, size = [], 0, self.starts.size
        while group < size:
            begin = int(self.starts[group])
            last = max(group + 1, int(np.searchsorted(ends, begin + _PIECE, side="right")))
            found.append((slice(group, last), slice(begin, int(ends[last - 1]))))
            group = last
        return found


@dataclass(frozen=True)
class Games:
    """Games of one umpire each: first group and umpire of each game, first game of each umpire, game of each group."""

    starts: Codes
    umpire: Codes
    first_of_umpire: Codes
    of_group: Codes


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
    pattern = _row_codes(terms)
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


def _row_codes(terms: Floats) -> Codes:
    """Number the distinct rows in their order: column by column, at a third of the time of comparing whole rows."""
    code = np.zeros(terms.shape[0], dtype=np.int64)
    for column in terms.T:
        values, place = np.unique(column, return_inverse=True)
        code = np.unique(code * values.size + place, return_inverse=True)[1]
    return code


@dataclass(frozen=True)
class Sums:
    """Log-likelihood, and by group its gradient (8, groups) and the upper half of its Hessian (36, groups).

    `expected` is the Hessian's expectation at these values, which is never positive in any direction.
    """

    value: float
    gradient: Floats
    hessian: Floats
    expected: Floats


class _Piece:
    """What every derivative is made from, for some pitches; arrays of shape (4, pitches) or (pitches,)."""

    def __init__(self, pitches: Pitches, at: Floats, groups: slice, rows: slice) -> None:
        self.counts = pitches.counts[groups]
        self.starts = pitches.starts[groups] - rows.start
        self.strike = pitches.strike[rows] > 0
        own = np.repeat(np.exp(2 * at[OFFSETS:, groups]), self.counts, axis=1)
        scale = own + pitches.error_variance[rows]
        self.share = own / scale
        self.per_in = 1 / np.sqrt(scale)
        self.z = (pitches.inside_in[:, rows] + np.repeat(at[:OFFSETS, groups], self.counts, axis=1)) * self.per_in
        small = np.exp(-np.abs(self.z))
        far = small / (1 + small)
        self.no = np.where(self.z > 0, far, 1 - far)
        self.bend = far * far - far
        # log of the product of 1 + small, with no digit lost where all are small.
        one, other = (small[i] + small[i + 1] + small[i] * small[i + 1] for i in (0, 2))
        log_p = np.minimum(self.z, 0).sum(axis=0) - np.log1p(one + other + one * other)
        self.log_p = np.clip(log_p, _HOPELESS, _SURE)
        self.odds = 1 / np.expm1(-self.log_p)
        self.z_t = -self.share * self.z

    @property
    def by_pitch(self) -> Floats:
        """Log-likelihood of each pitch."""
        return np.asarray(np.where(self.strike, self.log_p, -np.log1p(self.odds)))

    @property
    def value(self) -> float:
        """Log-likelihood."""
        return float(self.by_pitch.sum())

    def first(self) -> Floats:
        """Gradient of log P, shape (8, pitches)."""
        steep = self.no * self.per_in
        return np.concatenate([steep, self.no * self.z_t])

    def second(self) -> tuple[Floats, Floats, Floats]:
        """Second derivatives of log P by offset twice, offset and sharpness, sharpness twice; (4, pitches) each."""
        lost = self.no * self.share
        return (
            self.bend * self.per_in**2,
            (self.bend * self.z_t - lost) * self.per_in,
            self.bend * self.z_t**2 + lost * self.z * (3 * self.share - 2),
        )

    def sums(self, by_pitch: Floats) -> Floats:
        """Sums by group of an array of shape (values, pitches), or (pitches,)."""
        found: Floats = np.add.reduceat(by_pitch, self.starts, axis=-1)
        return found


def _pieces(pitches: Pitches, at: Floats) -> Iterator[tuple[slice, slice, _Piece]]:
    for groups, rows in pitches.pieces:
        yield groups, rows, _Piece(pitches, at, groups, rows)


def log_chance(pitches: Pitches, at: Floats) -> Floats:
    """Return log P(called strike) of each pitch, for edge values `at` of shape (8, groups)."""
    found = np.empty(pitches.strike.size)
    for _, rows, piece in _pieces(pitches, at):
        found[rows] = piece.log_p
    return found


def log_likelihood(pitches: Pitches, at: Floats) -> float:
    """Return the log-likelihood for edge values `at` of shape (8, groups)."""
    return sum(piece.value for _, _, piece in _pieces(pitches, at))


def group_log_likelihood(pitches: Pitches, at: Floats) -> Floats:
    """Return the log-likelihood of each group, shape (groups,), for edge values `at` of shape (8, groups)."""
    found = np.empty(pitches.starts.size)
    for groups, _, piece in _pieces(pitches, at):
        found[groups] = piece.sums(piece.by_pitch)
    return found


def likelihood(pitches: Pitches, at: Floats) -> Sums:
    """Return the log-likelihood with its derivatives by group, for edge values `at` of shape (8, groups)."""
    groups_in_all = pitches.starts.size
    gradient = np.empty((VALUES, groups_in_all))
    hessian, expected = np.empty((len(PAIRS), groups_in_all)), np.empty((len(PAIRS), groups_in_all))
    value = 0.0
    for groups, _, piece in _pieces(pitches, at):
        value += piece.value
        first = piece.first()
        # By log P: a strike's log-likelihood is log P itself, a ball's is log(1 - P).
        slope = np.where(piece.strike, 1.0, -piece.odds)
        bend = np.where(piece.strike, 0.0, -piece.odds * (1 + piece.odds))
        gradient[:, groups] = piece.sums(slope * first)
        expected[:, groups] = piece.sums(_products(-piece.odds * first, first))
        terms = _products(bend * first, first)
        for (a, b), inner in zip(((0, 0), (0, 1), (1, 1)), piece.second(), strict=True):
            terms[_SAME_EDGE[a, b]] += slope * inner
        hessian[:, groups] = piece.sums(terms)
    return Sums(value, gradient, hessian, expected)


# Where the pairs of one edge's values stand among PAIRS: offset twice, offset and sharpness, sharpness twice.
_SAME_EDGE = {
    (a, b): [PAIRS.index((OFFSETS * a + e, OFFSETS * b + e)) for e in range(OFFSETS)]
    for a, b in ((0, 0), (0, 1), (1, 1))
}


def _products(left: Floats, right: Floats) -> Floats:
    """Return left[a] * right[b] for every pair, shape (36, pitches)."""
    found = np.empty((len(PAIRS), left.shape[1]))
    start = 0
    for a in range(VALUES):
        np.multiply(left[a], right[a:], out=found[start : start + VALUES - a])
        start += VALUES - a
    return found


def information_slope(pitches: Pitches, at: Floats, covariance: Floats) -> Floats:
    """Return how the trace of information times a covariance changes with each value: by group, (8, groups).

    The information is minus the expected Hessian; `covariance` has shape (36, groups), upper half as in PAIRS.
    """
    position = np.array([[PAIRS.index((min(a, b), max(a, b))) for b in range(VALUES)] for a in range(VALUES)])
    by_group = np.empty((VALUES, pitches.starts.size))
    for groups, _, piece in _pieces(pitches, at):
        first, (oo, ot, tt) = piece.first(), piece.second()
        mine = covariance[:, groups]
        times = np.empty_like(first)
        for a in range(VALUES):
            times[a] = (np.repeat(mine[position[a]], piece.counts, axis=1) * first).sum(axis=0)
        found = piece.odds * (1 + piece.odds) * (first * times).sum(axis=0) * first
        offset, sharp = times[:OFFSETS], times[OFFSETS:]
        found[:OFFSETS] += 2 * piece.odds * (oo * offset + ot * sharp)
        found[OFFSETS:] += 2 * piece.odds * (ot * offset + tt * sharp)
        by_group[:, groups] = piece.sums(found)
    return by_group
