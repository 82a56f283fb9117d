"""The explanation of one case: words for every fact, truth with missing facts, the rules passed by, what lies near."""

from __future__ import annotations

import datetime as dt
import json

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

import schemas
from pipeline.errors import RuleDefinitionError
from pipeline.rules.answer import columns_of, rule_case
from pipeline.rules.compile import rule_book
from pipeline.rules.explanation import document, explain
from pipeline.rules.explanation_called import hold_against
from pipeline.rules.explanation_path import NO_RULE, View
from pipeline.rules.explanation_steps import first_failed
from pipeline.rules.explanation_words import (
    fact_words,
    joined,
    part_words,
    plausibility,
    read_fact,
    said,
    sentence,
)
from pipeline.rules.expression import parse
from pipeline.rules.model import CODES, RULING_FIELDS
from pipeline.rules.nearest import sound_answers
from pipeline.rules.options import PREFIX, settle
from pipeline.rules.reading import rules
from pipeline.rules.vocabulary import facts, recorded_facts

TODAY = dt.date(2026, 5, 1)
QUIET = {
    "moment": "pitch", "time_granted": "no", "pitch_delivered": "yes", "batter_act": "none", "bat": "legal",
    "pitch_legality": "legal", "catcher_act": "none", "umpire_act": "none", "pitch_touched": "none",
    "contact": "none", "touched": "none", "swing": "none", "tip_first_touched": "mitt_or_hand",
    "contact_knee": "none", "bounced": "no", "stance_fault": "no", "on_first": "no", "on_second": "no",
    "on_third": "no", "stealing_first": "no", "stealing_second": "no", "stealing_third": "no",
    "walk_request": "none", "box_exception": "no", "play_on": "none", "warned_before": "no", "swing_appeal": "none",
    "helmet": "proper", **{PREFIX + name: value for name, value in settle({})},
}  # fmt: skip
FOOT_OUT = QUIET | {
    "swing": "full", "contact": "fair", "contact_front": "all_out", "contact_back": "on_line", "plate_touch": "no",
    "outs": "0", "balls": "1", "strikes": "1",
}  # fmt: skip
LOOSE_SHIRT = QUIET | {
    "touched": "loose_clothing", "avoidance": "permitted", "touch_in_zone": "yes", "touch_in_box": "no",
    "balls": "0", "strikes": "0",
}  # fmt: skip
FROZE = QUIET | {
    "touched": "person", "avoidance": "froze", "touch_in_zone": "no", "touch_in_box": "no", "balls": "1", "strikes": "1",
}  # fmt: skip


def of(code, known, ruled=None, day=TODAY):
    return explain(rule_book(), code, day, known, ruled)


# --- words ----------------------------------------------------------------------------------------------------


def test_every_fact_and_every_value_of_it_has_words():
    words = fact_words()  # raises with the names that have none
    assert list(words) == list(facts())
    for name, fact in facts().items():
        assert set(words[name].values) == set(fact.values)
        assert words[name].noun
        if not name.startswith(PREFIX):
            assert len(set(words[name].values.values())) == len(fact.values), name


def test_clauses_can_stand_within_a_sentence():
    for words in fact_words().values():
        for clause in words.values.values():
            assert clause == clause.strip().rstrip(".")
            assert "_" not in clause
    for words in part_words().values():
        assert all(clause and not clause.endswith(".") for clause in words.values.values())
    assert list(part_words()) == list(RULING_FIELDS)


WHOLE = {"noun": "the wind", "kind": "judged", "values": {"calm": "it was calm", "out": "it blew out"}}
REFUSED = [
    ({**WHOLE, "colour": "red"}, "and nothing unknown"),
    ({key: WHOLE[key] for key in ("kind", "values")}, "must have kind, noun, values"),
    ({**WHOLE, "kind": "guess"}, "unknown kind 'guess'"),
    ({**WHOLE, "values": {"calm": "it was calm"}}, "wind has no words for out"),
    ({**WHOLE, "values": {"calm": "it was calm", "out": ""}}, "wind has no words for out"),
    ({**WHOLE, "values": {**WHOLE["values"], "in": "it blew in"}}, "wind never is in"),
    ({**WHOLE, "quiet": ["still"]}, "wind never is still"),
    ({**WHOLE, "near": [["calm", "in"]]}, "wind never is in"),
    ({**WHOLE, "near": [["calm", "out", "calm"]]}, "in pairs"),
]


