"""The layout of a crossed-effects model: which cell belongs to which levels, and how levels meet.

One factor (the *block*; umpires) and at most one factor nested in it (the *child*; their games) are
eliminated level by level; all other factors (evaluators, situations) make up the *border*. Work and memory
are then linear in the number of block and child levels.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray
from scipy import sparse
from scipy.special import gammaln

Floats: TypeAlias = NDArray[np.float64]
Codes: TypeAlias = NDArray[np.int64]
Matrix: TypeAlias = Floats | sparse.csr_array


def sums(levels: Codes, by_row: Floats, size: int) -> Floats:
    """Return the sum of `by_row` over the rows of each level, for levels 0 to size - 1."""
    return np.bincount(levels, weights=by_row, minlength=size).astype(np.float64, copy=False)


class Meeting:
    """Where the levels of two factors meet: gives, for a weight per cell, the table of summed weights.

    The table is dense where more than a tenth of the pairs occur or it is small, and a CSR array otherwise
    (an umpire is seen by two to five evaluators out of hundreds).
    """

    def __init__(self, rows: Codes, columns: Codes, shape: tuple[int, int]) -> None:
        self.shape = shape
        key = rows * shape[1] + columns
        size = shape[0] * shape[1]
        self._index: Codes = key
        self._sparse = False
        if size > 100_000:
            pairs, index = np.unique(key, return_inverse=True)
            if pairs.size < 0.1 * size:
                self._sparse = True
                self._index = index.astype(np.int64)
                self._columns = (pairs % shape[1]).astype(np.int32)
                starts = np.searchsorted(pairs, np.arange(shape[0] + 1, dtype=np.int64) * shape[1])
                self._starts = starts.astype(np.int32)

    def table(self, weights: Floats) -> Matrix:
        """Return the sum of `weights` by pair of levels, shape (row levels, column levels)."""
        if self._sparse:
            data = np.bincount(self._index, weights=weights, minlength=self._columns.size)
            return sparse.csr_array((data, self._columns, self._starts), shape=self.shape)
        flat = sums(self._index, weights, self.shape[0] * self.shape[1])
        return flat.reshape(self.shape)


@dataclass(frozen=True)
class Design:
    """Cells sorted by block level and child level, with their codes.

    Attributes
    ----------
    successes, trials
        Of each cell; cells of one combination of levels are merged.
    constant
        Sum of the logarithms of the binomial coefficients of the rows as they were given; 0 for rows of one
        trial, so that the log-likelihood is that of the data given, as other programs print it.
    names, codes, sizes
        The factors: border factors in the order given, with the level of each cell and the number of levels.
    block, child
        Names of the block factor and of the factor nested in it (or None).
    parent
        For each child level its block level.
    meets
        Tables of the block and child with each border factor, and of the border factors with each other.
    order
        For each cell the position of the first row given that went into it.
    """

    successes: Floats
    trials: Floats
    constant: float
    names: tuple[str, ...]
    codes: dict[str, Codes]
    sizes: dict[str, int]
    block: str
    child: str | None
    border: tuple[str, ...]
    parent: Codes
    meets: dict[tuple[str, str], Meeting]
    order: Codes

    @property
    def offsets(self) -> dict[str, int]:
        """Where each border factor starts among the rows of the border."""
        starts = np.concatenate([[0], np.cumsum([self.sizes[name] for name in self.border])])
        return {name: int(start) for name, start in zip(self.border, starts[:-1], strict=True)}

    @property
    def border_size(self) -> int:
        """Number of levels in the border."""
        return sum(self.sizes[name] for name in self.border)


def build_design(
    successes: Floats,
    trials: Floats,
    factors: Mapping[str, Codes],
    nested: Mapping[str, str] | None = None,
    levels: Mapping[str, int] | None = None,
) -> Design:
    """Merge cells, choose the block and lay out the model.

    Parameters
    ----------
    successes, trials
        Per row, 0 <= successes <= trials, trials > 0.
    factors
        For each random effect the level of each row, whole numbers from 0; a level may be absent from the
        rows.
    nested
        Names of nested factors with the factor each is nested in, as ``{"game": "umpire"}``: every game has
        one umpire. The result does not depend on it, only the speed. The first one decides the block; without
        any, the factor with most levels is the block.
    levels
        Number of levels of a factor, where it may be more than occur in the rows.

    Raises
    ------
    ValueError
        Lengths differ, a count is out of range, or a factor said to be nested is not.
    """
    y, n = np.asarray(successes, dtype=np.float64), np.asarray(trials, dtype=np.float64)
    raw = {name: np.asarray(code, dtype=np.int64) for name, code in factors.items()}
    if not raw:
        raise ValueError("at least one factor is needed")
    if any(code.shape != y.shape for code in raw.values()) or n.shape != y.shape or y.ndim != 1:
        raise ValueError("successes, trials and every factor must be vectors of one length")
    if y.size == 0 or (n <= 0).any() or (y < 0).any() or (y > n).any():
        raise ValueError("every row needs trials above 0 and successes from 0 to trials")
    if any(code.min() < 0 for code in raw.values()):
        raise ValueError("levels are whole numbers from 0")
    sizes = {name: max(int(code.max()) + 1, (levels or {}).get(name, 0)) for name, code in raw.items()}
    child, block = next(iter((nested or {}).items()), (None, max(sizes, key=lambda name: sizes[name])))
    if block not in raw or (child is not None and child not in raw):
        raise ValueError(f"nested names unknown factors: {child!r} in {block!r}")
    border = tuple(name for name in raw if name not in (block, child))
    sort_names = (block, *((child,) if child else ()), *border)
    order, first, group = _merge(raw, sort_names, sizes)
    codes = {name: code[order][first] for name, code in raw.items()}
    parent = np.zeros(0, dtype=np.int64)
    if child is not None:
        parent = np.zeros(sizes[child], dtype=np.int64)
        parent[codes[child]] = codes[block]
        if (parent[codes[child]] != codes[block]).any():
            raise ValueError(f"{child!r} is not nested in {block!r}: a level of it stands under two")
    meets = {
        (top, name): Meeting(codes[top], codes[name], (sizes[top], sizes[name]))
        for top in (block, *((child,) if child else ()))
        for name in border
    }
    for i, one in enumerate(border):
        for other in border[i + 1 :]:
            meets[one, other] = Meeting(codes[one], codes[other], (sizes[one], sizes[other]))
    constant = 0.0
    if n.max() > 1:
        constant = float(np.sum(gammaln(n + 1) - gammaln(y + 1) - gammaln(n - y + 1)))
    return Design(
        successes=sums(group, y[order], int(group[-1]) + 1),
        trials=sums(group, n[order], int(group[-1]) + 1),
        constant=constant,
        names=tuple(raw),
        codes=codes,
        sizes=sizes,
        block=block,
        child=child,
        border=border,
        parent=parent,
        meets=meets,
        order=order[first],
    )


def _merge(raw: Mapping[str, Codes], names: tuple[str, ...], sizes: Mapping[str, int]) -> tuple[Codes, Codes, Codes]:
    """Return the sorting order of the rows, the positions where a new cell starts, and each row's cell."""
    combinations = 1
    for name in names:
        combinations *= sizes[name]
    if combinations < 2**62:
        key = np.zeros(raw[names[0]].shape, dtype=np.int64)
        for name in names:
            key = key * sizes[name] + raw[name]
        order = np.argsort(key, kind="stable")
        new = np.diff(key[order], prepend=-1) != 0
    else:
        order = np.lexsort([raw[name] for name in reversed(names)])
        new = np.zeros(order.size, dtype=bool)
        for name in names:
            new |= np.diff(raw[name][order], prepend=-1) != 0
    return order.astype(np.int64), np.flatnonzero(new).astype(np.int64), (np.cumsum(new) - 1).astype(np.int64)
