"""Loading a season: no row is lost, every refusal says what, where, why and what to do."""

import re
from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from pipeline.config import Policy, RunConfig
from pipeline.errors import DisagreementError, FaultsError
from pipeline.ingest import land, load
from pipeline.ingest.load import load_season
from pipeline.store import Store
from schemas import layer_tables, templates

UMPIRES = "umpire_id,name,level\nU01,Umpire One,varsity\n"
GAMES = "game_id,date,level,rule_code,plate_umpire_id\nG1,2026-04-18,varsity,nfhs,U01\n"
CALLS = "call_id,game_id,evaluator_id,outs,swing,note\nC1,G1,E01,1,full,first\nC2,G1,E01,,,second\n"

Loader = Callable[..., Store]


@pytest.fixture
def season(tmp_path: Path) -> Path:
    folder = tmp_path / "season"
    folder.mkdir()
    (folder / "umpires.csv").write_text(UMPIRES)
    (folder / "games.csv").write_text(GAMES)
    (folder / "plate_calls.csv").write_text(CALLS)
    return folder


def config_for(season: Path) -> RunConfig:
    return RunConfig(season, season.parent / "results", Policy("T", "", None, None, ()))


@pytest.fixture
def loaded(season: Path):
    stores: list[Store] = []

    def loader(**sheets: str | bytes) -> Store:
        """Write sheets (a keyword is a stem) into the season folder and load it into a store in memory."""
        for stem, content in sheets.items():
            data = content.encode() if isinstance(content, str) else content
            (season / f"{stem}.csv").write_bytes(data)
        stores.append(Store())
        load_season(config_for(season), stores[-1])
        return stores[-1]

    yield loader
    for store in stores:
        store.close()


def content(store: Store) -> dict[str, list[tuple]]:
    """Return the rows of everything a load writes, in a fixed order."""
    names = [f"{layer}.{table.name}" for table in layer_tables("season") for layer in ("raw", "staged")]
    return {
        name: store.rows(f"SELECT * FROM {name} ORDER BY ALL")
        for name in [*names, "meta.file", "meta.reject"]
    }


def account(store: Store, stem: str = "plate_calls") -> tuple[int, ...]:
    """Return rows in, blank, staged and rejected of one file."""
    return store.rows(
        "SELECT rows_in, rows_blank, rows_staged, rows_rejected FROM meta.file WHERE path = ?",
        [f"{stem}.csv"],
    )[0]


def notes(store: Store, path: str) -> str | None:
    return store.value("SELECT notes FROM meta.file WHERE path = ?", [path])


def rejects(store: Store) -> list[tuple]:
    return store.rows(
        "SELECT path, line_no, column_name, value, reason, remedy FROM meta.reject ORDER BY line_no"
    )


def faults(loaded: Loader, **sheets: str | bytes) -> str:
    with pytest.raises(FaultsError) as caught:
        loaded(**sheets)
    assert caught.value.exit_code == 2
    return str(caught.value)


# What is loaded


def test_cells_are_typed_and_blanks_read_as_the_declaration_says(loaded):
    rows = loaded().records("SELECT * FROM staged.plate_calls ORDER BY row_id")
    assert [(row["call_id"], row["outs"], row["swing"]) for row in rows] == [
        ("C1", 1, "full"),
        ("C2", None, "none"),
    ]
    # A judged fact and a column that the sheet does not have stay unknown; an event column is read as "none".
    assert {row["avoidance"] for row in rows} == {None}
    assert {row["batter_act"] for row in rows} == {"none"}
    assert {row["moment"] for row in rows} == {"pitch"}


def test_raw_rows_keep_their_line_and_their_text_as_it_came(loaded):
    store = loaded(plate_calls='call_id,game_id,evaluator_id,note\n C1 ,G1,E01,"a, b"\n')
    assert store.rows("SELECT line_no, raw_text, call_id, note FROM raw.plate_calls") == [
        (2, ' C1 ,G1,E01,"a, b"', " C1 ", "a, b")
    ]
    assert store.rows("SELECT call_id FROM staged.plate_calls") == [("C1",)]


def test_every_declared_table_exists_even_where_no_sheet_was_handed_in(loaded):
    store = loaded()
    for table in layer_tables("season"):
        assert store.has_table(f"raw.{table.name}")
        assert store.has_table(f"staged.{table.name}")


