"""The Laplace log-likelihood of a crossed-effects logistic model, and its exact gradient.

Effects are written as ``sd * v`` with ``v`` standard normal (so that an SD of zero is an ordinary point):

    eta = intercept + sum over factors of sd_f * v_f[level],   successes ~ binomial(trials, 1 / (1 +
    exp(-eta)))

At the mode of ``v`` the integral over ``v`` is replaced by that of the normal curve with the same height and
curvature: ``log L = log p(y | v) - v'v / 2 - log det(H) / 2`` with ``H = I + sd Z'WZ sd``. That is the
definition that lme4's `glmer` uses with `nAGQ = 1`. H is factored by eliminating games, then umpires (both
diagonal), then the border.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from scipy import linalg, sparse
from scipy.special import expit

from pipeline.scoring.design import Codes, Design, Floats, Matrix, sums

_MAX_INNER_STEPS = 60
_INNER_TOLERANCE = 1e-12
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

    design: Design
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
        d = self.design
        block = right[d.block]
        border = np.concatenate([right[name] for name in d.border]) if d.border else np.zeros(0)
        child = np.zeros(0)
        if d.child is not None:
            child = right[d.child] / self.child_diagonal
            block = block - sums(d.parent, self.child_link * child, block.size)
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


@dataclass
class Mode:
    """The mode of the effects for one intercept and set of SDs, with what hangs on it."""

    intercept: float
    sd: dict[str, float]
    v: ByFactor
    residual: Floats
    weight: Floats
    third: Floats
    curvature: Curvature
    log_likelihood: float
    inner_steps: int
    variances: Variances | None = field(default=None)


class LaplaceModel:
    """Evaluates the log-likelihood of one design; remembers the last mode as the next starting point."""

    def __init__(self, design: Design) -> None:
        self.design = design
        self._effects: ByFactor = {name: np.zeros(design.sizes[name]) for name in design.names}

    def totals(self, by_cell: Floats, sd: dict[str, float]) -> ByFactor:
        """Return sd_f times the sum of `by_cell` over each level, for every factor."""
        d = self.design
        return {name: sd[name] * sums(d.codes[name], by_cell, d.sizes[name]) for name in d.names}

    def spread(self, v: ByFactor, sd: dict[str, float]) -> Floats:
        """Return for each cell the sum over factors of sd_f * v_f[level]."""
        d = self.design
        eta = np.zeros(d.trials.size)
        for name in d.names:
            if sd[name] > 0:
                eta += (sd[name] * v[name])[d.codes[name]]
        return eta

    def mode(self, intercept: float, sd: dict[str, float]) -> Mode:
        """Find the mode of the effects by Newton's method with halved steps."""
        d = self.design
        v = {name: self._effects[name] / sd[name] if sd[name] > 0 else 0 * self._effects[name] for name in d.names}
        eta = intercept + self.spread(v, sd)
        value = self._penalised(eta, v)
        for step_number in range(1, _MAX_INNER_STEPS + 1):
            mean = expit(eta)
            weight = d.trials * mean * (1 - mean)
            residual = d.successes - d.trials * mean
            curvature = self.factor(weight, sd)
            score = {name: total - v[name] for name, total in self.totals(residual, sd).items()}
            step = curvature.solve(score)
            decrement = sum(float(score[name] @ step[name]) for name in d.names)
            if decrement < _INNER_TOLERANCE * (1 + abs(value) * 1e-4) or step_number == _MAX_INNER_STEPS:
                break
            change = self.spread(step, sd)
            length = 1.0
            for _ in range(30):
                trial = {name: v[name] + length * step[name] for name in d.names}
                trial_value = self._penalised(eta + length * change, trial)
                if trial_value > value - 1e-9 * (1 + abs(value)):
                    break
                length /= 2
            v, eta, value = trial, eta + length * change, trial_value
        self._effects = {name: sd[name] * v[name] if sd[name] > 0 else self._effects[name] for name in d.names}
        return Mode(
            intercept=intercept,
            sd=dict(sd),
            v=v,
            residual=residual,
            weight=weight,
            third=weight * (1 - 2 * mean),
            curvature=curvature,
            log_likelihood=value + d.constant - 0.5 * curvature.log_det,
            inner_steps=step_number,
        )

    def _penalised(self, eta: Floats, v: ByFactor) -> float:
        d = self.design
        fit = float(d.successes @ eta - d.trials @ np.logaddexp(0, eta))
        return fit - 0.5 * sum(float(x @ x) for x in v.values())

    def factor(self, weight: Floats, sd: dict[str, float]) -> Curvature:
        """Factor H for cell weights `weight`."""
        d = self.design
        by_block = sums(d.codes[d.block], weight, d.sizes[d.block])
        block_diagonal = 1 + sd[d.block] ** 2 * by_block
        child_diagonal = child_link = np.zeros(0)
        child_border: dict[str, Matrix] = {}
        lift = None
        if d.child is not None:
            by_child = sums(d.codes[d.child], weight, d.sizes[d.child])
            child_diagonal = 1 + sd[d.child] ** 2 * by_child
            child_link = sd[d.child] * sd[d.block] * by_child
            share = child_link / child_diagonal
            block_diagonal = block_diagonal - sums(d.parent, child_link * share, block_diagonal.size)
            child_border = {name: d.meets[d.child, name].table(weight) * (sd[d.child] * sd[name]) for name in d.border}
            lift = sparse.csr_array(
                (share, (d.parent, np.arange(share.size))), shape=(d.sizes[d.block], d.sizes[d.child])
            )
        block_border: dict[str, Matrix] = {}
        for name in d.border:
            table = d.meets[d.block, name].table(weight) * (sd[d.block] * sd[name])
            if lift is not None:
                lifted = lift @ child_border[name]
                table = table - (
                    lifted if isinstance(table, np.ndarray) == isinstance(lifted, np.ndarray) else _dense(lifted)
                )
            block_border[name] = table if isinstance(table, np.ndarray) else sparse.csr_array(table)
        border = self._border(weight, sd)
        self._eliminate(border, child_border, child_diagonal)
        self._eliminate(border, block_border, block_diagonal)
        factor = linalg.cholesky(border, lower=True, check_finite=False) if border.size else border
        log_det = np.log(child_diagonal).sum() + np.log(block_diagonal).sum() + 2 * np.log(np.diagonal(factor)).sum()
        return Curvature(
            design=d,
            sd=dict(sd),
            child_diagonal=child_diagonal,
            child_link=child_link,
            block_diagonal=block_diagonal,
            child_border=child_border,
            block_border=block_border,
            border_factor=factor,
            log_det=float(log_det),
        )

    def _border(self, weight: Floats, sd: dict[str, float]) -> Floats:
        d = self.design
        border = np.zeros((d.border_size, d.border_size))
        offsets = d.offsets
        for i, one in enumerate(d.border):
            rows = slice(offsets[one], offsets[one] + d.sizes[one])
            total = sums(d.codes[one], weight, d.sizes[one])
            border[rows, rows] = np.diag(1 + sd[one] ** 2 * total)
            for other in d.border[i + 1 :]:
                columns = slice(offsets[other], offsets[other] + d.sizes[other])
                table = _dense(d.meets[one, other].table(weight)) * (sd[one] * sd[other])
                border[rows, columns] = table
                border[columns, rows] = table.T
        return border

    def _eliminate(self, border: Floats, coupling: dict[str, Matrix], diagonal: Floats) -> None:
        """Subtract coupling' diagonal^-1 coupling from the border, in place."""
        d = self.design
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

    def variances(self, mode: Mode) -> Variances:
        """Return the needed parts of H^-1, computed block by block."""
        if mode.variances is None:
            mode.variances = self._variances(mode)
        return mode.variances

    def _variances(self, mode: Mode) -> Variances:
        d, c, sd = self.design, mode.curvature, mode.sd
        size, offsets = d.border_size, d.offsets
        inverse = np.zeros((size, size))
        if size:
            inverse = linalg.cho_solve((c.border_factor, True), np.eye(size), check_finite=False)
        diagonal = {name: np.diagonal(inverse)[o : o + d.sizes[name]].copy() for name, o in offsets.items()}
        eta = np.zeros(d.trials.size)
        for i, one in enumerate(d.border):
            row = offsets[one] + d.codes[one]
            eta += sd[one] ** 2 * inverse[row, row]
            for other in d.border[i + 1 :]:
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
            self._block_variances(mode, inverse, slice(low, high), cells, mine, diagonal, eta)
        return Variances(diagonal, eta)

    def _block_variances(
        self,
        mode: Mode,
        inverse: Floats,
        rows: slice,
        cells: slice,
        mine: Codes,
        diagonal: ByFactor,
        eta: Floats,
    ) -> None:
        """Fill `diagonal` and `eta` for the block levels `rows`, their children `mine` and their `cells`."""
        d, c, sd = self.design, mode.curvature, mode.sd
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
        eta[cells] += sd[d.block] ** 2 * variance[level]
        for name, o in offsets.items():
            eta[cells] += 2 * sd[d.block] * sd[name] * across[level, o + d.codes[name][cells]]
        if d.child is None:
            return
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
        variance = 1 - link * with_block
        for name, o in offsets.items():
            variance -= _row_sums_of_product(coupling[name], with_border[:, o : o + d.sizes[name]])
        variance *= scale
        diagonal[d.child][mine] = variance
        place = np.empty(d.sizes[d.child], dtype=np.int64)
        place[mine] = np.arange(mine.size)
        level = place[d.codes[d.child][cells]]
        eta[cells] += sd[d.child] ** 2 * variance[level] + 2 * sd[d.child] * sd[d.block] * with_block[level]
        for name, o in offsets.items():
            eta[cells] += 2 * sd[d.child] * sd[name] * with_border[level, o + d.codes[name][cells]]

    def gradient(self, mode: Mode) -> tuple[float, dict[str, float]]:
        """Return the derivative of the log-likelihood by the intercept and by the logarithm of each SD.

        The mode moves with the parameters and H changes with the mode: that is the third-derivative term,
        `pull`.
        """
        d = self.design
        parts = self.variances(mode)
        pull = 0.5 * mode.third * parts.eta
        adjoint = mode.curvature.solve(self.totals(pull, mode.sd))
        driver = mode.residual - pull + mode.weight * self.spread(adjoint, mode.sd)
        driven = self.totals(driver, mode.sd)
        score = self.totals(mode.residual, mode.sd)
        slopes = {
            name: float(mode.v[name] @ driven[name] - np.sum(1 - parts.diagonal[name]) - adjoint[name] @ score[name])
            for name in d.names
        }
        return float(driver.sum()), slopes

    def rough_information(self, mode: Mode) -> tuple[float, dict[str, float]]:
        """Return an approximate information for the intercept and the log SDs, to scale the outer search.

        For the logarithm of an SD of which n levels are known exactly it is 2n; a level known with
        reliability R counts R squared.
        """
        parts = self.variances(mode)
        load = self.totals(mode.weight, mode.sd)
        explained = mode.curvature.solve(load)
        left = float(mode.weight.sum()) - sum(float(load[name] @ explained[name]) for name in self.design.names)
        return left, {name: float(2 * np.sum((1 - parts.diagonal[name]) ** 2)) for name in self.design.names}

    def mode_slopes(self, mode: Mode, name: str | None) -> ByFactor:
        """Return the derivative of the mode `v` by the intercept (name None) or by the log SD of a factor."""
        if name is None:
            load = self.totals(mode.weight, mode.sd)
            return mode.curvature.solve({key: -value for key, value in load.items()})
        d = self.design
        moved = (mode.sd[name] * mode.v[name])[d.codes[name]]
        right = {key: -value for key, value in self.totals(mode.weight * moved, mode.sd).items()}
        right[name] = right[name] + self.totals(mode.residual, mode.sd)[name]
        return mode.curvature.solve(right)


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
