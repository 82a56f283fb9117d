"""What an umpire who ruled wrongly seems to believe: each pattern's worked cases, and what every file must hold."""

from __future__ import annotations

import datetime as dt
import itertools
import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import schemas
from pipeline.errors import RuleDefinitionError
from pipeline.rules.answer import rule_case
from pipeline.rules.compile import rule_book
from pipeline.rules.expression import parse
from pipeline.rules.misbelief_reading import in_order, read_misbelief
from pipeline.rules.misbeliefs import holds, misbeliefs, possible, recognise, ruling_as_if, wrong_parts
from pipeline.rules.model import CODES, CONFIDENCE, RULING_FIELDS
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


@pytest.mark.parametrize("misbelief_id", list(misbeliefs()))
def test_a_file_is_whole_and_its_words_are_sentences(misbelief_id):
    one = misbeliefs()[misbelief_id]
    assert one.path.endswith(f"/{one.id}_{one.name}.yaml")
    assert re.fullmatch(r"[a-z]+(_[a-z0-9]+)*", one.name)
    assert re.fullmatch(r"[a-z]+(_[a-z0-9]+)*", one.topic)
    for text in (one.title, one.says, one.true_where):
        assert text[0].isupper()
        assert text.endswith(".")
    assert one.reference
    assert one.source
    assert len(one.title) <= 110
    # In each code in which it is a misbelief some case shows it.
    shown = {case.code for case in one.cases if case.then == "recognised"}
    assert shown
    assert shown <= set(one.reference)


@pytest.mark.parametrize("misbelief_id", list(misbeliefs()))
def test_a_pattern_is_not_marked_better_known_than_the_rules_that_its_cases_rest_on(misbelief_id):
    one = misbeliefs()[misbelief_id]
    for case in one.cases:
        day, here = case.day or DAY, known(case.given)
        for code in one.reference:
            if case.then == "recognised" and ruling_as_if(BOOK, one, code, day, here) is not None:
                for answer in possible(BOOK, BOOK.regime(code, day), here) or ():
                    assert CONFIDENCE.index(BOOK.confidence(answer, code)) <= CONFIDENCE.index(one.confidence)


def test_names_and_titles_are_given_once():
    assert len({one.name for one in misbeliefs().values()}) == len(misbeliefs())
    assert len({one.title for one in misbeliefs().values()}) == len(misbeliefs())


def test_another_codes_rule_comes_first_and_one_changed_fact_before_two():
    kinds = ["code", "day", "as_if", "judgement", "part"]
    order = [(kinds.index(one.kind), len(one.as_if) + len(one.part)) for one in misbeliefs().values()]
    assert order == sorted(order)
    assert list(misbeliefs()) == sorted(misbeliefs())


def test_a_foot_on_plate_and_line_called_by_the_other_code_is_named_by_that_code_first():
    given_facts = known(
        {"contact": "foul", "contact_front": "part_out", "contact_back": "inside", "plate_touch": "yes", "strikes": 0}
    )
    ruled = {"pitch": "foul", "ball_status": "dead", "batter": "at_bat", "runners": "return"}
    found = recognise(BOOK, "nfhs", DAY, given_facts, ruled)
    # The professional rule; the plate not counted; and a foul from outside the box taken for a mere foul.
    assert [one.id for one in found] == ["M102", "M323", "M560"]


def test_a_right_ruling_is_nobodys_misbelief_and_a_blank_part_is_not_compared():
    given_facts = known({"touched": "person", "avoidance": "permitted", "touch_in_zone": "no", "balls": 1, "strikes": 1})
    right = {"pitch": "ball", "ball_status": "dead", "batter": "at_bat", "runners": "return"}
    assert recognise(BOOK, "nfhs", DAY, given_facts, right) == ()
    assert recognise(BOOK, "nfhs", DAY, given_facts, {}) == ()
    found = recognise(BOOK, "nfhs", DAY, given_facts, {"pitch": "", "batter": "first_base", "runners": None})
    assert [one.id for one in found] == ["M332"]