def test_loading_the_same_folder_twice_gives_equal_content(loaded):
    sheets = {"plate_calls": CALLS + 'C3,G1,E01,9.5,,x\nC4,G1\nC5,G1,E01,1,,"open\n'}
    assert content(loaded(**sheets)) == content(loaded(**sheets))


def test_loading_twice_into_one_store_leaves_the_rows_of_one_load(loaded, season):
    store = loaded()
    before = content(store)
    load_season(config_for(season), store)
    assert content(store) == before


def test_several_files_may_hold_one_table_and_row_ids_follow_file_and_line(loaded, season):
    (season / "april").mkdir()
    (season / "plate_calls").mkdir()
    (season / "april" / "Plate_Calls - north.csv").write_text(CALLS.replace("C1", "N1").replace("C2", "N2"))
    (season / "plate_calls" / "week 3.csv").write_text(CALLS.replace("C1", "W1").replace("C2", "W2"))
    store = loaded()
    assert store.rows("SELECT call_id FROM staged.plate_calls ORDER BY row_id") == [
        ("N1",), ("N2",), ("C1",), ("C2",), ("W1",), ("W2",)
    ]  # fmt: skip
    assert store.value("SELECT count(DISTINCT row_id) FROM staged.plate_calls") == 6


def test_a_path_with_wildcard_signs_is_one_file(loaded, season):
    (season / "plate_calls [1].csv").write_text(CALLS.replace("C1", "N1").replace("C2", "N2"))
    assert loaded().value("SELECT count(*) FROM staged.plate_calls") == 4


def test_results_truth_and_hidden_files_are_not_looked_at_and_strange_sheets_are_noted(loaded, season):
    for folder in ("truth", "out", ".cache"):
        (season / folder).mkdir()
        (season / folder / "plate_calls.csv").write_text("nonsense")
    (season / "~$plate_calls.xlsx").write_bytes(b"lock")
    (season / "budget.csv").write_text("a,b\n1,2\n")
    (season / "README.md").write_text("# hello")
    store = loaded()
    assert store.rows("SELECT path, table_name, notes FROM meta.file WHERE table_name IS NULL") == [
        ("budget.csv", None, "not a sheet of ours: ignored")
    ]
    assert store.value("SELECT count(*) FROM meta.file") == 4


def test_the_same_content_under_two_names_is_noted(loaded):
    store = loaded(plate_calls_copy=CALLS)
    assert notes(store, "plate_calls_copy.csv") == "same content as plate_calls.csv"


def test_headings_are_taken_in_any_order_case_and_by_their_other_names(loaded):
    store = loaded(plate_calls="Evaluator, MPH ,Call ID,runner-on-first,GAME\nE01,78,C1,Y,G1\n")
    assert store.rows(
        "SELECT call_id, game_id, evaluator_id, pitch_mph, on_first FROM staged.plate_calls"
    ) == [("C1", "G1", "E01", 78.0, "yes")]


def test_headings_and_example_rows_of_a_blank_sheet_are_passed_over(loaded):
    text = templates.blank_csv("plate_calls")
    row = "C1,G1,E01" + "," * (text.splitlines()[0].count(",") - 2)
    store = loaded(plate_calls=text + row + "\r\n")
    assert account(store) == (1, 1, 1, 0)
    assert notes(store, "plate_calls.csv") == "example rows passed over: 1"


@pytest.mark.parametrize("name", [table.name for table in layer_tables("season")])
def test_the_example_row_of_every_blank_sheet_would_itself_be_accepted(loaded, name):
    text = templates.blank_csv(name).replace(templates.EXAMPLE_MARK, "")
    store = loaded(**{name: text})
    assert rejects(store) == []
    assert store.value(f"SELECT count(*) FROM staged.{name}") == 1


def test_blank_lines_and_rows_of_delimiters_are_counted_apart(loaded):
    store = loaded(plate_calls="\n" + CALLS + "\n,,,,,\n   \n")
    assert account(store) == (2, 4, 2, 0)


def test_a_remark_column_is_passed_over_and_noted(loaded):
    store = loaded(plate_calls="call_id,game_id,evaluator_id,#reason\nC1,G1,E01,mended\n")
    assert account(store) == (1, 0, 1, 0)
    assert notes(store, "plate_calls.csv") == "remark columns not read: #reason"


