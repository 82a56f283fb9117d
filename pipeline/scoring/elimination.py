"""The matrix ``H = I + sd Z'WZ sd`` of a crossed-effects model, factored by eliminating level after level.

Effects are written as ``sd * v`` with ``v`` standard normal (so that an SD of zero is an ordinary point).
Games are eliminated first, then umpires (both diagonal), then the border as one dense block.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import linalg, sparse

from pipeline.scoring.design import Codes, Floats, Layout, Matrix

_CHUNK_NUMBERS = 4_000_000

ByFactor = dict[str, Floats]


def _row_scaled(matrix: Matrix, scale: Floats) -> Matrix:
    if isinstance(matrix, np.ndarray):
        return matrix * scale[:, None]
    return sparse.csr_array(
        (matrix.data * np.repeat(scale, np.diff(matrix.indptr)), matrix.indices, matrix.indptr),
        shape=matrix.shape,
    )


def _dense(matrix: Matrix) -> Floats:
    return matrix if isinstance(matrix, np.ndarray) else np.asarray(matrix.todense())


def _row_sums_of_product(matrix: Matrix, other: Floats) -> Floats:
    """Return the sum over columns of matrix * other, elementwise."""
    if isinstance(matrix, np.ndarray):
        return np.asarray(np.einsum("ij,ij->i", matrix, other))
    return np.asarray(matrix.multiply(other).sum(axis=1)).ravel()


@dataclass
class Curvature:
    """H at one point, factored."""

    layout: Layout
    sd: dict[str, float]
    child_diagonal: Floats
    child_link: Floats
    block_diagonal: Floats
    child_border: dict[str, Matrix]
    block_border: dict[str, Matrix]
    border_factor: Floats
    log_det: float

    def solve(self, right: ByFactor) -> ByFactor:
        """Return H^-1 right."""
        d = self.layout
        block = right[d.block]
        border = np.concatenate([right[name] for name in d.border]) if d.border else np.zeros(0)
        child = np.zeros(0)
        if d.child is not None:
            child = right[d.child] / self.child_diagonal
            block = block - np.bincount(d.parent, weights=self.child_link * child, minlength=block.size)
        reduced = block / self.block_diagonal
        for name, start in d.offsets.items():
            stop = start + d.sizes[name]
            border[start:stop] -= self.block_border[name].T @ reduced
            if d.child is not None:
                border[start:stop] -= self.child_border[name].T @ child
        if border.size:
            border = linalg.cho_solve((self.border_factor, True), border, check_finite=False)
        found = {name: border[start : start + d.sizes[name]] for name, start in d.offsets.items()}
        coupled = sum((self.block_border[name] @ found[name] for name in d.border), np.zeros_like(block))
        found[d.block] = (block - coupled) / self.block_diagonal
        if d.child is not None:
            coupled = sum((self.child_border[name] @ found[name] for name in d.border), np.zeros_like(child))
            coupled = coupled + self.child_link * found[d.block][d.parent]
            found[d.child] = child - coupled / self.child_diagonal
        return found


@dataclass(frozen=True)
class Variances:
    """The needed parts of H^-1: its diagonal by factor, and the variance of eta by cell."""

    diagonal: ByFactor
    eta: Floats


def totals(layout: Layout, by_cell: Floats, sd: dict[str, float]) -> ByFactor:
    """Return sd_f times the sum of `by_cell` over each level, for every factor."""
    return {
        name: sd[name] * layout.level_sums(name, by_cell) if sd[name] > 0 else np.zeros(layout.sizes[name])
        for name in layout.names
    }


def spread(layout: Layout, v: ByFactor, sd: dict[str, float]) -> Floats:
    """Return for each cell the sum over factors of sd_f * v_f[level]."""
    eta = np.zeros(layout.order.size)
    for name in layout.names:
        if sd[name] > 0:
            eta += (sd[name] * v[name])[layout.codes[name]]
    return eta


def factor(layout: Layout, weight: Floats, sd: dict[str, float]) -> Curvature:
    """Factor H for cell weights `weight`."""
    d = layout
    block_diagonal = 1 + sd[d.block] ** 2 * d.level_sums(d.block, weight)
    child_diagonal = child_link = np.zeros(0)
    child_border: dict[str, Matrix] = {}
    lift = None
    if d.child is not None:
        by_child = d.level_sums(d.child, weight)
        child_diagonal = 1 + sd[d.child] ** 2 * by_child
        child_link = sd[d.child] * sd[d.block] * by_child
        share = child_link / child_diagonal
        block_diagonal = block_diagonal - np.bincount(
            d.parent, weights=child_link * share, minlength=block_diagonal.size
        )
        child_border = {name: d.meets[d.child, name].table(weight) * (sd[d.child] * sd[name]) for name in d.border}
        lift = sparse.csr_array((share, (d.parent, np.arange(share.size))), shape=(d.sizes[d.block], d.sizes[d.child]))
    block_border: dict[str, Matrix] = {}
    own: ByFactor = {}
    for name in d.border:
        met = d.meets[d.block, name].table(weight)
        own[name] = 1 + sd[name] ** 2 * np.asarray(met.sum(axis=0)).ravel()
        table = met * (sd[d.block] * sd[name])
        if lift is not None:
            lifted = lift @ child_border[name]
            table = table - (
                lifted if isinstance(table, np.ndarray) == isinstance(lifted, np.ndarray) else _dense(lifted)
            )
        block_border[name] = table if isinstance(table, np.ndarray) else sparse.csr_array(table)
    border = _border(d, weight, sd, own)
    _eliminate(d, border, child_border, child_diagonal)
    _eliminate(d, border, block_border, block_diagonal)
    root = linalg.cholesky(border, lower=True, check_finite=False) if border.size else border
    log_det = np.log(child_diagonal).sum() + np.log(block_diagonal).sum() + 2 * np.log(np.diagonal(root)).sum()
    return Curvature(
        layout=d,
        sd=dict(sd),
        child_diagonal=child_diagonal,
        child_link=child_link,
        block_diagonal=block_diagonal,
        child_border=child_border,
        block_border=block_border,
        border_factor=root,
        log_det=float(log_det),
    )


def _border(d: Layout, weight: Floats, sd: dict[str, float], own: ByFactor) -> Floats:
    border = np.zeros((d.border_size, d.border_size))
    offsets = d.offsets
    for i, one in enumerate(d.border):
        rows = slice(offsets[one], offsets[one] + d.sizes[one])
        border[rows, rows] = np.diag(own[one])
        for other in d.border[i + 1 :]:
            columns = slice(offsets[other], offsets[other] + d.sizes[other])
            table = _dense(d.meets[one, other].table(weight)) * (sd[one] * sd[other])
            border[rows, columns] = table
            border[columns, rows] = table.T
    return border


def _eliminate(d: Layout, border: Floats, coupling: dict[str, Matrix], diagonal: Floats) -> None:
    """Subtract coupling' diagonal^-1 coupling from the border, in place."""
    offsets = d.offsets
    if not coupling:
        return
    root = 1 / np.sqrt(diagonal)
    scaled = {name: _row_scaled(matrix, root) for name, matrix in coupling.items()}
    for i, one in enumerate(d.border):
        rows = slice(offsets[one], offsets[one] + d.sizes[one])
        for other in d.border[i:]:
            columns = slice(offsets[other], offsets[other] + d.sizes[other])
            product = _dense(scaled[one].T @ scaled[other])
            border[rows, columns] -= product
            if other != one:
                border[columns, rows] -= product.T


