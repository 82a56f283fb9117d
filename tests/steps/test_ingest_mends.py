"""A mended row takes the place of the row it names, and never in silence of the wrong one."""

from __future__ import annotations

import pytest

from pipeline.config import read_config
from pipeline.ingest.load import load_season
from pipeline.store import Store
from schemas.remarks import fingerprint

UMPIRES = "umpire_id,name,level\nU1,A Person,low\n"
GAMES = "game_id,date,level,rule_code,plate_umpire_id\nG1,2026-04-01,low,nfhs,U1\n"
CALLS = "call_id,game_id,evaluator_id,outs,note\nC1,G1,E1,1,\nC2,G1,E1,nine,\nC3,G1,E1,2,fine\nC4,G1,E1\n"
MEND = "#file,#sheet,#line,#was,#reason,call_id,game_id,evaluator_id,outs,note\n"
BAD, RAGGED = fingerprint("C2,G1,E1,nine,"), fingerprint("C4,G1,E1")


@pytest.fixture
def season(tmp_path):
    folder = tmp_path / "season"
    folder.mkdir()
    for name, text in {"umpires.csv": UMPIRES, "games.csv": GAMES, "plate_calls_E1.csv": CALLS}.items():
        (folder / name).write_text(text, encoding="utf-8", newline="")
    (folder / "policy.toml").write_text('[[levels]]\nid = "low"\n', encoding="utf-8")
    return folder


def load(season, **sheets):
    """Load the season with these further sheets; return the open store."""
    for name, text in sheets.items():
        path = season / f"{name}.csv"
        path.parent.mkdir(exist_ok=True)
        path.write_text(text, encoding="utf-8", newline="")
    store = Store()
    load_season(read_config(season, season.parent / "out"), store)
    return store


def calls(store):
    return store.rows("SELECT call_id, outs FROM staged.plate_calls ORDER BY call_id")


def books(store):
    return {
        path: rest
        for path, *rest in store.rows(
            "SELECT path, rows_in, rows_staged, rows_rejected, rows_replaced FROM meta.file "
            "WHERE table_name = 'plate_calls' ORDER BY path"
        )
    }


def states(store):
    return store.rows("SELECT line_no, state FROM meta.mend ORDER BY path, line_no")


def test_a_mended_row_replaces_the_rejected_one_and_the_trail_shows_both(season):
    mend = f"{MEND}plate_calls_E1.csv,,3,{BAD},not a number,C2,G1,E1,0,\n"
    with load(season, plate_calls_mended=mend) as store:
        assert calls(store) == [("C1", 1), ("C2", 0), ("C3", 2)]
        # Of four rows two were staged, the ragged one set aside, and one replaced.
        assert books(store) == {"plate_calls_E1.csv": [4, 2, 1, 1], "plate_calls_mended.csv": [1, 1, 0, 0]}
        (trail,) = store.records("SELECT * FROM meta.mend")
        kept = store.rows("SELECT raw_text FROM raw.plate_calls WHERE call_id = 'C2' ORDER BY file_id")
    assert trail["state"] == "applied"
    assert (trail["original_path"], trail["original_line_no"]) == ("plate_calls_E1.csv", 3)
    assert trail["original_text"] == "C2,G1,E1,nine,"
    assert trail["original_reason"] == "'nine' is not a whole number"
    assert (trail["path"], trail["line_no"]) == ("plate_calls_mended.csv", 2)
    assert [row[0] for row in kept] == ["C2,G1,E1,nine,", f"plate_calls_E1.csv,,3,{BAD},not a number,C2,G1,E1,0,"]


def test_a_mended_sheet_may_lie_in_a_folder_of_its_own(season):
    with load(season, **{"mended/plate_calls_E1-mend": f"{MEND}plate_calls_E1.csv,,3,{BAD},,C2,G1,E1,0,\n"}) as store:
        assert calls(store) == [("C1", 1), ("C2", 0), ("C3", 2)]


def test_a_row_that_could_not_be_split_can_be_mended(season):
    with load(season, plate_calls_mended=f"{MEND}plate_calls_E1.csv,,5,{RAGGED},,C4,G1,E1,,\n") as store:
        assert calls(store) == [("C1", 1), ("C3", 2), ("C4", None)]
        assert books(store)["plate_calls_E1.csv"] == [4, 2, 1, 1]


def test_an_accepted_row_can_be_mended_too(season):
    was = fingerprint("C3,G1,E1,2,fine")
    with load(season, plate_calls_mended=f"{MEND}plate_calls_E1.csv,,4,{was},a finding,C3,G1,E1,0,better\n") as store:
        assert calls(store) == [("C1", 1), ("C3", 0)]
        assert store.value("SELECT original_reason FROM meta.mend") == "a finding"


