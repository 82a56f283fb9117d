"""How dependable the season's readings are, and what other amounts of watching would make of them.

Two questions of generalizability theory [1]_, asked of every standard of a level:

* *now*: how much of the spread of the measures is spread of the umpires, and how often is the likelier side of the
  cut the right one (from the joint draws, so that every umpire counts with the looks that he had);
* *under a plan* of so many games by so many evaluators: the same, expected for somebody of that level. On the logit
  scale, with the fitted variances,

      error = evaluator / evaluators + game / games + 1 / (games * calls a game * mean of p (1 - p)),

  where the last part is the luck of single calls. Situations add no error: the rate is stated over the season's own
  mix, and the model knows which situations somebody had.

An umpire's measure is taken as drawn towards the mean as far as it is undependable (its posterior mean), and both
as normal.

References
----------
.. [1] Brennan 2001, Generalizability Theory, sections 2.3 (decision studies) and 2.5 (Phi and Phi(lambda)).
.. [2] Rudner 2005, Pract. Assess. Res. Eval. 10(13) (accuracy and consistency from measures with errors).
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from statistics import NormalDist

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import expit, logit, ndtr

from pipeline.config import Level, Policy
from pipeline.scoring.area_models import AreaModel, averaged_rate
from pipeline.scoring.classification import rudner
from pipeline.scoring.design import Codes, Floats
from pipeline.scoring.tables import Row

GAMES = (1, 2, 4, 8, 16)
EVALUATORS = (1, 2, 4)
MOST_GAMES = 60
FEWEST_UMPIRES = 3
"""With fewer in a level nothing is said of how they spread."""

NOW_COLUMNS = {
    "target_level": "VARCHAR",
    "area": "VARCHAR",
    "umpires": "BIGINT",
    "cut": "DOUBLE",
    "mean_rate": "DOUBLE",
    "rate_low": "DOUBLE",
    "rate_high": "DOUBLE",
    "dependability": "DOUBLE",
    "dependability_at_cut": "DOUBLE",
    "accuracy": "DOUBLE",
    "consistency": "DOUBLE",
    "settled": "DOUBLE",
    "looks": "DOUBLE",
    "calls_per_look": "DOUBLE",
    "risk": "DOUBLE",
    "needed_1": "BIGINT",
    "needed_2": "BIGINT",
    "needed_4": "BIGINT",
}
PLAN_COLUMNS = {
    "target_level": "VARCHAR",
    "area": "VARCHAR",
    "games": "BIGINT",
    "evaluators": "BIGINT",
    "dependability": "DOUBLE",
    "accuracy": "DOUBLE",
    "consistency": "DOUBLE",
    "settled": "DOUBLE",
}


def at_cut(spread: float, mean: float, cut: float, error: float) -> float:
    """Return Phi(lambda), the dependability of a decision at a cut, from variances on one scale [1]_.

    It is Phi where the cut lies at the mean, and nears 1 as the cut moves away: what everybody passes is easily
    told.
    """
    distance = (mean - cut) ** 2
    whole = spread + distance + error
    return (spread + distance) / whole if whole > 0 else float("nan")


@dataclass(frozen=True)
class Forecast:
    """What is expected of one amount of watching.

    Attributes
    ----------
    dependability
        Share of the spread of measures that is spread of umpires.
    accuracy
        Share of umpires whose likelier side of the cut is the right one.
    consistency
        Share who would come out on the same side when watched as much again by others.
    settled
        Share of whom the chance to be at the cut lies outside the policy's band of "more looks".
    """

    dependability: float
    accuracy: float
    consistency: float
    settled: float


def forecast(mean: float, spread: float, cut: float, error: float, level: Level) -> Forecast:
    """Return what is expected of umpires that are normal about a mean, each measured with one error.

    Parameters
    ----------
    mean, cut
        On the scale of the measure.
    spread, error
        Variances of umpires and of the error, on that scale squared; `spread` above 0.
    """
    phi = spread / (spread + error)
    sd, rest = np.sqrt(spread), np.sqrt(spread * (1 - phi))
    # Posterior means are normal with variance phi * spread, and the truth about one with the rest.
    z = np.linspace(-8, 8, 2001)
    weight = np.exp(-0.5 * z**2)
    weight /= weight.sum()
    above = _chance_above(mean + np.sqrt(phi) * sd * z, cut, rest)
    accuracy = float(weight @ np.maximum(above, 1 - above))
    # Given the truth, a measure is drawn to the mean and lies about it with variance spread * phi * (1 - phi).
    passes = _chance_above(mean + phi * sd * z, cut, sd * np.sqrt(phi * (1 - phi)))
    consistency = float(weight @ (passes**2 + (1 - passes) ** 2))
    ready, not_yet = (NormalDist().inv_cdf(1 - risk) for risk in (level.risk_ready, level.risk_not_yet))
    wide = max(float(np.sqrt(phi) * sd), 1e-12)
    settled = float(ndtr((mean - cut - ready * rest) / wide) + ndtr((cut - not_yet * rest - mean) / wide))
    return Forecast(float(phi), accuracy, consistency, settled)


def _chance_above(centre: Floats, cut: float, sd: float) -> Floats:
    return np.asarray(ndtr((centre - cut) / max(float(sd), 1e-12)))


@dataclass(frozen=True)
class Measured:
    """One level's umpires in one area, on the logit scale of the adjusted rate."""

    mean: float
    spread: float
    dependability: float
    accuracy: float
    consistency: float
    settled: float

    @property
    def error(self) -> float:
        """The variance of the error that a measure not drawn to the mean would have."""
        if self.dependability <= 0:
            return float("inf")
        return self.spread * (1 - self.dependability) / self.dependability


