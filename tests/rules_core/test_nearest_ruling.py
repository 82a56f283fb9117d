"""The nearest other ruling: against brute force on small made-up diagrams, and worked by hand on the rules."""

from __future__ import annotations

import datetime as dt
import itertools

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.rules.compile import rule_book
from pipeline.rules.diagram import Forest, Variable
from pipeline.rules.explanation_words import plausibility
from pipeline.rules.model import RULING_FIELDS, Answer
from pipeline.rules.nearest import (
    Change,
    has_parts,
    nearest_cases,
    nearest_other_rulings,
    nearest_with_ruling,
    sound_answers,
)

VARIABLES = (
    Variable("wind", ("calm", "out", "in")),
    Variable("surface", ("grass", "dirt")),
    Variable("light", ("day", "night")),
    Variable("gap", ("a", "b", "c")),
)
NAMES = [variable.name for variable in VARIABLES]
POINTS = list(itertools.product(*(variable.values for variable in VARIABLES)))


def answer(state: str, pitch: str = "") -> Answer:
    return Answer(state, (), (pitch, *[""] * 6), 0, "none")


ANSWERS = (
    answer("settled", "ball"),
    answer("settled", "strike"),
    answer("settled", "foul"),
    answer("contradiction"),
    answer("not_covered"),
)


def tables():
    return st.lists(st.sampled_from(ANSWERS), min_size=len(POINTS), max_size=len(POINTS)).map(tuple)


def partly_known():
    return st.fixed_dictionaries({v.name: st.sampled_from((*v.values, None)) for v in VARIABLES})


def plant(forest, table):
    layer = [forest.end(item) for item in table]
    for level in reversed(range(len(VARIABLES))):
        width = len(VARIABLES[level].values)
        layer = [forest.node(level, tuple(layer[i : i + width])) for i in range(0, len(layer), width)]
    return layer[0]


def weigh(fact, given, value):
    """A made-up order of likelihood: the wind is seldom mistaken."""
    return 5 if fact == "wind" else 1


def changes_of(point, known):
    return tuple(
        Change(name, known[name], value)
        for name, value in zip(NAMES, point, strict=True)
        if known[name] is not None and known[name] != value
    )


def by_brute_force(table, known, wanted):
    """Every fewest set of changes that leads to a wanted ruling, with the rulings it can lead to."""
    found = {}
    for point, item in zip(POINTS, table, strict=True):
        if item.state == "settled" and wanted(item):
            found.setdefault(changes_of(point, known), set()).add(item.spoken)
    fewest = min((len(changes) for changes in found), default=0)
    return {changes: rulings for changes, rulings in found.items() if len(changes) == fewest}


@given(tables(), partly_known(), st.sampled_from(ANSWERS[:3]))
def test_the_nearest_cases_are_those_that_brute_force_finds(table, known, given_ruling):
    forest = Forest(VARIABLES)
    root = plant(forest, table)

    def wanted(item):
        return item.spoken != given_ruling.spoken

    expected = by_brute_force(table, known, wanted)
    found = nearest_other_rulings(forest, root, known, given_ruling.spoken, weigh, limit=10_000)
    for case in found:
        assert case.changes in expected
        assert case.answer.spoken in expected[case.changes]
    facts_found = {tuple(change.fact for change in case.changes) for case in found}
    assert facts_found == {tuple(change.fact for change in changes) for changes in expected}


@given(tables(), st.sampled_from(POINTS), st.sampled_from(ANSWERS[:3]))
def test_with_all_facts_recorded_each_set_of_facts_and_ruling_is_found_once_likeliest_first(table, point, aim):
    forest = Forest(VARIABLES)
    root = plant(forest, table)
    known = dict(zip(NAMES, point, strict=True))
    expected = by_brute_force(table, known, lambda item: item.spoken != aim.spoken)
    keys = {
        (tuple(change.fact for change in changes), *rulings)
        for changes, rulings in expected.items()  # all facts are known, so each set leads to one ruling
    }
    found = nearest_other_rulings(forest, root, known, aim.spoken, weigh, limit=10_000)
    assert {(tuple(c.fact for c in case.changes), case.answer.spoken) for case in found} == keys
    assert len(found) == len(keys)
    costs = [sum(weigh(c.fact, c.given, c.value) for c in case.changes) for case in found]
    assert costs == sorted(costs)
    assert nearest_other_rulings(forest, root, known, aim.spoken, weigh, limit=2) == found[:2]


@given(tables(), partly_known())
def test_once_the_changes_and_suppositions_hold_no_other_ruling_is_possible(table, known):
    forest = Forest(VARIABLES)
    root = plant(forest, table)
    for case in nearest_cases(forest, root, known, lambda _: True):
        read = {**known, **{c.fact: c.value for c in case.changes}, **dict(case.supposed)}
        assert {item.spoken for item in sound_answers(forest, root, read)} == {case.answer.spoken}
        assert all(known[name] is None for name, _ in case.supposed)
        assert all(known[c.fact] == c.given != c.value for c in case.changes)
        for name, _ in case.supposed:  # none of them is idle
            less = {fact: value for fact, value in read.items() if fact != name}
            assert {item.spoken for item in sound_answers(forest, root, less)} != {case.answer.spoken}


