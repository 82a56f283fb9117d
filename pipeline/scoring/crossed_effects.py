"""Logistic models with any number of crossed and nested random effects, by Laplace maximum likelihood.

The model and its likelihood are those of lme4's `glmer(cbind(successes, trials - successes) ~ 1 + (1|a) +
(1|b) + ..., family = binomial, nAGQ = 1)`; the way there is block elimination with an exact gradient (see
`laplace.py`).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from pipeline.scoring.connection import linked_groups
from pipeline.scoring.design import Codes, Design, Floats, build_design
from pipeline.scoring.diagnostics import FitRecord, Outcome
from pipeline.scoring.laplace import LaplaceModel, Mode
from pipeline.scoring.search import Maximum, maximise
from pipeline.scoring.threads import one_blas_thread

START_SD = 0.5
LOWEST_SD = 1e-3
HIGHEST_SD = 12.0
# Below this SD (logit) the model without the effect is tried; it is taken if it loses less than this
# log-likelihood.
SUSPECT_SD = 0.15
SINGULAR_LOSS = 1e-5
FEWEST_TRIALS = 10
PRIOR_SD = 1.5
"""Scale of the half-normal prior of each SD in the posterior (logit units): an SD above 3 is all but ruled
out."""


@dataclass(frozen=True)
class CrossedFit:
    """A fitted model. Effects are on the logit scale.

    Attributes
    ----------
    intercept, intercept_se
        Fixed part, and its standard error with the SDs taken as known.
    sd
        Standard deviation of each factor; 0 where the likelihood is highest without it.
    log_likelihood
        Laplace approximation, binomial coefficients of the given rows included.
    effects, effect_sds
        Mode and conditional standard deviation of every level (the SDs and the intercept taken as known).
    group_of
        Linked group of each level of the two factors named in `linked` (empty when not asked for).
    """

    record: FitRecord
    intercept: float
    intercept_se: float
    sd: dict[str, float]
    log_likelihood: float
    effects: dict[str, Floats]
    effect_sds: dict[str, Floats]
    cells: int
    observations: int
    group_of: dict[str, Codes]
    design: Design
    model: LaplaceModel
    mode: Mode | None

    @property
    def has_estimates(self) -> bool:
        """Whether the numbers may be used."""
        return self.record.outcome.has_estimates


def fit_crossed_effects(
    successes: Floats,
    trials: Floats,
    factors: Mapping[str, Codes],
    nested: Mapping[str, str] | None = None,
    linked: tuple[str, str] | None = None,
    levels: Mapping[str, int] | None = None,
) -> CrossedFit:
    """Fit the model by maximum likelihood.

    Parameters
    ----------
    successes, trials, factors, nested
        See `build_design`.
    linked
        Two factors of which the linked groups are found, as ``("umpire", "evaluator")``.
    levels
        Number of levels of a factor that may have more than occur: an absent level has mode 0 and the
        factor's own SD.

    Returns
    -------
    CrossedFit
        Also when no fit was possible: `record.outcome` says so, and the numbers are then NaN or zero. A
        factor with one level only is left out (SD 0) and named in the message: it cannot be told from the
        intercept.
    """
    design = build_design(successes, trials, factors, nested, levels)
    groups: dict[str, Codes] = {}
    n_groups = 1
    if linked is not None:
        one, other = linked
        both = linked_groups(design.codes[one], design.codes[other], design.sizes[one], design.sizes[other])
        groups = dict(zip(linked, both, strict=True))
        n_groups = int(np.unique(groups[one][design.codes[one]]).size)
    model = LaplaceModel(design)
    present = {name: int(np.unique(design.codes[name]).size) for name in design.names}
    total, right = float(design.trials.sum()), float(design.successes.sum())
    if total < FEWEST_TRIALS or max(present.values()) < 2:
        message = f"{total:.0f} observations on {max(present.values())} levels are too few to tell effects apart"
        return _no_fit(design, model, Outcome.TOO_FEW, message, groups, n_groups)
    if right in (0.0, total):
        message = f"all {total:.0f} observations have the same result, so no spread can be estimated"
        return _no_fit(design, model, Outcome.NO_VARIATION, message, groups, n_groups)
    with one_blas_thread():
        return _fit(design, model, [name for name in design.names if present[name] > 1], groups, n_groups)


def _fit(design: Design, model: LaplaceModel, names: list[str], groups: dict[str, Codes], n_groups: int) -> CrossedFit:
    mean = design.successes.sum() / design.trials.sum()
    start = {"intercept": float(np.log(mean / (1 - mean))), **dict.fromkeys(names, START_SD)}
    best = search_mode(model, start, names)
    steps, evaluations = best.steps, best.evaluations
    free = list(names)
    # A likelihood that is highest at SD 0 is approached without end on the log scale: look at 0 itself.
    for name in sorted(names, key=lambda key: best.at[1 + names.index(key)]):
        point = dict(zip(["intercept", *free], [best.at[0], *np.exp(best.at[1:])], strict=True))
        if point[name] > SUSPECT_SD:
            break
        without = [other for other in free if other != name]
        fallen = search_mode(model, {key: point[key] for key in ["intercept", *without]}, without)
        steps, evaluations = steps + fallen.steps, evaluations + fallen.evaluations
        if fallen.value > best.value - SINGULAR_LOSS:
            best, free = fallen, without
    sd = dict.fromkeys(design.names, 0.0)
    sd.update(zip(free, np.exp(best.at[1:]).tolist(), strict=True))
    mode = model.mode(float(best.at[0]), sd)
    variances = model.variances(mode)
    information, _ = model.rough_information(mode)
    outcome, message = _describe(best, sd, free, design)
    if n_groups > 1:
        message += f"; the data fall into {n_groups} groups with no link between them"
    record = FitRecord(
        outcome=outcome,
        message=message,
        start=start,
        end={"intercept": mode.intercept, **sd},
        iterations=steps,
        evaluations=evaluations,
        return_code=best.code,
        gradient_norm=float(np.linalg.norm(best.gradient)),
        linked_groups=n_groups,
    )
    return CrossedFit(
        record=record,
        intercept=mode.intercept,
        intercept_se=float(1 / np.sqrt(information)) if information > 0 else float("nan"),
        sd=sd,
        log_likelihood=mode.log_likelihood,
        effects={name: sd[name] * mode.v[name] for name in design.names},
        effect_sds={name: sd[name] * np.sqrt(variances.diagonal[name]) for name in design.names},
        cells=int(design.trials.size),
        observations=round(float(design.trials.sum())),
        group_of=groups,
        design=design,
        model=model,
        mode=mode,
    )


def search_mode(
    model: LaplaceModel, start: Mapping[str, float], free: list[str], prior_sd: float | None = None
) -> Maximum:
    """Maximise the log-likelihood over the intercept and the log SDs of the factors `free`; others are 0.

    With `prior_sd` a half-normal prior of that scale is laid on each SD and the mode of the posterior of the
    *logarithms* is sought: it never lies at zero (Chung, Rabe-Hesketh, Dorie, Gelman & Liu 2013,
    Psychometrika 78, show that this kind of penalty costs little where the SD is well determined).
    """
    last: list[Mode] = []

    def function(point: Floats) -> tuple[float, Floats]:
        sd = dict.fromkeys(model.design.names, 0.0)
        sd.update(zip(free, np.exp(point[1:]).tolist(), strict=True))
        mode = model.mode(float(point[0]), sd)
        by_intercept, slopes = model.gradient(mode)
        last[:] = [mode]
        value, gradient = mode.log_likelihood, np.array([by_intercept, *(slopes[name] for name in free)])
        if prior_sd is not None:
            relative = np.exp(2 * point[1:]) / prior_sd**2
            value += float(np.sum(point[1:] - relative / 2))
            gradient[1:] += 1 - relative
        return value, gradient

    def information() -> Floats:
        left, by_name = model.rough_information(last[0])
        # One half keeps a factor of which little is known from making wild first moves.
        return np.array([left, *(by_name[name] + 0.5 for name in free)])

    bounds = np.array([30.0, *[np.log(HIGHEST_SD)] * len(free)])
    lows = np.array([-30.0, *[np.log(LOWEST_SD)] * len(free)])
    first = np.array([start["intercept"], *(np.log(start[name]) for name in free)])
    return maximise(function, first, information, lows, bounds)


def _describe(best: Maximum, sd: dict[str, float], free: list[str], design: Design) -> tuple[Outcome, str]:
    single = [name for name in design.names if np.unique(design.codes[name]).size < 2]
    zero = [name for name in design.names if name not in free and name not in single]
    if any(sd[name] >= 0.999 * HIGHEST_SD for name in free) or abs(best.at[0]) >= 29.9:
        wild = [name for name in free if sd[name] >= 0.999 * HIGHEST_SD] or ["intercept"]
        return Outcome.SEPARATED, f"{', '.join(wild)} separates right from wrong: no finite estimate"
    # Code 2 with next to no promised gain is the end of the number range, not a failure.
    if best.code != 0 and float(np.abs(best.gradient).max()) > 1e-2:
        return (
            Outcome.NOT_CONVERGED,
            f"the search stopped after {best.steps} steps without reaching a maximum",
        )
    notes = [f"no spread found between levels of {name}" for name in zero]
    notes += [f"only one level of {name}, left out" for name in single]
    outcome = Outcome.SINGULAR if zero else Outcome.CONVERGED
    return outcome, "; ".join(["fitted", *notes])


def _no_fit(
    design: Design,
    model: LaplaceModel,
    outcome: Outcome,
    message: str,
    groups: dict[str, Codes],
    n_groups: int,
) -> CrossedFit:
    nothing = {name: np.zeros(design.sizes[name]) for name in design.names}
    return CrossedFit(
        record=FitRecord(outcome=outcome, message=message, linked_groups=n_groups),
        intercept=float("nan"),
        intercept_se=float("nan"),
        sd={name: float("nan") for name in design.names},
        log_likelihood=float("nan"),
        effects=nothing,
        effect_sds={name: np.full(design.sizes[name], np.nan) for name in design.names},
        cells=int(design.trials.size),
        observations=round(float(design.trials.sum())),
        group_of=groups,
        design=design,
        model=model,
        mode=None,
    )
