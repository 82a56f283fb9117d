"""Severity, drift, and the suspicion of another code."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
import pytest
from scipy.special import expit

from pipeline.scoring.area_models import fit_area
from pipeline.scoring.evaluators import drifts, misgrade_rows, severities, suspicions


def cells(
    drift_logit_per_30_days: float = 0.0, severity: float = 0.0, seed: int = 3
) -> tuple[pd.DataFrame, np.ndarray]:
    """12 umpires, 6 evaluators, 120 games of 60 calls over 120 days; the last evaluator is strict or
    drifts."""
    rng = np.random.default_rng(seed)
    rows, days = [], []
    skill = rng.normal(0, 0.4, 12)
    for game in range(120):
        umpire, evaluator = game % 12, int(rng.integers(0, 6))
        eta = 1.6 + skill[umpire] + rng.normal(0, 0.15)
        if evaluator == 5:
            eta += severity + drift_logit_per_30_days * (game - 60) / 30
        for stratum, extra in (("a", -0.8), ("b", 0.8)):
            rows.append(
                (
                    f"U{umpire:02d}",
                    f"G{game:03d}",
                    f"E{evaluator}",
                    stratum,
                    rng.binomial(30, expit(eta + extra)),
                    30,
                )
            )
            days.append(float(game))
    names = ["umpire_id", "game_id", "evaluator_id", "stratum", "successes", "trials"]
    return pd.DataFrame(rows, columns=names), np.array(days)


def model(frame: pd.DataFrame) -> Any:
    return fit_area("overall", frame, sorted(frame["umpire_id"].unique()), 1000, 1)


def test_a_strict_evaluator_is_found_and_the_others_are_not() -> None:
    found = severities(model(cells(severity=-1.0)[0]), 0.9)
    assert found["E5"].high < 0
    # By hand, at an average umpire and the two strata: (expit(1.4) + expit(-.2)) / 2 = .626 against, at the
    # panel's average of -1/6, (expit(2.233) + expit(.633)) / 2 = .778.
    assert found["E5"].value == pytest.approx(-0.152, abs=0.05)
    assert all(found[f"E{i}"].high > 0 for i in range(5))


def test_severities_of_a_panel_are_about_its_own_average() -> None:
    found = severities(model(cells(severity=-0.5)[0]), 0.9)
    assert sum(one.value for one in found.values()) == pytest.approx(0, abs=0.01)


def test_an_evaluator_who_drifts_is_found_and_the_others_do_not() -> None:
    values, false_alarms = [], 0
    for seed in range(6):
        frame, days = cells(drift_logit_per_30_days=-0.5, seed=seed)
        found = drifts(model(frame), days, 0.9)
        assert found["E5"].high < 0
        values.append(found["E5"].value)
        false_alarms += sum(found[f"E{i}"].low > 0 or found[f"E{i}"].high < 0 for i in range(5))
    # -0.5 logit a month at the two strata, slopes expit'(2.4) = .077 and expit'(.8) = .214: -7 points.
    assert np.mean(values) == pytest.approx(-0.07, abs=0.015)
    # 30 intervals of 90 %: three are expected to miss, eight or more would happen once in a hundred.
    assert false_alarms < 8


def test_drift_needs_four_games_on_different_days() -> None:
    frame, days = cells()
    assert drifts(model(frame), np.zeros_like(days), 0.9) == {}
    few = frame["evaluator_id"].ne("E5") | frame["game_id"].isin(
        sorted(frame.loc[frame["evaluator_id"] == "E5", "game_id"].unique())[:3]
    )
    assert "E5" not in drifts(model(frame[few].reset_index(drop=True)), days[few.to_numpy()], 0.9)


def misgrade(call: int, topic: str, codes: str | None, evaluator: str = "E1") -> dict[str, Any]:
    return {
        "evaluator_id": evaluator,
        "call_id": f"C{call}",
        "topic": topic,
        "rule_ids": "H1",
        "evaluator_grade": "right",
        "our_verdict": "wrong",
        "because": "he froze",
        "other_codes": codes,
    }


def test_three_grades_of_one_topic_that_another_code_explains_are_suspect() -> None:
    rows = [misgrade(i, "hit_batter", "ncaa;obr" if i < 2 else "obr") for i in range(3)]
    (found,) = suspicions(rows).values()
    assert (found.code, found.calls, found.topics) == ("obr", 3, ("hit_batter",))


@pytest.mark.parametrize(
    "rows",
    [
        [misgrade(i, "hit_batter", "obr") for i in range(2)],
        [misgrade(i, "hit_batter", "obr" if i < 3 else None) for i in range(6)],
        [misgrade(i, f"topic_{i}", "obr") for i in range(3)],
    ],
    ids=["two only", "half of the contradicted grades", "spread over topics"],
)
def test_fewer_or_no_majority_or_scattered_is_no_suspicion(rows: list[dict[str, Any]]) -> None:
    assert suspicions(rows) == {}


def test_a_misgrade_names_the_code_that_is_suspected() -> None:
    rows = [misgrade(i, "hit_batter", "ncaa;obr" if i < 2 else "obr") for i in range(3)] + [misgrade(9, "pitch", None)]
    found = misgrade_rows(rows, suspicions(rows))
    assert [row["other_code"] for row in found] == ["obr", "obr", "obr", None]


@pytest.mark.slow
def test_intervals_of_drift_cover_a_known_drift_at_about_the_stated_rate() -> None:
    covered = []
    for seed in range(30):
        frame, days = cells(drift_logit_per_30_days=-0.3, seed=100 + seed)
        found = drifts(model(frame), days, 0.9)
        one = found.pop("E5")
        # -0.3 logit a month at the two strata, slopes expit'(2.4) = .077 and expit'(.8) = .214: -4.4 points.
        covered.append(one.low <= -0.0437 <= one.high)
        covered += [e.low <= 0 <= e.high for e in found.values()]
    assert len(covered) == 180
    # 180 intervals; the umpires' own effects take up a little of the drift.
    assert 0.84 <= np.mean(covered) <= 0.97
