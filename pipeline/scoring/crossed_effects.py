"""Logistic models with any number of crossed and nested random effects, by Laplace maximum likelihood.

The model and its likelihood are those of lme4's `glmer(cbind(successes, trials - successes) ~ 1 + (1|a) +
(1|b) + ..., family = binomial, nAGQ = 1)`; the way there is block elimination with an exact gradient (see
`laplace.py`). An ordered response has the likelihood of ordinal's `clmm`. For a plain table with named
columns see `fit_table.py`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from pipeline.scoring.connection import linked_groups
from pipeline.scoring.design import Codes, Design, Floats, Layout, build_design
from pipeline.scoring.diagnostics import FitRecord, Outcome
from pipeline.scoring.laplace import LaplaceModel, Mode
from pipeline.scoring.parameters import Packing, Point, mode_at, prior_terms
from pipeline.scoring.response import Ordered
from pipeline.scoring.search import GAIN_TOLERANCE, Maximum, maximise
from pipeline.scoring.threads import one_blas_thread

START_SD = 0.5
LOWEST_SD = 1e-3
HIGHEST_SD = 12.0
HIGHEST_COEFFICIENT = 30.0
# Below this SD (logit) the model without the effect is tried; it is taken if it loses less than this
# log-likelihood. No need to look further where the effect's mere removal costs more than CLEAR_LOSS.
SUSPECT_SD = 0.15
SINGULAR_LOSS = 1e-5
RAISED_SDS = (0.05, 0.1, 0.2)
CLEAR_LOSS = 5.0
FEWEST_TRIALS = 10
_LEAST_RELIABILITY, _LONGEST_START = 0.5, 1.0
LARGEST_BORDER = 10_000
PRIOR_SD = 1.5
"""Scale of the half-normal prior of each SD in the posterior (logit units): an SD above 3 is all but ruled
out."""


@dataclass(frozen=True)
class CrossedFit:
    """A fitted model. Effects are on the logit scale.

    Attributes
    ----------
    intercept, intercept_se
        First coefficient of the fixed part, and its standard error with the SDs taken as known.
    fixed, own
        All coefficients of the fixed part, and the response's own parameters (see `response.py`).
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
    fixed: Floats
    own: Floats
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
    return fit_model(LaplaceModel(design), groups=groups, n_groups=n_groups)


def fit_model(
    model: LaplaceModel,
    *,
    fixed_names: Sequence[str] = ("intercept",),
    groups: Mapping[str, Codes] | None = None,
    n_groups: int = 1,
    confounded: str | None = None,
    tolerance: float = GAIN_TOLERANCE,
) -> CrossedFit:
    """Fit a model that is laid out; see `fit_crossed_effects` for what comes back.

    Parameters
    ----------
    fixed_names
        Names of the columns of the fixed part. All columns but the intercept should have a mean near 0 and a
        spread near 1.
    confounded
        Why parts of the model cannot be told apart, if the caller found that: nothing is fitted then.
    tolerance
        See `maximise`.
    """
    found = dict(groups or {})
    trouble = _unfit(model) or ((Outcome.CONFOUNDED, confounded) if confounded else None)
    if trouble is not None:
        return _no_fit(model, *trouble, found, n_groups)
    with one_blas_thread():
        return _fit(model, tuple(fixed_names), found, n_groups, tolerance)


def _unfit(model: LaplaceModel) -> tuple[Outcome, str] | None:
    """Return why no fit is possible, if so."""
    design = model.design
    total, most = float(design.trials.sum()), max(design.present.values())
    if total < FEWEST_TRIALS or most < 2:
        seen = f"{total:.0f} observations on {most} level" + ("s" if most > 1 else "")
        return Outcome.TOO_FEW, f"{seen} are too few to tell effects apart"
    ordered = isinstance(model.response, Ordered)
    alike = not ordered and float(design.successes.sum()) in (0.0, total)
    if alike or (ordered and model.response.size < 1):
        return (
            Outcome.NO_VARIATION,
            f"all {total:.0f} observations have the same result, so no spread can be estimated",
        )
    return too_large(design)


