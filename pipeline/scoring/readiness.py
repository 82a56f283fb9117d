"""Readiness: how likely an umpire meets every standard of the level above, and what would settle it."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from statistics import NormalDist

import numpy as np

from pipeline.config import AREA_TITLES, Level, Policy
from pipeline.scoring.area_models import AreaModel
from pipeline.scoring.design import Floats
from pipeline.scoring.misrulings import exceeded
from pipeline.scoring.tables import Row

MOST_LOOKS = 3000
"""Beyond this many further calls it is said that looks will not settle it."""

_STEP = 0.01
_CLASS_WORDS = {
    "count": "on ball and strike",
    "base": "that cost a base",
    "out": "that cost an out",
    "safety": "on safety",
}


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
class Verdict:
    """What is said of one umpire; texts hold one reason a sentence, joined by `; `."""

    verdict: str
    probability: float | None
    evidence_ok: bool
    nearest: Standing | None
    reasons_for: list[str]
    reasons_against: list[str]
    would_change: str
    looks_needed: int | None


def standing(area: str, cut: float, model: AreaModel | None, index: int, level: Level, coverage: float) -> Standing:
    """Return where one umpire stands against one cut."""
    if model is None:
        return Standing(area, cut, None, 0, None, None, None, None, "no_evidence")
    draws = model.adjusted[:, index].astype(np.float64)
    tail = (1 - coverage) / 2
    low, high = np.quantile(draws, [tail, 1 - tail])
    calls = int(model.calls[index])
    probability = float(np.mean(draws >= cut))
    if calls == 0:
        holds = "no_evidence"
    elif probability >= 1 - level.risk_ready:
        holds = "met"
    elif probability <= level.risk_not_yet:
        holds = "short"
    else:
        holds = "unsure"
    return Standing(area, cut, draws, calls, float(draws.mean()), float(low), float(high), probability, holds)


def meets_all(standings: Sequence[Standing], lowered: str | None = None, by: float = 0.0) -> float | None:
    """Return the share of joint draws that meet every cut (the cut of area `lowered` lower by `by`)."""
    known = [one for one in standings if one.draws is not None]
    if not known:
        return None
    met = [one.draws >= one.cut - (by if one.area == lowered else 0) for one in known if one.draws is not None]
    return float(np.mean(np.logical_and.reduce(met)))


def decide(
    level: Level,
    standings: Sequence[Standing],
    row: Row,
    made: Mapping[str, int],
    population_sd: Mapping[str, float],
) -> Verdict:
    """Return the verdict on one umpire for one level.

    Parameters
    ----------
    level
        The level he is judged for.
    standings
        Against each of its standards.
    row
        The roster's row: `games`, `calls`, `evaluators`.
    made
        Misrulings by consequence class.
    population_sd
        By area, how far umpires spread in adjusted rate: what is known of someone before a look.
    """
    probability = meets_all(standings)
    evidence, lacking = _evidence(level, row)
    too_many = exceeded(level.disqualifying, made)
    unseen = [one for one in standings if one.holds == "no_evidence"]
    if too_many:
        verdict = "not_yet"
    elif lacking or probability is None:
        verdict = "more_looks"
    elif probability >= 1 - level.risk_ready and not unseen:
        verdict = "ready"
    elif probability <= level.risk_not_yet:
        verdict = "not_yet"
    else:
        verdict = "more_looks"
    known = [one for one in standings if one.probability is not None]
    nearest = min(known, key=lambda one: (one.probability, one.area)) if known else None
    looks = _looks_needed(level, standings, row, population_sd) if verdict == "more_looks" else _Looks(None)
    return Verdict(
        verdict=verdict,
        probability=probability,
        evidence_ok=not lacking,
        nearest=nearest,
        reasons_for=[_met_text(one) for one in standings if one.holds == "met"] + evidence,
        reasons_against=_against(standings, too_many) + lacking,
        would_change=_would_change(verdict, standings, nearest, too_many, lacking, looks),
        looks_needed=looks.calls,
    )


def _met_text(one: Standing) -> str:
    return (
        f"{one.title}: {_percent(one.estimate)} against {_percent(one.cut)}, "
        f"{_percent(one.probability)} sure that it is met"
    )


def _against(standings: Sequence[Standing], too_many: Sequence[tuple[str, int, int]]) -> list[str]:
    reasons = [
        f"{times} misrulings {_CLASS_WORDS[name]}, where at most {limit} are allowed" for name, times, limit in too_many
    ]
    for one in standings:
        if one.holds == "short":
            reasons.append(
                f"{one.title}: {_percent(one.estimate)} against {_percent(one.cut)}, "
                f"only {_percent(one.probability)} likely to be met"
            )
        elif one.holds == "unsure":
            reasons.append(
                f"{one.title}: {_percent(one.low)} to {_percent(one.high)} lies on both sides of {_percent(one.cut)}"
            )
        elif one.holds == "no_evidence":
            reasons.append(f"{one.title}: nothing was seen")
    return reasons


def _evidence(level: Level, row: Row) -> tuple[list[str], list[str]]:
    """Return the sentence on evidence that suffices, or the sentences on what is lacking."""
    least = level.evidence
    lacking = [
        f"{row[name]} {name} seen, {need} needed"
        for name, need in (("games", least.games), ("calls", least.calls), ("evaluators", least.evaluators))
        if row[name] < need
    ]
    if lacking:
        return [], lacking
    return [f"{row['calls']} graded calls in {row['games']} games by {row['evaluators']} evaluators"], []


@dataclass(frozen=True)
class _Looks:
    """Further observations that would bring a verdict if the estimates stay: calls in all, and quiz answers.

    `calls` is None when looks will not settle it.
    """

    calls: int | None
    quiz_answers: int = 0


def _looks_needed(level: Level, standings: Sequence[Standing], row: Row, population_sd: Mapping[str, float]) -> _Looks:
    """Return the looks that every standard still open needs, at least those that the evidence lacks.

    For one standard the posterior variance must fall until the cut lies z standard deviations off. Its
    inverse grows by a fixed amount an observation: the one at which it grew so far, over that of the
    population. Further games are taken to bring calls of each area, and checks of positioning, in the
    umpire's own proportion.
    """
    calls = max(0, level.evidence.calls - int(row["calls"]))
    if 0 < row["games"] < level.evidence.games:
        calls = max(calls, math.ceil((level.evidence.games - row["games"]) * row["calls"] / row["games"]))
    needed, answers, lost = float(calls), 0, False
    for one in standings:
        if one.holds != "unsure":
            continue
        more = _observations_for(one, level, population_sd.get(one.area, 0.0))
        if one.area == "quiz":
            answers = _up_to_ten(more) if more is not None else 0
        elif more is None or not row["calls"]:
            lost = True
        else:
            needed = max(needed, more * row["calls"] / one.calls)
    if lost or needed > MOST_LOOKS:
        # What the evidence lacks must be seen in any case.
        return _Looks(_up_to_ten(calls) or None, answers)
    return _Looks(_up_to_ten(needed) or None, answers)


def _up_to_ten(number: float) -> int:
    return int(math.ceil(number / 10) * 10)


def _observations_for(one: Standing, level: Level, population_sd: float) -> float | None:
    if one.draws is None or one.estimate is None or one.calls == 0:
        return None
    variance = float(one.draws.var())
    gap = abs(one.estimate - one.cut)
    risk = level.risk_ready if one.estimate >= one.cut else level.risk_not_yet
    z = NormalDist().inv_cdf(1 - max(risk, 1e-6))
    if gap < 1e-6 or variance <= 0:
        return None
    target = (gap / max(z, 1e-6)) ** 2
    if target >= variance:
        return 0.0
    # An information per call under that of one throw of the estimated rate's coin is noise of the division.
    before = 1 / population_sd**2 if population_sd > 0 else 0.0
    coin = 1 / max(one.estimate * (1 - one.estimate), 1e-4)
    per_call = min(max((1 / variance - before) / one.calls, 0.1 * coin), coin)
    return (1 / target - 1 / variance) / per_call


def _would_change(
    verdict: str,
    standings: Sequence[Standing],
    nearest: Standing | None,
    too_many: Sequence[tuple[str, int, int]],
    lacking: Sequence[str],
    looks: _Looks,
) -> str:
    texts = []
    if too_many:
        texts.append(f"The limit on misrulings {_CLASS_WORDS[too_many[0][0]]} decides, whatever the rates")
    if lacking:
        texts.append("First the least evidence: " + ", ".join(lacking))
    unseen = [one.title for one in standings if one.holds == "no_evidence"]
    if unseen:
        texts.append(f"Looks in {', '.join(unseen)}")
    if looks.calls:
        texts.append(f"About {looks.calls} more calls, if the rates stay as they are")
    if looks.quiz_answers:
        texts.append(f"About {looks.quiz_answers} more quiz answers")
    if verdict == "more_looks" and not (looks.calls or looks.quiz_answers or lacking or unseen):
        texts.append("The estimate lies so near the cut that more looks alone are unlikely to settle it")
    if nearest is not None and nearest.draws is not None and not too_many:
        for by, word in ((_STEP, "lower"), (-_STEP, "higher")):
            moved = meets_all(standings, nearest.area, by)
            texts.append(
                f"With the cut for {nearest.title} one point {word} the probability would be {_percent(moved)}"
            )
    return "; ".join(texts)


def _percent(value: float | None) -> str:
    return "unknown" if value is None else f"{100 * value:.1f} %"


def readiness_tables(
    policy: Policy,
    roster: Sequence[Row],
    models: Mapping[str, AreaModel],
    made: Mapping[str, Mapping[str, int]],
    linked_group: Sequence[int | None],
) -> tuple[list[dict[str, object]], list[dict[str, object]]]:
    """Return the rows of `scores.readiness` and `scores.standard`.

    An umpire whose level is not in the policy has no level to be judged for and is left out.
    """
    spread = {name: float(np.std(model.adjusted, axis=1).mean()) for name, model in models.items()}
    verdicts: list[dict[str, object]] = []
    rows: list[dict[str, object]] = []
    for index, row in enumerate(roster):
        own, target = policy.level(row["level"]), policy.level_above(row["level"])
        if own is None or target is None:
            continue
        standings = [
            standing(area, cut, models.get(area), index, target, policy.interval)
            for area, cut in target.standards.items()
        ]
        said = decide(target, standings, row, made.get(row["umpire_id"], {}), spread)
        near = said.nearest
        verdicts.append(
            {
                "umpire_id": row["umpire_id"],
                "name": row["name"],
                "level": own.id,
                "level_title": own.title,
                "target_level": target.id,
                "target_title": target.title,
                "verdict": said.verdict,
                "probability": said.probability,
                "games": row["games"],
                "calls": row["calls"],
                "evaluators": row["evaluators"],
                "evidence_ok": said.evidence_ok,
                "nearest_area": near.area if near else None,
                "nearest_cut": near.cut if near else None,
                "nearest_estimate": near.estimate if near else None,
                "reasons_for": "; ".join(said.reasons_for),
                "reasons_against": "; ".join(said.reasons_against),
                "would_change": said.would_change,
                "looks_needed": said.looks_needed,
                "linked_group": linked_group[index],
            }
        )
        rows += [
            {
                "umpire_id": row["umpire_id"],
                "target_level": target.id,
                "area": one.area,
                "area_title": one.title,
                "cut": one.cut,
                "estimate": one.estimate,
                "low": one.low,
                "high": one.high,
                "probability": one.probability,
                "calls": one.calls,
                "holds": one.holds,
            }
            for one in standings
        ]
    return verdicts, rows