def test_a_pattern_with_a_fact_missing_that_its_condition_names_has_nothing_to_say():
    one = misbeliefs()["M341"]
    third = {"swing": "full", "zone": "out_of_zone", "balls": 1, "strikes": 2, "bounced": "yes", "outs": 0}
    assert ruling_as_if(BOOK, one, "obr", DAY, known({**third, "pitch_caught": "yes"})) is not None
    assert ruling_as_if(BOOK, one, "obr", DAY, known({**third, "pitch_caught": ""})) is None


VALUES = {name: fact.values for name, fact in facts().items()}


def drawn_facts(least):
    """Facts of a play: most as on a quiet pitch, a few drawn, some of them missing."""
    some = st.lists(st.sampled_from([name for name in VALUES if not name.startswith("option_")]), min_size=least, max_size=9)
    return some.flatmap(
        lambda names: st.fixed_dictionaries({name: st.sampled_from(("", *VALUES[name])) for name in sorted(set(names))})
    )


@settings(max_examples=300, deadline=None)
@given(drawn_facts(2), st.sampled_from(CODES))
def test_the_ruling_of_a_pattern_is_recognised_as_that_pattern_unless_no_part_is_wrong(given_facts, code):
    here = known({"balls": 1, "strikes": 1, "outs": 1, "zone": "in_zone", "pitch_caught": "yes", **given_facts})
    right = possible(BOOK, BOOK.regime(code, DAY), here)
    for one in misbeliefs().values():
        found = ruling_as_if(BOOK, one, code, DAY, here)
        if found is None:
            continue
        assert right is not None
        assert all(found.ruling != answer.ruling for answer in right)
        ruled = dict(zip(RULING_FIELDS, found.ruling, strict=True))
        wrong = wrong_parts(right, ruled)
        assert (one in recognise(BOOK, code, DAY, here, ruled)) == bool(wrong)


@settings(max_examples=200, deadline=None)
@given(drawn_facts(1), st.sampled_from(CODES))
def test_the_possible_rulings_are_those_of_the_case_alone(given_facts, code):
    here = known({"balls": 1, "strikes": 1, "outs": 1, **given_facts})
    regime = BOOK.regime(code, DAY)
    alone = rule_case(BOOK, regime, here)
    found = possible(BOOK, regime, here)
    if found is None:
        # Nothing that can stand, or some filling that no rule speaks of.
        assert alone.state in ("contradiction", "open")
        return
    assert (len(found) == 1) == (alone.state == "settled")
    for place, name in enumerate(RULING_FIELDS):
        values = {answer.ruling[place] or "none_called" for answer in found}
        assert values == {part or "none_called" for part in alone.ruling[name].split("|")}


@pytest.mark.parametrize(
    "text",
    [
        "swing = 'full' and touched = 'none'",
        "swing = 'full' or not touched in ('none', 'person')",
        "not (swing != 'bunt' and (touched = 'person' or bounced = 'yes'))",
        "balls >= 2 or bounced = 'no' and touched != 'none'",
    ],
)
def test_a_condition_is_undecided_just_where_the_missing_facts_could_turn_it(text):
    condition = parse(text)
    names = ("swing", "touched", "bounced", "balls")
    values = {name: (None, *VALUES[name]) for name in names}
    for cells in itertools.product(*values.values()):
        here = dict(zip(names, cells, strict=True))
        whole = [
            holds(condition, dict(zip(names, full, strict=True)))
            for full in itertools.product(*(VALUES[n] if here[n] is None else (here[n],) for n in names))
        ]
        assert None not in whole
        # These conditions name each fact once, so nothing is decided that the parts leave undecided.
        assert holds(condition, here) == (whole[0] if len(set(whole)) == 1 else None)


GOOD = """\
id: M900
name: good
title: A belief.
topic: pitch
kind: as_if
when: swing = 'full'
as_if: {bounced: {"yes": "no"}}
says: It is not so.
true_where: Elsewhere.
reference: {nfhs: "7-2"}
confidence: verified
source: common practice, no source
cases:
  - name: one case
    code: nfhs
    given: {bounced: "yes"}
    ruled: {pitch: strike}
    then: recognised
"""


