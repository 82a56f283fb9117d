"""The compiled diagrams against a plain reading of the rules, and open rulings against every filling."""

from __future__ import annotations

import itertools
import random

import pytest

import schemas
from pipeline.rules.answer import rule_case
from pipeline.rules.compile import rule_book
from pipeline.rules.expression import All, Membership, Not
from pipeline.rules.model import RULING_FIELDS, Answer
from pipeline.rules.reading import decisions, rules
from pipeline.rules.vocabulary import facts
from pipeline.rulings.batch import COLUMNS, rule_table, ruling_row
from pipeline.store import Store

BOOK = rule_book()
BLANKS = {field.name: field.blank_value for field in schemas.table("plate_calls").fields}
REGIMES = list(range(len(BOOK.regimes)))


def holds(condition, values):
    """Read a condition literally: no diagram, no shortcut."""
    if isinstance(condition, Membership):
        return condition.holds(values[condition.name])
    if isinstance(condition, Not):
        return not holds(condition.part, values)
    told = [holds(part, values) for part in condition.parts]
    return all(told) if isinstance(condition, All) else any(told)


def spoken(regime, case):
    """Take the decisions one after another on complete facts; return the ids of the rules that spoke."""
    values = dict(case)
    ids = []
    for decision in decisions():
        values[decision.name], values[f"{decision.name}.count"] = "not_asked", "none"
        if decision.asked is not None and not holds(decision.asked, values):
            continue
        mine = [rules()[name] for name in regime.rule_ids if rules()[name].decision == decision.name]
        met = {rule.id for rule in mine if holds(rule.when, values)}
        speaking = [rule for rule in mine if rule.id in met and not met & set(rule.yields_to)]
        values[decision.name] = decision.otherwise
        if speaking:
            values[decision.name] = speaking[0].then
            values[f"{decision.name}.count"] = speaking[0].count or "none"
            ids.append(speaking[0].id)
        if values[decision.name] in ("contradiction", "not_covered"):
            return (ids[-1],)
    return tuple(ids)


def draw(rng):
    """Facts of one case: mostly that nothing happened, so that every branch of the rules is met often."""
    case = {}
    for name, fact in facts().items():
        quiet = BLANKS.get(name)
        case[name] = quiet if quiet and rng.random() < 0.75 else rng.choice(fact.values)
    return case


def answer(regime, case):
    _, node = BOOK.forest.path(regime.root, case)
    found = BOOK.forest.answers[node]
    assert isinstance(found, Answer)
    return found


@pytest.mark.parametrize("position", REGIMES)
def test_the_diagram_says_what_the_rules_say_read_one_by_one(position):
    regime, rng = BOOK.regimes[position], random.Random(position)
    for _ in range(1500):
        case = draw(rng)
        assert answer(regime, case).rule_ids == spoken(regime, case), case


@pytest.mark.parametrize("position", REGIMES)
def test_an_open_ruling_lists_what_some_filling_leads_to_and_nothing_else(position):
    regime, rng = BOOK.regimes[position], random.Random(100 + position)
    opened = 0
    for _ in range(400):
        case = draw(rng)
        gone = rng.sample(list(case), 3)
        known = {name: value for name, value in case.items() if name not in gone}
        fillings = [
            answer(regime, {**known, **dict(zip(gone, values, strict=True))})
            for values in itertools.product(*(facts()[name].values for name in gone))
        ]
        sound = [one for one in fillings if one.state != "contradiction"]
        ruling = rule_case(BOOK, regime, known)
        if not sound:
            assert ruling.state == "contradiction"
            continue
        settled = [one for one in sound if one.state == "settled"]
        for place, name in enumerate(RULING_FIELDS):
            expected = {one.ruling[place] for one in settled} or {""}
            given = set(ruling.ruling[name].split("|"))
            assert {value or "none_called" for value in expected} == {value or "none_called" for value in given}
        if len({one.spoken for one in sound}) > 1:
            assert ruling.state == "open"
            assert ruling.needs
            opened += 1
        elif settled:
            assert ruling.state == "settled"
    assert opened > 10


def test_the_batch_gives_each_row_the_ruling_of_the_single_case():
    rng = random.Random(7)
    rows = []
    for number in range(1500):
        case = draw(rng)
        for name in rng.sample(list(case), rng.choice((0, 0, 2))):
            case[name] = None
        regime = BOOK.regimes[number % len(BOOK.regimes)]
        rows.append((str(number), regime.code, regime.first_day or "2000-01-01", case))
    names = list(facts())
    with Store() as store:
        kinds = ["BIGINT" if name in ("balls", "strikes", "outs") else "VARCHAR" for name in names]
        listed = ", ".join(f"{name} {kind}" for name, kind in zip(names, kinds, strict=True))
        store.run(f"CREATE TABLE facts.drawn (call_id VARCHAR, rule_code VARCHAR, game_on DATE, {listed})")
        marks = ", ".join("?" * (3 + len(names)))
        store.connection.executemany(
            f"INSERT INTO facts.drawn VALUES ({marks})",
            [(call, code, day, *(case[name] for name in names)) for call, code, day, case in rows],
        )
        rule_table(store, "facts.drawn", "rulings.drawn")
        batch = {row[0]: row[1:] for row in store.rows(f"SELECT call_id, {', '.join(COLUMNS)} FROM rulings.drawn")}
    assert len(batch) == len(rows)
    for number, (call, _, _, case) in enumerate(rows):
        single = ruling_row(rule_case(BOOK, BOOK.regimes[number % len(BOOK.regimes)], case))
        assert tuple(cell or "" for cell in batch[call]) == single, case


def test_every_rule_can_speak_somewhere():
    able = {
        rule_id
        for regime in BOOK.regimes
        for one in BOOK.forest.ends(regime.root)
        if isinstance(one, Answer)
        for rule_id in one.rule_ids
    }
    assert able == set(rules())


def test_what_holds_for_every_ruling_of_every_code():
    for regime in BOOK.regimes:
        for one in BOOK.forest.ends(regime.root):
            assert isinstance(one, Answer)
            part = dict(zip(RULING_FIELDS, one.ruling, strict=True))
            if one.state != "settled":
                continue
            # A dead ball lets nobody advance except by award (5-1-1, 5.06(c)).
            if part["ball_status"] == "dead":
                assert part["runners"] in ("return", "forced")
                assert part["runners"] == "return" or part["batter"] == "first_base"
            # An out by the ruling, and only then, adds an out.
            assert one.outs_added == (part["batter"] == "out")
            # The pitch touched the batter first: dead in every code (5-1-1a, 5.06(c)(1), 6-4-c).
            if "A102" in one.rule_ids:
                assert part["ball_status"] == "dead"


def test_all_cases_of_each_code_are_counted_and_each_has_one_answer():
    total = 1
    for fact in facts().values():
        total *= len(fact.values)
    for regime in BOOK.regimes:
        assert sum(BOOK.forest.count(regime.root).values()) == total
