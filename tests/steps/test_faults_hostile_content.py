"""Hostile content is data: nothing of it is executed, leaves the results' folder, or stops a run."""

from __future__ import annotations

import csv
import datetime as dt
import io
import math
import os
import sys
from dataclasses import replace
from pathlib import Path, PurePosixPath, PureWindowsPath
from types import SimpleNamespace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline import table_fits
from pipeline.case_lists import check_quiz, explain_case, rule_cases
from pipeline.case_plays import Request, make_plays
from pipeline.config import Policy, RunConfig
from pipeline.effect_fits import effects_csv
from pipeline.errors import FaultsError, UnwritableError
from pipeline.formulas import safe_row, spreadsheet_safe, spreadsheet_safe_sql, without_marks
from pipeline.ingest.load import load_season
from pipeline.rules.plays.sheet import quiz_sheet
from pipeline.store import Store
from reports.naming import folder_names, slug

FORMULA_SIGNS = ("=", "+", "-", "@", "＝", "＋", "－", "＠")

# Formulas in texts


FORMULAS = [
    "=1+1", "+1", "-1", "@SUM(A1)", "\t=1", "\r=1", "  =1", "\u00a0=1", "＝1", "x;=1", "x\n=1", "x\t+1", "x; =1", "\n=1",
    '=HYPERLINK("http://outside.example")', '"=1', "';=1",
]  # fmt: skip


def cells_by(text: str, separator: str) -> list[str]:
    """Return the cells that a program set to `separator` would make of a CSV line with this text as its one cell.

    A program that splits by another separator than the file's pays no heed to quotation marks inside a cell.
    """
    stream = io.StringIO()
    csv.writer(stream).writerow(["U1", text, "5"])
    if separator == ",":
        return next(csv.reader(io.StringIO(stream.getvalue(), newline="")))
    return [cell for line in stream.getvalue().splitlines() for cell in line.split(separator)]


def is_formula(cell: str) -> bool:
    return cell.strip(" \t\r\n\u00a0").startswith(FORMULA_SIGNS)


@pytest.mark.parametrize("text", FORMULAS)
@pytest.mark.parametrize("separator", [",", ";", "\t"])
def test_no_cell_of_a_csv_for_spreadsheets_starts_a_formula_however_it_is_split(text: str, separator: str) -> None:
    assert not any(is_formula(cell) for cell in cells_by(spreadsheet_safe(text), separator))


@given(st.text(alphabet=[*FORMULA_SIGNS, *" \t\r\n\u00a0;,'\"ab1"], max_size=12))
def test_no_text_at_all_starts_a_formula_and_taking_the_apostrophes_out_gives_it_back(text: str) -> None:
    safe = spreadsheet_safe(text)
    for separator in (",", ";", "\t"):
        assert not any(is_formula(cell) for cell in cells_by(safe, separator))
    assert safe.replace("'", "") == text.replace("'", "")
    assert without_marks(safe) == text


def test_the_engine_and_python_mark_the_same_texts() -> None:
    texts = [*FORMULAS, "plain", "a-b", "late - said so", "a=b;c=d", "", "x;y", "1+1", "é=1", "a\n\nb", None]
    with Store() as store:
        found = store.rows(
            f"SELECT text, {spreadsheet_safe_sql('text')} FROM (SELECT unnest(?::VARCHAR[]) AS text)", [texts]
        )
    assert len(found) == len(texts)
    for text, safe in found:
        assert safe == spreadsheet_safe(text)


def test_texts_that_start_no_formula_stay_as_they_are() -> None:
    for text in ("plain", "a-b", "late - said so", "pitch=ball;batter=at_bat", "x;y", "1+1", "a\n\nb", ""):
        assert spreadsheet_safe(text) == text


@given(st.text(alphabet=[*FORMULA_SIGNS, *" \t\r\n\u00a0;,'\"ab1.e"], max_size=12))
def test_a_cell_that_was_marked_is_read_as_it_was_and_only_a_plain_number_keeps_its_sign(text: str) -> None:
    (cell,) = safe_row([text])
    assert without_marks(cell) == text
    if is_formula(cell):
        float(cell.replace(",", "."))


