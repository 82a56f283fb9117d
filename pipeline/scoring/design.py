"""The layout of a crossed-effects model: which cell belongs to which levels, and how levels meet.

One factor (the *block*; umpires) and at most one factor nested in it (the *child*; their games) are
eliminated level by level; all other factors (evaluators, situations) make up the *border*. Work and memory
are then linear in the number of block and child levels.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray
from scipy import sparse
from scipy.special import gammaln

Floats: TypeAlias = NDArray[np.float64]
Codes: TypeAlias = NDArray[np.int64]
Matrix: TypeAlias = Floats | sparse.csr_array


SMALL_TABLE = 100_000
SPARSE_SHARE = 0.1


def sums(levels: Codes, by_row: Floats, size: int) -> Floats:
    """Return the sum of `by_row` over the rows of each level, for levels 0 to size - 1."""
    return np.bincount(levels, weights=by_row, minlength=size).astype(np.float64, copy=False)


class Runs:
    """Sums over levels whose rows stand together: several times as fast as by scattered rows."""

    def __init__(self, levels: Codes, size: int) -> None:
        self._starts = np.flatnonzero(np.diff(levels, prepend=-1))
        self._levels = levels[self._starts]
        self._size = size

    def sums(self, by_row: Floats) -> Floats:
        """Return the sum of `by_row` over the rows of each level; 0 for a level without rows."""
        found = np.zeros(self._size)
        found[self._levels] = np.add.reduceat(by_row, self._starts)
        return found


@dataclass(frozen=True)
class Pairs:
    """The pairs of levels that occur: row and column level of each, where each row starts, and each cell's pair."""

    rows: Codes
    columns: Codes
    starts: Codes
    of_cell: Codes


