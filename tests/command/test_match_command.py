"""`platework match`: a headings file is proposed, each line with how sure it is; the load takes it as it is."""

import subprocess
import sys
import tomllib
from pathlib import Path

import pytest
import xlsxwriter

import schemas
from pipeline.config import Policy, RunConfig
from pipeline.errors import InputError
from pipeline.ingest.load import load_season
from pipeline.ingest.mapping import read_heading_map
from pipeline.ingest.propose import propose
from pipeline.match import headings_text, match_file, write_proposal
from pipeline.store import Store

CALLS = schemas.table("plate_calls")
NORTH = """Call No.;Game;Evaluator;Outs before;Pitch speed (km/h);Ball Z (cm);Swing;Ruled pitch;Weather
C1;G1;E01;1;144,8;76,2;Full;strik;dry
C2;G1;E01;2;130,2;70,1;none;Ball;wet
C3;G1;E01;0;120,2;60,1;bunt;K;wet
"""


@pytest.fixture
def north(tmp_path: Path) -> Path:
    path = tmp_path / "plate_calls_north.csv"
    path.write_text(NORTH)
    return path


def guesses(path: Path) -> dict:
    return {guess.heading: guess for guess in match_file(path)[0].guesses}


def test_likely_headings_are_proposed_and_the_others_are_questions(north):
    found = guesses(north)
    assert {name: guess.column for name, guess in found.items() if guess.is_sure} == {
        "Call No.": "call_id",
        "Game": "game_id",
        "Evaluator": "evaluator_id",
        "Outs before": "outs",
        "Pitch speed (km/h)": "pitch_mph",
        "Ball Z (cm)": "ball_z_in",
        "Swing": "swing",
        "Ruled pitch": "ruled_pitch",
    }
    assert found["Weather"].column is None
    assert found["Pitch speed (km/h)"].unit == "km/h"
    assert found["Ball Z (cm)"].unit == "cm"


def test_words_that_come_near_are_proposed_and_the_others_are_questions(north):
    words = {word.word: word for word in guesses(north)["Ruled pitch"].words}
    # `strik` and strike: 2 * 5 / (5 + 6) letters in common, 91 of 100. `Ball` is understood as it is.
    assert (words["strik"].value, words["strik"].score) == ("strike", 91)
    assert words["K"].value is None
    assert "Ball" not in words


def test_a_number_that_is_outside_the_limits_is_a_question_with_the_unit_that_would_fit(tmp_path):
    path = tmp_path / "plate_calls.csv"
    # Fastest allowed are 110 mph; these are plain speeds in km/h.
    path.write_text("call_id,game_id,evaluator_id,MPH\nC1,G1,E01,144\nC2,G1,E01,139\n")
    guess = guesses(path)["MPH"]
    assert not guess.is_sure
    assert "in km/h" in guess.doubt
    assert '# ? "MPH" = "pitch_mph"' in headings_text(path, match_file(path))


def test_cells_decide_between_headings_that_say_little():
    header = ["call_id", "Decision on the pitch", "Side of the batter"]
    found = propose(header, [["C1", "ball", "left"], ["C2", "strike", "right"]], CALLS)
    by_heading = {guess.heading: guess for guess in found}
    # The same heading over cells that do not fit scores lower.
    other = propose(header, [["C1", "dry", "42"], ["C2", "wet", "43"]], CALLS)
    for heading in header[1:]:
        worse = next(guess for guess in other if guess.heading == heading)
        assert by_heading[heading].score > worse.score or worse.column != by_heading[heading].column


def test_no_column_is_given_to_two_headings(north):
    columns = [guess.column for guess in match_file(north)[0].guesses if guess.column]
    assert len(columns) == len(set(columns))


def test_the_proposal_is_a_headings_file_that_says_only_what_is_sure(north):
    text = headings_text(north, match_file(north))
    said = tomllib.loads(text)["plate_calls"]
    assert said["headings"] == {
        "Call No.": "call_id",
        "Outs before": "outs",
        "Pitch speed (km/h)": {"column": "pitch_mph", "unit": "km/h"},
        "Ball Z (cm)": {"column": "ball_z_in", "unit": "cm"},
    } | {key: said["headings"][key] for key in ("Ruled pitch",) if key in said["headings"]}
    assert said["values"]["ruled_pitch"] == {"strik": "strike"}
    assert '# ? "Weather" = ""  # no column comes near' in text
    assert '# ? "K" = ""  # none comes near; stands 1 times' in text
    assert all(" of 100" in line for line in text.splitlines() if line.startswith('"'))


