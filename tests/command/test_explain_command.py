"""The command that explains one case of a list: text and document, a call that was made, messages."""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from pipeline.case_lists import explain_case
from pipeline.errors import InputError

LIST = """case_id,rule_code,date,swing,contact,contact_front,contact_back,plate_touch,balls,strikes,touched,avoidance,could_avoid,pitch_kind,location,location_source,ball_x_in,ball_z_in,zone_low_in,zone_high_in,ruled_batter,ruled_pitch
foot out,nfhs,2026-04-01,full,fair,all_out,inside,no,1,1,,,,,,,,,,,batter_runner,in_play
curve,nfhs,2026-04-01,,,,,,1,1,person,froze,,breaking,out_of_zone,,,,,,,
tracked,nfhs,2026-04-01,,,,,,0,0,,,,,,tracked,0,30,18,42,at_bat,ball
"""


@pytest.fixture(scope="module")
def cases(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("explained") / "cases.csv"
    path.write_text(LIST, encoding="utf-8")
    return path


Command = Callable[..., subprocess.CompletedProcess[str]]


def command(*words: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "pipeline", "explain", *words], capture_output=True, text=True, check=False
    )


def test_the_command_holds_a_call_against_the_ruling(cases: Path) -> None:
    shown = command(str(cases), "--case", "foot out", "--called", "batter=first_base")
    assert shown.returncode == 0
    assert "Batter: first base  wrong: the batter is out (B310, 7-3-2 Penalty)" in shown.stdout
    assert "Where that call would be right" in shown.stdout
    assert shown.stderr == ""


def test_the_command_writes_one_json_document(called: Command, cases: Path) -> None:
    shown = called("explain", str(cases), "--case", "foot out", "--format", "json")
    found = json.loads(shown.stdout)
    assert found["state"] == "settled"
    assert found["ruling"]["batter"] == "out"
    assert found["measured"] is None
    # Without --called, what the row says that he ruled.
    assert {part["part"]: part["called"] for part in found["called"]["parts"]} == {
        "pitch": "in_play",
        "batter": "batter_runner",
    }


def test_the_three_paragraphs_come_in_order(cases: Path) -> None:
    text = explain_case(cases, "foot out")
    places = [text.index(f"\n{title}\n") for title in ("What was seen", "What the rules ask", "What follows")]
    assert places == sorted(places)
    assert text.index("\nThe nearest other ruling\n") > places[-1]


def test_rules_of_other_topics_are_counted_unless_all_are_asked_for(cases: Path) -> None:
    short = explain_case(cases, "foot out")
    full = explain_case(cases, "foot out", show_all=True)
    assert "(--all names them)" in short
    assert "passed by P501" not in short
    assert "(--all names them)" not in full
    assert "passed by P501" in full


def test_another_code_reads_the_sheet_in_its_own_way(cases: Path) -> None:
    # Whether he could have avoided a breaking pitch was not written down: high school practice reads it as no chance,
    # so first base; under the Official Baseball Rules it stays open, so the call is not surely right there.
    found = json.loads(explain_case(cases, "curve", called="pitch=ball;batter=at_bat", as_document=True))
    assert found["ruling"]["batter"] == "first_base"
    assert found["called"]["verdict"] == "wrong"
    assert found["called"]["codes"] == []
    assert found["called"]["nearest"][0]["changes"] == [{"fact": "could_avoid", "given": "no", "value": "yes"}]


def test_a_measured_pitch_tells_how_far_in_it_was(cases: Path) -> None:
    assert "inside the edge of the zone" in explain_case(cases, "tracked")
    measured = json.loads(explain_case(cases, "tracked", as_document=True))["measured"]
    assert measured["zone_margin_in"] > 8  # the middle of a plate 17 in wide, and the ball's radius
    assert 0.99 < measured["p_strike"] <= 1


@pytest.mark.parametrize(
    ("called", "message"),
    [
        ("batter", "'batter' is no call"),
        ("umpire=out", "'umpire' is no part of a ruling"),
        ("batter=safe", "'safe' is no value of batter"),
        ("", "nothing was called"),
    ],
)
def test_a_call_that_cannot_be_read_is_refused_with_what_is_allowed(cases: Path, called: str, message: str) -> None:
    with pytest.raises(InputError) as caught:
        explain_case(cases, "foot out", called=called)
    assert message in str(caught.value)
    assert caught.value.hint


def test_an_unknown_case_names_the_column_to_look_in(called: Command, cases: Path) -> None:
    shown = called("explain", str(cases), "--case", "nobody")
    assert shown.returncode == 2
    assert "the list has no case 'nobody'" in shown.stderr
    assert "case_id" in shown.stderr