@pytest.mark.parametrize(("raw", "message"), REFUSED)
def test_words_that_miss_or_invent_something_are_refused(raw, message):
    with pytest.raises(RuleDefinitionError) as caught:
        read_fact("wind", raw, ("calm", "out"))
    assert message in str(caught.value)
    assert "fact_words.yaml" in str(caught.value)


def test_near_values_hold_both_ways_and_by_default_between_all_values_of_a_judged_fact():
    assert read_fact("wind", WHOLE, ("calm", "out")).near >= {("calm", "out"), ("out", "calm")}
    event = read_fact("wind", {**WHOLE, "kind": "event"}, ("calm", "out"))
    assert event.near == frozenset()
    listed = read_fact("wind", {**WHOLE, "kind": "event", "near": [["out", "calm"]]}, ("calm", "out"))
    assert listed.near == {("calm", "out"), ("out", "calm")}


def test_what_is_easily_mistaken_is_likelier_than_what_is_plain_to_see_or_known_before_the_pitch():
    order = [
        plausibility("contact_front", "all_out", "part_out"),
        plausibility("contact_front", "all_out", "inside"),
        plausibility("time_granted", "no", "yes"),
        plausibility("balls", "3", "2"),
    ]
    assert order == sorted(set(order))


def test_lists_and_sentences_are_put_together_as_people_write_them():
    assert joined(["a"]) == "a"
    assert joined(["a", "b"], "or") == "a or b"
    assert joined(["a", "b", "c"]) == "a, b, and c"
    assert sentence(["it rained", "we played"]) == "It rained and we played."
    assert sentence([]) == ""
    pairs = [("bounced", "no"), ("swing", "full")]
    assert said(pairs) == ("the batter swung",)
    assert len(said(pairs, with_quiet=True)) == 2


# --- truth with missing facts ---------------------------------------------------------------------------------


def cases():
    """Draw a code, and facts that mostly are as on a quiet pitch; some not recorded."""
    usual = {
        name: QUIET.get(name, next(iter(sorted(fact_words()[name].quiet)), fact.values[0]))
        for name, fact in facts().items()
    }
    changed = st.lists(st.sampled_from(list(facts())), max_size=9, unique=True).flatmap(
        lambda names: st.fixed_dictionaries({name: st.sampled_from((*facts()[name].values, None)) for name in names})
    )
    return st.tuples(st.sampled_from(CODES), changed.map(lambda new: usual | new))


def completions(known):
    return st.fixed_dictionaries(
        {
            name: st.sampled_from(fact.values) if known.get(name) is None else st.just(known[name])
            for name, fact in facts().items()
        }
    )


@settings(max_examples=80, deadline=None)
@given(cases(), st.data())
def test_what_is_decided_with_facts_missing_is_so_however_they_are_filled(drawn, data):
    code, known = drawn
    book = rule_book()
    regime = book.regime(code, TODAY)
    partly = View(book, regime, known)
    whole = View(book, regime, data.draw(completions(known)))
    for name, taken in partly.taken.items():
        filled = whole.taken[name]
        assert set(filled.speakers) <= set(taken.speakers)
        assert set(filled.outcomes) <= set(taken.outcomes)
        assert set(filled.counts) <= set(taken.counts)
        assert taken.asked in (None, filled.asked)
        assert all(met in (None, filled.met[rule_id]) for rule_id, met in taken.met.items())


@settings(max_examples=80, deadline=None)
@given(cases(), st.data())
def test_with_all_facts_the_rules_that_spoke_are_those_of_the_ruling(drawn, data):
    code, known = drawn
    book = rule_book()
    regime = book.regime(code, TODAY)
    filled = data.draw(completions(known))
    view = View(book, regime, filled)
    ends = sound_answers(book.forest, regime.root, filled)
    speakers = [taken.speakers[0] for taken in view.taken.values() if taken.speakers[0] != NO_RULE]
    assert all(len(taken.speakers) == 1 == len(taken.outcomes) for taken in view.taken.values())
    if not ends:
        assert view.taken["standing"].outcomes == ("contradiction",)
    elif ends[0].state == "settled":
        aside = {name for rule_id in speakers for name in book.rules[rule_id].sets_aside}
        kept = [rule_id for rule_id in speakers if book.rules[rule_id].decision not in aside]
        assert tuple(kept) == ends[0].rule_ids
    else:
        assert set(ends[0].rule_ids) <= set(speakers)


