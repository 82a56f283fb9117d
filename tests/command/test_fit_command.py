"""The command fit, as a statistician would start it."""

from __future__ import annotations

import csv
import json
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

Command = Callable[..., subprocess.CompletedProcess[str]]


def command(*words: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "pipeline", "fit", *words], capture_output=True, text=True, check=False
    )


@pytest.fixture
def table(tmp_path: Path) -> Path:
    rng = np.random.default_rng(1)
    umpire, evaluator = rng.integers(0, 8, 300), rng.integers(0, 4, 300)
    trials = rng.integers(1, 6, 300)
    right = rng.binomial(
        trials, 1 / (1 + np.exp(-(0.5 + rng.normal(0, 1, 8)[umpire] + rng.normal(0, 1, 4)[evaluator])))
    )
    path = tmp_path / "season.csv"
    with path.open("w", newline="") as stream:
        writer = csv.writer(stream, delimiter=";")
        writer.writerow(["umpire", "evaluator", "right", "calls", "note"])
        writer.writerows(
            (f"Müller; {u}", f"E{e}", y, n, "") for u, e, y, n in zip(umpire, evaluator, right, trials, strict=True)
        )
    return path


def test_it_writes_effects_and_a_summary_of_the_agreed_form(table: Path, tmp_path: Path) -> None:
    out = tmp_path / "out"
    shown = command(
        str(table), "--response", "right", "--trials", "calls", "--effects", "umpire,evaluator", "--out", str(out)
    )
    assert shown.returncode == 0, shown.stderr
    summary = json.loads((out / "summary.json").read_text(encoding="utf-8"))
    assert summary["converged"] is True
    assert summary["outcome"] == "converged"
    assert set(summary["sd"]) == {"umpire", "evaluator"}
    for name in ("intercept", "intercept_se", "log_likelihood"):
        assert isinstance(summary[name], float)
    record = summary["fit_record"]
    assert record["return_code"] == 0
    assert record["gradient_norm"] < 1e-3
    assert record["end"]["umpire"] == summary["sd"]["umpire"]
    with (out / "effects.csv").open(encoding="utf-8", newline="") as stream:
        rows = list(csv.DictReader(stream))
    assert list(rows[0]) == ["effect", "level", "mode", "se", "se_all"]
    assert [row["effect"] for row in rows] == ["umpire"] * 8 + ["evaluator"] * 4
    assert rows[0]["level"] == "Müller; 0"
    assert 0 < float(rows[0]["se"]) < float(rows[0]["se_all"])


def test_the_same_table_gives_the_same_bytes(table: Path, tmp_path: Path) -> None:
    made = []
    for name in ("one", "two"):
        words = ("--response", "right", "--trials", "calls", "--effects", "umpire,evaluator", "--quiet")
        assert command(str(table), *words, "--out", str(tmp_path / name)).returncode == 0
        made.append([(tmp_path / name / file).read_bytes() for file in ("effects.csv", "summary.json")])
    assert made[0] == made[1]


