"""The measures that rulings and quiz keys use, each with unit, reference and confidence."""

from __future__ import annotations

import functools
import math
from collections.abc import Mapping
from dataclasses import dataclass
from importlib.resources import files

from pipeline.rules.model import CODES
from schemas.reader import load_yaml


@dataclass(frozen=True)
class Dimension:
    """One measure: its value in each code that fixes it, in `unit`."""

    name: str
    title: str
    unit: str
    values: Mapping[str, float]
    reference: str
    confidence: Mapping[str, str]


@functools.cache
def dimensions() -> Mapping[str, Dimension]:
    """Every measure by name."""
    path = "parameters/dimensions.yaml"
    raw = load_yaml(
        files("pipeline.rules").joinpath(path).read_text(encoding="utf-8"), f"pipeline/rules/{path}"
    )
    return {
        name: Dimension(
            name,
            item["title"],
            item["unit"],
            {c: float(v) for c, v in item["values"].items()},
            item["reference"],
            item["confidence"],
        )
        for name, item in raw["dimensions"].items()
    }


def ball_radius_in(code: str) -> float:
    """Radius of the ball in inches: half the diameter that goes with the middle of the allowed circumference."""
    table = dimensions()
    middle = (
        table["ball_circumference_min_in"].values[code] + table["ball_circumference_max_in"].values[code]
    ) / 2
    return middle / (2 * math.pi)


def plate_half_width_in(code: str) -> float:
    """Half the front edge of home plate, in inches."""
    return dimensions()["plate_front_edge_in"].values[code] / 2


def zone_measures() -> dict[str, tuple[float, float]]:
    """Ball radius and half the plate's width in inches, by rule code."""
    return {code: (ball_radius_in(code), plate_half_width_in(code)) for code in CODES}
