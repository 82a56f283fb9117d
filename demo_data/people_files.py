"""The rows of every sheet but plate calls and the quiz, and of the truth about people."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator

import numpy as np

from demo_data import names
from demo_data.plan import DRIFTING, EDGES, LEVELS, OTHER_CODE, SKILLS, Game, Plan, chance
from demo_data.sheet import Row

UMPIRE_COLUMNS = ("umpire_id", "name", "level", "years", "home_area", "email")
EVALUATOR_COLUMNS = ("evaluator_id", "name", "level", "umpire_id")
GAME_COLUMNS = (
    "game_id", "date", "level", "rule_code", "plate_umpire_id", "site", "home_team", "away_team",
)  # fmt: skip
POSITIONING_COLUMNS = (
    "check_id", "game_id", "evaluator_id", "inning", "in_slot", "head_height", "drift", "view_blocked",
    "adjusted", "set_at_release", "gap_defended",
)  # fmt: skip
RATING_COLUMNS = ("rating_id", "game_id", "evaluator_id", "criterion", "score", "scale_max")
SLATE_COLUMNS = ("game_id", "date", "start", "level", "site", "home_team", "away_team", "crew_size")
AVAILABILITY_COLUMNS = ("person_id", "date", "from", "until", "sites", "role")
CONFLICT_COLUMNS = ("person_id", "team", "other_id", "reason")
CRITERIA = ("timing", "signals", "game management")
CHECKS_A_GAME = 6
POSITIONING_BASE = 1.9
SLATE_DAYS = (dt.date(2026, 7, 18), dt.date(2026, 7, 19))


def umpire_rows(plan: Plan) -> Iterator[Row]:
    """Yield one row for each umpire."""
    for umpire in plan.umpires:
        yield {
            "umpire_id": umpire.umpire_id,
            "name": umpire.name,
            "level": umpire.level,
            "years": str(umpire.years),
            "home_area": umpire.home_area,
            "email": f"{umpire.umpire_id.lower()}@example.org",
        }


def evaluator_rows(plan: Plan) -> Iterator[Row]:
    """Yield one row for each evaluator."""
    for evaluator in plan.evaluators:
        yield {
            "evaluator_id": evaluator.evaluator_id,
            "name": evaluator.name,
            "level": evaluator.level,
            "umpire_id": evaluator.umpire_id,
        }


def game_rows(plan: Plan) -> Iterator[Row]:
    """Yield one row for each evaluated game."""
    for game in plan.games:
        yield {
            "game_id": game.game_id,
            "date": game.day.isoformat(),
            "level": game.level,
            "rule_code": game.rule_code,
            "plate_umpire_id": game.umpire.umpire_id,
            "site": game.site,
            "home_team": game.home_team,
            "away_team": game.away_team,
        }


def positioning_rows(game: Game, seed: int) -> Iterator[Row]:
    """Yield the checks of how the plate was worked in one game."""
    rng = np.random.default_rng([seed, 4, game.number])
    for number in range(CHECKS_A_GAME):
        good = rng.random(6) < chance(POSITIONING_BASE + game.umpire.skill["positioning"] + game.effect)
        blocked = bool(rng.random() < 0.2)
        # A head that sinks is the usual fault, more so late in the game.
        sunk = "low" if rng.random() < 0.75 else "high"
        yield {
            "check_id": f"{game.game_id}-P{number + 1}",
            "game_id": game.game_id,
            "evaluator_id": game.evaluator.evaluator_id,
            "inning": str(number + 1),
            "in_slot": "yes" if good[0] else "no",
            "head_height": "top_of_zone" if good[1] else sunk,
            "drift": "none" if good[2] else str(rng.choice(["toward_batter", "away_from_batter"])),
            "view_blocked": "yes" if blocked else "no",
            "adjusted": ("up" if good[3] else str(rng.choice(["sideways", "none"]))) if blocked else "none",
            "set_at_release": "yes" if good[4] else "no",
            "gap_defended": "yes" if good[5] else "no",
        }


def rating_rows(game: Game, seed: int) -> Iterator[Row]:
    """Yield the rubric scores of one game."""
    rng = np.random.default_rng([seed, 5, game.number])
    for number, criterion in enumerate(CRITERIA, 1):
        score = 3.3 + 0.7 * game.umpire.skill["positioning"] + 0.6 * rng.standard_normal()
        yield {
            "rating_id": f"{game.game_id}-R{number}",
            "game_id": game.game_id,
            "evaluator_id": game.evaluator.evaluator_id,
            "criterion": criterion,
            "score": str(int(min(5, max(1, round(score))))),
            "scale_max": "5",
        }


def slate_rows(seed: int) -> list[Row]:
    """Return the coming games that need umpires: two days, six games each."""
    rng = np.random.default_rng([seed, 6])
    rows: list[Row] = []
    for day in SLATE_DAYS:
        for number in range(6):
            home, away = rng.choice(len(names.CLUBS), size=2, replace=False)
            rows.append(
                {
                    "game_id": f"S{len(rows) + 1:03d}",
                    "date": day.isoformat(),
                    "start": ("10:00", "13:00", "18:30")[number % 3],
                    "level": LEVELS[min(2, number // 2)],
                    "site": names.SITES[number % 2],
                    "home_team": names.CLUBS[int(home)],
                    "away_team": names.CLUBS[int(away)],
                    "crew_size": str(2 + number // 4),
                }
            )
    return rows


def availability_rows(plan: Plan, seed: int) -> list[Row]:
    """Return who is free on the days of the slate, of the first 48 umpires and 10 evaluators."""
    rng = np.random.default_rng([seed, 7])
    people = [(umpire.umpire_id, "umpire") for umpire in plan.umpires[:48]]
    people += [(evaluator.evaluator_id, "evaluator") for evaluator in plan.evaluators[:10]]
    return [
        {
            "person_id": person,
            "date": day.isoformat(),
            "from": "12:00" if draw > 0.85 else "",
            "until": "",
            "sites": names.SITES[0] if draw > 0.9 else "",
            "role": role,
        }
        for day in SLATE_DAYS
        for person, role in people
        if (draw := rng.random()) > 0.4
    ]


def conflict_rows() -> list[Row]:
    """Return a few conflicts: with a team, and with another person."""
    return [
        {"person_id": "U040", "team": names.CLUBS[0], "reason": "a son plays there"},
        {"person_id": "U044", "team": names.CLUBS[2], "reason": "former coach"},
        {"person_id": "E02", "other_id": "U038", "reason": "the evaluator umpires under this id"},
    ]


TRUE_UMPIRE_COLUMNS = ("umpire_id", "games", *SKILLS, *(f"offset_{edge}_in" for edge in EDGES))
TRUE_EVALUATOR_COLUMNS = ("evaluator_id", "severity_first_day", "severity_last_day", "what")


def true_umpire_rows(plan: Plan) -> Iterator[Row]:
    """Yield the true skills of each umpire in logits, and where each edge is truly called, in inches."""
    seen: dict[str, int] = {}
    for game in plan.games:
        seen[game.umpire.umpire_id] = seen.get(game.umpire.umpire_id, 0) + 1
    for umpire in plan.umpires:
        yield {
            "umpire_id": umpire.umpire_id,
            "games": str(seen[umpire.umpire_id]),
            **{skill: f"{value:.4f}" for skill, value in umpire.skill.items()},
            **{f"offset_{edge}_in": f"{value:.3f}" for edge, value in umpire.offset.items()},
        }


def true_evaluator_rows(plan: Plan) -> Iterator[Row]:
    """Yield the true severity of each evaluator, added to the logit of a call being right."""
    what = {
        DRIFTING: "grows stricter through the season",
        OTHER_CODE: "grades a foot on the plate by OBR in games played under NFHS",
    }
    for evaluator in plan.evaluators:
        yield {
            "evaluator_id": evaluator.evaluator_id,
            "severity_first_day": f"{evaluator.severity[0]:.4f}",
            "severity_last_day": f"{evaluator.severity[1]:.4f}",
            "what": what.get(evaluator.evaluator_id, ""),
        }
