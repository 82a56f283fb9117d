"""The batch against the single case: facts missing, codes and days mixed, and what groups rows must not change."""

from __future__ import annotations

import datetime as dt
import random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import schemas
from pipeline.errors import DisagreementError
from pipeline.rules.answer import rule_case
from pipeline.rules.compile import rule_book
from pipeline.rules.model import CODES, RULING_FIELDS
from pipeline.rules.vocabulary import Fact, recorded_facts
from pipeline.rulings import distinct
from pipeline.rulings.batch import COLUMNS, rule_season, rule_table, ruling_row
from pipeline.rulings.keys import LIMIT, FactKeys
from pipeline.store import Store

BOOK = rule_book()
NAMES = list(recorded_facts())
NUMBERS = ("balls", "strikes", "outs")
BLANKS = {field.name: field.blank_value for field in schemas.table("plate_calls").fields}
CHANGES = sorted({regime.first_day for regime in BOOK.regimes if regime.first_day})
DAYS = [day + dt.timedelta(days=step) for day in CHANGES for step in (-1, 0, 1)]
ROWS = 900


def draw(rng):
    """Facts of one case: a common play, a rare one or nonsense; complete, with some facts missing, or with many."""
    quiet = rng.choice((0.0, 0.8, 0.9, 0.95))
    case = {}
    for name, fact in recorded_facts().items():
        blank = BLANKS.get(name)
        case[name] = blank if blank and rng.random() < quiet else rng.choice(fact.values)
    for name in rng.sample(NAMES, rng.choice((0, 0, 1, 2, 4, 9))):
        case[name] = None
    return case


def put(store, table, rows):
    """Make a table of facts from rows of call id, code, day and case."""
    columns = ", ".join(f"{name} {'BIGINT' if name in NUMBERS else 'VARCHAR'}" for name in NAMES)
    store.run(f"CREATE OR REPLACE TABLE {table} (call_id VARCHAR, rule_code VARCHAR, game_on DATE, {columns})")
    marks = ", ".join("?" * (3 + len(NAMES)))
    store.connection.executemany(
        f"INSERT INTO {table} VALUES ({marks})", [[call, code, day, *case.values()] for call, code, day, case in rows]
    )


def alone(code, day, case):
    return ruling_row(rule_case(BOOK, BOOK.regime(code, day), case))


def batch(store, table, **how):
    assert rule_table(store, table, "rulings.made", **how) == store.value(f"SELECT count(*) FROM {table}")
    found = store.rows(f"SELECT call_id, {', '.join(COLUMNS)} FROM rulings.made")
    assert len({row[0] for row in found}) == len(found)
    return {row[0]: row[1:] for row in found}


@pytest.fixture(scope="module")
def drawn():
    rng = random.Random(20)
    rows = []
    for number in range(ROWS):
        # Every code on every day around every change of any code's rules, and every tenth case twice.
        case = rows[-1][3] if number % 10 == 9 else draw(rng)
        rows.append((f"C{number}", rng.choice(CODES), rng.choice(DAYS), case))
    with Store() as store:
        put(store, "facts.fct_call", rows)
        yield store, rows


def test_the_drawn_cases_are_of_every_sort(drawn):
    _, rows = drawn
    states = [alone(code, day, case)[0] for _, code, day, case in rows]
    assert {(code, day) for _, code, day, _ in rows} == {(code, day) for code in CODES for day in DAYS}
    assert min(states.count(state) for state in ("settled", "open", "contradiction")) > 20


def test_each_row_has_the_ruling_of_its_case_alone(drawn):
    store, rows = drawn
    found = batch(store, "facts.fct_call")
    for call, code, day, case in rows:
        assert found[call] == alone(code, day, case), (code, day, case)


@pytest.mark.parametrize("code", CODES)
def test_each_row_can_be_ruled_under_one_code(drawn, code):
    store, rows = drawn
    found = batch(store, "facts.fct_call", code=code)
    for call, _, day, case in rows:
        assert found[call] == alone(code, day, case), (day, case)