BLANKS = {field.name: field.blank_value for field in schemas.table("plate_calls").fields}


def test_on_every_rules_own_cases_the_rules_that_surely_spoke_are_in_every_possible_ruling():
    told = 0
    for rule in rules().values():
        for case in rule.cases:
            league = settle(case.options)
            book = rule_book(league)
            regime = book.regime(case.code, case.day or TODAY)
            known = {PREFIX + name: value for name, value in league}
            known |= {name: str(case.given.get(name, BLANKS.get(name) or "")) or None for name in recorded_facts()}
            answers = sound_answers(book.forest, regime.root, known)
            # From the conditions alone; an open case also narrowed down by the rulings that are possible.
            views = [View(book, regime, known)] + [View(book, regime, known, answers)] * (len(answers) > 1)
            for view in views:
                for answer in answers:
                    aside = {name for rule_id in answer.rule_ids for name in book.rules[rule_id].sets_aside}
                    for name, taken in view.taken.items():
                        own = [one for one in answer.rule_ids if book.rules[one].decision == name]
                        assert set(own) <= set(taken.speakers), (rule.id, case.name, name)
                        if len(taken.speakers) == 1 and answer.state == "settled" and name not in aside and not (
                            aside and name in view.set_aside
                        ):
                            assert (own or [NO_RULE]) == list(taken.speakers), (rule.id, case.name, name)
                            told += 1
    assert told > 3_000


@settings(max_examples=60, deadline=None)
@given(cases(), st.data())
def test_the_grounds_of_a_condition_alone_make_it_what_it_is(drawn, data):
    code, known = drawn
    book = rule_book()
    regime = book.regime(code, TODAY)
    filled = data.draw(completions(known))
    view = View(book, regime, filled)
    rule_id = data.draw(st.sampled_from(regime.rule_ids))
    condition = book.rules[rule_id].when
    grounds = view.grounds(condition)
    others = [name for name in facts() if name not in grounds]
    changed = data.draw(st.lists(st.sampled_from(others), max_size=3, unique=True))
    other = View(
        book, regime, filled | {name: data.draw(st.sampled_from(facts()[name].values)) for name in changed}
    )
    # Which decisions are asked at all may turn on more than the condition speaks of.
    assume(all(other.taken[name].asked == taken.asked for name, taken in view.taken.items()))
    assert other.truth(condition) == view.truth(condition)


@settings(max_examples=60, deadline=None)
@given(cases())
def test_the_explanation_of_any_case_agrees_with_its_ruling(drawn):
    code, known = drawn
    book = rule_book()
    found = of(code, known, {"pitch": "ball", "batter": "first_base"})
    ruling = rule_case(book, book.regime(code, TODAY), known)
    assert (found.state, found.ruling, found.because) == (ruling.state, ruling.ruling, ruling.because)
    assert columns_of([need.fact for need in found.needs]) == ruling.needs
    assert {one.fact for one in found.seen} <= {name for name, value in known.items() if value is not None}
    json.dumps(document(found))


def test_a_condition_that_failed_is_told_by_its_first_failed_comparison():
    book = rule_book()
    view = View(book, book.regime("nfhs", TODAY), FOOT_OUT | {"contact": "foul", "swing": "none", "zone": "in_zone", "pitch_caught": "no"})
    told = {
        "swing = 'none' and contact = 'fair' and balls = 3": "the contact was foul, the rule asks for fair",
        "contact = 'fair' or contact = 'foul_tip'": "the contact was foul, the rule asks for fair or foul tip",
        "contact not in ('foul', 'foul_tip')": "the contact was foul, the rule asks for anything but foul or foul tip",
        "not (contact = 'foul' and zone = 'in_zone')":
            "the contact was foul, the rule asks for anything but foul; where the pitch crossed was in zone, "
            "the rule asks for anything but in zone",
        "balls >= 2": "the count of balls was 1, the rule asks for at least 2",
        "not balls < 2": "the count of balls was 1, the rule asks for at least 2",
        "bounced = 'yes'": "the pitch did not bounce before the plate, the rule asks for the opposite",
        "touched != 'none'": "the pitch did not touch the batter, the rule asks for the opposite",
        "swing in ('full', 'bunt')": "the batter did not offer; of the swing the rule asks for full or bunt",
        "met_first = 'batter'": "met first was bat, the rule asks for batter",
    }  # fmt: skip
    for text, words in told.items():
        condition = parse(text)
        assert view.truth(condition) is False, text
        assert first_failed(view, condition) == words