@given(tables(), partly_known())
def test_the_sound_answers_are_those_of_the_fitting_points(table, known):
    forest = Forest(VARIABLES)
    root = plant(forest, table)
    fitting = {
        item for point, item in zip(POINTS, table, strict=True) if not changes_of(point, known)
    } - {answer("contradiction")}
    assert set(sound_answers(forest, root, known)) == fitting


def test_where_no_facts_lead_to_a_ruling_there_is_no_nearest_case():
    forest = Forest(VARIABLES)
    assert nearest_cases(forest, forest.end(answer("contradiction")), {}, lambda _: True) == ()
    assert nearest_other_rulings(forest, forest.end(ANSWERS[0]), {}, ANSWERS[0].spoken) == ()


# --- worked by hand -------------------------------------------------------------------------------------------

QUIET = {
    "moment": "pitch", "time_granted": "no", "pitch_delivered": "yes", "batter_act": "none", "bat": "legal",
    "pitch_legality": "legal", "catcher_act": "none", "umpire_act": "none", "pitch_touched": "none",
    "contact": "none", "touched": "none", "swing": "none", "tip_first_touched": "mitt_or_hand",
    "contact_knee": "none", "bounced": "no", "stance_fault": "no", "on_first": "no", "on_second": "no",
    "on_third": "no", "stealing_first": "no", "stealing_second": "no", "stealing_third": "no",
    "walk_request": "none", "box_exception": "no", "play_on": "none", "warned_before": "no", "swing_appeal": "none",
    "helmet": "proper",
}  # fmt: skip
TODAY = dt.date(2026, 5, 1)


def near(code, facts, parts=None, day=TODAY):
    """The nearest other rulings of a settled case, or the nearest cases in which `parts` would be right."""
    book = rule_book()
    root = book.regime(code, day).root
    known = QUIET | facts
    if parts is not None:
        return nearest_with_ruling(book.forest, root, known, parts, (), plausibility)
    rulings = {item.spoken for item in sound_answers(book.forest, root, known)}
    assert len(rulings) == 1
    return nearest_other_rulings(book.forest, root, known, rulings.pop(), plausibility)


def part(case, name):
    return case.answer.ruling[RULING_FIELDS.index(name)]


FOOT_OUT = {"swing": "full", "contact": "fair", "contact_front": "all_out", "contact_back": "inside", "plate_touch": "no"}


def test_the_twin_of_a_foot_wholly_out_is_the_heel_on_the_chalk():
    # 7-3-2: the foot must be wholly outside; with part of it on the line the fair ball is in play.
    first = near("nfhs", FOOT_OUT)[0]
    assert first.changes == (Change("contact_front", "all_out", "part_out"),)
    assert part(first, "pitch") == "in_play"
    assert part(first, "batter") == "batter_runner"


def test_the_twin_of_the_heel_on_the_chalk_is_a_foot_wholly_out():
    cases = near("nfhs", FOOT_OUT | {"contact_front": "part_out"})
    assert Change("contact_front", "part_out", "all_out") in [change for case in cases for change in case.changes]


def test_with_both_feet_out_two_facts_must_read_otherwise_for_a_legal_hit():
    cases = near("nfhs", FOOT_OUT | {"contact_back": "all_out"}, {"pitch": "in_play"})
    assert [change.fact for change in cases[0].changes] == ["contact_front", "contact_back"]


def test_the_way_never_leads_through_facts_that_contradict_one_another():
    book = rule_book()
    for code in ("nfhs", "obr", "ncaa"):
        root = book.regime(code, TODAY).root
        known = QUIET | FOOT_OUT | {"balls": "1", "strikes": "1", "outs": "0", "pitch_caught": "no"}
        for case in nearest_cases(book.forest, root, known, lambda item: item.ruling[2] == "first_base", limit=50):
            read = known | {c.fact: c.value for c in case.changes} | dict(case.supposed)
            assert {item.state for item in sound_answers(book.forest, root, read)} == {"settled"}


def test_an_unrecorded_fact_is_supposed_and_costs_nothing():
    # A batter who froze: whether he could have avoided the pitch was not written down (7-3-4, 8-1-1d).
    facts = {"touched": "person", "avoidance": "froze", "touch_in_zone": "no", "touch_in_box": "no", "balls": "1", "strikes": "1"}
    first = near("nfhs", facts, {"batter": "first_base"})[0]
    assert first.changes == ()
    assert first.supposed == (("could_avoid", "no"),)


@pytest.mark.parametrize(
    ("own", "parts", "wanted", "expected"),
    [
        (("strike", "live", "at_bat"), {"pitch": "strike"}, (), True),
        (("strike", "live", "at_bat"), {"pitch": "strike", "batter": "out"}, (), False),
        (("", "dead", "out"), {"pitch": "ball", "batter": "out"}, (), True),  # no pitch is called on such an out
        (("", "dead", "out"), {"pitch": "ball"}, (), False),  # nothing that was called is said
        (("", "dead", "out"), {"pitch": "ball", "batter": "out"}, ("pitch",), False),
    ],
)
def test_a_ruling_has_the_parts_of_a_call_or_leaves_them_uncalled(own, parts, wanted, expected):
    item = Answer("settled", (), (*own, "", "none", "none", "none"), 0, "none")
    assert has_parts(item, parts, wanted) is expected
