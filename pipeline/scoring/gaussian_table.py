"""A table with a measured response, fitted as a linear mixed model."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from pipeline.scoring.design import Design, Floats, build_design, sums
from pipeline.scoring.gaussian_effects import GaussianFit, GaussianModel, fit_gaussian
from pipeline.scoring.table_model import Prepared, confounded, scaled
from pipeline.scoring.table_result import Levels, TableFit, sd_intervals

RESIDUAL = "residual"


def fit_measured(prepared: Prepared, response: str, *, restricted: bool) -> TableFit:
    """Return the linear mixed model of a table; see `fit_table`."""
    y = prepared.table.numbers(response)
    centre = float(y.mean())
    columns, mean, sd = scaled(prepared.fixed)
    fixed = np.column_stack([np.ones(y.size), columns])
    design = build_design(y - centre, np.ones(y.size), prepared.codes, prepared.blocks, fixed=fixed, counts=False)
    names = ["intercept", *prepared.fixed_names]
    model = GaussianModel(design, _within(design, prepared, y - centre, fixed), restricted=restricted)
    fit = fit_gaussian(model, names, confounded=confounded(prepared, response_has_luck=False))
    turn = np.eye(len(names))
    turn[1:, 1:] = np.diag(1 / sd)
    turn[0, 1:] = -mean / sd
    coefficients = turn @ fit.fixed
    coefficients[0] += centre
    ses = np.sqrt(np.diagonal(turn @ fit.fixed_covariance @ turn.T))
    all_sd = {**fit.sd, RESIDUAL: fit.residual_sd}
    return TableFit(
        family="gaussian",
        method="restricted maximum likelihood" if restricted else "maximum likelihood",
        record=fit.record,
        fixed=dict(zip(names, coefficients.tolist(), strict=True)),
        fixed_se=dict(zip(names, ses.tolist(), strict=True)),
        intercept_se_sd_known=float(ses[0]),
        sd=all_sd,
        sd_interval=_gaussian_intervals(fit, all_sd),
        # The restricted likelihood is that of the covariates as given, not of those of SD 1.
        log_likelihood=fit.log_likelihood - (float(np.log(sd).sum()) if restricted else 0.0),
        effects=_gaussian_levels(prepared, fit),
        rows=int(y.size),
        rows_dropped=prepared.dropped,
        observations=int(y.size),
        cells=int(design.trials.size),
        nested=prepared.nested,
        unlinked=prepared.unlinked,
    )


def _within(design: Design, prepared: Prepared, y: Floats, fixed: Floats) -> float:
    """Return the sum of squares of the rows about the means of their cells."""
    if design.trials.size == y.size:
        return 0.0
    _, cell = np.unique(
        np.column_stack([*(prepared.codes[name] for name in design.names), fixed]), axis=0, return_inverse=True
    )
    cell = cell.ravel()
    size = int(cell.max()) + 1
    centre = sums(cell, y, size) / sums(cell, np.ones_like(y), size)
    return float(np.sum((y - centre[cell]) ** 2))


def _gaussian_intervals(fit: GaussianFit, sd: Mapping[str, float]) -> dict[str, tuple[float, float]]:
    if not fit.record.outcome.has_estimates:
        return {}
    with np.errstate(invalid="ignore"):
        ses = np.sqrt(np.diagonal(fit.log_sd_covariance))
    return sd_intervals(sd, [*fit.free, RESIDUAL], ses)


def _gaussian_levels(prepared: Prepared, fit: GaussianFit) -> dict[str, Levels]:
    usable = fit.record.outcome.has_estimates
    found = {}
    for name, mode in fit.effects.items():
        se = fit.effect_sds[name]
        gap = np.full_like(se, np.nan)
        moved = fit.effect_slopes[name]
        se_all = np.sqrt(se**2 + np.einsum("il,ij,jl->l", moved, fit.fixed_covariance, moved))
        found[name] = Levels(prepared.levels[name], *((mode, se, se_all) if usable else (gap, gap, gap)))
    return found
