"""Readiness: how likely an umpire meets every standard of the level above, and what would settle it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from pipeline.config import Level, Policy
from pipeline.scoring.design import Floats
from pipeline.scoring.looks import Looks, Standing, further_looks, looks_needed
from pipeline.scoring.misrulings import exceeded
from pipeline.scoring.tables import Row

SHIFTS = (-0.02, -0.01, 0.01, 0.02)
"""By how much cuts are moved to see how much a reading hangs on them."""

EVERY_CUT = "all"
"""The name under which all cuts are moved together."""

_STEP = 0.01
_CLASS_WORDS = {
    "count": "on ball and strike",
    "base": "that cost a base",
    "out": "that cost an out",
    "safety": "on safety",
}


class AreaEvidence(Protocol):
    """What readiness needs of an area: a fitted model has it, and so have the stored draws."""

    @property
    def adjusted(self) -> Floats:
        """Draws of the adjusted rate, shape (draws, umpires)."""

    @property
    def calls(self) -> Floats:
        """Observations of each umpire."""


@dataclass(frozen=True)
class Verdict:
    """What is said of one umpire; texts hold one reason a sentence, joined by `; `.

    `decided_by` tells which clause of the rule gave the verdict, with its figures.
    """

    verdict: str
    decided_by: str
    probability: float | None
    evidence_ok: bool
    nearest: Standing | None
    reasons_for: list[str]
    reasons_against: list[str]
    would_change: str
    looks: Looks

    @property
    def looks_needed(self) -> int | None:
        """Further calls that would settle it."""
        return self.looks.calls


@dataclass(frozen=True)
class Moved:
    """The reading with one cut, or all of them, moved by `shift` (rate units)."""

    area: str
    shift: float
    probability: float
    verdict: str


def standing(
    area: str, cut: float, model: AreaEvidence | None, index: int, level: Level, coverage: float
) -> Standing:
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
    verdict, decided_by = reading(
        level, probability, lacking=bool(lacking), unseen=bool(unseen), too_many=bool(too_many)
    )
    known = [one for one in standings if one.probability is not None]
    nearest = min(known, key=lambda one: (one.probability, one.area)) if known else None
    looks = looks_needed(level, standings, row, population_sd) if verdict == "more_looks" else Looks()
    return Verdict(
        verdict=verdict,
        decided_by=decided_by,
        probability=probability,
        evidence_ok=not lacking,
        nearest=nearest,
        reasons_for=[_met_text(one) for one in standings if one.holds == "met"] + evidence,
        reasons_against=_against(standings, too_many) + lacking,
        would_change=_would_change(verdict, standings, nearest, too_many, lacking, looks),
        looks=looks,
    )


def reading(
    level: Level, probability: float | None, *, lacking: bool, unseen: bool, too_many: bool
) -> tuple[str, str]:
    """Return the verdict by the method's rule, and the clause that gave it.

    Parameters
    ----------
    probability
        That every standard is met at once; None when nothing is known of any.
    lacking, unseen, too_many
        Whether the least evidence is lacking, an area was never seen, a limit on misrulings is exceeded.
    """
    if too_many:
        return "not_yet", "More misrulings of one class than the policy allows: that decides, whatever the rates"
    if lacking:
        return "more_looks", "The least evidence that the policy asks for was not seen"
    if probability is None:
        return "more_looks", "There is nothing to judge by"
    sure, out = 1 - level.risk_ready, level.risk_not_yet
    if probability >= sure and not unseen:
        return "ready", f"The chance of meeting every standard, {_percent(probability)}, is at least {_percent(sure)}"
    if probability <= out:
        return "not_yet", f"The chance of meeting every standard, {_percent(probability)}, is at most {_percent(out)}"
    if probability >= sure:
        return "more_looks", "The chance would do, but nothing was seen in an area that has a standard"
    return (
        "more_looks",
        f"The chance of meeting every standard, {_percent(probability)}, lies between {_percent(out)} and "
        f"{_percent(sure)}",
    )


def sensitivity(level: Level, standings: Sequence[Standing], row: Row, made: Mapping[str, int]) -> list[Moved]:
    """Return the reading with each cut by itself, and with all of them, one and two points lower and higher.

    An area of which nothing is known is left out; without any there is nothing to return.
    """
    known = [(one, one.draws) for one in standings if one.draws is not None]
    if not known:
        return []
    flags = {
        "lacking": bool(_evidence(level, row)[1]),
        "unseen": any(one.holds == "no_evidence" for one in standings),
        "too_many": bool(exceeded(level.disqualifying, made)),
    }
    missed = np.sum([draws < one.cut for one, draws in known], axis=0)
    found = []
    for shift in SHIFTS:
        every = np.logical_and.reduce([draws >= one.cut + shift for one, draws in known])
        found.append((EVERY_CUT, shift, float(np.mean(every))))
    for one, draws in known:
        others_met = missed - (draws < one.cut) == 0
        found += [(one.area, shift, float(np.mean(others_met & (draws >= one.cut + shift)))) for shift in SHIFTS]
    return [Moved(area, shift, chance, reading(level, chance, **flags)[0]) for area, shift, chance in found]


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


def _would_change(
    verdict: str,
    standings: Sequence[Standing],
    nearest: Standing | None,
    too_many: Sequence[tuple[str, int, int]],
    lacking: Sequence[str],
    looks: Looks,
) -> str:
    texts = []
    if too_many:
        texts.append(f"The limit on misrulings {_CLASS_WORDS[too_many[0][0]]} decides, whatever the rates")
    if lacking:
        texts.append("First the least evidence: " + ", ".join(lacking))
    unseen = [one.title for one in standings if one.holds == "no_evidence"]
    if unseen:
        texts.append(f"Looks in {', '.join(unseen)}")
    if looks.evaluators:
        texts.append(f"Looks by {looks.evaluators} more evaluator{'s' if looks.evaluators > 1 else ''}")
    if looks.calls:
        games = f" (some {looks.games} game{'s' if looks.games > 1 else ''})" if looks.games else ""
        texts.append(f"About {looks.calls} more calls{games}, if the rates stay as they are: a rough guide")
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


@dataclass(frozen=True)
class ReadinessTables:
    """Rows of `scores.readiness`, `scores.standard` and `scores.sensitivity`."""

    readiness: list[dict[str, object]]
    standard: list[dict[str, object]]
    sensitivity: list[dict[str, object]]


def readiness_tables(
    policy: Policy,
    roster: Sequence[Row],
    models: Mapping[str, AreaEvidence],
    made: Mapping[str, Mapping[str, int]],
    linked_group: Sequence[int | None],
) -> ReadinessTables:
    """Return what is said of everybody.

    An umpire whose level is not in the policy has no level to be judged for and is left out.
    """
    spread = population_spread(models)
    tables = ReadinessTables([], [], [])
    for index, row in enumerate(roster):
        own, target = policy.level(row["level"]), policy.level_above(row["level"])
        if own is None or target is None:
            continue
        misruled = made.get(row["umpire_id"], {})
        standings = standings_of(target, models, index, policy.interval)
        said = decide(target, standings, row, misruled, spread)
        near, looks = said.nearest, said.looks
        tables.readiness.append(
            {
                "umpire_id": row["umpire_id"],
                "name": row["name"],
                "level": own.id,
                "level_title": own.title,
                "target_level": target.id,
                "target_title": target.title,
                "verdict": said.verdict,
                "decided_by": said.decided_by,
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
                "looks_needed": looks.calls,
                "games_needed": looks.games,
                "evaluators_needed": looks.evaluators or None,
                "quiz_answers_needed": looks.quiz_answers or None,
                "looks_areas": ";".join(looks.areas) or None,
                "linked_group": linked_group[index],
            }
        )
        tables.standard.extend(
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
                "looks_needed": further_looks(one, target, spread.get(one.area, 0.0)),
            }
            for one in standings
        )
        tables.sensitivity.extend(
            {
                "umpire_id": row["umpire_id"],
                "area": moved.area,
                "shift": moved.shift,
                "probability": moved.probability,
                "verdict": moved.verdict,
                "changes": moved.verdict != said.verdict,
            }
            for moved in sensitivity(target, standings, row, misruled)
        )
    return tables


def population_spread(models: Mapping[str, AreaEvidence]) -> dict[str, float]:
    """Return by area how far umpires spread in adjusted rate, as a standard deviation."""
    return {name: float(np.std(model.adjusted, axis=1).mean()) for name, model in models.items()}


def standings_of(level: Level, models: Mapping[str, AreaEvidence], index: int, coverage: float) -> list[Standing]:
    """Return where one umpire stands against each standard of a level."""
    return [
        standing(area, cut, models.get(area), index, level, coverage) for area, cut in level.standards.items()
    ]
