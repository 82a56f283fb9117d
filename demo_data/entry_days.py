"""The day on which each evaluator wrote a game's calls down: most at the game, some long after it."""

from __future__ import annotations

import datetime as dt

import numpy as np

from demo_data.plan import Game

WEEKS_LATE = "E10"
"""This evaluator writes every sheet down one and a half to three and a half weeks after the game."""

ONCE_A_MONTH = "E06"
"""This evaluator writes a month's sheets down on the first day of the next month."""

NO_DAY = "E04"
"""This evaluator never notes the day of entry, so nothing can be said of how late the sheets are."""

WRONG_YEAR = "E09"
"""This evaluator wrote last year's number on the sheets of the first game seen."""

DUE = dt.date(2026, 7, 14)
"""The day on which the season's sheets were handed in."""

DAYS_AFTER = (0, 0, 0, 0, 0, 0, 0, 1, 1, 2, 4)
"""Days from game to entry of everybody else, each as likely as the others (our own choice, no source)."""


def recorded_on(game: Game, seed: int, *, first_seen: bool) -> str:
    """Return the ISO day of entry of a game's calls, blank where the evaluator never notes it.

    The draw has a stream of its own, so nothing else in the season depends on it.
    """
    rng = np.random.default_rng([seed, 8, game.number])
    evaluator_id = game.evaluator.evaluator_id
    if evaluator_id == NO_DAY:
        return ""
    if evaluator_id == WEEKS_LATE:
        day = game.day + dt.timedelta(days=int(rng.integers(11, 26)))
    elif evaluator_id == ONCE_A_MONTH:
        day = (game.day.replace(day=1) + dt.timedelta(days=32)).replace(day=1)
    else:
        day = game.day + dt.timedelta(days=DAYS_AFTER[int(rng.integers(len(DAYS_AFTER)))])
    day = min(day, DUE)
    if evaluator_id == WRONG_YEAR and first_seen:
        day = day.replace(year=day.year - 1)
    return day.isoformat()
