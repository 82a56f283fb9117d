"""The ability at which a number right is expected, and measures of persons made from it."""

from __future__ import annotations

import numpy as np
from scipy.special import expit

from pipeline.scoring.design import Floats

_STEPS = 200
_WIDEST = 45.0


def tilts(difficulty: Floats, masks: Floats, score: Floats, within: float = 1e-10) -> Floats:
    """Return per row the ability (logits) whose expected number right is the score; infinite at 0 and at all.

    This is the maximum likelihood measure of a person under the Rasch model. `masks`, shape (rows, items), has
    1 for the items that count. The search ends when its last step was shorter than `within` logits.
    """
    number = masks.sum(axis=1)
    inside = (score > 0) & (score < number)
    ability = np.where(score <= 0, -np.inf, np.inf)
    ability[inside] = _root(difficulty, masks[inside], score[inside], weighted=False, within=within)
    return ability


def weighted_measures(difficulty: Floats, masks: Floats, score: Floats) -> tuple[Floats, Floats]:
    """Return per row the weighted likelihood measure of a person (logits) and its SE, also at 0 and at all right.

    NaN where no item counts. The SE is that of the test information at the measure.

    References
    ----------
    Warm 1989, Psychometrika 54, 427-450.
    """
    some = masks.sum(axis=1) > 0
    ability = np.full(score.size, np.nan)
    ability[some] = _root(difficulty, masks[some], score[some], weighted=True, within=1e-10)
    chance = expit(ability[:, None] - difficulty) * masks
    with np.errstate(divide="ignore"):
        return ability, np.asarray(1 / np.sqrt(np.sum(chance * (masks - chance), axis=1)))


def _root(difficulty: Floats, masks: Floats, score: Floats, *, weighted: bool, within: float) -> Floats:
    """Solve for the ability by Newton steps kept between bounds that close in."""
    number = np.maximum(masks.sum(axis=1), 1)
    middle = masks @ difficulty / number
    share = (score + 0.5) / (number + 1)
    ability = middle + np.log(share / (1 - share))
    low = np.where(masks > 0, difficulty, np.inf).min(axis=1) - _WIDEST
    high = np.where(masks > 0, difficulty, -np.inf).max(axis=1) + _WIDEST
    for _ in range(_STEPS):
        chance = expit(ability[:, None] - difficulty) * masks
        spread = chance * (1 - chance)
        information = spread.sum(axis=1)
        surplus = score - chance.sum(axis=1)
        if weighted:
            # Warm's correction: half the skewness of the score, over the information.
            surplus = surplus + np.sum(spread * (1 - 2 * chance), axis=1) / (2 * np.maximum(information, 1e-300))
        low, high = np.where(surplus > 0, ability, low), np.where(surplus < 0, ability, high)
        step = surplus / np.maximum(information, 1e-12)
        following = ability + step
        following = np.where((following > low) & (following < high), following, (low + high) / 2)
        moved = np.abs(following - ability)
        ability = following
        if moved.max(initial=0.0) < within:
            break
    return np.asarray(ability)
