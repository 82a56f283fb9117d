"""A sound season in which nothing is found, and one fault planted at a time: it is found, and nothing else is."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from pipeline.checks import check
from pipeline.checks.across import ACROSS
from pipeline.checks.after_rulings import check_rulings
from pipeline.checks.check import check_season
from pipeline.checks.findings import make_finding_table
from pipeline.checks.validation import Validated
from pipeline.config import Level, Policy, RunConfig
from pipeline.facts.build import build_facts
from pipeline.ingest.load import load_season
from pipeline.rules.dimensions import zone_measures
from pipeline.rulings.batch import rule_season
from pipeline.store import Store

POLICY = Policy("T", "", dt.date(2026, 3, 1), dt.date(2026, 6, 30), (Level("varsity", "Varsity", {}),))
CALL_HEAD = (
    "call_id,game_id,evaluator_id,umpire_id,pitch_no,recorded_on,balls,strikes,outs,location,swing,contact,pitch_caught,"
    "ball_x_in,ball_z_in,zone_low_in,zone_high_in,location_source,ruled_pitch,grade"
)


def call(call_id: str, game_id: str, evaluator_id: str = "E1", **more: Any) -> str:
    """One line of the sheet of calls: a ball by eye, ruled so and graded right, unless told otherwise."""
    row = {
        "call_id": call_id, "game_id": game_id, "evaluator_id": evaluator_id, "balls": 1, "strikes": 1, "outs": 0,
        "location": "out_of_zone", "ruled_pitch": "ball", "grade": "right", **more,
    }  # fmt: skip
    return ",".join(str(row.get(name, "")) for name in CALL_HEAD.split(","))


SHEETS: dict[str, list[str]] = {
    "umpires": ["umpire_id,name,level", "U1,One,varsity", "U2,Two,varsity"],
    "evaluators": ["evaluator_id,name,umpire_id", "E1,Eva,", "E2,Evo,"],
    "games": [
        "game_id,date,level,rule_code,plate_umpire_id",
        "G1,2026-04-01,varsity,nfhs,U1",
        "G2,2026-04-02,varsity,nfhs,U1",
        "G3,2026-04-03,varsity,nfhs,U2",
        "G4,2026-04-04,varsity,nfhs,U2",
    ],
    "plate_calls": [
        CALL_HEAD,
        call("C1", "G1", pitch_no=7, recorded_on="2026-04-01"),
        call("C2", "G2", location="in_zone", ruled_pitch="strike"),
        call("C3", "G3", "E2", grade="wrong", ruled_pitch="strike"),
        call("C4", "G4", "E2", zone_low_in=18, zone_high_in=40, grade=""),
    ],
    "amendments": ["call_id,evaluator_id,date,column,value,reason", "C4,E2,2026-04-06,balls,2,video"],
    "ratings": ["rating_id,game_id,evaluator_id,criterion,score,scale_max", "R1,G1,E1,poise,4,5", "R2,G2,E1,poise,3,5"],
    "quiz_items": ["item_id,rule_code,topic,stem,option_a,option_b,key", "I1,nfhs,pitch,What is it?,this,that,a"],
    "quiz_responses": ["quiz_id,umpire_id,item_id,answer", "Q,U1,I1,a"],
}
Plants = dict[str, list[str]]


@pytest.fixture(autouse=True)
def counted_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """Leave the second count out: that both ways agree is asked elsewhere, and it takes most of the time."""
    monkeypatch.setattr(check, "confirm", lambda *_: Validated({}, {}, {}, {}))


def run(folder: Path, sheets: Plants) -> Iterator[Store]:
    season = folder / "season"
    season.mkdir()
    for name, lines in sheets.items():
        (season / f"{name}.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    config = RunConfig(season, folder / "out", POLICY)
    with Store() as store:
        load_season(config, store)
        check_season(config, store)
        if any(sheets[name] != SHEETS[name] for name in ("plate_calls", "amendments")) or sheets == SHEETS:
            build_facts(config, store, zone_measures())
            rule_season(config, store)
            check_rulings(config, store)
        else:
            # Without a new fact the rules have nothing new to say.
            make_finding_table(store, "meta.ruling_finding")
        yield store


def found(folder: Path, sheets: Plants) -> tuple[list[str], list[tuple[str, int, str | None]]]:
    """Return the ids of all findings, and file, line and column of all rows set aside; each has its remedy."""
    for store in run(folder, sheets):
        rows = store.rows(
            "SELECT finding_id, message, remedy, kind, severity FROM meta.finding UNION ALL "
            "SELECT finding_id, message, remedy, kind, severity FROM meta.ruling_finding ORDER BY 1"
        )
        assert all(message and remedy for _, message, remedy, _, _ in rows)
        assert all(kind not in ACROSS or severity == ACROSS[kind].severity for _, _, _, kind, severity in rows)
        counted = dict(store.rows("SELECT check_id, failed FROM meta.check_result WHERE kind = 'across'"))
        assert {name for name, failed in counted.items() if failed} == {
            ACROSS[kind].id for _, _, _, kind, _ in rows if kind in ACROSS
        }
        rejects = store.rows("SELECT path, line_no, column_name, reason, remedy FROM meta.reject ORDER BY path, line_no")
        assert all(reason and remedy for *_, reason, remedy in rejects)
        return [row[0] for row in rows], [(path, line_no, column) for path, line_no, column, _, _ in rejects]
    raise AssertionError


def added(table: str, *lines: str) -> Plants:
    return {**SHEETS, table: [*SHEETS[table], *lines]}


def changed(table: str, old: str, new: str) -> Plants:
    lines = [line.replace(old, new) for line in SHEETS[table]]
    assert lines != SHEETS[table]
    return {**SHEETS, table: lines}


def measured(game_id: str, count: int) -> list[str]:
    return [
        call(f"{game_id}-{n}", game_id, location="", grade="", ruled_pitch="", ball_x_in=n / 10, ball_z_in=30,
             zone_low_in=18, zone_high_in=40, location_source="video")
        for n in range(count)
    ]  # fmt: skip


def at_sites(first: str, second: str, umpire: str = "U1") -> Plants:
    """The first two games on one day, each at its site."""
    sites = ["site", first, second, "Mill Park", "Mill Park"]
    games = [f"{line},{site}" for line, site in zip(SHEETS["games"], sites, strict=True)]
    games[2] = games[2].replace("2026-04-02", "2026-04-01").replace(",U1,", f",{umpire},")
    return {**SHEETS, "games": games}


def slate(first: str, second: str) -> list[str]:
    return ["game_id,date,start,level,site", f"G1,2026-04-01,{first},varsity,Mill Park",
            f"G2,2026-04-01,{second},varsity,Mill Park"]  # fmt: skip


CHECK_HEAD = "check_id,game_id,evaluator_id,inning,in_slot,head_height,drift,set_at_release"


def checks(count: int, other: str = "") -> list[str]:
    """Checks of one evaluator, all alike but for the last if `other` says how it is."""
    lines = [f"P{n},G3,E2,{1 + n % 7},yes,top_of_zone,none,yes" for n in range(count)]
    return [*lines[:-1], lines[-1].replace("yes,top_of_zone", other)] if other else lines


def many_games(count: int) -> list[str]:
    return [*SHEETS["games"], *(f"M{n},2026-05-{n + 1:02d},varsity,nfhs,U2" for n in range(count))]


@pytest.mark.parametrize(
    "sheets",
    [
        {**SHEETS, "positioning": [CHECK_HEAD, *checks(19)]},
        {**SHEETS, "positioning": [CHECK_HEAD, *checks(20, "no,top_of_zone")]},
        {**SHEETS, "positioning": ["check_id,game_id,evaluator_id,in_slot,set_at_release", *(
            f"P{n},G3,E2,yes,yes" for n in range(30))]},
        {**SHEETS, "games": many_games(12), "ratings": [SHEETS["ratings"][0], *(
            f"S{n}-{what},M{n},E2,{what},{1 + n % 4 + (n == 7 and what == 'poise')},5"
            for n in range(12) for what in ("timing", "signals", "poise"))]},
    ],
    ids=["nineteen checks", "one that differs", "two answers a check", "one criterion of one game that differs"],
)  # fmt: skip
def test_evaluators_who_did_look_are_not_told_of_straight_lines(tmp_path: Path, sheets: Plants) -> None:
    assert found(tmp_path, sheets) == ([], [])


@pytest.mark.parametrize(
    "sheets",
    [
        changed("games", "2026-04-02", "2026-04-01"),
        at_sites("Mill Park", " mill park"),
        at_sites("Mill Park", ""),
        {**at_sites("Mill Park", "North Field"), "slate": slate("10:00", "14:30")},
        {**at_sites("Mill Park", "Mill Park"), "slate": slate("9:00", "10:00")},
    ],
    ids=["no site and no start", "a double header", "one site unknown", "two sites, starts apart", "an hour apart"],
)
def test_two_games_of_a_day_that_may_both_have_been_worked_are_no_fault(tmp_path: Path, sheets: Plants) -> None:
    assert found(tmp_path, sheets) == ([], [])


def test_nothing_is_found_in_the_sound_season(tmp_path: Path) -> None:
    assert found(tmp_path, SHEETS) == ([], [])


FINDINGS: list[tuple[str, Plants, list[str]]] = [
    ("an evaluator of the own game", changed("evaluators", "E2,Evo,", "E2,Evo,U2"),
     ["own_game/amendments/G4/E2", "own_game/plate_calls/G3/E2", "own_game/plate_calls/G4/E2"]),
    ("an amendment to the own game", changed("evaluators", "E1,Eva,", "E1,Eva,U2") | {
        "amendments": [SHEETS["amendments"][0], "C4,E1,2026-04-06,balls,2,video"]}, ["own_game/amendments/G4/E1"]),
    ("a game outside the season", changed("games", "2026-04-03", "2026-07-01"), ["outside_season/G3"]),
    ("a level that the policy lacks", changed("games", "G4,2026-04-04,varsity", "G4,2026-04-04,college"),
     ["unknown_level/games/college"]),
    ("two games at two sites on one day", at_sites("Mill Park", "North Field"), ["two_games_at_once/U1/2026-04-01"]),
    ("two starts that lie too near", {**at_sites("Mill Park", "Mill Park"), "slate": slate("10:00", "10:59")},
     ["two_games_at_once/U1/2026-04-01"]),
    ("a ruling in another's game at another site on the day of the own", {
        "games": at_sites("Mill Park", "North Field", "U2")["games"],
        **{name: lines for name, lines in SHEETS.items() if name not in ("games", "plate_calls")},
        "plate_calls": [*SHEETS["plate_calls"], call("C5", "G2", umpire_id="U1"), call("C6", "G2")]},
     ["two_games_at_once/U1/2026-04-01"]),
    ("an umpire seen once", {
        **added("umpires", "U9,Nine,varsity"),
        "games": [*SHEETS["games"], "G9,2026-05-01,varsity,nfhs,U9"],
        "plate_calls": [*SHEETS["plate_calls"], call("C9", "G9")]}, ["seen_once/U9"]),
    ("a sheet with semicolons", {**SHEETS, "umpires": [line.replace(",", ";") for line in SHEETS["umpires"]]},
     ["sheet_form/umpires.csv/fields are parted by semicolons"]),
    ("two evaluators who differ on one pitch",
     added("plate_calls", call("C5", "G1", "E2", pitch_no=7, location="in_zone", grade="", ruled_pitch="")),
     ["facts_differ/C1/C5"]),
    ("more calls than a game has pitches",
     added("plate_calls", *(call(f"M{n}", "G1", grade="") for n in range(450))), ["many_calls/G1/E1"]),
    ("a sheet copied from another game's", added("plate_calls", *measured("G1", 20), *measured("G2", 20)),
     ["copied_sheets/G1/E1/G2/E1"]),
    ("a hundred calls all graded right", {
        **added("evaluators", "E3,Eve,"),
        "plate_calls": [*SHEETS["plate_calls"], *(call(f"M{n}", "G1", "E3") for n in range(100))]},
     ["straight_lining/E3"]),
    ("twenty scores all the same", added("ratings", *(f"S{n},G3,E2,item {n},3,5" for n in range(20))),
     ["straight_scores/E2"]),
    ("one score for all criteria in each of twelve games", {
        **SHEETS, "games": many_games(12), "ratings": [SHEETS["ratings"][0], *(
            f"S{n}-{what},M{n},E2,{what},{1 + n % 4},5" for n in range(12) for what in ("timing", "signals", "poise"))]},
     ["straight_criteria/E2"]),
    ("twenty checks all answered alike", {**SHEETS, "positioning": [CHECK_HEAD, *checks(20)]}, ["straight_checks/E2"]),
    ("an answer that is no option", added("quiz_responses", "Q,U2,I1,c"), ["answer_without_option/Q/U2/I1"]),
    ("a call written down before its game", changed("plate_calls", "2026-04-01", "2026-03-31"),
     ["recorded_before_game/G1/E1/2026-03-31"]),
    ("an amendment before the game", changed("amendments", "2026-04-06", "2026-04-03"),
     ["amended_before_game/C4/balls/2026-04-03"]),
    ("an amendment that changes nothing", changed("amendments", "balls,2", "balls,1"),
     ["amendment_without_change/C4/balls/2026-04-06"]),
    ("an amendment that takes back nothing new", added("amendments", "C4,E2,2026-04-07,balls,2,video again"),
     ["amendment_without_change/C4/balls/2026-04-07"]),
    ("an amendment that turns the zone upside down", changed("amendments", "balls,2", "zone_high_in,17.5"),
     ["amended_row/zone_has_height/C4"]),
    ("a foul ball that the catcher held, which is no foul",
     added("plate_calls", call("C5", "G1", swing="full", contact="foul", pitch_caught="yes", ruled_pitch="", grade="")),
     ["facts_contradict/C5"]),
    ("a grade that contradicts the rules", added("plate_calls", call("C5", "G1", location="in_zone")),
     ["grade_contradicts_rules/C5"]),
    ("one limit of the zone only", added("plate_calls", call("C5", "G1", zone_low_in=18)),
     ["declared/plate_calls.zone_both_limits/plate_calls.csv/6"]),
]  # fmt: skip

ASIDE: list[tuple[str, Plants, list[tuple[str, int, str | None]]]] = [
    ("a call of an unknown game", added("plate_calls", call("C5", "G9")), [("plate_calls.csv", 6, "game_id")]),
    ("a call by nobody known", added("plate_calls", call("C5", "G1", "E9")), [("plate_calls.csv", 6, "evaluator_id")]),
    ("a call of an unknown umpire", added("plate_calls", call("C5", "G1", umpire_id="U9")),
     [("plate_calls.csv", 6, "umpire_id")]),
    ("a game of an unknown umpire", added("games", "G5,2026-04-05,varsity,nfhs,U9"),
     [("games.csv", 6, "plate_umpire_id")]),
    ("an evaluator who is an unknown umpire", added("evaluators", "E3,Eve,U9"), [("evaluators.csv", 4, "umpire_id")]),
    ("a rating of an unknown game", added("ratings", "R3,G9,E1,poise,4,5"), [("ratings.csv", 4, "game_id")]),
    ("an answer to an unknown item", added("quiz_responses", "Q,U2,I9,a"), [("quiz_responses.csv", 3, "item_id")]),
    ("an answer by nobody known", added("quiz_responses", "Q,U9,I1,a"), [("quiz_responses.csv", 3, "umpire_id")]),
    ("an amendment of an unknown call", added("amendments", "C9,E1,2026-04-06,balls,2,video"),
     [("amendments.csv", 3, "call_id")]),
    ("an amendment by nobody known", added("amendments", "C1,E9,2026-04-06,balls,2,video"),
     [("amendments.csv", 3, "evaluator_id")]),
    ("an amendment of an unknown column", added("amendments", "C1,E1,2026-04-06,wind,2,video"),
     [("amendments.csv", 3, "column")]),
    ("an amendment of a column that is no fact", added("amendments", "C1,E1,2026-04-06,game_id,G2,video"),
     [("amendments.csv", 3, "column")]),
    ("an amendment to a word outside the list", added("amendments", "C1,E1,2026-04-06,swing,hard,video"),
     [("amendments.csv", 3, "column, value")]),
    ("an amendment to a number outside the bounds", added("amendments", "C1,E1,2026-04-06,strikes,3,video"),
     [("amendments.csv", 3, "column, value")]),
    ("an amendment to a word where a number is due", added("amendments", "C1,E1,2026-04-06,ball_x_in,low,video"),
     [("amendments.csv", 3, "column, value")]),
    ("two amendments of one cell on one day", added("amendments", "C4,E2,2026-04-06,balls,3,again"),
     [("amendments.csv", 2, "call_id, column, date"), ("amendments.csv", 3, "call_id, column, date")]),
    ("a word outside the list", added("plate_calls", call("C5", "G1", swing="hard")), [("plate_calls.csv", 6, "swing")]),
    ("a number outside the bounds", added("plate_calls", call("C5", "G1", strikes=3)),
     [("plate_calls.csv", 6, "strikes")]),
    ("a score above its scale", added("ratings", "R3,G1,E1,poise,6,5"), [("ratings.csv", 4, "scale_max, score")]),
    ("an exact copy", added("ratings", "R2,G2,E1,poise,3,5"), [("ratings.csv", 4, None)]),
    ("one id with two rows", added("quiz_items", "I2,nfhs,pitch,What?,this,that,a", "I2,nfhs,pitch,Who?,this,that,a"),
     [("quiz_items.csv", 3, "item_id"), ("quiz_items.csv", 4, "item_id")]),
    ("a blank that must be filled", added("umpires", "U3,,varsity"), [("umpires.csv", 4, "name")]),
]  # fmt: skip


@pytest.mark.parametrize(("sheets", "ids"), [pytest.param(*rest, id=name) for name, *rest in FINDINGS])
def test_a_planted_fault_is_found_and_nothing_else(tmp_path: Path, sheets: Plants, ids: list[str]) -> None:
    assert found(tmp_path, sheets) == (ids, [])


@pytest.mark.parametrize(("sheets", "rows"), [pytest.param(*rest, id=name) for name, *rest in ASIDE])
def test_a_planted_row_is_set_aside_and_no_other(
    tmp_path: Path, sheets: Plants, rows: list[tuple[str, int, str | None]]
) -> None:
    assert found(tmp_path, sheets) == ([], rows)


def test_every_check_across_sheets_has_a_planted_fault() -> None:
    assert {found_id.split("/")[0] for _, _, ids in FINDINGS for found_id in ids} - {"declared"} == set(ACROSS)


@pytest.mark.parametrize(
    ("column", "value", "remedy"),
    [
        ("swing", "hard", "write one of none, full, bunt, checked"),
        ("miss_side", "left", "write one of inside, outside, high, low, joined by +"),
        ("strikes", "3", "write a whole number, 0 to 2"),
    ],
)
def test_an_amendment_outside_the_declaration_is_met_with_what_may_stand_there(
    tmp_path: Path, column: str, value: str, remedy: str
) -> None:
    sheets = added("amendments", f"C1,E1,2026-04-06,{column},{value},video")
    for store in run(tmp_path, sheets):
        found_remedy = store.value("SELECT remedy FROM meta.reject WHERE path = 'amendments.csv'")
        assert found_remedy == remedy
