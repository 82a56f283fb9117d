"""Decision diagrams, conditions, reading and compiling: each against brute force or a file with one mistake."""

from __future__ import annotations

import datetime as dt
import itertools
from dataclasses import replace

import pytest
import yaml
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.errors import ContractError, RuleConflictError, RuleDefinitionError
from pipeline.rules import compile as compiling
from pipeline.rules import reading
from pipeline.rules.compile import compile_rules, rule_book
from pipeline.rules.diagram import Forest, Variable
from pipeline.rules.expression import All, Membership, Not, memberships_in, names_in, parse
from pipeline.rules.model import Decision
from pipeline.rules.reading import check_condition, read_rule, rules

# --- diagrams -------------------------------------------------------------------------------------------------

VARIABLES = (
    Variable("wind", ("calm", "out")),
    Variable("surface", ("grass", "dirt", "turf")),
    Variable("light", ("day", "night")),
    Variable("gap", ("a", "b")),
)
NAMES = [variable.name for variable in VARIABLES]
POINTS = list(itertools.product(*(variable.values for variable in VARIABLES)))


def tables(answers=(0, 1, 2)):
    """Draw functions of the four facts, each as its list of answers over all points."""
    return st.lists(st.sampled_from(answers), min_size=len(POINTS), max_size=len(POINTS)).map(tuple)


def known_facts():
    return st.fixed_dictionaries({v.name: st.sampled_from((None, *v.values)) for v in VARIABLES}).map(
        lambda drawn: {name: value for name, value in drawn.items() if value is not None}
    )


def plant(forest, table):
    """The diagram of a function given as a list, built from the bottom up."""
    layer = [forest.end(answer) for answer in table]
    for level in reversed(range(len(VARIABLES))):
        width = len(VARIABLES[level].values)
        layer = [forest.node(level, tuple(layer[i : i + width])) for i in range(0, len(layer), width)]
    return layer[0]


def value_at(forest, node, point):
    _, end = forest.path(node, dict(zip(NAMES, point, strict=True)))
    return forest.answers[end]


def fitting(known):
    """The points that agree with the known facts."""
    return [
        i for i, point in enumerate(POINTS) if all(point[NAMES.index(name)] == value for name, value in known.items())
    ]


@given(tables())
def test_a_diagram_gives_the_answers_of_its_function(table):
    forest = Forest(VARIABLES)
    root = plant(forest, table)
    assert tuple(value_at(forest, root, point) for point in POINTS) == table
    assert forest.ends(root) == set(table)


@given(tables(answers=(0, 1)), tables(answers=(0, 1)))
def test_two_diagrams_are_one_node_exactly_when_their_functions_are_equal(one, other):
    forest = Forest(VARIABLES)
    assert (plant(forest, one) == plant(forest, other)) == (one == other)
    assert plant(forest, one) == plant(forest, one)


@given(tables())
def test_a_fact_is_asked_only_if_it_can_matter(table):
    forest = Forest(VARIABLES)
    matters = set()
    answer = dict(zip(POINTS, table, strict=True))
    for place, variable in enumerate(VARIABLES):
        for point in POINTS:
            if any(answer[point] != answer[(*point[:place], v, *point[place + 1 :])] for v in variable.values):
                matters.add(variable.name)
    assert forest.asked(plant(forest, table)) == matters


@given(tables(), tables(), tables(answers=("x", "y")))
def test_combining_joins_the_answers_point_by_point(one, two, three):
    forest = Forest(VARIABLES)
    nodes = tuple(plant(forest, table) for table in (one, two, three))
    joined = forest.combine(lambda found: (found[0] + found[1], found[2]), nodes)
    expected = tuple((a + b, c) for a, b, c in zip(one, two, three, strict=True))
    assert tuple(value_at(forest, joined, point) for point in POINTS) == expected
    assert joined == plant(forest, expected)