def test_blank_headings_are_let_pass_until_a_value_stands_under_them(loaded):
    store = loaded(plate_calls="call_id,game_id,evaluator_id,\nC1,G1,E01,\nC2,G1,E01,lost\n")
    assert account(store) == (2, 0, 1, 1)
    assert rejects(store)[0][4] == "'lost' stands in column 4, which has no heading"


def test_facts_of_a_quiz_item_are_read_only_where_the_item_has_a_case(loaded):
    store = loaded(
        quiz_items="item_id,rule_code,topic,stem,option_a,option_b,key,touched\n"
        "I1,nfhs,t,Who?,x,y,A,person\nI2,nfhs,t,How wide?,x,y,b,\n"
    )
    assert store.rows("SELECT item_id, key, touched, swing FROM staged.quiz_items ORDER BY 1") == [
        ("I1", "a", "person", "none"),
        ("I2", "b", None, None),
    ]


# Encodings, delimiters, line ends


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "cp1252"])
@pytest.mark.parametrize("newline", ["\n", "\r\n", "\r"])
def test_encodings_and_line_ends_are_understood(loaded, encoding, newline):
    text = "umpire_id,name,level\nU01,José Ñandú,varsity\nU02,Zoë,varsity\n".replace("\n", newline)
    store = loaded(umpires=text.encode(encoding))
    assert store.rows("SELECT name FROM staged.umpires ORDER BY umpire_id") == [("José Ñandú",), ("Zoë",)]
    said = "not UTF-8: read as Windows-1252, so look at names with accents"
    assert notes(store, "umpires.csv") == (said if encoding == "cp1252" else None)


def test_mixed_line_ends_and_a_missing_last_one_lose_nothing(loaded):
    store = loaded(umpires="umpire_id,name,level\r\nU01,A,v\nU02,B,v\rU03,C,v")
    assert account(store, "umpires") == (3, 0, 3, 0)
    assert store.rows("SELECT line_no FROM raw.umpires ORDER BY 1") == [(2,), (3,), (4,)]


@pytest.mark.parametrize("delimiter", [",", ";", "\t", "|"])
def test_the_delimiter_is_found_from_the_headings(loaded, delimiter):
    store = loaded(umpires=UMPIRES.replace(",", delimiter))
    assert store.rows("SELECT delimiter, rows_staged FROM meta.file WHERE path = 'umpires.csv'") == [
        (delimiter, 1)
    ]


def test_decimal_commas_are_read_in_a_sheet_with_semicolons_and_noted(loaded):
    store = loaded(plate_calls="call_id;game_id;evaluator_id;ball_x_in\nC1;G1;E01;-4,5\nC2;G1;E01;4.5\n")
    assert store.rows("SELECT ball_x_in FROM staged.plate_calls ORDER BY row_id") == [(-4.5,), (4.5,)]
    assert notes(store, "plate_calls.csv") == "decimal commas read as decimal points"


def test_a_decimal_comma_in_a_sheet_with_commas_is_refused_with_the_number_meant(loaded):
    store = loaded(plate_calls='call_id,game_id,evaluator_id,ball_x_in\nC1,G1,E01,"4,5"\n')
    assert rejects(store)[0][4:] == (
        "'4,5' is not a number",
        "write 4.5 if the comma is a decimal point; write a number from -72 to 72 (inches), such as -4.5, "
        "or leave it blank (not recorded)",
    )


# Values


@pytest.mark.parametrize(
    ("column", "given", "staged"),
    [
        ("on_first", "Y", "yes"),
        ("on_first", "TRUE", "yes"),
        ("on_first", "x", "yes"),
        ("on_first", "1", "yes"),
        ("on_first", "N", "no"),
        ("on_first", "0", "no"),
        ("contact", "Foul Tip", "foul_tip"),
        ("tip_first_touched", "GEAR-OR-BODY", "gear_or_body"),
        ("miss_side", "Low + Inside", "inside+low"),
        ("outs", " 2 ", 2),
        ("outs", "2.0", 2),
        ("outs", "+1", 1),
        ("pitch_mph", ".5", 0.5),
        ("pitch_mph", "78.", 78.0),
        ("note", "  two words ", "two words"),
        ("note", "\u00a0", None),
    ],
)
def test_values_are_taken_as_people_write_them(loaded, column, given, staged):
    store = loaded(plate_calls=f"call_id,game_id,evaluator_id,{column}\nC1,G1,E01,{given}\n")
    assert store.rows(f"SELECT {column} FROM staged.plate_calls") == [(staged,)]


