"""The matrix ``H = I + sd Z'WZ sd`` of a crossed-effects model, factored by eliminating level after level.

Effects are written as ``sd * v`` with ``v`` standard normal (so that an SD of zero is an ordinary point).
Games are eliminated first, then umpires (both diagonal), then the border as one dense block.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import linalg, sparse

from pipeline.scoring.design import Floats, Layout, Matrix

ByFactor = dict[str, Floats]


def row_scaled(matrix: Matrix, scale: Floats) -> Matrix:
    """Return a matrix with each row multiplied by its scale."""
    if isinstance(matrix, np.ndarray):
        return matrix * scale[:, None]
    return sparse.csr_array(
        (matrix.data * np.repeat(scale, np.diff(matrix.indptr)), matrix.indices, matrix.indptr),
        shape=matrix.shape,
    )


def _dense(matrix: Matrix) -> Floats:
    return matrix if isinstance(matrix, np.ndarray) else np.asarray(matrix.todense())


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
    scaled = {name: row_scaled(matrix, root) for name, matrix in coupling.items()}
    for i, one in enumerate(d.border):
        rows = slice(offsets[one], offsets[one] + d.sizes[one])
        for other in d.border[i:]:
            columns = slice(offsets[other], offsets[other] + d.sizes[other])
            product = _dense(scaled[one].T @ scaled[other])
            border[rows, columns] -= product
            if other != one:
                border[columns, rows] -= product.T