def test_a_fit_without_estimates_is_a_finding_with_its_remedy(called: Command, table: Path, tmp_path: Path) -> None:
    rows = table.read_text(encoding="utf-8").splitlines()
    same = tmp_path / "same.csv"
    same.write_text("\n".join([rows[0], *(";".join([*row.split(";")[:-3], "1", "1", ""]) for row in rows[1:])]))
    shown = called(
        "fit",
        str(same),
        "--response",
        "right",
        "--trials",
        "calls",
        "--effects",
        "evaluator",
        "--out",
        str(tmp_path / "o"),
    )
    assert shown.returncode == 1
    assert "have the same result" in shown.stderr
    assert "To do: check that the right column was named" in shown.stderr
    summary = json.loads((tmp_path / "o" / "summary.json").read_text())
    assert (summary["converged"], summary["outcome"]) == (False, "no_variation")
    assert summary["intercept"] is None
    assert summary["log_likelihood"] is None


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (None, "there is no such file"),
        ("", "the file is empty"),
        ("right,umpire\n", "there is no row to fit"),
        ("right,right,umpire\n1,1,A\n", "the heading 'right' stands twice"),
        ("right,umpire\n1,A\n0,B,C\n", "line 3: the row has 3 cells, the header 2"),
        ('right,umpire\n1,"A\n', "line 2: the row cannot be read"),
        ("right,umpires\n1,A\n", "did you mean 'umpires'"),
        ("right,umpire\n1,A\n,B\n", "line 3, column right: 1 of 2 cells are blank"),
    ],
)
def test_a_table_that_cannot_be_read_is_wrong_usage_with_its_place(
    called: Command, content: str | None, words: str, tmp_path: Path
) -> None:
    path = tmp_path / "table.csv"
    if content is not None:
        path.write_text(content)
    shown = called("fit", str(path), "--response", "right", "--effects", "umpire", "--out", str(tmp_path / "o"))
    assert shown.returncode == 2
    assert words in shown.stderr
    assert "To do:" in shown.stderr
    assert "Traceback" not in shown.stderr
    assert not (tmp_path / "o").exists()


def test_unlinked_groups_are_told_and_listed(called: Command, tmp_path: Path) -> None:
    rng = np.random.default_rng(2)
    path = tmp_path / "two.csv"
    lines = ["right,umpire,evaluator"]
    for i in range(400):
        umpire = i % 10
        lines.append(f"{int(rng.random() < 0.4 + 0.04 * umpire)},U{umpire},E{umpire % 2 * 2 + i // 10 % 2}")
    path.write_text("\n".join(lines))
    shown = called(
        "fit", str(path), "--response", "right", "--effects", "umpire,evaluator", "--out", str(tmp_path / "o")
    )
    assert shown.returncode == 1
    assert "umpire and evaluator fall into 2 groups that share no row" in shown.stderr
    (found,) = json.loads((tmp_path / "o" / "summary.json").read_text())["unlinked"]
    assert found["groups"] == 2
    assert found["first_groups"][0]["umpire"]["first"] == ["U0", "U2", "U4", "U6", "U8"]
    assert "gather rows in which" in found["remedy"]


def test_ordered_and_measured_responses(called: Command, tmp_path: Path) -> None:
    rng = np.random.default_rng(4)
    umpire, evaluator = rng.integers(0, 8, 400), rng.integers(0, 5, 400)
    score = 3 + rng.normal(0, 0.6, 8)[umpire] + rng.normal(0, 0.4, 5)[evaluator] + rng.normal(0, 0.8, 400)
    path = tmp_path / "ratings.csv"
    rows = [
        f"{value:.3f},{min(5, max(1, round(value)))},U{u},E{e},{i % 3}"
        for i, (value, u, e) in enumerate(zip(score, umpire, evaluator, strict=True))
    ]
    path.write_text("\n".join(["score,grade,umpire,evaluator,inning", *rows]))
    words = (str(path), "--effects", "umpire,evaluator", "--covariates", "inning", "--quiet")
    assert (
        called("fit", *words, "--response", "grade", "--family", "ordered", "--out", str(tmp_path / "a")).returncode
        == 0
    )
    ordered = json.loads((tmp_path / "a" / "summary.json").read_text())
    assert ordered["categories"] == ["1", "2", "3", "4", "5"]
    cuts = [cut["estimate"] for cut in ordered["thresholds"]]
    assert cuts == sorted(cuts)
    assert ordered["intercept"] is None
    assert (
        called("fit", *words, "--response", "score", "--family", "gaussian", "--out", str(tmp_path / "b")).returncode
        == 0
    )
    measured = json.loads((tmp_path / "b" / "summary.json").read_text())
    assert list(measured["sd"]) == ["umpire", "evaluator", "residual"]
    assert measured["sd"]["residual"] == pytest.approx(0.8, abs=0.08)
    assert set(measured["fixed"]) == {"intercept", "inning"}