@pytest.mark.parametrize(
    "value", ["9.5", "1e1", "0x10", "1_000", "1,000", "two", "inf", "NaN", "1e400", "99999999999999999999"]
)
def test_what_only_a_cast_would_take_for_a_whole_number_is_refused(loaded, value):
    store = loaded(plate_calls=f'call_id,game_id,evaluator_id,outs\nC1,G1,E01,"{value}"\n')
    assert account(store) == (1, 0, 0, 1)
    assert rejects(store)[0][2:5] == ("outs", value, f"'{value}' is not a whole number")


@pytest.mark.parametrize(
    "value", ["0x10", "1_000", "inf", "NaN", "1e400", "1e1", "1 000", "--1", ".", "4.5in"]
)
def test_what_only_a_cast_would_take_for_a_number_is_refused(loaded, value):
    store = loaded(plate_calls=f"call_id,game_id,evaluator_id,ball_x_in\nC1,G1,E01,{value}\n")
    assert rejects(store)[0][2:5] == ("ball_x_in", value, f"'{value}' is not a number")


@pytest.mark.parametrize(
    ("given", "day"),
    [
        ("2026-04-18", "2026-04-18"),
        ("2026-04-18 00:00:00", "2026-04-18"),
        ("18.04.2026", "2026-04-18"),
        ("4.4.2026", "2026-04-04"),
        ("4/18/2026", "2026-04-18"),
        ("18-4-2026", "2026-04-18"),
    ],
)
def test_days_are_taken_where_they_can_only_be_one(loaded, given, day):
    store = loaded(games=GAMES.replace("2026-04-18", given))
    assert store.value("SELECT CAST(date AS VARCHAR) FROM staged.games") == day


@pytest.mark.parametrize(
    ("given", "reason", "remedy"),
    [
        ("04.05.2026", "could be two different days", "write 2026-04-05 or 2026-05-04, whichever is meant"),
        ("03/04/2026", "could be two different days", "write 2026-03-04 or 2026-04-03, whichever is meant"),
        ("4/18/26", "is not a day written as year-month-day", "write 2026-04-18"),
        ("2026/4/18", "is not a day written as year-month-day", "write 2026-04-18"),
        (
            "2026-02-30",
            "is a day that is not in the calendar",
            "write the day as year-month-day, such as 2026-04-18",
        ),
        ("2026-04-18 19:30", "is not a day written", "write the day as year-month-day, such as 2026-04-18"),
        (
            "April",
            "is not a day written as year-month-day",
            "write the day as year-month-day, such as 2026-04-18",
        ),
    ],
)
def test_days_that_could_be_another_are_refused_with_the_possible_readings(loaded, given, reason, remedy):
    found = rejects(loaded(games=GAMES.replace("2026-04-18", given)))
    assert found[0][:4] == ("games.csv", 2, "date", given)
    assert reason in found[0][4]
    assert found[0][5] == remedy


def test_a_reject_names_file_line_column_value_what_is_allowed_and_the_nearest(loaded):
    store = loaded(plate_calls="call_id,game_id,evaluator_id,swing\nC1,G1,E01,full\nC2,G1,E01,cheked\n")
    assert rejects(store) == [
        (
            "plate_calls.csv",
            3,
            "swing",
            "cheked",
            "'cheked' is not one of: none, full, bunt, checked",
            "did you mean 'checked'?",
        )
    ]


def test_a_value_like_none_of_the_allowed_is_met_with_the_meaning_of_a_blank(loaded):
    store = loaded(plate_calls="call_id,game_id,evaluator_id,avoidance\nC1,G1,E01,???\n")
    assert rejects(store)[0][5] == "write one of the allowed values, or leave it blank (not recorded)"


