"""Evaluators: severity, drift, agreement with the rules, and grading by another code's rules."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from statistics import NormalDist

import numpy as np
from scipy.special import expit

from pipeline.scoring.agreement.kappa import cohen_kappa
from pipeline.scoring.area_models import AreaModel, reference_rate
from pipeline.scoring.design import Codes, Floats, sums
from pipeline.scoring.intervals import wilson
from pipeline.scoring.tables import Row

FEWEST_SUSPECT_CALLS = 3
FEWEST_DRIFT_GAMES = 4
FEWEST_KAPPA_GRADES = 30
LOW_KAPPA = 0.4
"""Under this the agreement is called slight: common practice (Landis & Koch 1977 call .41 the start of
moderate)."""
_DAYS = 30.0
_CODE_NAMES = {"nfhs": "NFHS", "obr": "OBR", "ncaa": "NCAA"}


@dataclass(frozen=True)
class Estimate:
    """A value with its interval, in rate units."""

    value: float
    low: float
    high: float


def severities(model: AreaModel, coverage: float) -> dict[str, Estimate]:
    """Return per evaluator how much better an average umpire looks than under the panel's average.

    The average is that of the season's evaluators, each counting once: how they would compare with evaluators
    who took no part cannot be said, and does not matter for levelling them with each other. An adjusted rate
    speaks of the average of the population instead, and carries the uncertainty of the difference.
    """
    if model.draws is None or "evaluator" not in model.draws.effects:
        return {}
    effects = model.draws.effects["evaluator"]
    shift = np.concatenate([effects.mean(axis=1, keepdims=True), effects], axis=1)
    rates = reference_rate(model.draws, model.mix, shift)
    points = rates[:, 1:] - rates[:, :1]
    tail = (1 - coverage) / 2
    low, high = np.quantile(points, [tail, 1 - tail], axis=0)
    return {
        name: Estimate(float(points[:, i].mean()), float(low[i]), float(high[i]))
        for i, name in enumerate(model.evaluators)
    }


def drifts(model: AreaModel, days: Floats, coverage: float) -> dict[str, Estimate]:
    """Return per evaluator the change of the right rate in 30 days that nothing else explains.

    A logistic slope over days with the fitted predictor (without the games' own effects, into which a drift
    would vanish) as offset: one step from slope zero. A game's residual counts with its binomial variance
    plus that of games, so that calls of one game do not pass for independent evidence. Evaluators with fewer
    than four games, or all on one day, have no estimate.

    Parameters
    ----------
    days
        For each cell of the model the day of its game, as a number; NaN where unknown.
    """
    if not model.fit.has_estimates or "evaluator" not in model.cells or "game" not in model.cells:
        return {}
    fit, cells = model.fit, model.cells
    umpire, evaluator, situation, game = (
        cells[name].to_numpy() for name in ("umpire", "evaluator", "situation", "game")
    )
    trials, right = cells["trials"].to_numpy(float), cells["successes"].to_numpy(float)
    eta = (
        fit.intercept
        + fit.effects["umpire"][umpire]
        + fit.effects["evaluator"][evaluator]
        + fit.effects["situation"][situation]
    )
    mean = expit(eta)
    usable = ~np.isnan(days)
    looks, look = np.unique(evaluator[usable] * (game.max() + 1) + game[usable], return_inverse=True)
    owner = looks // (game.max() + 1)
    size = looks.size
    residual = sums(look, (right - trials * mean)[usable], size)
    information = sums(look, (trials * mean * (1 - mean))[usable], size)
    calls = sums(look, trials[usable], size)
    day = sums(look, (trials * np.where(usable, days, 0))[usable], size) / calls
    weight = 1 / (1 / np.maximum(information, 1e-9) + fit.sd["game"] ** 2)
    working = residual / np.maximum(information, 1e-9)
    z = NormalDist().inv_cdf(0.5 + coverage / 2)
    found = {}
    for code, name in enumerate(model.evaluators):
        mine = owner == code
        slope = _slope(day[mine], working[mine], weight[mine])
        if slope is None:
            continue
        # From logit units to points at this evaluator's calls.
        points = float(information[mine].sum() / calls[mine].sum()) * _DAYS
        found[name] = Estimate(*(points * (slope[0] + k * z * slope[1]) for k in (0, -1, 1)))
    return found


def _slope(x: Floats, y: Floats, weight: Floats) -> tuple[float, float] | None:
    """Return the weighted least-squares slope and its standard error."""
    if x.size < FEWEST_DRIFT_GAMES:
        return None
    centred = x - np.average(x, weights=weight)
    spread = float(weight @ centred**2)
    if spread <= 0 or np.ptp(x) == 0:
        return None
    return float(weight @ (centred * y)) / spread, float(1 / np.sqrt(spread))


@dataclass(frozen=True)
class Suspicion:
    """An evaluator who seems to grade one or more topics by another code."""

    code: str
    calls: int
    topics: tuple[str, ...]


def suspicions(misgrades: Sequence[Row]) -> dict[str, Suspicion]:
    """Return per evaluator the code by whose rules he seems to grade.

    Within one topic, a code is suspected when at least three of the grades that contradict the rules would
    stand under it and these are more than half of the contradicted grades. Of several codes the one with most
    such calls is named.
    """
    contradicted: Counter[tuple[str, str]] = Counter()
    explained: Counter[tuple[str, str, str]] = Counter()
    for row in misgrades:
        contradicted[row["evaluator_id"], row["topic"]] += 1
        for code in (row["other_codes"] or "").split(";"):
            if code:
                explained[row["evaluator_id"], row["topic"], code] += 1
    by_code: dict[str, dict[str, list[tuple[str, int]]]] = defaultdict(lambda: defaultdict(list))
    for (evaluator, topic, code), times in sorted(explained.items()):
        if times >= FEWEST_SUSPECT_CALLS and 2 * times > contradicted[evaluator, topic]:
            by_code[evaluator][code].append((topic, times))
    found = {}
    for evaluator, codes in by_code.items():
        code = min(codes, key=lambda name: (-sum(times for _, times in codes[name]), name))
        found[evaluator] = Suspicion(
            code, sum(times for _, times in codes[code]), tuple(topic for topic, _ in codes[code])
        )
    return found


def evaluator_rows(
    counts: Sequence[Row],
    severity: Mapping[str, Estimate],
    drift: Mapping[str, Estimate],
    suspected: Mapping[str, Suspicion],
    coverage: float,
) -> list[dict[str, object]]:
    """Return the rows of `scores.evaluator`."""
    none = Estimate(float("nan"), float("nan"), float("nan"))
    rows = []
    for count in counts:
        name = count["evaluator_id"]
        severe, moved, doubt = severity.get(name, none), drift.get(name, none), suspected.get(name)
        low, high = wilson(count["agree"], count["grades"], coverage)
        graded = count["grades"] > 0
        rows.append(
            {
                **{key: count[key] for key in ("evaluator_id", "name", "level", "calls", "games", "umpires")},
                "severity_points": severe.value,
                "severity_low": severe.low,
                "severity_high": severe.high,
                "drift_points_per_30_days": moved.value,
                "drift_low": moved.low,
                "drift_high": moved.high,
                "grades": count["grades"],
                "agree": count["agree"],
                "agree_rate": count["agree"] / count["grades"] if graded else None,
                "agree_low": low if graded else None,
                "agree_high": high if graded else None,
                "facts_recorded_share": count["settled"] / count["calls"],
                "other_code_suspect": doubt.code if doubt else None,
                "other_code_calls": doubt.calls if doubt else 0,
                "message": _message(count, severe, moved, doubt),
            }
        )
    return rows


def _message(count: Row, severe: Estimate, moved: Estimate, doubt: Suspicion | None) -> str:
    texts = []
    if doubt:
        code = _CODE_NAMES.get(doubt.code, doubt.code)
        topics = ", ".join(topic.replace("_", " ") for topic in doubt.topics)
        texts.append(f"seems to grade by {code} on {topics}: {doubt.calls} contradicted grades would stand under it")
    if severe.low > 0:
        texts.append(f"lenient: umpires look {100 * severe.value:.1f} points better than under an average evaluator")
    elif severe.high < 0:
        texts.append(f"severe: umpires look {-100 * severe.value:.1f} points worse than under an average evaluator")
    if moved.low > 0 or moved.high < 0:
        direction = "more lenient" if moved.value > 0 else "more severe"
        texts.append(f"became {direction} by {abs(100 * moved.value):.1f} points in 30 days")
    kappa = cohen_kappa([[count["right_right"], count["right_wrong"]], [count["wrong_right"], count["wrong_wrong"]]])
    if count["grades"] >= FEWEST_KAPPA_GRADES and kappa < LOW_KAPPA:
        texts.append(f"grades agree with the rules little beyond chance (kappa {kappa:.2f})")
    settled = count["settled"] / count["calls"]
    if settled < 0.9:
        texts.append(f"left out facts that decide in {100 * (1 - settled):.0f} % of calls")
    return "; ".join(texts) if texts else "nothing stands out"


def misgrade_rows(misgrades: Sequence[Row], suspected: Mapping[str, Suspicion]) -> list[dict[str, object]]:
    """Return the rows of `scores.evaluator_misgrade`, naming of several codes the suspected one."""
    rows = []
    for row in misgrades:
        codes = [code for code in (row["other_codes"] or "").split(";") if code]
        doubt = suspected.get(row["evaluator_id"])
        best = doubt.code if doubt and doubt.code in codes else (codes[0] if codes else None)
        rows.append(
            {
                **{key: row[key] for key in ("evaluator_id", "call_id", "topic", "rule_ids", "evaluator_grade")},
                "our_verdict": row["our_verdict"],
                "because": row["because"],
                "other_code": best,
            }
        )
    return rows


def group_numbers(model: AreaModel) -> list[int | None]:
    """Return the linked group of each umpire, from 1, the largest first; None without a graded call."""
    groups: Codes | None = model.fit.group_of.get("umpire")
    seen = model.calls > 0
    if groups is None or not seen.any():
        return [None] * len(model.umpires)
    sizes = Counter(groups[seen].tolist())
    number = {group: i for i, group in enumerate(sorted(sizes, key=lambda key: (-sizes[key], key)), 1)}
    return [number[int(group)] if was_seen else None for group, was_seen in zip(groups, seen, strict=True)]
