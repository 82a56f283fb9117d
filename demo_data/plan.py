"""Who umpires, who evaluates, which games were seen, and what is truly so: drawn once, from the seed."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from demo_data import names

Rng = np.random.Generator

LEVELS = ("sub_varsity", "varsity", "tournament")
FIELD_AREAS = ("pitches", "batters_box", "hit_batter", "other_rulings")
SKILLS = (*FIELD_AREAS, "positioning", "quiz")
EDGES = ("inside", "outside", "low", "high")
FIRST_DAY = dt.date(2026, 3, 2)
LAST_DAY = dt.date(2026, 7, 12)
SCHOOL_LAST_DAY = dt.date(2026, 6, 7)
UMPIRES = {"sub_varsity": 20, "varsity": 17, "tournament": 11}
EVALUATORS = 10
GAMES = 160

LEVEL_MEAN = {"sub_varsity": -0.7, "varsity": 0.05, "tournament": 0.75}
"""Mean ability by level now worked, on the logit scale."""

SHARED_SD, OWN_SD = 0.55, 0.3
"""Spread of what is common to all skills of an umpire, and of what is one skill's own."""

OFFSET_SD_IN = 0.4
SEVERITY_SD = 0.3
GAME_SD = 0.15

DRIFTING = "E03"
"""This evaluator grows stricter through the season."""

DRIFT = (1.6, -2.6)
"""Severity of the drifting evaluator on the first and on the last day (added to the logit of being right)."""

DRIFTING_GAMES = 26

OTHER_CODE = "E05"
"""This evaluator grades a foot on the plate by OBR in games played under NFHS."""

ALIASED = "E07"
"""This evaluator's sheet has other headings, semicolons, and the Windows-1252 encoding."""

WORKBOOK = "E08"
"""This evaluator hands in a workbook."""


@dataclass(frozen=True)
class Umpire:
    """An umpire and what is truly so: `skill` in logits, `offset` in inches (+ makes the zone larger)."""

    umpire_id: str
    name: str
    level: str
    years: int
    home_area: str
    skill: Mapping[str, float]
    offset: Mapping[str, float]


@dataclass(frozen=True)
class Evaluator:
    """An evaluator: severity on the first and last day, added to the logit of a call being right."""

    evaluator_id: str
    name: str
    level: str
    umpire_id: str
    severity: tuple[float, float]

    def severity_on(self, day: dt.date) -> float:
        """Return the severity on a day, on the straight line through the season."""
        share = (day - FIRST_DAY).days / (LAST_DAY - FIRST_DAY).days
        return self.severity[0] + share * (self.severity[1] - self.severity[0])


@dataclass(frozen=True)
class Game:
    """One evaluated game; `effect` is added to the logit of every call in it."""

    number: int
    game_id: str
    day: dt.date
    level: str
    rule_code: str
    umpire: Umpire
    evaluator: Evaluator
    site: str
    home_team: str
    away_team: str
    effect: float


@dataclass(frozen=True)
class Plan:
    """The whole season before a pitch is thrown."""

    umpires: tuple[Umpire, ...]
    evaluators: tuple[Evaluator, ...]
    games: tuple[Game, ...]


def _umpire(number: int, level: str, rng: Rng) -> Umpire:
    shared = LEVEL_MEAN[level] + SHARED_SD * rng.standard_normal()
    return Umpire(
        umpire_id=f"U{number + 1:03d}",
        name=names.person(number),
        level=level,
        years=int(rng.integers(1, 6)) + 4 * LEVELS.index(level),
        home_area=names.AREAS[int(rng.integers(len(names.AREAS)))],
        skill={skill: round(shared + OWN_SD * rng.standard_normal(), 4) for skill in SKILLS},
        offset={edge: round(OFFSET_SD_IN * rng.standard_normal(), 3) for edge in EDGES},
    )


def _evaluator(number: int, block: list[Umpire], rng: Rng) -> Evaluator:
    evaluator_id = f"E{number + 1:02d}"
    severity = round(SEVERITY_SD * rng.standard_normal(), 4)
    also_umpires = [umpire for umpire in block if umpire.level == "tournament"]
    return Evaluator(
        evaluator_id=evaluator_id,
        name=names.person(number + 300),
        level=LEVELS[min(2, number % 4)],
        umpire_id=also_umpires[0].umpire_id if number % EVALUATORS == 1 else "",
        severity=DRIFT if evaluator_id == DRIFTING else (severity, severity),
    )