def test_several_misfits_of_one_row_are_one_reject_with_every_reason(loaded):
    store = loaded(plate_calls="call_id,game_id,evaluator_id,outs,swing\nC1,G1,E01,two,ful\n")
    assert rejects(store) == [
        (
            "plate_calls.csv",
            2,
            "outs",
            "two",
            "outs: 'two' is not a whole number; swing: 'ful' is not one of: none, full, bunt, checked",
            "outs: write a whole number from 0 to 2, such as 1, or leave it blank (not recorded); "
            "swing: did you mean 'full'?",
        )
    ]
    assert store.value("SELECT raw_text FROM meta.reject") == "C1,G1,E01,two,ful"


# Rows that cannot be split


@pytest.mark.parametrize(
    ("row", "reason", "remedy"),
    [
        ("C3,G1,E01", "the row has 3 cells, the heading line has 6", "fill in the missing cells"),
        ("C3", "the row has 1 cell, the heading line has 6", "fill in the missing cells"),
        ("C3,G1,E01,1,,low, and away,", "the row has 8 cells", "put quotation marks around a value"),
        ('C3,G1,E01,1,,"open', "a quotation mark is opened and not closed", "close the quotation mark"),
        ('C3,G1,E01,1,,"a "b" c"', "a quotation mark closes in the middle of a value", "twice"),
        ("C3,G1,E01,1,,a\0b", "the row holds a NUL character", "type the row again"),
    ],
)
def test_a_row_that_cannot_be_split_costs_itself_and_no_other(loaded, row, reason, remedy):
    store = loaded(plate_calls=CALLS + row + "\nC9,G1,E01,1,full,last\n")
    assert account(store) == (4, 0, 3, 1)
    found = rejects(store)
    assert found[0][:2] == ("plate_calls.csv", 4)
    assert reason in found[0][4]
    assert remedy in found[0][5]
    assert store.value("SELECT raw_text FROM meta.reject") == row


def test_blank_cells_beyond_the_headings_do_no_harm(loaded):
    store = loaded(plate_calls=CALLS + "C3,G1,E01,1,,x,, ,\n")
    assert account(store) == (3, 0, 3, 0)
    assert store.value("SELECT raw_text FROM raw.plate_calls WHERE call_id = 'C3'") == "C3,G1,E01,1,,x,, ,"


def test_an_open_quotation_mark_does_not_swallow_the_rows_down_to_the_next(loaded):
    store = loaded(plate_calls=CALLS + 'C3,G1,E01,1,,"open\nC4,G1,E01,1,,x\nC5,G1,E01,1,,"closed"\n')
    assert store.rows("SELECT call_id FROM staged.plate_calls ORDER BY row_id") == [
        ("C1",),
        ("C2",),
        ("C4",),
        ("C5",),
    ]


def test_a_note_of_several_lines_is_one_row(loaded):
    store = loaded(plate_calls=CALLS + 'C3,G1,E01,1,,"one\ntwo, three"\nC4,G1,E01,1,,x\n')
    assert account(store) == (4, 0, 4, 0)
    assert store.rows("SELECT line_no, note FROM staged.plate_calls ORDER BY 1")[2:] == [
        (4, "one\ntwo, three"),
        (6, "x"),
    ]


def test_a_line_of_three_megabytes_is_loaded(loaded):
    store = loaded(plate_calls=CALLS + f"C3,G1,E01,1,,{'é' * 3_000_000}\n")
    assert account(store) == (3, 0, 3, 0)
    assert store.value("SELECT max(length(note)) FROM staged.plate_calls") == 3_000_000


# Sheets that cannot be used


def test_missing_sheets_are_all_named_at_once(season, loaded):
    for path in season.iterdir():
        path.unlink()
    said = faults(loaded)
    assert "3 faults" in said
    assert "has no sheet 'umpires'" in said
    assert "has no sheet 'games'" in said
    assert "has no sheet 'plate_calls' or 'quiz_responses'" in said
    assert "`platework blank umpires`" in said


def test_a_quiz_season_needs_no_plate_calls(season, loaded):
    (season / "plate_calls.csv").unlink()
    store = loaded(quiz_responses="quiz_id,umpire_id,item_id,answer\nQ1,U01,I1,B\n")
    assert store.rows("SELECT answer FROM staged.quiz_responses") == [("b",)]


def test_sheets_with_headings_only_are_refused_where_they_are_needed(loaded):
    said = faults(loaded, umpires="umpire_id,name,level\n")
    assert "has no row in sheet 'umpires'" in said
    assert "fill in umpires.csv" in said