def test_numbers_keep_their_sign_and_nothing_else_does() -> None:
    kept = ["-3.5", "+1", "-0,25", "1e-05", "-1.2e-05", "-.5", "7.", 12, -1, None]
    assert safe_row(kept) == kept
    assert safe_row(["-1+1", "+49 170", "-", "--1", "-1;-2", "=1"]) == [
        "'-1+1", "'+49 170", "'-", "'--1", "'-1;'-2", "'=1",
    ]  # fmt: skip


HOSTILE = '=HYPERLINK("http://outside.example","x")'


def written(rows: list[list[str]], path: Path) -> Path:
    stream = io.StringIO()
    csv.writer(stream, lineterminator="\n").writerows(rows)
    path.write_text(stream.getvalue(), encoding="utf-8")
    return path


def test_a_list_of_rulings_passes_hostile_cells_on_marked_and_reads_its_own_again(tmp_path: Path) -> None:
    cases = [
        ["case_id", "@sum", "rule_code", "swing", "contact", "ball_x_in", "remark"],
        [HOSTILE, "-2+3", "nfhs", "full", "foul", "-3.5", "+cmd"],
        ["'=quoted", "x", "obr", "full", "foul", "", "plain"],
    ]
    text = rule_cases(written(cases, tmp_path / "cases.csv"))
    rows = list(csv.reader(io.StringIO(text)))
    assert rows[0][:7] == ["case_id", "'@sum", *cases[0][2:]]
    assert rows[1][:7] == [f"'{HOSTILE}", "'-2+3", "nfhs", "full", "foul", "-3.5", "'+cmd"]
    # Two marks and one are read as one and none, and written the same way.
    assert rows[2][0] == "'=quoted"
    assert not [cell for row in rows for cell in row if is_formula(cell) and cell != "-3.5"]
    again = rule_cases(written([row[:7] for row in rows], tmp_path / "again.csv"))
    assert again == text
    assert explain_case(tmp_path / "again.csv", HOSTILE) == explain_case(tmp_path / "cases.csv", HOSTILE)


def test_a_quiz_with_hostile_ids_is_checked_and_marked(tmp_path: Path) -> None:
    items = [
        ["item_id", "rule_code", "topic", "stem", "option_a", "option_b", "option_a_states", "option_b_states", "key",
         "outs", "balls", "strikes", "swing", "location", "pitch_caught"],
        [HOSTILE, "nfhs", "pitches", "Outside.", "Ball.", "Strike.", "pitch=ball", "pitch=strike", "a", "0", "0", "0",
         "none", "out_of_zone", "yes"],
    ]  # fmt: skip
    text, is_clean = check_quiz(written(items, tmp_path / "quiz.csv"))
    assert is_clean
    assert next(csv.DictReader(io.StringIO(text)))["item_id"] == f"'{HOSTILE}"
    # Marked or not, the quiz says the same.
    items[1][0] = f"'{HOSTILE}"
    assert check_quiz(written(items, tmp_path / "marked.csv"))[0] == text


def test_a_sheet_of_plays_bears_no_mark_of_its_own_and_is_read_back_cell_by_cell() -> None:
    plays = make_plays(Request("nfhs", 8, dt.date(2026, 4, 1))).items
    rows = list(csv.reader(io.StringIO(quiz_sheet(plays))))
    assert [cell for row in rows for cell in row if cell != without_marks(cell) or is_formula(cell)] == []
    item = replace(plays[0], stem=HOSTILE, item_id="-1-1")
    (row,) = csv.DictReader(io.StringIO(quiz_sheet([item])))
    assert (row["stem"], row["item_id"]) == (f"'{HOSTILE}", "'-1-1")
    assert without_marks(row["stem"]) == HOSTILE


