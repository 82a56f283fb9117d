"""Two evaluators on one pitch: pairs and alpha by hand."""

from __future__ import annotations

from typing import Any

import pytest

from pipeline.scoring.score import _records
from pipeline.scoring.shared_looks import agreement_rows, pair_rows
from pipeline.store import Store


def looks(*pitches: tuple[str, dict[str, str]]) -> list[dict[str, Any]]:
    """Rows of (pitch, verdict by evaluator); the grade is always the same."""
    return [
        {"look": name, "evaluator_id": who, "verdict": verdict, "grade": "right"}
        for name, verdicts in pitches
        for who, verdict in sorted(verdicts.items())
    ]


PITCHES = looks(
    ("1", {"E1": "right", "E2": "right"}),
    ("2", {"E1": "right", "E2": "wrong"}),
    ("3", {"E1": "wrong", "E2": "wrong"}),
    ("4", {"E1": "right", "E2": "right", "E3": "right"}),
    ("5", {"E1": "edge", "E2": "wrong"}),
)


def test_pairs_count_the_pitches_both_decided_and_how_many_alike() -> None:
    rows = {(row["aspect"], row["evaluator_id"], row["other_id"]): row for row in pair_rows(PITCHES)}
    pair = rows["verdict", "E1", "E2"]
    # 2 both right, 1 right and wrong, 1 both wrong: agreement 3/4, chance (3*2 + 1*2) / 16 = 1/2, kappa 1/2.
    assert (pair["looks"], pair["same"], pair["kappa"]) == (4, 3, pytest.approx(0.5))
    assert rows["verdict", "E1", "E3"]["looks"] == 1
    # Grades are all right: five pitches of E1 and E2 alike, and no kappa, since chance would agree too.
    assert (rows["grade", "E1", "E2"]["looks"], rows["grade", "E1", "E2"]["same"]) == (5, 5)


def test_alpha_is_over_all_pitches_that_two_decided() -> None:
    verdict, grade = agreement_rows(PITCHES, 0.9, 1)
    # Values in units of two or more: right 2 + 1 + 3 = 6, wrong 1 + 2 = 3, n = 9. Disagreement: one pitch with 2
    # ordered pairs / (2 - 1) = 2 of 9; expected 2 * 6 * 3 / (9 * 8) = 1/2. Alpha 1 - (2/9) / (1/2) = 5/9.
    assert (verdict["looks"], verdict["evaluators"]) == (4, 3)
    assert verdict["alpha"] == pytest.approx(5 / 9)
    assert verdict["alpha_low"] <= verdict["alpha"] <= verdict["alpha_high"]  # type: ignore[operator]
    assert grade["aspect"] == "grade"
    assert grade["alpha"] != grade["alpha"]


def test_a_season_without_a_shared_pitch_has_no_rows() -> None:
    assert agreement_rows([], 0.9, 1) == []
    assert pair_rows(looks(("1", {"E1": "right"}))) == []


def test_the_same_pitch_of_a_game_is_found_and_a_second_row_of_one_evaluator_is_not_a_second_look(store: Store) -> None:
    store.run(
        "CREATE TABLE checked.plate_calls AS SELECT * FROM (VALUES "
        "('C1', 'G1', 7, 'pitch', 'E1', 'right'), ('C2', 'G1', 7, 'pitch', 'E2', 'wrong'), "
        "('C3', 'G1', 7, 'pitch', 'E2', 'right'), ('C4', 'G1', 8, 'pitch', 'E1', ''), "
        "('C5', 'G1', 7, 'before_pitch', 'E2', ''), ('C6', 'G2', 7, 'pitch', 'E2', ''), "
        "('C7', 'G1', NULL, 'pitch', 'E1', ''), ('C8', 'G1', NULL, 'pitch', 'E2', '')"
        ") AS t (call_id, game_id, pitch_no, moment, evaluator_id, grade)"
    )
    store.run("CREATE TABLE scores.call_grade AS SELECT call_id, 'right' AS verdict FROM checked.plate_calls")
    found = [(row["look"], row["evaluator_id"], row["grade"]) for row in _records(store, "shared_look")]
    assert found == [("G1/7/pitch", "E1", "right"), ("G1/7/pitch", "E2", "wrong")]
