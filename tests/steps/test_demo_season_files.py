"""The made-up season is what its generator writes, says what it means, and holds what was planted."""

import csv
import datetime as dt
import math
from itertools import product
from pathlib import Path

import pytest

import schemas
from demo_data import make_demo_data
from demo_data.book import CODES, Situation, differs
from demo_data.entry_days import DUE, NO_DAY, ONCE_A_MONTH, WEEKS_LATE
from demo_data.game_calls import SCENARIOS
from demo_data.plan import draw_plan
from pipeline.checks.check import check_season
from pipeline.config import read_config
from pipeline.ingest.load import load_season
from pipeline.store import Store

DEMO = Path(make_demo_data.__file__).parent
EVERY_SITUATION = [
    Situation(outs, balls, strikes, first, second, third)
    for outs, balls, strikes, first, second, third in product(range(3), range(4), range(3), *[(False, True)] * 3)
]


def read(path):
    with path.open(encoding="utf-8", newline="") as stream:
        return list(csv.DictReader(stream))


@pytest.fixture(scope="module")
def checked(tmp_path_factory):
    config = read_config(DEMO / "season", tmp_path_factory.mktemp("demo"))
    with Store(config.store_path) as store:
        load_season(config, store)
        check_season(config, store)
        yield store


def test_the_generator_writes_the_committed_bytes_again(tmp_path):
    make_demo_data.write_season(tmp_path)
    written = {path.relative_to(tmp_path): path for path in tmp_path.rglob("*") if path.is_file()}
    committed = {
        path.relative_to(DEMO): path
        for folder in ("season", "truth")
        for path in (DEMO / folder).rglob("*")
        if path.is_file()
    }
    assert sorted(written) == sorted(committed)
    assert [str(name) for name in sorted(written) if written[name].read_bytes() != committed[name].read_bytes()] == []


def test_a_scale_of_two_has_twice_the_people_and_games_and_links_its_halves():
    plan = draw_plan(7, 2)
    assert (len(plan.umpires), len(plan.evaluators), len(plan.games)) == (96, 20, 320)
    # Of the second half's 160 games one in ten is seen by somebody of the first half.
    first_half = {evaluator.evaluator_id for evaluator in plan.evaluators[:10]}
    assert sum(game.evaluator.evaluator_id in first_half for game in plan.games[160:]) == 16


def test_every_scenario_uses_facts_that_the_sheet_allows():
    table = schemas.table("plate_calls")
    for scenario in SCENARIOS:
        for fact, values in [*((f, (v,)) for f, v in scenario.facts.items()), *scenario.choices.items()]:
            assert set(values) <= set(table.field(fact).enum), (scenario.name, fact)


def test_every_settled_scenario_has_a_mistake_to_make_in_every_code_and_situation():
    for scenario in SCENARIOS:
        for code, now in product(scenario.right, filter(scenario.fits, EVERY_SITUATION)):
            right = scenario.ruling(code, now)
            if right.is_open:
                continue
            mistakes = [
                event
                for event in scenario.wrongs
                if any(differs(getattr(event(now), part), getattr(right, part)) for part in scenario.noted)
            ]
            assert mistakes, (scenario.name, code, now)


def test_no_scenario_settles_what_was_left_out_or_leaves_open_what_was_recorded():
    for scenario in SCENARIOS:
        for code, now in product(scenario.right, filter(scenario.fits, EVERY_SITUATION)):
            assert scenario.ruling(code, now).is_open == isinstance(scenario.right[code], tuple), scenario.name


