"""Whether the looks that were told settle the reading: they are taken, and the season is judged anew."""

from __future__ import annotations

import math

import numpy as np

from pipeline.scoring.validity.judge import MORE, READY, Judged, judge
from pipeline.scoring.validity.measures import Record
from pipeline.scoring.validity.simulate import Season


def follow_up(season: Season, judged: Judged, draws: int, seed: int) -> Record:
    """Return how many were told a number of looks, and of these how many were settled by as many, and how.

    Each gets the games that bring the told number of calls, by the evaluators of his own panel. The season
    holds them afterwards.
    """
    calls = season.design.calls + season.design.other_calls
    looks = judged.by_method["platework"].looks
    told = looks > 0
    season.look(np.array([math.ceil(more / calls) for more in looks]))
    after = judge(season, draws, seed)
    verdict = np.array(after.by_method["platework"].verdict)
    settled = told & (verdict != MORE)
    return {
        "followed": float(told.sum()),
        "settled_after": float(settled.sum()),
        "ready_after": float((told & (verdict == READY)).sum()),
        "ready_after_wrong": float((told & (verdict == READY) & (after.able == 0)).sum()),
    }
