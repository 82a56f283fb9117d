"""A season of two umpires cut from the made-up one, in two versions that differ, for runs that are disturbed."""

from __future__ import annotations

import csv
from pathlib import Path

DEMO = Path(__file__).parents[2] / "demo_data" / "season"
CALLS_A_GAME = 6
POLICY = """
[season]
title = "Small season {version}"
association = "Two umpires"
[scoring]
draws = 100
[[levels]]
id = "lower"
title = "Lower"
[levels.standards]
pitches = 0.8
[levels.evidence]
games = 1
calls = 2
evaluators = 1
"""


def _read(name: str) -> tuple[list[str], list[dict[str, str]]]:
    with (DEMO / name).open(encoding="utf-8-sig", newline="") as stream:
        table = csv.DictReader(stream)
        return list(table.fieldnames or ()), list(table)


def _write(path: Path, columns: list[str], rows: list[dict[str, str]]) -> None:
    with path.open("w", encoding="utf-8", newline="") as stream:
        table = csv.DictWriter(stream, columns)
        table.writeheader()
        table.writerows(rows)


def write_small_season(folder: Path, version: str = "A") -> Path:
    """Write four sheets and a policy; version B has other names, one call fewer and a row that is set aside."""
    folder.mkdir(parents=True, exist_ok=True)
    call_columns, calls = _read("plate_calls_E01.csv")
    game_columns, games = _read("games.csv")
    evaluator_columns, evaluators = _read("evaluators.csv")
    umpire_columns, umpires = _read("umpires.csv")
    seen = list(dict.fromkeys(call["game_id"] for call in calls))
    games = [game for game in games if game["game_id"] in seen[:2]]
    kept: list[dict[str, str]] = []
    for game in games:
        game["level"] = "lower"
        kept += [call for call in calls if call["game_id"] == game["game_id"]][:CALLS_A_GAME]
    people = {game["plate_umpire_id"] for game in games} | {call.get("umpire_id") for call in kept}
    umpires = [{**umpire, "level": "lower"} for umpire in umpires if umpire["umpire_id"] in people]
    evaluators = [row for row in evaluators if row["evaluator_id"] == "E01"]
    if version == "B":
        kept = kept[1:]
        kept[0]["outs"] = "nine"
        for umpire in umpires:
            umpire["name"] += " the Second"
    _write(folder / "umpires.csv", umpire_columns, umpires)
    _write(folder / "games.csv", game_columns, games)
    _write(folder / "evaluators.csv", evaluator_columns, evaluators)
    _write(folder / "plate_calls.csv", call_columns, kept)
    (folder / "policy.toml").write_text(POLICY.format(version=version), encoding="utf-8")
    return folder
