"""A table with a binary, binomial or ordered response, fitted by Laplace maximum likelihood."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy import linalg

from pipeline.errors import InputError, Where
from pipeline.scoring import table_input
from pipeline.scoring.crossed_effects import CrossedFit, fit_model
from pipeline.scoring.design import Floats, build_design
from pipeline.scoring.laplace import LaplaceModel
from pipeline.scoring.parameters import Packing, Point, information
from pipeline.scoring.response import Binomial, Ordered
from pipeline.scoring.search import FINE
from pipeline.scoring.table_model import Prepared, confounded, scaled
from pipeline.scoring.table_result import Levels, TableFit, sd_intervals
from pipeline.scoring.threads import one_blas_thread

MOST_CATEGORIES = 50


def fit_binomial(prepared: Prepared, response: str, trials: str | None, success: str | None) -> TableFit:
    """Return the logistic model of a table with counts or with two values; see `fit_table`."""
    counts = table_input.read_counts(prepared.table, response, trials, success)
    columns, mean, sd = scaled(prepared.fixed)
    fixed = np.column_stack([np.ones(columns.shape[0]), columns]) if columns.shape[1] else None
    design = build_design(counts.successes, counts.trials, prepared.codes, prepared.blocks, fixed=fixed)
    names = ["intercept", *prepared.fixed_names]
    # Coefficients of the columns as given from those of the scaled ones.
    turn = np.eye(len(names))
    turn[1:, 1:] = np.diag(1 / sd)
    turn[0, 1:] = -mean / sd
    trouble = confounded(prepared, bool((counts.trials > 1).any()))
    fit = fit_model(LaplaceModel(design, Binomial(design)), fixed_names=names, confounded=trouble, tolerance=FINE)
    return _laplace_result(prepared, fit, names, turn, "binomial", success=counts.success, failure=counts.failure)


def fit_ordered(prepared: Prepared, response: str) -> TableFit:
    """Return the cumulative-logit model of a table with ordered categories; see `fit_table`."""
    category, categories = table_input.coded(prepared.table.column(response))
    if len(categories) > MOST_CATEGORIES:
        raise InputError(
            f"{response!r} has {len(categories)} different values; more than {MOST_CATEGORIES} are no categories",
            where=Where(prepared.table.source, 1, response),
            hint="say --family gaussian for a measurement",
        )
    columns, _, sd = scaled(prepared.fixed)
    ones = np.ones(category.size)
    design = build_design(ones, ones, prepared.codes, prepared.blocks, fixed=columns, category=category, counts=False)
    trouble = confounded(prepared, response_has_luck=False)
    model = LaplaceModel(design, Ordered(design))
    fit = fit_model(model, fixed_names=prepared.fixed_names, confounded=trouble, tolerance=FINE)
    turn = np.diag(1 / sd) if sd.size else np.zeros((0, 0))
    return _laplace_result(prepared, fit, prepared.fixed_names, turn, "ordered", categories=categories)


def _laplace_result(
    prepared: Prepared,
    fit: CrossedFit,
    names: Sequence[str],
    turn: Floats,
    family: str,
    *,
    success: str = "",
    failure: str = "",
    categories: list[str] | None = None,
) -> TableFit:
    model, design = fit.model, fit.design
    packing = Packing.of(model, [name for name in design.names if fit.sd[name] > 0])
    covariance = np.full((packing.size, packing.size), np.nan)
    if fit.has_estimates:
        with one_blas_thread():
            vector = packing.vector(Point(fit.fixed, fit.own, fit.sd))
            covariance = _inverse(information(model, packing, vector, central=True))
    p = packing.n_fixed
    # Where a search came to no end its last point is in the fit record; it is no estimate.
    known_only = 1.0 if fit.has_estimates else float("nan")
    fixed = known_only * (turn @ fit.fixed)
    fixed_se = np.sqrt(np.diagonal(turn @ covariance[:p, :p] @ turn.T))
    thresholds, threshold_ses = np.zeros(0), np.zeros(0)
    if isinstance(model.response, Ordered):
        thresholds, threshold_ses = _thresholds(prepared, fit, model.response, covariance, packing)
    known = known_only * fit.intercept_se if not prepared.fixed_names else float("nan")
    log_ses = np.sqrt(np.diagonal(covariance)[packing.first_sd :])
    return TableFit(
        family=family,
        method="maximum likelihood, Laplace approximation",
        record=fit.record,
        fixed=dict(zip(names, fixed.tolist(), strict=True)),
        fixed_se=dict(zip(names, fixed_se.tolist(), strict=True)),
        intercept_se_sd_known=known,
        sd={name: known_only * value for name, value in fit.sd.items()},
        sd_interval=sd_intervals(fit.sd, packing.free, log_ses) if fit.has_estimates else {},
        log_likelihood=known_only * fit.log_likelihood,
        effects=_laplace_levels(prepared, fit, packing, covariance),
        rows=int(prepared.table.lines.size),
        rows_dropped=prepared.dropped,
        observations=fit.observations,
        cells=fit.cells,
        success=success,
        failure=failure,
        categories=categories or [],
        thresholds=thresholds,
        threshold_ses=threshold_ses,
        nested=prepared.nested,
        unlinked=prepared.unlinked,
    )


def _inverse(matrix: Floats) -> Floats:
    """Return the inverse of an information matrix; NaN where it is not positive definite."""
    try:
        factor = linalg.cho_factor(matrix)
    except (linalg.LinAlgError, ValueError):
        return np.full(matrix.shape, np.nan)
    inverse: Floats = linalg.cho_solve(factor, np.eye(matrix.shape[0]))
    return inverse


def _thresholds(
    prepared: Prepared, fit: CrossedFit, response: Ordered, covariance: Floats, packing: Packing
) -> tuple[Floats, Floats]:
    """Return thresholds and standard errors for covariates as given, not centred."""
    k = response.size
    lead = np.tril(np.ones((k, k)))
    lead[:, 1:] *= np.exp(fit.own[1:]) if fit.own.size else 1.0
    cuts = response.thresholds(fit.own) if fit.has_estimates else np.full(k, np.nan)
    jacobian = np.zeros((k, packing.first_sd))
    jacobian[:, packing.n_fixed :] = lead
    if prepared.fixed_names:
        _, mean, sd = scaled(prepared.fixed)
        cuts = cuts + float((mean / sd) @ fit.fixed)
        jacobian[:, : packing.n_fixed] = mean / sd
    inner = covariance[: packing.first_sd, : packing.first_sd]
    return cuts, np.sqrt(np.diagonal(jacobian @ inner @ jacobian.T))


def _laplace_levels(prepared: Prepared, fit: CrossedFit, packing: Packing, covariance: Floats) -> dict[str, Levels]:
    design = fit.design
    found = {}
    slopes: list[dict[str, Floats]] = []
    if fit.mode is not None and np.isfinite(covariance).all():
        keys: list[str | int] = list(range(packing.n_fixed))
        slopes = [fit.model.mode_slopes(fit.mode, key) for key in keys]
        slopes += fit.model.own_mode_slopes(fit.mode)
        for name in packing.free:
            slope = dict(fit.model.mode_slopes(fit.mode, name))
            slope[name] = slope[name] + fit.mode.v[name]
            slopes.append(slope)
    for name in design.names:
        se = fit.effect_sds[name]
        se_all = np.full_like(se, np.nan)
        if slopes:
            moved = fit.sd[name] * np.stack([slope[name] for slope in slopes])
            se_all = np.sqrt(se**2 + np.einsum("il,ij,jl->l", moved, covariance, moved))
        mode = fit.effects[name] if fit.has_estimates else np.full_like(se, np.nan)
        found[name] = Levels(prepared.levels[name], mode, se if fit.has_estimates else se * np.nan, se_all)
    return found
