"""The command as a newcomer meets it: help, messages, exit codes."""

from __future__ import annotations

import csv
import io
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

Command = Callable[..., subprocess.CompletedProcess[str]]


def command(*words: str, cwd: Path | None = None) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "pipeline", *words], capture_output=True, text=True, check=False, cwd=cwd
    )


def test_the_help_names_every_command_and_the_exit_codes() -> None:
    shown = command("--help")
    assert shown.returncode == 0
    for name in ("run", "load", "check", "score", "report", "rulings", "explain", "quiz-check", "cases", "blank"):
        assert f"  {name} " in shown.stdout
    assert "Exit codes" in shown.stdout


def test_a_missing_folder_is_wrong_usage_with_a_remedy() -> None:
    shown = command("run", "no_such_folder")
    assert shown.returncode == 2
    assert "no_such_folder: there is no such folder" in shown.stderr
    assert "To do: give the folder that holds the sheets" in shown.stderr


def test_a_season_without_a_policy_says_how_to_get_one(called: Command, tmp_path: Path) -> None:
    shown = called("run", str(tmp_path))
    assert shown.returncode == 2
    assert "platework blank policy" in shown.stderr


def test_a_stage_before_its_turn_names_the_stage_to_run_first(called: Command, tmp_path: Path) -> None:
    (tmp_path / "policy.toml").write_text('[[levels]]\nid = "one"\n', encoding="utf-8")
    shown = called("score", str(tmp_path), "--out", str(tmp_path / "out"))
    assert shown.returncode == 2
    assert "platework check" in shown.stderr


def test_a_policy_with_a_misspelt_setting_names_line_and_nearest_setting(called: Command, tmp_path: Path) -> None:
    (tmp_path / "policy.toml").write_text('[season]\ntitel = "x"\n[[levels]]\nid = "one"\n', encoding="utf-8")
    shown = called("run", str(tmp_path))
    assert shown.returncode == 2
    assert "line 2" in shown.stderr
    assert "did you mean 'title'?" in shown.stderr


def test_an_unknown_sheet_is_answered_with_the_nearest_one(called: Command) -> None:
    shown = called("blank", "plate_cals")
    assert shown.returncode == 2
    assert "did you mean 'plate_calls'?" in shown.stderr


@pytest.mark.parametrize("sheet", ["umpires", "games", "plate_calls", "quiz_items"])
def test_a_blank_sheet_has_its_header_and_one_marked_example(called: Command, sheet: str) -> None:
    shown = called("blank", sheet)
    assert shown.returncode == 0
    rows = list(csv.reader(io.StringIO(shown.stdout)))
    assert rows[1][0].startswith("EXAMPLE-")


def test_rulings_pass_other_columns_through_and_keep_the_order(tmp_path: Path) -> None:
    path = tmp_path / "cases.csv"
    path.write_text(
        "case_id,rule_code,swing,strikes,my remark\nb,nfhs,full,0,second\na,obr,full,1,first\n", encoding="utf-8"
    )
    shown = command("rulings", str(path))
    assert shown.returncode == 0
    rows = list(csv.DictReader(io.StringIO(shown.stdout)))
    assert [(row["case_id"], row["my remark"], row["pitch"], row["strikes_after"]) for row in rows] == [
        ("b", "second", "strike", "1"),
        ("a", "first", "strike", "2"),
    ]


def test_a_wrong_value_in_a_case_list_names_line_column_and_what_is_allowed(called: Command, tmp_path: Path) -> None:
    path = tmp_path / "cases.csv"
    path.write_text("rule_code,swing,strikes\nnfhs,ful,0\nnfhs,full,7\nfifa,full,0\n", encoding="utf-8")
    shown = called("rulings", str(path))
    assert shown.returncode == 2
    assert "line 2, column swing" in shown.stderr
    assert "full" in shown.stderr
    assert "line 3, column strikes" in shown.stderr
    assert "line 4, column rule_code" in shown.stderr


def test_a_quiz_with_a_wrong_key_ends_with_exit_code_one(called: Command, tmp_path: Path) -> None:
    path = tmp_path / "items.csv"
    path.write_text(
        "item_id,rule_code,topic,stem,option_a,option_b,key,quantity,option_a_states,option_b_states,swing,strikes\n"
        "Q1,nfhs,dimensions,How wide is home plate?,17 in,18 in,b,plate_front_edge_in,value=17,value=18,,\n"
        "Q2,nfhs,pitch,He swings and misses,ball,strike,b,,pitch=ball,pitch=strike,full,0\n",
        encoding="utf-8",
    )
    shown = called("quiz-check", str(path))
    assert shown.returncode == 1
    rows = {row["item_id"]: row for row in csv.DictReader(io.StringIO(shown.stdout))}
    assert (rows["Q1"]["verdict"], rows["Q1"]["right_options"]) == ("wrong", "a")
    assert rows["Q2"]["verdict"] == "confirmed"


def test_an_empty_case_list_and_a_missing_rule_code_are_told_apart(called: Command, tmp_path: Path) -> None:
    empty = tmp_path / "empty.csv"
    empty.write_text("", encoding="utf-8")
    assert "the file is empty" in called("rulings", str(empty)).stderr
    other = tmp_path / "other.csv"
    other.write_text("swing\nfull\n", encoding="utf-8")
    assert "the column rule_code is missing" in called("rulings", str(other)).stderr
