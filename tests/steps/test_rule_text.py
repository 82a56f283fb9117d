"""The catalogue in words: conditions, what answers in another code, and the published tables of the rules."""

from __future__ import annotations

import datetime as dt
import random

import pytest
from hypothesis import given
from hypothesis import strategies as st

import schemas
from pipeline.publish.measure_text import option_rows
from pipeline.publish.rule_words import _settled, condition_lines, condition_sentence, ruling_words, title, value_words
from pipeline.rules.elsewhere import elsewhere
from pipeline.rules.expression import All, Membership, Not, Some, parse
from pipeline.rules.model import CODES
from pipeline.rules.reading import decisions, rules
from pipeline.rules.vocabulary import facts
from pipeline.store import Store


def holds(condition, values):
    """Whether a condition holds for complete values, read off the language's definition."""
    if isinstance(condition, Not):
        return not holds(condition.part, values)
    if isinstance(condition, All | Some):
        found = [holds(part, values) for part in condition.parts]
        return all(found) if isinstance(condition, All) else any(found)
    return condition.holds(values[condition.name])


def words(name, value):
    clause = value_words(name, value)
    return clause[0].upper() + clause[1:]


def test_a_condition_is_told_line_by_line_with_what_stands_within_what():
    found = condition_lines(parse("swing = 'full' and (outs = 2 or touched = 'none') and balls <= 2"))
    assert found == [
        (0, "All of these hold:"),
        (1, words("swing", "full")),
        (1, "At least one of these holds:"),
        (2, words("outs", "2")),
        (2, words("touched", "none")),
        (1, f"{title('balls')}: at most 2"),
    ]


def test_one_of_several_values_is_one_of_the_things_of_which_one_must_hold():
    found = condition_lines(parse("swing in ('full', 'bunt') or on_first = 'yes'"))
    assert found == [
        (0, "At least one of these holds:"),
        (1, words("swing", "full")),
        (1, words("swing", "bunt")),
        (1, words("on_first", "yes")),
    ]


def test_not_is_carried_into_the_comparisons():
    # not (a and balls <= 2) is: not a, or balls > 2; on_first has two values, so `not yes` is `no`.
    found = condition_lines(parse("not (on_first = 'yes' and balls <= 2)"))
    assert found == [
        (0, "At least one of these holds:"),
        (1, words("on_first", "no")),
        (1, f"{title('balls')}: more than 2"),
    ]


def test_many_values_ruled_out_are_listed_as_such():
    # batter_act has more than three other values, so what is ruled out is shorter to say.
    found = condition_lines(parse("batter_act not in ('delay', 'switched_box', 'left_box_both_feet')"))
    assert found == [
        (0, "None of these holds:"),
        *((1, words("batter_act", act)) for act in ("delay", "switched_box", "left_box_both_feet")),
    ]


def test_an_earlier_answer_is_told_by_its_question():
    text = condition_sentence(parse("met_first = 'bat' or judgement.count in ('ball', 'strike')"))
    asked = {decision.name: decision.question for decision in decisions()}
    assert text == f"“{asked['met_first']}” is answered: bat; or “{asked['judgement']}” counts as: a ball or a strike"


def test_a_ruling_says_what_is_not_called_and_what_may_be():
    assert ruling_words({"pitch": "", "outs_added": "0|1"}) == "no pitch is called; outs added: 0 or 1"


NAMES = {"swing": ("none", "full", "bunt", "checked"), "on_first": ("yes", "no"), "balls": ("0", "1", "2", "3")}


def memberships():
    texts = [
        st.builds(Membership, st.just(name), st.sampled_from(["in", "not in"]), st.sets(st.sampled_from(values), min_size=1).map(tuple))
        for name, values in NAMES.items()
    ]
    sizes = st.builds(
        Membership, st.just("balls"), st.sampled_from(["<", "<=", ">", ">="]), st.sampled_from(NAMES["balls"]).map(lambda value: (value,))
    )
    return st.one_of(*texts, sizes)


CONDITIONS = st.recursive(
    memberships(),
    lambda inner: st.one_of(
        st.builds(Not, inner),
        st.builds(All, st.lists(inner, min_size=2, max_size=3).map(tuple)),
        st.builds(Some, st.lists(inner, min_size=2, max_size=3).map(tuple)),
    ),
    max_leaves=6,
)


@given(CONDITIONS, st.fixed_dictionaries({name: st.sampled_from(values) for name, values in NAMES.items()}))
def test_what_is_told_means_the_same_as_the_condition(condition, values):
    assert holds(_settled(condition), values) == holds(condition, values)


@pytest.mark.parametrize(
    ("rule", "code", "instead", "outcome"),
    [
        # A tip off the catcher's gear: a foul tip in the other codes, and in high school a foul ball by B322 alone.
        ("B321", "nfhs", ("B322",), None),
        # Stepping out and stopping the pitcher: elsewhere nobody is charged, and both start over.
        ("A108", "obr", ("A109",), None),
        # A knee outside: feet may be out too (B301), he may have jumped (B304), or the hit is legal.
        ("B302", "obr", ("B301", "B304"), "legal"),
    ],
)
def test_what_answers_in_a_code_without_the_rule_worked_out_by_hand(rule, code, instead, outcome):
    found = elsewhere()[rule, code]
    assert (found.rule_ids, found.outcome) == (instead, outcome)