class Meeting:
    """Where the levels of two factors meet: gives, for a weight per cell, the table of summed weights.

    The table is dense where more than a tenth of the pairs occur or it is small, and a CSR array otherwise
    (an umpire is seen by two to five evaluators out of hundreds).
    """

    def __init__(self, rows: Codes, columns: Codes, shape: tuple[int, int]) -> None:
        self.shape = shape
        self.pairs: Pairs | None = None
        key = rows * shape[1] + columns
        size = shape[0] * shape[1]
        self._index: Codes = key
        self._runs: Runs | None = None
        if size > SMALL_TABLE:
            # Runs of one pair are taken together first: then only one number a run need be sorted.
            starts = np.flatnonzero(np.diff(key, prepend=-1))
            found, index = np.unique(key[starts], return_inverse=True)
            if found.size < SPARSE_SHARE * size:
                bounds = np.searchsorted(found, np.arange(shape[0] + 1, dtype=np.int64) * shape[1])
                self._index = np.repeat(index.astype(np.int64), np.diff(np.append(starts, key.size)))
                self.pairs = Pairs(found // shape[1], found % shape[1], bounds, self._index)
                if starts.size == found.size:
                    self._runs = Runs(self._index, found.size)

    @property
    def has_runs(self) -> bool:
        """Whether the cells of each pair stand together."""
        return self._runs is not None

    def column_sums(self, weights: Floats) -> Floats:
        """Return the sum of `weights` by column level; only where the cells of each pair stand together."""
        assert self._runs is not None  # noqa: S101  the caller has looked
        assert self.pairs is not None  # noqa: S101
        return sums(self.pairs.columns, self._runs.sums(weights), self.shape[1])

    def table(self, weights: Floats) -> Matrix:
        """Return the sum of `weights` by pair of levels, shape (row levels, column levels)."""
        if self.pairs is not None:
            size = self.pairs.columns.size
            data = self._runs.sums(weights) if self._runs is not None else sums(self._index, weights, size)
            columns, starts = self.pairs.columns.astype(np.int32), self.pairs.starts.astype(np.int32)
            return sparse.csr_array((data, columns, starts), shape=self.shape)
        flat = sums(self._index, weights, self.shape[0] * self.shape[1])
        return flat.reshape(self.shape)


@dataclass(frozen=True)
class Layout:
    """Cells sorted by block level and child level, with their codes.

    Attributes
    ----------
    names, codes, sizes
        The factors in the order given, with the level of each cell and the number of levels.
    block, child
        Names of the block factor and of the factor nested in it (or None).
    border
        The other factors.
    parent
        For each child level its block level.
    meets
        Tables of the block and child with each border factor, and of the border factors with each other.
    order
        For each cell the position of the first row given that went into it.
    """

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

    @cached_property
    def present(self) -> dict[str, int]:
        """Number of levels of each factor that occur."""
        return {name: int(np.unique(code).size) for name, code in self.codes.items()}

    @cached_property
    def _runs(self) -> dict[str, Runs]:
        sorted_names = [name for name in (self.block, self.child) if name is not None]
        return {name: Runs(self.codes[name], self.sizes[name]) for name in sorted_names}

    def level_sums(self, name: str, by_cell: Floats) -> Floats:
        """Return the sum of `by_cell` over the cells of each level of a factor."""
        if name in self._runs:
            return self._runs[name].sums(by_cell)
        met = self.meets.get((self.block, name))
        if met is not None and met.has_runs:
            return met.column_sums(by_cell)
        return sums(self.codes[name], by_cell, self.sizes[name])


@dataclass(frozen=True)
class Design(Layout):
    """A layout with a response of which each cell holds the total.

    Attributes
    ----------
    successes, trials
        Of each cell; rows of one combination of levels (and covariates, and category) are merged. For an
        ordered response `trials` counts rows, for a measured one too, and `successes` holds the sum of the
        measurements.
    constant
        Sum of the logarithms of the binomial coefficients of the rows as they were given; 0 for rows of one
        trial, so that the log-likelihood is that of the data given, as other programs print it.
    fixed
        Fixed part, shape (cells, coefficients); a column of ones unless said otherwise.
    category
        Category of each cell, from 0, for an ordered response; else empty.
    """

    successes: Floats
    trials: Floats
    constant: float
    fixed: Floats
    category: Codes


def build_design(
    successes: Floats,
    trials: Floats,
    factors: Mapping[str, Codes],
    nested: Mapping[str, str] | None = None,
    levels: Mapping[str, int] | None = None,
    *,
    fixed: Floats | None = None,
    category: Codes | None = None,
    counts: bool = True,
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
    fixed
        Matrix of the fixed part, rows as given; a column of ones when not given.
    category
        Category of each row, from 0 (an ordered response).
    counts
        Whether `successes` is a count out of `trials`; else it is any number.

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
    if y.size == 0 or (n <= 0).any() or (counts and ((y < 0).any() or (y > n).any())):
        raise ValueError("every row needs trials above 0 and successes from 0 to trials")
    if any(code.min() < 0 for code in raw.values()):
        raise ValueError("levels are whole numbers from 0")
    sizes = {name: max(int(code.max()) + 1, (levels or {}).get(name, 0)) for name, code in raw.items()}
    child, block = next(iter((nested or {}).items()), (None, max(sizes, key=lambda name: sizes[name])))
    if block not in raw or (child is not None and child not in raw):
        raise ValueError(f"nested names unknown factors: {child!r} in {block!r}")
    border = tuple(name for name in raw if name not in (block, child))
    keys = [(raw[name], sizes[name]) for name in (block, *((child,) if child else ()), *border)]
    if category is not None:
        keys.append((np.asarray(category, dtype=np.int64), int(np.max(category)) + 1))
    if fixed is not None and fixed.shape[1]:
        patterns, pattern = np.unique(fixed, axis=0, return_inverse=True)
        keys.append((pattern.astype(np.int64).ravel(), patterns.shape[0]))
    order, first = _merge(keys)
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
    if counts and n.max() > 1:
        constant = float(np.sum(gammaln(n + 1) - gammaln(y + 1) - gammaln(n - y + 1)))
    return Design(
        names=tuple(raw),
        codes=codes,
        sizes=sizes,
        block=block,
        child=child,
        border=border,
        parent=parent,
        meets=meets,
        order=order[first],
        successes=np.add.reduceat(y[order], first),
        trials=np.add.reduceat(n[order], first),
        constant=constant,
        fixed=np.ones((first.size, 1)) if fixed is None else fixed[order[first]],
        category=np.zeros(0, dtype=np.int64) if category is None else np.asarray(category)[order[first]],
    )


def _merge(keys: list[tuple[Codes, int]]) -> tuple[Codes, Codes]:
    """Return the sorting order of the rows, and the positions where a new cell starts."""
    combinations = 1
    for _, size in keys:
        combinations *= size
    if combinations < 2**62:
        key = np.zeros(keys[0][0].shape, dtype=np.int64)
        for code, size in keys:
            key = key * size + code
        if (np.diff(key) >= 0).all():
            order = np.arange(key.size)
        else:
            order = np.argsort(key, kind="stable")
            key = key[order]
        new = np.diff(key, prepend=-1) != 0
    else:
        order = np.lexsort([code for code, _ in reversed(keys)])
        new = np.zeros(order.size, dtype=bool)
        for code, _ in keys:
            new |= np.diff(code[order], prepend=-1) != 0
    return order.astype(np.int64), np.flatnonzero(new).astype(np.int64)
