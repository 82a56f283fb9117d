"""Everything about one 0/1 table: the models fitted, with labels, and what could not be had and why."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pipeline.scoring.design import Codes, Floats
from pipeline.scoring.diagnostics import FitRecord, Outcome
from pipeline.scoring.items.answers import Answers
from pipeline.scoring.items.classical import ItemStatistics, item_statistics
from pipeline.scoring.items.fit import ItemFit, fit_statistics
from pipeline.scoring.items.rasch_conditional import ConditionalRasch, fit_conditional_rasch
from pipeline.scoring.items.rasch_marginal import MarginalRasch, fit_marginal_rasch
from pipeline.scoring.items.tilt import weighted_measures
from pipeline.scoring.items.two_parameter import TwoParameter, fit_two_parameter

_LEFT_OUT = {
    "all_right": "everybody who answered had it right",
    "all_wrong": "everybody who answered had it wrong",
    "not_answered": "nobody answered",
}


@dataclass(frozen=True)
class ItemAnalysis:
    """All figures of one table; where an item or a model has none, NaN, and a sentence in `messages`.

    Parameters
    ----------
    outcome
        Of each item: `estimated`, `all_right`, `all_wrong` or `not_answered`. The last three enter the classical
        figures and no model: their likelihood has no maximum, and leaving them out changes no other item.
    kept
        Numbers of the items in the models. Figures of `marginal`, `marginal_slope_1`, `conditional`,
        `two_parameter` and `fit` are in their order.
    measure, measure_se
        Of each person, in logits on the scale of the conditional difficulties (Warm's weighted likelihood).
    """

    items: tuple[str, ...]
    persons: tuple[str, ...]
    answers: Answers
    classical: ItemStatistics
    outcome: tuple[str, ...]
    kept: Codes
    marginal: MarginalRasch | None
    marginal_slope_1: MarginalRasch | None
    conditional: ConditionalRasch | None
    two_parameter: TwoParameter | None
    fit: ItemFit | None
    measure: Floats
    measure_se: Floats
    messages: tuple[str, ...]

    @property
    def records(self) -> dict[str, FitRecord]:
        """The account of each model by name."""
        models = {
            "rasch": self.marginal,
            "rasch_slope_1": self.marginal_slope_1,
            "cml": self.conditional,
            "2pl": self.two_parameter,
        }
        return {name: model.record for name, model in models.items() if model is not None}

    @property
    def converged(self) -> bool:
        """Whether every model gave estimates."""
        return len(self.records) == 4 and all(
            record.outcome is Outcome.CONVERGED for record in self.records.values()
        )

    def spread(self, values: Floats | None) -> Floats:
        """Put the figures of the items in the models back in their places among all items."""
        found = np.full(len(self.items), np.nan)
        if values is not None:
            found[self.kept] = values
        return found


def analyse_items(table: Floats, items: Sequence[str], persons: Sequence[str], *, slopes: bool = True) -> ItemAnalysis:
    """Analyse a table of 1 (right), 0 (wrong) and NaN (not answered), shape (persons, items).

    Parameters
    ----------
    slopes
        Whether the two-parameter model is fitted too.
    """
    answers = Answers.of(table)
    outcome = _outcomes(answers)
    kept = np.flatnonzero(np.array([name == "estimated" for name in outcome], dtype=bool)).astype(np.int64)
    messages = [
        f"item {name}: {_LEFT_OUT[how]}, so that it has no difficulty; it is left out of the models"
        for name, how in zip(items, outcome, strict=True)
        if how != "estimated"
    ]
    marginal = one = conditional = two = fit = None
    measure = np.full(answers.persons, np.nan)
    measure_se = measure.copy()
    if kept.size:
        chosen = answers.keep_items(kept)
        names = [items[i] for i in kept.tolist()]
        marginal, one = fit_marginal_rasch(chosen), fit_marginal_rasch(chosen, fixed_slope=1.0)
        conditional = fit_conditional_rasch(chosen)
        if slopes:
            two = _two_parameter(chosen, marginal, one)
        if conditional.record.outcome is Outcome.CONVERGED:
            fit = fit_statistics(chosen, conditional.difficulty)
            measure, measure_se = weighted_measures(conditional.difficulty, chosen.given, chosen.right.sum(axis=1))
        messages += _complaints(names, marginal, one, conditional, two)
    else:
        messages.append("no item has both right and wrong answers: there is nothing to fit")
    return ItemAnalysis(
        tuple(items),
        tuple(persons),
        answers,
        item_statistics(table),
        outcome,
        kept,
        marginal,
        one,
        conditional,
        two,
        fit,
        measure,
        measure_se,
        tuple(messages),
    )


def _outcomes(answers: Answers) -> tuple[str, ...]:
    total, number = answers.item_totals, answers.item_counts
    return tuple(
        "not_answered" if n == 0 else "all_right" if t == n else "all_wrong" if t == 0 else "estimated"
        for t, n in zip(total, number, strict=True)
    )


def _two_parameter(answers: Answers, marginal: MarginalRasch, one: MarginalRasch) -> TwoParameter:
    start = marginal if marginal.record.outcome is Outcome.CONVERGED else one
    return fit_two_parameter(answers, start.slope, -start.slope * np.nan_to_num(start.difficulty))


def _complaints(
    names: Sequence[str],
    marginal: MarginalRasch,
    one: MarginalRasch,
    conditional: ConditionalRasch,
    two: TwoParameter | None,
) -> list[str]:
    found = []
    for title, record in (("Rasch, slope free", marginal.record), ("Rasch, slope 1", one.record)):
        if record.outcome is not Outcome.CONVERGED:
            found.append(f"{title}: {record.message}")
    if conditional.record.outcome is not Outcome.CONVERGED:
        sets = ""
        if conditional.record.outcome is Outcome.SEPARATED:
            members = (
                ", ".join(name for name, at in zip(names, conditional.linked, strict=True) if at == number)
                for number in range(int(conditional.linked.max()) + 1)
            )
            sets = f" ({'; '.join(members)})"
        found.append(f"conditional Rasch: {conditional.record.message}{sets}")
    if two is not None and two.record.outcome is not Outcome.CONVERGED:
        where = f" ({', '.join(names[i] for i in two.runaway)})" if two.runaway else ""
        found.append(f"two-parameter model: {two.record.message}{where}")
    return found