def test_a_season_that_is_refused_leaves_what_was_loaded_before(loaded, season):
    store = loaded()
    before = content(store)
    (season / "umpires.csv").write_text("umpire_id,name,level\n")
    with pytest.raises(FaultsError):
        load_season(config_for(season), store)
    assert content(store) == before


@pytest.mark.parametrize(
    ("sheet", "words"),
    [
        ("", "plate_calls.csv: the sheet is empty"),
        ("\n \n,,\n", "plate_calls.csv: the sheet is empty"),
        (b"\x89PNG\r\n\x1a\n\x00\x81\x8d", "neither UTF-8 nor UTF-16 nor Windows-1252"),
        (b"\x01\x02\x03 abc\n", "its first line holds control characters"),
        (b"PK\x03\x04rest", "this is a workbook, or another packed file, with the ending of a text file"),
        (b"\xff\xfea", "this is not a text file"),
        ('call_id,"game_id\nC1,G1\n', "the quotation marks in the heading line do not match"),
        ("C1,G1,E01\n", "the first line holds no heading of the sheet 'plate_calls'"),
        ("Spring season\n" + CALLS, "but they stand in line 2"),
        ("call_id,game_id,evaluator_id,swng\n", "column swng: the heading 'swng' is not one of the sheet"),
        ("call_id,game_id,evaluator_id,swng\n", "did you mean 'swing'?"),
        ("call_id,game_id,evaluator_id,zzzz\n", "put # before its heading to have it passed over"),
        ("call_id,game_id\n", "column evaluator_id: the column 'evaluator_id' (Evaluator) is missing"),
        ("call_id,game_id\n", "for example E01"),
        ("call_id,game_id,evaluator_id,note,Notes\n", "'note' stands twice, under 'note' and 'Notes'"),
    ],
)
def test_a_sheet_that_cannot_be_used_is_refused_in_plain_words(loaded, sheet, words):
    said = faults(loaded, plate_calls=sheet)
    assert words in said
    assert "To do:" in said
    # The sheet is there, only faulty: nobody is told to add it.
    assert "has no sheet" not in said


def test_a_near_miss_of_a_needed_heading_is_one_fault_and_not_two(loaded):
    said = faults(loaded, plate_calls="call_id,game_id,evaluater_id\n")
    assert said.startswith("1 fault")
    assert "did you mean 'evaluator_id'?" in said


def test_the_faults_of_all_sheets_are_told_at_once(loaded):
    said = faults(loaded, umpires="umpire_id,nme,level\n", games="", plate_calls=b"\x01\x02")
    assert [name for name in ("umpires.csv", "games.csv", "plate_calls.csv") if name not in said] == []
    assert "3 faults" in said


def test_a_sheet_of_another_spreadsheet_program_is_refused_with_the_way_out(loaded, season):
    (season / "plate_calls.ods").write_bytes(b"PK")
    said = faults(loaded)
    assert "a spreadsheet with the ending .ods cannot be read" in said
    assert "save it as .xlsx or as CSV" in said


def test_books_that_do_not_balance_stop_the_load(loaded, monkeypatch):
    stage = load.stage
    monkeypatch.setattr(load, "stage", lambda *given: (stage(*given)[0], 1))
    with pytest.raises(DisagreementError, match="1 rows came in, but 1 were staged and 1 set aside"):
        loaded()


# Nothing is ever lost


def physical_lines(text: str) -> list[str]:
    return [line for line in re.split(r"(?<=\n)|(?<=\r)(?!\n)", text) if line]


def line_span(line_no: int, raw_text: str | None) -> range:
    return range(line_no, line_no + len(re.findall(r"\r\n|\r|\n", raw_text or "")) + 1)


ROWS = st.lists(
    st.one_of(
        st.sampled_from(
            [
                "G1,v,U01,nfhs,2026-04-18,plain",
                'G2,v,U01,OBR,18.04.2026,"quoted, with comma"',
                'G3,v,U01,ncaa,2026-04-18,"two\nlines"',
                "G4,v,U01,nfhs,04.05.2026,bad day",
                "G5,v,U01,nfsh,2026-04-18,bad word",
                'G6,v,U01,nfhs,2026-04-18,"never closed',
                'G7,v,U01,nfhs,2026-04-18,closed"',
                "G8,v,U01,nfhs",
                "G9,v,U01,nfhs,,,, ,",
                'GA,"v,U01,nfhs,,',
                "EXAMPLE-1,v,U01,nfhs,2026-04-18,",
                "",
                ",,,,,",
                "   ",
                '""',
                '"',
            ]
        ),
        st.text(alphabet='aG1,"\t\0é\u2028\x85 \ufeff;', max_size=25),
    ),
    max_size=12,
)
HEAD = "game_id,level,plate_umpire_id,rule_code,date,site"


