"""The commands items and agreement on tables of the caller's own making."""

from __future__ import annotations

import csv
import json
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from pipeline.errors import FaultsError, InputError
from pipeline.table_fits import AgreementColumns, TableOutcome, agreement_file, items_file


def written(folder: Path, text: str) -> Path:
    path = folder / "table.csv"
    path.write_text(text, encoding="utf-8")
    return path


def items_of(folder: Path, text: str, person: str | None = None) -> tuple[TableOutcome, list[dict[str, str]], Any]:
    outcome = items_file(written(folder, text), person, folder / "out")
    with (folder / "out" / "items.csv").open(encoding="utf-8", newline="") as stream:
        rows = list(csv.DictReader(stream))
    return outcome, rows, json.loads((folder / "out" / "summary.json").read_text(encoding="utf-8"))


COLUMNS = AgreementColumns("s", "r", "v")


def agreement_of(folder: Path, text: str, level: str = "interval") -> tuple[TableOutcome, Any]:
    outcome = agreement_file(written(folder, text), COLUMNS, level, folder / "out")
    return outcome, json.loads((folder / "out" / "summary.json").read_text(encoding="utf-8"))


LADDER = "who,a,b,c\n" + "".join(f"p{i},{bits}\n" for i, bits in enumerate(["1,0,0", "0,1,0", "1,1,0", "0,0,1"] * 5))


def test_both_commands_write_what_is_agreed_and_end_with_their_codes(tmp_path: Path) -> None:
    table = written(tmp_path, "who,a,b,c\n" + "".join(f"p{i},{(i * 7) % 3 // 2},{i % 2},{(i // 2) % 2}\n" for i in range(24)))
    shown = subprocess.run(
        [sys.executable, "-m", "pipeline", "items", str(table), "--person", "who", "--out", str(tmp_path / "one")],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    # Answers by chance: a slope of zero is said, and the exit code asks to look.
    assert shown.returncode == 1, shown.stderr
    assert "slope is zero" in shown.stderr
    header = (tmp_path / "one" / "items.csv").read_text(encoding="utf-8").splitlines()[0].split(",")
    assert header[:12] == [
        "item", "p", "point_biserial", "item_rest", "rasch_difficulty", "rasch_se", "cml_difficulty", "cml_se", "infit",
        "outfit", "slope_2pl", "difficulty_2pl",
    ]  # fmt: skip
    summary = json.loads((tmp_path / "one" / "summary.json").read_text(encoding="utf-8"))
    assert {"kr20", "kr21", "rasch_slope", "rasch_log_likelihood", "cml_log_likelihood", "log_likelihood_2pl"} <= set(summary)
    scores = written(tmp_path, "s,r,v\n" + "".join(f"s{i},r{k},{i + k % 2}\n" for i in range(5) for k in range(2)))
    shown = subprocess.run(
        [sys.executable, "-m", "pipeline", "agreement", str(scores), "--subject", "s", "--rater", "r", "--score", "v",
         "--level", "interval", "--out", str(tmp_path / "two")],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert shown.returncode == 0, shown.stderr
    summary = json.loads((tmp_path / "two" / "summary.json").read_text(encoding="utf-8"))
    names = {f"icc_{form}_{unit}" for form in (1, 2, 3) for unit in ("1", "k")}
    assert {"kappa_cohen", "kappa_fleiss", "alpha", "variance", *names} <= set(summary)


def test_blanks_and_na_and_decimal_marks_are_read_and_counted(tmp_path: Path) -> None:
    _, rows, summary = items_of(tmp_path, "who;a;b\nx;1.0;\ny;0;NA\nz; 1 ;1\nw;0.0;0\n", "who")
    assert [(row["item"], row["p"], row["answers"]) for row in rows] == [("a", "0.5", "4"), ("b", "0.5", "2")]
    assert (summary["persons"], summary["blanks"], summary["complete_persons"]) == (4, 2, 2)


def test_items_that_all_had_right_or_wrong_or_left_out_are_named_and_spoil_nothing(tmp_path: Path) -> None:
    rows = [line.split(",") for line in LADDER.splitlines()]
    wider = "\n".join(",".join(row + extra) for row, extra in zip(rows, [["top", "low", "none"]] + [["1", "0", ""]] * 20, strict=True))
    outcome, found, summary = items_of(tmp_path, wider + "\n", "who")
    assert [row["outcome"] for row in found] == ["estimated"] * 3 + ["all_right", "all_wrong", "not_answered"]
    assert found[3]["rasch_difficulty"] == ""
    assert found[3]["p"] == "1.0"
    assert any(message.startswith("item top: everybody") for message in outcome.messages)
    assert not outcome.clean
    _, plain, _ = items_of(tmp_path, LADDER, "who")
    assert [row["cml_difficulty"] for row in found[:3]] == [row["cml_difficulty"] for row in plain]
    assert summary["items_in_models"] == 3


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("a\n1\n0\n1\n", "one item"),
        ("a,b\n1,1\n1,1\n", "nothing to fit"),
        ("a,b\n1,0\n", "nothing to fit"),
        ("a,b\n1,0\n0,1\n", "two-parameter model: slopes cannot be told from fewer than three items"),
    ],
)
def test_tables_with_too_little_in_them_give_a_reason_for_each_blank(tmp_path: Path, text: str, said: str) -> None:
    outcome, _, summary = items_of(tmp_path, text)
    assert any(said in message for message in outcome.messages)
    assert summary["converged"] is False