@given(tables())
def test_changing_the_answers_changes_them_point_by_point(table):
    forest = Forest(VARIABLES)
    changed = forest.map(plant(forest, table), lambda answer: answer % 2)
    assert changed == plant(forest, tuple(answer % 2 for answer in table))


@given(tables(), known_facts())
def test_what_is_left_once_facts_are_known_is_the_function_at_those_points(table, known):
    forest = Forest(VARIABLES)
    left = forest.restrict(plant(forest, table), known)
    assert forest.ends(left) == {table[i] for i in fitting(known)}
    assert not forest.asked(left) & set(known)
    for i in fitting(known):
        assert value_at(forest, left, POINTS[i]) == table[i]


@given(tables(), known_facts())
def test_facts_that_no_diagram_knows_change_nothing(table, known):
    forest = Forest(VARIABLES)
    root = plant(forest, table)
    assert forest.restrict(root, {**known, "crowd": "large"}) == forest.restrict(root, known)


@given(tables())
def test_counting_counts_every_point_once(table):
    forest = Forest(VARIABLES)
    assert forest.count(plant(forest, table)) == {answer: table.count(answer) for answer in set(table)}


@given(tables(), known_facts())
def test_a_walk_stops_at_the_first_missing_fact_and_asks_only_what_matters(table, known):
    forest = Forest(VARIABLES)
    asked, node = forest.path(plant(forest, table), known)
    assert all(known[name] == value for name, value in asked)
    assert [name for name, _ in asked] == sorted((name for name, _ in asked), key=NAMES.index)
    if forest.is_end(node):
        assert {table[i] for i in fitting(dict(asked))} == {forest.answers[node]}
    else:
        assert VARIABLES[forest.levels[node]].name not in known


def test_a_question_about_one_fact_is_one_node():
    forest = Forest(VARIABLES)
    root = forest.ask("surface", lambda value: value == "dirt")
    assert forest.asked(root) == {"surface"}
    # 2 × 2 × 2 points for each of the three surfaces.
    assert forest.count(root) == {True: 8, False: 16}
    assert forest.ask("surface", lambda value: "same") == forest.end("same")


# --- conditions -----------------------------------------------------------------------------------------------

FACTS = {"wind": ("calm", "out"), "surface": ("grass", "dirt", "turf"), "count": ("0", "1", "2", "3")}


def comparisons():
    """Draw a comparison as its text, and as a function of the facts."""
    worded = st.sampled_from(("wind", "surface")).flatmap(
        lambda name: st.tuples(st.just(name), st.sets(st.sampled_from(FACTS[name]), min_size=1), st.booleans())
    )

    def spoken(drawn):
        name, values, negated = drawn
        listed = ", ".join(f"'{value}'" for value in sorted(values))
        if len(values) == 1:
            text = f"{name} {'!=' if negated else '='} {listed}"
        else:
            text = f"{name} {'not in' if negated else 'in'} ({listed})"
        return text, lambda facts: (facts[name] in values) != negated

    orders = {"<": int.__lt__, "<=": int.__le__, ">": int.__gt__, ">=": int.__ge__}
    counted = st.tuples(st.sampled_from(sorted(orders)), st.integers(0, 3)).map(
        lambda drawn: (
            f"count {drawn[0]} {drawn[1]}",
            lambda facts: orders[drawn[0]](int(facts["count"]), drawn[1]),
        )
    )
    return worded.map(spoken) | counted


def conditions():
    """Draw a condition as its text and as a function; brackets stand where a part is not a comparison."""
    return st.recursive(
        comparisons(),
        lambda inner: (
            inner.map(lambda part: (f"not ({part[0]})", lambda facts: not part[1](facts)))
            | st.tuples(inner, inner).map(
                lambda pair: (f"({pair[0][0]}) and ({pair[1][0]})", lambda f: pair[0][1](f) and pair[1][1](f))
            )
            | st.tuples(inner, inner).map(
                lambda pair: (f"({pair[0][0]})\n or ({pair[1][0]})", lambda f: pair[0][1](f) or pair[1][1](f))
            )
        ),
        max_leaves=6,
    )


