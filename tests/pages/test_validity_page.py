"""The page of the trial on known truth: its sentences say what the stored figures say, and name what is not kept."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest

from reports.blocks import Figure, Paragraph, Points, Table
from reports.pages.validity import validity_page
from reports.pages.validity_words import broken, kept_sentence, said_points, said_share, verdict_points
from schemas.known_truth import Figure as Told
from schemas.known_truth import KnownTruth, known_truth, parse_known_truth

DESIGN = {
    "title": "An ordinary season", "words": "Like any other.", "games": 5, "calls": 60, "panel": [2, 4], "intercept": 2.4,
    "umpire_sd": 0.5, "evaluator_sd": 0.3, "situation_sd": 0.9, "game_sd": 0.25,
}  # fmt: skip
FIGURES = {
    "platework": {
        "covered_90": [0.91, 0.01, 0.02], "ready_wrong": [0.03, 0.01, 0.02], "not_yet_wrong": [0.02, 0.01, 0.02],
        "rmse": [2.0, 0.1, 0.2],
    },
    "percentage": {"ready_wrong": [0.2, 0.02, 0.04], "rmse": [3.25, 0.1, 0.2]},
}  # fmt: skip


def made(**of_hard: list[float]) -> KnownTruth:
    """An ordinary design that keeps its word, and a hard one with the given figures."""
    rows = [
        {"design": "ordinary", "size": "96", "method": method, "seasons": 40, "figures": figures}
        for method, figures in FIGURES.items()
    ]
    rows[0] |= {"outcomes": {"converged": 40}, "reliability": [{"umpires": 9.0, "said": 0.95, "able": 0.9, "able_reach": 0.04}]}
    rows.append(
        {"design": "unlinked", "size": "96", "method": "platework", "seasons": 40, "figures": FIGURES["platework"] | of_hard}
    )
    return parse_known_truth(
        json.dumps(
            {
                "made_by": "a test", "seed": 1, "draws": 2000, "cuts": {"pitches": 0.9}, "risk": 0.1, "cpu_s": 7,
                "versions": dict.fromkeys(("platework", "numpy", "scipy", "python", "lme4"), "1"),
                "lme4_log_likelihood": None,
                "designs": [{"key": "ordinary", **DESIGN}, {"key": "unlinked", **DESIGN, "title": "Two groups"}],
                "sizes": [{"key": "96", "umpires": 96, "evaluators": 20, "why": "a region"}],
                "figures": rows, "replays": [],
            }
        )
    )  # fmt: skip


def blocks(page, kind):
    return [block for section in page.sections for block in section.blocks if isinstance(block, kind)]


def test_a_figure_carries_the_reach_of_its_range() -> None:
    assert said_share(Told(0.91, 0.006, 0.012)) == "91.0\u202f% ± 1.2"
    assert said_points(Told(-1.26, 0.1, 0.2), signed=True) == "−1.3 ± 0.2"
    assert said_share(Told(0.5, None, None)) == "50.0\u202f%"


def test_an_ordinary_season_is_summed_up_beside_the_percentage() -> None:
    said = kept_sentence(made())
    for part in ("91.0\u202f% ± 2.0", "3.0\u202f% ± 2.0", "20.0\u202f% ± 4.0", "10\u202f% is accepted"):
        assert part in said


def test_what_lies_within_its_range_of_its_word_is_kept() -> None:
    # 89 % is one point below 90 %, and 11 % wrongly ready one above the accepted 10 %; ranges reach two points.
    near = made(covered_90=[0.89, 0.01, 0.02], ready_wrong=[0.11, 0.01, 0.02])
    assert broken(near, "covered_90").where == {}
    assert broken(near, "ready_wrong").where == {}
    assert verdict_points(near) == ["Nowhere, as far as these seasons can tell."]


def test_what_is_not_kept_is_named_with_its_figure_and_what_to_do() -> None:
    short = made(
        covered_90=[0.81, 0.02, 0.04], ready_wrong=[0.16, 0.02, 0.04], bias=[-1.9, 0.1, 0.2], bias_strongest=[-2.9, 0.1, 0.3]
    )
    (said,) = verdict_points(short)
    assert said.startswith("Two groups: 90\u202f% intervals hold the truth in 81.0\u202f% ± 4.0 (96 umpires)")
    assert "of those called ready 16.0\u202f% ± 4.0 (96 umpires) are below" in said
    assert "rates are off by −1.9 ± 0.2 points on average, by −2.9 ± 0.3 in the strongest quarter (96 umpires)" in said
    assert "shared looks" in said
    assert "in 1 of 2 kinds of season" in broken(short, "covered_90").title
    assert "two groups, 96 umpires: 81.0\u202f% ± 4.0" in broken(short, "covered_90").title


def test_a_method_that_gives_nothing_and_a_library_that_was_not_there_are_said_so() -> None:
    page = validity_page(made())
    texts = ["".join(str(part) for part in block.parts) for block in blocks(page, Paragraph)]
    assert any("lme4 was not at hand" in text for text in texts)
    assert "No looks were followed up." in texts


def test_without_ordinary_seasons_the_page_still_stands() -> None:
    whole = made()
    bare = replace(whole, groups={})
    page = validity_page(bare)
    assert "0 seasons" in page.lead[0]
    assert kept_sentence(bare) == "Ordinary seasons were not judged."


@pytest.fixture(scope="module")
def page():
    return validity_page()


def test_every_figure_of_the_stored_result_has_its_table_with_a_row_a_kind_of_season(page) -> None:
    stored = known_truth()
    found = {block.id: block for block in blocks(page, Figure)}
    assert set(found) == {"coverage-90", "ready-wrong", "chance-said", "rate-error"}
    for name in ("coverage-90", "ready-wrong", "rate-error"):
        titles = [design["title"] for design in stored.designs.values()]
        assert [row[0].text for row in found[name].table.rows] == titles
        assert list(found[name].chart.labels) == titles
        assert found[name].title.endswith(".")


def test_marks_stand_where_the_stored_figures_are(page) -> None:
    stored = known_truth()
    chart = next(block for block in blocks(page, Figure) if block.id == "coverage-90").chart
    place = list(stored.designs).index("ordinary")
    drawn = {one.name: mark.x for one in chart.series for mark in one.marks if mark.row == place}
    for size in stored.sizes:
        assert drawn[f"{size} umpires"] == stored.figure("covered_90", "ordinary", size).value
    assert drawn["percentage, 96 umpires"] == stored.figure("covered_90", "ordinary", "96", "percentage").value


def test_every_broken_word_of_the_stored_result_is_on_the_page(page) -> None:
    stored = known_truth()
    listed = " ".join(str(part) for block in blocks(page, Points) for item in block.items for part in item)
    for name in ("covered_90", "ready_wrong", "not_yet_wrong"):
        for design in broken(stored, name).where:
            assert stored.designs[design]["title"] in listed


def test_the_seed_and_the_command_are_told(page) -> None:
    told = " ".join(str(part) for block in blocks(page, Paragraph) for part in block.parts)
    assert str(known_truth().about["seed"]) in told
    assert "bench_validity.py" in told
    assert any(block.id == "designs-table" for block in blocks(page, Table))


def test_further_calls_are_told_as_a_number_and_not_as_a_share(page) -> None:
    table = next(block for block in blocks(page, Table) if block.id == "looks-table")
    told = known_truth().figure("looks_median", "ordinary", "96")
    assert table.rows[0][3].text == f"{told.value:,.0f} ± {told.reach:,.0f}"