def measured(draws: ArrayLike, cut: float, level: Level) -> Measured:
    """Return how dependable the measures are, from joint draws of logits, shape (draws, umpires)."""
    drawn = np.asarray(draws, dtype=np.float64)
    centres, errors = drawn.mean(axis=0), drawn.std(axis=0)
    unsure = float(np.mean(errors**2))
    sides = rudner(centres, np.maximum(errors, 1e-9), cut)
    spread = float(centres.var()) + unsure
    above = (drawn >= cut).mean(axis=0)
    settled = (above >= 1 - level.risk_ready) | (above <= level.risk_not_yet)
    return Measured(
        float(centres.mean()),
        spread,
        1 - unsure / spread if spread > 0 else 0.0,
        sides.accuracy,
        sides.consistency,
        float(settled.mean()),
    )


@dataclass(frozen=True)
class Sources:
    """Variances of the error by source, on the logit scale of the adjusted rate; `call` is that of one call."""

    evaluator: float
    game: float
    call: float

    def error(self, games: float, evaluators: float, calls: float) -> float:
        """Return the error of so many games with so many calls each, shared by so many evaluators."""
        return self.evaluator / evaluators + self.game / games + self.call / (games * calls)


def sources(model: AreaModel, mean: float) -> Sources | None:
    """Return the sources of error for somebody whose adjusted rate has the logit `mean`; None without a fit.

    The fitted variances are of the linear predictor. An adjusted rate is averaged over situations and games, so that
    its logit moves less than one for one with the umpire's effect; the variances are brought to its scale by the
    square of that slope.
    """
    if model.draws is None:
        return None
    draws = model.draws
    game = draws.centre.get("game", 0.0)
    base = float(draws.intercept.mean()) + draws.effects["situation"].mean(axis=0)

    def rate(effect: float) -> float:
        return float(averaged_rate(base + effect, game) @ model.mix)

    low, high = -12.0, 12.0
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (middle, high) if logit(np.clip(rate(middle), 1e-9, 1 - 1e-9)) < mean else (low, middle)
    slope = float(logit(rate(low + 0.01)) - logit(rate(low - 0.01))) / 0.02
    chance = expit(base + low)
    luck = 1 / float((chance * (1 - chance)) @ model.mix)
    variances = (draws.centre.get("evaluator", 0.0) ** 2, game**2, luck)
    return Sources(*(slope**2 * float(value) for value in variances))


