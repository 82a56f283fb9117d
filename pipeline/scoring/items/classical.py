"""Classical item figures of a 0/1 table, with or without gaps."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.scoring.design import Floats
from pipeline.scoring.items.answers import Answers


@dataclass(frozen=True)
class ItemStatistics:
    """Classical figures of a 0/1 table, persons by items; NaN where a figure cannot be computed.

    Parameters
    ----------
    answered
        Answers to each item.
    p
        Share right among them.
    point_biserial
        Correlation of the item with the share right of all items that the person answered (in a complete table,
        that with the total), over those who answered the item.
    item_rest
        The same with the share right of the *other* items that the person answered.
    kr20, kr21
        Of the persons who answered every item, with the population variance of the totals.
    complete_persons
        How many those are.
    mean, sd
        Mean of their totals, and SD with n - 1.
    """

    answered: Floats
    p: Floats
    point_biserial: Floats
    item_rest: Floats
    kr20: float
    kr21: float
    complete_persons: int
    mean: float
    sd: float


def item_statistics(table: Floats) -> ItemStatistics:
    """Return the classical figures of a table of 1 (right), 0 (wrong) and NaN (not answered).

    References
    ----------
    Kuder & Richardson 1937, Psychometrika 2, formulas 20 and 21.
    """
    answers = Answers.of(table)
    total, number = answers.right.sum(axis=1), answers.given.sum(axis=1)
    with np.errstate(invalid="ignore", divide="ignore"):
        p = answers.item_totals / answers.item_counts
        share = total / number
        rest = (total[:, None] - answers.right) / (number[:, None] - answers.given)
    whole = np.broadcast_to(share[:, None], rest.shape)
    complete = answers.right[number == answers.items]
    kr20, kr21 = _reliability(complete)
    totals = complete.sum(axis=1)
    return ItemStatistics(
        answered=answers.item_counts,
        p=p,
        point_biserial=_correlations(answers, whole),
        item_rest=_correlations(answers, rest),
        kr20=kr20,
        kr21=kr21,
        complete_persons=int(totals.size),
        mean=float(totals.mean()) if totals.size else float("nan"),
        sd=float(totals.std(ddof=1)) if totals.size > 1 else float("nan"),
    )


def _reliability(complete: Floats) -> tuple[float, float]:
    persons, items = complete.shape
    total = complete.sum(axis=1)
    variance = float(total.var()) if persons else 0.0
    if items < 2 or variance == 0:
        return float("nan"), float("nan")
    p, mean = complete.mean(axis=0), float(total.mean())
    return (
        items / (items - 1) * (1 - float(np.sum(p * (1 - p))) / variance),
        items / (items - 1) * (1 - mean * (items - mean) / (items * variance)),
    )


def _correlations(answers: Answers, other: Floats) -> Floats:
    """Return the correlation of each item with a column of its own, over the persons who have both."""
    both = (answers.given > 0) & np.isfinite(other)
    number = np.maximum(both.sum(axis=0), 1)
    one, two = np.where(both, answers.right, 0.0), np.where(both, other, 0.0)
    one = np.where(both, one - one.sum(axis=0) / number, 0.0)
    two = np.where(both, two - two.sum(axis=0) / number, 0.0)
    spread_one, spread_two = np.sum(one**2, axis=0), np.sum(two**2, axis=0)
    # A column that does not vary has no correlation; rounding must not lend it a spread.
    varies = (spread_one > 1e-12) & (spread_two > 1e-12)
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.where(varies, np.sum(one * two, axis=0) / np.sqrt(spread_one * spread_two), np.nan)
