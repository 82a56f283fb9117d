"""The joint draws of the adjusted rates, kept in the store so that another policy can be tried without a fit.

`scores.posterior_draw` has a row for each area with a standard that could be set and each umpire of the roster:
`rates` holds the draws in order as little-endian single-precision numbers. The k-th numbers of two rows of one
area belong together (one draw of the whole area). `scores.policy_used` has the policy in force as one JSON
text. The same seed gives the same bytes.
"""

from __future__ import annotations

import dataclasses
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from pipeline.config import AREAS, Policy
from pipeline.scoring.design import Floats
from pipeline.scoring.readiness import AreaEvidence
from pipeline.scoring.tables import Row
from pipeline.store import Store

MOST_BYTES = 256 * 2**20
"""The most that all stored draws may take; a season too large for it keeps its first draws only."""

_NUMBER = np.dtype("<f4")


@dataclass(frozen=True)
class StoredArea:
    """What the store keeps of an area: draws of all umpires, shape (draws, umpires), and their observations."""

    adjusted: Floats
    calls: Floats


def draws_kept(draws: int, areas: int, umpires: int, most_bytes: int = MOST_BYTES) -> int:
    """Return how many draws of each rate are stored: all, or as many as there is room for (at least 100)."""
    return min(draws, max(100, most_bytes // max(_NUMBER.itemsize * areas * umpires, 1)))


def write_draws(store: Store, policy: Policy, roster: Sequence[Row], models: Mapping[str, AreaEvidence]) -> int:
    """Make `scores.posterior_draw` and `scores.policy_used` anew; return the rows of the former."""
    store.run(
        "CREATE OR REPLACE TABLE scores.posterior_draw "
        "(area VARCHAR, place BIGINT, umpire_id VARCHAR, calls BIGINT, draws BIGINT, rates BLOB)"
    )
    areas = [area for area in AREAS if area in models]
    rows = 0
    for area in areas:
        model = models[area]
        kept = draws_kept(model.adjusted.shape[0], len(areas), len(roster))
        columns = np.ascontiguousarray(model.adjusted[:kept].T, dtype=_NUMBER)
        frame = pd.DataFrame(
            {
                "area": area,
                "place": range(len(roster)),
                "umpire_id": [row["umpire_id"] for row in roster],
                "calls": model.calls.astype(np.int64),
                "draws": kept,
                "rates": [column.tobytes() for column in columns],
            }
        )
        store.connection.register("drawn_rows", frame)
        try:
            store.run("INSERT INTO scores.posterior_draw SELECT * FROM drawn_rows")
        finally:
            store.connection.unregister("drawn_rows")
        rows += len(frame)
    store.run("CREATE OR REPLACE TABLE scores.policy_used (policy VARCHAR)")
    store.run("INSERT INTO scores.policy_used VALUES (?)", [policy_text(policy)])
    return rows


def read_draws(store: Store) -> dict[str, StoredArea]:
    """Return the stored draws by area; umpires are in the order of the roster."""
    found: dict[str, StoredArea] = {}
    for (area,) in store.rows("SELECT DISTINCT area FROM scores.posterior_draw ORDER BY area"):
        rows = store.rows("SELECT calls, rates FROM scores.posterior_draw WHERE area = ? ORDER BY place", [area])
        # In single precision, as the models hold them: the readings come out the same to the last draw.
        drawn: Any = np.stack([np.frombuffer(rates, dtype=_NUMBER) for _, rates in rows]).T
        found[area] = StoredArea(drawn, np.array([calls for calls, _ in rows], dtype=np.float64))
    return found


def policy_text(policy: Policy) -> str:
    """Return a policy as one JSON text, the same for equal policies."""
    return json.dumps(dataclasses.asdict(policy), sort_keys=True, default=str, ensure_ascii=False)


def policy_used(store: Store) -> dict[str, Any] | None:
    """Return the policy that the stored scores rest on; None when none were stored with one."""
    if not store.has_table("scores.policy_used") or not store.has_table("scores.posterior_draw"):
        return None
    text = store.value("SELECT policy FROM scores.policy_used")
    return dict(json.loads(text)) if text else None
