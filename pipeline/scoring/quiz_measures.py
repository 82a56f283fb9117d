"""The quiz by the Rasch model: how hard each item is, whether it keeps to the model, and where each umpire stands.

All quizzes of a season share one scale: an umpire who sat several links their items. Difficulties are those of
conditional maximum likelihood, so that nothing is assumed of how umpires are spread; an item left out counts as
wrong, one that was not on the sheet does not count.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from pipeline.scoring.design import Codes, Floats
from pipeline.scoring.diagnostics import Outcome
from pipeline.scoring.items.answers import Answers
from pipeline.scoring.items.fit import fit_statistics
from pipeline.scoring.items.rasch_conditional import fit_conditional_rasch, linked_items
from pipeline.scoring.items.tilt import weighted_measures
from pipeline.scoring.tables import Row


@dataclass(frozen=True)
class ItemMeasure:
    """Difficulty in logits (0: the average item), its SE, and the conditional mean squares."""

    difficulty: float
    se: float
    infit: float
    outfit: float


@dataclass(frozen=True)
class QuizMeasures:
    """By item, and by umpire and quiz the weighted likelihood measure with its SE, in logits on the same scale.

    Items that everybody had right or wrong, or that no chain of answers links to the rest, are not in `items`.
    """

    items: dict[str, ItemMeasure] = field(default_factory=dict)
    sheets: dict[tuple[str, str], tuple[float, float]] = field(default_factory=dict)


def quiz_measures(answers: Sequence[Row], withheld: set[str]) -> QuizMeasures:
    """Measure the items that are scored, and each sheet by those of its items that have a difficulty."""
    scored = [row for row in answers if row["item_id"] not in withheld]
    items = sorted({row["item_id"] for row in scored})
    umpires = sorted({row["umpire_id"] for row in scored})
    table = _table(scored, "umpire_id", umpires, items)
    kept = _comparable(Answers.of(table))
    if kept.size < 2:
        return QuizMeasures()
    chosen = Answers.of(table[:, kept])
    fitted = fit_conditional_rasch(chosen)
    if fitted.record.outcome is not Outcome.CONVERGED:
        return QuizMeasures()
    fit = fit_statistics(chosen, fitted.difficulty)
    names = [items[i] for i in kept.tolist()]
    measures = zip(
        names,
        fitted.difficulty.tolist(),
        fitted.difficulty_se.tolist(),
        fit.infit_conditional.tolist(),
        fit.outfit_conditional.tolist(),
        strict=True,
    )
    found = QuizMeasures({name: ItemMeasure(*figures) for name, *figures in measures})
    for quiz in sorted({row["quiz_id"] for row in scored}):
        sheet = [row for row in scored if row["quiz_id"] == quiz]
        people = sorted({row["umpire_id"] for row in sheet})
        marks = Answers.of(_table(sheet, "umpire_id", people, names))
        ability, se = weighted_measures(fitted.difficulty, marks.given, marks.right.sum(axis=1))
        for umpire, value, error in zip(people, ability.tolist(), se.tolist(), strict=True):
            if np.isfinite(value):
                found.sheets[umpire, quiz] = value, error
    return found


def _table(rows: Sequence[Row], column: str, people: Sequence[str], items: Sequence[str]) -> Floats:
    """Return people by items; where somebody met an item twice, the first answer counts."""
    row_of = {name: i for i, name in enumerate(people)}
    column_of = {name: i for i, name in enumerate(items)}
    table = np.full((len(people), len(items)), np.nan)
    for row in rows:
        at = row_of[row[column]], column_of.get(row["item_id"], -1)
        if at[1] >= 0 and np.isnan(table[at]):
            table[at] = float(row["is_right"])
    return table


def _comparable(answers: Answers) -> Codes:
    """Return the items of the largest set that answers link both ways."""
    varied = np.flatnonzero((answers.item_totals > 0) & (answers.item_totals < answers.item_counts)).astype(np.int64)
    if not varied.size:
        return varied
    linked = linked_items(answers.keep_items(varied))
    return np.asarray(varied[linked == int(np.argmax(np.bincount(linked)))])
