"""Points that a league settles in its policy, from the file to the ruling."""

from __future__ import annotations

import csv
import io
from pathlib import Path

import pytest

from pipeline.case_lists import explain_case, rule_cases
from pipeline.errors import ConfigError

POLICY = """
[season]
title = "A league of its own rules"

[rule_options]
{options}

[[levels]]
id = "varsity"
"""

CASES = """case_id,rule_code,moment,batter_act,balls,strikes,warned_before
left his box,obr,before_pitch,left_box_both_feet,0,0,no
left it again,obr,before_pitch,left_box_both_feet,0,0,yes
delays,nfhs,before_pitch,delay,1,1,
"""


@pytest.fixture
def cases(tmp_path: Path) -> Path:
    path = tmp_path / "cases.csv"
    path.write_text(CASES, encoding="utf-8")
    return path


def policy(folder: Path, options: str) -> Path:
    path = folder / "policy.toml"
    path.write_text(POLICY.format(options=options), encoding="utf-8")
    return path


def rulings(cases: Path, league: Path | None = None) -> dict[str, dict[str, str]]:
    return {row["case_id"]: row for row in csv.DictReader(io.StringIO(rule_cases(cases, policy=league)))}


def test_a_point_that_nobody_settled_leaves_the_ruling_open_and_is_named(cases: Path) -> None:
    row = rulings(cases)["left his box"]
    assert row["state"] == "open"
    assert row["needs"] == "option_leaving_box"
    assert row["pitch"] == "none_called|strike"


def test_the_rules_own_words_hold_where_they_settle_a_point(cases: Path) -> None:
    row = rulings(cases)["delays"]
    assert (row["state"], row["pitch"], row["ball_status"], row["strikes_after"]) == ("settled", "strike", "live", "2")


def test_a_league_that_warns_first_warns_first(cases: Path, tmp_path: Path) -> None:
    found = rulings(cases, policy(tmp_path, 'leaving_box = "warn_first"\nfirst_delay = "warn"'))
    assert (found["left his box"]["state"], found["left his box"]["instruct"]) == ("settled", "warn")
    assert (found["left it again"]["pitch"], found["left it again"]["strikes_after"]) == ("strike", "1")
    assert (found["delays"]["pitch"], found["delays"]["instruct"]) == ("", "warn")


def test_an_explanation_follows_the_league(cases: Path, tmp_path: Path) -> None:
    text = explain_case(cases, "delays", policy=policy(tmp_path, 'first_delay = "warn"'))
    assert "This league warns before it charges a strike" in text


@pytest.mark.parametrize(
    ("options", "words"),
    [
        ('leaving_bocks = "strike"', "unknown rule option 'leaving_bocks': did you mean 'leaving_box'?"),
        ('leaving_box = "shout"', "leaving_box = 'shout' is no choice; there are: strike, warn_first, warn"),
    ],
)
def test_a_policy_that_settles_what_does_not_exist_is_refused(
    cases: Path, tmp_path: Path, options: str, words: str
) -> None:
    with pytest.raises(ConfigError, match=words.replace("?", r"\?")) as caught:
        rule_cases(cases, policy=policy(tmp_path, options))
    assert caught.value.where is not None
    assert str(caught.value.where.path).endswith("policy.toml")
