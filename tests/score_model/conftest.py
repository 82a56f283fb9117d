"""A season of a few literal rows, or a simulated one, as the steps before scoring leave it."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from scipy.special import expit

from pipeline.config import Evidence, Level, Policy, RunConfig
from pipeline.store import Store

FACT_COLUMNS = {
    "call_id": "VARCHAR",
    "game_id": "VARCHAR",
    "game_on": "DATE",
    "game_level": "VARCHAR",
    "rule_code": "VARCHAR",
    "umpire_id": "VARCHAR",
    "evaluator_id": "VARCHAR",
    "balls": "BIGINT",
    "strikes": "BIGINT",
    "swing": "VARCHAR",
    "bounced": "VARCHAR",
    "topic": "VARCHAR",
    "area": "VARCHAR",
    "stratum": "VARCHAR",
    "p_strike": "DOUBLE",
    "grade": "VARCHAR",
    "ruled_pitch": "VARCHAR",
    "ruled_ball_status": "VARCHAR",
    "ruled_batter": "VARCHAR",
    "ruled_runners": "VARCHAR",
    "ruled_runner_out": "VARCHAR",
    "ruled_choice": "VARCHAR",
    "ruled_instruct": "VARCHAR",
    "ball_x_in": "DOUBLE",
    "ball_z_in": "DOUBLE",
    "zone_low_in": "DOUBLE",
    "zone_high_in": "DOUBLE",
    "location_source": "VARCHAR",
    "batter_side": "VARCHAR",
    "pitcher_hand": "VARCHAR",
    "arm_slot": "VARCHAR",
}
RULING_COLUMNS = {
    "call_id": "VARCHAR",
    "state": "VARCHAR",
    "pitch": "VARCHAR",
    "ball_status": "VARCHAR",
    "batter": "VARCHAR",
    "runners": "VARCHAR",
    "runner_out": "VARCHAR",
    "choice": "VARCHAR",
    "instruct": "VARCHAR",
    "rule_refs": "VARCHAR",
    "rule_ids": "VARCHAR",
    "because": "VARCHAR",
}
OTHER_COLUMNS = {
    "call_id": "VARCHAR",
    "rule_code": "VARCHAR",
    "pitch": "VARCHAR",
    "ball_status": "VARCHAR",
    "batter": "VARCHAR",
    "runners": "VARCHAR",
    "runner_out": "VARCHAR",
    "choice": "VARCHAR",
    "instruct": "VARCHAR",
}

CALL = {
    "game_id": "G1",
    "game_on": dt.date(2026, 4, 1),
    "game_level": "varsity",
    "rule_code": "nfhs",
    "umpire_id": "U1",
    "evaluator_id": "E1",
    "balls": 0,
    "strikes": 0,
    "swing": "none",
    "topic": "pitch",
    "area": "pitches",
    "stratum": "pitch/low",
    "state": "settled",
    "because": "the facts",
    "rule_refs": "nfhs 7-2-1",
    "rule_ids": "P001",
}


def put(store: Store, table: str, columns: dict[str, str], rows: list[dict[str, Any]]) -> None:
    declared = ", ".join(f"{name} {kind}" for name, kind in columns.items())
    store.run(f"CREATE OR REPLACE TABLE {table} ({declared})")
    frame = pd.DataFrame([{name: row.get(name) for name in columns} for row in rows], columns=list(columns))
    store.connection.register("test_rows", frame)
    casts = ", ".join(f'CAST("{name}" AS {kind})' for name, kind in columns.items())
    store.run(f"INSERT INTO {table} SELECT {casts} FROM test_rows")
    store.connection.unregister("test_rows")


def fill(
    store: Store,
    calls: list[dict[str, Any]],
    other_code: list[dict[str, Any]] | None = None,
    umpires: list[dict[str, Any]] | None = None,
    evaluators: list[dict[str, Any]] | None = None,
) -> None:
    """Write facts, rulings and rosters; a call holds its facts and, by the names of the rulings, what was
    right."""
    rows = [{**CALL, "call_id": f"C{i:06d}", **call} for i, call in enumerate(calls)]
    put(store, "facts.fct_call", FACT_COLUMNS, rows)
    put(store, "rulings.ruling", RULING_COLUMNS, rows)
    put(store, "rulings.other_code", OTHER_COLUMNS, other_code or [])
    people = umpires or [
        {"umpire_id": name, "name": f"Umpire {name}", "level": "junior"}
        for name in sorted({r["umpire_id"] for r in rows})
    ]
    put(store, "checked.umpires", {"umpire_id": "VARCHAR", "name": "VARCHAR", "level": "VARCHAR"}, people)
    watchers = evaluators or [
        {"evaluator_id": name, "name": f"Evaluator {name}", "level": None}
        for name in sorted({r["evaluator_id"] for r in rows})
    ]
    put(
        store,
        "checked.evaluators",
        {"evaluator_id": "VARCHAR", "name": "VARCHAR", "level": "VARCHAR"},
        watchers,
    )


def put_quiz(
    store: Store, items: list[dict[str, Any]], answers: list[dict[str, Any]], keys: list[dict[str, Any]]
) -> None:
    put(
        store,
        "checked.quiz_items",
        dict.fromkeys(("item_id", "rule_code", "topic", "stem", "key"), "VARCHAR"),
        [{"rule_code": "nfhs", "topic": "pitch", "stem": "What is it?", **item} for item in items],
    )
    put(
        store,
        "checked.quiz_responses",
        dict.fromkeys(("quiz_id", "umpire_id", "item_id", "answer"), "VARCHAR"),
        answers,
    )
    put(
        store,
        "rulings.quiz_key",
        dict.fromkeys(("item_id", "verdict", "right_options", "because"), "VARCHAR"),
        keys,
    )


def simulated_calls(seed: int = 1, umpires: int = 12, games: int = 5, per_game: int = 40) -> list[dict[str, Any]]:
    """Calls of a season in three areas with known spread; a wrong pitch is a strike called a ball."""
    rng = np.random.default_rng(seed)
    skill, strict = rng.normal(0, 0.5, umpires), rng.normal(0, 0.3, 4)
    hard = {"pitch/low": 1.5, "pitch/middle": 3.0, "hit_batter/froze": 1.0, "illegal_hit/front": 0.8}
    calls = []
    for u in range(umpires):
        for g in range(games):
            evaluator, form = int(rng.integers(0, 4)), rng.normal(0, 0.2)
            for _ in range(per_game):
                stratum = list(hard)[int(rng.choice(4, p=[0.45, 0.45, 0.05, 0.05]))]
                right = rng.random() < expit(hard[stratum] + skill[u] + strict[evaluator] + form)
                call: dict[str, Any] = {
                    "umpire_id": f"U{u:03d}",
                    "game_id": f"G{u:03d}-{g}",
                    "game_on": dt.date(2026, 3, 1) + dt.timedelta(days=int(7 * g + u % 7)),
                    "evaluator_id": f"E{evaluator}",
                    "stratum": stratum,
                    "topic": stratum.split("/", maxsplit=1)[0],
                    "balls": int(rng.integers(0, 4)),
                    "strikes": int(rng.integers(0, 3)),
                    "grade": str(rng.choice(["right", "wrong", "not_sure"])),
                }
                if call["topic"] == "pitch":
                    call |= {"pitch": "strike", "ruled_pitch": "strike" if right else "ball"}
                elif call["topic"] == "hit_batter":
                    call |= {
                        "area": "hit_batter",
                        "batter": "at_bat",
                        "ruled_batter": "at_bat" if right else "first_base",
                    }
                else:
                    call |= {
                        "area": "batters_box",
                        "batter": "out",
                        "ruled_batter": "out" if right else "at_bat",
                    }
                calls.append(call)
    return calls


@pytest.fixture
def store() -> Iterator[Store]:
    with Store() as opened:
        yield opened


@pytest.fixture
def fill_season() -> Callable[..., None]:
    return fill


@pytest.fixture
def fill_quiz() -> Callable[..., None]:
    return put_quiz


@pytest.fixture
def simulate() -> Callable[..., list[dict[str, Any]]]:
    return simulated_calls


@pytest.fixture
def put_rows() -> Callable[..., None]:
    return put


@pytest.fixture
def config(tmp_path: Path) -> RunConfig:
    levels = (
        Level("junior", "Junior", {"pitches": 0.85}),
        Level(
            "varsity",
            "Varsity",
            {"pitches": 0.88, "hit_batter": 0.6},
            evidence=Evidence(games=3, calls=100, evaluators=2),
            disqualifying={"safety": 0},
        ),
    )
    policy = Policy("A season", "An association", None, None, levels, draws=1000)
    return RunConfig(season=tmp_path, out=tmp_path / "out", policy=policy)
