"""The Laplace log-likelihood of a crossed-effects model, and its exact gradient.

Effects are written as ``sd * v`` with ``v`` standard normal (so that an SD of zero is an ordinary point):

    eta = fixed part + sum over factors of sd_f * v_f[level],   response ~ binomial or ordered, given eta

At the mode of ``v`` the integral over ``v`` is replaced by that of the normal curve with the same height and
curvature: ``log L = log p(y | v) - v'v / 2 - log det(H) / 2`` with ``H = I + sd Z'WZ sd``. That is the
definition that lme4's `glmer` uses with `nAGQ = 1`. H is factored by `elimination.factor`.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike

from pipeline.scoring.design import Design, Floats
from pipeline.scoring.elimination import ByFactor, Curvature, factor, spread, totals
from pipeline.scoring.response import Binomial, Response
from pipeline.scoring.variances import Variances, inverse_parts

_MAX_INNER_STEPS = 60
_INNER_TOLERANCE = 1e-12
NOTHING: Floats = np.zeros(0)


@dataclass
class Mode:
    """The mode of the effects for one set of parameters, with what hangs on it.

    Attributes
    ----------
    fixed, own, sd
        The parameters: coefficients of the fixed part, parameters of the response, SDs of the factors.
    v
        Mode of the standardised effects.
    residual, weight, third
        By cell, the first, negative second and negative third derivative of the log-likelihood.
    """

    fixed: Floats
    own: Floats
    sd: dict[str, float]
    v: ByFactor
    eta: Floats
    residual: Floats
    weight: Floats
    third: Floats
    curvature: Curvature
    log_likelihood: float
    inner_steps: int
    variances: Variances | None = field(default=None)

    @property
    def intercept(self) -> float:
        """First coefficient of the fixed part."""
        return float(self.fixed[0])


@dataclass(frozen=True)
class Gradient:
    """Derivatives of the log-likelihood by the fixed part, the response's own parameters and the log SDs."""

    fixed: Floats
    own: Floats
    log_sd: dict[str, float]


