"""Sheets of case plays: printable pages that need nothing else, and a folder with what a clinic hands out."""

from __future__ import annotations

import csv
import datetime as dt
import re
from pathlib import Path

import pytest

from pipeline.case_plays import Request, as_sheet, make_plays, write_plays
from pipeline.errors import InputError
from reports.case_sheet import Sheet, SheetItem, SheetOption, kept_together, markdown, page

DAY = dt.date(2026, 6, 1)
ITEM = SheetItem(
    "C1-01", "illegal hit", "A <script>alert(1)</script> & *more* told.",
    [SheetOption("a", "Out."), SheetOption("b", "Not out.", "The belief behind it: “<b>no</b>”")],
    "a", "Because the foot was outside.", "nfhs 7-3-2", "verified", "plain (nothing)", "Worked case.", "C1-01",
)  # fmt: skip
SHEET = Sheet("High school. 1 item.", [ITEM], ["Difficulty is so and so."])
SHOWS = ("all", "questions", "answers")


@pytest.fixture(scope="module")
def request_of_eight():
    return Request("nfhs", 8, DAY, topics=("illegal_hit", "dimensions"), seed=2, twins=True)


@pytest.fixture(scope="module")
def eight(request_of_eight):
    return make_plays(request_of_eight).items


@pytest.mark.parametrize("show", SHOWS)
def test_a_page_has_no_outside_address_and_forbids_any(show):
    text = page(SHEET, show)
    assert "http:" not in text
    assert "https:" not in text
    assert "<link" not in text
    assert "<script" not in text
    assert "default-src 'none'" in text


@pytest.mark.parametrize("show", SHOWS)
def test_what_is_told_is_escaped(show):
    text = page(SHEET, show)
    assert "<script>alert" not in text
    assert "<b>no</b>" not in text
    assert ("&lt;script&gt;" in text) == (show != "answers")
    assert "&lt;b&gt;no" in text or show == "questions"
    assert "\\*more\\*" in markdown(SHEET)
    assert "\\<script\\>" in markdown(SHEET)


def test_a_count_and_a_rule_number_are_not_broken_at_their_hyphens():
    assert kept_together("Count 1-2. See <7-3-2>, no one-two.") == (
        'Count <span class="kept">1-2.</span> See <span class="kept">&lt;7-3-2&gt;,</span> no one-two.'
    )


def test_a_play_is_not_broken_over_two_sheets_of_paper():
    text = page(SHEET)
    assert re.search(r"\.play \{[^}]*break-inside: avoid", text)
    assert "@page" in text


@pytest.mark.parametrize("write", [page, markdown])
def test_the_class_gets_no_answers_and_the_trainer_gets_them_all(write):
    questions, answers = write(SHEET, "questions"), write(SHEET, "answers")
    answers = answers.replace('<span class="kept">', "").replace("</span>", "")
    for secret in ("Because the foot", "7-3-2", "illegal hit", "plain (nothing)", "Difficulty is so", "wrong", "Worked"):
        assert secret not in questions
    for told in ("Because the foot was outside.", "nfhs 7-3-2", "Difficulty is so and so.", "B is wrong."):
        assert told in answers
    assert "told." not in answers


def test_twins_stand_side_by_side(request_of_eight, eight):
    sheet = as_sheet(request_of_eight, eight)
    assert any(len(group) == 2 for group in sheet.groups)
    text = page(sheet, "questions")
    assert text.count('class="group pair"') == sum(len(group) == 2 for group in sheet.groups)
    assert text.count("Same play, but:") == sum(bool(item.lead) for item in eight)
    for group in sheet.groups:
        if len(group) == 2:
            assert group[1].pair == group[0].item_id
            assert group[1].lead


def test_a_folder_gets_the_sheet_the_plays_and_one_sheet_each_for_class_and_trainer(request_of_eight, eight, tmp_path):
    folder = tmp_path / "clinic"
    assert write_plays(request_of_eight, eight, folder, None) is None
    assert {entry.name for entry in folder.iterdir()} == {
        "quiz_items.csv", "case_plays.md", "case_plays.html", "questions.md", "questions.html", "answers.md", "answers.html",
    }  # fmt: skip
    with (folder / "quiz_items.csv").open(encoding="utf-8", newline="") as stream:
        rows = list(csv.DictReader(stream))
    assert [row["item_id"] for row in rows] == [item.item_id for item in eight]
    questions = (folder / "questions.html").read_text(encoding="utf-8")
    assert all(item.because not in questions for item in eight)
    before = {entry.name: entry.read_bytes() for entry in folder.iterdir()}
    write_plays(request_of_eight, eight, folder, None)
    assert {entry.name: entry.read_bytes() for entry in folder.iterdir()} == before


def test_a_folder_with_other_files_is_left_alone(request_of_eight, eight, tmp_path):
    (tmp_path / "notes.txt").write_text("mine")
    with pytest.raises(InputError, match=re.escape("the folder holds other files (notes.txt)")):
        write_plays(request_of_eight, eight, tmp_path, None)
    assert [entry.name for entry in tmp_path.iterdir()] == ["notes.txt"]


def test_the_ending_of_a_file_says_its_format(request_of_eight, eight, tmp_path):
    for ending, start in (("md", "# Case plays"), ("html", "<!doctype html>"), ("csv", "item_id,rule_code")):
        target = tmp_path / f"plays.{ending}"
        write_plays(request_of_eight, eight, target, None)
        assert target.read_text(encoding="utf-8").startswith(start)
    with pytest.raises(InputError, match=re.escape("the file ends in .csv, the format is md")):
        write_plays(request_of_eight, eight, tmp_path / "plays.csv", "md")


@pytest.mark.parametrize(
    ("wrong", "message", "hint"),
    [
        ({"topics": ("ilegal_hit",)}, "there is no topic called 'ilegal_hit'", "did you mean 'illegal_hit'?"),
        ({"code": "nfsh"}, "there is no rule code called 'nfsh'", "did you mean 'nfhs'?"),
        ({"difficulty": ("plane",)}, "there is no grade of difficulty called 'plane'", "did you mean 'plain'?"),
        ({"season": Path("nowhere")}, "there is no season.duckdb here", "platework run"),
        ({"avoid": (Path("nowhere.csv"),)}, "there is no such file", "CSV"),
    ],
)
def test_a_wrong_wish_is_named_with_what_comes_nearest(wrong, message, hint):
    with pytest.raises(InputError) as caught:
        make_plays(Request(**{"code": "nfhs", "number": 1, "day": DAY, **wrong}))
    assert message in str(caught.value)
    assert hint in str(caught.value)


def test_a_topic_may_be_written_as_it_is_said():
    items = make_plays(Request("nfhs", 2, DAY, topics=("Illegal hit",))).items
    assert {item.topic for item in items} == {"illegal hit"}