def test_the_good_file_is_good():
    one = read_misbelief(GOOD, "here.yaml")
    assert (one.as_if, one.when_text) == ({"bounced": {"yes": "no"}}, "swing = 'full'")
    assert one.cases[0].day is None


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("topic: pitch", "topic: pitch\ntopics: pitch", "unknown keys: topics"),
        ("topic: pitch\n", "", "missing keys: topic"),
        ("id: M900", "id: P900", "'P900' is not an M and three digits"),
        ("kind: as_if", "kind: guess", "unknown kind 'guess'"),
        ("kind: as_if", "kind: code", "a misbelief of kind 'code' has 'code'"),
        ("kind: as_if", "kind: as_if\ncode: obr", "says in no other way what it rules"),
        ("confidence: verified", "confidence: sure", "unknown confidence 'sure'"),
        ("swing = 'full'", "swing = ", "expected"),
        ("swing = 'full'", "judgement = 'ball'", "'judgement' is no fact"),
        ("swing = 'full'", "swing = 'fall'", "swing never is 'fall'"),
        ('as_if: {bounced: {"yes": "no"}}', 'as_if: {bounces: "no"}', "'bounces' is no fact"),
        ('as_if: {bounced: {"yes": "no"}}', "as_if: {bounced: maybe}", "bounced never is 'maybe'"),
        ('as_if: {bounced: {"yes": "no"}}', 'as_if: {bounced: {maybe: "no"}}', "bounced never is 'maybe'"),
        ("kind: as_if", "kind: as_if\nfills: {zone: middle}", "zone never is 'middle'"),
        ("kind: as_if", "kind: as_if\nright: {pitch: hit}", "'hit' is no value of pitch"),
        ("kind: as_if", "kind: as_if\nright: {mood: hit}", "'mood' is no part of a ruling"),
        ('reference: {nfhs: "7-2"}', 'reference: {usa: "7-2"}', "unknown rule code 'usa'"),
        ("    ruled: {pitch: strike}\n", "", "a case must have name, code, given, ruled and then"),
        ("then: recognised", "then: met", "a case is recognised or not_recognised, not 'met'"),
        ("then: recognised", "then: recognised\n    day: soon", "'soon' is not a date"),
        ("    code: nfhs", "    code: usa", "unknown rule code 'usa'"),
        ('given: {bounced: "yes"}', 'given: {bounced: "once"}', "bounced never is 'once'"),
    ],
)
def test_a_mistake_in_a_file_is_named_with_the_file(old, new, message):
    assert old in GOOD
    with pytest.raises(RuleDefinitionError, match=re.escape(message)) as raised:
        read_misbelief(GOOD.replace(old, new), "here.yaml")
    assert "here.yaml" in str(raised.value)


def test_parts_look_at_no_facts_so_nothing_is_filled_in():
    text = GOOD.replace("kind: as_if", 'kind: part\nfills: {bounced: "no"}').replace(
        'as_if: {bounced: {"yes": "no"}}', "part: {pitch: ball}"
    )
    with pytest.raises(RuleDefinitionError, match="looks at no facts"):
        read_misbelief(text, "here.yaml")


def test_an_id_that_stands_twice_a_wrong_file_name_and_a_wrong_order_are_refused():
    one = read_misbelief(GOOD, "here/M900_good.yaml")
    with pytest.raises(RuleDefinitionError, match=r"the id M900 is taken by here/M900_good\.yaml"):
        in_order([one, one])
    with pytest.raises(RuleDefinitionError, match=r"the file must be called M900_good\.yaml"):
        in_order([read_misbelief(GOOD, "here/M900.yaml")])
    by_code = GOOD.replace("M900", "M901").replace("kind: as_if", "kind: code\ncode: obr")
    later = read_misbelief(by_code.replace('as_if: {bounced: {"yes": "no"}}\n', ""), "here/M901_good.yaml")
    with pytest.raises(RuleDefinitionError, match="M901 comes after M900, but is of an earlier kind"):
        in_order([later, one])
