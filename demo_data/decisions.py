"""What the committee decided at its meetings in the season: made up, about part of the umpires only."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from demo_data.plan import FIELD_AREAS, LEVEL_MEAN, LEVELS, Plan, Umpire
from demo_data.planting import REJECTS, Planted
from demo_data.sheet import Row

DECISION_COLUMNS = ("umpire_id", "level", "decision", "date", "decided_by", "reasons")
FIRST_MEETING, LAST_MEETING = "2026-05-10", "2026-06-21"
SHARE_DECIDED = 0.35
"""Share of the umpires on whom the last meeting decided."""

IMPRESSION_SD = 0.5
"""How far the committee's impression lies from the true ability (logits): it had seen half of the season."""

MARGIN = 0.35
"""Impressions nearer than this to the middle between the two levels' means were put off."""

REASONS = {
    "promote": ("two strong games as a guest of that level", "steady all spring", "", "asked for by three evaluators"),
    "keep": ("the zone moves with the catcher", "to work on the batter's box first", "", "hit batters first"),
    "more_looks": ("seen by one evaluator only", "too few games", "", "to be seen in a game of that level"),
}


def _target(umpire: Umpire) -> str:
    return LEVELS[min(LEVELS.index(umpire.level) + 1, len(LEVELS) - 1)]


def _decision(umpire: Umpire, rng: np.random.Generator) -> str:
    ability = sum(umpire.skill[area] for area in FIELD_AREAS) / len(FIELD_AREAS)
    bar = (LEVEL_MEAN[umpire.level] + LEVEL_MEAN[_target(umpire)]) / 2
    beyond = ability + IMPRESSION_SD * rng.standard_normal() - bar
    return "more_looks" if abs(beyond) < MARGIN else "promote" if beyond > 0 else "keep"


def decision_rows(plan: Plan, seed: int) -> list[Row]:
    """Return the rows of the sheet of decisions; every umpire has draws of his own."""
    rows: list[Row] = []

    def note(umpire_id: str, level: str, decision: str, date: str, reasons: str, decided_by: str = "") -> None:
        cells = (umpire_id, level, decision, date, decided_by, reasons)
        rows.append(dict(zip(DECISION_COLUMNS, cells, strict=True)))

    for number, umpire in enumerate(plan.umpires):
        rng = np.random.default_rng([seed, 9, number])
        if rng.random() >= SHARE_DECIDED:
            continue
        decision = _decision(umpire, rng)
        if decision == "more_looks" and rng.random() < 0.5:
            note(umpire.umpire_id, _target(umpire), "more_looks", FIRST_MEETING, "too few games by then")
            decision = "promote" if rng.random() < 0.5 else "keep"
        reasons = REASONS[decision][int(rng.integers(len(REASONS[decision])))]
        note(umpire.umpire_id, _target(umpire), decision, LAST_MEETING, reasons)
    other = plan.umpires[3]
    note(other.umpire_id, _target(other), "other", FIRST_MEETING, "works two games of that level on trial", "chair")
    return rows


def plant_in_decisions(rows: Sequence[Row], plan: Plan, file: str) -> tuple[list[Row], list[Planted]]:
    """Return the decisions with two more: on an umpire whom no roster has, and for a level that no policy has."""
    nobody = {**rows[0], "umpire_id": "U999", "reasons": ""}
    misspelt = {**rows[0], "umpire_id": plan.umpires[4].umpire_id, "level": "varsty", "reasons": ""}
    line_no = len(rows) + 2
    planted = [
        Planted("unknown_umpire", file, str(line_no), "U999", "an umpire who is on no roster", REJECTS),
        Planted("unknown_level", file, str(line_no + 1), misspelt["umpire_id"], "level 'varsty'", "meta.finding"),
    ]
    return [*rows, nobody, misspelt], planted
