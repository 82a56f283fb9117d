"""Krippendorff's alpha for any number of raters, at any level of measurement, with gaps.

    alpha = 1 - D_observed / D_expected,

the mean disagreement of pairs of values within a unit over that of pairs drawn from all units; a unit with ``m``
values counts each of its pairs ``1 / (m - 1)`` times, one with a single value not at all [1]_. The distance at
the ordinal level is that of the interval level between mid-ranks, so that both need sums and no table of pairs.

References
----------
.. [1] Krippendorff 2011, Computing Krippendorff's Alpha-Reliability.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from pipeline.scoring.design import Codes, Floats

MOST_RATIO_VALUES = 3000
"""The ratio level compares all pairs of distinct values; above this the table is not built."""


class Scale(StrEnum):
    """Level of measurement: what the distance of two values means."""

    NOMINAL = "nominal"
    ORDINAL = "ordinal"
    INTERVAL = "interval"
    RATIO = "ratio"


@dataclass(frozen=True)
class Interval:
    """A percentile interval from resampled units, and how many of the draws gave a value."""

    low: float
    high: float
    draws: int


class PairedValues:
    """The values that can be paired, in units.

    Parameters
    ----------
    unit
        Unit of each value, from 0.
    code
        Place of each value in `values`.
    values
        The distinct values, ascending; at the nominal level their numbers alone.
    """

    def __init__(self, unit: Codes, code: Codes, values: Floats, scale: Scale) -> None:
        size = np.bincount(unit)
        kept = size[unit] > 1
        _, self.unit = np.unique(unit[kept], return_inverse=True)
        self.code, self.scale = code[kept], scale
        self.size = np.bincount(self.unit).astype(np.float64)
        self.values = values - (values.mean() if scale is Scale.INTERVAL and values.size else 0.0)
        self._fixed = np.zeros(0)
        self._squares = np.zeros((0, 0))
        if scale is Scale.NOMINAL:
            key = self.unit.astype(np.int64) * max(values.size, 1) + self.code
            cells, times = np.unique(key, return_counts=True)
            alike = np.bincount(cells // max(values.size, 1), weights=times.astype(np.float64) ** 2)
            self._fixed = (self.size**2 - alike) / (self.size - 1)
        elif scale is Scale.INTERVAL:
            self._fixed = self._within(self.values)
        elif scale is Scale.RATIO and values.size <= MOST_RATIO_VALUES:
            total = values[:, None] + values
            with np.errstate(invalid="ignore", divide="ignore"):
                ratio = np.where(total > 0, (values[:, None] - values) / total, 0.0)
            self._squares = ratio**2
            self._fixed = self._pairs()

    @property
    def units(self) -> int:
        """Units with two values or more."""
        return int(self.size.size)

    def _within(self, place: Floats) -> Floats:
        """Return for each unit the squared distances of its ordered pairs, over its size less one."""
        x = place[self.code]
        first = np.bincount(self.unit, weights=x, minlength=self.units)
        second = np.bincount(self.unit, weights=x * x, minlength=self.units)
        return np.asarray(2 * (self.size * second - first**2) / (self.size - 1))

    def _pairs(self) -> Floats:
        order = np.argsort(self.unit, kind="stable")
        starts = np.concatenate([[0], np.cumsum(self.size.astype(np.int64))])
        codes = self.code[order]
        return np.array(
            [
                self._squares[np.ix_(codes[a:b], codes[a:b])].sum() / (b - a - 1)
                for a, b in itertools.pairwise(starts.tolist())
            ]
        )

    def alpha(self, times: Floats | None = None) -> float:
        """Return alpha with each unit counted so many times (once, if nothing is said); NaN if values do not vary."""
        times = np.ones(self.units) if times is None else times
        if self.units == 0 or (self.scale is Scale.RATIO and not self._squares.size):
            return float("nan")
        counts = np.bincount(self.code, weights=times[self.unit], minlength=self.values.size)
        if np.count_nonzero(counts) < 2:
            return float("nan")
        n = float(counts.sum())
        within = self._fixed
        if self.scale is Scale.NOMINAL:
            among = n**2 - float(counts @ counts)
        elif self.scale is Scale.RATIO:
            among = float(counts @ self._squares @ counts)
        else:
            place = self.values
            if self.scale is Scale.ORDINAL:
                place = np.cumsum(counts) - counts / 2
                place = place - place.mean()
                within = self._within(place)
            among = 2 * (n * float(counts @ place**2) - float(counts @ place) ** 2)
        return 1 - float(times @ within) * (n - 1) / among if among > 0 else float("nan")

    def interval(self, coverage: float, draws: int, seed: int) -> Interval:
        """Return the percentile interval of alpha over units drawn again with replacement."""
        rng = np.random.default_rng(seed)
        found = np.array(
            [
                self.alpha(np.bincount(rng.integers(0, self.units, self.units), minlength=self.units).astype(float))
                for _ in range(draws if self.units > 1 else 0)
            ]
        )
        found = found[~np.isnan(found)]
        if not found.size:
            return Interval(float("nan"), float("nan"), 0)
        low, high = np.quantile(found, [(1 - coverage) / 2, (1 + coverage) / 2])
        return Interval(float(low), float(high), int(found.size))