def holds(condition, facts):
    if isinstance(condition, Membership):
        return condition.holds(facts[condition.name])
    if isinstance(condition, Not):
        return not holds(condition.part, facts)
    return (all if isinstance(condition, All) else any)(holds(part, facts) for part in condition.parts)


@given(conditions())
def test_a_condition_means_what_its_text_says_for_all_facts(drawn):
    text, meaning = drawn
    parsed = parse(text)
    for values in itertools.product(*FACTS.values()):
        facts = dict(zip(FACTS, values, strict=True))
        assert holds(parsed, facts) == meaning(facts)


def test_and_binds_closer_than_or_and_not_closest_of_all():
    facts = {"wind": "calm", "surface": "grass", "count": "0"}
    assert holds(parse("wind = 'calm' or wind = 'out' and surface = 'dirt'"), facts)
    assert not holds(parse("(wind = 'calm' or wind = 'out') and surface = 'dirt'"), facts)
    assert not holds(parse("not wind = 'calm' and surface = 'dirt'"), facts)
    assert holds(parse("not (wind = 'calm' and surface = 'dirt')"), facts)


def test_the_names_in_a_condition_are_listed_in_order_with_repeats():
    parsed = parse("wind = 'calm' and (surface in ('dirt', 'turf') or not wind = 'out')")
    assert list(names_in(parsed)) == ["wind", "surface", "wind"]
    assert [part.values for part in memberships_in(parsed)] == [("calm",), ("dirt", "turf"), ("out",)]


REFUSED = {
    "": "expected a name but found 'the end'",
    "zone": "but found 'the end'",
    "zone =": "expected a value but found 'the end'",
    "= 'in_zone'": "expected a name but found '='",
    "'in_zone' = zone": "expected a name but found \"'in_zone'\"",
    "zone ~ 'in_zone'": "cannot read the condition at \"~ 'in_zone'\"",
    "Zone = 'in_zone'": "cannot read the condition at \"Zone = 'in_zone'\"",
    "zone = 'in_zone": 'cannot read the condition at "\'in_zone"',
    "zone == 'in_zone'": "expected a value but found '='",
    "zone = in_zone": "expected a value but found 'in_zone'",
    "zone is null": "but found 'is' in the condition",
    "zone 'in_zone'": "expected '=' or '!=' or '<'",
    "zone not 'in_zone'": "expected 'in' but found \"'in_zone'\"",
    "zone in 'in_zone'": "expected '(' but found \"'in_zone'\"",
    "zone in ()": "expected a value but found ')'",
    "zone in ('in_zone' 'out_of_zone')": "expected ')' but found \"'out_of_zone'\"",
    "zone in ('in_zone',)": "expected a value but found ')'",
    "(zone = 'in_zone'": "expected ')' but found 'the end'",
    "zone = 'in_zone')": "did not expect ')'",
    "zone = 'in_zone' swing = 'full'": "did not expect 'swing'",
    "zone = 'in_zone' and": "expected a name but found 'the end'",
    "not": "expected a name but found 'the end'",
    "zone = 'in_zone'; drop": "cannot read the condition at '; drop'",
    "balls + 1 = 3": "cannot read the condition at '+ 1 = 3'",
}


@pytest.mark.parametrize("text", list(REFUSED))
def test_a_text_outside_the_language_is_refused_with_its_place(text):
    with pytest.raises(RuleDefinitionError) as caught:
        parse(text)
    assert REFUSED[text] in caught.value.message
    assert caught.value.message.endswith(text)  # the whole condition stands in the message


