"""How much wider intervals are because the pitches of a game go together.

In each game an umpire's edges stand a little elsewhere than is his habit. The fit takes pitches as independent: its
values are still those of the long run, but every SD is too small. Here the variance of the edges from game to game
is learnt from the scores summed by game (moments, one figure an edge for all umpires), and what such games add to
the values' variances follows from how far each game's score moves each value. That is a sandwich variance clustered
by game (Liang & Zeger 1986; from memory) whose middle is estimated with one figure an edge instead of one matrix a
game, for an umpire has only a few games. The fitted values take up some of what games do, so that the SD over games
comes out low, by a sixth in simulations; the intervals of the offsets hold all the same. An umpire's sharpness is that
over all his games: edges that move from game to game make it less. A model with the games' shifts as effects of
their own was tried: with twenty pitches a game its search often did not arrive, and its intervals held no better.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.scoring.called_zone.blocks import Curvature
from pipeline.scoring.called_zone.edges import OFFSETS, VALUES, Sums
from pipeline.scoring.called_zone.information import POSITION, matrices
from pipeline.scoring.design import Floats

FEWEST_SPARE_GAMES = 20
"""Games beyond the first of each umpire. With fewer, how far games differ cannot be learnt: it is left out."""

_GAMES = 512


@dataclass(frozen=True)
class GameSpread:
    """SDs of the edges over an umpire's games, in inches, (4,), and what they add to variances.

    `own` adds to the variances of the umpires' values, shape (8, umpires), `border` to those of the border.
    """

    sd: Floats
    own: Floats
    border: Floats


def no_spread(bent: Curvature) -> GameSpread:
    """Return that nothing was learnt of games, and nothing is added."""
    nothing = np.zeros((VALUES, bent.pitches.umpires))
    return GameSpread(np.full(OFFSETS, np.nan), nothing, np.zeros(bent.border.shape[0]))


def spare_games(bent: Curvature) -> int:
    """Return the number of games beyond the first of each umpire."""
    games = bent.pitches.games
    return int(games.starts.size - games.first_of_umpire.size)


def game_spread(bent: Curvature, sums: Sums) -> GameSpread:
    """Return how far edges stand apart between games, and what that adds; `sums` are those at the mode."""
    variance = _variance(bent, sums)
    p = bent.pitches
    size = bent.border.shape[0]
    middle, by_umpire = np.zeros((size, size)), np.zeros((p.umpires, VALUES, VALUES))
    edge = np.arange(OFFSETS)
    ends = np.append(p.games.starts, p.starts.size)
    for first in range(0, p.games.starts.size, _GAMES):
        last = min(first + _GAMES, p.games.starts.size)
        part = slice(int(ends[first]), int(ends[last]))
        known = matrices(sums.expected[:, part], POSITION)
        load = -bent.reach[p.umpire[part]]
        for k in range(p.terms.shape[1]):
            load[:, edge, VALUES + OFFSETS * k + edge] += p.terms[part, k][:, None]
        starts = ends[first:last] - ends[first]
        known = known[:, :, :OFFSETS] * np.sqrt(variance)
        moved = np.add.reduceat(load.transpose(0, 2, 1) @ known, starts, axis=0)
        flat = moved.transpose(1, 0, 2).reshape(size, -1)
        middle += flat @ flat.T
        pull = np.add.reduceat(known, starts, axis=0)
        np.add.at(by_umpire, p.games.umpire[first:last], pull @ pull.transpose(0, 2, 1))
    border = bent.border @ middle @ bent.border
    reached = bent.inverse @ by_umpire @ bent.inverse + bent.reach @ border @ bent.reach.transpose(0, 2, 1)
    return GameSpread(np.sqrt(variance), np.einsum("uaa->au", reached), np.diag(border).copy())


def _variance(bent: Curvature, sums: Sums) -> Floats:
    """Return the variance of each edge between games, by moments, never under 0.

    The square of a game's score is held against its expectation without such variance: its information, less what
    fitting the umpire's values to the same pitches took out of it.
    """
    p = bent.pitches
    score = p.game_sums(sums.gradient[:OFFSETS])
    known = matrices(p.game_sums(sums.expected), POSITION)
    who, edge = p.games.umpire, np.arange(OFFSETS)
    seen = known[:, edge, edge].T
    upper = known[:, :OFFSETS]
    taken = ((upper @ bent.own_covariance()[who]) * upper).sum(axis=2).T
    own = seen - ((upper @ bent.inverse[who]) * upper).sum(axis=2).T
    # Of another game of the same umpire the score takes over what the umpire's values do.
    share = seen * bent.inverse[who][:, edge, edge].T
    squares = np.stack([np.bincount(who, weights=one**2, minlength=p.umpires) for one in seen])[:, who] - seen**2
    scale = (own**2 + share**2 * squares).sum(axis=1)
    excess = (score**2 - seen + taken).sum(axis=1)
    found: Floats = np.maximum(excess, 0) / np.maximum(scale, 1e-12)
    return found
