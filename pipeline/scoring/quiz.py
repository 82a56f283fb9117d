"""The rules quiz: results by umpire, items by classical figures and the Rasch model."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from pipeline.scoring.design import Floats
from pipeline.scoring.intervals import wilson
from pipeline.scoring.items.classical import item_statistics
from pipeline.scoring.quiz_measures import ItemMeasure, QuizMeasures
from pipeline.scoring.tables import Row

WITHHOLDING_VERDICTS = ("wrong", "ambiguous", "none_right", "open")
"""Verdicts of the rules on a key that keep an item out of the score until it is settled."""
_NAN = float("nan")
_UNMEASURED = _NAN, _NAN
_NO_MEASURE = ItemMeasure(_NAN, _NAN, _NAN, _NAN)


def _correlation(one: Floats, other: Floats) -> float:
    if one.size < 2 or np.ptp(one) == 0 or np.ptp(other) == 0:
        return float("nan")
    return float(np.corrcoef(one, other)[0, 1])


def withheld_items(keys: Mapping[str, Row]) -> set[str]:
    """Return the items whose key the rules refuse. An item on which they say nothing is scored."""
    return {item for item, row in keys.items() if row["verdict"] in WITHHOLDING_VERDICTS}


def quiz_umpire_rows(
    answers: Sequence[Row], withheld: set[str], coverage: float, measures: QuizMeasures | None = None
) -> list[dict[str, object]]:
    """Return one row per quiz and umpire.

    `percent` (a share, 0 to 1, with Wilson interval) is of the items scored; an item left out counts as not
    right. `measure` and `measure_se` are in logits, with the items' difficulty taken into account.
    """
    measured = measures.sheets if measures else {}
    sheets: dict[tuple[str, str], list[Row]] = defaultdict(list)
    for row in answers:
        sheets[row["umpire_id"], row["quiz_id"]].append(row)
    rows = []
    for (umpire, quiz), sheet in sorted(sheets.items()):
        scored = [row for row in sheet if row["item_id"] not in withheld]
        right = sum(1 for row in scored if row["is_right"])
        low, high = wilson(right, len(scored), coverage)
        rows.append(
            {
                "umpire_id": umpire,
                "name": sheet[0]["name"],
                "quiz_id": quiz,
                "items": len(scored),
                "answered": sum(1 for row in scored if row["answer"] is not None),
                "right_answers": right,
                "percent": right / len(scored) if scored else None,
                "low": low if scored else None,
                "high": high if scored else None,
                "measure": measured.get((umpire, quiz), _UNMEASURED)[0],
                "measure_se": measured.get((umpire, quiz), _UNMEASURED)[1],
            }
        )
    return rows


def quiz_item_rows(
    items: Sequence[Row],
    answers: Sequence[Row],
    keys: Mapping[str, Row],
    measures: QuizMeasures | None = None,
) -> list[dict[str, object]]:
    """Return one row per item.

    `p` and `point_biserial` (item removed) are by the key as it stands, also when withheld. The rest that an
    item is held against is the share right of the *other scored* items on the same sheet, so that sheets of
    several lengths can stand together. The Rasch figures are of the scored items only.
    """
    measured = measures.items if measures else {}
    withheld = withheld_items(keys)
    sheets: dict[tuple[str, str], list[Row]] = defaultdict(list)
    for row in answers:
        sheets[row["quiz_id"], row["umpire_id"]].append(row)
    marks: dict[str, list[tuple[float, float]]] = defaultdict(list)
    chosen: dict[str, Counter[str]] = defaultdict(Counter)
    for sheet in sheets.values():
        scored = sum(1 for row in sheet if row["item_id"] not in withheld)
        right = sum(1 for row in sheet if row["item_id"] not in withheld and row["is_right"])
        for row in sheet:
            own = 0 if row["item_id"] in withheld else 1
            mark = 1.0 if row["is_right"] else 0.0
            rest = (right - own * mark) / (scored - own) if scored > own else float("nan")
            marks[row["item_id"]].append((mark, rest))
            if row["answer"] is not None:
                chosen[row["item_id"]][row["answer"]] += 1
    rows = []
    for item in items:
        name = item["item_id"]
        pairs: NDArray[np.float64] = np.array(marks.get(name, []), dtype=np.float64).reshape(-1, 2)
        pairs = pairs[~np.isnan(pairs[:, 1])] if np.isnan(pairs[:, 1]).any() else pairs
        counts = chosen.get(name, Counter())
        key = keys.get(name)
        measure = measured.get(name, _NO_MEASURE)
        rows.append(
            {
                **{column: item[column] for column in ("item_id", "rule_code", "topic", "stem", "key")},
                "key_verdict": key["verdict"] if key else None,
                "right_options": key["right_options"] if key else None,
                "because": key["because"] if key else None,
                "responses": len(marks.get(name, [])),
                "p": float(np.mean([mark for mark, _ in marks[name]])) if name in marks else None,
                "point_biserial": _correlation(pairs[:, 0], pairs[:, 1]),
                "withheld": name in withheld,
                "difficulty": measure.difficulty,
                "difficulty_se": measure.se,
                "infit": measure.infit,
                "outfit": measure.outfit,
                "most_chosen": min(counts, key=lambda letter: (-counts[letter], letter)) if counts else None,
            }
        )
    return rows


def reliability(answers: Sequence[Row], withheld: set[str]) -> tuple[float, int]:
    """Return KR-20 of the form that most sheets have, and their number (NaN and 0 without a quiz)."""
    sheets: dict[tuple[str, str], dict[str, bool]] = defaultdict(dict)
    for row in answers:
        if row["item_id"] not in withheld:
            sheets[row["quiz_id"], row["umpire_id"]][row["item_id"]] = row["is_right"]
    forms: dict[tuple[str, ...], list[dict[str, bool]]] = defaultdict(list)
    for sheet in sheets.values():
        forms[tuple(sorted(sheet))].append(sheet)
    if not forms:
        return float("nan"), 0
    form = min(forms, key=lambda name: (-len(forms[name]), name))
    table = np.array([[float(sheet[item]) for item in form] for sheet in forms[form]])
    return item_statistics(table).kr20, len(table)
