"""Which models are drawn around one point of the SDs, and that this gives what many points give."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from scipy.special import expit

from pipeline.scoring.crossed_effects import fit_crossed_effects
from pipeline.scoring.posterior_linear import draw_around_mode
from pipeline.scoring.posterior_points import LARGE_POINTS, MOST_POINTS, draw_over_points, points_for


def fitted(umpires, evaluators, situations, calls, seed=1):
    rng = np.random.default_rng(seed)
    codes = {
        name: rng.integers(0, size, calls)
        for name, size in (("umpire", umpires), ("evaluator", evaluators), ("situation", situations))
    }
    sds = {"umpire": 0.5, "evaluator": 0.4, "situation": 0.9}
    eta = 1.6 + sum(rng.normal(0, sds[name], code.max() + 1)[code] for name, code in codes.items())
    return fit_crossed_effects((rng.random(calls) < expit(eta)).astype(float), np.ones(calls), codes)


def test_with_fifty_levels_a_factor_one_point_gives_the_intervals_of_many():
    fit = fitted(200, 60, 60, 20_000)
    line = draw_around_mode(fit, 3000, np.random.default_rng(2))
    many = draw_over_points(fit, 3000, 24, np.random.default_rng(3))
    # 3,000 draws give an SD to 1.3 % each; over 200 umpires and 60 evaluators that averages out to well under 1 %, save
    # for the part that all levels share.
    for name in ("umpire", "evaluator"):
        ratio = line.effects[name].std(axis=0) / many.effects[name].std(axis=0)
        assert ratio.mean() == pytest.approx(1, abs=0.03)
        assert line.sd[name].std() == pytest.approx(many.sd[name].std(), rel=0.2)
    level = [
        d.intercept[:, None] + d.effects["umpire"] + d.effects["situation"].mean(axis=1)[:, None] for d in (line, many)
    ]
    assert (level[0].std(axis=0) / level[1].std(axis=0)).mean() == pytest.approx(1, abs=0.03)
    np.testing.assert_allclose(level[0].mean(axis=0), level[1].mean(axis=0), atol=0.15 * level[1].std(axis=0).mean())


def test_a_large_model_has_points_if_a_factor_has_few_levels():
    fit = fitted(60, 8, 60, 3_000)
    assert points_for(fit) == MOST_POINTS
    assert points_for(dataclasses.replace(fit, cells=1_000_000)) == LARGE_POINTS
    wide = fitted(60, 60, 60, 3_000)
    assert points_for(dataclasses.replace(wide, cells=1_000_000)) == 0
