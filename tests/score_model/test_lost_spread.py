"""A spread that a long step had lost near zero is found again."""

from __future__ import annotations

import pytest

from pipeline.scoring.area_models import fit_area
from pipeline.scoring.validity.designs import DESIGNS, SIZES
from pipeline.scoring.validity.simulate import AREA, simulate


def test_a_small_spread_between_evaluators_is_not_taken_for_none() -> None:
    # Simulated season 8 of few looks. Expected values: lme4 1.1-31, glmer nAGQ = 1, optimizer bobyqa, on the same
    # cells; without evaluators the log-likelihood is -275.5665.
    design = next(one for one in DESIGNS if one.key == "few_looks")
    season = simulate(design, SIZES[0], 8)
    fit = fit_area(AREA, season.cells(AREA), season.umpires, 10, 1).fit
    assert fit.log_likelihood == pytest.approx(-275.54697, abs=1e-3)
    assert fit.sd == pytest.approx({"umpire": 0.36669, "evaluator": 0.08848, "situation": 0.50934, "game": 0.0}, abs=1e-3)