UNKNOWN = {
    "weather = 'calm'": "'weather' is neither a fact nor a decision",
    "zone = 'edge'": "zone never is 'edge'",
    "balls = 4": "balls never is '4'",
    "judgement = 'home_run'": "judgement never is 'home_run'",
    "judgement.count = 'walk'": "judgement.count never is 'walk'",
    "judgement.colour = 'red'": "'judgement.colour' is neither a fact nor a decision",
    "zone.count = 'ball'": "'zone.count' is neither a fact nor a decision",
    "zone < 'in_zone'": "zone has no order",
    "judgement >= 'ball'": "judgement has no order",
    "judgement.count > 'ball'": "judgement.count has no order",
}


@pytest.mark.parametrize("text", list(UNKNOWN))
def test_a_condition_about_something_unknown_is_refused(text):
    with pytest.raises(RuleDefinitionError) as caught:
        check_condition(parse(f"swing = 'full' and not ({text})"), "some/rule.yaml")
    assert UNKNOWN[text] in str(caught.value)
    assert str(caught.value).startswith("some/rule.yaml: ")


def test_a_decision_that_was_not_asked_may_be_spoken_of():
    check_condition(parse("met_first = 'not_asked' or judgement.count = 'two_strikes'"), "some/rule.yaml")


# --- reading --------------------------------------------------------------------------------------------------

WHOLE = {
    "id": "Z901",
    "name": "made_up",
    "title": "A made-up rule.",
    "topic": "pitch",
    "decision": "judgement",
    "codes": {"nfhs": {"reference": "1-1-1", "confidence": "memory"}},
    "when": "zone = 'in_zone'",
    "then": "called_strike",
    "says": "It was made up.",
    "count": "strike",
    "ruling": {"pitch": "strike"},
    "cases": [{"name": "a case", "code": "nfhs", "given": {"zone": "in_zone"}, "then": {"rule": "met"}}],
}
PLACE = "catalogue/Z901_made_up.yaml"
NAMED = "pipeline/rules/catalogue/made/{}_{}.yaml"


def test_a_whole_file_is_read():
    rule = read_rule(yaml.safe_dump({**WHOLE, "cases": [{**WHOLE["cases"][0], "given": {"balls": 3}}]}), PLACE)
    assert (rule.id, rule.then, rule.count, rule.ruling) == ("Z901", "called_strike", "strike", {"pitch": "strike"})
    assert rule.cases[0].given == {"balls": "3"}
    assert rule.codes["nfhs"].in_force(dt.date(1900, 1, 1))
    assert rule.path == PLACE


@pytest.mark.parametrize("key", ["id", "name", "title", "topic", "decision", "codes", "when", "then", "says"])
def test_a_rule_without_a_needed_key_is_refused(key):
    with pytest.raises(RuleDefinitionError, match=f"missing keys: {key}$"):
        read_rule(yaml.safe_dump({name: value for name, value in WHOLE.items() if name != key}), PLACE)