def test_names_in_the_tables_of_a_fit_are_marked_and_numbers_are_not() -> None:
    levels = SimpleNamespace(names=[HOSTILE, "-2"], mode=[-0.5, 1e-7], se=[0.1, math.nan], se_all=[0.2, 0.2])
    rows = list(csv.reader(io.StringIO(effects_csv(SimpleNamespace(effects={"=who": levels})))))
    assert rows[1:] == [["'=who", f"'{HOSTILE}", "-0.5", "0.1", "0.2"], ["'=who", "-2", "1e-07", "", "0.2"]]
    assert table_fits._csv_text([{"item": "@x", "p": -0.25, "=n": 1}]) == "item,p,'=n\n'@x,-0.25,1\n"


# Ids as file names

RESERVED = {"con", "prn", "aux", "nul", *(f"{name}{i}" for name in ("com", "lpt") for i in range(10))}
BITING = [
    "../../x", "..", ".", "", "/etc/passwd", "C:\\x", "\\\\host\\share", "CON", "con", "nul.txt", "COM1", "a.", "a ", "a", "A",
    "x" * 5000, "аdmin", "admin", "ａ", "e\u0301", "\u00e9", "a\0b", "a\nb", "-rf", "--help", "~", "*", "?", "a:b", "%2e%2e",
    "<script>", "\ud800", "\u202egnp.exe", "assets", "index.html", "a/b", "a\\b",
]  # fmt: skip


def assert_names(ids: list[str]) -> None:
    names = folder_names(ids)
    assert set(names) == set(ids)
    assert len({name.casefold() for name in names.values()}) == len(set(ids))
    for name in names.values():
        assert name.isascii()
        assert 0 < len(name) <= 100
        assert all(letter.isalnum() or letter in "_-" for letter in name)
        assert name[0].isalnum()
        assert name.casefold() not in RESERVED
        assert PurePosixPath(name).name == PureWindowsPath(name).name == name


def test_ids_that_bite_become_plain_names_each_its_own() -> None:
    assert_names(BITING)


@given(st.lists(st.text(max_size=40) | st.sampled_from(BITING), max_size=30))
def test_any_ids_become_plain_names_each_its_own(ids: list[str]) -> None:
    assert_names(ids)


def test_an_id_that_is_the_name_made_for_another_does_not_take_its_place() -> None:
    """`A` and `a` meet and take digits; a third id is just what comes out for `A`."""
    made = folder_names(["A", "a"])["A"]
    assert_names(["A", "a", made])
    assert_names(["a b", slug("a b")])
    assert_names(["A", "a", made, folder_names(["A", "a", made])["A"]])


def test_plain_ids_stay_readable() -> None:
    assert folder_names(["U01", "ana-maria", "Team 7/b"]) | {"Team 7/b": ""} == {
        "U01": "U01", "ana-maria": "ana-maria", "Team 7/b": "",
    }  # fmt: skip
    assert slug("Team 7/b").startswith("Team-7-b-")


# Sheets that bite


UMPIRES = "umpire_id,name,level\nU01,Umpire One,varsity\n"
GAMES = "game_id,date,level,rule_code,plate_umpire_id\nG1,2026-04-18,varsity,nfhs,U01\n"
HEADINGS = "call_id,game_id,evaluator_id,note"


def load(folder: Path, calls: str, name: str = "plate_calls.csv") -> dict[str, int]:
    """Load a season with these calls; return rows in and rows staged of the calls."""
    season = folder / "season"
    season.mkdir()
    (season / "umpires.csv").write_text(UMPIRES)
    (season / "games.csv").write_text(GAMES)
    (season / name).write_text(calls, encoding="utf-8", newline="")
    with Store() as store:
        load_season(RunConfig(season, folder / "out", Policy("T", "", None, None, ())), store)
        row = store.records(
            "SELECT rows_in, rows_staged, rows_rejected FROM meta.file WHERE table_name = 'plate_calls'"
        )[0]
        notes = [text for (text,) in store.rows("SELECT note FROM staged.plate_calls ORDER BY row_id")]
    assert row["rows_in"] == row["rows_staged"] + row["rows_rejected"]
    return {**row, "notes": notes}


