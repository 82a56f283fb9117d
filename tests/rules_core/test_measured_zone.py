"""The strike zone from a measurement: any part of the ball over any part of the zone."""

from __future__ import annotations

import csv
import datetime as dt
import io
import math
from pathlib import Path

import pytest
from scipy.stats import norm

from pipeline.case_lists import rule_cases
from pipeline.config import Measurement
from pipeline.facts.build import make_calls
from pipeline.ingest.cases import land_cases
from pipeline.rules.dimensions import ball_radius_in, zone_measures
from pipeline.store import Store

# Middle of the allowed circumference, 9 to 9 1/4 in (OBR 3.01): radius 9.125 / (2 pi) = 1.4523 in.
RADIUS = 9.125 / (2 * math.pi)
HALF = 8.5


def ruled(tmp_path: Path, rows: list[tuple[float, float]], low: float = 18, high: float = 42) -> list[str]:
    path = tmp_path / "cases.csv"
    lines = ["rule_code,ball_x_in,ball_z_in,zone_low_in,zone_high_in,strikes"]
    lines += [f"obr,{x!r},{z!r},{low},{high},0" for x, z in rows]
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return [row["pitch"] for row in csv.DictReader(io.StringIO(rule_cases(path)))]


def test_the_radius_follows_from_the_middle_of_the_circumference() -> None:
    assert ball_radius_in("obr") == pytest.approx(RADIUS)
    assert 1.43 < ball_radius_in("nfhs") < 1.48


@pytest.mark.parametrize(
    ("x", "z", "pitch"),
    [
        (0, 30, "strike"),
        (HALF + RADIUS - 0.001, 30, "strike"),
        (HALF + RADIUS + 0.001, 30, "ball"),
        (-HALF - RADIUS + 0.001, 30, "strike"),
        (-HALF - RADIUS - 0.001, 30, "ball"),
        (0, 18 - RADIUS + 0.001, "strike"),
        (0, 18 - RADIUS - 0.001, "ball"),
        (0, 42 + RADIUS - 0.001, "strike"),
        (0, 42 + RADIUS + 0.001, "ball"),
    ],
)
def test_both_sides_of_every_edge(tmp_path: Path, x: float, z: float, pitch: str) -> None:
    assert ruled(tmp_path, [(x, z)]) == [pitch]


def test_the_corners_are_rounded(tmp_path: Path) -> None:
    # At 45 degrees from the corner the reach is the radius, so each way radius / sqrt 2.
    reach = RADIUS / math.sqrt(2)
    inside = (HALF + reach - 0.001, 42 + reach - 0.001)
    outside = (HALF + reach + 0.001, 42 + reach + 0.001)
    assert ruled(tmp_path, [inside, outside]) == ["strike", "ball"]


def test_the_eye_decides_where_nothing_was_measured_and_an_edge_stays_open(tmp_path: Path) -> None:
    path = tmp_path / "cases.csv"
    path.write_text(
        "rule_code,location,balls,strikes\nnfhs,in_zone,0,0\nnfhs,out_of_zone,0,0\nnfhs,edge,0,0\n", encoding="utf-8"
    )
    rows = list(csv.DictReader(io.StringIO(rule_cases(path))))
    assert [row["pitch"] for row in rows] == ["strike", "ball", "ball|strike"]
    assert rows[2]["needs"] == "location"


def test_the_measurement_beats_the_eye(tmp_path: Path) -> None:
    path = tmp_path / "cases.csv"
    path.write_text(
        "rule_code,location,ball_x_in,ball_z_in,zone_low_in,zone_high_in,strikes\nnfhs,in_zone,20,30,18,42,0\n",
        encoding="utf-8",
    )
    assert next(csv.DictReader(io.StringIO(rule_cases(path))))["pitch"] == "ball"


@pytest.mark.parametrize(
    ("x", "z", "source", "sd"), [(9, 30, "tracked", 0.5), (-9.9, 17, "video", 1.5), (0, 43.4, "eye", 3.0)]
)
def test_the_probability_of_a_strike_is_the_normal_probability_over_the_rectangle(
    tmp_path: Path, x: float, z: float, source: str, sd: float
) -> None:
    path = tmp_path / "cases.csv"
    path.write_text(
        f"rule_code,location_source,ball_x_in,ball_z_in,zone_low_in,zone_high_in\nobr,{source},{x},{z},18,42\n",
        encoding="utf-8",
    )
    with Store() as store:
        land_cases(store, path, dt.date(2026, 5, 1))
        make_calls(store, "facts.case_call", zone_measures(), Measurement())
        found = store.value("SELECT p_strike FROM facts.case_call")
    # Against scipy's normal distribution; the handbook approximation used in SQL is good to 1.5e-7 (A&S 7.1.26).
    across = norm.cdf((HALF + RADIUS - x) / sd) - norm.cdf((-HALF - RADIUS - x) / sd)
    upright = norm.cdf((42 + RADIUS - z) / sd) - norm.cdf((18 - RADIUS - z) / sd)
    assert found == pytest.approx(across * upright, abs=1e-6)


@pytest.mark.parametrize(
    ("facts", "topic"),
    [
        ("none,out_of_zone,no", "pitch"),
        ("none,in_zone,yes", "pitch"),
        ("none,in_zone,no", "third_strike"),
        ("full,,no", "third_strike"),
        ("full,,yes", "third_strike"),
    ],
)
def test_a_taken_pitch_on_two_strikes_is_a_third_strike_only_where_it_was_one_and_got_away(
    tmp_path: Path, facts: str, topic: str
) -> None:
    path = tmp_path / "cases.csv"
    path.write_text(f"rule_code,strikes,swing,location,pitch_caught\nnfhs,2,{facts}\n", encoding="utf-8")
    with Store() as store:
        land_cases(store, path, dt.date(2026, 5, 1))
        make_calls(store, "facts.case_call", zone_measures(), Measurement())
        assert store.value("SELECT topic FROM facts.case_call") == topic


@pytest.mark.parametrize(
    ("side", "x", "edge"),
    # A right-handed batter stands to the umpire's left, where x is below 0 (his box: -62.5 to -14.5 in).
    [("right", -9, "inside"), ("right", 9, "outside"), ("left", 9, "inside"), ("left", -9, "outside"), ("", 9, "side")],
)
def test_inside_is_the_side_on_which_the_batter_stands(tmp_path: Path, side: str, x: float, edge: str) -> None:
    path = tmp_path / "cases.csv"
    heading = "rule_code,batter_side,ball_x_in,ball_z_in,zone_low_in,zone_high_in"
    path.write_text(f"{heading}\nobr,{side},{x},30,18,42\n", encoding="utf-8")
    with Store() as store:
        land_cases(store, path, dt.date(2026, 4, 1))
        make_calls(store, "facts.case_call", zone_measures(), Measurement())
        assert store.value("SELECT stratum FROM facts.case_call").split("/")[:2] == ["pitch", edge]
