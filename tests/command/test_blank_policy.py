"""The blank policy explains every setting, and the method page tells the one in force in words."""

from __future__ import annotations

import dataclasses
import tomllib

import pytest
from typer.testing import CliRunner

from pipeline.cli import app
from pipeline.config import AREAS, CONSEQUENCES, Clinics, Evidence, Level, Measurement, Policy, read_policy
from pipeline.errors import ConfigError
from pipeline.rules.options import options, settle
from reports.pages.policy import level_sentences, settings


@pytest.fixture(scope="module")
def blank() -> str:
    done = CliRunner().invoke(app, ["blank", "policy"])
    assert done.exit_code == 0
    return done.output


def test_every_setting_stands_in_the_blank_with_a_remark(blank):
    lines = blank.splitlines()
    told = {}
    for number, line in enumerate(lines):
        if " = " in line and not line.startswith("#"):
            name = line.split(" = ")[0]
            told[name] = told.get(name, False) or "#" in line or lines[number - 1].startswith("#")
    wanted = {
        *AREAS,
        "safety",
        *("title", "association", "first_day", "last_day", "interval", "draws", "seed"),
        *(field.name for field in dataclasses.fields(Measurement)),
        *(field.name for field in dataclasses.fields(Evidence)),
        *(field.name for field in dataclasses.fields(Clinics)),
        *("id", "risk_ready", "risk_not_yet", *CONSEQUENCES),
    }
    assert set(told) == wanted
    assert [name for name, remark in told.items() if not remark] == []


def test_every_point_of_the_league_stands_in_the_blank_as_the_rules_declare_it(blank, tmp_path):
    # With the marks taken away all points are settled, and the policy is still accepted.
    lines = [
        line.removeprefix("# ") if any(line.startswith(f"# {name} = ") for name in options()) else line
        for line in blank.splitlines()
    ]
    path = tmp_path / "policy.toml"
    path.write_text("\n".join(lines), encoding="utf-8")
    chosen = read_policy(path).rule_options
    assert set(chosen) == set(options())
    assert len(settle(chosen)) == len(options())
    for point in options().values():
        assert all(f'"{choice}"' in blank for choice in point.values)
    assert "rule_options" in tomllib.loads(blank)


def test_a_season_that_ends_before_it_begins_is_refused(blank, tmp_path):
    path = tmp_path / "policy.toml"
    path.write_text(blank.replace("last_day = 2026-10-31", "last_day = 2026-02-01"), encoding="utf-8")
    with pytest.raises(ConfigError, match="last day 2026-02-01 comes before its first, 2026-03-01"):
        read_policy(path)


LOW = Level("low", "Lower", {"pitches": 0.85}, Evidence(2, 100, 1), 0.2, 0.1)
HIGH = Level("high", "Upper", {"pitches": 0.9, "quiz": 0.8}, Evidence(3, 150, 2), 0.1, 0.05, {"safety": 1})
POLICY = Policy("S", "A", None, None, (LOW, HIGH))


def test_a_level_is_told_in_words_with_all_that_it_asks_for():
    texts = [text.replace("\u202f", " ") for text in level_sentences(POLICY, HIGH)]
    assert texts == [
        "Those who work Lower and those who work Upper are judged by this level.",
        "All of these at once are asked for, as adjusted rates: balls and strikes 90.0 %, rules quiz 80.0 %.",
        "Before any reading but more looks: at least 3 games, 150 graded calls and 2 evaluators, and something seen in "
        "every area with a standard.",
        "Ready is said when the chance of meeting all standards is at least 90 %: of those called ready, up to 10 % may "
        "be below a standard.",
        "Not yet is said when that chance is at most 5 %; in between, more looks.",
        "With more than 1 misruling that cost a safety duty it is not yet, whatever the rates.",
    ]
    assert level_sentences(POLICY, LOW)[0] == "Nobody is judged by this level: it is the lowest."


def test_every_other_setting_is_told_with_what_it_does():
    told = {name for name, _, words in settings(POLICY) if words}
    assert told == {
        *(f"scoring.{name}" for name in ("interval", "draws", "seed")),
        *(f"measurement.{field.name}" for field in dataclasses.fields(Measurement)),
        *(f"consequence_weights.{name}" for name in CONSEQUENCES),
        *(f"clinics.{field.name}" for field in dataclasses.fields(Clinics)),
        *("season.first_day", "season.last_day"),
    }
