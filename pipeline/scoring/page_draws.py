"""The joint draws in a form that a page can hold, so that it answers as the engine does.

Two things are asked of draws on a page. *Whether a rate is at or above a cut*: for a fixed list of cuts (the
stops of an area) a draw is told by the number of stops that it has reached, one byte, and `draw >= stop` is exact
at every stop. *Who is ahead of whom*: within a draw the places of all umpires of a level say it exactly.

A level with many umpires keeps its first draws only, and one for which too few would be left keeps none.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pipeline.config import AREAS, Policy
from pipeline.scoring.area_models import AreaModel
from pipeline.scoring.connection import linked_groups
from pipeline.scoring.design import Floats
from pipeline.scoring.evaluators import group_numbers
from pipeline.scoring.readiness import AreaEvidence
from pipeline.scoring.tables import Row
from pipeline.store import Store

MOST_BYTES = 6 * 2**20
"""The most that the draws of one level may take on a page, before packing."""

FEWEST_DRAWS = 200
"""With fewer draws a chance is uncertain by more than 3.5 points (binomial standard error at one half)."""

OVERALL = "overall"

_STOPS_PER_UNIT = 200
_COLUMNS = {
    "trial_stop": {
        "target_level": "VARCHAR",
        "area": "VARCHAR",
        "place": "BIGINT",
        "cut": "DOUBLE",
        "is_policy": "BOOLEAN",
    },
    "trial_draw": {
        "target_level": "VARCHAR",
        "area": "VARCHAR",
        "umpire_id": "VARCHAR",
        "calls": "BIGINT",
        "draws": "BIGINT",
        "reached": "BLOB",
    },
    "order_draw": {
        "level": "VARCHAR",
        "area": "VARCHAR",
        "umpire_id": "VARCHAR",
        "linked_group": "BIGINT",
        "draws": "BIGINT",
        "bytes_each": "BIGINT",
        "places": "BLOB",
    },
}


def stops(cut: float | None) -> list[float]:
    """Return the cuts that can be tried in an area, ascending: every half point, and the policy's own.

    Quotients of whole numbers are the numbers that a policy file's decimals are read as (0.945 is 189/200).
    """
    grid = {k / _STOPS_PER_UNIT for k in range(_STOPS_PER_UNIT + 1)}
    return sorted(grid if cut is None else grid | {cut})


def stops_reached(rates: Floats, at: Sequence[float]) -> NDArray[np.uint8]:
    """Return for each rate how many of the stops it is at or above.

    Raises
    ------
    ValueError
        More stops than a byte can count.
    """
    if len(at) > np.iinfo(np.uint8).max:
        raise ValueError(f"{len(at)} stops do not fit into a byte")
    return np.searchsorted(np.asarray(at), rates.astype(np.float64), side="right").astype(np.uint8)


def places(rates: Floats) -> NDArray[np.int64]:
    """Return for each rate the number of rates above it in its row, plus one; equal rates share a place."""
    order = np.argsort(-rates, axis=1, kind="stable")
    falling = np.take_along_axis(rates, order, axis=1)
    first = np.ones(rates.shape, dtype=bool)
    first[:, 1:] = falling[:, 1:] != falling[:, :-1]
    ordinal = np.where(first, np.arange(1, rates.shape[1] + 1)[None, :], 0)
    shared = np.maximum.accumulate(ordinal, axis=1)
    found = np.empty(rates.shape, dtype=np.int64)
    np.put_along_axis(found, order, shared, axis=1)
    return found


def draws_for_page(draws: int, bytes_per_draw: int) -> int:
    """Return how many draws of a level are kept: all, or as many as there is room for; 0 where too few."""
    kept = min(draws, MOST_BYTES // max(bytes_per_draw, 1))
    return kept if kept >= min(draws, FEWEST_DRAWS) else 0


def write_page_draws(
    store: Store, policy: Policy, roster: Sequence[Row], models: Mapping[str, AreaModel]
) -> int:
    """Make `scores.trial_stop`, `scores.trial_draw` and `scores.order_draw` anew; return their rows."""
    stop_rows, trial_rows = trial_tables(policy, roster, models)
    order = order_rows(roster, models)
    _write(store, "trial_stop", stop_rows)
    _write(store, "trial_draw", trial_rows)
    _write(store, "order_draw", order)
    return len(stop_rows) + len(trial_rows) + len(order)


def trial_tables(
    policy: Policy, roster: Sequence[Row], models: Mapping[str, AreaEvidence]
) -> tuple[list[dict[str, Any]], list[dict[str, Any]]]:
    """Return the rows of `scores.trial_stop` and `scores.trial_draw`.

    Umpires stand under the level that they are judged for, as in `scores.readiness`. The k-th bytes of all rows
    of a level belong together. A level too large for a page has stops but no draws.
    """
    judged: dict[str, list[int]] = {}
    for index, row in enumerate(roster):
        target = policy.level_above(row["level"])
        if target is not None:
            judged.setdefault(target.id, []).append(index)
    areas = [area for area in AREAS if area in models]
    stop_rows: list[dict[str, Any]] = []
    draw_rows: list[dict[str, Any]] = []
    for level in policy.levels:
        members = judged.get(level.id, [])
        if not members:
            continue
        for area in AREAS:
            cut = level.standards.get(area)
            stop_rows += [
                {"target_level": level.id, "area": area, "place": place, "cut": at, "is_policy": at == cut}
                for place, at in enumerate(stops(cut), 1)
            ]
        for area in areas:
            model = models[area]
            kept = draws_for_page(model.adjusted.shape[0], len(areas) * len(members))
            if not kept:
                break
            reached = stops_reached(model.adjusted[:kept, members], stops(level.standards.get(area)))
            draw_rows += [
                {
                    "target_level": level.id,
                    "area": area,
                    "umpire_id": roster[index]["umpire_id"],
                    "calls": int(model.calls[index]),
                    "draws": kept,
                    "reached": column.tobytes(),
                }
                for index, column in zip(members, np.ascontiguousarray(reached.T), strict=True)
            ]
    return stop_rows, draw_rows


def linked_within(model: AreaModel) -> list[int | None]:
    """Return the linked group of each umpire in one area; None without an observation.

    Umpires are linked by evaluators, as everywhere; where an area has none (the quiz), by situations (its items).
    """
    if model.evaluators:
        return group_numbers(model)
    umpire, situation = (model.cells[name].to_numpy(dtype=np.int64) for name in ("umpire", "situation"))
    found, _ = linked_groups(umpire, situation, len(model.umpires), len(model.situations))
    seen = np.unique(umpire)
    number = {group: i for i, group in enumerate(dict.fromkeys(found[seen].tolist()), 1)}
    groups: list[int | None] = [None] * len(model.umpires)
    for index in seen.tolist():
        groups[index] = number[int(found[index])]
    return groups


def order_rows(roster: Sequence[Row], models: Mapping[str, AreaModel]) -> list[dict[str, Any]]:
    """Return the rows of `scores.order_draw`: within each level now worked, everybody's place in each draw.

    An umpire without a graded call in an area has no row there. Places of different linked groups mean nothing
    beside each other. Of a level too large for all areas only the overall rate is kept; of one too large even for
    that, nothing. The k-th places of all rows of a level and area belong together.
    """
    rows: list[dict[str, Any]] = []
    areas = [area for area in (OVERALL, *AREAS) if area in models]
    groups = {area: linked_within(models[area]) for area in areas}
    overall = groups.get(OVERALL)
    if overall is None:
        return []
    for level in sorted({row["level"] for row in roster if row["level"] is not None}):
        everybody = [i for i, row in enumerate(roster) if row["level"] == level and overall[i] is not None]
        wide = len(everybody) > np.iinfo(np.uint8).max
        kind = np.dtype("<u2") if wide else np.dtype("<u1")
        if len(everybody) < 2 or len(everybody) > np.iinfo(np.uint16).max:
            continue
        draws = models[OVERALL].adjusted.shape[0]
        each = kind.itemsize * len(everybody)
        kept, shown = draws_for_page(draws, each * len(areas)), areas
        if not kept:
            kept, shown = draws_for_page(draws, each), [OVERALL]
        for area in shown if kept else []:
            members = [i for i in everybody if groups[area][i] is not None]
            if len(members) < 2:
                continue
            found = places(models[area].adjusted[:kept, members]).astype(kind)
            rows += [
                {
                    "level": level,
                    "area": area,
                    "umpire_id": roster[index]["umpire_id"],
                    "linked_group": groups[area][index],
                    "draws": kept,
                    "bytes_each": kind.itemsize,
                    "places": column.tobytes(),
                }
                for index, column in zip(members, np.ascontiguousarray(found.T), strict=True)
            ]
    return rows


def _write(store: Store, name: str, rows: Sequence[Mapping[str, Any]]) -> None:
    columns = ", ".join(f"{column} {kind}" for column, kind in _COLUMNS[name].items())
    store.run(f"CREATE OR REPLACE TABLE scores.{name} ({columns})")
    if not rows:
        return
    store.connection.register("page_rows", pd.DataFrame(list(rows)))
    try:
        store.run(f"INSERT INTO scores.{name} SELECT * FROM page_rows")
    finally:
        store.connection.unregister("page_rows")
