"""How well each item keeps to the Rasch model: mean squares of the residuals."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import sparse
from scipy.special import expit

from pipeline.scoring.design import Floats
from pipeline.scoring.items.answers import Answers, ScoreGroups, score_groups
from pipeline.scoring.items.rasch_conditional import group_chances
from pipeline.scoring.items.tilt import tilts

_CHUNK = 4096


@dataclass(frozen=True)
class ItemFit:
    """Mean squares by item, 1 when the residuals are as large as the model says; NaN without persons.

    Parameters
    ----------
    infit, outfit
        With each person at his maximum likelihood measure, persons with nothing or everything right left out
        [1]_. Outfit is the mean of the squared standardised residuals, infit their mean weighted by the variance.
        Since a person's measure is fitted to his own answers, they lie a little below 1 in short tests.
    infit_conditional, outfit_conditional
        The same with the exact chance given the person's score, which needs no measure and is 1 on average in
        tests of any length [2]_.
    persons
        Persons counted.

    References
    ----------
    .. [1] Wright & Masters 1982, Rating Scale Analysis, chapter 5.
    .. [2] Christensen & Kreiner 2013, in Rasch Models in Health, chapter 5 (from memory).
    """

    infit: Floats
    outfit: Floats
    infit_conditional: Floats
    outfit_conditional: Floats
    persons: Floats


def fit_statistics(answers: Answers, difficulty: Floats) -> ItemFit:
    """Return the mean squares of each item at given difficulties (logits)."""
    groups = score_groups(answers)
    right = _by_group(groups, answers)
    number = groups.masks.sum(axis=1)[groups.pattern]
    inside = (groups.score > 0) & (groups.score < number)
    kept = ScoreGroups(
        groups.masks,
        groups.pattern[inside],
        groups.score[inside],
        groups.count[inside],
        groups.of_person,
        groups.item_totals,
    )
    right = right[inside]
    plain, conditional = _Sums(answers.items), _Sums(answers.items)
    for some in group_chances(difficulty, kept):
        mask = kept.masks[kept.pattern[some.rows]]
        conditional.add(some.chance, right[some.rows], kept.count[some.rows, None] * mask)
    for start in range(0, kept.count.size, _CHUNK):
        rows = slice(start, start + _CHUNK)
        mask = kept.masks[kept.pattern[rows]]
        ability = tilts(difficulty, mask, kept.score[rows])
        plain.add(expit(ability[:, None] - difficulty) * mask, right[rows], kept.count[rows, None] * mask)
    return ItemFit(plain.infit(), plain.outfit(), conditional.infit(), conditional.outfit(), plain.number)


class _Sums:
    """Residuals added up over groups of persons who share a chance."""

    def __init__(self, items: int) -> None:
        self.squares, self.variance, self.standard, self.number = (np.zeros(items) for _ in range(4))

    def add(self, chance: Floats, right: Floats, number: Floats) -> None:
        spread = chance * (1 - chance)
        squares = right * (1 - chance) ** 2 + (number - right) * chance**2
        self.squares += squares.sum(axis=0)
        self.variance += (number * spread).sum(axis=0)
        self.number += number.sum(axis=0)
        self.standard += np.divide(squares, spread, out=np.zeros_like(squares), where=spread > 0).sum(axis=0)

    def infit(self) -> Floats:
        with np.errstate(invalid="ignore", divide="ignore"):
            return np.asarray(self.squares / self.variance)

    def outfit(self) -> Floats:
        with np.errstate(invalid="ignore", divide="ignore"):
            return np.asarray(self.standard / self.number)


def _by_group(groups: ScoreGroups, answers: Answers) -> Floats:
    """Return the right answers of each group to each item."""
    persons = np.arange(answers.persons)
    belongs = sparse.csr_array(
        (np.ones(persons.size), (groups.of_person, persons)), shape=(groups.count.size, persons.size)
    )
    return np.asarray(belongs @ answers.right)