def needed(
    found: Sources, level: Level, mean: float, spread: float, cut: float, calls: float, evaluators: int
) -> int | None:
    """Return the games that bring the wrong readings down to the risk of a wrong "ready"; None beyond MOST_GAMES."""
    for games in range(1, MOST_GAMES + 1):
        error = found.error(games, min(games, evaluators), calls)
        if forecast(mean, spread, cut, error, level).accuracy >= 1 - level.risk_ready:
            return games
    return None


def dependability_rows(
    policy: Policy, roster: Sequence[Row], models: Mapping[str, AreaModel], sheets: int
) -> tuple[list[dict[str, object]], list[dict[str, object]]]:
    """Return the rows of `scores.dependability` and of `scores.dependability_plan`.

    Parameters
    ----------
    roster
        Rows of the umpires in the order of the models' codes.
    sheets
        Quiz sheets handed in: what a "game" is in the area of the quiz.
    """
    now, plan = [], []
    for level, area, model, who in _standards(policy, roster, models):
        cut = float(logit(level.standards[area]))
        said = measured(logit(np.clip(model.adjusted[:, who].astype(np.float64), 1e-6, 1 - 1e-6)), cut, level)
        looks = _looks(model, who) if area != "quiz" else sheets * who.size / max(int((model.calls > 0).sum()), 1)
        calls = float(model.calls[who].sum()) / max(looks, 1)
        found = sources(model, said.mean)
        row: dict[str, object] = {
            "target_level": level.id,
            "area": area,
            "umpires": int(who.size),
            "cut": level.standards[area],
            "mean_rate": float(expit(said.mean)),
            "rate_low": float(expit(said.mean - np.sqrt(said.spread))),
            "rate_high": float(expit(said.mean + np.sqrt(said.spread))),
            "dependability": said.dependability,
            "dependability_at_cut": at_cut(said.spread, said.mean, cut, said.error),
            "accuracy": said.accuracy,
            "consistency": said.consistency,
            "settled": said.settled,
            "looks": looks / who.size,
            "calls_per_look": calls,
            "risk": level.risk_ready,
        }
        row |= {f"needed_{n}": None for n in EVALUATORS}
        if found is not None and said.spread > 0 and calls > 0:
            has_evaluators = bool(model.evaluators)
            shared = EVALUATORS if has_evaluators else EVALUATORS[:1]
            row |= {f"needed_{n}": needed(found, level, said.mean, said.spread, cut, calls, n) for n in shared}
            for games, evaluators in ((g, e) for g in GAMES for e in shared if e <= g):
                told = forecast(said.mean, said.spread, cut, found.error(games, evaluators, calls), level)
                plan.append(
                    {
                        "target_level": level.id,
                        "area": area,
                        "games": games,
                        "evaluators": evaluators if has_evaluators else 0,
                        "dependability": told.dependability,
                        "accuracy": told.accuracy,
                        "consistency": told.consistency,
                        "settled": told.settled,
                    }
                )
        now.append(row)
    return now, plan


def _standards(
    policy: Policy, roster: Sequence[Row], models: Mapping[str, AreaModel]
) -> Iterator[tuple[Level, str, AreaModel, Codes]]:
    """Yield every standard of every level with the umpires who are judged by it and were seen."""
    targets = [policy.level_above(row["level"]) for row in roster]
    for level in policy.levels:
        judged = np.array([target is not None and target.id == level.id for target in targets], dtype=bool)
        for area in level.standards:
            if area in models:
                who = np.flatnonzero(judged & (models[area].calls > 0)).astype(np.int64)
                if who.size >= FEWEST_UMPIRES:
                    yield level, area, models[area], who


def _looks(model: AreaModel, who: Codes) -> float:
    """Return the games in which these umpires were seen, each umpire's counted by itself."""
    cells = model.cells[model.cells["umpire"].isin(who.tolist())]
    games = cells["game"] if "game" in cells else cells["umpire"]
    return float(games.nunique())