def test_the_scenarios_show_that_the_codes_differ():
    """Five of the differences between the codes, by name (NFHS, OBR and NCAA of one play)."""
    now = Situation(outs=0, balls=1, strikes=1)
    by_name = {scenario.name: scenario for scenario in SCENARIOS}

    def batter_and_pitch(name):
        rulings = {code: by_name[name].ruling(code, now) for code in CODES if code in by_name[name].right}
        return {code: (ruling.batter, ruling.pitch) for code, ruling in rulings.items()}

    assert batter_and_pitch("plate_and_line_fair") == {
        "nfhs": ("out", ""), "obr": ("batter_runner", "in_play"), "ncaa": ("out", ""),
    }  # fmt: skip
    assert batter_and_pitch("permitted") == {
        "nfhs": ("at_bat", "ball"), "obr": ("at_bat", "ball"), "ncaa": ("at_bat", "strike"),
    }  # fmt: skip
    assert batter_and_pitch("foul_tip_to_body") == {
        "nfhs": ("at_bat", "foul"), "obr": ("at_bat", "strike"), "ncaa": ("at_bat", "strike"),
    }  # fmt: skip
    assert batter_and_pitch("loose_clothing") == {"nfhs": ("at_bat", "ball"), "obr": ("first_base", "")}
    assert batter_and_pitch("steps_out_pitch_delivered") == {
        "nfhs": ("out", "strike"), "obr": ("at_bat", "ball"), "ncaa": ("at_bat", "ball"),
    }  # fmt: skip


def test_no_measured_pitch_depends_on_which_legal_ball_was_used_or_on_the_shape_of_the_corner(checked):
    # Circumference 9 to 9 1/4 in: radius 1.432 to 1.472. The truth may not turn on the choice between them.
    rows = checked.rows(
        "SELECT ball_x_in, ball_z_in, zone_low_in, zone_high_in FROM checked.plate_calls "
        "WHERE ball_x_in IS NOT NULL ORDER BY row_id"
    )
    assert len(rows) > 10_000
    for x, z, low, high in rows:
        beside = max(abs(x) - 8.5, 0)
        above = max(low - z, z - high, 0)
        answers = {
            near
            for radius in (9 / (2 * math.pi), 9.25 / (2 * math.pi))
            for near in (max(beside, above) <= radius, math.hypot(beside, above) <= radius)
        }
        assert len(answers) == 1, (x, z, low, high)


def test_the_sheets_are_as_large_as_the_readme_says(checked):
    counted = {
        name: checked.value(f"SELECT count(*) FROM staged.{name}")
        for name in ("umpires", "evaluators", "games", "positioning", "quiz_items", "quiz_responses")
    }
    assert counted == {
        "umpires": 48, "evaluators": 10, "games": 160, "positioning": 960, "quiz_items": 80,
        "quiz_responses": len(read(DEMO / "season" / "quiz_responses.csv")),
    }  # fmt: skip
    truth = read(DEMO / "truth" / "right_rulings.csv")
    assert 13_500 <= len(truth) <= 14_500
    special = [row for row in truth if row["scenario"] != "taken_pitch"]
    assert 600 <= len(special) <= 900


def test_umpires_agree_with_the_measured_pitch_about_nine_times_in_ten():
    taken = [row["verdict"] for row in read(DEMO / "truth" / "right_rulings.csv") if row["scenario"] == "taken_pitch"]
    decided = [verdict for verdict in taken if verdict != "open"]
    # Common practice, no source: 90 to 93 % on taken pitches.
    assert 0.90 <= decided.count("yes") / len(decided) <= 0.93


def test_a_season_is_played_within_its_days_and_nobody_has_two_plates_on_one_day():
    games = read(DEMO / "season" / "games.csv")
    played = [row for row in games if row["date"] != "2026-13-05"]
    days = [dt.date.fromisoformat(row["date"]) for row in played]
    config = read_config(DEMO / "season")
    assert config.policy.first_day <= min(days)
    assert max(days) <= config.policy.last_day
    assert len({(row["plate_umpire_id"], row["date"]) for row in played}) == len(played)


def planted(*kinds):
    rows = [row for row in read(DEMO / "truth" / "planted.csv") if row["kind"] in kinds]
    assert rows, kinds
    return rows


@pytest.mark.parametrize(
    "row",
    planted(
        "exact_duplicate", "contradictory_row", "impossible_count", "unknown_value", "unknown_game",
        "zone_upside_down", "broken_row", "malformed_date", "unknown_umpire",
    ),
    ids=lambda row: f"{row['planted_id']} {row['kind']}",
)  # fmt: skip
def test_a_planted_row_is_set_aside_at_its_line(checked, row):
    reasons = checked.rows(
        "SELECT reason FROM meta.reject WHERE path = ? AND line_no = ?", [row["file"], int(row["line_no"])]
    )
    assert len(reasons) == 1