def test_the_proposal_with_its_questions_answered_loads_the_sheet(north, tmp_path):
    season = tmp_path / "season"
    season.mkdir()
    (season / "umpires.csv").write_text("umpire_id,name,level\nU01,One,v\n")
    (season / "games.csv").write_text("game_id,date,level,rule_code,plate_umpire_id\nG1,2026-04-18,v,nfhs,U01\n")
    (season / north.name).write_text(NORTH)
    text = headings_text(north, match_file(north))
    answered = text.replace('# ? "Weather" = ""', '"Weather" = ""').replace('# ? "K" = ""', '"K" = "strike"')
    (season / "headings.toml").write_text(answered)
    with Store() as store:
        load_season(RunConfig(season, tmp_path / "out", Policy("T", "", None, None, ())), store)
        rows = store.rows(
            "SELECT call_id, outs, round(pitch_mph, 1), ball_z_in, swing, ruled_pitch FROM staged.plate_calls ORDER BY 1"
        )
    # 144.8 / 1.609344 = 89.97 mph, 130.2 are 80.90, 120.2 are 74.69; 76.2 / 2.54 = 30 in.
    assert rows == [
        ("C1", 1, 90.0, 30.0, "full", "strike"),
        ("C2", 2, 80.9, 27.598425, "none", "ball"),
        ("C3", 0, 74.7, 23.661417, "bunt", "strike"),
    ]


def test_a_sheet_without_a_telling_name_is_given_the_table_whose_columns_come_nearest(tmp_path):
    path = tmp_path / "april.csv"
    path.write_text("Game number,Date,Level,Rule code,Plate umpire\nG1,2026-04-18,v,nfhs,U01\n")
    matched = match_file(path)
    assert matched[0].table.name == "games"
    assert tomllib.loads(headings_text(path, matched))["sheets"] == {"april.csv": "games"}


def test_each_sheet_of_a_workbook_is_matched(tmp_path):
    path = tmp_path / "north.xlsx"
    with xlsxwriter.Workbook(path) as book:
        for name, rows in {
            "Blad1": [["Umpire", "Full name", "Level"], ["U01", "One", "varsity"]],
            "plate_calls": [line.split(";") for line in NORTH.splitlines()],
            "leer": [],
        }.items():
            sheet = book.add_worksheet(name)
            for number, row in enumerate(rows):
                sheet.write_row(number, 0, row)
    matched = match_file(path)
    assert [(item.sheet, item.table.name) for item in matched] == [("Blad1", "umpires"), ("plate_calls", "plate_calls")]
    assert '"north.xlsx [Blad1]" = "umpires"  # ' in headings_text(path, matched)


def test_a_table_that_comes_no_nearer_than_another_is_a_question(tmp_path):
    path = tmp_path / "list.csv"
    # An evaluator, a name and a level: a sheet of evaluators. Without the first, nobody can tell.
    path.write_text("name,level\nOne,varsity\n")
    matched = match_file(path)
    assert not matched[0].is_sure
    assert '# ? "list.csv" = ' in headings_text(path, matched)


@pytest.mark.parametrize("heading", ['say "x"', "two\nlines", "tab\there", "# rem", "a\\b", "del\x7f", "é“ü”"])
def test_headings_and_words_of_any_kind_stay_data_in_the_proposal(tmp_path, heading):
    path = tmp_path / "plate_calls.csv"
    cell = '"' + heading.replace('"', '""') + '"'
    path.write_text(f"call_id,game_id,evaluator_id,{cell},swing\nC1,G1,E01,x,{cell}\n")
    out = tmp_path / "headings.toml"
    write_proposal(path, match_file(path, "plate_calls"), out)
    _, faults = read_heading_map(out, "headings.toml", {"plate_calls": CALLS})
    assert faults == []
    # With the marks of the questions taken away, each line still is one that can be read.
    tomllib.loads(out.read_text().replace("# ? ", ""))


def test_a_headings_file_is_never_written_over(north, tmp_path):
    out = tmp_path / "headings.toml"
    out.write_text("mine")
    with pytest.raises(InputError, match="is not written over"):
        write_proposal(north, match_file(north), out)
    assert out.read_text() == "mine"


def test_the_command_writes_the_file_and_says_what_is_left(north, tmp_path):
    out = tmp_path / "headings.toml"
    done = subprocess.run(
        [sys.executable, "-m", "pipeline", "match", str(north), "--sheet", "plate_calls", "--out", str(out)],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 1
    assert done.stdout == ""
    assert "8 of 9 headings sure, 3 rows looked at" in done.stderr
    assert "Questions left to you: 2" in done.stderr
    assert tomllib.loads(out.read_text())["plate_calls"]["headings"]["Call No."] == "call_id"


@pytest.mark.parametrize(
    ("name", "content", "sheet", "words"),
    [
        ("none.csv", None, None, "there is no such file"),
        ("empty.csv", "\n \n", None, "it has not even headings"),
        ("a.csv", "a,b\n", "calls", "there is no sheet 'calls'"),
    ],
)
def test_what_cannot_be_matched_is_refused(tmp_path, name, content, sheet, words):
    if content is not None:
        (tmp_path / name).write_text(content)
    with pytest.raises(InputError, match=words):
        match_file(tmp_path / name, sheet)