@pytest.mark.parametrize("note", [*[text for text in FORMULAS if text.isprintable() and "," not in text], "<script>x</script>"])
def test_a_text_that_bites_is_loaded_as_the_text_it_is(tmp_path: Path, note: str) -> None:
    quoted = note.replace('"', '""')
    found = load(tmp_path, f'{HEADINGS}\nC1,G1,E01,"{quoted}"\n')
    assert found["notes"] == [note.strip()]


def test_a_field_of_a_megabyte_is_loaded_whole(tmp_path: Path) -> None:
    found = load(tmp_path, f"{HEADINGS}\nC1,G1,E01,{'x' * 1_000_000}\nC2,G1,E01,y\n")
    assert [len(note) for note in found["notes"]] == [1_000_000, 1]


def test_ten_thousand_columns_without_meaning_are_refused_in_a_message_of_readable_length(tmp_path: Path) -> None:
    extra = ",".join(f"c{number}" for number in range(10_000))
    with pytest.raises(FaultsError) as caught:
        load(tmp_path, f"{HEADINGS},{extra}\nC1,G1,E01,x{',v' * 10_000}\n")
    assert "10000 faults" in str(caught.value)
    assert "and 9,950 more" in str(caught.value)
    assert len(str(caught.value)) < 50_000


def test_a_row_of_ten_thousand_fields_is_set_aside_and_its_neighbours_are_not(tmp_path: Path) -> None:
    found = load(tmp_path, f"{HEADINGS}\nC1,G1,E01,a\n{'v,' * 10_000}\nC2,G1,E01,b\n")
    assert (found["rows_in"], found["rows_staged"]) == (3, 2)


def test_a_hundred_thousand_empty_lines_are_no_rows(tmp_path: Path) -> None:
    found = load(tmp_path, f"{HEADINGS}\nC1,G1,E01,a\n" + "\n" * 100_000)
    assert (found["rows_in"], found["rows_staged"]) == (1, 1)


@pytest.mark.skipif(os.name != "posix", reason="names that other systems do not allow")
@pytest.mark.parametrize("name", ["plate_calls_'; DROP TABLE x; --.csv", "plate_calls_*?[a].csv", "plate_calls_\n\x1b[31m.csv"])
def test_a_file_name_is_only_a_name(tmp_path: Path, name: str) -> None:
    assert load(tmp_path, f"{HEADINGS}\nC1,G1,E01,a\n", name)["rows_staged"] == 1


def faults_of(tmp_path: Path) -> list[str]:
    """Load the season again and return the faults that stop it."""
    with Store() as store, pytest.raises(FaultsError) as caught:
        load_season(RunConfig(tmp_path / "season", tmp_path / "out", Policy("T", "", None, None, ())), store)
    assert caught.value.exit_code == 2
    return [str(fault) for fault in caught.value.faults]


@pytest.mark.skipif(os.name != "posix", reason="links as POSIX systems have them")
def test_links_out_of_the_season_folder_are_named_and_not_followed(tmp_path: Path) -> None:
    load(tmp_path, f"{HEADINGS}\nC1,G1,E01,a\n")
    season, elsewhere = tmp_path / "season", tmp_path / "elsewhere"
    elsewhere.mkdir()
    (elsewhere / "private.csv").write_text(f"{HEADINGS}\nC9,G1,E01,secret\n")
    (season / "plate_calls_ben.csv").symlink_to(elsewhere / "private.csv")
    (season / "ana").symlink_to(elsewhere)
    (season / "odd.headings.toml").symlink_to(elsewhere / "private.csv")
    # What is passed over as a file is passed over as a link.
    (season / ".hidden.csv").symlink_to(elsewhere / "private.csv")
    (season / "truth").symlink_to(elsewhere)
    (season / "picture.png").symlink_to(elsewhere / "private.csv")
    faults = faults_of(tmp_path)
    assert [fault.partition(":")[0] for fault in faults] == ["ana", "odd.headings.toml", "plate_calls_ben.csv"]
    assert all("outside the season folder, and is not followed" in fault for fault in faults)
    assert all("put a copy of the" in fault for fault in faults)
    assert "secret" not in str(faults)