def inverse_parts(curvature: Curvature) -> Variances:
    """Return the needed parts of H^-1, computed block by block."""
    d, c, sd = curvature.layout, curvature, curvature.sd
    size, offsets = d.border_size, d.offsets
    inverse = np.zeros((size, size))
    if size:
        inverse = linalg.cho_solve((c.border_factor, True), np.eye(size), check_finite=False)
    diagonal = {name: np.diagonal(inverse)[o : o + d.sizes[name]].copy() for name, o in offsets.items()}
    eta = np.zeros(d.order.size)
    for i, one in enumerate(d.border):
        row = offsets[one] + d.codes[one]
        eta += (sd[one] ** 2 * np.diagonal(inverse))[row]
        for other in d.border[i + 1 :]:
            if sd[one] > 0 and sd[other] > 0:
                eta += 2 * sd[one] * sd[other] * inverse[row, offsets[other] + d.codes[other]]
    blocks, children = d.sizes[d.block], d.sizes[d.child] if d.child else 0
    diagonal[d.block] = np.empty(blocks)
    if d.child:
        diagonal[d.child] = np.empty(children)
    # Cells are sorted by block and child; children need not be, so they are taken in the order of their
    # parent.
    by_parent = np.argsort(d.parent, kind="stable")
    cell_ends = np.searchsorted(d.codes[d.block], np.arange(blocks + 1))
    child_ends = np.searchsorted(d.parent[by_parent], np.arange(blocks + 1))
    largest = max(1, _CHUNK_NUMBERS // max(1, size))
    for low, high in _chunks(child_ends if d.child else np.arange(blocks + 1), largest):
        cells = slice(int(cell_ends[low]), int(cell_ends[high]))
        mine = by_parent[child_ends[low] : child_ends[high]]
        _block_variances(c, inverse, slice(low, high), cells, mine, diagonal, eta)
    return Variances(diagonal, eta)


def _block_variances(
    c: Curvature,
    inverse: Floats,
    rows: slice,
    cells: slice,
    mine: Codes,
    diagonal: ByFactor,
    eta: Floats,
) -> None:
    """Fill `diagonal` and `eta` for the block levels `rows`, their children `mine` and their `cells`."""
    d, sd = c.layout, c.sd
    offsets = d.offsets
    scale = 1 / c.block_diagonal[rows]
    own = {name: _row_scaled(c.block_border[name][rows], scale) for name in d.border}
    across = np.zeros((scale.size, inverse.shape[0]))
    for name, o in offsets.items():
        across -= own[name] @ inverse[o : o + d.sizes[name]]
    variance = scale.copy()
    for name, o in offsets.items():
        variance -= _row_sums_of_product(own[name], across[:, o : o + d.sizes[name]])
    diagonal[d.block][rows] = variance
    level = d.codes[d.block][cells] - rows.start
    # Two large tables are read at scattered places once, not once for each.
    by_border = across * (2 * sd[d.block])
    if d.child is not None:
        owner = d.parent[mine] - rows.start
        scale = 1 / c.child_diagonal[mine]
        link = c.child_link[mine]
        coupling = {name: c.child_border[name][mine] for name in d.border}
        with_border = link[:, None] * across[owner]
        with_block = link * variance[owner]
        for name, o in offsets.items():
            with_border += coupling[name] @ inverse[o : o + d.sizes[name]]
            with_block += _row_sums_of_product(coupling[name], across[owner, o : o + d.sizes[name]])
        with_border *= -scale[:, None]
        with_block *= -scale
        own_variance = 1 - link * with_block
        for name, o in offsets.items():
            own_variance -= _row_sums_of_product(coupling[name], with_border[:, o : o + d.sizes[name]])
        own_variance *= scale
        diagonal[d.child][mine] = own_variance
        place = np.empty(d.sizes[d.child], dtype=np.int64)
        place[mine] = np.arange(mine.size)
        by_level = sd[d.block] ** 2 * variance[owner]
        by_level += sd[d.child] ** 2 * own_variance + 2 * sd[d.child] * sd[d.block] * with_block
        with_border *= 2 * sd[d.child]
        with_border += by_border[owner]
        by_border = with_border
        level = place[d.codes[d.child][cells]]
    else:
        by_level = sd[d.block] ** 2 * variance
    found = by_level[level]
    for name, o in offsets.items():
        if sd[name] > 0:
            found += sd[name] * by_border[level, o + d.codes[name][cells]]
    eta[cells] += found


def _chunks(ends: Codes, largest: int) -> list[tuple[int, int]]:
    """Cut the block levels into runs of which each holds at most `largest` rows (or one level)."""
    runs: list[tuple[int, int]] = []
    low = 0
    while low < ends.size - 1:
        high = int(np.searchsorted(ends, ends[low] + largest, side="right")) - 1
        high = min(max(high, low + 1), ends.size - 1)
        runs.append((low, high))
        low = high
    return runs
