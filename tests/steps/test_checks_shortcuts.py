"""Where checking spares itself a look at every row, it comes to the same as the look would."""

from __future__ import annotations

import random
import subprocess
import sys
import threading
import warnings
from collections.abc import Iterator
from pathlib import Path

import pytest
from rapidfuzz import fuzz, process

from pipeline.checks import check, quarantine, words
from pipeline.checks.contracts import checks_of
from pipeline.checks.expectations import import_ahead, quiet_context
from pipeline.checks.validation import Asked
from pipeline.checks.words import NEAR, nearest_ids
from pipeline.config import Policy, RunConfig
from pipeline.errors import FaultsError
from pipeline.ingest.load import load_season
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


def test_an_import_that_was_begun_ahead_is_over_when_the_package_is_used() -> None:
    running = threading.active_count()
    before = list(warnings.filters)
    import_ahead()
    import_ahead()
    with quiet_context():
        assert threading.active_count() == running
    assert warnings.filters == before


SHEETS = {
    "umpires": "umpire_id,name,level\nU01,One,varsity\n",
    "evaluators": "evaluator_id,name\nE01,Eva\n",
    "games": "game_id,date,level,rule_code,plate_umpire_id\nG01,2026-04-18,varsity,nfhs,U01\n",
    "plate_calls": "call_id,game_id,evaluator_id\nC1,G01,E01\n",
}


def season(folder: Path, **other: str) -> RunConfig:
    """Write a season of four rows, or with other sheets."""
    for stem, text in {**SHEETS, **other}.items():
        (folder / f"{stem}.csv").write_text(text, encoding="utf-8")
    return RunConfig(folder, folder / "out", Policy("T", "", None, None, ()))


def test_what_goes_on_beside_a_load_begins_only_once_its_sheets_can_be_read(tmp_path: Path, store: Store) -> None:
    begun: list[str] = []
    with pytest.raises(FaultsError, match="nme"):
        load_season(season(tmp_path, evaluators="evaluator_id,nme\n"), store, lambda: begun.append("too early"))
    load_season(season(tmp_path), store, lambda: begun.append(str(store.has_table("meta.file"))))
    assert begun == ["False"]


def test_a_fault_while_rows_are_confirmed_beside_ends_both(
    tmp_path: Path, store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    config = season(tmp_path)
    load_season(config, store)
    running = threading.active_count()
    taken: list[str] = []

    def fail(_: Store) -> None:
        raise ZeroDivisionError

    def take(asked: Iterator[Asked]) -> None:
        taken.extend(one.item.table.name for one in asked)

    monkeypatch.setattr(check, "balance_books", fail)
    monkeypatch.setattr(check, "confirm", take)
    with pytest.raises(ZeroDivisionError):
        check.check_season(config, store)
    assert taken == ["umpires", "evaluators", "games", "plate_calls"]
    assert threading.active_count() == running
    assert not store.has_table("meta.violation")


def test_what_no_check_of_ours_asks_for_is_loaded_when_it_is_asked_for() -> None:
    # In a process of its own, as another test may have loaded it.
    said = subprocess.run(
        [sys.executable, "-c", _RARELY_USED], capture_output=True, text=True, check=True, timeout=300
    ).stdout
    # A normal variable is below 0 half the time.
    assert said.splitlines() == [
        "scipy.stats False 0.5 True",
        "altair False bar True",
        "True",
        "no module of that name: False",
    ]


_RARELY_USED = """
import sys
from pipeline.checks.expectations import quiet_context
from pipeline.deferred import defer

def loaded(name):
    return any(other.startswith(name + ".") for other in sys.modules)

with quiet_context():
    before = loaded("scipy.stats"), loaded("altair")
from scipy.stats import norm
print("scipy.stats", before[0], norm.cdf(0), loaded("scipy.stats"))
import altair as first
print("altair", before[1], first.Chart({"values": []}).mark_bar().mark, loaded("altair"))
import altair.vegalite
import altair as second
defer("altair")
print(second.Chart is first.Chart is sys.modules["altair"].Chart)
defer("no_module_of_that_name")
print("no module of that name:", "no_module_of_that_name" in sys.modules)
"""
