"""An amendment is scored, or set aside with a reason; the row of the sheet stays as it was."""

from __future__ import annotations

import pytest

from pipeline.checks.check import check_season
from pipeline.config import read_config
from pipeline.errors import DisagreementError
from pipeline.facts.build import _amend, build_facts
from pipeline.ingest.load import load_season
from pipeline.rules.dimensions import zone_measures
from pipeline.store import Store

SHEETS = {
    "umpires.csv": "umpire_id,name,level\nU1,A Person,low\n",
    "evaluators.csv": "evaluator_id,name\nE1,B Person\n",
    "games.csv": "game_id,date,level,rule_code,plate_umpire_id\nG1,2026-04-01,low,nfhs,U1\n",
    "plate_calls.csv": "call_id,game_id,evaluator_id,balls,strikes,location,miss_side\nC1,G1,E1,1,1,in_zone,\nC2,G1,E1,0,nought,,\n",
}
HEADING = "call_id,evaluator_id,date,column,value,reason\n"

# One row each; lines 2 to 13 of the sheet.
ROWS = [
    ("C1,E1,2026-04-03,strikes,2,first look", None),
    ("C1,E1,2026-04-05,strikes,0,second look", None),
    ("C1,E1,2026-04-05,balls,3,same day but another cell", None),
    ("C1,E1,2026-04-06,miss_side,low + inside,blanks about the joint", None),
    ("C9,E1,2026-04-03,balls,3,unknown call", "'C9' is not in the sheet plate_calls"),
    ("C2,E1,2026-04-03,balls,3,call that was set aside", "'C2' was itself set aside (plate_calls.csv line 3)"),
    ("C1,E9,2026-04-03,balls,3,unknown person", "'E9' is not in the sheet evaluators"),
    ("C1,E1,2026-04-03,wind,3,unknown column", "'wind' is not one of"),
    ("C1,E1,2026-04-03,outs,7,outside the declaration", "the value is not one that the column named under column allows"),
    ("C1,E1,2026-04-07,location,edge,twice on one day", "with different values"),
    ("C1,E1,2026-04-07,location,out_of_zone,twice on one day", "with different values"),
    ("C1,E1,2026-04-08,swing,full,", "nothing is filled in"),
    ("C1,E1,3/4/2026,swing,full,no day", "could be two different days"),
]


@pytest.fixture(scope="module")
def store(tmp_path_factory):
    folder = tmp_path_factory.mktemp("amendments")
    season = folder / "season"
    season.mkdir()
    for name, text in {**SHEETS, "amendments.csv": HEADING + "".join(f"{row}\n" for row, _ in ROWS)}.items():
        (season / name).write_text(text, encoding="utf-8", newline="")
    (season / "policy.toml").write_text('[[levels]]\nid = "low"\n', encoding="utf-8")
    config = read_config(season, folder / "out")
    with Store() as opened:
        load_season(config, opened)
        check_season(config, opened)
        build_facts(config, opened, zone_measures())
        yield opened


def test_each_faulty_amendment_is_set_aside_with_its_reason_and_no_other(store):
    aside = dict(store.rows("SELECT line_no, reason FROM meta.reject WHERE path = 'amendments.csv'"))
    for line, (row, reason) in enumerate(ROWS, 2):
        assert (reason is None) == (line not in aside), row
        assert reason is None or reason in aside[line], row
    assert store.value("SELECT count(*) FROM meta.reject WHERE path = 'amendments.csv' AND remedy IS NULL") == 0


def test_the_latest_amendment_of_each_cell_is_scored_and_the_sheet_keeps_its_own(store):
    scored = store.rows("SELECT balls, strikes, location, miss_side FROM facts.fct_call WHERE call_id = 'C1'")
    # Of the two amendments of one day neither holds, so the place stays as it was.
    assert scored == [(3, 0, "in_zone", "inside+low")]
    assert store.rows("SELECT balls, strikes, miss_side FROM checked.plate_calls") == [(1, 1, None)]


def test_checks_and_facts_take_the_amended_call_from_one_place(store):
    held = store.rows("SELECT call_id, balls, strikes, location, miss_side FROM checked.amended_call")
    assert held == [("C1", 3, 0, "in_zone", "inside+low")]
    assert store.rows("SELECT call_id, balls, strikes, location, miss_side FROM facts.fct_call ORDER BY 1") == held


def test_amendments_that_no_check_put_in_place_are_not_passed_over(tmp_path):
    with Store(tmp_path / "season.duckdb") as store:
        store.run("CREATE TABLE checked.amendments AS SELECT 'C1' AS call_id, 'balls' AS \"column\"")
        with pytest.raises(DisagreementError, match="not put in their place") as caught:
            _amend(store)
    assert "platework run" in str(caught.value)
