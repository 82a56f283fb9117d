"""Agreement of evaluators who wrote down the same pitch, so that it shows how much depends on who watched.

Two things are compared: the *verdict*, which the rules give from the facts on each sheet (right or wrong), and the
*grade* that each evaluator wrote. Edge pitches, open calls and grades of `not_sure` are no answer and leave a gap.
"""

from __future__ import annotations

import itertools
from collections import defaultdict
from collections.abc import Sequence

import numpy as np

from pipeline.scoring.agreement.alpha import PairedValues, Scale
from pipeline.scoring.agreement.analysis import code_scores
from pipeline.scoring.agreement.kappa import cohen_kappa
from pipeline.scoring.tables import Row

ASPECTS = ("verdict", "grade")
_ANSWERS = ("right", "wrong")
_DRAWS = 1000


def agreement_rows(looks: Sequence[Row], coverage: float, seed: int) -> list[dict[str, object]]:
    """Return one row per aspect that two evaluators answered on some pitch: alpha over all, with its interval."""
    rows: list[dict[str, object]] = []
    for aspect in ASPECTS:
        answered = _answered(looks, aspect)
        if not answered:
            continue
        scores = code_scores(
            [row["look"] for row in answered],
            [row["evaluator_id"] for row in answered],
            [row[aspect] for row in answered],
            Scale.NOMINAL,
        )
        paired = PairedValues(scores.subject, scores.code, scores.values, Scale.NOMINAL)
        interval = paired.interval(coverage, _DRAWS, seed)
        rows.append(
            {
                "aspect": aspect,
                "looks": paired.units,
                "evaluators": scores.raters,
                "alpha": paired.alpha(),
                "alpha_low": interval.low,
                "alpha_high": interval.high,
            }
        )
    return rows


def pair_rows(looks: Sequence[Row]) -> list[dict[str, object]]:
    """Return one row per aspect and pair of evaluators: pitches both answered, how many alike, Cohen's kappa."""
    rows: list[dict[str, object]] = []
    for aspect in ASPECTS:
        tables: dict[tuple[str, str], list[list[int]]] = defaultdict(lambda: [[0, 0], [0, 0]])
        for _, group in itertools.groupby(_answered(looks, aspect), key=lambda row: row["look"]):
            members = sorted(group, key=lambda row: str(row["evaluator_id"]))
            for one, other in itertools.combinations(members, 2):
                table = tables[one["evaluator_id"], other["evaluator_id"]]
                table[_ANSWERS.index(one[aspect])][_ANSWERS.index(other[aspect])] += 1
        for (one_id, other_id), table in sorted(tables.items()):
            rows.append(
                {
                    "aspect": aspect,
                    "evaluator_id": one_id,
                    "other_id": other_id,
                    "looks": int(np.sum(table)),
                    "same": table[0][0] + table[1][1],
                    "kappa": cohen_kappa(table),
                }
            )
    return rows


def _answered(looks: Sequence[Row], aspect: str) -> list[Row]:
    """Return the rows with an answer, of the pitches on which two evaluators gave one."""
    given = [row for row in looks if row[aspect] in _ANSWERS]
    times: dict[str, int] = defaultdict(int)
    for row in given:
        times[row["look"]] += 1
    return [row for row in given if times[row["look"]] > 1]