@pytest.mark.skipif(os.name != "posix", reason="links as POSIX systems have them")
def test_a_link_to_a_sheet_in_the_season_folder_is_a_sheet_and_so_is_a_season_reached_by_a_link(tmp_path: Path) -> None:
    load(tmp_path, f"{HEADINGS}\nC1,G1,E01,a\n")
    season = tmp_path / "season"
    (season / "notes").mkdir()
    (season / "plate_calls.csv").rename(season / "notes" / "raw.txt")
    (season / "plate_calls.csv").symlink_to(season / "notes" / "raw.txt")
    (tmp_path / "by_link").symlink_to(season)
    with Store() as store:
        load_season(RunConfig(tmp_path / "by_link", tmp_path / "out", Policy("T", "", None, None, ())), store)
        assert store.rows("SELECT path, rows_in FROM meta.file WHERE table_name = 'plate_calls'") == [("plate_calls.csv", 1)]


@pytest.mark.skipif(sys.platform != "linux", reason="names that other systems do not allow")
def test_a_file_name_that_is_not_utf_8_is_told_and_named_as_well_as_can_be(tmp_path: Path) -> None:
    load(tmp_path, f"{HEADINGS}\nC1,G1,E01,a\n")
    season = os.fsencode(tmp_path / "season")
    for name in (b"plate_calls_Ren\xe9.csv", b"foto_Ren\xe9.png", b"Ren\xe9.headings.toml"):
        with open(season + b"/" + name, "wb") as stream:  # noqa: PTH123
            stream.write(f"{HEADINGS}\nC9,G1,E01,a\n".encode())
    faults = faults_of(tmp_path)
    assert [fault.partition(":")[0] for fault in faults] == [r"Ren\xe9.headings.toml", r"plate_calls_Ren\xe9.csv"]
    assert all("not in UTF-8" in fault and "give it a name of plain letters" in fault for fault in faults)
    # It can be printed anywhere.
    assert "\n".join(faults).encode()


@pytest.mark.skipif(sys.platform != "linux", reason="names that other systems do not allow")
def test_a_folder_for_results_whose_name_is_not_utf_8_is_told(tmp_path: Path) -> None:
    folder = Path(os.fsdecode(os.fsencode(tmp_path) + b"/Ren\xe9"))
    folder.mkdir()
    with pytest.raises(UnwritableError, match="not in UTF-8") as caught:
        Store(folder / "season.duckdb")
    assert str(caught.value).encode()
    assert "--out" in str(caught.value)


@pytest.mark.skipif(os.name != "posix", reason="links as POSIX systems have them")
def test_links_that_lead_nowhere_or_in_a_circle_and_files_that_never_end_are_passed_over(tmp_path: Path) -> None:
    season = tmp_path / "season"
    found = None

    def with_links() -> None:
        (season / "plate_calls_circle.csv").symlink_to(season / "plate_calls_circle.csv")
        (season / "plate_calls_nowhere.csv").symlink_to(tmp_path / "nowhere")
        (season / "plate_calls_zero.csv").symlink_to("/dev/zero")
        (season / "again").symlink_to(season)
        os.mkfifo(season / "plate_calls_pipe.csv")

    load(tmp_path, f"{HEADINGS}\nC1,G1,E01,a\n")
    with_links()
    with Store() as store:
        load_season(RunConfig(season, tmp_path / "out", Policy("T", "", None, None, ())), store)
        found = store.rows("SELECT path FROM meta.file WHERE table_name = 'plate_calls'")
    assert found == [("plate_calls.csv",)]
