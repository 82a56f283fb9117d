"""Every rule's own worked cases, ruled alone and in the batch, and what every rule file must hold."""

from __future__ import annotations

import datetime as dt
import re

import pytest

import schemas
from pipeline.rules.answer import rule_case
from pipeline.rules.compile import rule_book, whole_book
from pipeline.rules.model import CODES, CONFIDENCE, RULING_FIELDS, Answer
from pipeline.rules.options import settle
from pipeline.rules.reading import decisions, retired, rules
from pipeline.rules.vocabulary import facts, recorded_facts
from pipeline.rulings.batch import COLUMNS, rule_table, ruling_row
from pipeline.store import Store

WHOLE = whole_book()
"""The rules with every point that a league may settle still open."""
DAY = dt.date(2024, 4, 1)
"""The day of a case that names none."""
BLANKS = {field.name: field.blank_value for field in schemas.table("plate_calls").fields}
NUMBERS = ("balls", "strikes", "outs")
WORDS = {"met", "not_met", "unknown"}
PARTS = {"state", *RULING_FIELDS, "outs_added", "balls_after", "strikes_after"}
CASES = [(rule, case) for rule in rules().values() for case in rule.cases]
IDS = [f"{rule.id}::{case.name}" for rule, case in CASES]


def known(case):
    """The facts of a case: what is given, else what a blank cell is read as; a given blank is not recorded."""
    return {name: str(case.given.get(name, BLANKS.get(name) or "")) or None for name in facts()}


def book(case):
    """The rules as the league of the case plays them."""
    return rule_book(settle(case.options))


def regime(case):
    return book(case).regime(case.code, case.day or DAY)


def parts_of(cells):
    """The parts of a ruling by name, from cells in the order of COLUMNS."""
    return dict(zip(COLUMNS, cells, strict=True))


def word(rule, case):
    """Whether the rule is used by every possible answer, by none, or by some."""
    given = {name: value for name, value in known(case).items() if value is not None}
    answers = [
        one for one in WHOLE.forest.ends(WHOLE.forest.restrict(regime(case).root, given)) if isinstance(one, Answer)
    ]
    sound = [one for one in answers if one.state != "contradiction"]
    # A rule about facts that cannot stand together speaks only where the others are silent.
    asked = answers if rule.decision == "standing" or not sound else sound
    used = {rule.id in one.rule_ids for one in asked}
    return "unknown" if len(used) == 2 else "met" if used == {True} else "not_met"


@pytest.fixture(scope="module")
def batch():
    """All cases ruled at once, in one table for each set of points that a league has settled."""
    names = list(recorded_facts())
    kinds = {"call_id": "VARCHAR", "rule_code": "VARCHAR", "game_on": "DATE"} | {
        name: "BIGINT" if name in NUMBERS else "VARCHAR" for name in names
    }
    columns = ", ".join(f"unnest(?::{kind}[]) AS {name}" for name, kind in kinds.items())
    leagues = {settle(case.options) for _, case in CASES}
    found = {}
    with Store() as store:
        for league in sorted(leagues):
            rows = [
                [name, case.code, case.day or DAY, *(known(case)[fact] for fact in names)]
                for name, (_, case) in zip(IDS, CASES, strict=True)
                if settle(case.options) == league
            ]
            # A column at a time: row by row takes half a minute.
            store.run(
                f"CREATE OR REPLACE TABLE facts.rule_cases AS SELECT {columns}",
                [list(column) for column in zip(*rows, strict=True)],
            )
            assert rule_table(store, "facts.rule_cases", "rulings.rule_cases", book=rule_book(league)) == len(rows)
            ruled = store.rows(f"SELECT call_id, {', '.join(COLUMNS)} FROM rulings.rule_cases")
            found |= {row[0]: tuple(cell or "" for cell in row[1:]) for row in ruled}
    return found


@pytest.mark.parametrize(("rule", "case"), CASES, ids=IDS)
def test_a_case_alone_comes_out_as_worked_by_hand(rule, case):
    found = parts_of(ruling_row(rule_case(book(case), regime(case), known(case))))
    expected = {name: value for name, value in case.then.items() if name != "rule"}
    assert {name: found[name] for name in expected} == expected
    assert word(rule, case) == case.then["rule"]


