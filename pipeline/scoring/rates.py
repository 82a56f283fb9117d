"""Adjusted right-call rates: from the raw percentage to the adjusted one, part by part."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from pipeline.scoring.area_models import AreaModel, averaged_rate
from pipeline.scoring.design import Floats, sums
from pipeline.scoring.intervals import wilson
from pipeline.scoring.tables import Row


def interval(draws: Floats, coverage: float) -> tuple[Floats, Floats]:
    """Return the central interval of each column of draws."""
    tail = (1 - coverage) / 2
    low, high = np.quantile(draws, [tail, 1 - tail], axis=0)
    return low, high


def parts(model: AreaModel) -> tuple[Floats, Floats]:
    """Return per umpire the points that evaluators and situations cost him, in rate units.

    The fitted rate of his own calls is computed three times: as they were; had an average evaluator graded
    them; and had they also been the season's mix of situations. The first difference is the evaluators' part,
    the second the situations' part. What is left to the adjusted rate is shrinkage: luck taken out, and games
    averaged over.
    """
    size = len(model.umpires)
    zero = np.zeros(size)
    if not model.fit.has_estimates:
        return zero, zero
    fit, cells = model.fit, model.cells
    umpire = cells["umpire"].to_numpy()
    trials = cells["trials"].to_numpy(float)
    total = np.maximum(sums(umpire, trials, size), 1)
    own = fit.intercept + fit.effects["umpire"][umpire]
    if "game" in cells:
        own = own + fit.effects["game"][cells["game"].to_numpy()]
    situation = fit.effects["situation"][cells["situation"].to_numpy()]
    evaluator = fit.effects["evaluator"][cells["evaluator"].to_numpy()] if "evaluator" in cells else 0.0
    as_was = sums(umpire, trials * averaged_rate(own + situation + evaluator, 0.0), size) / total
    no_evaluator = sums(umpire, trials * averaged_rate(own + situation, 0.0), size) / total
    mixed = np.zeros(own.size)
    for share, effect in zip(model.mix, fit.effects["situation"], strict=True):
        mixed += share * averaged_rate(own + effect, 0.0)
    reference = sums(umpire, trials * mixed, size) / total
    return no_evaluator - as_was, reference - no_evaluator


def seen_in(model: AreaModel) -> dict[tuple[str, str], Row]:
    """Return games and evaluators of each umpire and this area, from its cells; none of either for a quiz."""
    found: dict[tuple[str, str], Row] = {}
    for code, cells in model.cells.groupby("umpire"):
        found[model.umpires[int(str(code))], model.name] = {
            "games": cells["game"].nunique() if "game" in cells else 0,
            "evaluators": cells["evaluator"].nunique() if "evaluator" in cells else 0,
        }
    return found


def umpire_rate_rows(model: AreaModel, seen: Mapping[tuple[str, str], Row], coverage: float) -> list[dict[str, object]]:
    """Return the rows of `scores.umpire_rate` for one area: umpires with at least one graded call.

    The parts, rounded to six decimals, add to the rounded adjusted rate to within 1e-12: the last part is what
    is left.
    """
    evaluator, situation = (np.round(part, 6) for part in parts(model))
    adjusted = np.round(model.adjusted.mean(axis=0, dtype=np.float64), 6)
    low, high = interval(model.adjusted, coverage)
    rows = []
    for i, umpire in enumerate(model.umpires):
        calls, right = int(model.calls[i]), int(model.right_calls[i])
        if calls == 0:
            continue
        raw = round(right / calls, 6)
        raw_low, raw_high = wilson(right, calls, coverage)
        row = seen[umpire, model.name]
        rows.append(
            {
                "umpire_id": umpire,
                "area": model.name,
                "calls": calls,
                "right_calls": right,
                "raw_rate": raw,
                "raw_low": raw_low,
                "raw_high": raw_high,
                "adjusted_rate": float(adjusted[i]),
                "adjusted_low": float(low[i]),
                "adjusted_high": float(high[i]),
                "evaluator_points": float(evaluator[i]),
                "situation_points": float(situation[i]),
                "shrinkage_points": round(float(adjusted[i] - raw - evaluator[i] - situation[i]), 6),
                "games": row["games"],
                "evaluators": row["evaluators"],
            }
        )
    return rows
