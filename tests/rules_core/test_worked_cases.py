"""The worked cases of the trade, with the source of each beside it, ruled through the command's own path."""

from __future__ import annotations

import csv
import io
from pathlib import Path

import pytest

from pipeline.case_lists import explain_case, rule_cases

CASES = Path(__file__).with_name("worked_cases.csv")


@pytest.fixture(scope="module")
def ruled() -> dict[str, dict[str, str]]:
    return {row["case_id"]: row for row in csv.DictReader(io.StringIO(rule_cases(CASES)))}


def case_ids() -> list[str]:
    with CASES.open(encoding="utf-8", newline="") as stream:
        return [row["case_id"] for row in csv.DictReader(stream)]


@pytest.mark.parametrize("case_id", case_ids())
def test_a_worked_case_is_ruled_as_its_source_says(case_id: str, ruled: dict[str, dict[str, str]]) -> None:
    row = ruled[case_id]
    expected: dict[str, str] = {}
    name = ""
    for part in row["expect"].split(";"):
        if "=" in part:
            name, value = part.split("=", 1)
            expected[name] = value
        else:  # a list of facts goes on
            expected[name] += f";{part}"
    assert {name: row[name] for name in expected} == expected
    assert row["state"] == expected.get("state", "settled")


def test_every_worked_case_names_its_source(ruled: dict[str, dict[str, str]]) -> None:
    assert all(row["source"] for row in ruled.values())
    assert len(ruled) == len(case_ids()) >= 40


def test_every_settled_case_says_why_and_by_which_rule(ruled: dict[str, dict[str, str]]) -> None:
    for row in ruled.values():
        assert row["because"].endswith(".")
        assert row["rule_refs"].startswith(row["rule_code"])
        assert row["confidence"] in ("verified", "memory", "inferred")


def test_an_explanation_shows_ruling_reasons_and_rules() -> None:
    text = explain_case(CASES, "06 toe on the plate and heel on the chalk")
    assert "Batter          out" in text
    assert "B303  7-3-2 [verified]" in text
    assert "Home plate was touched" in text


def test_an_explanation_of_an_open_case_names_what_would_settle_it() -> None:
    text = explain_case(CASES, "freezes on a fastball")
    assert "Would settle it\n  could_avoid\n    yes  It is a ball" in text
