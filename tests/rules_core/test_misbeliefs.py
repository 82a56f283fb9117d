"""What an umpire who ruled wrongly seems to believe: each pattern's worked cases, and what every file must hold."""

from __future__ import annotations

import datetime as dt

import pytest

import schemas
from pipeline.rules.compile import rule_book
from pipeline.rules.misbeliefs import misbeliefs, recognise, ruling_as_if
from pipeline.rules.vocabulary import facts

BOOK = rule_book()
DAY = dt.date(2024, 4, 1)
"""The day of a case that names none."""
BLANKS = {field.name: field.blank_value for field in schemas.table("plate_calls").fields}
CASES = [(one, case) for one in misbeliefs().values() for case in one.cases]
IDS = [f"{one.id}::{case.name}" for one, case in CASES]


def known(given):
    """The facts of a case: what is given, else what a blank cell is read as; a given blank is not recorded."""
    facts_here = {name: str(given.get(name, BLANKS.get(name) or "")) or None for name in facts()}
    if "stance_fault" not in given:
        # As on any sheet: on a pitch, a stance that nobody wrote down is read as legal.
        facts_here["stance_fault"] = "no"
    return facts_here


@pytest.mark.parametrize(("one", "case"), CASES, ids=IDS)
def test_a_pattern_is_recognised_where_its_case_says_so(one, case):
    found = recognise(BOOK, case.code, case.day or DAY, known(case.given), case.ruled)
    assert (one in found) == (case.then == "recognised"), [other.id for other in found]


@pytest.mark.parametrize("misbelief_id", list(misbeliefs()))
def test_a_pattern_has_a_case_where_it_is_recognised_and_one_where_it_is_not(misbelief_id):
    one = misbeliefs()[misbelief_id]
    assert {case.then for case in one.cases} == {"recognised", "not_recognised"}
    assert len({case.name for case in one.cases}) == len(one.cases)


@pytest.mark.parametrize(("one", "case"), CASES, ids=IDS)
def test_a_recognised_case_has_a_ruling_of_the_pattern_that_is_not_the_right_one(one, case):
    if case.then == "recognised":
        assert ruling_as_if(BOOK, one, case.code, case.day or DAY, known(case.given)) is not None