def answers(code, values):
    """By decision: the rules that speak, under the newest rules of a code, each condition read by itself."""
    values = dict(values)
    found = {}
    active = [rule for rule in rules().values() if code in rule.codes and rule.codes[code].in_force(dt.date.max)]
    for decision in decisions():
        asked = decision.asked is None or holds(decision.asked, values)
        met = {rule.id: rule for rule in active if rule.decision == decision.name and asked and holds(rule.when, values)}
        speaking = [rule for rule in met.values() if not set(rule.yields_to) & met.keys()]
        found[decision.name] = (asked, {rule.id for rule in speaking})
        outcome = speaking[0].then if speaking else decision.otherwise if asked else "not_asked"
        values[decision.name] = outcome
        values[f"{decision.name}.count"] = (speaking[0].count if speaking else None) or "none"
    return found, values


def wanted(condition):
    """The facts that a condition asks for outright, each with the values that would do."""
    if isinstance(condition, Membership) and condition.operator == "in":
        yield condition.name, condition.values
    elif isinstance(condition, All):
        for part in condition.parts:
            yield from wanted(part)


def near(rule, draw):
    """Complete facts near those that a rule asks for, and near its worked cases: blanks are read, the rest is drawn."""
    columns = {field.name: field.blank_value for field in schemas.table("plate_calls").fields}
    asked = {name: values for name, values in wanted(rule.when) if name in facts()}
    seeds = [{}, *(case.given for case in rule.cases if case.then.get("rule") == "met")]
    for seed in seeds:
        for _ in range(15):
            values = {name: columns.get(name) or draw.choice(fact.values) for name, fact in facts().items()}
            values |= {name: draw.choice(choices) for name, choices in asked.items()}
            values |= {name: value for name, value in seed.items() if value and name in values}
            name = draw.choice(list(facts()))
            yield values | {name: draw.choice(facts()[name].values)} if draw.random() < 0.5 else values


def test_on_no_facts_does_another_rule_answer_than_those_that_are_named():
    draw = random.Random(7)
    seen = set()
    for (rule_id, code), named in elsewhere().items():
        rule = rules()[rule_id]
        first = [rules()[other] for other in rule.yields_to if code in rules()[other].codes]
        for given_facts in near(rule, draw):
            found, values = answers(code, given_facts)
            asked, speaking = found[rule.decision]
            if asked and holds(rule.when, values) and not any(holds(other.when, values) for other in first):
                seen.add((rule_id, code))
                right = speaking & set(named.rule_ids) if speaking else named.outcome is not None
                assert right, (rule_id, code, speaking)
    # Where neither a rule nor an outcome is named the question never arises, and nothing can be seen.
    assert len(seen) > 0.6 * sum(bool(named.rule_ids or named.outcome) for named in elsewhere().values())


def test_every_rule_and_decision_of_the_catalogue_is_published_with_its_parts(outcome):
    with Store(outcome.store_path, read_only=True) as store:
        assert dict(store.rows("SELECT rule_id, condition FROM published.pub_rule")) == {
            rule.id: rule.when_text for rule in rules().values()
        }
        assert set(store.rows("SELECT rule_id, code, reference FROM published.pub_rule_code")) == {
            (rule.id, code, rule.codes[code].reference or None if code in rule.codes else None)
            for rule in rules().values()
            for code in CODES
        }
        assert store.rows("SELECT rule_id, case_no, name, source FROM published.pub_rule_case ORDER BY ALL") == sorted(
            (rule.id, number, case.name, case.source)
            for rule in rules().values()
            for number, case in enumerate(rule.cases, 1)
        )
        assert store.rows("SELECT decision FROM published.pub_decision ORDER BY place") == [
            (decision.name,) for decision in decisions()
        ]


def test_times_and_misrulings_of_a_rule_are_those_of_the_published_calls(outcome):
    with Store(outcome.store_path, read_only=True) as store:
        told = store.rows("SELECT rule_id, times_used, times_wrong FROM published.pub_rule WHERE times_used > 0 ORDER BY ALL")
        calls = store.rows("SELECT rule_ids, verdict FROM published.pub_call WHERE rule_ids IS NOT NULL")
        by_kind = store.rows("SELECT rule_id, sum(times) FROM published.pub_rule_misruling GROUP BY rule_id ORDER BY ALL")
    used, wrong = {}, {}
    for ids, verdict in calls:
        for rule_id in ids.split(";"):
            used[rule_id] = used.get(rule_id, 0) + 1
            wrong[rule_id] = wrong.get(rule_id, 0) + (verdict == "wrong")
    assert told == sorted((rule_id, used[rule_id], wrong[rule_id]) for rule_id in used)
    assert by_kind == sorted((rule_id, times) for rule_id, times in wrong.items() if times)


def test_a_point_of_the_league_shows_what_the_policy_settles():
    rows = {row[0]: row for row in option_rows(list(rules().values()), {"first_delay": "warn"})}
    # The declaration: first_delay has the default `strike`, `leaving_box` has none.
    assert rows["first_delay"][4:7] == ("a strike each time", "a warning the first time", "policy")
    assert rows["leaving_box"][4:7] == (None, None, "nobody")
    assert "A112" in rows["leaving_box"][10].split(";")
