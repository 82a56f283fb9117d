"""How many further looks would settle a reading: a rough guide from the posterior's variance.

More looks at an unchanged umpire draw his draws together around their mean; the inverse variance grows by a
fixed amount an observation. The smallest number is sought at which the draws so drawn together reach the
policy's risk. The estimate itself will move with what is seen, so the number is a guide, not a promise.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from pipeline.config import AREA_TITLES, Level
from pipeline.scoring.design import Floats
from pipeline.scoring.tables import Row

MOST_LOOKS = 3000
"""Beyond this many further looks it is said that looks will not settle it."""

STEP_LOOKS = 10
_MORE_ANSWERS = (20, 40, 80, 160, 320)


@dataclass(frozen=True)
class Standing:
    """One umpire against one standard. `draws` is None when nobody was seen in the area."""

    area: str
    cut: float
    draws: Floats | None
    calls: int
    estimate: float | None
    low: float | None
    high: float | None
    probability: float | None
    holds: str

    @property
    def title(self) -> str:
        """The area in words."""
        return AREA_TITLES[self.area]


@dataclass(frozen=True)
class Looks:
    """Further observations that would bring a reading if the estimates stay as they are.

    Attributes
    ----------
    calls
        Calls in all areas together; None when none are needed or looks will not settle it.
    games
        Games that bring so many calls at the umpire's calls a game; None as above.
    evaluators
        Evaluators that the least evidence still lacks.
    quiz_answers
        Answers on the quiz; no more than 320 are thought of.
    areas
        Where the looks are to be: areas that are open or were never seen.
    """

    calls: int | None = None
    games: int | None = None
    evaluators: int = 0
    quiz_answers: int = 0
    areas: tuple[str, ...] = ()


def settled(probability: float, level: Level) -> bool:
    """Whether a probability lies outside the band in which more looks are asked for."""
    return probability >= 1 - level.risk_ready or probability <= level.risk_not_yet


def looks_needed(level: Level, standings: Sequence[Standing], row: Row, population_sd: Mapping[str, float]) -> Looks:
    """Return the looks that settle all standards at once, at least those that the evidence lacks.

    Further games are taken to bring calls of each area, and checks of positioning, in the umpire's own
    proportion. Quiz answers are counted apart: first as many as settle the quiz by itself.

    Parameters
    ----------
    row
        The roster's row: `games`, `calls`, `evaluators`.
    population_sd
        By area, how far umpires spread in adjusted rate: what is known of someone before a look.
    """
    lacking = max(0, level.evidence.calls - int(row["calls"]))
    if 0 < row["games"] < level.evidence.games:
        lacking = max(lacking, math.ceil((level.evidence.games - row["games"]) * row["calls"] / row["games"]))
    known = [one for one in standings if one.draws is not None and one.calls > 0]
    quiz = next((one for one in known if one.area == "quiz"), None)
    answers = 0
    if quiz is not None and quiz.holds == "unsure":
        answers = further_looks(quiz, level, population_sd.get("quiz", 0.0)) or 0

    def joint(calls: float, answers: int) -> float:
        met = []
        for one in known:
            more = answers if one.area == "quiz" else calls * one.calls / max(row["calls"], 1)
            met.append(drawn_together(one, more, population_sd.get(one.area, 0.0)) >= one.cut)
        return float(np.mean(np.logical_and.reduce(met)))

    calls: int | None = 0
    if known and not settled(joint(0, answers), level):
        calls = None
        most = MOST_LOOKS if row["calls"] else 0
        # A quiz that is sure enough by itself may still be what keeps all standards from being so.
        enough = (more for more in (answers, *_MORE_ANSWERS) if more >= answers and settled(joint(most, more), level))
        found = next(enough, None) if quiz is not None else (answers if settled(joint(most, answers), level) else None)
        if found is not None:
            answers = found
            calls = 0 if settled(joint(0, found), level) else _smallest(lambda more: settled(joint(more, found), level))
    # What the evidence lacks must be seen in any case.
    total = max(calls or 0, _up_to_step(lacking)) or None
    games = None
    if row["games"] and total:
        games = math.ceil(total * row["games"] / row["calls"]) if row["calls"] else None
    elif row["games"] == 0 and total:
        games = level.evidence.games
    return Looks(
        calls=total,
        games=games,
        evaluators=max(0, level.evidence.evaluators - int(row["evaluators"])),
        quiz_answers=answers,
        areas=tuple(one.area for one in standings if one.holds in ("unsure", "no_evidence")),
    )


def further_looks(one: Standing, level: Level, population_sd: float) -> int | None:
    """Return how many more observations of its own kind settle one standard; None when none are needed or help."""
    if one.draws is None or one.calls == 0 or one.holds != "unsure":
        return None
    return _smallest(
        lambda more: settled(float(np.mean(drawn_together(one, more, population_sd) >= one.cut)), level)
    )


def drawn_together(one: Standing, more: float, population_sd: float) -> Floats:
    """Return the draws of a standard as `more` observations would draw them together around their mean."""
    assert one.draws is not None  # noqa: S101 - callers keep to areas with evidence
    if more <= 0:
        return one.draws
    variance, mean = float(one.draws.var()), float(one.draws.mean())
    if variance <= 0:
        return one.draws
    before = 1 / population_sd**2 if population_sd > 0 else 0.0
    # An information per call under that of a tenth of one throw of the rate's coin is noise of the division.
    coin = 1 / max(mean * (1 - mean), 1e-4)
    per_call = min(max((1 / variance - before) / one.calls, 0.1 * coin), coin)
    shrink = math.sqrt(1 / (1 + more * per_call * variance))
    moved: Floats = mean + shrink * (one.draws - mean)
    return moved


def _smallest(enough: Callable[[float], bool]) -> int | None:
    """Return the smallest multiple of ten that is enough, up to the most; None when that is not."""
    low, high = 0, STEP_LOOKS
    while not enough(high):
        if high >= MOST_LOOKS:
            return None
        low, high = high, min(2 * high, MOST_LOOKS)
    while high - low > STEP_LOOKS:
        middle = _up_to_step((low + high) / 2)
        if middle >= high:
            break
        low, high = (low, middle) if enough(middle) else (middle, high)
    return high


def _up_to_step(number: float) -> int:
    return int(math.ceil(number / STEP_LOOKS) * STEP_LOOKS)
