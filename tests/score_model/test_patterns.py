"""Patterns of misruling in a season: recognised in the batch as alone, and counted."""

from __future__ import annotations

import datetime as dt

import pytest

import schemas
from pipeline.rules.compile import rule_book
from pipeline.rules.misbeliefs import misbeliefs, recognise
from pipeline.rules.model import RULING_FIELDS
from pipeline.rules.vocabulary import facts
from pipeline.rulings.batch import rule_season
from pipeline.rulings.patterns import recognise_season
from pipeline.scoring.patterns import write_patterns
from pipeline.store import Store

BOOK = rule_book()
DAY = dt.date(2024, 4, 1)
BLANKS = {field.name: field.blank_value for field in schemas.table("plate_calls").fields}
CASES = [(one, case) for one in misbeliefs().values() for case in one.cases]
IDS = [f"{one.id}::{case.name}" for one, case in CASES]


def known(given):
    """What is given, else what a blank cell is read as; a stance that nobody wrote down is legal."""
    return {name: str({"stance_fault": "no", **BLANKS, **given}.get(name) or "") or None for name in facts()}


@pytest.fixture(scope="module")
def season():
    """Every worked case of every pattern as a call of one season, each twice."""
    names = list(facts())
    ruled = [f"ruled_{name}" for name in RULING_FIELDS]
    with Store() as store:
        columns = ", ".join(
            f"{name} {'BIGINT' if name in ('balls', 'strikes', 'outs') else 'VARCHAR'}" for name in [*names, *ruled]
        )
        store.run(f"CREATE TABLE facts.fct_call (call_id VARCHAR, rule_code VARCHAR, game_on DATE, {columns})")
        marks = ", ".join("?" * (3 + len(names) + len(ruled)))
        store.connection.executemany(
            f"INSERT INTO facts.fct_call VALUES ({marks})",
            [
                [f"{name}/{time}", case.code, case.day or DAY, *known(case.given).values()]
                + [case.ruled.get(part) for part in RULING_FIELDS]
                for name, (_, case) in zip(IDS, CASES, strict=True)
                for time in (1, 2)
            ],
        )
        rule_season(None, store)
        result = recognise_season(None, store)
        yield store, result


def test_the_batch_recognises_what_one_call_alone_is_recognised_as(season):
    store, result = season
    found: dict[str, list[str]] = {}
    for call_id, pattern_id, place in store.rows("SELECT * FROM rulings.pattern ORDER BY call_id, place"):
        found.setdefault(call_id, []).append(pattern_id)
        assert len(found[call_id]) == place
    for name, (_, case) in zip(IDS, CASES, strict=True):
        alone = recognise(BOOK, case.code, case.day or DAY, known(case.given), case.ruled)
        for time in (1, 2):
            assert found.get(f"{name}/{time}", []) == [one.id for one in alone]
    assert result.rows_out == len(found)
    assert result.notes["patterns"] == len(misbeliefs())


def test_every_pattern_has_its_text_in_order_of_precedence(season):
    store, _ = season
    rows = store.rows("SELECT pattern_id, title FROM rulings.pattern_text ORDER BY precedence")
    assert rows == [(one.id, one.title) for one in misbeliefs().values()]


def test_a_rerun_gives_the_same_rows(season):
    store, _ = season
    before = store.rows("SELECT * FROM rulings.pattern")
    recognise_season(None, store)
    assert store.rows("SELECT * FROM rulings.pattern") == before


@pytest.mark.parametrize("misbelief_id", [one.id for one in misbeliefs().values() if one.day])
def test_a_rule_of_an_earlier_day_ends_where_a_span_of_days_ends(misbelief_id):
    """Calls of one span of days are recognised as one, so no pattern may turn within a span."""
    one = misbeliefs()[misbelief_id]
    assert one.day + dt.timedelta(days=1) in {regime.first_day for regime in BOOK.regimes}


GRADES = [
    ("C1", "U1", "wrong"),
    ("C2", "U1", "wrong"),
    ("C3", "U2", "wrong"),
    ("C4", "U2", "wrong"),
    ("C5", "U3", "edge"),
    ("C6", "U3", "wrong"),
]
FOUND = [("C1", "M102", 1), ("C1", "M323", 2), ("C2", "M323", 1), ("C3", "M323", 1), ("C4", "M703", 1), ("C5", "M703", 1)]


def scored(found):
    store = Store()
    store.run("CREATE TABLE scores.call_grade (call_id VARCHAR, umpire_id VARCHAR, verdict VARCHAR)")
    store.connection.executemany("INSERT INTO scores.call_grade VALUES (?, ?, ?)", GRADES)
    if found is not None:
        store.run("CREATE TABLE rulings.pattern (call_id VARCHAR, pattern_id VARCHAR, place BIGINT)")
        store.connection.executemany("INSERT INTO rulings.pattern VALUES (?, ?, ?)", found)
        store.run("CREATE TABLE rulings.pattern_text (pattern_id VARCHAR, precedence BIGINT, kind VARCHAR)")
        store.connection.executemany(
            "INSERT INTO rulings.pattern_text VALUES (?, ?, ?)",
            [("M102", 1, "code"), ("M323", 2, "as_if"), ("M703", 3, "judgement"), ("M801", 4, "part")],
        )
    write_patterns(store)
    return store


def test_a_misruled_call_counts_once_under_its_first_pattern_and_an_edge_pitch_under_none():
    with scored(FOUND) as store:
        rows = store.rows("SELECT pattern_id, times, also_times, umpires, share, example_call_ids FROM scores.misruling_pattern")
    # Of the five wrong calls C1 is M102 and only then M323; C2 and C3 are M323; C4 is M703; C6 is none.
    assert rows == [
        ("M102", 1, 0, 1, 0.2, "C1"),
        ("M323", 2, 1, 2, 0.4, "C2;C3"),
        ("M703", 1, 0, 1, 0.2, "C4"),
        ("M801", 0, 0, 0, 0.0, None),
    ]


def test_the_share_explained_is_told_with_and_without_judgements():
    with scored(FOUND) as store:
        rows = store.rows("SELECT * FROM scores.pattern_total")
    # Four of five; without the one judgement three of four.
    assert rows == [(5, 4, 1, 0.8, 0.75)]


def test_a_season_in_which_nobody_looked_for_patterns_has_none():
    with scored(None) as store:
        assert store.rows("SELECT * FROM scores.misruling_pattern") == []
        assert store.rows("SELECT * FROM scores.pattern_total") == [(5, 0, 0, 0.0, 0.0)]
