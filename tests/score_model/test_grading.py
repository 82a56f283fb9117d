"""From facts and rulings to right, wrong, edge and open: each case is one literal call."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from pipeline.config import RunConfig
from pipeline.scoring.score import score_season
from pipeline.store import Store

STRIKE = {"pitch": "strike", "ball_status": "live", "batter": "at_bat"}
BALL = {"pitch": "ball", "ball_status": "live", "batter": "at_bat"}

CASES: dict[str, tuple[dict[str, Any], str, str | None]] = {
    "a strike called a strike": ({**STRIKE, "ruled_pitch": "strike"}, "right", None),
    "a strike called a ball": ({**STRIKE, "ruled_pitch": "ball"}, "wrong", "pitch.called_ball_on_strike"),
    "with two strikes it costs an out": (
        {**STRIKE, "batter": "out", "ruled_pitch": "ball", "strikes": 2},
        "wrong",
        "pitch.ball_on_strike_three",
    ),
    "a measured pitch that is surely right": (
        {**STRIKE, "ruled_pitch": "strike", "p_strike": 0.9},
        "right",
        None,
    ),
    "a measured pitch that is surely wrong": (
        {**STRIKE, "ruled_pitch": "ball", "p_strike": 0.9},
        "wrong",
        "pitch.called_ball_on_strike",
    ),
    "a measured pitch inside the band, called with the rules": (
        {**STRIKE, "ruled_pitch": "strike", "p_strike": 0.6},
        "edge",
        None,
    ),
    "a measured pitch inside the band, called against the rules": (
        {**STRIKE, "ruled_pitch": "ball", "p_strike": 0.89},
        "edge",
        None,
    ),
    "what follows from an edge pitch is not wrong either": (
        {
            **BALL,
            "batter": "first_base",
            "ruled_pitch": "strike",
            "ruled_batter": "at_bat",
            "p_strike": 0.4,
            "balls": 3,
        },
        "edge",
        None,
    ),
    "a batter's fate that contradicts the umpire's own edge call is wrong": (
        {
            **BALL,
            "batter": "first_base",
            "ruled_pitch": "ball",
            "ruled_batter": "at_bat",
            "p_strike": 0.4,
            "balls": 3,
        },
        "wrong",
        "pitch.batter.at_bat_for_first_base",
    ),
    "a pitch that bounced is a ball wherever it was measured": (
        {**BALL, "ruled_pitch": "strike", "p_strike": 0.7, "bounced": "yes"},
        "wrong",
        "pitch.called_strike_on_ball",
    ),
    "past the rounded corner, where the rectangle says otherwise, nothing is decided": (
        {**BALL, "ruled_pitch": "strike", "p_strike": 0.53},
        "edge",
        None,
    ),
    "a location that is only seen counts as the rules say": ({**BALL, "ruled_pitch": "ball"}, "right", None),
    "facts missing, the ruling is one of those possible": (
        {"state": "open", "pitch": "ball|strike", "ruled_pitch": "ball"},
        "open",
        None,
    ),
    "facts missing, the ruling is none of those possible": (
        {"state": "open", "topic": "hit_batter", "batter": "at_bat|first_base", "ruled_batter": "out"},
        "wrong",
        "hit_batter.batter.out_for_at_bat_or_first_base",
    ),
    "perhaps no pitch is called, so no word for it can be wrong": (
        {"state": "open", "pitch": "none_called|strike", "ruled_pitch": "ball"},
        "open",
        None,
    ),
    "no pitch is called on an award, so its word is not graded": (
        {
            "topic": "hit_batter",
            "pitch": None,
            "batter": "first_base",
            "ruled_pitch": "ball",
            "ruled_batter": "first_base",
        },
        "right",
        None,
    ),
    "one part open and one right": (
        {
            "state": "open",
            "pitch": "strike",
            "batter": "out|at_bat",
            "ruled_pitch": "strike",
            "ruled_batter": "out",
        },
        "right",
        None,
    ),
    "one part right and one wrong": (
        {**STRIKE, "ruled_pitch": "strike", "ruled_ball_status": "dead"},
        "wrong",
        "pitch.ball_status.dead_for_live",
    ),
    "nothing noted": (dict(STRIKE), "not_graded", None),
    "facts that contradict each other": (
        {**STRIKE, "state": "contradiction", "ruled_pitch": "ball"},
        "not_graded",
        None,
    ),
}


@pytest.mark.parametrize("name", CASES)
def test_a_call_is_graded_by_the_rules(
    name: str, store: Store, fill_season: Callable[..., None], config: RunConfig
) -> None:
    call, verdict, code = CASES[name]
    fill_season(store, [call])
    score_season(config, store)
    (row,) = store.records("SELECT verdict, misruling_code FROM scores.call_grade")
    assert (row["verdict"], row["misruling_code"]) == (verdict, code)


@pytest.mark.parametrize(
    ("ruled", "p_strike", "expected"), [("strike", 0.97, 0.97), ("ball", 0.03, 0.97), ("strike", 0.03, 0.03)]
)
def test_the_grade_of_a_measured_pitch_is_the_probability_that_it_was_right(
    ruled: str,
    p_strike: float,
    expected: float,
    store: Store,
    fill_season: Callable[..., None],
    config: RunConfig,
) -> None:
    right = STRIKE if p_strike > 0.5 else BALL
    fill_season(store, [{**right, "ruled_pitch": ruled, "p_strike": p_strike}])
    score_season(config, store)
    assert store.value("SELECT p_right FROM scores.call_grade") == pytest.approx(expected)


@pytest.mark.parametrize(
    ("grade", "ruled", "agrees"),
    [
        ("right", "strike", True),
        ("wrong", "strike", False),
        ("right", "ball", False),
        ("not_sure", "ball", None),
    ],
)
def test_agreement_is_told_only_where_both_gave_a_word(
    grade: str,
    ruled: str,
    agrees: bool | None,
    store: Store,
    fill_season: Callable[..., None],
    config: RunConfig,
) -> None:
    fill_season(store, [{**STRIKE, "ruled_pitch": ruled, "grade": grade}])
    score_season(config, store)
    assert store.value("SELECT evaluator_agrees FROM scores.call_grade") is agrees


def test_both_rulings_are_put_in_words(store: Store, fill_season: Callable[..., None], config: RunConfig) -> None:
    call = {
        "topic": "hit_batter",
        "ball_status": "dead",
        "batter": "at_bat|first_base",
        "runner_out": "none",
        "ruled_ball_status": "delayed_dead",
        "ruled_batter": "first_base",
    }
    fill_season(store, [call])
    score_season(config, store)
    assert store.rows("SELECT ruled_text, right_text FROM scores.call_grade") == [
        ("ball delayed dead; batter first base", "ball dead; batter at bat or first base")
    ]


def test_chances_are_the_calls_on_which_the_misruling_could_have_been_made(
    store: Store, fill_season: Callable[..., None], config: RunConfig
) -> None:
    calls = [
        {**STRIKE, "ruled_pitch": "ball"},
        {**STRIKE, "ruled_pitch": "strike"},
        {**STRIKE, "ruled_pitch": "strike", "umpire_id": "U2"},
        {**STRIKE, "ruled_pitch": "strike", "strikes": 2},  # a third strike is another misruling
        {**STRIKE, "ruled_pitch": "ball", "p_strike": 0.5},  # an edge pitch is no chance
        {**BALL, "ruled_pitch": "ball"},
    ]
    fill_season(store, calls)
    score_season(config, store)
    assert store.rows("SELECT misruling_code, times, chances, umpires, umpire_share FROM scores.misruling") == [
        ("pitch.called_ball_on_strike", 1, 3, 1, 0.5)
    ]
