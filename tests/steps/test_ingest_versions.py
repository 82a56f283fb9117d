"""The store remembers earlier versions of a sheet, what became of each, and their rows."""

from __future__ import annotations

import pytest

from pipeline.config import read_config
from pipeline.ingest import versions
from pipeline.ingest.load import WITHDRAWN, load_season
from pipeline.store import Store
from schemas.remarks import fingerprint

SHEETS = {
    "umpires.csv": "umpire_id,name,level\nU1,A Person,low\n",
    "games.csv": "game_id,date,level,rule_code,plate_umpire_id\nG1,2026-04-01,low,nfhs,U1\n",
    "plate_calls_E1.csv": "call_id,game_id,evaluator_id,outs\nC1,G1,E1,1\nC2,G1,E1,nine\nC3,G1\n",
    "plate_calls_E2.csv": "call_id,game_id,evaluator_id,outs\nC9,G1,E2,0\n",
}


@pytest.fixture
def season(tmp_path):
    folder = tmp_path / "season"
    folder.mkdir()
    for name, text in SHEETS.items():
        (folder / name).write_text(text, encoding="utf-8", newline="")
    (folder / "policy.toml").write_text('[[levels]]\nid = "low"\n', encoding="utf-8")
    return folder


def load(season):
    """Load the season into the store of its folder of results; return that store's path."""
    out = season.parent / "out"
    out.mkdir(exist_ok=True)
    config = read_config(season, out)
    with Store(config.store_path) as store:
        load_season(config, store)
    return config.store_path


def ask(path, sql):
    with Store(path, read_only=True) as store:
        return store.rows(sql)


EVENTS = "SELECT run_no, event, path, note FROM meta.sheet_event ORDER BY run_no, path"
HISTORY = ("load_run", "sheet_version", "sheet_event", "archived_row")


def test_the_first_load_adds_every_sheet_and_keeps_no_old_rows(season):
    path = load(season)
    assert [(run, event) for run, event, *_ in ask(path, EVENTS)] == [(1, "added")] * 4
    assert ask(path, "SELECT count(*) FROM meta.archived_row") == [(0,)]


def test_loading_the_same_files_again_adds_nothing_to_the_history(season):
    path = load(season)
    before = [ask(path, f"SELECT * FROM meta.{name} ORDER BY ALL") for name in HISTORY]
    load(season)
    assert [ask(path, f"SELECT * FROM meta.{name} ORDER BY ALL") for name in HISTORY] == before


def test_a_newer_version_replaces_the_rows_and_the_old_ones_stay_readable(season):
    load(season)
    newer = "call_id,game_id,evaluator_id,outs\nC1,G1,E1,2\n"
    (season / "plate_calls_E1.csv").write_text(newer, encoding="utf-8")
    path = load(season)
    assert ask(path, "SELECT call_id, outs FROM staged.plate_calls ORDER BY 1") == [("C1", 2), ("C9", 0)]
    # The row that could not be split is kept too, though it has no id.
    assert ask(path, "SELECT line_no, row_key, raw_text FROM meta.archived_row ORDER BY line_no") == [
        (2, "C1", "C1,G1,E1,1"),
        (3, "C2", "C2,G1,E1,nine"),
        (4, None, "C3,G1"),
    ]
    assert ask(path, EVENTS)[-1] == (2, "replaced", "plate_calls_E1.csv", None)
    versions = ask(
        path,
        "SELECT rows_in, first_run, last_run, rows_kept, columns FROM meta.sheet_version "
        "WHERE path = 'plate_calls_E1.csv' ORDER BY first_run",
    )
    columns = ["call_id", "game_id", "evaluator_id", "outs"]
    assert versions == [(3, 1, 1, 3, columns), (1, 2, 2, None, columns)]


