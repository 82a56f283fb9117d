"""Hostile content is data: nothing of it is executed, leaves the results' folder, or stops a run."""

from __future__ import annotations

import csv
import io
from pathlib import PurePosixPath, PureWindowsPath

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.publish.formulas import spreadsheet_safe, spreadsheet_safe_sql
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
    return cell.strip(" \t\r\n\u00a0").startswith(FORMULA_SIGNS) or cell.startswith(("\t", "\r"))


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