class LaplaceModel:
    """Evaluates the log-likelihood of one design; remembers the last mode as the next starting point.

    Attributes
    ----------
    effects
        Where the next search for the mode starts: by factor, the effects themselves (``sd * v``).
    """

    def __init__(self, design: Design, response: Response | None = None) -> None:
        self.design = design
        self.response = response if response is not None else Binomial(design)
        self.effects: ByFactor = {name: np.zeros(design.sizes[name]) for name in design.names}

    def mode(self, fixed: ArrayLike, sd: dict[str, float], own: Floats = NOTHING) -> Mode:
        """Find the mode of the effects by Newton's method with halved steps.

        Parameters
        ----------
        fixed
            Coefficients of the fixed part; a number when that is an intercept only.
        """
        d = self.design
        beta = np.atleast_1d(np.asarray(fixed, dtype=np.float64))
        v = {name: self.effects[name] / sd[name] if sd[name] > 0 else 0 * self.effects[name] for name in d.names}
        # One column is the intercept: no need for a product with ones.
        base = beta[0] if beta.size == 1 and (d.fixed == 1).all() else d.fixed @ beta
        eta = base + spread(d, v, sd)
        at = self.response.slopes(eta, own)
        value = at.value - _half_square(v)
        for step_number in range(1, _MAX_INNER_STEPS + 1):
            curvature = factor(d, at.weight, sd)
            score = {name: total - v[name] for name, total in totals(d, at.residual, sd).items()}
            step = curvature.solve(score)
            decrement = sum(float(score[name] @ step[name]) for name in d.names)
            if decrement < _INNER_TOLERANCE * (1 + abs(value) * 1e-4) or step_number == _MAX_INNER_STEPS:
                break
            change = spread(d, step, sd)
            length = 1.0
            for _ in range(30):
                trial = {name: v[name] + length * step[name] for name in d.names}
                moved = eta + length * change
                at = self.response.slopes(moved, own)
                trial_value = at.value - _half_square(trial)
                if trial_value > value - 1e-9 * (1 + abs(value)):
                    break
                length /= 2
            v, eta, value = trial, moved, trial_value
        self.effects = {name: sd[name] * v[name] if sd[name] > 0 else self.effects[name] for name in d.names}
        return Mode(
            fixed=beta,
            own=own,
            sd=dict(sd),
            v=v,
            eta=eta,
            residual=at.residual,
            weight=at.weight,
            third=self.response.third(eta, own),
            curvature=curvature,
            log_likelihood=value + d.constant - 0.5 * curvature.log_det,
            inner_steps=step_number,
        )

    def variances(self, mode: Mode) -> Variances:
        """Return the needed parts of H^-1, computed block by block."""
        if mode.variances is None:
            mode.variances = inverse_parts(mode.curvature)
        return mode.variances

    def gradient(self, mode: Mode) -> Gradient:
        """Return the derivatives of the log-likelihood.

        The mode moves with the parameters and H changes with the mode: that is the third-derivative term,
        `pull`.
        """
        d = self.design
        parts = self.variances(mode)
        pull = 0.5 * mode.third * parts.eta
        adjoint = mode.curvature.solve(totals(d, pull, mode.sd))
        carried = spread(d, adjoint, mode.sd)
        driver = mode.residual - pull + mode.weight * carried
        driven = totals(d, driver, mode.sd)
        score = totals(d, mode.residual, mode.sd)
        slopes = {
            name: float(mode.v[name] @ driven[name] - np.sum(1 - parts.diagonal[name]) - adjoint[name] @ score[name])
            for name in d.names
        }
        own = [
            float(one.value.sum() - 0.5 * (one.weight @ parts.eta) - carried @ one.residual)
            for one in self.response.own_slopes(mode.eta, mode.own)
        ]
        return Gradient(d.fixed.T @ driver, np.array(own), slopes)

    def mean_shift(self, mode: Mode) -> ByFactor:
        """Return by how much the mean of `v` given the parameters lies off its mode, to first order in the skewness.

        The posterior of an effect leans to the side on which less is known: away from the bulk of a rate near 1.
        ``H^-1 Z'sd (d3 log p / d eta3 * var(eta)) / 2``; Rue, Martino & Chopin 2009 (J. R. Stat. Soc. B 71, section
        3.2.3) correct their means likewise. Checked against a long NUTS run.
        """
        pull = -0.5 * mode.third * self.variances(mode).eta
        return mode.curvature.solve(totals(self.design, pull, mode.sd))

    def rough_information(self, mode: Mode) -> Gradient:
        """Return approximate information (negative second derivatives), to scale the outer search.

        For the logarithm of an SD of which n levels are known exactly it is 2n; a level known with
        reliability R counts R squared. Of the fixed part it is the diagonal only.
        """
        d = self.design
        parts = self.variances(mode)

        def left(column: Floats, weight: Floats) -> float:
            load = totals(d, weight * column, mode.sd)
            explained = mode.curvature.solve(load)
            return float((weight * column) @ column) - sum(float(load[name] @ explained[name]) for name in d.names)

        fixed = [left(column, mode.weight) for column in d.fixed.T]
        own = [float(np.abs(one.residual).sum()) for one in self.response.own_slopes(mode.eta, mode.own)]
        return Gradient(
            np.array(fixed),
            np.array(own),
            {name: float(2 * np.sum((1 - parts.diagonal[name]) ** 2)) for name in d.names},
        )

    def mode_slopes(self, mode: Mode, name: str | int) -> ByFactor:
        """Return the derivative of the mode `v` by the log SD of a factor, or by a coefficient of the fixed part."""
        d = self.design
        if isinstance(name, int):
            load = totals(d, mode.weight * d.fixed[:, name], mode.sd)
            return mode.curvature.solve({key: -value for key, value in load.items()})
        moved = (mode.sd[name] * mode.v[name])[d.codes[name]]
        right = {key: -value for key, value in totals(d, mode.weight * moved, mode.sd).items()}
        right[name] = right[name] + totals(d, mode.residual, mode.sd)[name]
        return mode.curvature.solve(right)

    def own_mode_slopes(self, mode: Mode) -> list[ByFactor]:
        """Return the derivative of the mode `v` by each parameter of the response."""
        return [
            mode.curvature.solve(totals(self.design, one.residual, mode.sd))
            for one in self.response.own_slopes(mode.eta, mode.own)
        ]


def _half_square(v: ByFactor) -> float:
    return 0.5 * sum(float(x @ x) for x in v.values())
