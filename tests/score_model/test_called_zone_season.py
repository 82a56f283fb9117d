"""The called zone of a season in the store: which pitches count, what is written, what is left without a figure."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from scipy.special import expit

from pipeline.config import RunConfig
from pipeline.scoring.called_zone.season import near_edges, write_called_zone
from pipeline.store import Store

EDGES = ("inside", "outside", "high", "low")


def pitch(x: float, z: float, ruled: str, **more: Any) -> dict[str, Any]:
    return {
        "ball_x_in": x, "ball_z_in": z, "zone_low_in": 18.0, "zone_high_in": 42.0, "location_source": "tracked",
        "batter_side": "right", "pitcher_hand": "right", "arm_slot": "overhand", "ruled_pitch": ruled, **more,
    }  # fmt: skip


def season(umpires: int = 8, games: int = 8, per_game: int = 40) -> tuple[list[dict[str, Any]], list[dict[str, Any]]]:
    """Every umpire calls 1 in wide outside; in odd games the head is low, and the low edge moves in by 2 in."""
    rng = np.random.default_rng(3)
    calls, checks = [], []
    for u in range(umpires):
        for g in range(games):
            game = f"G{u}-{g}"
            low_head = g % 2
            checks.append({"game_id": game, "head_height": "low" if low_head else "top_of_zone", "plate": f"U{u}"})
            for _ in range(per_game):
                x, z, side = rng.normal(0, 9), rng.normal(30, 11), str(rng.choice(["left", "right"]))
                out = -x if side == "left" else x
                # Rule-book edges for a ball of radius 1.45 in: 9.95 in to either side, 16.55 to 43.45 in high.
                d = np.array([9.95 + out, 9.95 - out + 1, 43.45 - z, z - 16.55 - 2 * low_head])
                ruled = "strike" if rng.random() < expit(d / 0.7).prod() else "ball"
                calls.append(pitch(x, z, ruled, batter_side=side, umpire_id=f"U{u}", game_id=game))
    return calls, checks


def put_checks(store: Store, put_rows: Callable[..., None], checks: list[dict[str, Any]]) -> None:
    columns = dict.fromkeys(("game_id", "in_slot", "head_height", "drift"), "VARCHAR")
    put_rows(store, "checked.positioning", columns, [{"in_slot": "yes", "drift": "none", **row} for row in checks])
    games = [{"game_id": row["game_id"], "plate_umpire_id": row["plate"]} for row in checks]
    put_rows(store, "checked.games", dict.fromkeys(("game_id", "plate_umpire_id"), "VARCHAR"), games)


def test_a_shift_by_the_heads_height_is_found_with_its_size(
    store: Store, config: RunConfig, fill_season: Callable[..., None], put_rows: Callable[..., None]
) -> None:
    calls, checks = season()
    fill_season(store, calls)
    put_checks(store, put_rows, checks)
    write_called_zone(config, store)
    (fit,) = store.records("SELECT * FROM scores.called_zone_fit")
    assert (fit["outcome"], fit["pitches"], fit["umpires"]) == ("converged", 2560, 8)
    shifts = {
        (row["circumstance"], row["edge"]): row for row in store.records("SELECT * FROM scores.called_zone_effect")
    }
    low = shifts["head_low", "low"]
    assert low["low"] < -2 < low["high"] < 0
    assert low["games_with"] == low["games_without"] == 32
    assert shifts["head_low", "outside"]["low"] < 0 < shifts["head_low", "outside"]["high"]
    # Nobody drifted, and every pitch came overhand from the right: no figure.
    for name in ("drift_toward", "out_of_slot", "low_slot", "left_pitcher"):
        assert [shifts[name, edge]["shift_in"] for edge in EDGES] == [None] * 4
        assert shifts[name, "low"]["state"] == "thin"
    (mean,) = store.records("SELECT * FROM scores.called_zone_mean WHERE edge = 'outside'")
    assert mean["low"] < 1 < mean["high"]
    assert store.value("SELECT count(*) FROM scores.called_zone") == 32


def test_only_taken_pitches_in_the_air_with_place_and_ruling_count(
    store: Store, config: RunConfig, fill_season: Callable[..., None]
) -> None:
    left_out = [
        pitch(0, 30, "strike", swing="full"),
        pitch(0, 30, "strike", swing="checked"),
        pitch(0, 5, "ball", bounced="yes"),
        pitch(0, 30, "foul"),
        pitch(0, 30, "strike", ball_x_in=None),
        pitch(0, 30, "strike", zone_low_in=None),
        pitch(0, 30, "strike", batter_side=None),
        pitch(0, 30, "strike", topic="hit_batter"),
    ]
    fill_season(store, [pitch(0, 30, "strike"), pitch(20, 30, "ball", topic="third_strike"), *left_out])
    write_called_zone(config, store)
    (fit,) = store.records("SELECT * FROM scores.called_zone_fit")
    assert (fit["outcome"], fit["pitches"]) == ("too_few", 2)
    assert store.value("SELECT count(*) FROM scores.called_zone") == 0
    assert store.value("SELECT count(*) FROM scores.called_zone_effect WHERE shift_in IS NOT NULL") == 0


def test_a_season_without_a_measured_pitch_has_an_outcome_and_no_figure(
    store: Store, config: RunConfig, fill_season: Callable[..., None]
) -> None:
    fill_season(store, [{"ruled_pitch": "ball"}])
    write_called_zone(config, store)
    assert store.rows("SELECT outcome, pitches, umpires, zone_low_in FROM scores.called_zone_fit") == [
        ("too_few", 0, 0, None)
    ]


def test_an_edge_that_nobody_pitched_to_has_no_figure(
    store: Store, config: RunConfig, fill_season: Callable[..., None]
) -> None:
    calls, _ = season(umpires=6, games=4)
    fill_season(store, [call for call in calls if call["ball_z_in"] < 38])
    write_called_zone(config, store)
    rows = store.records("SELECT * FROM scores.called_zone WHERE edge = 'high'")
    assert {(row["state"], row["offset_in"], row["near_pitches"]) for row in rows} == {("thin", None, 0)}
    assert store.value("SELECT offset_in FROM scores.called_zone_mean WHERE edge = 'high'") is None


def test_a_pitch_is_near_an_edge_only_where_it_misses_no_other() -> None:
    # Within 3 in of the outside edge; beyond it by 4; within 2 in of two edges; near the low edge but wide inside.
    inside = np.array([[18.0, 24, 18, -1], [2.0, -4, 2, 21], [12.0, 12, 1, 25], [12.0, 12, 20, 1]])
    assert near_edges(inside).tolist() == [[0, 0, 0, 1], [1, 0, 1, 0], [0, 0, 1, 0], [0, 0, 0, 0]]
    assert near_edges(np.zeros((4, 0))).shape == (4, 0)


@pytest.mark.parametrize("side", ["left", "right"])
def test_outside_is_away_from_the_batter(
    store: Store, config: RunConfig, fill_season: Callable[..., None], side: str
) -> None:
    # A right-handed batter stands on the third-base side, to the left as the umpire looks: outside is to the right.
    # A ball 12 in to the right is beyond the rule book's edge by 12 - 9.95 in.
    from pipeline.scoring.called_zone.season import distances

    fill_season(store, [pitch(12, 30, "ball", batter_side=side)])
    calls = store.frame("SELECT * FROM facts.fct_call")
    inside, error = distances(config, calls)
    beyond = "outside" if side == "right" else "inside"
    assert inside[EDGES.index(beyond), 0] == pytest.approx(9.95 - 12, abs=0.05)
    assert error[0] == 0.5
