"""Another policy on draws of known probabilities: who moves, and by which setting."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from pipeline.config import Evidence, Level, Policy, RunConfig
from pipeline.scoring.score import score_season
from pipeline.scoring.stored_draws import StoredArea, draws_kept, policy_text, policy_used, read_draws
from pipeline.scoring.what_if import (
    NOT_JUDGED,
    Change,
    SeasonEvidence,
    compare,
    level_changes,
    mixed_level,
    read_evidence,
)
from pipeline.store import Store

LEVEL = Level("low", "Low", {"pitches": 0.9, "quiz": 0.6}, Evidence(3, 150, 2), 0.1, 0.1, {"safety": 1})
DRAWS = 1000


def policy(level: Level = LEVEL, **settings: Any) -> Policy:
    return Policy("S", "A", None, None, (level,), **settings)


def evidence(pitches: float, quiz: float = 1.0, made: dict[str, int] | None = None, **seen: int) -> SeasonEvidence:
    """One umpire: of 1,000 draws a rate is the cut of .9 (.6) plus .1 mm each above the share that fails."""
    rows = [{"umpire_id": "U1", "name": "One", "level": "low", "games": 5, "calls": 400, "evaluators": 3} | seen]
    steps = (np.arange(DRAWS) + 0.5) / DRAWS
    areas = {
        "pitches": StoredArea((0.9 + 0.1 * (steps - (1 - pitches)))[:, None], np.array([400.0])),
        "quiz": StoredArea((0.6 + 0.1 * (steps - (1 - quiz)))[:, None], np.array([40.0])),
    }
    return SeasonEvidence(rows, areas, {"U1": made or {}})


def tried(second: Level, season: SeasonEvidence) -> Change:
    (found,) = compare(policy(), policy(second), season)
    return found


def test_the_same_policy_moves_nobody() -> None:
    found = tried(LEVEL, evidence(0.95))
    assert not found.moves
    assert (found.because, found.chance_moved_by, found.before) == ((), (), found.after)


@pytest.mark.parametrize(
    ("changed", "season", "verdicts", "because"),
    [
        # A cut one point higher takes a tenth of the draws away: .95 becomes .85, under 90 %.
        ({"standards": {"pitches": 0.91, "quiz": 0.6}}, evidence(0.95), ("ready", "more_looks"),
         "Balls and strikes: cut 90.0 % to 91.0 %"),
        ({"standards": {"pitches": 0.9}}, evidence(0.95, 0.5), ("more_looks", "ready"),
         "Rules quiz: no standard any more (cut was 60.0 %)"),
        ({"standards": {"pitches": 0.9, "quiz": 0.6, "hit_batter": 0.5}}, evidence(0.95), ("ready", "more_looks"),
         "Hit batter: a new standard, cut 50.0 %"),
        ({"risk_ready": 0.2}, evidence(0.85), ("more_looks", "ready"), "accepted risk of ready in error 10.0 % to 20.0 %"),
        ({"risk_not_yet": 0.2}, evidence(0.15), ("more_looks", "not_yet"),
         "accepted risk of not yet in error 10.0 % to 20.0 %"),
        ({"evidence": Evidence(6, 150, 2)}, evidence(0.95), ("ready", "more_looks"), "least games 3 to 6"),
        ({"disqualifying": {"safety": 1, "out": 2}}, evidence(0.95, made={"out": 3}), ("ready", "not_yet"),
         "misrulings allowed that cost an out: no limit to 2"),
    ],
    ids=["cut", "standard dropped", "standard added", "risk of ready", "risk of not yet", "least games", "misrulings"],
)  # fmt: skip
def test_the_setting_that_makes_the_difference_is_named(
    changed: dict[str, Any], season: SeasonEvidence, verdicts: tuple[str, str], because: str
) -> None:
    found = tried(dataclasses.replace(LEVEL, **changed), season)
    assert (found.before.verdict, found.after.verdict) == verdicts
    assert found.because == (because,)


def test_of_several_changes_only_the_one_that_decides_is_blamed() -> None:
    second = dataclasses.replace(LEVEL, standards={"pitches": 0.91, "quiz": 0.6}, evidence=Evidence(1, 100, 1))
    assert tried(second, evidence(0.95)).because == ("Balls and strikes: cut 90.0 % to 91.0 %",)


def test_two_changes_that_only_decide_together_are_both_named() -> None:
    # A cut half a point lower: .8 becomes .85; only with a risk of 20 % is that ready... and .8 alone is too,
    # so a risk of 17 %: .85 >= .83 > .80.
    second = dataclasses.replace(LEVEL, standards={"pitches": 0.895, "quiz": 0.6}, risk_ready=0.17)
    found = tried(second, evidence(0.8))
    assert found.after.verdict == "ready"
    assert found.because == ("Balls and strikes: cut 90.0 % to 89.5 %", "accepted risk of ready in error 10.0 % to 17.0 %")


def test_either_of_two_changes_that_would_each_do_is_told() -> None:
    second = dataclasses.replace(LEVEL, standards={"pitches": 0.95, "quiz": 0.6}, evidence=Evidence(9, 150, 2))
    found = tried(second, evidence(0.95))
    # Either gives more looks; the second policy's reading rests on the evidence, so that comes first.
    assert found.after.verdict == "more_looks"
    assert found.because == ("least games 3 to 9",)
    assert found.also == ("Balls and strikes: cut 90.0 % to 95.0 %",)


def test_an_unmoved_umpire_shows_by_what_the_chance_moves() -> None:
    found = tried(dataclasses.replace(LEVEL, standards={"pitches": 0.91, "quiz": 0.6}), evidence(0.5))
    assert not found.moves
    assert found.chance_move == pytest.approx(-0.1)
    ((setting, by),) = found.chance_moved_by
    assert setting.startswith("Balls and strikes")
    assert by == pytest.approx(-0.1)


def test_a_level_that_the_second_policy_lacks_is_not_judged() -> None:
    (found,) = compare(policy(), policy(dataclasses.replace(LEVEL, id="other")), evidence(0.95))
    assert (found.before.verdict, found.after.verdict) == ("ready", NOT_JUDGED)
    assert found.because == ("the level low is no longer in the policy",)


def test_a_new_level_above_is_named_as_what_one_is_judged_for() -> None:
    above = Level("high", "High", {"pitches": 0.99}, Evidence(1, 1, 1))
    second = dataclasses.replace(policy(), levels=(LEVEL, above))
    (found,) = compare(policy(), second, evidence(0.95))
    assert found.after.verdict == "not_yet"
    assert found.because == ("judged for High instead of Low",)


def test_calls_graded_anew_are_a_setting_of_their_own() -> None:
    (found,) = compare(policy(), policy(), evidence(0.95), evidence(0.5), "eye_sd_in 3 to 1")
    assert (found.before.verdict, found.after.verdict) == ("ready", "more_looks")
    assert found.because == ("calls graded anew: eye_sd_in 3 to 1",)


def test_those_who_lose_ready_come_first_and_the_unmoved_last() -> None:
    shares = {"A": 0.5, "B": 0.85, "C": 0.95, "D": 0.12}
    seasons = [evidence(share) for share in shares.values()]
    rows = [{**one.roster[0], "umpire_id": name} for name, one in zip(shares, seasons, strict=True)]
    areas = {
        area: StoredArea(
            np.concatenate([one.areas[area].adjusted for one in seasons], axis=1), np.full(len(rows), 40.0)
        )
        for area in ("pitches", "quiz")
    }
    second = policy(dataclasses.replace(LEVEL, standards={"pitches": 0.91, "quiz": 0.6}))
    found = compare(policy(), second, SeasonEvidence(rows, areas, {}))
    assert [one.umpire_id for one in found] == ["C", "D", "A", "B"]


def test_every_mixture_of_two_levels_lies_between_them() -> None:
    second = Level("low", "Low", {"pitches": 0.95}, Evidence(4, 200, 3), 0.2, 0.05, {"out": 3})
    names = list(level_changes(LEVEL, second))
    assert len(names) == 9
    assert mixed_level(LEVEL, second, ()) == LEVEL
    assert mixed_level(LEVEL, second, names) == second


def test_the_stored_draws_give_the_readings_of_the_season_and_the_same_bytes_again(
    store: Store,
    fill_season: Callable[..., None],
    simulate: Callable[..., list[dict[str, Any]]],
    config: RunConfig,
) -> None:
    fill_season(store, simulate())
    score_season(config, store)
    rows = store.rows("SELECT * FROM scores.posterior_draw")
    said = store.rows("SELECT umpire_id, verdict, probability FROM scores.readiness ORDER BY umpire_id")
    found = compare(config.policy, config.policy, read_evidence(store))
    again = sorted((one.umpire_id, one.before.verdict, round(one.before.probability or 0.0, 6)) for one in found)
    assert again == said
    assert read_draws(store)["pitches"].adjusted.shape == (1000, 12)
    score_season(config, store)
    assert store.rows("SELECT * FROM scores.posterior_draw") == rows
    assert policy_text(config.policy) == store.value("SELECT policy FROM scores.policy_used")
    other = dataclasses.replace(config.policy, seed=1)
    assert policy_used(store) != policy_text(other)


def test_a_large_season_keeps_as_many_draws_as_there_is_room_for() -> None:
    assert draws_kept(4000, 6, 500) == 4000
    # 256 MiB / (4 bytes x 6 areas x 10,000 umpires) = 1,118.
    assert draws_kept(4000, 6, 10_000) == 1118
    assert draws_kept(4000, 6, 10**9) == 100
