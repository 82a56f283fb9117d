"""Whether the last digits of measures fall evenly, and what a chance of one in so many is worth among many."""

from __future__ import annotations

from collections.abc import Sequence

from scipy.special import chdtrc

FEWEST_VALUES = 50
"""With fewer values less than five are expected of each digit, and the test does not hold (Cochran 1954, common
practice)."""


def even_digits_p(times: Sequence[int]) -> float | None:
    """Return the chance of last digits as uneven as these, or more so, if all ten were equally likely.

    Pearson's chi-square test with 9 degrees of freedom; None where there are fewer than `FEWEST_VALUES` values.

    Parameters
    ----------
    times
        How often each digit from 0 to 9 stands last.
    """
    total = sum(times)
    if len(times) != 10 or total < FEWEST_VALUES:
        return None
    expected = total / 10
    return float(chdtrc(9, sum((count - expected) ** 2 for count in times) / expected))


def holm(chances: Sequence[float]) -> list[float]:
    """Return the chances corrected for how many were looked at, in the same order, none above 1.

    Holm's step-down method (Holm 1979): of all the tests, the chance that even one of the true ones falls below a
    bound by luck stays below that bound.
    """
    order = sorted(range(len(chances)), key=lambda i: chances[i])
    corrected = [0.0] * len(chances)
    greatest = 0.0
    for rank, i in enumerate(order):
        greatest = max(greatest, min(1.0, (len(chances) - rank) * chances[i]))
        corrected[i] = greatest
    return corrected
