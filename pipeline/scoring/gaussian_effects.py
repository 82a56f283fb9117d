"""Linear mixed models with any number of crossed and nested random effects, by (restricted) maximum likelihood.

The model is lme4's `lmer(y ~ fixed + (1|a) + (1|b) + ...)`. With relative SDs theta = SD / residual SD the
coefficients and the residual SD are solved for, so that the search runs over the thetas only (Bates,
Maechler, Bolker & Walker 2015, J. Stat. Softw. 67(1), section 3). The matrix is that of `elimination.py`,
with the number of rows of a cell as its weight; the gradient is exact.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from pipeline.scoring.crossed_effects import CLEAR_LOSS, SINGULAR_LOSS, SUSPECT_SD, too_large
from pipeline.scoring.design import Design, Floats
from pipeline.scoring.diagnostics import FitRecord, Outcome
from pipeline.scoring.elimination import ByFactor, Curvature, factor, totals
from pipeline.scoring.search import FINE, Maximum, maximise
from pipeline.scoring.threads import one_blas_thread
from pipeline.scoring.variances import inverse_parts

if TYPE_CHECKING:
    from collections.abc import Sequence

START_THETA = 1.0
LOWEST_THETA = 1e-4
HIGHEST_THETA = 1e4


@dataclass(frozen=True)
class _Solved:
    """What is known at one set of relative SDs."""

    theta: dict[str, float]
    curvature: Curvature
    residual_square: float
    fixed: Floats
    fixed_precision: Floats
    u: ByFactor
    by_column: list[ByFactor]
    log_det: float


@dataclass(frozen=True)
class GaussianFit:
    """A fitted linear mixed model, in units of the response.

    Attributes
    ----------
    fixed, fixed_covariance
        Coefficients, and their covariance with the SDs taken as known.
    sd, residual_sd
        Standard deviations; 0 where the likelihood is highest without the effect.
    log_sd_covariance
        Of the logarithms of the SDs that are above zero, in the order of `free` with the residual last.
    log_likelihood
        Restricted unless fitted by maximum likelihood; minus half of what lme4 prints as REML criterion.
    effects, effect_sds
        Mode of every level, and its SD given the coefficients and SDs.
    effect_slopes
        Derivative of the modes by each coefficient, shape (coefficients, levels).
    """

    record: FitRecord
    fixed: Floats
    fixed_covariance: Floats
    sd: dict[str, float]
    residual_sd: float
    free: tuple[str, ...]
    log_sd_covariance: Floats
    log_likelihood: float
    effects: dict[str, Floats]
    effect_sds: dict[str, Floats]
    effect_slopes: dict[str, Floats]


class GaussianModel:
    """Evaluates the profiled log-likelihood of one design.

    Parameters
    ----------
    design
        With `successes` the sum and `trials` the number of the measurements of a cell.
    within
        Sum of squares of the measurements about the means of their cells.
    restricted
        REML rather than maximum likelihood.
    """

    def __init__(self, design: Design, within: float, *, restricted: bool = True) -> None:
        self.design = design
        self.within = within
        self.restricted = restricted
        self.rows = float(design.trials.sum())
        self.mean = design.successes / design.trials
        self.freedom = self.rows - (design.fixed.shape[1] if restricted else 0)

    def solve(self, theta: dict[str, float]) -> _Solved:
        """Return coefficients, effects and residual sum of squares at relative SDs `theta`."""
        d = self.design
        curvature = factor(d, d.trials, theta)
        columns = [*d.fixed.T, self.mean]
        loads = [totals(d, d.trials * column, theta) for column in columns]
        solved = [curvature.solve({name: part.copy() for name, part in load.items()}) for load in loads]

        def product(i: int, j: int) -> float:
            plain = float((d.trials * columns[i]) @ columns[j])
            return plain - sum(float(loads[i][name] @ solved[j][name]) for name in d.names)

        p = d.fixed.shape[1]
        precision = np.array([[product(i, j) for j in range(p)] for i in range(p)]).reshape(p, p)
        fixed = np.linalg.solve(precision, np.array([product(i, p) for i in range(p)]))
        u = {
            name: solved[p][name] - sum((fixed[i] * solved[i][name] for i in range(p)), np.zeros(d.sizes[name]))
            for name in d.names
        }
        # Sum of squares of the residuals and of u: no difference of large numbers, as y'V^-1 y would be.
        eta = d.fixed @ fixed
        for name in d.names:
            eta = eta + (theta[name] * u[name])[d.codes[name]]
        square = self.within + float(d.trials @ (self.mean - eta) ** 2) + sum(float(x @ x) for x in u.values())
        log_det = curvature.log_det + (float(np.linalg.slogdet(precision)[1]) if self.restricted else 0.0)
        return _Solved(theta, curvature, square, fixed, precision, u, solved[:p], log_det)

    def log_likelihood(self, at: _Solved) -> float:
        """Return the log-likelihood, the residual SD at its best."""
        return float(-0.5 * (at.log_det + self.freedom * (1 + np.log(2 * np.pi * at.residual_square / self.freedom))))

    def slopes(self, at: _Solved, variance: float | None = None) -> dict[str, float]:
        """Return the derivatives by the log thetas, at a residual variance (its best one unless given)."""
        diagonal = inverse_parts(at.curvature).diagonal
        variance = variance if variance is not None else at.residual_square / self.freedom
        inverse = np.linalg.inv(at.fixed_precision)
        found = {}
        for name in self.design.names:
            slope = -float(np.sum(1 - diagonal[name])) + float(at.u[name] @ at.u[name]) / variance
            if self.restricted and at.by_column:
                load = np.stack([column[name] for column in at.by_column])
                slope += float(np.sum(inverse * (load @ load.T)))
            found[name] = slope
        return found


def fit_gaussian(
    model: GaussianModel, fixed_names: Sequence[str] = ("intercept",), *, confounded: str | None = None
) -> GaussianFit:
    """Fit a linear mixed model; a fit that is not possible comes back with its named outcome and no numbers.

    `confounded` says why parts of the model cannot be told apart, if the caller found that.
    """
    design = model.design
    names = [name for name in design.names if design.present[name] > 1]
    total = float(design.trials @ (model.mean - model.mean.mean()) ** 2) + model.within
    if not names:
        return _no_fit(model, Outcome.TOO_FEW, "no effect has two levels")
    if model.freedom <= len(names):
        return _no_fit(
            model, Outcome.TOO_FEW, f"{model.rows:.0f} rows are too few for this fixed part and these effects"
        )
    if total == 0:
        return _no_fit(model, Outcome.NO_VARIATION, f"all {model.rows:.0f} measurements are the same")
    trouble = too_large(design) or ((Outcome.CONFOUNDED, confounded) if confounded else None)
    if trouble is not None:
        return _no_fit(model, *trouble)
    with one_blas_thread():
        return _fit(model, names, tuple(fixed_names), total)


def _search(model: GaussianModel, free: tuple[str, ...], start: dict[str, float]) -> Maximum:
    last: list[_Solved] = []

    def thetas(point: Floats) -> dict[str, float]:
        return {**dict.fromkeys(model.design.names, 0.0), **dict(zip(free, np.exp(point).tolist(), strict=True))}

    def function(point: Floats) -> tuple[float, Floats]:
        at = model.solve(thetas(point))
        last[:] = [at]
        slopes = model.slopes(at)
        return model.log_likelihood(at), np.array([slopes[name] for name in free])

    def information() -> Floats:
        diagonal = inverse_parts(last[0].curvature).diagonal
        return np.array([0.5 + 2 * float(np.sum((1 - diagonal[name]) ** 2)) for name in free])

    low, high = (np.full(len(free), np.log(bound)) for bound in (LOWEST_THETA, HIGHEST_THETA))
    return maximise(function, np.log([start[name] for name in free]), information, low, high, FINE)


def _fit(model: GaussianModel, names: list[str], fixed_names: tuple[str, ...], total: float) -> GaussianFit:
    design = model.design
    start = dict.fromkeys(names, START_THETA)
    free: tuple[str, ...] = tuple(names)
    best = _search(model, free, start)
    steps, evaluations = best.steps, best.evaluations
    theta = dict.fromkeys(design.names, 0.0) | dict(zip(free, np.exp(best.at).tolist(), strict=True))
    for name in sorted(names, key=theta.__getitem__):
        if theta[name] > SUSPECT_SD:
            break
        rest = tuple(other for other in free if other != name)
        removed = model.log_likelihood(model.solve({**theta, name: 0.0}))
        if best.value - removed > CLEAR_LOSS:
            continue
        fallen = _search(model, rest, theta) if rest else Maximum(np.zeros(0), removed, np.zeros(0), 0, 1, 0)
        steps, evaluations = steps + fallen.steps, evaluations + fallen.evaluations
        if fallen.value > best.value - SINGULAR_LOSS:
            best, free = fallen, rest
            theta = dict.fromkeys(design.names, 0.0) | dict(zip(free, np.exp(best.at).tolist(), strict=True))
    at = model.solve(theta)
    variance = at.residual_square / model.freedom
    if at.residual_square < 1e-10 * total or any(theta[name] >= 0.999 * HIGHEST_THETA for name in free):
        return _no_fit(model, Outcome.SEPARATED, "the effects give every measurement exactly: no residual is left")
    zero = [name for name in names if name not in free]
    notes = [f"no spread found between levels of {name}" for name in zero]
    notes += [f"only one level of {name}, left out" for name in design.names if design.present[name] < 2]
    outcome, message = Outcome.SINGULAR if zero else Outcome.CONVERGED, "; ".join(["fitted", *notes])
    if best.code != 0 and best.gradient.size and float(np.abs(best.gradient).max()) > 1e-2:
        outcome = Outcome.NOT_CONVERGED
        message = f"the search stopped after {best.steps} steps without reaching a maximum"
    sigma = float(np.sqrt(variance))
    diagonal = inverse_parts(at.curvature).diagonal
    end = dict(zip(fixed_names, at.fixed.tolist(), strict=True))
    end |= {name: theta[name] * sigma for name in design.names} | {"residual": sigma}
    return GaussianFit(
        record=FitRecord(
            outcome=outcome,
            message=message,
            start={f"{name} relative to residual": value for name, value in start.items()},
            end=end,
            iterations=steps,
            evaluations=evaluations,
            return_code=best.code,
            gradient_norm=float(np.linalg.norm(best.gradient)),
        ),
        fixed=at.fixed,
        fixed_covariance=np.asarray(variance * np.linalg.inv(at.fixed_precision), dtype=np.float64),
        sd={name: theta[name] * sigma for name in design.names},
        residual_sd=sigma,
        free=free,
        log_sd_covariance=_log_sd_covariance(model, at, free, variance),
        log_likelihood=model.log_likelihood(at),
        effects={name: theta[name] * at.u[name] for name in design.names},
        effect_sds={name: theta[name] * sigma * np.sqrt(diagonal[name]) for name in design.names},
        effect_slopes={
            name: -theta[name] * np.stack([column[name] for column in at.by_column]) for name in design.names
        },
    )


def _log_sd_covariance(model: GaussianModel, at: _Solved, free: tuple[str, ...], variance: float) -> Floats:
    """Return the covariance of the log SDs (effects of `free`, then residual) from the likelihood's curvature."""
    k, step = len(free), 1e-3
    curved = np.zeros((k + 1, k + 1))
    for i, name in enumerate(free):
        ends = []
        for sign in (1, -1):
            moved = {**at.theta, name: at.theta[name] * float(np.exp(sign * step))}
            slopes = model.slopes(model.solve(moved), variance)
            ends.append(np.array([slopes[other] for other in free]))
        curved[i, :k] = (ends[1] - ends[0]) / (2 * step)
        curved[i, k] = curved[k, i] = 2 * float(at.u[name] @ at.u[name]) / variance
    curved[:k, :k] = (curved[:k, :k] + curved[:k, :k].T) / 2
    curved[k, k] = 2 * model.freedom
    # Parameters are log theta and log residual SD; an SD is their sum.
    turn = np.eye(k + 1)
    turn[:k, k] = 1
    try:
        covariance: Floats = turn @ np.linalg.inv(curved) @ turn.T
    except np.linalg.LinAlgError:
        covariance = np.full((k + 1, k + 1), np.nan)
    return covariance


def _no_fit(model: GaussianModel, outcome: Outcome, message: str) -> GaussianFit:
    design = model.design
    p = design.fixed.shape[1]
    return GaussianFit(
        record=FitRecord(outcome=outcome, message=message),
        fixed=np.full(p, np.nan),
        fixed_covariance=np.full((p, p), np.nan),
        sd={name: float("nan") for name in design.names},
        residual_sd=float("nan"),
        free=(),
        log_sd_covariance=np.zeros((0, 0)),
        log_likelihood=float("nan"),
        effects={name: np.zeros(design.sizes[name]) for name in design.names},
        effect_sds={name: np.full(design.sizes[name], np.nan) for name in design.names},
        effect_slopes={name: np.full((p, design.sizes[name]), np.nan) for name in design.names},
    )