ENTRY = {"reference": "1-1-1", "confidence": "memory"}
BROKEN = {
    "a misspelt key": ({"tiltle": "x"}, "unknown keys: tiltle\n  To do: allowed are: cases, codes"),
    "an id without digits": ({"id": "strike"}, "the id 'strike' is not a letter and three digits"),
    "a small letter in the id": ({"id": "z901"}, "the id 'z901' is not a letter and three digits"),
    "an unknown code": (
        {"codes": {"youth": ENTRY}},
        "unknown rule code 'youth'\n  To do: allowed are: nfhs, obr, ncaa",
    ),
    "no reference": ({"codes": {"obr": {"confidence": "memory"}}}, "the entry for obr must have a reference"),
    "no confidence": (
        {"codes": {"obr": {"reference": "1"}}},
        "the entry for obr must have a reference and a confidence",
    ),
    "an unknown confidence": ({"codes": {"obr": {**ENTRY, "confidence": "sure"}}}, "the entry for obr must have"),
    "a misspelt date key": ({"codes": {"obr": {**ENTRY, "form": dt.date(2020, 1, 1)}}}, "and nothing unknown"),
    "a day that is no date": ({"codes": {"obr": {**ENTRY, "from": "spring 2020"}}}, "'spring 2020' is not a date"),
    "an unknown effect on the count": ({"count": "walk"}, "unknown effect on the count 'walk'"),
    "an unknown part of a ruling": ({"ruling": {"weather": "dry"}}, "'weather' is no part of a ruling"),
    "an unknown value of a ruling": ({"ruling": {"pitch": "home_run"}}, "'home_run' is no value of pitch"),
    "a condition outside the language": ({"when": "zone is null"}, "but found 'is' in the condition: zone is null"),
    "a case without a code": ({"cases": [{"name": "x", "given": {}, "then": {}}]}, "a case must have name, code"),
    "a misspelt key of a case": ({"cases": [{**WHOLE["cases"][0], "whne": 1}]}, "a case must have name, code"),
    "a case on a day that is no date": ({"cases": [{**WHOLE["cases"][0], "day": "May"}]}, "'May' is not a date"),
}


@pytest.mark.parametrize("mistake", list(BROKEN))
def test_a_file_with_one_mistake_is_refused_and_named(mistake):
    change, words = BROKEN[mistake]
    with pytest.raises(RuleDefinitionError) as caught:
        read_rule(yaml.safe_dump({**WHOLE, **change}), PLACE)
    assert words in str(caught.value)
    assert str(caught.value).startswith(f"{PLACE}: ")


def test_a_doubled_key_is_refused_with_its_line():
    with pytest.raises(ContractError) as caught:
        read_rule("id: Z901\nname: made_up\nid: Z902\n", PLACE)
    assert f"{PLACE}, line 3" in str(caught.value)


def catalogue_of(monkeypatch, *files):
    """Read a catalogue of these files in place of the one that ships."""
    listed = [(path, yaml.safe_dump({**WHOLE, **change})) for path, change in files]
    monkeypatch.setattr(reading, "_rule_files", lambda folder, prefix: listed)
    return rules.__wrapped__()


GOOD = NAMED.format("Z901", "made_up")
SECOND = NAMED.format("Z902", "other")
OTHER = {"id": "Z902", "name": "other"}
CROSSED = {
    "an id used twice": ([(GOOD, {}), (SECOND, {})], f"the id Z901 is taken by {GOOD}", SECOND),
    "a file not named after its rule": ([(SECOND, {})], "the file must be called Z901_made_up.yaml", SECOND),
    "an unknown decision": ([(GOOD, {"decision": "mood"})], "unknown decision 'mood'", GOOD),
    "an unknown outcome": ([(GOOD, {"then": "rain"})], "'rain' is no outcome of judgement", GOOD),
    "giving way to nobody": ([(GOOD, {"yields_to": ["Z999"]})], "it yields to Z999, which is no rule of", GOOD),
    "giving way across decisions": (
        [(GOOD, {"yields_to": ["Z902"]}), (SECOND, {**OTHER, "decision": "stance", "then": "nothing"})],
        "it yields to Z902, which is no rule of the same decision",
        GOOD,
    ),
    "an unknown fact": ([(GOOD, {"when": "mood = 'good'"})], "'mood' is neither a fact nor a decision", GOOD),
    "an unknown value": ([(GOOD, {"when": "zone = 'edge'"})], "zone never is 'edge'", GOOD),
}


@pytest.mark.parametrize("mistake", list(CROSSED))
def test_a_catalogue_whose_files_do_not_go_together_is_refused(mistake, monkeypatch):
    files, words, place = CROSSED[mistake]
    with pytest.raises(RuleDefinitionError) as caught:
        catalogue_of(monkeypatch, *files)
    assert words in caught.value.message
    assert str(caught.value).startswith(f"{place}: ")


