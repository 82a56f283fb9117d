"""The page on dependability: what it says, and what it says when there is little."""

from __future__ import annotations

from types import SimpleNamespace

from reports.pages.dependability import dependability_page


def _row(**given: object) -> dict[str, object]:
    row = {
        "target_level": "varsity", "area": "pitches", "umpires": 12, "cut": 0.9, "mean_rate": 0.92, "rate_low": 0.88,
        "rate_high": 0.95, "dependability": 0.7, "dependability_at_cut": 0.75, "accuracy": 0.85, "consistency": 0.8,
        "settled": 0.6, "looks": 3.5, "calls_per_look": 70.0, "risk": 0.2, "needed_1": None, "needed_2": 5, "needed_4": 3,
    }  # fmt: skip
    return row | given


def _plan(**given: object) -> dict[str, object]:
    row = {
        "target_level": "varsity", "area": "pitches", "games": 4, "evaluators": 2, "dependability": 0.7, "accuracy": 0.83,
        "consistency": 0.8, "settled": 0.6,
    }  # fmt: skip
    return row | given


def _book(now: list[dict[str, object]], plan: list[dict[str, object]]) -> SimpleNamespace:
    def by(name: str, key: str) -> dict[object, list[dict[str, object]]]:
        found: dict[object, list[dict[str, object]]] = {}
        for row in now if name == "dependability" else plan:
            found.setdefault(row[key], []).append(row)
        return found

    return SimpleNamespace(by=by, level_title=str.title, level_order=lambda level: (0, level))


def test_the_title_counts_the_standards_that_keep_the_risk() -> None:
    now = [_row(), _row(area="hit_batter", accuracy=0.79)]
    page = dependability_page(_book(now, [_plan()]))
    figure = page.sections[0].blocks[0]
    assert figure.title.startswith("1 of 2 standards would put at most 20")
    assert [row[0].text for row in figure.table.rows] == ["Balls and strikes", "Hit batter"]


def test_games_that_would_not_do_are_a_dash() -> None:
    needed = dependability_page(_book([_row()], [])).sections[0].blocks[1]
    assert [cell.text for cell in needed.rows[0]] == ["Balls and strikes", "3.5", "–", "5", "3"]


def test_a_quiz_stands_in_the_first_column_of_the_plan() -> None:
    plan = [_plan(), _plan(evaluators=1, accuracy=0.81), _plan(area="quiz", evaluators=0, accuracy=0.9, settled=0.7)]
    table = dependability_page(_book([_row()], plan)).sections[0].blocks[2]
    assert [column.title for column in table.columns][2:4] == ["Right, 1 evaluator", "Right, 2 evaluators"]
    shown = [[cell.text.replace("\u202f", " ") for cell in row] for row in table.rows]
    assert shown == [["Balls and strikes", "4", "81 %", "83 %", "60 %", "60 %"], ["Rules quiz", "4", "90 %", "", "70 %", ""]]


def test_a_season_with_too_few_umpires_says_so() -> None:
    page = dependability_page(_book([], []))
    assert page.sections[0].id == "none"
    assert page.sections[-1].id == "words"