def too_large(design: Layout) -> tuple[Outcome, str] | None:
    """Return that a full matrix of the border would be too large, if so."""
    if design.border_size <= LARGEST_BORDER:
        return None
    eliminated = design.block + (f" and {design.child}" if design.child else "")
    return (
        Outcome.TOO_LARGE,
        f"beside {eliminated} there are {design.border_size:,} levels ({', '.join(design.border)}); a full matrix of "
        f"them is needed, and {LARGEST_BORDER:,} levels are the most",
    )


def _start(model: LaplaceModel, names: Sequence[str]) -> Point:
    design = model.design
    fixed, own = np.zeros(design.fixed.shape[1]), np.zeros(0)
    if isinstance(model.response, Ordered):
        own = model.response.start()
    else:
        mean = design.successes.sum() / design.trials.sum()
        fixed[0] = np.log(mean / (1 - mean))
    return Point(fixed, own, dict.fromkeys(names, START_SD))


def _closer(model: LaplaceModel, packing: Packing, start: Point) -> Point:
    """Return a better start: one step of each SD by what the levels' effects at their mode say of it.

    An SD's square goes to the mean square of its effects and their variances (the EM step), further the less
    reliably the levels are known, as that step is then short. On the logarithm of an SD the likelihood is far from a
    parabola: a search that sets out a long way off goes to and fro.
    """
    mode = mode_at(model, packing, packing.vector(start))
    diagonal = model.variances(mode).diagonal
    sd = dict(start.sd)
    for name in packing.free:
        square = float(np.mean(mode.v[name] ** 2 + diagonal[name]))
        reliability = float(np.mean(1 - diagonal[name]))
        step = 0.5 * np.log(max(square, 1e-6)) / max(reliability, _LEAST_RELIABILITY) ** 2
        sd[name] = start.sd[name] * float(np.exp(np.clip(step, -_LONGEST_START, _LONGEST_START)))
    return Point(start.fixed, start.own, sd)