def test_a_catalogue_is_read_in_order_of_id(monkeypatch):
    assert list(catalogue_of(monkeypatch, (SECOND, OTHER), (GOOD, {}))) == ["Z901", "Z902"]


# --- compiling ------------------------------------------------------------------------------------------------


def asking(name, outcomes, otherwise):
    return Decision(name, f"What of {name}?", outcomes, None, None, otherwise)


@pytest.fixture
def small(monkeypatch):
    """A world of four questions, of which only the judgement needs a rule."""
    world = (
        asking("standing", ("sound", "contradiction"), "sound"),
        asking("coverage", ("covered", "not_covered"), "covered"),
        asking("judgement", ("called_strike", "ball"), None),
        asking("third_strike", ("yes", "no"), "no"),
    )
    monkeypatch.setattr(compiling, "decisions", lambda: world)

    def made(*changes):
        read = [read_rule(yaml.safe_dump({**WHOLE, **change}), f"made/{change['id']}.yaml") for change in changes]
        return compile_rules({rule.id: rule for rule in read})

    return made


ALL_CODES = dict.fromkeys(("nfhs", "obr", "ncaa"), ENTRY)
STRIKE = {"id": "Z901", "codes": ALL_CODES}
BALL = {
    "id": "Z902",
    "codes": ALL_CODES,
    "when": "zone = 'out_of_zone'",
    "then": "ball",
    "count": "ball",
    "ruling": {"pitch": "ball"},
}


def ruled(book, code="nfhs", day=dt.date(2024, 1, 1), **known):
    forest = book.forest
    return {(one.rule_ids, one.ruling[0]) for one in forest.ends(forest.restrict(book.regime(code, day).root, known))}


def test_rules_that_answer_every_case_once_are_compiled(small):
    book = small(STRIKE, BALL)
    assert ruled(book, zone="in_zone") == {(("Z901",), "strike")}
    assert ruled(book, zone="out_of_zone") == {(("Z902",), "ball")}
    assert ruled(book) == {(("Z901",), "strike"), (("Z902",), "ball")}


def test_two_rules_that_answer_one_case_differently_are_refused_by_name(small):
    wide = {**BALL, "when": "zone = 'out_of_zone' or bounced = 'yes'"}
    with pytest.raises(RuleConflictError) as caught:
        small(STRIKE, wide)
    message = str(caught.value)
    assert "nfhs: Z901 and Z902 answer “What of judgement?” differently where " in message
    assert "bounced = yes" in message  # the case shown is one where both are met
    assert "zone = in_zone" in message
    assert message.startswith("made/Z902.yaml: ")
    assert "yields_to: [Z901]" in message


def test_one_of_two_rules_may_give_way(small):
    wide = {**BALL, "when": "zone = 'out_of_zone' or bounced = 'yes'", "yields_to": ["Z901"]}
    assert ruled(small(STRIKE, wide), zone="in_zone", bounced="yes") == {(("Z901",), "strike")}
    first = {**STRIKE, "yields_to": ["Z902"]}
    wide = {**BALL, "when": "zone = 'out_of_zone' or bounced = 'yes'"}
    assert ruled(small(first, wide), zone="in_zone", bounced="yes") == {(("Z902",), "ball")}


@pytest.mark.parametrize("change", [{"count": "foul"}, {"ruling": {"pitch": "strike", "batter": "out"}}])
def test_the_same_outcome_with_another_count_or_ruling_is_a_conflict_too(small, change):
    with pytest.raises(RuleConflictError, match="Z901 and Z903"):
        small(STRIKE, BALL, {**STRIKE, "id": "Z903", "when": "swing = 'none' and zone = 'in_zone'", **change})


def test_two_rules_that_say_the_same_are_no_conflict(small):
    book = small(STRIKE, BALL, {**STRIKE, "id": "Z903", "when": "swing = 'none' and zone = 'in_zone'"})
    assert ruled(book, zone="in_zone") == {(("Z901",), "strike")}


