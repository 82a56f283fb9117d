"""Write a made-up season with known truth: `python -m demo_data.make_demo_data [--out DIR] [--scale N]`.

The same seed and scale give the same bytes. DIR gets `season/`, which is what a user would hand in, and
`truth/`, which nothing in the product reads.
"""

from __future__ import annotations

import argparse
import csv
import sys
import time
from pathlib import Path

from demo_data import people_files as people
from demo_data import planting, quiz
from demo_data.decisions import DECISION_COLUMNS, decision_rows, plant_in_decisions
from demo_data.entry_days import recorded_on
from demo_data.game_calls import TRUTH_COLUMNS, calls_of, truth_row
from demo_data.plan import ALIASED, WORKBOOK, Game, Plan, draw_plan
from demo_data.planting import Planted
from demo_data.sheet import CALL_COLUMNS, Row, csv_text, write_aliased, write_csv, write_workbook

SEED = 20260301
POLICY = Path(__file__).with_name("demo_policy.toml")


def write_calls(plan: Plan, seed: int, season: Path, truth: Path) -> tuple[list[Planted], list[Row]]:
    """Write a sheet of plate calls for each evaluator, and every right ruling; return what was planted.

    One evaluator's calls are held in memory at a time.
    """
    planted: list[Planted] = []
    amendments: list[Row] = []
    games: dict[str, list[Game]] = {evaluator.evaluator_id: [] for evaluator in plan.evaluators}
    for game in plan.games:
        games[game.evaluator.evaluator_id].append(game)
    with (truth / "right_rulings.csv").open("w", encoding="utf-8", newline="") as stream:
        writer = csv.writer(stream, lineterminator="\n")
        writer.writerow(TRUTH_COLUMNS)
        for evaluator_id, seen in games.items():
            calls = [call for game in seen for call in calls_of(game, seed)]
            days = {game.game_id: recorded_on(game, seed, first_seen=game is seen[0]) for game in seen}
            for call in calls:
                call.row["recorded_on"] = days[call.row["game_id"]]
            ending = "xlsx" if evaluator_id == WORKBOOK else "csv"
            path = season / f"plate_calls_{evaluator_id}.{ending}"
            rows, faults = planting.plant_in_calls(evaluator_id, calls, path.name)
            if evaluator_id == WORKBOOK:
                write_workbook(path, rows)
            elif evaluator_id == ALIASED:
                write_aliased(path, rows)
            else:
                text = csv_text(CALL_COLUMNS, CALL_COLUMNS, rows)
                text, more = planting.truncated_line(evaluator_id, text, path.name)
                faults += more
                path.write_text(text, encoding="utf-8", newline="")
            planted += faults
            counted, amended = planting.amend(evaluator_id, calls)
            amendments += amended
            writer.writerows([row[column] for column in TRUTH_COLUMNS] for row in (truth_row(call) for call in counted))
    return planted, amendments


def write_season(out: Path, *, seed: int = SEED, scale: int = 1) -> None:
    """Write the whole season and its truth under `out`."""
    season, truth = out / "season", out / "truth"
    season.mkdir(parents=True, exist_ok=True)
    truth.mkdir(parents=True, exist_ok=True)
    plan = draw_plan(seed, scale)
    items = quiz.draw_items(seed)
    planted, amendments = write_calls(plan, seed, season, truth)
    games, faults = planting.plant_in_games(list(people.game_rows(plan)), "games.csv")
    planted += [*faults, *planting.planted_elsewhere(plan, items), *planting.planted_days(plan)]
    decisions, faults = plant_in_decisions(decision_rows(plan, seed), plan, "decisions.csv")
    planted += faults
    positioning = (row for game in plan.games for row in people.positioning_rows(game, seed))
    ratings = (row for game in plan.games for row in people.rating_rows(game, seed))
    write_csv(season / "umpires.csv", people.UMPIRE_COLUMNS, people.umpire_rows(plan))
    write_csv(season / "evaluators.csv", people.EVALUATOR_COLUMNS, people.evaluator_rows(plan))
    write_csv(season / "games.csv", people.GAME_COLUMNS, games)
    write_csv(season / "positioning.csv", people.POSITIONING_COLUMNS, positioning)
    write_csv(season / "ratings.csv", people.RATING_COLUMNS, ratings)
    write_csv(season / "quiz_items.csv", quiz.ITEM_COLUMNS, (item.row for item in items))
    write_csv(season / "quiz_responses.csv", quiz.RESPONSE_COLUMNS, quiz.response_rows(plan, items, seed))
    write_csv(season / "amendments.csv", planting.AMENDMENT_COLUMNS, amendments)
    write_csv(season / "slate.csv", people.SLATE_COLUMNS, people.slate_rows(seed))
    write_csv(season / "availability.csv", people.AVAILABILITY_COLUMNS, people.availability_rows(plan, seed))
    write_csv(season / "conflicts.csv", people.CONFLICT_COLUMNS, people.conflict_rows())
    write_csv(season / "decisions.csv", DECISION_COLUMNS, decisions)
    (season / "policy.toml").write_bytes(POLICY.read_bytes())
    write_csv(truth / "umpires.csv", people.TRUE_UMPIRE_COLUMNS, people.true_umpire_rows(plan))
    write_csv(truth / "evaluators.csv", people.TRUE_EVALUATOR_COLUMNS, people.true_evaluator_rows(plan))
    write_csv(truth / "quiz_items.csv", quiz.TRUE_ITEM_COLUMNS, quiz.true_item_rows(items))
    write_csv(truth / "planted.csv", planting.PLANTED_COLUMNS, planting.planted_rows(planted))


def main(arguments: list[str] | None = None) -> int:
    """Read the command line and write the season."""
    parser = argparse.ArgumentParser(prog="python -m demo_data.make_demo_data", description=__doc__)
    parser.add_argument("--out", type=Path, default=Path(__file__).parent, help="folder for season/ and truth/")
    parser.add_argument("--scale", type=int, default=1, help="so many times 48 umpires and 160 games")
    parser.add_argument("--seed", type=int, default=SEED)
    given = parser.parse_args(arguments)
    started = time.perf_counter()
    write_season(given.out, seed=given.seed, scale=given.scale)
    sys.stderr.write(f"{given.out}: written in {time.perf_counter() - started:.1f} s\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
