"""Findings across rows and sheets, and against the rulings: what is told, to whom, and what is left alone."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from pipeline.checks.after_rulings import check_rulings
from pipeline.checks.cross_table import compared_facts, find_across
from pipeline.checks.findings import COLUMNS, make_finding_table
from pipeline.checks.quarantine import META_TABLES
from pipeline.config import Level, Policy, RunConfig
from pipeline.store import Store
from schemas import fact_columns, layer_tables, ruled_columns, table
from schemas.store_tables import meta_table_sql

Rows = list[dict[str, Any]]
Finder = Callable[..., Rows]

CONFIG = RunConfig(
    Path("season"),
    Path("results"),
    Policy(
        "T",
        "",
        dt.date(2026, 3, 1),
        dt.date(2026, 6, 30),
        (Level("junior", "J", {}), Level("varsity", "V", {})),
    ),
)
GAMES = [
    {"game_id": "G1", "date": dt.date(2026, 4, 1), "level": "varsity", "plate_umpire_id": "U1"},
    {"game_id": "G2", "date": dt.date(2026, 4, 2), "level": "varsity", "plate_umpire_id": "U2"},
]
PEOPLE: dict[str, Rows] = {
    "umpires": [{"umpire_id": f"U{n}", "level": "varsity"} for n in (1, 2, 3)],
    "evaluators": [{"evaluator_id": "E1"}, {"evaluator_id": "E2"}],
    "games": GAMES,
}


def call(call_id: str, game_id: str = "G1", evaluator_id: str = "E1", **more: Any) -> dict[str, Any]:
    return {"call_id": call_id, "game_id": game_id, "evaluator_id": evaluator_id, "moment": "pitch", **more}


@pytest.fixture
def store() -> Iterator[Store]:
    with Store() as made:
        for statement in map(meta_table_sql, META_TABLES):
            made.run(statement)
        made.run(
            "CREATE TABLE meta.file (file_id INTEGER, path VARCHAR, sheet VARCHAR, table_name VARCHAR, "
            "encoding VARCHAR, delimiter VARCHAR, notes VARCHAR)"
        )
        for number, declared in enumerate(layer_tables("season"), 1):
            made.run(
                "INSERT INTO meta.file VALUES (?, ?, NULL, ?, 'utf-8', ',', NULL)",
                [number, f"{declared.name}.csv", declared.name],
            )
            columns = ", ".join(f'"{field.name}" {field.duckdb_type}' for field in declared.fields)
            made.run(
                f"CREATE TABLE checked.{declared.name} (row_id BIGINT, file_id INTEGER, line_no BIGINT, {columns})"
            )
        yield made


def insert(store: Store, target: str, rows: Rows) -> None:
    for row in rows:
        names = ", ".join(f'"{name}"' for name in row)
        store.run(f"INSERT INTO {target} ({names}) VALUES ({', '.join('?' * len(row))})", list(row.values()))


@pytest.fixture
def across(store: Store) -> Finder:
    def finder(kind: str, config: RunConfig = CONFIG, **tables: Rows) -> Rows:
        """Fill the checked tables (line numbers from 2 on) and return the findings of one kind."""
        for name, rows in {**PEOPLE, **tables}.items():
            file_id = store.value("SELECT file_id FROM meta.file WHERE table_name = ? LIMIT 1", [name])
            numbered = [
                {"row_id": number, "file_id": file_id, "line_no": number + 1, **row}
                for number, row in enumerate(rows, 1)
            ]
            insert(store, f"checked.{name}", numbered)
        make_finding_table(store, "meta.finding")
        find_across(config, store)
        return store.records("SELECT * FROM meta.finding WHERE kind = ? ORDER BY finding_id", [kind])

    return finder


def test_a_sound_season_has_nothing_to_find(store: Store, across: Finder) -> None:
    across("own_game", plate_calls=[call("C1"), call("C2", "G2", pitch_no=1), call("C3", "G2", pitch_no=2)])
    # Each umpire was seen in one game only, which is all there is to say.
    assert store.rows("SELECT finding_id FROM meta.finding ORDER BY 1") == [
        ("seen_once/U1",),
        ("seen_once/U2",),
    ]


def test_an_evaluator_who_graded_the_own_game_is_told_once_for_each_sheet(across: Finder) -> None:
    found = across(
        "own_game",
        evaluators=[{"evaluator_id": "E9", "umpire_id": "U1"}],
        plate_calls=[
            call("C1", evaluator_id="E9"),
            call("C2", evaluator_id="E9"),
            call("C3", evaluator_id="E9", umpire_id="U3"),  # somebody else made this ruling
            call("C4", "G2", evaluator_id="E9"),
            call("C5", "G2", evaluator_id="E9", umpire_id="U1"),  # and this one was the evaluator's
        ],
        positioning=[{"check_id": "P1", "game_id": "G1", "evaluator_id": "E9"}],
    )
    assert [(row["finding_id"], row["line_no"], row["person_id"]) for row in found] == [
        ("own_game/plate_calls/G1/E9", 2, "E9"),
        ("own_game/plate_calls/G2/E9", 6, "E9"),
        ("own_game/positioning/G1/E9", 2, "E9"),
    ]
    assert found[0]["message"] == (
        "evaluator E9 is umpire U1 and graded his or her own work in game G1 (2 rows of plate_calls)"
    )
    assert found[0]["path"] == "plate_calls.csv"


def days(*dates: dt.date) -> Rows:
    return [{**GAMES[0], "game_id": f"D{n}", "date": date, "plate_umpire_id": f"U{n}"} for n, date in enumerate(dates)]


BOUNDARY = [dt.date(2026, 2, 28), dt.date(2026, 3, 1), dt.date(2026, 6, 30), dt.date(2026, 7, 1)]


def test_a_game_outside_the_season_is_told_and_both_ends_are_inside(across: Finder) -> None:
    found = across("outside_season", games=days(*BOUNDARY))
    assert [(row["value"], row["line_no"]) for row in found] == [("2026-02-28", 2), ("2026-07-01", 5)]
    assert "(2026-03-01 to 2026-06-30)" in found[0]["message"]


def test_a_season_with_an_open_end_has_no_day_after_it(across: Finder) -> None:
    config = RunConfig(CONFIG.season, CONFIG.out, Policy("T", "", dt.date(2026, 3, 1), None, CONFIG.policy.levels))
    found = across("outside_season", config, games=days(*BOUNDARY))
    assert [row["value"] for row in found] == ["2026-02-28"]
    assert "(2026-03-01 to open)" in found[0]["message"]


def test_a_level_that_the_policy_lacks_is_told_once_with_a_near_miss(across: Finder) -> None:
    found = across(
        "unknown_level",
        umpires=[{"umpire_id": "U8", "level": "Varsty"}, {"umpire_id": "U9", "level": "Varsty"}],
        evaluators=[{"evaluator_id": "E8", "level": None}, {"evaluator_id": "E9", "level": "college"}],
    )
    assert [(row["finding_id"], row["line_no"]) for row in found] == [
        ("unknown_level/evaluators/college", 3),
        ("unknown_level/umpires/Varsty", 2),
    ]
    assert found[0]["remedy"] == "mend the sheet, or add the level to the policy"
    assert found[1]["message"] == "the level 'Varsty' is not one of the policy (2 rows of umpires)"
    assert found[1]["remedy"] == "did you mean 'varsity'? Otherwise mend the sheet, or add the level to the policy"


def test_two_games_at_once_are_told_by_their_starts_or_by_their_sites(across: Finder) -> None:
    here, there = ({**GAMES[0], "game_id": name, "site": site} for name, site in (("G3", "Mill Park"), ("G4", "Mead")))
    games = [*GAMES, here, there]
    found = across("two_games_at_once", games=games)
    # The first game of that day has neither site nor start, so it is held against none.
    assert [(row["severity"], row["value"], row["line_no"]) for row in found] == [("warn", "U1", 5)]
    assert found[0]["message"] == (
        "umpire U1 stands in games at different sites, and no start is known of one at least, on 2026-04-01: "
        "G3 (Mill Park), G4 (Mead)"
    )
    day = GAMES[0]["date"]
    slate = [{"game_id": name, "date": day, "start": start} for name, start in (("G3", "18:30"), ("G4", "9:05"))]
    found = across("two_games_at_once", games=[], umpires=[], evaluators=[], slate=slate)
    assert found == []
    near = [{"game_id": "G1", "date": day, "start": "19:00"}]
    found = across("two_games_at_once", games=[], umpires=[], evaluators=[], slate=near)
    assert [row["message"] for row in found] == [
        "umpire U1 stands in games that start less than 60 minutes apart on 2026-04-01: G3 (18:30), G1 (19:00)"
    ]
    assert found[0]["remedy"].startswith("mend the start")


def test_an_umpire_seen_in_one_game_only_is_noted_and_one_never_seen_is_not(across: Finder) -> None:
    calls = [call("C1"), call("C2"), call("C3", "G2"), call("C4", "G2", umpire_id="U1")]
    found = across("seen_once", plate_calls=calls)
    assert [(row["value"], row["line_no"]) for row in found] == [("U2", 3)]
    assert found[0]["message"] == "umpire U2 was seen in one game only (G2, 1 call)"


def test_the_form_of_a_sheet_is_noted_remark_by_remark(store: Store, across: Finder) -> None:
    note = "not UTF-8: read as Windows-1252, so look at names with accents; no rows below the headings"
    store.run("INSERT INTO meta.file VALUES (90, 'b.csv', NULL, 'umpires', 'cp1252', ';', ?)", [note])
    store.run("INSERT INTO meta.file VALUES (91, 'c.csv', NULL, 'umpires', 'utf-16', ',', NULL)")
    store.run("INSERT INTO meta.file VALUES (92, 'd.xlsx', 'umpires', 'umpires', NULL, NULL, NULL)")
    assert [(row["path"], row["message"]) for row in across("sheet_form")] == [
        ("b.csv", "fields are parted by semicolons"),
        ("b.csv", "no rows below the headings"),
        ("b.csv", "not UTF-8: read as Windows-1252, so look at names with accents"),
        ("c.csv", "the text is encoded as utf-16"),
    ]


def test_two_evaluators_who_saw_one_pitch_differently_are_told_with_both_values(across: Finder) -> None:
    found = across(
        "facts_differ",
        plate_calls=[
            call("C1", pitch_no=7, swing="none", location="edge", batter_side="left", ball_x_in=1.0),
            call("C2", pitch_no=8, swing="none"),
            call("C3", evaluator_id="E2", pitch_no=7, swing="full", location="in_zone", ball_x_in=9.0),
            call("C4", evaluator_id="E2", pitch_no=8, swing="none", location="edge"),  # the other left it blank
            call("C5", evaluator_id="E2", pitch_no=7, swing="none", location="edge", moment="before_pitch"),
            call("C6", evaluator_id="E2", swing="full"),  # no number: cannot be paired
            call("C7", "G2", evaluator_id="E2", pitch_no=7, swing="full"),
            call("C8", pitch_no=7, swing="full"),  # as E2 has it, and E1 may rule twice on one pitch
        ],
    )
    assert [(row["finding_id"], row["column_name"], row["person_id"]) for row in found] == [
        ("facts_differ/C1/C3", "location, swing", None),
    ]
    assert found[0]["message"] == (
        "evaluators E1 and E2 saw pitch 7 of game G1 differently (C1 against C3): "
        "location edge against in_zone, swing none against full"
    )


def test_measures_and_the_way_of_measuring_are_not_facts_to_agree_on() -> None:
    left_out = set(fact_columns()) - set(compared_facts())
    measures = {"pitch_mph", "ball_x_in", "ball_z_in", "zone_low_in", "zone_high_in"}
    assert left_out == measures | {"location_source"}


@pytest.mark.parametrize(("count", "told"), [(450, 0), (451, 1)])
def test_more_calls_than_a_game_has_pitches_are_told(across: Finder, count: int, told: int) -> None:
    found = across("many_calls", plate_calls=[call(f"C{n}") for n in range(count)])
    assert len(found) == told
    if told:
        assert found[0]["message"].startswith("451 calls of game G1 by evaluator E1: more than a game has pitches")


def measured(game_id: str, count: int, start: int = 0, evaluator_id: str = "E1") -> Rows:
    """Calls whose places repeat only where `start` makes them overlap."""
    return [
        call(f"{game_id}-{n}", game_id, evaluator_id, ball_x_in=n / 8, ball_z_in=30.0, note=game_id)
        for n in range(start, start + count)
    ]


def by_eye(game_id: str, count: int, turn: int = 0) -> Rows:
    """Calls by eye that differ from one another by inning and count."""
    return [
        call(f"{game_id}-{n}", game_id, inning=1 + (n + turn) % 9, balls=(n + turn) % 4, swing="none")
        for n in range(count)
    ]


@pytest.mark.parametrize(
    ("first", "second", "told"),
    [
        (measured("G1", 20), measured("G2", 20), 1),
        (measured("G1", 20), measured("G2", 20, start=4), 1),  # 16 of 20 the same
        (measured("G1", 20), measured("G2", 20, start=5), 0),  # 15 of 20
        (measured("G1", 19), measured("G2", 19), 0),  # too few to tell
        (measured("G1", 20), measured("G1", 20, evaluator_id="E2"), 0),  # one game, two evaluators
        (by_eye("G1", 24), by_eye("G2", 24), 1),
        (by_eye("G1", 24), by_eye("G2", 24, turn=1), 0),  # the same rows in other places
    ],
)
def test_a_sheet_that_repeats_another_games_rows_is_told(across: Finder, first: Rows, second: Rows, told: int) -> None:
    found = across("copied_sheets", plate_calls=[*first, *second])
    assert len(found) == told
    if told:
        assert (found[0]["line_no"], found[0]["value"], found[0]["person_id"]) == (len(first) + 2, "G2", "E1")


def test_sheets_that_say_the_same_in_each_row_are_not_taken_for_copies(across: Finder) -> None:
    sheets = [call(f"{game}-{n}", game, swing="none", grade="right") for game in ("G1", "G2") for n in range(40)]
    assert across("copied_sheets", plate_calls=sheets) == []


@pytest.mark.parametrize(
    ("grades", "told"),
    [
        (["right"] * 100, 1),
        (["right"] * 99, 0),
        (["right"] * 99 + [None] * 50, 0),  # a call without a grade is none
        (["right"] * 150 + ["wrong"], 0),
        (["not_sure"] * 100, 1),
    ],
)
def test_an_evaluator_who_gives_one_grade_to_a_hundred_calls_is_told(
    across: Finder, grades: list[str | None], told: int
) -> None:
    found = across("straight_lining", plate_calls=[call(f"C{n}", grade=grade) for n, grade in enumerate(grades)])
    assert [row["person_id"] for row in found] == ["E1"] * told


def test_an_answer_that_names_no_option_of_its_item_is_told(across: Finder) -> None:
    found = across(
        "answer_without_option",
        quiz_items=[{"item_id": "I1", "option_a": "this", "option_b": "that"}],
        quiz_responses=[
            {"quiz_id": "Q", "umpire_id": f"U{n}", "item_id": "I1", "answer": answer}
            for n, answer in enumerate(["a", "b", "c", None], 1)
        ],
    )
    assert [(row["finding_id"], row["line_no"]) for row in found] == [("answer_without_option/Q/U3/I1", 4)]


def test_every_finding_says_what_to_do_and_has_an_id_of_its_own(store: Store, across: Finder) -> None:
    across(
        "own_game",
        games=[*GAMES, {**GAMES[0], "game_id": "G3", "date": dt.date(2027, 1, 1), "level": "x"}, GAMES[0]],
        plate_calls=[call(f"C{n}", grade="right", pitch_no=n, swing="none") for n in range(1, 460)],
    )
    rows = store.records("SELECT * FROM meta.finding")
    assert {row["kind"] for row in rows} >= {
        "outside_season",
        "unknown_level",
        "many_calls",
        "straight_lining",
    }
    assert all(row["message"] and row["remedy"] and row["severity"] in ("warn", "note") for row in rows)
    assert len({row["finding_id"] for row in rows}) == len(rows)


RULED = {"pitch": "strike", "ball_status": "live", "batter": "at_bat", "runners": "as_played",
         "runner_out": "none", "choice": "none", "instruct": "none"}  # fmt: skip


@pytest.fixture
def ruled(store: Store) -> Finder:
    def finder(calls: Rows, rulings: Rows) -> Rows:
        """Put calls and their rulings in place and return the findings about them."""
        columns = ", ".join(f"{name} VARCHAR" for name in ruled_columns())
        store.run(
            "CREATE TABLE facts.fct_call (call_id VARCHAR, evaluator_id VARCHAR, row_id BIGINT, file_id INTEGER, "
            f"line_no BIGINT, topic VARCHAR, zone_margin_in DOUBLE, grade VARCHAR, {columns})"
        )
        parts = ", ".join(f"{name} VARCHAR" for name in RULED)
        store.run(
            f"CREATE TABLE rulings.ruling (call_id VARCHAR, state VARCHAR, {parts}, needs VARCHAR, because VARCHAR, "
            "rule_ids VARCHAR)"
        )
        file_id = store.value("SELECT file_id FROM meta.file WHERE table_name = 'plate_calls'")
        place = {"evaluator_id": "E1", "row_id": 1, "file_id": file_id, "line_no": 2}
        insert(store, "facts.fct_call", [{"call_id": f"C{n}", **place, **row} for n, row in enumerate(calls, 1)])
        insert(
            store,
            "rulings.ruling",
            [{"call_id": f"C{n}", "state": "settled", **RULED, **row} for n, row in enumerate(rulings, 1)],
        )
        check_rulings(CONFIG, store)
        return store.records("SELECT * FROM meta.ruling_finding ORDER BY finding_id")

    return finder


STRIKE = {"ruled_pitch": "strike", "ruled_batter": "at_bat"}
BALL = {"ruled_pitch": "ball", "ruled_batter": "at_bat"}


@pytest.mark.parametrize(
    ("row", "ruling", "told"),
    [
        ({**STRIKE, "grade": "right"}, {}, False),
        ({**STRIKE, "grade": "wrong"}, {}, True),
        ({**BALL, "grade": "right"}, {}, True),
        ({**BALL, "grade": "wrong"}, {}, False),
        ({**BALL, "grade": "not_sure"}, {}, False),
        ({**BALL, "grade": None}, {}, False),
        ({"grade": "wrong"}, {}, False),  # no part was noted: nothing to hold the grade against
        ({"grade": "right"}, {}, False),
        # An open part holds nobody to anything; the settled one beside it does.
        ({**BALL, "grade": "right"}, {"state": "open", "pitch": "ball|strike"}, False),
        ({**BALL, "grade": "right"}, {"state": "open", "pitch": "ball|strike", "batter": "out"}, True),
        ({**STRIKE, "grade": "wrong"}, {"state": "open", "pitch": "ball|strike"}, False),
        # No pitch is called by the rules: what was ruled on it is not graded.
        ({**BALL, "grade": "right"}, {"pitch": None}, False),
        ({**BALL, "grade": "right"}, {"pitch": "none_called"}, False),
        ({**BALL, "grade": "right"}, {"state": "contradiction"}, False),
        # A taken pitch within an inch of the boundary is not held against anyone, on either side of it.
        ({**BALL, "grade": "right", "topic": "pitch", "zone_margin_in": 0.99}, {}, False),
        ({**BALL, "grade": "right", "topic": "pitch", "zone_margin_in": -0.99}, {}, False),
        ({**BALL, "grade": "right", "topic": "pitch", "zone_margin_in": 1.0}, {}, True),
        ({**BALL, "grade": "right", "topic": "pitch", "zone_margin_in": None}, {}, True),
        ({**BALL, "grade": "right", "topic": "hit_batter", "zone_margin_in": 0.5}, {}, True),
    ],
)
def test_a_grade_is_held_against_what_the_rules_settle_and_no_more(
    ruled: Finder, row: dict[str, Any], ruling: dict[str, Any], told: bool
) -> None:
    found = [item for item in ruled([row], [ruling]) if item["kind"] == "grade_contradicts_rules"]
    assert [item["finding_id"] for item in found] == ["grade_contradicts_rules/C1"] * told


def test_a_contradicted_grade_is_told_with_what_was_ruled_and_what_was_due(ruled: Finder) -> None:
    rows = [{**BALL, "ruled_runners": "return", "grade": "right"}, {**STRIKE, "grade": "wrong"}]
    first, second = ruled(rows, [{"because": "it was in the zone"}, {}])
    assert list(first) == [name for name, _ in COLUMNS]
    assert first["message"] == (
        "call C1 is graded right, but: ruled_pitch ball, by the rules strike; "
        "ruled_runners return, by the rules as_played (it was in the zone)"
    )
    assert (first["column_name"], first["value"], first["person_id"]) == (
        "ruled_pitch, ruled_runners",
        "right",
        "E1",
    )
    assert (first["path"], first["line_no"]) == ("plate_calls.csv", 2)
    assert second["message"] == "call C2 is graded wrong, but every part of the ruling that was noted is right"


def test_facts_that_cannot_stand_together_are_told_whatever_the_grade(ruled: Finder) -> None:
    found = ruled([{"grade": None}], [{"state": "contradiction", "because": "swing none, contact fair", "needs": None}])
    assert [(row["finding_id"], row["severity"], row["person_id"]) for row in found] == [
        ("facts_contradict/C1", "warn", "E1")
    ]
    assert found[0]["message"] == "the facts of call C1 cannot stand together: swing none, contact fair"


def test_every_part_of_a_ruling_that_a_sheet_can_note_is_compared(ruled: Finder) -> None:
    parts = [{name: "no such value", "grade": "right"} for name in ruled_columns()]
    found = ruled(parts, [{}] * len(parts))
    assert [row["column_name"] for row in found] == list(ruled_columns())
    assert table("plate_calls").field("grade").enum == ("right", "wrong", "not_sure")
