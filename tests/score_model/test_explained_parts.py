"""The chain from raw to adjusted rate adds up to the last digit, whatever the season."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pandas as pd
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from pipeline.scoring.area_models import fit_area
from pipeline.scoring.rates import seen_in, umpire_rate_rows
from pipeline.scoring.tables import TABLES, write_table
from pipeline.store import Store

PARTS = ("evaluator_points", "situation_points", "shrinkage_points")
KINDS = {"pitches": (True, True), "positioning": (True, True), "quiz": (False, False)}


@st.composite
def areas(draw: st.DrawFn) -> tuple[str, pd.DataFrame]:
    """An area's cells: a few umpires, games, evaluators and situations, sparse and lopsided."""
    kind = draw(st.sampled_from(sorted(KINDS)))
    rng = np.random.default_rng(draw(st.integers(0, 2**32 - 1)))
    umpires, evaluators, strata = (draw(st.integers(1, most)) for most in (6, 4, 5))
    base, spread = draw(st.floats(-3, 5)), draw(st.floats(0, 2))
    rows = []
    skill = rng.normal(base, spread, umpires)
    for u in range(umpires):
        for g in range(int(rng.integers(0, 4))):
            evaluator = int(rng.integers(0, evaluators))
            for s in rng.choice(strata, int(rng.integers(1, strata + 1)), replace=False):
                trials = 1 if kind == "quiz" else int(rng.integers(1, 30))
                right = rng.binomial(trials, 1 / (1 + np.exp(-skill[u])))
                rows.append((f"U{u}", f"G{u}-{g}", f"E{evaluator}", f"S{s}", float(right), float(trials)))
    frame = pd.DataFrame(rows, columns=["umpire_id", "game_id", "evaluator_id", "stratum", "successes", "trials"])
    if not all(KINDS[kind]):
        frame = frame.assign(game_id=None, evaluator_id=None)
    return kind, frame


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(areas())
def test_the_parts_add_to_the_adjusted_rate_as_it_is_stored(area: tuple[str, pd.DataFrame]) -> None:
    kind, cells = area
    if cells.empty:
        return
    model = fit_area(kind, cells, [f"U{u}" for u in range(6)], 100, 1)
    rows = umpire_rate_rows(model, seen_in(model), 0.9)
    with Store() as store:
        write_table(store, "umpire_rate", rows)
        kept = store.records("SELECT * FROM scores.umpire_rate")
    assert len(kept) == cells["umpire_id"].nunique()
    for row in kept:
        assert abs(row["raw_rate"] + sum(row[part] for part in PARTS) - row["adjusted_rate"]) <= 1e-12
        assert 0 < row["adjusted_rate"] < 1
        if kind == "quiz":
            assert (row["evaluator_points"], row["games"], row["evaluators"]) == (0, 0, 0)


def test_games_and_evaluators_are_counted_from_the_cells(simulate: Callable[..., list[dict[str, Any]]]) -> None:
    calls = pd.DataFrame(simulate(umpires=2, games=3, per_game=10))
    cells = calls.groupby(["umpire_id", "game_id", "evaluator_id", "stratum"], as_index=False).size()
    cells = cells.rename(columns={"size": "trials"}).assign(successes=lambda frame: frame["trials"].astype(float))
    model = fit_area("pitches", cells, ["U000", "U001", "U002"], 100, 1)
    found = seen_in(model)
    assert set(found) == {("U000", "pitches"), ("U001", "pitches")}
    assert found["U000", "pitches"]["games"] == 3
    mine = calls[calls["umpire_id"] == "U000"]
    assert found["U000", "pitches"]["evaluators"] == mine["evaluator_id"].nunique()
    assert {"games", "evaluators"} <= set(TABLES["umpire_rate"])