def test_many_alternatives_are_cut_short():
    book = rule_book()
    view = View(book, book.regime("nfhs", TODAY), QUIET)
    told = first_failed(
        view, parse("bounced = 'yes' or stance_fault = 'yes' or on_first = 'yes' or on_second = 'yes' or on_third = 'yes'")
    )
    assert told.endswith("; and so on for 2 more")
    assert told.count("the rule asks for") == 3


def test_missing_facts_make_a_condition_undecided_only_where_they_matter():
    book = rule_book()
    view = View(book, book.regime("nfhs", TODAY), {"contact": "foul"})
    assert view.truth(parse("contact = 'fair' and zone = 'in_zone'")) is False
    assert view.truth(parse("contact = 'foul' or zone = 'in_zone'")) is True
    assert view.truth(parse("contact = 'foul' and zone = 'in_zone'")) is None
    assert view.missing(parse("contact = 'foul' and zone = 'in_zone' and balls = 3")) == {"zone", "balls"}
    assert view.missing(parse("contact = 'fair' and zone = 'in_zone'")) == frozenset()


# --- cases worked by hand -------------------------------------------------------------------------------------


def step(explanation, decision):
    return next(one for one in explanation.path if one.decision == decision)


def passed_by(explanation, rule_id):
    return next(one for path in explanation.path for one in path.passed_by if one.rule_id == rule_id)


def test_a_foot_wholly_out_is_told_in_three_paragraphs():
    found = of("nfhs", FOOT_OUT)
    assert found.seen_words == (
        "The ball off the bat was fair and the front foot was on the ground wholly outside the lines when the bat met "
        "the ball."
    )
    assert ("B301", "7-3-2") in [(rule.rule_id, rule.reference) for rule in found.rules]
    assert found.follows_words == "The ball is dead, the batter is out, and the runners go back to the bases they held."


def test_what_a_coach_may_point_to_is_told_beside_what_the_ruling_rests_on():
    # The heel is on the chalk, but the toes are on the plate: 7-3-2 makes that a ground of its own.
    found = of("nfhs", FOOT_OUT | {"contact_front": "part_out", "contact_back": "inside", "plate_touch": "yes"})
    assert found.seen_words == (
        "The ball off the bat was fair and a foot or knee was on home plate when the bat met the ball. It was also "
        "recorded that part of the front foot was outside the lines and part of it was not when the bat met the ball "
        "and the back foot was inside the box when the bat met the ball."
    )


def test_the_way_names_the_rule_that_spoke_and_why_others_did_not():
    found = of("nfhs", FOOT_OUT)
    legality = step(found, "hit_legality")
    assert (legality.state, legality.outcomes, legality.rule_ids) == ("taken", ("illegal",), ("B301",))
    knee = passed_by(found, "B302")
    assert (knee.why, knee.same_topic) == ("not_met", True)
    assert knee.words.startswith("no knee was on the ground when the bat met the ball")
    assert not passed_by(found, "P501").same_topic
    spoke = {rule.rule_id for rule in found.rules}
    assert not spoke & {passed.rule_id for path in found.path for passed in path.passed_by}


def test_a_rule_that_was_met_but_yielded_says_to_which():
    # In the zone, and only a loose shirt touched: the strike comes first (8-1-1d1 before 8-1-1d2).
    found = of("nfhs", LOOSE_SHIRT)
    assert found.ruling["pitch"] == "strike"
    shirt = passed_by(found, "H403")
    assert (shirt.why, shirt.words) == ("gave_way", "it was met, and gave way to H402")


def test_a_rule_that_cannot_be_decided_names_the_missing_facts():
    found = of("nfhs", FROZE | {"touch_in_zone": None, "could_avoid": "no"})
    assert found.state == "open"
    in_zone = step(found, "judgement")
    assert in_zone.state == "undecided"
    assert set(in_zone.rule_ids) == {"H402", "H410"}
    assert [need.fact for need in found.needs] == ["touch_in_zone"]