def test_another_code_is_listed_where_it_settles_the_case_otherwise(drawn):
    store, rows = drawn
    done = rule_season(None, store)
    own = {row[0]: row[1:] for row in store.rows(f"SELECT call_id, {', '.join(COLUMNS)} FROM rulings.ruling")}
    expected = []
    for code in CODES:
        for call, home, day, case in sorted(rows):
            assert own[call] == alone(home, day, case)
            there = dict(zip(COLUMNS, alone(code, day, case), strict=True))
            here = dict(zip(COLUMNS, own[call], strict=True))
            parts = tuple(there[name] for name in RULING_FIELDS)
            if code != home and there["state"] == "settled" and parts != tuple(here[name] for name in RULING_FIELDS):
                expected.append((call, code, *parts))
    assert len(expected) > 20
    assert store.rows("SELECT * FROM rulings.other_code") == expected
    assert (done.rows_in, done.rows_out) == (ROWS, ROWS)


def test_the_size_of_the_portions_changes_nothing_and_no_diagram_grows(drawn, monkeypatch):
    store, _ = drawn
    whole = batch(store, "facts.fct_call")
    nodes = len(BOOK.forest.levels)
    monkeypatch.setattr(distinct, "CHUNK", 37)
    assert batch(store, "facts.fct_call") == whole
    assert len(BOOK.forest.levels) == nodes


def test_a_day_that_is_not_known_falls_under_the_first_rules_of_its_code():
    rng = random.Random(3)
    rows = [(f"C{number}", code, None, draw(rng)) for number, code in enumerate(CODES * 5)]
    with Store() as store:
        put(store, "facts.undated", rows)
        found = batch(store, "facts.undated")
    for call, code, _, case in rows:
        assert found[call] == alone(code, dt.date.min, case)


def test_an_empty_table_has_no_rulings():
    with Store() as store:
        put(store, "facts.empty", [("C1", "nfhs", DAYS[0], draw(random.Random(1)))])
        store.run("DELETE FROM facts.empty")
        assert batch(store, "facts.empty") == {}


def test_a_value_that_is_none_of_its_facts_stops_the_batch_and_is_named():
    case = {**draw(random.Random(5)), "zone": "somewhere"}
    with Store() as store:
        put(store, "facts.odd", [("C7", "nfhs", DAYS[0], case)])
        with pytest.raises(DisagreementError, match=r"call C7: 'somewhere' is no value of zone"):
            rule_table(store, "facts.odd", "rulings.odd")


@st.composite
def made_up_facts(draw):
    """Some facts with two to nine values each, up to more than one key holds, and two rows of codes."""
    widths = draw(st.lists(st.integers(2, 9), min_size=1, max_size=60))
    facts = {
        f"fact_{number}": Fact(f"fact_{number}", "", tuple(f"v{value}" for value in range(width)), ("x",), "")
        for number, width in enumerate(widths)
    }
    row = st.tuples(*(st.integers(0, width) for width in widths))
    one = draw(row)
    changed = draw(st.integers(0, len(widths) - 1))
    other = [*one]
    other[changed] = draw(st.integers(0, widths[changed]))
    return facts, (one, tuple(other))


@settings(max_examples=40, deadline=None)
@given(made_up_facts())
def test_rows_have_the_same_keys_if_and_only_if_they_have_the_same_facts(made):
    facts, rows = made
    keys = FactKeys(facts)
    found = []
    with Store() as store:
        for row in rows:
            cells = keys.values(dict(zip(facts, row, strict=True)))
            given = ", ".join(f"CAST(${name} AS VARCHAR) AS {name}" for name in facts)
            found.append(store.rows(f"SELECT {keys.sql} FROM (SELECT {given})", cells)[0])
    for row, read in zip(rows, found, strict=True):
        assert all(0 <= key < LIMIT for key in read)
        assert tuple(keys.codes(read).values()) == row
    assert (found[0] == found[1]) == (rows[0] == rows[1])
