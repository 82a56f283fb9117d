"""Health of an evaluator's sheets: what is counted, what it is held beside, and when it is worth a word."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from pipeline.config import Level, Policy, RunConfig
from pipeline.facts.build import build_facts
from pipeline.rules.dimensions import zone_measures
from pipeline.rulings.batch import rule_season
from pipeline.rulings.patterns import recognise_season
from pipeline.scoring import health
from pipeline.scoring.digits import even_digits_p, holm
from pipeline.scoring.health import health_season
from pipeline.scoring.score import score_season
from pipeline.store import Store
from schemas import layer_tables

POLICY = Policy("T", "", None, None, (Level("varsity", "Varsity", {}),))
CONFIG = RunConfig(Path("season"), Path("results"), POLICY)
GAME_ON = dt.date(2026, 4, 1)
Rows = list[dict[str, Any]]
Season = Callable[[Rows], dict[tuple[str, str, str], dict[str, Any]]]


def call(evaluator_id: str = "E1", **more: Any) -> dict[str, Any]:
    """A ball by eye, ruled so and graded right, unless told otherwise."""
    return {
        "evaluator_id": evaluator_id, "game_id": "G1", "balls": 1, "strikes": 1, "outs": 0, "location": "out_of_zone",
        "ruled_pitch": "ball", "grade": "right", **more,
    }  # fmt: skip


@pytest.fixture
def season() -> Iterator[Season]:
    with Store() as store:
        for declared in layer_tables("season"):
            columns = ", ".join(f'"{field.name}" {field.duckdb_type}' for field in declared.fields)
            store.run(
                f"CREATE TABLE checked.{declared.name} (row_id BIGINT, file_id INTEGER, line_no BIGINT, {columns})"
            )

        def add(table: str, rows: Rows) -> None:
            for row in rows:
                names = ", ".join(f'"{name}"' for name in row)
                marks = ", ".join("?" * len(row))
                store.run(f"INSERT INTO checked.{table} ({names}) VALUES ({marks})", list(row.values()))

        def make(calls: Rows) -> dict[tuple[str, str, str], dict[str, Any]]:
            """Rule, score and look at a season of these calls; return the rows by evaluator, measure and part."""
            # A blank that the sheet reads as a value is that value once it is loaded.
            blanks = {f.name: f.blank_value for t in layer_tables("season") if t.name == "plate_calls"
                      for f in t.fields if f.blank_value is not None}  # fmt: skip
            add("umpires", [{"umpire_id": "U1", "name": "One", "level": "varsity"}])
            people = sorted({row["evaluator_id"] for row in calls})
            add("evaluators", [{"evaluator_id": name, "name": name} for name in people])
            add("games", [{"game_id": "G1", "date": GAME_ON, "level": "varsity", "rule_code": "nfhs",
                           "plate_umpire_id": "U1"}])  # fmt: skip
            add("plate_calls", [{"row_id": n, "call_id": f"C{n:03d}", **blanks, **row} for n, row in enumerate(calls)])
            build_facts(CONFIG, store, zone_measures())
            rule_season(CONFIG, store)
            recognise_season(CONFIG, store)
            score_season(CONFIG, store)
            result = health_season(CONFIG, store)
            rows = store.records("SELECT * FROM scores.evaluator_health")
            assert (result.rows_in, result.rows_out) == (len(calls), len(rows))
            return {(row["evaluator_id"], row["measure"], row["part"]): row for row in rows}

        yield make


def figures(row: dict[str, Any]) -> tuple[Any, ...]:
    return row["cases"], row["found"], row["value"]


def test_facts_left_out_are_told_of_those_that_would_have_decided_and_no_others(season: Season) -> None:
    found = season(
        [
            call(),  # a taken pitch is decided by its place alone, since balls and strikes are below the last one
            call(location=None),  # the same pitch without its place
            call(swing="full", location=None, ruled_pitch="strike"),  # a swing needs no place
        ]
    )[("E1", "facts_recorded", "")]
    missing = found["cases"] - found["found"]
    assert missing == 1
    assert found["remark"] == "most often left out: location (1)"
    assert found["value"] == pytest.approx(found["found"] / (found["found"] + 1))
    assert (found["low"], found["high"]) == (None, None)


def test_a_column_left_blank_that_decides_nothing_does_not_count(season: Season) -> None:
    found = season([call(), call(inning=None, arm_slot=None, pitch_kind=None)])[("E1", "facts_recorded", "")]
    assert found["cases"] == found["found"]
    assert found["remark"] is None


def test_each_fact_that_was_asked_for_is_told_with_how_often_it_was_written_down(season: Season) -> None:
    found = season(
        [
            call(),
            call(location="in_zone", ruled_pitch="strike"),
            call(location=None),  # the place would have decided
            call(swing="full", location=None, ruled_pitch="strike"),  # a swing needs no place
        ]
    )
    parts = {part: row for (_, measure, part), row in found.items() if measure == "facts_recorded" and part}
    assert figures(parts["location"]) == (3, 2, pytest.approx(2 / 3, abs=1e-6))
    assert (parts["location"]["low"], parts["location"]["stands_out"]) == (None, None)
    whole = found["E1", "facts_recorded", ""]
    assert whole["cases"] == sum(row["cases"] for row in parts.values())
    assert whole["found"] == sum(row["found"] for row in parts.values())


def test_contradictions_grades_and_wrong_rulings_that_passed_are_counted_by_hand(season: Season) -> None:
    found = season(
        [
            call(),  # ball ruled a ball, graded right
            call(location="in_zone"),  # a strike ruled a ball and graded right: against the rules, and passed
            call(location="in_zone", grade="wrong"),  # graded as the rules do
            call(grade="wrong"),  # a right ruling graded wrong: against the rules
            call(grade="not_sure"),  # a grade that says nothing
            call(grade=None),
            call(swing="full", contact="foul", pitch_caught="yes", ruled_pitch=None),  # a held foul is no foul
        ]
    )
    assert figures(found["E1", "contradictions", ""]) == (7, 1, pytest.approx(1 / 7, abs=1e-6))
    assert found["E1", "contradictions", ""]["call_ids"] == "C006"
    assert figures(found["E1", "wrong_grades", ""]) == (4, 2, 0.5)
    # Six of seven carry a grade (the sixth has none), of which the first, second and last say right.
    assert figures(found["E1", "graded_right", ""]) == (6, 3, 0.5)
    assert figures(found["E1", "wrong_passed", ""]) == (2, 1, 0.5)
    assert found["E1", "wrong_passed", ""]["call_ids"] == "C001"
    by_topic = found["E1", "wrong_grades", "pitch"]
    assert figures(by_topic) == (4, 2, 0.5)
    assert by_topic["call_ids"] == "C001;C003"
    assert 1 <= len([rule for rule in by_topic["rule_ids"].split(";") if rule]) <= 3


def test_lateness_is_told_only_where_a_day_of_entry_stands_and_a_slip_is_left_out(season: Season) -> None:
    days = [0, 2, 7, 8, None, -3]
    found = season(
        [
            *(call(recorded_on=None if n is None else GAME_ON + dt.timedelta(days=n)) for n in days),
            call("E2"),
        ]
    )
    # Of 0, 2, 7 and 8 days the middle is 4.5, and one is more than a week.
    late = found["E1", "days_late", ""]
    assert (late["cases"], late["found"], late["value"]) == (4, 1, 4.5)
    assert late["stands_out"] is None  # four calls are too few to speak of a habit
    assert ("E2", "days_late", "") not in found


@pytest.mark.parametrize(("days", "stands_out"), [(7, False), (8, True)], ids=["a week", "more than a week"])
def test_who_mostly_writes_down_later_than_a_week_stands_out(season: Season, days: int, stands_out: bool) -> None:
    calls = [call(recorded_on=GAME_ON + dt.timedelta(days=days)) for _ in range(health.FEWEST_CASES)]
    assert season(calls)["E1", "days_late", ""]["stands_out"] is stands_out


def place(n: int, evaluator_id: str = "E1", **more: Any) -> dict[str, Any]:
    return call(evaluator_id, ball_x_in=n / 10, ball_z_in=30.05, zone_low_in=18.0, zone_high_in=40.0,
                location_source="video", **more)  # fmt: skip


def test_rows_that_repeat_a_measured_place_are_told_and_rows_by_eye_are_not(season: Season) -> None:
    found = season([place(1, pitch_no=1), place(1, pitch_no=2, note="again"), place(2), call(), call()])
    repeated = found["E1", "repeated_rows", ""]
    assert figures(repeated) == (3, 2, pytest.approx(2 / 3, abs=1e-6))
    assert repeated["call_ids"] == "C000;C001"


def test_a_habit_of_halves_is_told_and_an_even_hand_is_not(season: Season) -> None:
    even = [place(n, "E1") for n in range(100)]
    halves = [place(5 * n, "E2") for n in range(100)]
    whole = [place(10 * n, "E3") for n in range(100)]
    tracked = [place(5 * n, "E4") | {"location_source": "tracked"} for n in range(100)]
    few = [place(5 * n, "E5") for n in range(49)]
    found = season([*even, *halves, *whole, *tracked, *few])
    assert figures(found["E1", "last_digit", "ball_x_in"]) == (100, 20, 0.2)
    assert found["E1", "last_digit", "ball_x_in"]["p_value"] == 1
    assert found["E1", "last_digit", "ball_x_in"]["stands_out"] is False
    assert figures(found["E2", "last_digit", "ball_x_in"]) == (100, 100, 1)
    assert found["E2", "last_digit", "ball_x_in"]["stands_out"] is True
    assert found["E3", "last_digit", "ball_x_in"]["remark"] == "written in whole inches, so not tested"
    assert found["E3", "last_digit", "ball_x_in"]["p_value"] is None
    assert ("E4", "last_digit", "ball_x_in") not in found
    assert found["E5", "last_digit", "ball_x_in"]["p_value"] is None


def test_a_median_needs_five_evaluators_and_only_enough_cases_stand_out(
    season: Season, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(health, "FEWEST_CASES", 4)
    calls = []
    for name in ("E1", "E2", "E3", "E4"):
        calls += [call(name, ball_x_in=None), call(name), call(name), call(name, grade="wrong")]
    calls += [call("E5", grade="wrong") for _ in range(12)]
    calls += [call("E6", grade="wrong") for _ in range(3)]  # too few cases, so not in the median
    found = season(calls)
    # Wrong grades 1 of 4 four times and 12 of 12: the middle is a quarter.
    one, five, six = (found[name, "wrong_grades", ""] for name in ("E1", "E5", "E6"))
    assert (one["median"], one["evaluators"], one["stands_out"]) == (0.25, 5, False)
    assert (five["median"], five["stands_out"]) == (0.25, True)
    assert (six["median"], six["stands_out"]) == (0.25, None)
    # Nobody's calls contradict each other.
    assert found["E5", "contradictions", ""]["stands_out"] is False


def test_four_evaluators_are_too_few_for_a_median(season: Season, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(health, "FEWEST_CASES", 1)
    found = season([call(f"E{n}") for n in range(4)])
    assert {row["median"] for row in found.values()} == {None}
    assert {row["stands_out"] for row in found.values()} == {None}


def test_the_chance_of_uneven_digits_is_that_of_the_chi_square_tables() -> None:
    assert even_digits_p([10] * 10) == 1
    # 16.919 and 21.666 are the 5 % and 1 % points for 9 degrees of freedom in any table of chi-square: two digits of
    # 1000 values off by d each give 2 d^2 / 100.
    off = (16.919 * 100 / 2) ** 0.5
    assert even_digits_p([100 + off, 100 - off, *[100] * 8]) == pytest.approx(0.05, abs=0.0001)  # type: ignore[list-item]
    off = (21.666 * 100 / 2) ** 0.5
    assert even_digits_p([100 + off, 100 - off, *[100] * 8]) == pytest.approx(0.01, abs=0.0001)  # type: ignore[list-item]
    assert even_digits_p([5] * 9 + [4]) is None


def test_chances_are_corrected_step_by_step_and_keep_their_order() -> None:
    # By hand: .01 x 4 = .04; .02 x 3 = .06; .03 x 2 = .06; .9 x 1 = .9.
    assert holm([0.9, 0.01, 0.03, 0.02]) == pytest.approx([0.9, 0.04, 0.06, 0.06])
    assert holm([]) == []
    assert holm([0.5, 0.6]) == [1.0, 1.0]