def _games_each(count: int, rng: Rng) -> list[int]:
    """Return how many games each umpire of a block is seen in: the last one once, the others 2 to 5 times."""
    seen = [int(value) for value in rng.integers(2, 6, count - 1)]
    while sum(seen) != GAMES - 1:
        place = int(rng.integers(count - 1))
        step = 1 if sum(seen) < GAMES - 1 else -1
        if 2 <= seen[place] + step <= 5:
            seen[place] += step
    return [*seen, 1]


def _level(umpire: Umpire, rng: Rng) -> str:
    own = LEVELS.index(umpire.level)
    step = int(rng.choice([-1, 0, 1], p=[0.2, 0.65, 0.15]))
    return LEVELS[min(2, max(0, own + step))]


def _game(number: int, umpire: Umpire, evaluator: Evaluator, busy: set[dt.date], rng: Rng) -> Game:
    """Draw one game on a day on which the umpire has no other."""
    level = _level(umpire, rng)
    code = str(rng.choice(["nfhs", "obr", "ncaa"], p=[0.4, 0.35, 0.25])) if level == "tournament" else "nfhs"
    summer = code != "nfhs"
    first, last = (SCHOOL_LAST_DAY + dt.timedelta(days=1), LAST_DAY) if summer else (FIRST_DAY, SCHOOL_LAST_DAY)
    teams = names.CLUBS if summer else names.TEAMS
    day = first + dt.timedelta(days=int(rng.integers((last - first).days + 1)))
    while day in busy:
        day = first + dt.timedelta(days=int(rng.integers((last - first).days + 1)))
    busy.add(day)
    home, away = rng.choice(len(teams), size=2, replace=False)
    return Game(
        number=number,
        game_id=f"G{number + 1:04d}",
        day=day,
        level=level,
        rule_code=code,
        umpire=umpire,
        evaluator=evaluator,
        site=names.SITES[int(rng.integers(len(names.SITES)))],
        home_team=teams[int(home)],
        away_team=teams[int(away)],
        effect=round(GAME_SD * rng.standard_normal(), 4),
    )


def _slots(evaluators: list[Evaluator]) -> list[Evaluator]:
    """Return one evaluator for each game of a block, the drifting one more often than the others."""
    counts = dict.fromkeys((evaluator.evaluator_id for evaluator in evaluators), 0)
    if DRIFTING in counts:
        counts[DRIFTING] = DRIFTING_GAMES
    others = [evaluator_id for evaluator_id in counts if counts[evaluator_id] == 0]
    for place in range(GAMES - sum(counts.values())):
        counts[others[place % len(others)]] += 1
    return [evaluator for evaluator in evaluators for _ in range(counts[evaluator.evaluator_id])]


def draw_plan(seed: int, scale: int) -> Plan:
    """Draw the season: `scale` blocks of 48 umpires, 10 evaluators and 160 games, linked to their neighbours.

    In every block but the first, one game in ten is seen by an evaluator of the block before.
    """
    rng = np.random.default_rng([seed, 1])
    umpires: list[Umpire] = []
    evaluators: list[Evaluator] = []
    games: list[Game] = []
    before: list[Evaluator] = []
    busy: dict[str, set[dt.date]] = {}
    for _ in range(scale):
        block: list[Umpire] = []
        for level, count in UMPIRES.items():
            block += [_umpire(len(umpires) + len(block) + i, level, rng) for i in range(count)]
        judges = [_evaluator(len(evaluators) + i, block, rng) for i in range(EVALUATORS)]
        slots = _slots(judges)
        order = rng.permutation(len(slots))
        if before:
            for place in order[: GAMES // 10]:
                slots[int(place)] = before[int(rng.integers(len(before)))]
        worked = [
            umpire for umpire, count in zip(block, _games_each(len(block), rng), strict=True) for _ in range(count)
        ]
        for umpire, place in zip(worked, order, strict=True):
            days = busy.setdefault(umpire.umpire_id, set())
            games.append(_game(len(games), umpire, slots[int(place)], days, rng))
        umpires += block
        evaluators += judges
        before = judges
    return Plan(tuple(umpires), tuple(evaluators), tuple(games))


def chance(logit: float) -> float:
    """Return the probability that belongs to a logit."""
    return 1.0 / (1.0 + math.exp(-logit))