def test_rows_put_back_as_they_were_stand_for_nothing(season):
    # Three rows come back untouched: a misfit, an accepted one, and one that still cannot be split.
    back = (
        f"{MEND}plate_calls_E1.csv,,3,{BAD},,C2,G1,E1,nine,\n"
        f"plate_calls_E1.csv,,4,{fingerprint('C3,G1,E1,2,fine')},,C3,G1,E1,2,fine\n"
        f"plate_calls_E1.csv,,5,{RAGGED},,C4,G1,E1\n"
    )
    with load(season, plate_calls_mended=back) as store:
        assert calls(store) == [("C1", 1), ("C3", 2)]
        assert states(store) == [(2, "unchanged"), (3, "unchanged"), (4, "unchanged")]
        assert books(store) == {"plate_calls_E1.csv": [4, 2, 2, 0], "plate_calls_mended.csv": [3, 0, 0, 3]}


def test_a_mend_of_a_row_that_changed_since_is_set_aside_and_says_how_to_go_on(season):
    (season / "plate_calls_E1.csv").write_text(CALLS.replace("nine", "2"), encoding="utf-8")
    with load(season, plate_calls_mended=f"{MEND}plate_calls_E1.csv,,3,{BAD},,C2,G1,E1,0,\n") as store:
        assert calls(store) == [("C1", 1), ("C2", 2), ("C3", 2)]
        assert states(store) == [(2, "stale")]
        reason, remedy = store.rows("SELECT reason, remedy FROM meta.reject WHERE path = 'plate_calls_mended.csv'")[0]
    assert reason == "the row has changed since it was handed back: line 3 of plate_calls_E1.csv"
    assert fingerprint("C2,G1,E1,2,") in remedy


def test_a_mend_of_a_row_that_moved_is_told_the_line_where_it_stands_now(season):
    moved = CALLS.replace("C1,", "C0,G1,E1,0,\nC1,")
    (season / "plate_calls_E1.csv").write_text(moved, encoding="utf-8")
    with load(season, plate_calls_mended=f"{MEND}plate_calls_E1.csv,,3,{BAD},,C2,G1,E1,0,\n") as store:
        remedy = store.value("SELECT remedy FROM meta.reject WHERE path = 'plate_calls_mended.csv'")
    assert remedy == "the same row now stands in line 4: write that under #line"


@pytest.mark.parametrize(
    ("row", "state", "words"),
    [
        ("plate_calls_E9.csv,,3,,,C2,G1,E1,0,", "no_sheet", "plate_calls_E9.csv is not in the season"),
        ("plate_calls_E1.csv,,99,,,C2,G1,E1,0,", "stale", "there is no row now in line 99"),
        ("plate_calls_E1.csv,,third,,,C2,G1,E1,0,", "unplaced", "does not say which row"),
        (",,3,,,C2,G1,E1,0,", "unplaced", "does not say which row"),
        ("games.csv,,2,,,C2,G1,E1,0,", "unplaced", "games.csv is a sheet of games"),
        ("plate_calls_mended.csv,,2,,,C2,G1,E1,0,", "circular", "name one another"),
        ("plate_calls_mended.csv,,1,,,C2,G1,E1,0,", "stale", "there is no row now in line 1"),
    ],
)
def test_a_mend_that_names_no_row_is_set_aside_with_a_reason(season, row, state, words):
    with load(season, plate_calls_mended=f"{MEND}{row}\n") as store:
        assert states(store) == [(2, state)]
        assert words in store.value("SELECT reason FROM meta.reject WHERE path = 'plate_calls_mended.csv'")
        assert books(store)["plate_calls_mended.csv"] == [1, 0, 1, 0]
        assert calls(store) == [("C1", 1), ("C3", 2)]


def test_rows_that_name_one_another_are_not_lost(season):
    # The second line names the third and the third the second; alike, and then not alike.
    for outs in ("0", "1"):
        ring = (
            f"{MEND}plate_calls_mended.csv,,3,,,C2,G1,E1,0,\n"
            f"plate_calls_mended.csv,,2,,,C2,G1,E1,{outs},\n"
        )
        with load(season, plate_calls_mended=ring) as store:
            assert {state for _, state in states(store)} == {"circular"}
            assert books(store)["plate_calls_mended.csv"] == [2, 0, 2, 0]


def test_a_row_mended_twice_alike_counts_once_and_differently_not_at_all(season):
    one = f"plate_calls_E1.csv,,3,{BAD},,C2,G1,E1,0,\n"
    with load(season, plate_calls_mended=MEND + one, plate_calls_other=MEND + one) as store:
        assert calls(store) == [("C1", 1), ("C2", 0), ("C3", 2)]
        assert books(store)["plate_calls_other.csv"] == [1, 0, 0, 1]
    with load(season, plate_calls_other=MEND + one.replace(",0,", ",1,")) as store:
        assert calls(store) == [("C1", 1), ("C3", 2)]
        assert [state for _, state in states(store)] == ["contested", "contested"]