def test_a_sheet_that_is_gone_is_withdrawn_and_may_return(season):
    load(season)
    (season / "plate_calls_E2.csv").unlink()
    path = load(season)
    assert ask(path, "SELECT call_id FROM staged.plate_calls") == [("C1",)]
    assert ask(path, EVENTS)[-1] == (2, "withdrawn", "plate_calls_E2.csv", "no longer in the season folder")
    assert ask(path, "SELECT raw_text FROM meta.archived_row") == [("C9,G1,E2,0",)]
    (season / "plate_calls_E2.csv").write_text(SHEETS["plate_calls_E2.csv"], encoding="utf-8")
    load(season)
    assert ask(path, EVENTS)[-1] == (3, "returned", "plate_calls_E2.csv", None)
    assert ask(path, "SELECT first_run, last_run FROM meta.sheet_version WHERE path = 'plate_calls_E2.csv'") == [(1, 3)]


def test_a_sheet_moved_into_the_folder_for_withdrawn_ones_is_listed_and_not_loaded(season):
    load(season)
    (season / "withdrawn").mkdir()
    (season / "plate_calls_E2.csv").rename(season / "withdrawn" / "plate_calls_E2.csv")
    path = load(season)
    assert ask(path, EVENTS)[-1] == (2, "withdrawn", "plate_calls_E2.csv", "now in withdrawn/plate_calls_E2.csv")
    assert ask(path, "SELECT path, table_name, notes FROM meta.file WHERE path LIKE 'withdrawn/%'") == [
        ("withdrawn/plate_calls_E2.csv", None, WITHDRAWN)
    ]
    assert ask(path, "SELECT call_id FROM staged.plate_calls") == [("C1",)]


def test_a_row_that_was_mended_is_kept_with_its_old_sheet(season):
    mend = f"#file,#line,#was,call_id,game_id,evaluator_id,outs\nplate_calls_E1.csv,4,{fingerprint('C3,G1')},C3,G1,E1,0\n"
    (season / "plate_calls_E1-mend.csv").write_text(mend, encoding="utf-8")
    load(season)
    (season / "plate_calls_E1.csv").unlink()
    (season / "plate_calls_E1-mend.csv").unlink()
    path = load(season)
    kept = ask(path, "SELECT path, line_no FROM meta.archived_row ORDER BY path, line_no")
    assert kept == [("plate_calls_E1-mend.csv", 2), *(("plate_calls_E1.csv", line) for line in (2, 3, 4))]


def test_the_oldest_rows_make_room_but_their_version_is_not_forgotten(season, monkeypatch):
    monkeypatch.setattr(versions, "KEPT_VERSIONS", 2)
    for outs in range(3):
        (season / "plate_calls_E2.csv").write_text(
            SHEETS["plate_calls_E2.csv"].replace(",0\n", f",{outs}\n"), encoding="utf-8"
        )
        load(season)
    (season / "plate_calls_E2.csv").unlink()
    path = load(season)
    kept = "SELECT first_run, rows_kept FROM meta.sheet_version WHERE path = 'plate_calls_E2.csv' ORDER BY 1"
    assert ask(path, kept) == [(1, 0), (2, 1), (3, 1)]
    assert ask(path, "SELECT raw_text FROM meta.archived_row ORDER BY 1") == [("C9,G1,E2,1",), ("C9,G1,E2,2",)]
    monkeypatch.setattr(versions, "KEPT_ROWS", 1)
    (season / "plate_calls_E3.csv").write_text(SHEETS["plate_calls_E2.csv"], encoding="utf-8")
    load(season)
    assert ask(path, kept) == [(1, 0), (2, 0), (3, 1)]


def test_a_load_that_fails_leaves_the_history_as_it_was(season):
    path = load(season)
    before = [ask(path, f"SELECT * FROM meta.{name} ORDER BY ALL") for name in HISTORY]
    (season / "plate_calls_E2.csv").unlink()
    (season / "games.csv").write_text("game_id,date,level,rule_code,plate_umpire_id\n", encoding="utf-8")
    with pytest.raises(Exception, match="has no row in sheet 'games'"):
        load(season)
    assert [ask(path, f"SELECT * FROM meta.{name} ORDER BY ALL") for name in HISTORY] == before