@pytest.mark.parametrize(
    ("text", "person", "said"),
    [
        ("a,b\n1,0\n1,2\n0,1\n", None, ["line 3, column b", "'2' is neither 0 nor 1"]),
        ("id,a\nx,1\ny,0\nz,1\n", None, ["line 2, column id", "--person 'id'"]),
        ("id,a\nx,1\nx,0\n", "id", ["line 3, column id", "stands on line 2 already"]),
        ("id,a\nx,1\n,0\n", "id", ["line 3, column id", "the person is blank"]),
        ("id,a\nx,1\n", "idd", ["there is no column 'idd' for --person", "did you mean 'id'?"]),
        ("id\nx\n", "id", ["no item beside the person"]),
        ("a,b\n1,0\n1\n", None, ["line 3", "the row has 1 cells, the header 2"]),
        ("a,a\n1,0\n", None, ["the heading 'a' stands twice"]),
        (",a\n1,0\n", None, ["the heading of column 1 is blank"]),
        ("a,b\n", None, ["no row below the header"]),
        ("", None, ["the file is empty"]),
    ],
)
def test_a_table_that_cannot_be_used_is_refused_with_line_column_and_remedy(
    tmp_path: Path, text: str, person: str | None, said: list[str]
) -> None:
    with pytest.raises(InputError) as caught:
        items_file(written(tmp_path, text), person, tmp_path / "out")
    for words in [*said, "To do:"]:
        assert words in str(caught.value)
    assert caught.value.exit_code == 2
    assert not (tmp_path / "out").exists()


def test_a_quoted_heading_over_two_lines_does_not_shift_the_line_numbers(tmp_path: Path) -> None:
    with pytest.raises(FaultsError, match="line 4, column b"):
        items_file(written(tmp_path, '"a\nfirst",b\n1,0\n0,7\n1,1\n0,0\n'), None, tmp_path / "out")


@pytest.mark.parametrize(
    ("text", "level", "said"),
    [
        ("s,r,v\na,x,1\na,x,2\n", "interval", ["line 3, column r", "'x' scored 'a' on line 2 already"]),
        ("s,r,v\na,x,low\n", "ordinal", ["line 2, column v", "'low' is not a number", "--level nominal"]),
        ("s,r,v\na,x,-1\n", "ratio", ["line 2, column v", "below zero"]),
        ("s,r,v\n,x,1\n", "nominal", ["line 2, column s", "the subject is blank"]),
        ("s,r,v\na,x,\n", "nominal", ["no row has a score"]),
        ("s,r,w\na,x,1\n", "nominal", ["there is no column 'v' for --score"]),
    ],
)
def test_scores_that_cannot_be_used_are_refused_with_line_column_and_remedy(
    tmp_path: Path, text: str, level: str, said: list[str]
) -> None:
    with pytest.raises(InputError) as caught:
        agreement_file(written(tmp_path, text), COLUMNS, level, tmp_path / "out")
    for words in [*said, "To do:"]:
        assert words in str(caught.value)


def test_shrout_and_fleiss_judges_come_out_of_a_long_table(tmp_path: Path) -> None:
    # Shrout & Fleiss 1979, Psychol. Bull. 86: .17 .29 .71 .44 .62 .91.
    judges = ["9 2 5 8", "6 1 3 2", "8 4 6 8", "7 1 2 6", "10 5 6 9", "6 2 4 7"]
    lines = [f"{i},{j},{v}" for i, row in enumerate(judges) for j, v in enumerate(row.split())]
    outcome, summary = agreement_of(tmp_path, "s,r,v\n" + "\n".join(lines) + "\n")
    found = [summary[f"icc_{form}_{unit}"] for unit in ("1", "k") for form in (1, 2, 3)]
    assert found == pytest.approx([0.165742, 0.289764, 0.714841, 0.442797, 0.620051, 0.909316], abs=1e-6)
    assert (summary["icc_2_1_low"], summary["icc_2_1_high"]) == pytest.approx((0.0188, 0.7611), abs=5e-5)
    assert outcome.clean
    # With all four judges the figure for the mean is Phi, and for these judges alone E-rho2.
    assert summary["dependability"]["by_raters"][3]["phi"] == pytest.approx(summary["icc_2_k"])
    assert summary["dependability"]["by_raters"][3]["e_rho2"] == pytest.approx(summary["icc_3_k"])


def test_the_same_table_gives_the_same_bytes(tmp_path: Path) -> None:
    text = "s,r,v\n" + "".join(f"s{i},r{k},{(i * k + i) % 4}\n" for i in range(9) for k in range(3))
    agreement_of(tmp_path, text, "ordinal")
    first = (tmp_path / "out" / "summary.json").read_bytes()
    agreement_of(tmp_path, text, "ordinal")
    assert (tmp_path / "out" / "summary.json").read_bytes() == first
