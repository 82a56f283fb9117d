"""From judged seasons to figures: what was covered, who was read wrongly, each with its Monte Carlo error."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np
from scipy.stats import spearmanr

from pipeline.scoring.design import Codes, Floats
from pipeline.scoring.validity.designs import COVERAGES, CUTS
from pipeline.scoring.validity.judge import MORE, NOT_YET, READY, Estimates, Judged
from pipeline.scoring.validity.simulate import AREA

Record = dict[str, float]
"""One season in figures: sums over its umpires, and means."""

Figure = tuple[float, float]
"""A value and its Monte Carlo standard error, by seasons."""

BINS = 10

_MEANS = (
    "covered_50", "covered_90", "width_90", "bias", "error", "rank_correlation", "severity_50", "severity_90",
    "rank_90", "rank_width", "looks_median", "bias_strongest", "bias_weakest",
)  # fmt: skip
# Shares: what is counted, and of what.
_RATIOS = {
    "able": ("able", "umpires"),
    "ready": ("ready", "umpires"),
    "not_yet": ("not_yet", "umpires"),
    "more_looks": ("more_looks", "umpires"),
    "ready_wrong": ("ready_wrong", "ready"),
    "ready_wrong_said": ("ready_wrong_said", "ready"),
    "not_yet_wrong": ("not_yet_wrong", "not_yet"),
    "not_yet_wrong_said": ("not_yet_wrong_said", "not_yet"),
    "able_ready": ("able_ready", "able"),
    "looks_told": ("looks_told", "more_looks"),
    "ready_short": ("ready_short", "ready_wrong"),
    "settled_after": ("settled_after", "followed"),
    "ready_after_wrong": ("ready_after_wrong", "ready_after"),
}


def season_record(judged: Judged, method: str) -> Record:
    """Return the figures of one method on one season."""
    record = estimate_record(judged.by_method[method], judged.truth, judged.able, judged.linked)
    if method != "platework":
        return record
    if judged.severity is not None:
        one = judged.severity
        for coverage in COVERAGES:
            key = f"severity_{100 * coverage:.0f}"
            record[key] = float(np.mean((one.low[coverage] <= one.truth) & (one.truth <= one.high[coverage])))
    ranks = judged.ranks
    record["rank_90"] = float(np.mean((ranks.low <= ranks.truth) & (ranks.truth <= ranks.high)))
    record["rank_width"] = float(np.mean(ranks.high - ranks.low + 1)) / judged.truth.size
    return record


def estimate_record(said: Estimates, truth: Floats, able: Codes, linked: Codes) -> Record:
    """Return the figures that every method has: errors and widths in points, shares as shares."""
    apart = 100 * (said.rate - truth)
    record: Record = {
        "umpires": float(truth.size),
        "able": float(able.sum()),
        "bias": float(apart.mean()),
        "error": float(np.abs(apart).mean()),
        "squared": float(np.mean(apart**2)),
        "rank_correlation": within_groups(said.rate, truth, linked),
    }
    for coverage, low in said.low.items():
        high = said.high[coverage]
        record[f"covered_{100 * coverage:.0f}"] = float(np.mean((low <= truth) & (truth <= high)))
    if COVERAGES[-1] in said.low:
        record["width_90"] = float(100 * np.mean(said.high[COVERAGES[-1]] - said.low[COVERAGES[-1]]))
    verdict = np.array(said.verdict)
    ready, not_yet = verdict == READY, verdict == NOT_YET
    record |= {
        "ready": float(ready.sum()),
        "not_yet": float(not_yet.sum()),
        "more_looks": float((verdict == MORE).sum()),
        "ready_wrong": float((ready & (able == 0)).sum()),
        "not_yet_wrong": float((not_yet & (able == 1)).sum()),
        "able_ready": float((ready & (able == 1)).sum()),
    }
    told = said.looks[said.looks > 0]
    record["looks_told"] = float(told.size)
    if told.size:
        record["looks_median"] = float(np.median(told))
    # How the errors lie: the strongest quarter, the weakest, and by how much those wrongly ready fall short.
    strongest, weakest = truth >= np.quantile(truth, 0.75), truth <= np.quantile(truth, 0.25)
    record |= {"bias_strongest": float(apart[strongest].mean()), "bias_weakest": float(apart[weakest].mean())}
    short = np.maximum(CUTS[AREA] - truth, 0)
    record["ready_short"] = float(100 * short[ready & (able == 0)].sum())
    if said.chance is not None:
        record["ready_wrong_said"] = float((1 - said.chance[ready]).sum())
        record["not_yet_wrong_said"] = float(said.chance[not_yet].sum())
        place = np.minimum((BINS * said.chance).astype(int), BINS - 1)
        for k in np.unique(place):
            inside = place == k
            record[f"bin_{k}"] = float(inside.sum())
            record[f"bin_{k}_said"] = float(said.chance[inside].sum())
            record[f"bin_{k}_able"] = float(able[inside].sum())
    return record


def within_groups(rate: Floats, truth: Floats, linked: Codes) -> float:
    """Return Spearman's correlation with the truth, the mean over linked groups by size: none is ranked across.

    Where all rates are the same nobody is ranked, and the correlation is 0.
    """
    found, weights = [], []
    for group in np.unique(linked):
        inside = linked == group
        if inside.sum() > 2:
            alike = np.ptp(rate[inside]) == 0
            found.append(0.0 if alike else float(spearmanr(rate[inside], truth[inside]).statistic))
            weights.append(int(inside.sum()))
    return float(np.average(found, weights=weights))


def summarise(records: Sequence[Mapping[str, float]]) -> dict[str, Figure]:
    """Return each figure over all seasons with its Monte Carlo standard error.

    A mean is that of the seasons' means. A share is one sum over another, with the standard error of a ratio
    (linearised; seasons are independent, umpires within one are not). `rmse` is the root of the mean square.
    A figure that no season has is left out; the error of one season alone is NaN.
    """
    found: dict[str, Figure] = {}
    for name in _MEANS:
        values = np.array([record[name] for record in records if name in record])
        if values.size:
            found[name] = (float(values.mean()), _error(values))
    squared = np.array([record["squared"] for record in records])
    root = math.sqrt(float(squared.mean()))
    found["rmse"] = (root, _error(squared) / (2 * root))
    for name, (part, whole) in _RATIOS.items():
        if not any(part in record for record in records):
            continue
        figure = ratio([record.get(part, 0.0) for record in records], [record.get(whole, 0.0) for record in records])
        if figure is not None:
            found[name] = figure
    return found


def ratio(parts: Sequence[float], wholes: Sequence[float]) -> Figure | None:
    """Return a share of sums over seasons with its standard error; None of nothing."""
    part, whole = np.array(parts), np.array(wholes)
    if whole.sum() == 0:
        return None
    share = float(part.sum() / whole.sum())
    # Of nothing found nothing is known but that it is rare: the error of half a case is stated instead of none.
    rest = part - share * whole
    error = math.sqrt(part.size / max(part.size - 1, 1) * float(rest @ rest)) / float(whole.sum())
    if part.size < 2:
        return share, float("nan")
    return share, max(error, 0.5 / float(whole.sum())) if share in (0.0, 1.0) else error


def reliability(records: Sequence[Mapping[str, float]]) -> list[dict[str, float]]:
    """Return, by tenth of the stated chance, how many it was stated for, its mean, and the share truly able."""
    rows = []
    for k in range(BINS):
        number = [record.get(f"bin_{k}", 0.0) for record in records]
        said = ratio([record.get(f"bin_{k}_said", 0.0) for record in records], number)
        able = ratio([record.get(f"bin_{k}_able", 0.0) for record in records], number)
        if said is not None and able is not None:
            rows.append({"umpires": sum(number), "said": said[0], "able": able[0], "able_se": able[1]})
    return rows


def _error(values: Floats) -> float:
    return float(values.std(ddof=1) / math.sqrt(values.size)) if values.size > 1 else float("nan")
