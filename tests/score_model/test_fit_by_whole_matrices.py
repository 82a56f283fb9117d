"""Ordered and measured responses against whole matrices and general optimisers that share no line with the product."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import optimize, stats
from scipy.special import expit

from pipeline.scoring.crossed_effects import fit_crossed_effects, fit_model
from pipeline.scoring.design import build_design
from pipeline.scoring.fit_table import fit_table
from pipeline.scoring.gaussian_effects import GaussianModel
from pipeline.scoring.laplace import LaplaceModel
from pipeline.scoring.response import Ordered

SD = {"umpire": 0.6, "game": 0.3, "evaluator": 0.5}


def ratings(seed: int, rows: int = 200, categories: int = 4) -> tuple[np.ndarray, np.ndarray, dict[str, np.ndarray]]:
    """Category and covariate by row, with codes of umpires, their games, and evaluators."""
    rng = np.random.default_rng(seed)
    umpire = rng.integers(0, 6, rows)
    codes = {"umpire": umpire, "game": umpire * 3 + rng.integers(0, 3, rows), "evaluator": rng.integers(0, 4, rows)}
    x = rng.integers(0, 3, rows).astype(float)
    eta = 0.4 * x + sum(rng.normal(0, SD[name], 18)[code] for name, code in codes.items())
    category = np.searchsorted(np.linspace(-1, 1.5, categories - 1), eta + rng.logistic(0, 1, rows))
    category[:categories] = np.arange(categories)
    return category, x, codes


def dense_ordered(
    category: np.ndarray,
    x: np.ndarray,
    codes: dict[str, np.ndarray],
    beta: float,
    cuts: np.ndarray,
    sd: dict[str, float],
) -> float:
    """The definition: mode by a general optimiser, curvature by its formula, whole matrices."""
    z = np.hstack([np.eye(code.max() + 1)[code] * sd[name] for name, code in codes.items()])
    ends = np.concatenate([[-np.inf], cuts, [np.inf]])

    def parts(v: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        eta = beta * x + z @ v
        return expit(ends[category + 1] - eta), expit(ends[category] - eta)

    def minus(v: np.ndarray) -> float:
        above, below = parts(v)
        return float(v @ v / 2 - np.log(above - below).sum())

    def slope(v: np.ndarray) -> np.ndarray:
        above, below = parts(v)
        return v + z.T @ (1 - above - below)

    found = optimize.minimize(minus, np.zeros(z.shape[1]), jac=slope, method="BFGS", options={"gtol": 1e-9})
    above, below = parts(found.x)
    h = np.eye(z.shape[1]) + z.T @ (z * (above * (1 - above) + below * (1 - below))[:, None])
    return -minus(found.x) - np.linalg.slogdet(h)[1] / 2


def ordered_model(category: np.ndarray, x: np.ndarray, codes: dict[str, np.ndarray]) -> LaplaceModel:
    ones = np.ones(category.size)
    design = build_design(ones, ones, codes, {"game": "umpire"}, fixed=x[:, None], category=category, counts=False)
    return LaplaceModel(design, Ordered(design))


def test_the_likelihood_of_ordered_ratings_is_that_of_whole_matrices() -> None:
    category, x, codes = ratings(1)
    model = ordered_model(category, x, codes)
    own = np.array([-0.8, 0.1, -0.3])
    cuts = np.cumsum([-0.8, np.exp(0.1), np.exp(-0.3)])
    got = model.mode([0.7], SD, own).log_likelihood
    assert got == pytest.approx(dense_ordered(category, x, codes, 0.7, cuts, SD), abs=1e-7)


@settings(max_examples=10, deadline=None)
@given(
    seed=st.integers(0, 500),
    point=st.lists(st.floats(-1.0, 0.6), min_size=7, max_size=7),
)
def test_the_gradient_of_ordered_ratings_is_the_slope_of_the_likelihood(seed: int, point: list[float]) -> None:
    category, x, codes = ratings(seed, 120)
    model = ordered_model(category, x, codes)

    def mode(at: np.ndarray):
        return model.mode(at[:1], dict(zip(codes, np.exp(at[4:]), strict=True)), at[1:4])

    here = np.array(point)
    gradient = model.gradient(mode(here))
    numeric = []
    for i in range(7):
        move = np.eye(7)[i] * 2e-3
        near, far = (mode(here + k * move).log_likelihood - mode(here - k * move).log_likelihood for k in (1, 2))
        numeric.append((8 * near - far) / (12 * 2e-3))
    got = [*gradient.fixed, *gradient.own, *(gradient.log_sd[name] for name in codes)]
    assert got == pytest.approx(numeric, abs=3e-3, rel=1e-4)


def test_ordered_ratings_of_two_categories_are_the_binary_model_with_the_threshold_for_intercept() -> None:
    category, _, codes = ratings(3, 300, categories=2)
    binary = fit_crossed_effects(category.astype(float), np.ones(300), codes, {"game": "umpire"})
    ones = np.ones(300)
    design = build_design(
        ones, ones, codes, {"game": "umpire"}, fixed=np.zeros((300, 0)), category=category, counts=False
    )
    ordered = fit_model(LaplaceModel(design, Ordered(design)), fixed_names=())
    assert ordered.log_likelihood == pytest.approx(binary.log_likelihood, abs=1e-6)
    assert -ordered.own[0] == pytest.approx(binary.intercept, abs=1e-4)
    assert ordered.sd == pytest.approx(binary.sd, abs=1e-4)


def measured(seed: int, rows: int = 90) -> tuple[np.ndarray, np.ndarray, dict[str, np.ndarray]]:
    _, x, codes = ratings(seed, rows)
    rng = np.random.default_rng(seed + 1)
    y = 5 + 0.5 * x + sum(rng.normal(0, SD[name], 18)[code] for name, code in codes.items())
    return y + rng.normal(0, 0.8, rows), x, codes


def dense_gaussian(
    y: np.ndarray, x: np.ndarray, codes: dict[str, np.ndarray], sd: dict[str, float], sigma: float, restricted: bool
) -> float:
    """Density of the multivariate normal; restricted: integrated over the coefficients with a flat prior."""
    v = sigma**2 * np.eye(y.size)
    for name, code in codes.items():
        z = np.eye(code.max() + 1)[code]
        v = v + sd[name] ** 2 * z @ z.T
    fixed = np.column_stack([np.ones(y.size), x])
    inverse = np.linalg.inv(v)
    precision = fixed.T @ inverse @ fixed
    beta = np.linalg.solve(precision, fixed.T @ inverse @ y)
    value = stats.multivariate_normal.logpdf(y, fixed @ beta, v)
    if restricted:
        value += np.log(2 * np.pi) - np.linalg.slogdet(precision)[1] / 2
    return float(value)


@pytest.mark.parametrize("restricted", [True, False], ids=["restricted", "full"])
def test_a_measured_response_is_fitted_where_the_dense_likelihood_is_highest(restricted: bool) -> None:
    y, x, codes = measured(8)
    columns = {"y": y.tolist(), "x": x.tolist(), **{name: code.tolist() for name, code in codes.items()}}
    fit = fit_table(columns, "y", list(codes), family="gaussian", covariates=["x"], restricted=restricted)

    def minus(logs: np.ndarray) -> float:
        sd = dict(zip(codes, np.exp(logs[:3]), strict=True))
        return -dense_gaussian(y, x, codes, sd, float(np.exp(logs[3])), restricted)

    here = np.log([max(sd, 1e-3) for sd in fit.sd.values()])
    at_fit = dense_gaussian(y, x, codes, fit.sd, fit.sd["residual"], restricted)
    assert fit.log_likelihood == pytest.approx(at_fit, abs=1e-7)
    # Started from there and from afar, a general optimiser finds nothing better.
    for start in (here, np.log([0.3, 0.3, 0.3, 1.0])):
        best = optimize.minimize(minus, start, method="Nelder-Mead", options={"fatol": 1e-9, "maxiter": 2000})
        assert -best.fun < fit.log_likelihood + 1e-6


def test_the_likelihood_of_measurements_and_its_slope_are_those_of_the_dense_form() -> None:
    y, x, codes = measured(9)
    fixed = np.column_stack([np.ones(y.size), x])
    design = build_design(y, np.ones(y.size), codes, {"game": "umpire"}, fixed=fixed, counts=False)
    cell = np.unique(np.column_stack([*codes.values(), x]), axis=0, return_inverse=True)[1].ravel()
    within = sum(float(((y[cell == k] - y[cell == k].mean()) ** 2).sum()) for k in range(cell.max() + 1))
    assert design.trials.max() > 1
    model = GaussianModel(design, within)
    theta = {"umpire": 0.7, "game": 0.4, "evaluator": 1.2}
    at = model.solve(theta)
    sigma = float(np.sqrt(at.residual_square / model.freedom))
    sd = {name: value * sigma for name, value in theta.items()}
    assert model.log_likelihood(at) == pytest.approx(dense_gaussian(y, x, codes, sd, sigma, True), abs=1e-8)
    for name in theta:
        ends = [
            model.log_likelihood(model.solve({**theta, name: theta[name] * np.exp(step)})) for step in (1e-4, -1e-4)
        ]
        assert model.slopes(at)[name] == pytest.approx((ends[0] - ends[1]) / 2e-4, abs=1e-5)