def test_a_decision_for_a_level_that_no_policy_has_is_pointed_out(checked):
    (row,) = planted("unknown_level")
    where = checked.rows(
        "SELECT path, line_no FROM meta.finding WHERE kind = 'unknown_level' AND table_name = 'decisions'"
    )
    assert where == [(row["file"], int(row["line_no"]))]


def test_nothing_is_set_aside_but_what_was_planted_and_the_rows_that_a_planted_one_contradicts(checked):
    aside = set(checked.rows("SELECT path, line_no FROM meta.reject"))
    meant = {
        (row["file"], int(row["line_no"]))
        for row in read(DEMO / "truth" / "planted.csv")
        if row["found_by"] == "meta.reject"
    }
    contradicted = {row["about"] for row in planted("contradictory_row")}
    originals = set()
    for path in sorted((DEMO / "season").glob("plate_calls_E02.csv")):
        for line_no, row in enumerate(read(path), 2):
            if row["call_id"] in contradicted and (path.name, line_no) not in meant:
                originals.add((path.name, line_no))
    assert len(originals) == len(contradicted)
    assert aside == meant | originals


def test_the_sheet_of_another_form_is_read_with_its_accents(checked):
    assert checked.rows("SELECT encoding, delimiter FROM meta.file WHERE path = 'plate_calls_E07.csv'") == [
        ("cp1252", ";")
    ]
    notes = checked.rows("SELECT note FROM checked.plate_calls WHERE evaluator_id = 'E07' AND note LIKE '%déjà%'")
    assert [note for (note,) in notes] == ["batter’s foot hid the line – déjà vu"] * 2


def test_the_workbook_gives_as_many_calls_as_the_truth_has(checked):
    games = dict(
        checked.rows("SELECT game_id, count(*) FROM checked.plate_calls WHERE evaluator_id = 'E08' GROUP BY 1")
    )
    truth = read(DEMO / "truth" / "right_rulings.csv")
    assert sum(games.values()) == sum(row["call_id"].split("-")[0] in games for row in truth)


def test_an_umpire_seen_once_is_found(checked):
    (row,) = planted("seen_once")
    found = checked.rows("SELECT value FROM meta.finding WHERE kind = 'seen_once'")
    assert found == [(row["about"],)]


def test_a_slip_in_the_day_of_entry_is_found_at_its_sheet(checked):
    (row,) = planted("written_before_game")
    found = checked.rows("SELECT path, line_no, value FROM meta.finding WHERE kind = 'recorded_before_game'")
    # The game is of 2026; the day of entry was written with the year 2025.
    assert [(path, line_no) for path, line_no, _ in found] == [(row["file"], int(row["line_no"]))]
    assert found[0][2].startswith("2025-")


def test_days_of_entry_lie_between_the_game_and_the_day_on_which_sheets_were_due(checked):
    (slip,) = planted("written_before_game")
    days = checked.rows(
        "SELECT DISTINCT calls.evaluator_id, calls.recorded_on, game.date FROM checked.plate_calls AS calls "
        "JOIN checked.games AS game USING (game_id) WHERE calls.game_id <> ?",
        [slip["about"]],
    )
    assert {evaluator for evaluator, recorded, _ in days if recorded is None} == {NO_DAY}
    dated = [(evaluator, recorded, played) for evaluator, recorded, played in days if recorded is not None]
    assert len({evaluator for evaluator, *_ in dated}) == 9
    assert all(played <= recorded <= DUE for _, recorded, played in dated)
    late = {row["about"] for row in planted("late_sheets")}
    assert late == {WEEKS_LATE, ONCE_A_MONTH}
    # Nobody else takes more than the week after which a call counts as late.
    assert max((recorded - played).days for evaluator, recorded, played in dated if evaluator not in late) <= 7


def test_no_two_people_share_a_name():
    plan = draw_plan(make_demo_data.SEED, 1)
    people = [person.name for person in (*plan.umpires, *plan.evaluators)]
    assert len(set(people)) == 58
