"""The history of a call tells its whole life: source row, versions, mends, amendments, findings, ruling, grade."""

from __future__ import annotations

import json

import pytest
from typer.testing import CliRunner

from pipeline.cli import app
from pipeline.config import read_config
from pipeline.errors import InputError
from pipeline.history import earlier_sheet, history
from pipeline.ingest.load import load_season
from pipeline.run import run_stages
from pipeline.store import Store
from schemas.remarks import fingerprint

SHEETS = {
    "umpires.csv": "umpire_id,name,level\nU1,A Person,low\n",
    "evaluators.csv": "evaluator_id,name\nE1,B Person\n",
    "games.csv": "game_id,date,level,rule_code,plate_umpire_id\nG1,2026-04-01,low,nfhs,U1\n",
    # C1 is a taken pitch over the middle that was called a ball, C2 cannot be read, C3 is a ball by eye.
    "plate_calls.csv": (
        "call_id,game_id,evaluator_id,balls,strikes,location,ruled_pitch,grade\n"
        "C1,G1,E1,0,0,in_zone,ball,right\nC2,G1,E1,0,nought,out_of_zone,ball,\nC3,G1,E1,1,1,out_of_zone,ball,\n"
    ),
    "amendments.csv": (
        "call_id,evaluator_id,date,column,value,reason\n"
        "C1,E1,2026-04-03,strikes,1,counted again\nC1,E1,2026-04-05,strikes,2,video reviewed\n"
        "C1,E9,2026-04-05,balls,1,who is this\n"
    ),
}
BAD = "C2,G1,E1,0,nought,out_of_zone,ball,"


@pytest.fixture(scope="module")
def results(tmp_path_factory):
    """A season that was run, and run again with a mended row and a newer sheet."""
    folder = tmp_path_factory.mktemp("history")
    season = folder / "season"
    season.mkdir()
    for name, text in SHEETS.items():
        (season / name).write_text(text, encoding="utf-8", newline="")
    (season / "policy.toml").write_text('[[levels]]\nid = "low"\n', encoding="utf-8")
    config = read_config(season, folder / "results")
    config.out.mkdir()
    with Store(config.store_path) as store:
        load_season(config, store)
    newer = SHEETS["plate_calls.csv"].replace("C3,G1,E1,1,1", "C3,G1,E1,1,2")
    (season / "plate_calls.csv").write_text(newer, encoding="utf-8", newline="")
    mend = f"#file,#line,#was,#reason,call_id,game_id,evaluator_id,balls,strikes,location,ruled_pitch,grade\nplate_calls.csv,3,{fingerprint(BAD)},not a number,C2,G1,E1,0,0,out_of_zone,ball,\n"
    (season / "plate_calls-mend.csv").write_text(mend, encoding="utf-8", newline="")
    run_stages(config, ("load", "check", "score"))
    return config


def tell(results, call_id):
    return json.loads(history(results.out, call_id, as_document=True))


def test_an_amended_call_shows_who_when_why_and_both_values(results):
    told = tell(results, "C1")
    kept = [(a["date"], a["evaluator"], a["value_before"], a["value"], a["reason"], a["holds"]) for a in told["amendments"][:2]]
    assert kept == [
        ("2026-04-03", "B Person", 0, "1", "counted again", False),
        ("2026-04-05", "B Person", "1", "2", "video reviewed", True),
    ]
    (aside,) = told["amendments"][2:]
    assert (aside["status"], aside["evaluator_id"]) == ("set aside", "E9")
    assert aside["aside_reason"] == "'E9' is not in the sheet evaluators"


def test_ruling_grade_and_finding_follow_the_amended_facts(results):
    told = tell(results, "C1")
    # With two strikes a called strike is the third; in high school, caught or not is not known, so the batter is open.
    assert told["ruling"]["pitch"] == "strike"
    assert told["ruling"]["rule_refs"]
    assert told["grade"]["verdict"] == "wrong"
    assert [(part["component"], part["ruled"], part["right_value"]) for part in told["parts"]] == [("pitch", "ball", "strike")]
    assert [finding["kind"] for finding in told["findings"]] == ["grade_contradicts_rules"]
    text = history(results.out, "C1")
    for words in ("2026-04-05 by E1 (B Person): strikes from 1 to 2", "because: video reviewed", "pitch strike", "wrong: called"):
        assert words in text


def test_a_mended_call_shows_both_rows_and_why(results):
    told = tell(results, "C2")
    assert [(row["path"], row["line_no"], row["status"], row["raw_text"]) for row in told["rows"]] == [
        ("plate_calls-mend.csv", 2, "accepted", f"plate_calls.csv,3,{fingerprint(BAD)},not a number,C2,G1,E1,0,0,out_of_zone,ball,"),
        ("plate_calls.csv", 3, "replaced", BAD),
    ]
    (mend,) = told["mends"]
    assert (mend["state"], mend["original_text"]) == ("applied", BAD)
    assert mend["original_reason"] == "'nought' is not a whole number"
    assert "plate_calls.csv line 3" in history(results.out, "C2")


def test_an_earlier_version_of_the_row_is_shown_with_the_load_it_came_in(results):
    told = tell(results, "C3")
    (row,) = told["rows"]
    (old,) = told["versions"]
    assert (row["raw_text"], old["raw_text"]) == ("C3,G1,E1,1,2,out_of_zone,ball,", "C3,G1,E1,1,1,out_of_zone,ball,")
    assert (old["first_run"], old["last_run"]) == (1, 1)


def test_without_a_call_the_history_of_the_sheets_is_told(results):
    told = json.loads(history(results.season, out=results.out, as_document=True))
    assert [(e["run_no"], e["event"], e["path"]) for e in told["events"] if e["run_no"] == 2] == [
        (2, "added", "plate_calls-mend.csv"),
        (2, "replaced", "plate_calls.csv"),
    ]
    assert "  replaced: plate_calls.csv" in history(results.out)


def test_the_rows_of_an_earlier_version_are_written_under_their_columns(results):
    versions = {(v["path"], v["first_run"]): v["sha256"] for v in json.loads(history(results.out, as_document=True))["versions"]}
    assert earlier_sheet(results.out, versions["plate_calls.csv", 1][:12]) == SHEETS["plate_calls.csv"]
    with pytest.raises(InputError, match="is the one loaded now"):
        earlier_sheet(results.out, versions["games.csv", 1])
    with pytest.raises(InputError, match="no version of a sheet begins with 'xyz'"):
        earlier_sheet(results.out, "xyz")
    with pytest.raises(InputError, match="versions of sheets begin with ''"):
        earlier_sheet(results.out, "")


def test_an_unknown_call_and_a_folder_without_a_store_are_refused(results, tmp_path):
    with pytest.raises(InputError, match="no sheet of the season, now or before, has a call 'C11'"):
        history(results.out, "C11")
    with pytest.raises(InputError, match="no season store"):
        history(tmp_path)


def test_the_command_prints_the_history(results):
    done = CliRunner().invoke(app, ["history", str(results.out), "--call", "C2"])
    assert done.exit_code == 0
    assert done.output == history(results.out, "C2")
