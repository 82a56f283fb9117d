"""`platework score --what-if`: tried on a small season, from the stored draws or graded anew in a copy."""

from __future__ import annotations

import csv
import hashlib
import io
import json

import pytest
from typer.testing import CliRunner

from pipeline.cli import app
from pipeline.config import read_config
from pipeline.errors import ConfigError, InputError
from pipeline.run import run_stages
from pipeline.what_if import what_if

POLICY = """
[scoring]
draws = 200
seed = {seed}
[measurement]
video_sd_in = {video}
[consequence_weights]
count = {count}
[[levels]]
id = "low"
title = "Low"
[levels.standards]
pitches = {cut}
[levels.evidence]
games = 1
calls = 10
evaluators = 1
"""
USUAL = {"seed": 1, "video": 1.5, "count": 1.0, "cut": 0.2}


def policy(**changed):
    return POLICY.format(**{**USUAL, **changed})


def calls():
    """Two umpires, 20 taken pitches each, on video: U1 has 19 right, U2 11; one in four is 5 in off the plate."""
    rows = ["call_id,game_id,evaluator_id,balls,strikes,location,location_source,ball_x_in,ball_z_in,zone_low_in,zone_high_in,ruled_pitch"]
    for umpire, wrong in (("1", 1), ("2", 9)):
        for number in range(20):
            x, right = (14.9, "ball") if number % 4 == 0 else (0, "strike")
            other = {"ball": "strike", "strike": "ball"}[right]
            ruled = other if number < wrong else right
            rows.append(f"C{umpire}-{number},G{umpire},E1,0,0,,video,{x},30,18,42,{ruled}")
    return "\n".join(rows) + "\n"


@pytest.fixture(scope="module")
def season(tmp_path_factory):
    """A season that was loaded, checked and scored."""
    folder = tmp_path_factory.mktemp("what_if")
    sheets = folder / "season"
    sheets.mkdir()
    files = {
        "umpires.csv": "umpire_id,name,level\nU1,=A Person,low\nU2,\uff1dB Person,low\n",
        "evaluators.csv": "evaluator_id,name\nE1,C Person\n",
        "games.csv": "game_id,date,level,rule_code,plate_umpire_id\nG1,2026-04-01,low,nfhs,U1\nG2,2026-04-02,low,nfhs,U2\n",
        "plate_calls.csv": calls(),
        "policy.toml": policy(),
    }
    for name, text in files.items():
        (sheets / name).write_text(text, encoding="utf-8", newline="")
    config = read_config(sheets, folder / "results")
    run_stages(config, ("load", "check", "score"))
    return config


def second(tmp_path, **changed):
    path = tmp_path / "second.toml"
    path.write_text(policy(**changed), encoding="utf-8")
    return path


def digest(config):
    return {path.name: hashlib.sha256(path.read_bytes()).hexdigest() for path in config.out.iterdir() if path.is_file()}


def test_a_higher_cut_tells_who_moves_and_why_and_writes_nothing(season, tmp_path):
    before = digest(season)
    told = json.loads(what_if(season, second(tmp_path, cut=0.97), "json"))
    assert digest(season) == before
    assert told["graded_anew"] is None
    first = told["umpires"][0]
    assert (first["verdict_before"], first["moves"]) == ("ready", True)
    assert {one["umpire_id"] for one in told["umpires"]} == {"U1", "U2"}
    assert first["because"] == ["Balls and strikes: cut 20.0 % to 97.0 %"]
    assert sum(told["verdicts_before"].values()) == sum(told["verdicts_after"].values()) == 2


def test_other_measurement_errors_grade_anew_in_a_copy_and_write_nothing(season, tmp_path):
    before = digest(season)
    # 14.9 in lies 4.9 in off the strike's edge: clear with 1.5 in, an edge pitch with 8 in.
    told = json.loads(what_if(season, second(tmp_path, video=8), "json"))
    assert digest(season) == before
    assert told["graded_anew"] == "video_sd_in 1.5 to 8"
    assert any(one["probability_before"] != one["probability_after"] for one in told["umpires"])


def test_settings_that_move_no_reading_are_said_to_move_none(season, tmp_path):
    text = what_if(season, second(tmp_path, count=2.0))
    assert "None of 2 umpires would read otherwise." in text
    assert "the consequence weights choose topics for clinics, and move no reading" in text


def test_the_table_has_a_line_for_each_umpire_and_names_are_no_formulas(season, tmp_path):
    rows = list(csv.DictReader(io.StringIO(what_if(season, second(tmp_path, cut=0.97), "csv"))))
    names = {row["umpire_id"]: row["name"] for row in rows}
    assert names == {"U1": "'=A Person", "U2": "'\uff1dB Person"}
    assert rows[0]["moves"] == "true"


def test_an_unknown_setting_of_the_second_policy_is_refused_with_its_line(season, tmp_path):
    path = tmp_path / "second.toml"
    path.write_text(policy().replace("pitches", "pitchs"), encoding="utf-8")
    with pytest.raises(ConfigError, match="unknown setting 'pitchs'") as found:
        what_if(season, path)
    assert "did you mean 'pitches'" in str(found.value)
    path.write_text(policy() + '\n[rule_options]\nfirst_delay = "never"\n', encoding="utf-8")
    with pytest.raises(ConfigError, match="first_delay"):
        what_if(season, path)


def test_a_season_that_was_not_loaded_says_what_to_run_first(season, tmp_path):
    with pytest.raises(InputError, match="has not been through `check`"):
        what_if(read_config(season.season, tmp_path / "elsewhere"), second(tmp_path))


def test_the_command_prints_it_and_a_changed_season_policy_is_scored_first(season, tmp_path):
    (season.season / "policy.toml").write_text(policy(seed=2), encoding="utf-8")
    try:
        arguments = ["score", str(season.season), "--out", str(season.out), "--quiet"]
        done = CliRunner().invoke(app, [*arguments, "--what-if", str(second(tmp_path, seed=2, cut=0.97))])
        assert done.exit_code == 0
        assert "1 of 2 umpires would read otherwise" in done.output or "2 of 2 umpires" in done.output
        assert "because of: Balls and strikes: cut 20.0 % to 97.0 %" in done.output
    finally:
        (season.season / "policy.toml").write_text(policy(), encoding="utf-8")