def test_a_case_that_no_rule_answers_is_refused_with_its_facts(small):
    narrow = {**BALL, "when": "zone = 'out_of_zone' and bounced = 'no'"}
    with pytest.raises(RuleDefinitionError) as caught:
        small(STRIKE, narrow)
    assert "nfhs: no rule answers “What of judgement?” where " in str(caught.value)
    assert "bounced = yes, zone = out_of_zone" in str(caught.value)
    assert "add a rule for such a case" in str(caught.value)


def test_a_gap_in_one_code_alone_is_found(small):
    with pytest.raises(RuleDefinitionError, match=r"^pipeline/rules/catalogue: ncaa: no rule answers"):
        small(STRIKE, {**BALL, "codes": dict.fromkeys(("nfhs", "obr"), ENTRY)})


def test_a_gap_between_two_days_is_found(small):
    until = {**BALL, "codes": {**ALL_CODES, "obr": {**ENTRY, "until": dt.date(2018, 12, 31)}}}
    since = {**BALL, "id": "Z903", "codes": {"obr": {**ENTRY, "from": dt.date(2020, 1, 1)}}}
    with pytest.raises(RuleDefinitionError, match="obr: no rule answers"):
        small(STRIKE, until, since)


def test_a_rule_holds_from_its_first_day_to_its_last(small):
    until = {**BALL, "codes": {**ALL_CODES, "obr": {**ENTRY, "until": dt.date(2019, 12, 31)}}}
    since = {**BALL, "id": "Z903", "codes": {"obr": {**ENTRY, "from": dt.date(2020, 1, 1)}}}
    book = small(STRIKE, until, since)
    assert ruled(book, "obr", dt.date(2019, 12, 31), zone="out_of_zone") == {(("Z902",), "ball")}
    assert ruled(book, "obr", dt.date(2020, 1, 1), zone="out_of_zone") == {(("Z903",), "ball")}
    assert ruled(book, "nfhs", dt.date(2020, 1, 1), zone="out_of_zone") == {(("Z902",), "ball")}
    assert [one.first_day for one in book.regimes if one.code == "obr"] == [None, dt.date(2020, 1, 1)]


def test_a_question_about_a_later_decision_is_refused(small):
    with pytest.raises(RuleDefinitionError, match="'third_strike' is asked about before it is taken"):
        small({**STRIKE, "when": "third_strike = 'yes'"}, BALL)


def test_no_rules_are_found_for_an_unknown_code(small):
    with pytest.raises(KeyError, match="youth"):
        small(STRIKE, BALL).regime("youth", dt.date(2024, 1, 1))


def test_the_catalogue_that_ships_needs_the_order_that_its_rules_declare():
    loose = {**rules(), "H404": replace(rules()["H404"], yields_to=())}
    with pytest.raises(RuleConflictError, match=r"H40[23] and H404"):
        compile_rules(loose)


def test_the_catalogue_that_ships_has_a_gap_without_its_rule_for_a_ball():
    with pytest.raises(RuleDefinitionError, match="no rule answers “What is the pitch") as caught:
        compile_rules({rule_id: rule for rule_id, rule in rules().items() if rule_id != "P503"})
    assert "zone = out_of_zone" in str(caught.value)


@settings(max_examples=25, deadline=None)
@given(st.data())
def test_the_weakest_mark_among_the_rules_that_spoke_is_shown(data):
    book = rule_book()
    regime = data.draw(st.sampled_from(book.regimes))
    ends = sorted((one for one in book.forest.ends(regime.root)), key=str)
    answer = data.draw(st.sampled_from(ends))
    marks = {rules()[rule_id].codes[regime.code].confidence for rule_id in answer.rule_ids}
    expected = next(mark for mark in ("inferred", "memory", "verified") if mark in marks)
    assert book.confidence(answer, regime.code) == expected
