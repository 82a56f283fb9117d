"""Ranks with their uncertainty: no order is claimed that the evidence does not bear."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from pipeline.scoring.area_models import AreaModel
from pipeline.scoring.design import Codes, Floats
from pipeline.scoring.tables import Row


def rank_draws(rates: Floats) -> Codes:
    """Return the rank (1 is best) of each column within each row of draws."""
    order = np.argsort(-rates, axis=1, kind="stable")
    ranks = np.empty(rates.shape, dtype=np.int64)
    np.put_along_axis(ranks, order, np.arange(1, rates.shape[1] + 1)[None, :], axis=1)
    return ranks


def tie_groups(rates: Floats, certainty: float) -> list[int]:
    """Return the group of each column, columns in order of rank.

    A new group starts at the first column that the leader of the current group is ahead of with at least
    `certainty`; those in one group cannot be told from its leader.
    """
    groups: list[int] = []
    leader, group = 0, 1
    for i in range(rates.shape[1]):
        if i and np.mean(rates[:, leader] > rates[:, i]) >= certainty:
            leader, group = i, group + 1
        groups.append(group)
    return groups


def ranking_rows(
    model: AreaModel,
    roster: Sequence[Row],
    linked_group: Sequence[int | None],
    levels: Sequence[str],
    coverage: float,
) -> list[dict[str, object]]:
    """Return the rows of `scores.ranking`: each level, and within it each linked group, ranked by itself.

    Parameters
    ----------
    model
        The overall model, whose umpires are in the order of `roster`.
    linked_group
        Group of each umpire of the roster; None for one who was not seen, who is not ranked.
    levels
        Order in which levels are written.
    """
    rows: list[dict[str, object]] = []
    tail = (1 - coverage) / 2
    found = {row["level"] for row in roster}
    for level in [*levels, *sorted(name for name in found - set(levels) if name is not None)]:
        members = [i for i, row in enumerate(roster) if row["level"] == level and linked_group[i] is not None]
        for group in sorted({number for i in members if (number := linked_group[i]) is not None}):
            inside = [i for i in members if linked_group[i] == group]
            mean = model.adjusted[:, inside].mean(axis=0, dtype=np.float64)
            order = sorted(
                range(len(inside)), key=lambda k: (-round(float(mean[k]), 6), roster[inside[k]]["umpire_id"])
            )
            columns = [inside[k] for k in order]
            rates = model.adjusted[:, columns]
            ranks = rank_draws(rates)
            rank_low, rank_high = np.quantile(ranks, [tail, 1 - tail], axis=0, method="inverted_cdf")
            low, high = np.quantile(rates, [tail, 1 - tail], axis=0)
            groups = tie_groups(rates, coverage)
            for k, i in enumerate(columns):
                ahead = float(np.mean(rates[:, k] > rates[:, k + 1])) if k + 1 < len(columns) else None
                rows.append(
                    {
                        "level": level,
                        "area_or_overall": model.name,
                        "rank": k + 1,
                        "rank_low": int(rank_low[k]),
                        "rank_high": int(rank_high[k]),
                        "tie_group": groups[k],
                        "umpire_id": roster[i]["umpire_id"],
                        "name": roster[i]["name"],
                        "adjusted_rate": float(mean[order[k]]),
                        "low": float(low[k]),
                        "high": float(high[k]),
                        "raw_rate": float(model.right_calls[i] / model.calls[i]),
                        "p_ahead_of_next": ahead,
                        "linked_group": group,
                    }
                )
    return rows
