"""The scoring step as a whole on made-up seasons."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from typing import Any

import pytest

from pipeline.config import RunConfig
from pipeline.scoring.score import score_season
from pipeline.scoring.tables import TABLES
from pipeline.store import Store

# The health of the sheets is a step of its own.
RESULT_TABLES = sorted({*TABLES, "grade", "call_grade", "umpire_misruling"} - {"evaluator_health"})


def everything(store: Store) -> dict[str, list[tuple[Any, ...]]]:
    return {name: store.rows(f"SELECT * FROM scores.{name}") for name in RESULT_TABLES}


def positioning(store: Store, put_rows: Callable[..., None], umpires: int = 12) -> None:
    columns = {
        "check_id": "VARCHAR",
        "game_id": "VARCHAR",
        "umpire_id": "VARCHAR",
        "evaluator_id": "VARCHAR",
        "item": "VARCHAR",
        "good": "BOOLEAN",
    }
    rows = [
        {
            "check_id": f"P{u}-{c}",
            "game_id": f"G{u:03d}-{c % 5}",
            "umpire_id": f"U{u:03d}",
            "evaluator_id": f"E{c % 4}",
            "item": item,
            "good": (u * 7 + c * 3 + k) % 5 > 0,
        }
        for u in range(umpires)
        for c in range(10)
        for k, item in enumerate(("in_slot", "head_height"))
    ]
    put_rows(store, "facts.fct_positioning", columns, rows)


def shared_pitches(store: Store, put_rows: Callable[..., None]) -> None:
    """The first forty calls told as twenty pitches that two evaluators wrote down."""
    columns = dict.fromkeys(("call_id", "game_id", "moment", "evaluator_id", "grade"), "VARCHAR") | {"pitch_no": "BIGINT"}
    rows = [
        {
            "call_id": f"C{i:06d}",
            "game_id": "G000-0",
            "moment": "pitch",
            "pitch_no": i // 2,
            "evaluator_id": f"E{i % 2}",
            "grade": "wrong" if i % 3 else "right",
        }
        for i in range(40)
    ]
    put_rows(store, "checked.plate_calls", columns, rows)


def quiz_rows(umpires: int = 12) -> tuple[list[dict[str, Any]], list[dict[str, Any]], list[dict[str, Any]]]:
    items = [{"item_id": f"I{i}", "key": "a"} for i in range(6)]
    answers = [
        {
            "quiz_id": "Q1",
            "umpire_id": f"U{u:03d}",
            "item_id": f"I{i}",
            "answer": "a" if (u + 2 * i) % 7 > 1 else "b",
        }
        for u in range(umpires)
        for i in range(6)
    ]
    return (
        items,
        answers,
        [{"item_id": "I5", "verdict": "wrong", "right_options": "b", "because": "the line is in"}],
    )


def test_two_runs_on_the_same_tables_give_the_same_rows(
    store: Store,
    fill_season: Callable[..., None],
    fill_quiz: Callable[..., None],
    put_rows: Callable[..., None],
    simulate: Callable[..., list[dict[str, Any]]],
    config: RunConfig,
) -> None:
    fill_season(store, simulate())
    fill_quiz(store, *quiz_rows())
    positioning(store, put_rows)
    shared_pitches(store, put_rows)
    score_season(config, store)
    first = everything(store)
    score_season(config, store)
    assert everything(store) == first
    assert all(first[name] for name in RESULT_TABLES)


def test_every_part_of_the_season_gets_a_model_and_a_rate(
    store: Store,
    fill_season: Callable[..., None],
    fill_quiz: Callable[..., None],
    put_rows: Callable[..., None],
    simulate: Callable[..., list[dict[str, Any]]],
    config: RunConfig,
) -> None:
    fill_season(store, simulate())
    fill_quiz(store, *quiz_rows())
    positioning(store, put_rows)
    result = score_season(config, store)
    models = [name for (name,) in store.rows("SELECT model FROM scores.fit")]
    assert models == ["overall", "pitches", "batters_box", "hit_batter", "positioning", "quiz"]
    assert result.rows_in == 12 * 5 * 40
    assert store.value("SELECT count(*) FROM scores.umpire_rate WHERE area = 'overall'") == 12
    # The parts of a rate add up also after rounding.
    assert store.value(
        "SELECT max(abs(raw_rate + evaluator_points + situation_points + shrinkage_points - adjusted_rate)) "
        "FROM scores.umpire_rate"
    ) == pytest.approx(0, abs=1e-12)
    # Calls of the areas are those of the whole.
    assert store.value("SELECT sum(calls) FROM scores.umpire_rate WHERE area NOT IN ('overall', 'positioning', 'quiz')") == store.value(
        "SELECT sum(calls) FROM scores.umpire_rate WHERE area = 'overall'"
    )
    assert store.value("SELECT withheld FROM scores.quiz_item WHERE item_id = 'I5'") is True
    assert store.value("SELECT DISTINCT items FROM scores.quiz_umpire") == 5
    assert "KR-20" in store.value("SELECT message FROM scores.fit WHERE model = 'quiz'")


def test_a_season_of_calls_alone_is_scored(
    store: Store,
    fill_season: Callable[..., None],
    simulate: Callable[..., list[dict[str, Any]]],
    config: RunConfig,
) -> None:
    fill_season(store, simulate())
    score_season(config, store)
    assert store.value("SELECT count(*) FROM scores.quiz_umpire") == 0
    assert store.value("SELECT count(*) FROM scores.positioning") == 0
    rows = store.records("SELECT * FROM scores.readiness")
    assert len(rows) == 12
    assert {row["target_level"] for row in rows} == {"varsity"}


def test_a_quiz_alone_is_scored(
    store: Store, fill_season: Callable[..., None], fill_quiz: Callable[..., None], config: RunConfig
) -> None:
    people = [{"umpire_id": f"U{u:03d}", "name": "A", "level": "junior"} for u in range(12)]
    fill_season(store, [], umpires=people, evaluators=[{"evaluator_id": "E", "name": "E", "level": None}])
    fill_quiz(store, *quiz_rows())
    score_season(config, store)
    assert store.rows("SELECT model FROM scores.fit") == [("quiz",)]
    assert store.rows("SELECT DISTINCT verdict FROM scores.readiness") == [("more_looks",)]
    assert store.value("SELECT count(*) FROM scores.ranking") == 0


def test_an_umpire_nobody_saw_is_listed_and_not_ranked(
    store: Store,
    fill_season: Callable[..., None],
    simulate: Callable[..., list[dict[str, Any]]],
    config: RunConfig,
) -> None:
    people = [{"umpire_id": f"U{u:03d}", "name": f"N{u}", "level": "junior"} for u in range(13)]
    fill_season(store, simulate(), umpires=people)
    score_season(config, store)
    (row,) = store.records("SELECT * FROM scores.readiness WHERE umpire_id = 'U012'")
    assert (row["verdict"], row["calls"], row["evidence_ok"], row["linked_group"]) == (
        "more_looks",
        0,
        False,
        None,
    )
    assert store.value("SELECT count(*) FROM scores.ranking WHERE umpire_id = 'U012'") == 0


def test_groups_without_a_common_evaluator_are_not_ranked_against_each_other(
    store: Store,
    fill_season: Callable[..., None],
    simulate: Callable[..., list[dict[str, Any]]],
    config: RunConfig,
) -> None:
    calls = simulate()
    for call in calls:
        if int(call["umpire_id"][1:]) >= 8:
            call["evaluator_id"] += "_other"
    fill_season(store, calls)
    score_season(config, store)
    rows = store.records("SELECT * FROM scores.ranking")
    assert {(row["umpire_id"] >= "U008", row["linked_group"]) for row in rows} == {(False, 1), (True, 2)}
    assert [row["rank"] for row in rows] == [*range(1, 9), *range(1, 5)]
    assert [row["p_ahead_of_next"] is None for row in rows].count(True) == 2
    assert "2 groups" in store.value("SELECT message FROM scores.fit WHERE model = 'overall'")


def test_ranks_lie_in_their_intervals_and_follow_the_adjusted_rate(
    store: Store,
    fill_season: Callable[..., None],
    simulate: Callable[..., list[dict[str, Any]]],
    config: RunConfig,
) -> None:
    fill_season(store, simulate())
    score_season(config, store)
    rows = store.records("SELECT * FROM scores.ranking")
    assert [row["rank"] for row in rows] == list(range(1, 13))
    assert all(row["rank_low"] <= row["rank"] <= row["rank_high"] for row in rows)
    rates = [row["adjusted_rate"] for row in rows]
    assert rates == sorted(rates, reverse=True)
    groups = [row["tie_group"] for row in rows]
    assert groups == sorted(groups)


def test_an_evaluator_who_grades_by_another_code_is_named(
    store: Store,
    fill_season: Callable[..., None],
    simulate: Callable[..., list[dict[str, Any]]],
    config: RunConfig,
) -> None:
    # The rules of this game say "at bat"; another code gives first base, and the grade goes by that code.
    froze = {
        "topic": "hit_batter",
        "area": "hit_batter",
        "stratum": "hit_batter/froze",
        "evaluator_id": "E9",
        "batter": "at_bat",
        "ruled_batter": "first_base",
        "grade": "right",
    }
    calls = simulate() + [{**froze, "umpire_id": "U000", "game_id": "G000-0", "call_id": f"X{i}"} for i in range(4)]
    other = [{"call_id": f"X{i}", "rule_code": "obr", "batter": "first_base"} for i in range(4)]
    fill_season(store, calls, other)
    score_season(config, store)
    (row,) = store.records("SELECT * FROM scores.evaluator WHERE evaluator_id = 'E9'")
    assert (row["other_code_suspect"], row["other_code_calls"]) == ("obr", 4)
    assert "seems to grade by OBR on hit batter" in row["message"]
    rows = store.rows(
        "SELECT call_id, our_verdict, other_code FROM scores.evaluator_misgrade WHERE evaluator_id = 'E9'"
    )
    assert rows == [(f"X{i}", "wrong", "obr") for i in range(4)]


def test_nothing_is_left_behind_when_scoring_fails(
    store: Store,
    fill_season: Callable[..., None],
    simulate: Callable[..., list[dict[str, Any]]],
    config: RunConfig,
) -> None:
    fill_season(store, simulate())
    store.run("DROP TABLE checked.evaluators")
    with pytest.raises(Exception, match="evaluators"):
        score_season(config, store)
    assert not store.has_table("scores.call_grade")


def test_another_seed_moves_the_draws_but_not_the_fit(
    store: Store,
    fill_season: Callable[..., None],
    simulate: Callable[..., list[dict[str, Any]]],
    config: RunConfig,
) -> None:
    fill_season(store, simulate())
    score_season(config, store)
    fits, rates = (
        store.rows("SELECT * FROM scores.fit"),
        store.rows("SELECT adjusted_rate FROM scores.umpire_rate"),
    )
    other = dataclasses.replace(config, policy=dataclasses.replace(config.policy, seed=7))
    score_season(other, store)
    assert store.rows("SELECT * FROM scores.fit") == fits
    moved = store.rows("SELECT adjusted_rate FROM scores.umpire_rate")
    assert moved != rates
    assert [a for (a,) in moved] == pytest.approx([a for (a,) in rates], abs=0.025)
