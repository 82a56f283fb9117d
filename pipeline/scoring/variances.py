"""The parts of H^-1 that a likelihood's gradient and the standard errors need, and no others.

Needed are its diagonal, and between two factors the entries of those pairs of levels that share a cell. An
umpire is seen by two to five evaluators out of hundreds: where few pairs occur, only theirs are computed.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from scipy import linalg

from pipeline.scoring.design import Codes, Floats, Layout, Matrix, Pairs, sums
from pipeline.scoring.elimination import ByFactor, Curvature, row_scaled

_CHUNK_NUMBERS = 4_000_000


@dataclass(frozen=True)
class Variances:
    """The needed parts of H^-1: its diagonal by factor, and the variance of eta by cell."""

    diagonal: ByFactor
    eta: Floats


def inverse_parts(curvature: Curvature) -> Variances:
    """Return the needed parts of H^-1."""
    c, d = curvature, curvature.layout
    inverse = np.zeros((0, 0))
    if d.border_size:
        inverse = _from_factor(c.border_factor)
    diagonal = {name: np.diagonal(inverse)[o : o + d.sizes[name]].copy() for name, o in d.offsets.items()}
    eta = _border_eta(d, c.sd, inverse)
    rows = _block_rows(c, inverse)
    diagonal[d.block] = rows.variance
    if d.child is None:
        eta += _eta(d, c.sd, d.block, c.sd[d.block] ** 2 * rows.variance, rows.scaled(2 * c.sd[d.block]))
        return Variances(diagonal, eta)
    children, with_block = _child_rows(c, inverse, rows)
    diagonal[d.child] = children.variance
    top, low = c.sd[d.block], c.sd[d.child]
    level = top**2 * rows.variance[d.parent] + low**2 * children.variance + 2 * low * top * with_block
    both = children.scaled(2 * low)
    above = rows.seen_from_children(d)
    both = _Rows(both.variance, {name: both.border[name] + 2 * top * above[name] for name in d.border}, both.pairs)
    eta += _eta(d, c.sd, d.child, level, both)
    return Variances(diagonal, eta)


def _from_factor(lower: Floats) -> Floats:
    """Return the inverse of a matrix of which the Cholesky factor is given; a third of the work of solving for it."""
    half, trouble = linalg.lapack.dpotri(lower, lower=1)
    if trouble:
        raise np.linalg.LinAlgError("a diagonal entry of the factor is zero")
    half = np.tril(half)
    found: Floats = half + np.tril(half, -1).T
    return found


@dataclass(frozen=True)
class _Rows:
    """The rows of H^-1 of one factor: its variances, and by border factor its entries.

    `border` holds a full table, or one number for each of `pairs` where those are given.
    """

    variance: Floats
    border: ByFactor
    pairs: Mapping[str, Pairs | None]

    def scaled(self, by: float) -> _Rows:
        return _Rows(self.variance, {name: by * table for name, table in self.border.items()}, self.pairs)

    def seen_from_children(self, d: Layout) -> ByFactor:
        """Return the entries of each child's parent, in the form that the children's own entries have."""
        found = {}
        for name in d.border:
            mine, theirs = self.pairs[name], d.meets[str(d.child), name].pairs
            table = self.border[name]
            if theirs is None:
                found[name] = table[d.parent]
            elif mine is None:
                found[name] = table[d.parent[theirs.rows], theirs.columns]
            else:
                size = d.sizes[name]
                place = np.searchsorted(
                    mine.rows * size + mine.columns, d.parent[theirs.rows] * size + theirs.columns
                )
                found[name] = table[place]
        return found


def _block_rows(c: Curvature, inverse: Floats) -> _Rows:
    d = c.layout
    # A table that the children need in full is made in full.
    pairs = {
        name: None if d.child is not None and d.meets[d.child, name].pairs is None else d.meets[d.block, name].pairs
        for name in d.border
    }
    scale = 1 / c.block_diagonal
    own = {name: row_scaled(c.block_border[name], scale) for name in d.border}
    across = {name: -part for name, part in _product(d, own, inverse, pairs).items()}
    variance = scale - sum((_row_dot(own[name], across[name], pairs[name]) for name in d.border), np.zeros_like(scale))
    return _Rows(variance, across, pairs)


def _child_rows(c: Curvature, inverse: Floats, rows: _Rows) -> tuple[_Rows, Floats]:
    """Return the rows of the child factor, and its covariance with its parent."""
    d = c.layout
    pairs = {name: d.meets[str(d.child), name].pairs for name in d.border}
    scale, link = 1 / c.child_diagonal, c.child_link
    above = rows.seen_from_children(d)
    product = _product(d, c.child_border, inverse, pairs)
    border = {}
    with_block = link * rows.variance[d.parent]
    for name in d.border:
        owner = slice(None) if pairs[name] is None else _rows_of(pairs[name])
        weight, by_link = -scale[owner], link[owner]
        if pairs[name] is None:
            weight, by_link = weight[:, None], by_link[:, None]
        border[name] = weight * (by_link * above[name] + product[name])
        with_block += _row_dot(c.child_border[name], above[name], pairs[name])
    with_block *= -scale
    variance = 1 - link * with_block
    for name in d.border:
        variance -= _row_dot(c.child_border[name], border[name], pairs[name])
    return _Rows(scale * variance, border, pairs), with_block


def _rows_of(pairs: Pairs | None) -> Codes:
    assert pairs is not None  # noqa: S101  the caller has looked
    return pairs.rows


def _product(
    d: Layout, left: Mapping[str, Matrix], inverse: Floats, pairs: Mapping[str, Pairs | None]
) -> ByFactor:
    """Return left @ inverse by border factor: whole, or at the pairs only."""
    offsets = d.offsets
    found = {}
    for name in d.border:
        columns = slice(offsets[name], offsets[name] + d.sizes[name])
        wanted = pairs[name]
        total: Floats | None = None
        for other in d.border:
            inner = inverse[offsets[other] : offsets[other] + d.sizes[other], columns]
            part = np.asarray(left[other] @ inner) if wanted is None else _at_pairs(left[other], inner, wanted)
            total = part if total is None else total + part
        found[name] = total if total is not None else np.zeros(0)
    return found


def _at_pairs(left: Matrix, right: Floats, pairs: Pairs) -> Floats:
    """Return (left @ right)[row, column] for every pair."""
    turned = np.ascontiguousarray(right.T)
    found = np.empty(pairs.rows.size)
    if isinstance(left, np.ndarray):
        step = max(1, _CHUNK_NUMBERS // max(1, left.shape[1]))
        for start in range(0, found.size, step):
            part = slice(start, start + step)
            found[part] = np.einsum("pk,pk->p", left[pairs.rows[part]], turned[pairs.columns[part]])
        return found
    lengths = np.diff(left.indptr)
    step = max(1, _CHUNK_NUMBERS // max(1, int(lengths.max(initial=1))))
    for start in range(0, found.size, step):
        part = slice(start, start + step)
        rows, columns = pairs.rows[part], pairs.columns[part]
        count = lengths[rows]
        pair = np.repeat(np.arange(rows.size), count)
        first = np.cumsum(count) - count
        entry = np.arange(pair.size) + np.repeat(left.indptr[rows] - first, count)
        found[part] = sums(pair, left.data[entry] * turned[columns[pair], left.indices[entry]], rows.size)
    return found


def _row_dot(matrix: Matrix, other: Floats, pairs: Pairs | None) -> Floats:
    """Return the sum over each row of matrix * other; `other` whole, or by pair."""
    if pairs is not None:
        if not isinstance(matrix, np.ndarray) and matrix.nnz == pairs.columns.size and matrix.has_sorted_indices:
            values = matrix.data
        else:
            values = np.asarray(matrix[pairs.rows, pairs.columns]).ravel()
        return sums(pairs.rows, values * other, matrix.shape[0])
    if isinstance(matrix, np.ndarray):
        return np.asarray(np.einsum("ij,ij->i", matrix, other))
    return np.asarray(matrix.multiply(other).sum(axis=1)).ravel()


def _border_eta(d: Layout, sd: Mapping[str, float], inverse: Floats) -> Floats:
    """Return by cell the part of the variance of eta that lies among the border factors."""
    eta = np.zeros(d.order.size)
    offsets = d.offsets
    for i, one in enumerate(d.border):
        mine = slice(offsets[one], offsets[one] + d.sizes[one])
        eta += (sd[one] ** 2 * np.diagonal(inverse)[mine])[d.codes[one]]
        for other in d.border[i + 1 :]:
            if sd[one] > 0 and sd[other] > 0:
                table = inverse[mine, offsets[other] : offsets[other] + d.sizes[other]]
                eta += 2 * sd[one] * sd[other] * table[d.codes[one], d.codes[other]]
    return eta


def _eta(d: Layout, sd: Mapping[str, float], top: str, level: Floats, rows: _Rows) -> Floats:
    """Return by cell the part of the variance of eta that has to do with the factor `top` and what lies above."""
    found = level[d.codes[top]]
    for name in d.border:
        if sd[name] > 0:
            pairs, table = rows.pairs[name], rows.border[name]
            met = table[d.codes[top], d.codes[name]] if pairs is None else table[pairs.of_cell]
            met *= sd[name]
            found += met
    return found
