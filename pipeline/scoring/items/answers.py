"""A 0/1 table with gaps, and the two ways of counting it that lose nothing."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from pipeline.scoring.design import Codes, Floats


@dataclass(frozen=True)
class Answers:
    """Answers of persons to items.

    Parameters
    ----------
    right
        Shape (persons, items): 1 right, 0 wrong or not answered.
    given
        Same shape: 1 answered, 0 not answered.
    """

    right: Floats
    given: Floats

    @classmethod
    def of(cls, table: Floats) -> Answers:
        """Read a table of 1, 0 and NaN (not answered), shape (persons, items)."""
        missing = np.isnan(table)
        return cls(np.where(missing, 0.0, table), np.where(missing, 0.0, 1.0))

    @property
    def persons(self) -> int:
        """Number of rows."""
        return int(self.right.shape[0])

    @property
    def items(self) -> int:
        """Number of columns."""
        return int(self.right.shape[1])

    @cached_property
    def is_complete(self) -> bool:
        """Whether everybody answered everything."""
        return bool(self.given.all())

    @cached_property
    def item_totals(self) -> Floats:
        """Right answers of each item."""
        return np.asarray(self.right.sum(axis=0))

    @cached_property
    def item_counts(self) -> Floats:
        """Answers of each item."""
        return np.asarray(self.given.sum(axis=0))

    def keep_items(self, kept: Codes) -> Answers:
        """Return the answers to some items only, in the order given."""
        return Answers(self.right[:, kept], self.given[:, kept])


@dataclass(frozen=True)
class ScoreGroups:
    """Persons who answered the same items and had the same number right: all that the Rasch model needs.

    Parameters
    ----------
    masks
        Shape (patterns, items): 1 where the items of the pattern were answered.
    pattern, score, count
        Of each group: row of `masks`, right answers, persons.
    of_person
        Group of each person.
    item_totals
        Right answers of each item.
    """

    masks: Floats
    pattern: Codes
    score: Floats
    count: Floats
    of_person: Codes
    item_totals: Floats


def _distinct_rows(table: Floats) -> tuple[Codes, Codes]:
    """Return the first row number of each distinct row of a 0/1 table, and the number of each row's kind."""
    packed = np.ascontiguousarray(np.packbits(table.astype(bool), axis=1))
    keys = packed.view(np.dtype((np.void, packed.shape[1]))).ravel()
    _, first, kind = np.unique(keys, return_index=True, return_inverse=True)
    return first.astype(np.int64), kind.astype(np.int64)


def score_groups(answers: Answers) -> ScoreGroups:
    """Count persons by the items they answered and their score."""
    score = answers.right.sum(axis=1)
    if answers.is_complete:
        masks, kind = answers.given[:1], np.zeros(answers.persons, dtype=np.int64)
    else:
        first, kind = _distinct_rows(answers.given)
        masks = answers.given[first]
    width = answers.items + 1
    keys, of_person, count = np.unique(kind * width + score.astype(np.int64), return_inverse=True, return_counts=True)
    return ScoreGroups(
        masks=masks,
        pattern=keys // width,
        score=(keys % width).astype(np.float64),
        count=count.astype(np.float64),
        of_person=of_person.astype(np.int64),
        item_totals=answers.item_totals,
    )


def distinct_answers(answers: Answers) -> tuple[Answers, Floats, Codes]:
    """Return each distinct row of answers once, how many persons gave it, and the row of each person."""
    first, kind = _distinct_rows(np.concatenate([answers.right, answers.given], axis=1))
    count = np.bincount(kind, minlength=first.size).astype(np.float64)
    return Answers(answers.right[first], answers.given[first]), count, kind