@pytest.fixture(scope="module")
def shared(tmp_path_factory):
    folder = tmp_path_factory.mktemp("mutated")
    (folder / "umpires.csv").write_text(UMPIRES)
    (folder / "plate_calls.csv").write_text(CALLS)
    # Keeps the season from being refused where the mutated sheet holds no row.
    (folder / "games_more.csv").write_text(GAMES)
    with Store() as store:
        yield folder, store


@settings(max_examples=100, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    rows=ROWS,
    ends=st.lists(st.sampled_from(["\n", "\r\n", "\r"]), min_size=1, max_size=3),
    last=st.booleans(),
)
def test_every_line_is_heading_blank_accepted_or_rejected(shared, rows, ends, last):
    folder, store = shared
    text = HEAD + ends[0]
    for number, row in enumerate(rows):
        text += row + (ends[number % len(ends)] if last or number < len(rows) - 1 else "")
    (folder / "games.csv").write_bytes(text.encode())
    load_season(config_for(folder), store)
    line_count, rows_in, blank, staged, rejected = store.rows(
        "SELECT line_count, rows_in, rows_blank, rows_staged, rows_rejected FROM meta.file "
        "WHERE path = 'games.csv'"
    )[0]
    lines = physical_lines(text)
    assert line_count == len(lines)
    assert rows_in == staged + rejected
    kept = store.rows(
        "SELECT line_no, raw_text FROM raw.games JOIN meta.file USING (file_id) "
        "WHERE path = 'games.csv' UNION ALL SELECT line_no, raw_text FROM meta.reject "
        "WHERE path = 'games.csv' AND column_name IS NULL"
    )
    assert len(kept) == rows_in
    covered: set[int] = {1}
    for line_no, raw_text in kept:
        span = line_span(line_no, raw_text)
        assert not covered & set(span), "a line is in two rows"
        covered |= set(span)
        assert "".join(lines[number - 1] for number in span).rstrip("\r\n") == raw_text.rstrip("\r\n")
    left = [lines[number - 1] for number in range(1, len(lines) + 1) if number not in covered]
    # Whatever was not kept is blank, but for the example row.
    assert [
        line for line in left if line.strip('", \t\r\n;\u2028\x85\ufeff') and "EXAMPLE-" not in line
    ] == []
    # Each blank row is at least one line.
    assert len(left) >= blank


@settings(max_examples=50, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(rows=ROWS, end=st.sampled_from(["\n", "\r\n"]))
def test_the_fast_reader_and_the_exact_one_give_the_same(shared, rows, end):
    folder, store = shared
    (folder / "games.csv").write_bytes((end.join([HEAD, *rows]) + end).encode())
    load_season(config_for(folder), store)
    fast = content(store)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(land, "is_simple", lambda *_: False)
        load_season(config_for(folder), store)
    assert content(store) == fast


def test_a_plain_sheet_takes_the_fast_way(loaded, monkeypatch):
    monkeypatch.setattr(land, "land_exact", lambda *_: pytest.fail("the exact way was taken"))
    assert account(loaded(plate_calls=CALLS + 'C3,G1,E01,1,,"a, ""b"""\n')) == (3, 0, 3, 0)


def test_a_sheet_that_cannot_be_read_is_named(loaded, monkeypatch):
    opened = Path.open

    def open_unless_locked(path, *args, **named):
        if path.name == "games.csv":
            raise PermissionError(13, "Permission denied")
        return opened(path, *args, **named)

    monkeypatch.setattr(Path, "open", open_unless_locked)
    with pytest.raises(FaultsError) as caught:
        loaded()
    assert [str(fault).splitlines() for fault in caught.value.faults] == [
        [
            "games.csv: the file cannot be read: Permission denied",
            "  To do: close it elsewhere, or ask whoever owns it for leave to read it",
        ]
    ]
