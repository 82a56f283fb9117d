"""Level and slope over the season of every umpire, jointly with evaluators and their drift.

The binomial model of `crossed_effects.py`, with two more sets of normal effects: a slope over days for each
umpire and one for each evaluator, about a common trend. At the fitted variances it is solved as a weighted
linear model in the working response, linearised anew at its own mode. Games are integrated out, umpires
(level and slope, two by two) eliminated one by one, and situations, evaluators, their slopes and the common
trend make up one dense border: what of an umpire's change is an evaluator's drift is thus taken apart as far
as the looks allow, and is in the interval as far as they do not.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy import linalg, sparse
from scipy.special import expit

from pipeline.scoring.area_models import AreaModel
from pipeline.scoring.design import Codes, Floats, sums

LEVEL_PRIOR_SD = 3.0
TREND_PRIOR_SD = 0.5
"""Normal priors of the intercept (about the fitted one) and of the common slope, logits (per 30 days)."""

_LOWEST_WEIGHT = 1e-8


@dataclass(frozen=True)
class Solution:
    """Posterior of each umpire's level and slope (with the common ones added) at given slope SDs.

    `mean` has shape (2, umpires), `own` the covariance given the border (3 rows: level, both, slope), `shared`
    what the border adds. `parts` are border, own levels and own slopes as solved for.
    `log_density` is the marginal likelihood up to a constant that the SDs do not change.
    """

    mean: Floats
    own: Floats
    shared: Floats
    common: Floats
    log_density: float
    parts: tuple[Floats, Floats, Floats]


@dataclass(frozen=True)
class Working:
    """The weighted linear model at one linearisation: sums over cells, games and umpires."""

    inner: Floats
    load: Floats
    known: list[Floats]
    meets: list[sparse.csr_array]
    loads: list[Floats]
    free: Floats
    of_game: sparse.csr_array
    game_response: Floats


class GrowthModel:
    """One area's calls with the day of each game.

    Parameters
    ----------
    model
        The fitted area; it has draws, games and evaluators.
    months
        For each cell of the model, the day of its game in units of 30 days about the season's middle; finite.
    cells
        Which cells to take.
    """

    def __init__(self, model: AreaModel, months: Floats, cells: Floats) -> None:
        fit, draws = model.fit, model.draws
        if draws is None:
            raise ValueError("an area without a posterior has no growth")
        keep = np.asarray(cells, dtype=bool)
        frame = model.cells[keep]
        self.umpires, self.months = len(model.umpires), months[keep]
        self.umpire: Codes = frame["umpire"].to_numpy()
        self.game: Codes = np.unique(frame["game"].to_numpy(), return_inverse=True)[1]
        self.situation: Codes = frame["situation"].to_numpy()
        self.evaluator: Codes = frame["evaluator"].to_numpy()
        self.trials, self.right = frame["trials"].to_numpy(float), frame["successes"].to_numpy(float)
        # SDs of the posterior: the likelihood's may be zero, and an effect that is only small is not none.
        self.sd = {name: max(float(np.median(values)), 1e-3) for name, values in draws.sd.items()}
        self.situations, self.evaluators = len(model.situations), len(model.evaluators)
        self.intercept = fit.intercept
        self.start = (
            fit.intercept
            + fit.effects["umpire"][self.umpire]
            + fit.effects["situation"][self.situation]
            + fit.effects["evaluator"][self.evaluator]
            + fit.effects["game"][frame["game"].to_numpy()]
        )

    @cached_property
    def _games(self) -> tuple[Codes, Floats]:
        """Umpire and month of each game."""
        size = int(self.game.max()) + 1
        owner = np.zeros(size, dtype=np.int64)
        owner[self.game] = self.umpire
        return owner, sums(self.game, self.months, size) / sums(self.game, np.ones(self.game.size), size)

    @cached_property
    def _border(self) -> sparse.csr_array:
        cells = np.arange(self.trials.size)
        month = self._games[1][self.game]
        first = 2 + self.situations
        columns = [np.zeros_like(cells), np.ones_like(cells), 2 + self.situation, first + self.evaluator,
                   first + self.evaluators + self.evaluator]  # fmt: skip
        ones = np.ones(cells.size)
        values = [ones, month, ones, ones, month]
        shape = (cells.size, first + 2 * self.evaluators)
        return sparse.csr_array((np.concatenate(values), (np.tile(cells, 5), np.concatenate(columns))), shape=shape)

    def working(self, linear: Floats) -> Working:
        """Return all that does not depend on the SDs of slopes, linearised at `linear` (one per cell)."""
        rate = expit(linear)
        weight = np.maximum(self.trials * rate * (1 - rate), _LOWEST_WEIGHT)
        response = linear + (self.right - self.trials * rate) / weight - self.intercept
        owner, month = self._games
        games, border = owner.size, self._border
        variance = self.sd["game"] ** 2
        total = sums(self.game, weight, games)
        free = 1 / (1 + variance * total)
        of_game = sparse.csr_array((weight, (self.game, np.arange(weight.size))), shape=(games, weight.size))
        game_border = of_game @ border
        game_response = of_game @ response
        taken = sparse.diags_array(variance * free) @ game_border
        by_umpire = [
            sparse.csr_array((free * power, (owner, np.arange(games))), shape=(self.umpires, games))
            for power in (np.ones(games), month)
        ]
        return Working(
            inner=np.asarray((border.T @ sparse.diags_array(weight) @ border - game_border.T @ taken).todense()),
            load=border.T @ (weight * response) - taken.T @ game_response,
            known=[sums(owner, total * free * month**power, self.umpires) for power in (0, 1, 2)],
            meets=[one @ game_border for one in by_umpire],
            loads=[one @ game_response for one in by_umpire],
            free=free,
            of_game=of_game,
            game_response=game_response,
        )

    def solve(self, at_work: Working, growth_sd: float, drift_sd: float, *, shared: bool = False) -> Solution:
        """Return the posterior at two slope SDs (logits per 30 days); `shared` is left zero unless asked for."""
        prior = np.concatenate(
            [
                [LEVEL_PRIOR_SD**-2, TREND_PRIOR_SD**-2],
                np.full(self.situations, self.sd["situation"] ** -2),
                np.full(self.evaluators, self.sd["evaluator"] ** -2),
                np.full(self.evaluators, drift_sd**-2),
            ]
        )
        # Two by two for each umpire: level and slope.
        known = at_work.known
        own_prior = (self.sd["umpire"] ** -2, growth_sd**-2)
        a11, a12, a22 = known[0] + own_prior[0], known[1], known[2] + own_prior[1]
        determinant = a11 * a22 - a12**2
        i11, i12, i22 = a22 / determinant, -a12 / determinant, a11 / determinant
        c1, c2 = at_work.meets
        r1, r2 = at_work.loads
        s1, s2 = i11 * r1 + i12 * r2, i12 * r1 + i22 * r2
        e1 = sparse.diags_array(i11) @ c1 + sparse.diags_array(i12) @ c2
        e2 = sparse.diags_array(i12) @ c1 + sparse.diags_array(i22) @ c2
        schur = at_work.inner + np.diag(prior) - np.asarray((c1.T @ e1 + c2.T @ e2).todense())
        rest = at_work.load - c1.T @ s1 - c2.T @ s2
        factor = linalg.cholesky(schur, lower=True)
        at = linalg.cho_solve((factor, True), rest)
        level, slope = s1 - e1 @ at, s2 - e2 @ at
        log_density = 0.5 * float(r1 @ s1 + r2 @ s2 + rest @ at) - 0.5 * float(
            np.log(determinant).sum()
            + 2 * np.log(np.diag(factor)).sum()
            + 2 * self.umpires * np.log(growth_sd)
            + 2 * self.evaluators * np.log(drift_sd)
        )
        return Solution(
            mean=np.stack([level + at[0] + self.intercept, slope + at[1]]),
            own=np.stack([i11, i12, i22]),
            shared=self._shared(factor, c1, c2, own_prior, known, (i11, i12, i22)) if shared else np.zeros((3, 1)),
            common=at[:2] + np.array([self.intercept, 0.0]),
            log_density=log_density,
            parts=(at, level, slope),
        )

    def linear(self, at_work: Working, found: Solution) -> Floats:
        """Return the linear predictor of each cell at a solution, its game's effect included."""
        at, level, slope = found.parts
        month = self._games[1]
        fitted = self._border @ at + level[self.umpire] + slope[self.umpire] * month[self.game]
        left = at_work.game_response - at_work.of_game @ fitted
        game = self.sd["game"] ** 2 * at_work.free * left
        shown: Floats = fitted + game[self.game] + self.intercept
        return shown

    def _shared(
        self,
        factor: Floats,
        c1: sparse.csr_array,
        c2: sparse.csr_array,
        own_prior: tuple[float, float],
        known: list[Floats],
        inverse: tuple[Floats, Floats, Floats],
    ) -> Floats:
        """Return what doubt about the border adds to the covariance of level and slope."""
        d1, d2 = -c1.toarray(), -c2.toarray()
        # With the common level and slope added, what is common is moved by what an umpire's own data leave open.
        d1[:, 0] += known[0] + own_prior[0]
        d1[:, 1] += known[1]
        d2[:, 0] += known[1]
        d2[:, 1] += known[2] + own_prior[1]
        i11, i12, i22 = (one[:, None] for one in inverse)
        moved = (i11 * d1 + i12 * d2, i12 * d1 + i22 * d2)
        one, other = (linalg.solve_triangular(factor, part.T, lower=True, check_finite=False) for part in moved)
        return np.stack([(one**2).sum(axis=0), (one * other).sum(axis=0), (other**2).sum(axis=0)])