def test_a_decision_that_does_not_arise_says_what_it_waits_for():
    legality = step(of("nfhs", FROZE | {"could_avoid": "no"}), "hit_legality")
    assert (legality.state, legality.passed_by) == ("not_asked", ())
    assert legality.words == "met first was batter, it is asked only for bat"


def test_what_would_settle_an_open_case_lists_the_rulings_that_each_value_leaves():
    found = of("nfhs", FROZE)
    (need,) = found.needs
    assert (need.fact, need.columns) == ("could_avoid", ("could_avoid",))
    left = {value.value: [ruling.parts["batter"] for ruling in value.rulings] for value in need.values}
    assert left == {"yes": ["at_bat"], "no": ["first_base"]}  # 7-3-4: a ball; 8-1-1d: first base


def test_a_value_that_contradicts_the_record_leaves_no_ruling():
    # He could not have avoided the pitch, so he cannot have let it hit him; what else he did was not written down.
    found = of("nfhs", FROZE | {"avoidance": None, "could_avoid": "no"})
    (need,) = found.needs
    left = {value.value: [ruling.parts["batter"] for ruling in value.rulings] for value in need.values}
    assert need.fact == "avoidance"
    assert left == {
        "tried": ["first_base"], "no_chance": ["first_base"], "froze": ["first_base"], "permitted": [],
        "moved_into": ["at_bat"],
    }  # fmt: skip


def test_a_contradiction_shows_what_would_go_together():
    found = of("nfhs", QUIET | {"swing": "full", "strikes": "0", "stealing_first": "yes"})
    assert found.state == "contradiction"
    assert {case.changes[0].fact for case in found.nearest} == {"on_first", "stealing_first"}
    assert "first base was open" in found.seen_words.lower()


def test_the_nearest_other_ruling_turns_on_what_is_at_issue():
    found = of("obr", QUIET | {"zone": "out_of_zone", "balls": "1", "strikes": "1"})
    first = found.nearest[0]
    assert [(change.fact, change.value) for change in first.changes] == [("zone", "in_zone")]
    assert first.answer.ruling[0] == "strike"


def test_a_changed_count_comes_after_a_fact_that_the_eye_judges():
    # Ball four: three balls read as two, or the place alone, give another ruling by one change.
    found = of("nfhs", QUIET | {"zone": "out_of_zone", "balls": "3", "strikes": "1"})
    changed = [case.changes[0].fact for case in found.nearest]
    assert changed[0] == "zone"
    assert "balls" not in changed[:-1]


def test_a_league_point_that_is_not_settled_is_told_as_such():
    # What it costs in professional play to leave the box between pitches differs by league and year (5.04(b)(4)).
    left = QUIET | {"moment": "before_pitch", "batter_act": "left_box_both_feet", "balls": "1", "strikes": "1"}
    found = of("obr", left)
    (need,) = found.needs
    assert (need.fact, need.columns) == (PREFIX + "leaving_box", ())
    assert {value.value: value.rulings[0].parts["pitch"] for value in need.values} == {
        "strike": "strike", "warn_first": "", "warn": "",
    }  # fmt: skip
    settled = settle({"leaving_box": "strike"})
    explained = explain(rule_book(settled), "obr", TODAY, left, settled=settled)
    assert (explained.state, explained.ruling["pitch"]) == ("settled", "strike")
    assert not any(one.fact.startswith(PREFIX) for one in (*explained.seen, *explained.seen_beside))


def test_a_decision_that_a_later_rule_undoes_is_marked():
    # The catcher hindered the swing, a fair ball followed, and not all advanced: first base, whatever became of it.
    found = of("nfhs", FOOT_OUT | {"contact_front": "inside", "catcher_act": "hindered_batter", "all_advanced": "no"})
    assert found.ruling["batter"] == "first_base"
    judged = step(found, "judgement")
    assert (judged.outcomes, judged.set_aside_by) == (("in_play",), "C811")


def test_the_way_ends_where_no_ruling_is_given():
    found = of("nfhs", QUIET | {"stealing_first": "yes"})
    assert [one.decision for one in found.path] == ["standing"]


# --- you called -----------------------------------------------------------------------------------------------


