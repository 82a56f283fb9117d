"""Sheets of an XLSX workbook are loaded like CSV files, and what a cell cannot say is refused."""

import datetime as dt
from pathlib import Path

import pytest
import xlsxwriter

from pipeline.config import Policy, RunConfig
from pipeline.errors import FaultsError
from pipeline.ingest.load import load_season
from pipeline.ingest.workbook import cell_text, error_cells
from pipeline.store import Store

SHEETS = {
    "umpires": [["umpire_id", "name", "level", "years"], ["U01", "Zoë", "varsity", 6]],
    "Games ": [
        ["game_id", "date", "level", "rule_code", "plate_umpire_id"],
        ["G1", dt.date(2026, 4, 18), "varsity", "NFHS", "U01"],
    ],
    "plate_calls April": [
        ["call_id", "game_id", "evaluator_id", "outs", "on_first", "ball_x_in", "note"],
        ["C1", "G1", "E01", 1, True, -4.5, "a, b"],
        ["C2", "G1", "E01", 9.5, False, 3, None],
        [None, None, None, None, None, None, None],
        ["C3", "G1", "E01", None, None, None, "two\nlines"],
    ],
}


def write_book(path: Path, sheets: dict[str, list[list[object]]], first_row: int = 0) -> None:
    with xlsxwriter.Workbook(path) as book:
        day = book.add_format({"num_format": "yyyy-mm-dd"})
        for name, rows in sheets.items():
            sheet = book.add_worksheet(name)
            for number, row in enumerate(rows, first_row):
                for column, value in enumerate(row):
                    if isinstance(value, dt.date):
                        sheet.write_datetime(number, column, dt.datetime.combine(value, dt.time()), day)
                    elif isinstance(value, str) and value.startswith("#"):
                        sheet.write_formula(number, column, "=1/0", None, value)
                    elif value is not None:
                        sheet.write(number, column, value)


@pytest.fixture
def season(tmp_path: Path) -> Path:
    folder = tmp_path / "season"
    folder.mkdir()
    return folder


def load(season: Path, store: Store) -> None:
    load_season(RunConfig(season, season.parent / "results", Policy("T", "", None, None, ())), store)


def faults(season: Path) -> str:
    with Store() as store, pytest.raises(FaultsError) as caught:
        load(season, store)
    return str(caught.value)


@pytest.mark.parametrize("first_row", [0, 3])
def test_the_sheets_of_a_workbook_are_loaded_by_their_names(season, first_row):
    write_book(season / "season.xlsx", SHEETS | {"scratch": [["x"]]}, first_row)
    with Store() as store:
        load(season, store)
        assert store.rows("SELECT name, years FROM staged.umpires") == [("Zoë", 6.0)]
        assert store.rows("SELECT date, rule_code FROM staged.games") == [(dt.date(2026, 4, 18), "nfhs")]
        assert store.rows(
            "SELECT line_no, call_id, outs, on_first, ball_x_in, note FROM staged.plate_calls ORDER BY row_id"
        ) == [
            (first_row + 2, "C1", 1, "yes", -4.5, "a, b"),
            (first_row + 5, "C3", None, "no", None, "two\nlines"),
        ]
        assert store.rows("SELECT line_no, column_name, value, reason, raw_text FROM meta.reject") == [
            (first_row + 3, "outs", "9.5", "'9.5' is not a whole number", "C2,G1,E01,9.5,FALSE,3,")
        ]
        assert store.rows(
            "SELECT sheet, table_name, rows_in, rows_staged, rows_rejected, notes "
            "FROM meta.file ORDER BY file_id"
        ) == [
            ("umpires", "umpires", 1, 1, 0, None),
            ("Games ", "games", 1, 1, 0, None),
            ("plate_calls April", "plate_calls", 3, 2, 1, None),
            ("scratch", None, 0, 0, 0, "not a sheet of ours: ignored"),
        ]


def test_a_workbook_and_csv_files_make_one_season(season):
    write_book(season / "season.xlsx", SHEETS)
    (season / "plate_calls.csv").write_text("call_id,game_id,evaluator_id\nC9,G1,E01\n")
    with Store() as store:
        load(season, store)
        assert store.rows("SELECT call_id FROM staged.plate_calls ORDER BY call_id") == [
            ("C1",),
            ("C3",),
            ("C9",),
        ]


def test_a_workbook_named_like_a_table_with_one_filled_sheet_is_that_table(season):
    write_book(season / "umpires.xlsx", {"Sheet1": SHEETS["umpires"], "Sheet2": []})
    write_book(season / "rest.xlsx", {name: rows for name, rows in SHEETS.items() if name != "umpires"})
    with Store() as store:
        load(season, store)
        assert store.value("SELECT count(*) FROM staged.umpires") == 1


def test_headings_of_a_sheet_that_are_wrong_are_told_with_file_sheet_and_row(season):
    write_book(
        season / "season.xlsx", SHEETS | {"umpires": [["umpire_id", "nme", "level"], ["U01", "A", "v"]]}, 2
    )
    said = faults(season)
    assert (
        "season.xlsx [umpires], line 3, column nme: the heading 'nme' is not one of the sheet 'umpires'"
        in said
    )
    assert "did you mean 'name'?" in said


def test_cells_that_show_an_error_are_refused_because_they_would_read_as_blanks(season):
    rows = [*SHEETS["plate_calls April"], ["C4", "G1", "E01", "#DIV/0!", None, "#N/A", None]]
    write_book(season / "season.xlsx", SHEETS | {"plate_calls April": rows})
    assert error_cells(season / "season.xlsx") == {"plate_calls April": ["D6", "F6"]}
    said = faults(season)
    assert "season.xlsx [plate_calls April]: cells show an error such as #N/A" in said
    assert "D6, F6" in said
    assert "mend the formulas, or clear these cells" in said


def test_an_empty_sheet_and_an_empty_workbook_are_refused(season):
    write_book(season / "season.xlsx", SHEETS | {"ratings": []})
    assert "season.xlsx [ratings]: the sheet is empty" in faults(season)
    write_book(season / "ratings.xlsx", {"Sheet1": []})
    assert "ratings.xlsx: the sheet is empty" in faults(season)


@pytest.mark.parametrize("data", [b"", b"not a workbook", b"PK\x03\x04 broken"])
def test_a_file_that_is_no_workbook_is_refused_with_the_way_out(season, data):
    write_book(season / "season.xlsx", SHEETS)
    (season / "ratings.xlsx").write_bytes(data)
    said = faults(season)
    assert "ratings.xlsx: this is not a workbook that can be read" in said
    assert "save it again as .xlsx" in said


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (True, "TRUE"),
        (3.0, "3"),
        (-4.5, "-4.5"),
        (0.1, "0.1"),
        (1e300, "1e+300"),
        (dt.date(2026, 4, 1), "2026-04-01"),
        (dt.datetime(2026, 4, 1), "2026-04-01"),
        (dt.datetime(2026, 4, 1, 19, 30), "2026-04-01 19:30:00"),
        (dt.time(19, 30), "19:30"),
        (dt.time(19, 30, 5), "19:30:05"),
        ("as it is ", "as it is "),
    ],
)
def test_a_cell_becomes_the_text_that_a_person_would_type(value, text):
    assert cell_text(value) == text
