"""Any table fitted: what is taken, what is refused and in which words, and how a fit can end."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
import pytest

from pipeline.errors import InputError
from pipeline.scoring.diagnostics import Outcome
from pipeline.scoring.fit_table import fit_table
from pipeline.scoring.table_input import PlainTable, coded, ordered_levels, read_counts


def season(rows: int = 400, seed: int = 1) -> dict[str, list[Any]]:
    rng = np.random.default_rng(seed)
    umpire, evaluator = rng.integers(0, 10, rows), rng.integers(0, 5, rows)
    eta = 0.5 + rng.normal(0, 1, 10)[umpire] + rng.normal(0, 0.7, 5)[evaluator]
    right = rng.random(rows) < 1 / (1 + np.exp(-eta))
    return {
        "right": right.astype(int).tolist(),
        "umpire": [f"U{u}" for u in umpire],
        "evaluator": [f"E{e}" for e in evaluator],
    }


def test_lists_a_data_frame_and_counted_rows_give_one_fit() -> None:
    table = season()
    plain = fit_table(table, "right", ["umpire", "evaluator"])
    frame = pd.DataFrame(table)
    assert fit_table({name: frame[name] for name in frame}, "right", ["umpire", "evaluator"]).sd == plain.sd
    cells = frame.groupby(["umpire", "evaluator"])["right"].agg(["sum", "count"]).reset_index()
    counted = fit_table({name: cells[name] for name in cells}, "sum", ["umpire", "evaluator"], trials="count")
    assert counted.sd == pytest.approx(plain.sd, abs=1e-6)
    assert counted.fixed["intercept"] == pytest.approx(plain.fixed["intercept"], abs=1e-6)
    # The likelihood of counts holds the number of orders in which the successes could have come.
    from math import comb, log

    orders = sum(log(comb(n, y)) for y, n in zip(cells["sum"], cells["count"], strict=True))
    assert counted.log_likelihood == pytest.approx(plain.log_likelihood + orders, abs=1e-6)


def test_order_and_names_of_rows_and_levels_do_not_matter() -> None:
    table = season()
    one = fit_table(table, "right", ["umpire", "evaluator"])
    order = np.random.default_rng(3).permutation(len(table["right"]))
    moved = {
        name: [f"x{values[i]}" if name == "umpire" else values[i] for i in order] for name, values in table.items()
    }
    two = fit_table(moved, "right", ["evaluator", "umpire"])
    assert two.sd == pytest.approx(one.sd, abs=1e-7)
    assert two.effects["umpire"].names == [f"x{name}" for name in one.effects["umpire"].names]
    assert two.effects["umpire"].mode == pytest.approx(one.effects["umpire"].mode, abs=1e-6)


def test_standard_errors_grow_by_what_is_not_known_of_the_parameters() -> None:
    fit = fit_table(season(), "right", ["umpire", "evaluator"])
    for levels in fit.effects.values():
        assert (levels.se_all > levels.se).all()
        assert (levels.se_all < 2 * levels.se + 1).all()
    assert fit.fixed_se["intercept"] > fit.intercept_se_sd_known
    low, high = fit.sd_interval["umpire"]
    assert low < fit.sd["umpire"] < high


def test_four_effects_nested_and_crossed_with_names_used_again_under_each_umpire() -> None:
    rng = np.random.default_rng(5)
    rows = 1500
    umpire = rng.integers(0, 12, rows)
    table = {
        "right": (rng.random(rows) < 0.7).astype(int).tolist(),
        "region": [f"R{u % 3}" for u in umpire],
        "umpire": [f"U{u}" for u in umpire],
        "game": [f"G{g}" for g in rng.integers(1, 4, rows)],
        "evaluator": [f"E{e}" for e in rng.integers(0, 6, rows)],
    }
    fit = fit_table(table, "right", ["region", "umpire", "umpire:game", "evaluator"])
    assert len(fit.effects["umpire:game"].names) == 36
    assert ("umpire:game", "umpire") in fit.nested
    assert ("umpire", "region") in fit.nested
    assert fit.unlinked == []
    assert fit.converged


@pytest.mark.parametrize(
    ("values", "success", "failure"),
    [
        ([0, 1, 1], "1", "0"),
        ([True, False], "1", "0"),
        (["right", "wrong"], "right", "wrong"),
        (["N", "Y"], "Y", "N"),
        (["No", "Yes"], "Yes", "No"),
        (["good", "bad"], "good", "bad"),
        ([1.0, 0.0], "1", "0"),
        (["0", "0"], "", "0"),
        (["1", "1"], "1", ""),
    ],
)
def test_the_success_of_two_values_is_the_usual_one_else_the_later(
    values: list[Any], success: str, failure: str
) -> None:
    found = read_counts(PlainTable.of({"y": values}), "y", None, None)
    assert found.success == success
    if failure:
        assert found.failure == failure
    assert found.successes.tolist() == [
        float(str(value) == success or (value == 1 and success == "1")) for value in values
    ]


def test_another_success_turns_every_sign() -> None:
    table = season()
    one = fit_table(table, "right", ["umpire"])
    other = fit_table(table, "right", ["umpire"], success="0")
    assert other.fixed["intercept"] == pytest.approx(-one.fixed["intercept"], abs=1e-6)


def test_levels_stand_in_order_of_number_where_all_are_numbers() -> None:
    assert ordered_levels(["10", "9", "1"]) == ["1", "9", "10"]
    assert ordered_levels(["b", "10", "a"]) == ["10", "a", "b"]
    assert ordered_levels(["nan", "2"]) == ["2", "nan"]
    codes, levels = coded(pd.Series(["b", "a", "b"]))
    assert (codes.tolist(), levels) == ([1, 0, 1], ["a", "b"])


def two_groups() -> dict[str, list[Any]]:
    table = season(600)
    # Even umpires only by evaluators 0 and 1, odd ones only by the others.
    number = [int(name[1:]) for name in table["umpire"]]
    seen = [int(name[1:]) for name in table["evaluator"]]
    table["evaluator"] = [f"E{e % 2}" if u % 2 == 0 else f"E{2 + e % 3}" for u, e in zip(number, seen, strict=True)]
    return table


def test_groups_that_share_no_row_are_named_with_their_levels() -> None:
    fit = fit_table(two_groups(), "right", ["umpire", "evaluator"])
    assert fit.converged
    assert not fit.is_clean
    (found,) = fit.unlinked
    assert (found.factors, found.groups) == (("umpire", "evaluator"), 2)
    assert found.group_of[1].tolist() == [0, 0, 1, 1, 1]
    # A situation that everybody meets does not link them: the strong group and the lenient one stay mixed up.
    table = two_groups() | {"situation": [f"S{i % 4}" for i in range(600)]}
    assert [one.factors for one in fit_table(table, "right", ["umpire", "evaluator", "situation"]).unlinked] == [
        ("umpire", "evaluator")
    ]


def wide(**more: Any) -> dict[str, Any]:
    return {**season(), **more}


@pytest.mark.parametrize(
    ("table", "effects", "options", "outcome", "words"),
    [
        (wide(right=[1] * 400), ["umpire"], {}, Outcome.NO_VARIATION, "all 400 observations have the same result"),
        (wide(right=[2.5] * 400), ["umpire"], {"family": "gaussian"}, Outcome.NO_VARIATION, "are the same"),
        (wide(right=["a"] * 400), ["umpire"], {"family": "ordered"}, Outcome.NO_VARIATION, "the same result"),
        (wide(umpire=["A"] * 400), ["umpire"], {}, Outcome.TOO_FEW, "on 1 level are too few"),
        (wide(umpire=["A"] * 400), ["umpire"], {"family": "gaussian"}, Outcome.TOO_FEW, "no effect has two levels"),
        (wide(umpire=["A"] * 400), ["umpire", "evaluator"], {}, Outcome.CONVERGED, "only one level of umpire"),
        (
            wide(twin=[f"x{name}" for name in season()["umpire"]]),
            ["umpire", "twin"],
            {},
            Outcome.CONFOUNDED,
            "umpire and twin divide the rows in the same way",
        ),
        (wide(row=list(range(400))), ["umpire", "row"], {}, Outcome.CONFOUNDED, "every row has its own level of row"),
        (
            wide(x=list(range(400)), y=[2 * i for i in range(400)]),
            ["umpire"],
            {"covariates": ["x", "y"]},
            Outcome.CONFOUNDED,
            "a covariate repeats others",
        ),
        (
            wide(right=[int(name in ("U1", "U4", "U7", "U9")) for name in season()["umpire"]]),
            ["umpire"],
            {},
            Outcome.SEPARATED,
            "umpire separates right from wrong",
        ),
        (
            wide(x=[float(i % 2) + (i % 7) / 100 for i in range(400)], right=[i % 2 for i in range(400)]),
            ["umpire"],
            {"covariates": ["x"]},
            Outcome.SEPARATED,
            "x separates right from wrong",
        ),
        (
            wide(
                right=[
                    float(u[1:]) + 10 * int(e[1:])
                    for u, e in zip(season()["umpire"], season()["evaluator"], strict=True)
                ]
            ),
            ["umpire", "evaluator"],
            {"family": "gaussian"},
            Outcome.SEPARATED,
            "no residual is left",
        ),
        (wide(right=[i % 2 for i in range(400)]), ["umpire"], {}, Outcome.SINGULAR, "no spread found"),
    ],
)
def test_every_end_of_a_fit_has_its_name(
    table: dict[str, Any], effects: list[str], options: dict[str, Any], outcome: Outcome, words: str
) -> None:
    fit = fit_table(table, "right", effects, **options)
    assert fit.record.outcome is outcome
    assert words in fit.record.message
    assert bool(outcome.remedy) == (outcome is not Outcome.CONVERGED)
    if not fit.converged:
        assert np.isnan(fit.log_likelihood)
        assert all(np.isnan(levels.mode).all() for levels in fit.effects.values())


def test_two_crossed_effects_of_very_many_levels_are_named_too_large() -> None:
    size = 12_000
    left = [i for i in range(size) for _ in range(2)]
    right = [(i * 7919) % size for i in range(2 * size)]
    table = {"y": [i % 3 % 2 for i in range(2 * size)], "a": left, "b": right}
    fit = fit_table(table, "y", ["a", "b"])
    assert fit.record.outcome is Outcome.TOO_LARGE
    assert "12,000 levels" in fit.record.message


@pytest.mark.parametrize(
    ("table", "options", "words"),
    [
        ({"right": [1, 0], "umpire": ["A", ""]}, {}, "1 of 2 cells are blank (line 3)"),
        ({"right": [1, None], "umpire": ["A", "B"]}, {}, "column right: 1 of 2 cells are blank"),
        ({"right": [1, "NA"], "umpire": ["A", "B"]}, {}, "cells are blank"),
        ({"right": [1, 0], "umpires": ["A", "B"]}, {}, "did you mean 'umpires'"),
        ({"right": [1, 2, 3], "umpire": ["A", "B", "C"]}, {}, "has 3 different values"),
        ({"right": [1, 0], "umpire": ["A", "B"]}, {"success": "2"}, "no row has the value '2'"),
        ({"right": [1, "x"], "umpire": ["A", "B"]}, {"family": "gaussian"}, "'x' is not a number (line 3)"),
        ({"right": [0.5, 1], "n": [2, 2], "umpire": ["A", "B"]}, {"trials": "n"}, "0.5 is not a whole number"),
        ({"right": [3, 1], "n": [2, 2], "umpire": ["A", "B"]}, {"trials": "n"}, "3 is above the trials in 'n'"),
        ({"right": [1, 0], "umpire": ["A", "B"]}, {"family": "poisson"}, "there is no family 'poisson'"),
        ({"right": list(range(60)), "umpire": ["A", "B"] * 30}, {"family": "ordered"}, "60 different values"),
        ({"right": [], "umpire": []}, {}, "there is no row to fit"),
        ({"right": [1], "umpire": ["A", "B"]}, {}, "differ in length"),
    ],
)
def test_what_cannot_be_read_is_refused_with_its_place(
    table: dict[str, list[Any]], options: dict[str, Any], words: str
) -> None:
    with pytest.raises(InputError) as caught:
        fit_table(table, "right", ["umpire"], **options)
    assert words in str(caught.value)


def test_rows_with_a_blank_are_left_out_when_asked_and_counted() -> None:
    table = season()
    table["umpire"][3] = ""
    table["right"][7] = None
    fit = fit_table(table, "right", ["umpire", "evaluator"], drop_blank=True)
    assert (fit.rows, fit.rows_dropped) == (398, 2)


def test_rows_without_trials_say_nothing_and_are_counted() -> None:
    table = {"y": [3, 0, 2, 4] * 5, "n": [5, 0, 5, 5] * 5, "umpire": ["A", "B", "C", "D"] * 5}
    fit = fit_table(table, "y", ["umpire"], trials="n")
    assert (fit.rows, fit.rows_dropped, fit.observations) == (15, 5, 75)
    assert fit.effects["umpire"].names == ["A", "C", "D"]