def test_a_mend_can_itself_be_mended(season):
    first = f"plate_calls_E1.csv,,3,{BAD},,C2,G1,E1,ten,"
    second = f"plate_calls_mended.csv,,2,{fingerprint(first)},,C2,G1,E1,1,\n"
    with load(season, plate_calls_mended=f"{MEND}{first}\n", plate_calls_mended2=MEND + second) as store:
        assert calls(store) == [("C1", 1), ("C2", 1), ("C3", 2)]
        assert books(store) == {
            "plate_calls_E1.csv": [4, 2, 1, 1],
            "plate_calls_mended.csv": [1, 0, 0, 1],
            "plate_calls_mended2.csv": [1, 1, 0, 0],
        }


def test_a_faulty_mend_is_set_aside_in_the_place_of_its_row(season):
    with load(season, plate_calls_mended=f"{MEND}plate_calls_E1.csv,,3,{BAD},,C2,G1,E1,ten,\n") as store:
        assert store.rows("SELECT path, line_no FROM meta.reject ORDER BY path, line_no") == [
            ("plate_calls_E1.csv", 5),
            ("plate_calls_mended.csv", 2),
        ]


def test_a_new_row_among_mended_ones_and_a_blank_one_name_nothing(season):
    with load(season, plate_calls_mended=f"{MEND},,,,,C7,G1,E1,0,\n,,,,,,,,,\n") as store:
        assert calls(store) == [("C1", 1), ("C3", 2), ("C7", 0)]
        assert states(store) == []
        assert books(store)["plate_calls_mended.csv"] == [1, 1, 0, 0]


def test_a_blank_row_drops_the_row_it_names_and_the_trail_keeps_it(season):
    (season / "plate_calls_E1.csv").write_text(CALLS + "C1,G1,E1,2,again\n", encoding="utf-8")
    was = fingerprint("C1,G1,E1,2,again")
    with load(season, plate_calls_mended=f"{MEND}plate_calls_E1.csv,,6,{was},stands twice,,,,,\n") as store:
        assert calls(store) == [("C1", 1), ("C3", 2)]
        assert books(store) == {"plate_calls_E1.csv": [5, 2, 2, 1], "plate_calls_mended.csv": [1, 0, 0, 1]}
        assert store.rows("SELECT state, original_text FROM meta.mend") == [("dropped", "C1,G1,E1,2,again")]
    # It is not dropped once it has changed, nor without the mark.
    for mark in (fingerprint("C1,G1,E1,2,other"), ""):
        with load(season, plate_calls_mended=f"{MEND}plate_calls_E1.csv,,6,{mark},,,,,,\n") as store:
            assert calls(store) == [("C1", 1), ("C1", 2), ("C3", 2)]
            assert books(store)["plate_calls_mended.csv"] == [1, 0, 1, 0]


def test_a_row_that_is_dropped_and_mended_at_once_stays_as_it_was(season):
    both = f"{MEND}plate_calls_E1.csv,,4,{fingerprint('C3,G1,E1,2,fine')},,,,,,\n"
    both += f"plate_calls_E1.csv,,4,{fingerprint('C3,G1,E1,2,fine')},,C3,G1,E1,0,\n"
    with load(season, plate_calls_mended=both) as store:
        assert calls(store) == [("C1", 1), ("C3", 2)]
        assert states(store) == [(2, "contested"), (3, "contested")]


def test_without_a_fingerprint_the_mend_is_taken_and_marked_as_unchecked(season):
    bare = "#file,#line,call_id,game_id,evaluator_id,outs\nplate_calls_E1.csv,3,C2,G1,E1,0\n"
    with load(season, plate_calls_mended=bare) as store:
        assert calls(store) == [("C1", 1), ("C2", 0), ("C3", 2)]
        assert store.rows("SELECT state, is_checked FROM meta.mend") == [("applied", False)]
        notes = store.value("SELECT notes FROM meta.file WHERE path = 'plate_calls_mended.csv'")
    assert notes.endswith("; mended rows taken without a mark under #was: 1")


def test_spreadsheet_habits_do_no_harm(season):
    # Semicolons, columns in another order, the line as 3.0, and a path with the other slash.
    mend = f"call_id;game_id;evaluator_id;outs;#line;#was;#file\nC2;G1;E1;0;3.0;{BAD};.\\plate_calls_E1.csv\n"
    with load(season, plate_calls_mended=mend) as store:
        assert calls(store) == [("C1", 1), ("C2", 0), ("C3", 2)]


def test_a_row_of_a_workbook_is_named_by_its_sheet(season, tmp_path):
    xlsxwriter = pytest.importorskip("xlsxwriter")
    with xlsxwriter.Workbook(str(season / "plate_calls_E2.xlsx")) as book:
        sheet = book.add_worksheet("plate_calls May")
        for row, cells in enumerate((["call_id", "game_id", "evaluator_id", "outs"], ["C8", "G1", "E1", "x"])):
            sheet.write_row(row, 0, cells)
    mend = f"{MEND}plate_calls_E2.xlsx,plate_calls May,2,{fingerprint('C8,G1,E1,x')},,C8,G1,E1,2,\n"
    with load(season, plate_calls_mended=mend) as store:
        assert ("C8", 2) in calls(store)
        assert store.value("SELECT original_sheet FROM meta.mend") == "plate_calls May"
