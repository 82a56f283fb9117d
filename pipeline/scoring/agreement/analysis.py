"""Everything about scores of subjects by raters: the coefficients, with what could not be had and why."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pipeline.scoring.agreement.alpha import Interval, PairedValues, Scale
from pipeline.scoring.agreement.dependability import Components, variance_components
from pipeline.scoring.agreement.intraclass import Intraclass, intraclass_correlations
from pipeline.scoring.agreement.kappa import cohen_kappa, distance_weights, fleiss_kappa
from pipeline.scoring.connection import linked_groups
from pipeline.scoring.design import Codes, Floats

ICC_NAMES = tuple(f"icc_{form}_{unit}" for unit in ("1", "k") for form in (1, 2, 3))
COVERAGE = 0.95
DRAWS = 1000
SEED = 20260301
_NAN = float("nan")


@dataclass(frozen=True)
class Scores:
    """Scores in long form: each subject and rater at most once.

    Parameters
    ----------
    subject, rater
        Code of each score, from 0.
    code
        Place of each score in `values`.
    values
        The distinct values, ascending; at the nominal level their numbers alone.
    """

    subject: Codes
    rater: Codes
    code: Codes
    values: Floats
    subjects: int
    raters: int

    def table(self) -> Floats:
        """Return subjects by raters, NaN where there is no score."""
        found = np.full((self.subjects, self.raters), np.nan)
        found[self.subject, self.rater] = self.values[self.code]
        return found

    def counts(self) -> Floats:
        """Return subjects by values: how many raters gave each."""
        found = np.zeros((self.subjects, self.values.size))
        np.add.at(found, (self.subject, self.code), 1.0)
        return found


@dataclass(frozen=True)
class AgreementAnalysis:
    """All figures; NaN, or None, where there is none, and then a sentence in `messages`.

    Parameters
    ----------
    kappa_cohen, kappa_linear, kappa_quadratic
        Of two raters, over the subjects that both scored. The weighted ones count distances between places in the
        order of the values (ordinal) or between the values (interval, ratio).
    kappa_fleiss, fleiss_observed, fleiss_expected
        Of all raters; every subject must have as many scores.
    typical_raters
        Scores per subject, as a harmonic mean over subjects.
    """

    scale: Scale
    scores: Scores
    kappa_cohen: float
    kappa_linear: float
    kappa_quadratic: float
    kappa_fleiss: float
    fleiss_observed: float
    fleiss_expected: float
    alpha: float
    alpha_interval: Interval
    paired_units: int
    icc: dict[str, Intraclass]
    components: Components | None
    typical_raters: float
    messages: tuple[str, ...]


def code_scores(
    subjects: Sequence[str], raters: Sequence[str], scores: Sequence[str] | Sequence[float], scale: Scale
) -> Scores:
    """Give numbers to names and values; at the nominal level a score is a name, else a number."""
    subject_names, subject = np.unique(np.array(subjects, dtype=object).astype(str), return_inverse=True)
    rater_names, rater = np.unique(np.array(raters, dtype=object).astype(str), return_inverse=True)
    kind = str if scale is Scale.NOMINAL else float
    values, code = np.unique(np.array([kind(score) for score in scores]), return_inverse=True)
    places = np.arange(values.size, dtype=np.float64) if scale is Scale.NOMINAL else values.astype(np.float64)
    return Scores(
        subject.astype(np.int64),
        rater.astype(np.int64),
        code.astype(np.int64),
        places,
        subject_names.size,
        rater_names.size,
    )


def analyse_agreement(
    scores: Scores, scale: Scale, coverage: float = COVERAGE, draws: int = DRAWS, seed: int = SEED
) -> AgreementAnalysis:
    """Work out every coefficient that the scores and their level of measurement allow."""
    messages: list[str] = []
    paired = PairedValues(scores.subject, scores.code, scores.values, scale)
    alpha = paired.alpha()
    if np.isnan(alpha):
        messages.append(f"alpha: {_no_alpha(scores, paired)}")
    kappas = _two_raters(scores, scale, messages)
    fleiss = _fleiss(scores, messages)
    icc: dict[str, Intraclass] = {}
    components = None
    if scale is Scale.NOMINAL:
        messages.append("icc and variance: names have no distances; give numbers and another level")
    else:
        icc, components = _variance(scores, coverage, messages)
    each = np.bincount(scores.subject, minlength=1)
    return AgreementAnalysis(
        scale,
        scores,
        *kappas,
        *fleiss,
        alpha,
        paired.interval(coverage, draws, seed),
        paired.units,
        icc,
        components,
        float(1 / np.mean(1 / each[each > 0])) if each.any() else _NAN,
        tuple(messages),
    )


def _no_alpha(scores: Scores, paired: PairedValues) -> str:
    if paired.units == 0:
        return "no subject has two scores"
    if np.unique(scores.code[np.isin(scores.subject, np.flatnonzero(np.bincount(scores.subject) > 1))]).size < 2:
        return "all scores that can be compared are the same, so that nothing could be disagreed on"
    return "there are too many different values for the ratio level; use the interval level"


def _two_raters(scores: Scores, scale: Scale, messages: list[str]) -> tuple[float, float, float]:
    if scores.raters != 2:
        messages.append(f"kappa_cohen: it is for two raters, there are {scores.raters}")
        return _NAN, _NAN, _NAN
    pair = np.full((scores.subjects, 2), -1, dtype=np.int64)
    pair[scores.subject, scores.rater] = scores.code
    pair = pair[(pair >= 0).all(axis=1)]
    size = scores.values.size
    table = np.bincount(pair[:, 0] * size + pair[:, 1], minlength=size * size).reshape(size, size)
    plain = cohen_kappa(table)
    if np.isnan(plain):
        messages.append(
            "kappa_cohen: no subject was scored by both raters"
            if not len(pair)
            else "kappa_cohen: both raters gave one and the same score always, so that chance cannot be told apart"
        )
    if scale is Scale.NOMINAL:
        return plain, _NAN, _NAN
    values = np.arange(size) if scale is Scale.ORDINAL else scores.values
    return (
        plain,
        cohen_kappa(table, distance_weights(values, 1)),
        cohen_kappa(table, distance_weights(values, 2)),
    )


def _fleiss(scores: Scores, messages: list[str]) -> tuple[float, float, float]:
    found = fleiss_kappa(scores.counts())
    if np.isnan(found[0]):
        each = np.bincount(scores.subject)
        if np.ptp(each) > 0:
            why = f"it needs as many scores on every subject; here they have {each.min()} to {each.max()} (see alpha)"
        elif each[0] < 2:
            why = "it needs two scores on every subject"
        else:
            why = "all scores are the same"
        messages.append(f"kappa_fleiss: {why}")
    return found


def _variance(
    scores: Scores, coverage: float, messages: list[str]
) -> tuple[dict[str, Intraclass], Components | None]:
    if scores.subjects < 2 or scores.raters < 2:
        messages.append("icc and variance: two subjects and two raters are needed")
        return {}, None
    table = scores.table()
    if np.unique(scores.code).size < 2:
        messages.append("icc and variance: all scores are the same")
        return {}, None
    icc: dict[str, Intraclass] = {}
    if np.isnan(table).any():
        messages.append("icc: not every rater scored every subject; the variance by component is still given")
        subject_group, _ = linked_groups(scores.subject, scores.rater, scores.subjects, scores.raters)
        if subject_group.max() > 0:
            messages.append(
                "variance: the subjects fall into groups that share no rater; raters of different groups are compared "
                "by the assumption alone that they are alike"
            )
        if scores.subject.size <= scores.subjects or scores.subject.size <= scores.raters:
            messages.append("variance: no subject, or no rater, has a second score; components cannot be told apart")
            return icc, None
    else:
        icc = intraclass_correlations(table, coverage)
        if any(np.isnan(found.low) for found in icc.values()):
            messages.append("icc: no interval where nothing is left unexplained")
    components = variance_components(table)
    if not components.converged:
        messages.append("variance: the search did not settle; use the figures with care")
    for name, value in (("subject", components.subject), ("rater", components.rater)):
        if components.converged and value == 0:
            messages.append(f"variance: the component of the {name} is zero: no more spread than the residual explains")
    return icc, components