def test_a_call_is_held_against_the_ruling_part_by_part():
    called = of("nfhs", FOOT_OUT, {"pitch": "in_play", "batter": "batter_runner", "runners": "return"}).called
    assert called.verdict == "wrong"
    assert {part.part: part.verdict for part in called.parts} == {
        "pitch": "not_called", "batter": "wrong", "runners": "right",
    }  # fmt: skip
    batter = next(part for part in called.parts if part.part == "batter")
    assert (batter.rule_id, batter.words) == ("B310", "wrong: the batter is out (B310, 7-3-2 Penalty)")


def test_the_nearest_case_in_which_a_call_would_be_right_differs_in_the_fact_at_issue():
    called = of("nfhs", FOOT_OUT, {"pitch": "in_play", "batter": "batter_runner"}).called
    (change,) = called.nearest[0].changes
    assert (change.fact, change.given, change.value) == ("contact_front", "all_out", "part_out")


def test_a_call_that_another_code_or_day_makes_right_says_so():
    # Since 2019 a college batter who moves into a pitch is charged a strike; before, and elsewhere, it was a ball.
    moved = FROZE | {"avoidance": "moved_into"}
    called = of("ncaa", moved, {"pitch": "ball"}).called
    assert called.verdict == "wrong"
    assert {span.code for span in called.codes} == {"nfhs", "obr"}
    assert [(span.code, span.last_day) for span in called.days] == [("ncaa", dt.date(2018, 12, 31))]
    before = of("ncaa", moved, {"pitch": "strike"}, dt.date(2018, 4, 1)).called
    assert [(span.first_day, span.last_day) for span in before.days] == [(dt.date(2019, 1, 1), None)]
    assert before.codes == ()


def test_another_code_may_read_the_same_sheet_in_its_own_way():
    book = rule_book()
    known = FROZE | {"could_avoid": "no"}
    ruled = {"pitch": "ball", "batter": "at_bat"}
    as_is = hold_against(book, "nfhs", TODAY, known, ruled)
    read = hold_against(book, "nfhs", TODAY, known, ruled, {"obr": FROZE | {"could_avoid": "yes"}})
    assert "obr" not in {span.code for span in as_is.codes}
    assert "obr" in {span.code for span in read.codes}


def test_a_right_call_needs_no_other_case():
    called = of("nfhs", FOOT_OUT, {"ball_status": "dead", "batter": "out"}).called
    assert (called.verdict, called.nearest, called.codes, called.days, called.patterns) == ("right", (), (), (), ())


def test_a_call_on_an_open_case_is_right_if_the_missing_facts_were_so():
    called = of("nfhs", FROZE, {"batter": "first_base"}).called
    assert called.verdict == "open"
    assert (called.nearest[0].changes, called.nearest[0].supposed) == ((), (("could_avoid", "no"),))


def test_nothing_is_held_against_a_case_without_a_ruling_or_a_call():
    assert of("nfhs", FOOT_OUT).called is None
    assert of("nfhs", FOOT_OUT, {"batter": ""}).called is None
    assert of("nfhs", QUIET | {"stealing_first": "yes"}, {"batter": "out"}).called is None


def test_a_known_pattern_of_a_wrong_call_is_named():
    # A foot partly out ruled as an illegal hit: a line is taken to be out of the box.
    called = of("nfhs", FROZE | {"avoidance": "permitted"}, {"pitch": "ball", "batter": "first_base"}).called
    assert called.patterns
    assert all(pattern.title and pattern.says for pattern in called.patterns)


def test_the_document_has_stable_keys_and_plain_values():
    found = document(of("nfhs", FOOT_OUT, {"batter": "batter_runner"}))
    assert list(found) == [
        "format", "code", "code_title", "day", "state", "ruling", "outs_added", "balls_after", "strikes_after",
        "because", "confidence", "seen", "seen_beside", "seen_words", "rules", "follows_words", "path", "needs",
        "nearest", "called",
    ]  # fmt: skip
    assert found["day"] == "2026-05-01"
    assert list(found["nearest"][0]) == ["changes", "supposed", "answer"]
    assert list(found["nearest"][0]["answer"]) == ["parts", "outs_added", "words", "rule_ids"]
    assert list(found["called"]) == ["verdict", "parts", "patterns", "nearest", "codes", "days"]
    assert json.loads(json.dumps(found)) == found
