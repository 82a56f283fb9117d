"""The circumstances that may shift an edge: who batted and pitched, and how the plate was worked in that game."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from pipeline.scoring.design import Floats

FEWEST_EACH = 60
"""Pitches on either side that a shift is estimated from; with fewer none is."""
FEWEST_GAMES = 6
"""Games on either side, for what was noted by game."""
BY_GAME = ("out_of_slot", "drift_toward", "drift_away", "head_low", "head_high")
BY_PITCH = ("left_batter", "left_pitcher", "same_hand", "low_slot")
NAMES = (*BY_PITCH, *BY_GAME)


@dataclass(frozen=True)
class Circumstance:
    """One circumstance over all pitches.

    Attributes
    ----------
    share
        1 where it held, 0 where not, a share of the checks for what was noted by game, NaN where not recorded.
    pitches_with, pitches_without, games_with, games_without
        Pitches by share, and games in which it held at least once, or never.
    """

    name: str
    share: Floats
    pitches_with: float
    pitches_without: float
    games_with: int
    games_without: int

    @property
    def is_enough(self) -> bool:
        """Whether there is enough on either side to estimate a shift."""
        games = self.name not in BY_GAME or min(self.games_with, self.games_without) >= FEWEST_GAMES
        return games and min(self.pitches_with, self.pitches_without) >= FEWEST_EACH

    @property
    def column(self) -> Floats:
        """The share less its mean; 0 where not recorded, so that such a pitch says nothing of the shift."""
        known = ~np.isnan(self.share)
        mean = self.share[known].mean() if known.any() else 0.0
        return np.where(known, self.share - mean, 0.0)


def circumstances(calls: pd.DataFrame, games: pd.DataFrame) -> list[Circumstance]:
    """Return every circumstance of called pitches; `games` has a row a game with the shares of its checks.

    A game's checks count for its plate umpire's calls only.
    """
    shares: dict[str, Floats] = {}
    left_batter, left_pitcher = _is(calls["batter_side"], ("left",)), _is(calls["pitcher_hand"], ("left",))
    shares["left_batter"], shares["left_pitcher"] = left_batter, left_pitcher
    shares["same_hand"] = np.where(np.isnan(left_batter + left_pitcher), np.nan, left_batter == left_pitcher)
    shares["low_slot"] = _is(calls["arm_slot"], ("sidearm", "submarine"))
    joined = calls[["game_id", "umpire_id"]].merge(games, on=["game_id", "umpire_id"], how="left")
    for name in BY_GAME:
        shares[name] = joined[name].to_numpy(dtype=np.float64, na_value=np.nan)
    return [_circumstance(name, shares[name], calls["game_id"]) for name in NAMES]


def _is(values: pd.Series, these: tuple[str, ...]) -> Floats:
    return np.where(values.isna().to_numpy(), np.nan, values.isin(these).to_numpy(dtype=np.float64))


def _circumstance(name: str, share: Floats, game: pd.Series) -> Circumstance:
    known = ~np.isnan(share)
    by_game = pd.Series(share[known]).groupby(game.to_numpy()[known]).mean()
    return Circumstance(
        name,
        share,
        float(share[known].sum()),
        float((1 - share[known]).sum()),
        int((by_game > 0).sum()),
        int((by_game == 0).sum()),
    )