def _fit(
    model: LaplaceModel, fixed_names: tuple[str, ...], groups: dict[str, Codes], n_groups: int, tolerance: float
) -> CrossedFit:
    design = model.design
    names = [name for name in design.names if design.present[name] > 1]
    packing = Packing.of(model, names)
    start = _closer(model, packing, _start(model, names))
    best = search_mode(model, packing, start, tolerance=tolerance)
    steps, evaluations = best.steps, best.evaluations + 1
    # A likelihood that is highest at SD 0 is approached without end on the log scale: look at 0 itself.
    for name in sorted(names, key=lambda key: best.at[packing.first_sd + names.index(key)]):
        point = packing.point(best.at)
        if point.sd[name] > SUSPECT_SD:
            break
        removed = model.mode(point.fixed, {**point.sd, name: 0.0}, point.own).log_likelihood
        if best.value - removed > CLEAR_LOSS:
            continue
        smaller = Packing.of(model, [other for other in packing.free if other != name])
        fallen = search_mode(model, smaller, point, tolerance=tolerance)
        steps, evaluations = steps + fallen.steps, evaluations + fallen.evaluations
        if fallen.value > best.value - SINGULAR_LOSS:
            best, packing = fallen, smaller
    # The other way round: on the log scale the likelihood is flat near SD 0, and a long step may have got lost there.
    while (raised := _raised(model, packing, best, names)) is not None:
        larger, point = raised
        climbed = search_mode(model, larger, point, tolerance=tolerance)
        steps, evaluations = steps + climbed.steps, evaluations + climbed.evaluations
        if climbed.value <= best.value + SINGULAR_LOSS:
            break
        best, packing = climbed, larger
    mode = mode_at(model, packing, best.at)
    variances = model.variances(mode)
    rough = model.rough_information(mode)
    sd = mode.sd
    outcome, message = _describe(best, packing, design, fixed_names, rough.fixed)
    if n_groups > 1:
        message += f"; the data fall into {n_groups} groups with no link between them"
    record = FitRecord(
        outcome=outcome,
        message=message,
        start=_named(model, start, fixed_names),
        end=_named(model, packing.point(best.at), fixed_names),
        iterations=steps,
        evaluations=evaluations,
        return_code=best.code,
        gradient_norm=float(np.linalg.norm(best.gradient)),
        linked_groups=n_groups,
    )
    has_intercept = mode.fixed.size > 0 and not isinstance(model.response, Ordered)
    return CrossedFit(
        record=record,
        intercept=mode.intercept if has_intercept else float("nan"),
        intercept_se=float(1 / np.sqrt(rough.fixed[0])) if has_intercept and rough.fixed[0] > 0 else float("nan"),
        fixed=mode.fixed,
        own=mode.own,
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


def _raised(model: LaplaceModel, packing: Packing, best: Maximum, names: Sequence[str]) -> tuple[Packing, Point] | None:
    """Return a point from which to climb on, if the likelihood grows when an SD that fell to 0 is raised again."""
    point = packing.point(best.at)
    for name in names:
        if name in packing.free:
            continue
        for sd in RAISED_SDS:
            tried = replace(point, sd={**point.sd, name: sd})
            if model.mode(tried.fixed, tried.sd, tried.own).log_likelihood > best.value + SINGULAR_LOSS:
                return Packing.of(model, [one for one in names if one in packing.free or one == name]), tried
    return None


def _named(model: LaplaceModel, point: Point, fixed_names: tuple[str, ...]) -> dict[str, float]:
    named = dict(zip(fixed_names, point.fixed.tolist(), strict=True))
    if isinstance(model.response, Ordered):
        cuts = model.response.thresholds(point.own).tolist()
        named |= {f"threshold {k}": cut for k, cut in enumerate(cuts, 1)}
    return named | dict(point.sd)


def search_mode(
    model: LaplaceModel,
    packing: Packing,
    start: Point,
    prior_sd: float | None = None,
    tolerance: float = GAIN_TOLERANCE,
) -> Maximum:
    """Maximise the log-likelihood over the parameters that `packing` names; other SDs are 0.

    With `prior_sd` a half-normal prior of that scale is laid on each SD and the mode of the posterior of the
    *logarithms* is sought: it never lies at zero (Chung, Rabe-Hesketh, Dorie, Gelman & Liu 2013,
    Psychometrika 78, show that this kind of penalty costs little where the SD is well determined).
    """
    last: list[Mode] = []
    logs = slice(packing.first_sd, None)

    def function(vector: Floats) -> tuple[float, Floats]:
        mode = mode_at(model, packing, vector)
        last[:] = [mode]
        value, gradient = mode.log_likelihood, packing.flat(model.gradient(mode))
        if prior_sd is not None:
            density, slope = prior_terms(vector[logs], prior_sd)
            value += density
            gradient[logs] += slope
        return value, gradient

    def information() -> Floats:
        rough = packing.flat(model.rough_information(last[0]))
        # One half keeps a factor of which little is known from making wild first moves.
        rough[logs] += 0.5
        return rough

    highs = np.full(packing.size, HIGHEST_COEFFICIENT)
    lows = -highs
    highs[logs], lows[logs] = np.log(HIGHEST_SD), np.log(LOWEST_SD)
    return maximise(function, packing.vector(start), information, lows, highs, tolerance)


def _describe(
    best: Maximum, packing: Packing, design: Design, fixed_names: tuple[str, ...], fixed_information: Floats
) -> tuple[Outcome, str]:
    sd = packing.point(best.at).sd
    single = [name for name in design.names if design.present[name] < 2]
    zero = [name for name in design.names if name not in packing.free and name not in single]
    wild = [name for name in packing.free if sd[name] >= 0.999 * HIGHEST_SD]
    # A coefficient known to no better than 30 logits runs away: the likelihood is flat where it stands.
    wild += [
        name
        for name, at, known in zip(fixed_names, best.at, fixed_information, strict=False)
        if abs(at) >= 0.99 * HIGHEST_COEFFICIENT or known < HIGHEST_COEFFICIENT**-2
    ]
    if wild:
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


def _no_fit(model: LaplaceModel, outcome: Outcome, message: str, groups: dict[str, Codes], n_groups: int) -> CrossedFit:
    design = model.design
    nothing = {name: np.zeros(design.sizes[name]) for name in design.names}
    return CrossedFit(
        record=FitRecord(outcome=outcome, message=message, linked_groups=n_groups),
        intercept=float("nan"),
        intercept_se=float("nan"),
        fixed=np.full(design.fixed.shape[1], np.nan),
        own=np.full(model.response.size, np.nan),
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