@pytest.mark.parametrize(("rule", "case"), CASES, ids=IDS)
def test_a_case_in_the_batch_comes_out_as_worked_by_hand(rule, case, batch):
    found = parts_of(batch[f"{rule.id}::{case.name}"])
    expected = {name: value for name, value in case.then.items() if name != "rule"}
    assert {name: found[name] for name in expected} == expected
    # The batch names the rules behind a row; where only some fillings use a rule, it may be named or not.
    named = rule.id in found["rule_ids"].split(";")
    assert case.then["rule"] == "unknown" or named == (case.then["rule"] == "met")


@pytest.mark.parametrize("rule_id", list(rules()))
def test_a_rule_has_a_case_where_it_is_met_one_where_not_and_one_left_open(rule_id):
    cases = rules()[rule_id].cases
    assert len(cases) >= 3
    assert {case.then["rule"] for case in cases} == WORDS
    assert len({case.name for case in cases}) == len(cases)
    assert {case.code for case in cases if case.then["rule"] == "met"} <= set(rules()[rule_id].codes)


@pytest.mark.parametrize(("rule", "case"), CASES, ids=IDS)
def test_a_case_speaks_of_known_facts_and_says_what_becomes_of_the_play(rule, case):
    assert case.code in CODES
    for name, value in case.given.items():
        assert value == "" or value in facts()[name].values
    assert set(case.then) <= PARTS | {"rule"}
    assert len(case.then) >= 3
    assert rule.id not in case.name
    assert len(case.name.split()) >= 2


def test_no_two_cases_share_a_test_name():
    assert len(set(IDS)) == len(IDS) >= 3 * len(rules())


@pytest.mark.parametrize("rule_id", list(rules()))
def test_a_rule_is_in_force_somewhere_and_can_speak_in_each_of_its_codes(rule_id):
    for code in rules()[rule_id].codes:
        active = [one for one in WHOLE.regimes if one.code == code and rule_id in one.rule_ids]
        ends = {end for one in active for end in WHOLE.forest.ends(one.root) if isinstance(end, Answer)}
        assert any(rule_id in end.rule_ids for end in ends), code


@pytest.mark.parametrize("rule_id", list(rules()))
def test_a_rule_file_is_whole(rule_id):
    rule = rules()[rule_id]
    assert rule.id == rule_id
    assert rule.path.endswith(f"/{rule.id}_{rule.name}.yaml")
    assert re.fullmatch(r"[a-z]+(_[a-z0-9]+)*", rule.name)
    assert rule.title.strip()
    assert rule.title.rstrip().endswith(".")
    assert rule.topic
    assert rule.codes
    for entry in rule.codes.values():
        assert entry.reference.strip()
        assert entry.confidence in CONFIDENCE
        if entry.valid_from and entry.valid_until:
            assert entry.valid_from <= entry.valid_until
    # A rule that only passes the question on has nothing to tell an umpire; every other has a sentence.
    assert rule.says.endswith(".") or (rule.says == "" and not rule.ruling)


def test_a_retired_id_is_not_used_again():
    assert retired()
    assert not set(retired()) & set(rules())


def test_names_and_titles_are_given_once():
    assert len({rule.name for rule in rules().values()}) == len(rules())
    assert len({rule.title for rule in rules().values()}) == len(rules())


def test_every_outcome_of_every_decision_is_reached_by_a_rule_or_by_default():
    for decision in decisions():
        reached = {rule.then for rule in rules().values() if rule.decision == decision.name} | {decision.otherwise}
        assert set(decision.outcomes) <= reached, decision.name


@pytest.mark.parametrize("rule_id", list(rules()))
def test_no_rule_text_names_a_person(rule_id):
    """Two capitalised words in a row, or a title before one, would be somebody's name."""
    rule = rules()[rule_id]
    notes = [entry.note or "" for entry in rule.codes.values()]
    for text in [rule.title, rule.says, *notes, *(case.name for case in rule.cases)]:
        assert not re.search(r"\b(Mr|Mrs|Ms|Dr|Coach|Umpire|Judge)\.? [A-Z]", text), text
        assert not re.search(r"\b[A-Z][a-z]+ [A-Z][a-z]+\b", text), text
