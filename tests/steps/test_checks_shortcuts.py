"""Where checking spares itself a look at every row, it comes to the same as the look would."""

from __future__ import annotations

import random
from collections.abc import Iterator

import pytest
from rapidfuzz import fuzz, process

from pipeline.checks import quarantine, words
from pipeline.checks.contracts import checks_of
from pipeline.checks.words import NEAR, nearest_ids
from pipeline.ingest.stage import staged_tables_sql
from pipeline.store import Store
from schemas import table

CALLS = table("plate_calls")


@pytest.fixture
def store() -> Iterator[Store]:
    with Store() as made:
        yield made


def proven(store: Store) -> set[str]:
    found = quarantine._proven(store, CALLS, checks_of(CALLS))
    return {check_id.split(".")[1] for check_id in found}


def test_allowed_values_are_taken_for_granted_only_where_the_type_holds_no_others(store: Store) -> None:
    for statement in staged_tables_sql(CALLS, {"call_id", "half", "miss_side", "swing"}):
        store.run(statement)
    # A list of values is a text, and an id has no allowed values.
    assert not proven(store) & {"miss_side", "call_id"}
    # Nobody has `bat`: every row holds what its blank is read as.
    assert {"half", "swing", "bat"} <= proven(store)
    store.run("ALTER TABLE staged.plate_calls_row ALTER half TYPE VARCHAR")
    store.run("ALTER TABLE staged.plate_calls_row ALTER swing TYPE ENUM('none', 'full', 'bunt', 'checked', 'odd')")
    assert not proven(store) & {"half", "swing"}
    assert "bat" in proven(store)


def test_without_rows_of_its_own_nothing_is_taken_for_granted(store: Store) -> None:
    assert proven(store) == set()


@pytest.mark.parametrize("seed", range(20))
def test_a_line_that_stands_twice_is_never_missed(store: Store, seed: int) -> None:
    draw = random.Random(seed)
    rows = [(draw.randrange(1, 5), draw.randrange(30)) for _ in range(draw.choice([0, 5, 12, 40]))]
    store.run("CREATE TEMP TABLE placed_row (file_id INTEGER, line_no BIGINT)")
    for row in rows:
        store.run("INSERT INTO placed_row VALUES (?, ?)", list(row))
    assert quarantine._is_each_once(store) is (len(rows) == len(set(rows)))


@pytest.mark.parametrize("row", ["(NULL, 3)", "(1, NULL)", "(1, -1)"])
def test_rows_without_a_line_are_not_held_to_stand_once(store: Store, row: str) -> None:
    store.run("CREATE TEMP TABLE placed_row (file_id INTEGER, line_no BIGINT)")
    store.run(f"INSERT INTO placed_row VALUES (1, 7), {row}")
    assert quarantine._is_each_once(store) is False


def test_more_lines_than_there_are_bits_for_are_told_apart_as_values(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    store.run("CREATE TEMP TABLE placed_row AS SELECT 1 AS file_id, i AS line_no FROM range(100) AS r(i)")
    assert quarantine._is_each_once(store) is True
    monkeypatch.setattr(quarantine, "_MOST_BITS", 99)
    assert quarantine._is_each_once(store) is False


def test_the_nearest_id_is_the_one_that_a_look_through_all_of_them_finds(monkeypatch: pytest.MonkeyPatch) -> None:
    draw = random.Random(7)
    known = sorted({"".join(draw.choices("G01ä2-", k=draw.randrange(1, 9))) for _ in range(300)})
    texts = ["", *("".join(draw.choices("G01ä2-", k=draw.randrange(1, 9))) for _ in range(120))]
    found = {text: process.extractOne(text, known, scorer=fuzz.ratio, score_cutoff=NEAR) for text in texts}
    expected = {text: near[0] for text, near in found.items() if near}
    assert 0 < len(expected) < len(set(texts))
    assert nearest_ids(texts, known) == expected
    # The texts in batches of three.
    monkeypatch.setattr(words, "_MOST_COMPARED", 3 * len(known))
    assert nearest_ids(texts, known) == expected
    assert nearest_ids(texts, []) == {}
