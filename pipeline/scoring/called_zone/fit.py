"""Called zones of all umpires at once: empirical Bayes by Laplace's approximation.

Each umpire's eight values (four offsets, four log sharpnesses) are normal about the population's means, each with
an SD of its own; circumstances shift the edges by the same amount for everybody. The SDs maximise the Laplace
approximation of the likelihood with everything else integrated out. That a game's pitches go together is carried
into the SDs afterwards (`games.py`). The curvature in Laplace's approximation is the expected
one: with few pitches at an edge the observed one may be next to singular, and the approximation then has spikes
where there is nothing. A factor SD in that likelihood keeps an SD off zero (Chung, Rabe-Hesketh, Dorie, Gelman
& Liu 2013, Psychometrika 78; from memory): without it, a thin season would declare all umpires equal, and be sure
of it.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum

import numpy as np

from pipeline.scoring.called_zone.blocks import Prior
from pipeline.scoring.called_zone.edges import EDGES, OFFSETS, VALUES, Pitches
from pipeline.scoring.called_zone.games import FEWEST_SPARE_GAMES, game_spread, no_spread, spare_games
from pipeline.scoring.called_zone.model import ZoneModel
from pipeline.scoring.called_zone.spread import START_SD, search_spread
from pipeline.scoring.design import Floats

FEWEST_UMPIRES = 5
"""With fewer the spread over umpires cannot be learnt: it is set at FIXED_SD."""
FIXED_SD = np.array([2.0] * OFFSETS + [0.7] * OFFSETS)
FEWEST_PITCHES = 60
"""With fewer in the whole season nothing is fitted."""

_TOLERATED_GAIN = 0.02


class ZoneOutcome(StrEnum):
    """How the fit ended. The first two give figures."""

    CONVERGED = "converged"
    FIXED_SPREAD = "fixed_spread"
    NOT_CONVERGED = "not_converged"
    TOO_FEW = "too_few"
    ONE_RESULT = "one_result"

    @property
    def has_estimates(self) -> bool:
        """Whether the numbers of the fit may be used."""
        return self in (ZoneOutcome.CONVERGED, ZoneOutcome.FIXED_SPREAD)


@dataclass(frozen=True)
class ZoneFit:
    """Called zones with their uncertainty. Offsets in inches; rows of sharpness are its logarithm.

    Attributes
    ----------
    outcome, message
        How the fit ended, as a word and as a sentence.
    values, sd
        Of each umpire, shape (8, umpires); the SD carries that of the population's SDs.
    mean, mean_sd, spread
        Of the population: means, their SDs, and SDs over umpires; shape (8,).
    game_spread
        SDs of the edges over an umpire's games, in inches, shape (4,); NaN where that was not learnt.
    shift, shift_sd
        How far each circumstance moves each edge, in inches, shape (terms, 4).
    log_likelihood
        Of the pitches at these values.
    laplace
        Laplace's approximation of the logarithm of the marginal likelihood, priors included.
    start, end
        SDs over umpires before and after the search.
    iterations, evaluations, return_code, gradient_norm
        Of the search over the logarithms of the SDs; return codes as in the crossed-effects fits.
    """

    outcome: ZoneOutcome
    message: str
    pitches: int
    umpires: int
    values: Floats = field(default_factory=lambda: np.zeros((VALUES, 0)))
    sd: Floats = field(default_factory=lambda: np.zeros((VALUES, 0)))
    mean: Floats = field(default_factory=lambda: np.full(VALUES, np.nan))
    mean_sd: Floats = field(default_factory=lambda: np.full(VALUES, np.nan))
    spread: Floats = field(default_factory=lambda: np.full(VALUES, np.nan))
    game_spread: Floats = field(default_factory=lambda: np.full(OFFSETS, np.nan))
    shift: Floats = field(default_factory=lambda: np.zeros((0, OFFSETS)))
    shift_sd: Floats = field(default_factory=lambda: np.zeros((0, OFFSETS)))
    log_likelihood: float = float("nan")
    laplace: float = float("nan")
    start: Floats = field(default_factory=START_SD.copy)
    end: Floats = field(default_factory=lambda: np.full(VALUES, np.nan))
    iterations: int = 0
    evaluations: int = 0
    return_code: int = 3
    gradient_norm: float = float("nan")


def fit_zone(pitches: Pitches, prior: Prior | None = None) -> ZoneFit:
    """Fit the called zones of all umpires.

    Too few pitches, one result only, and a search that got lost are named outcomes without figures. With fewer
    than five umpires the spread over umpires is not learnt but set wide, and the outcome says so. With too few
    games, or games not told apart, a game's pitches are taken as independent, and the message says so.
    """
    size = pitches.strike.size
    refused = _refused(pitches)
    if refused is not None:
        return ZoneFit(*refused, pitches=size, umpires=pitches.umpires)
    model = ZoneModel(pitches, prior or Prior())
    if int(pitches.by_umpire[1].size) < FEWEST_UMPIRES:
        _, _, arrived = model.laplace(FIXED_SD)
        outcome = ZoneOutcome.FIXED_SPREAD if arrived else ZoneOutcome.NOT_CONVERGED
        message = (
            f"fewer than {FEWEST_UMPIRES} umpires have pitches, so how far umpires differ was not learnt but set wide"
            if arrived
            else "the search for the edges did not arrive"
        )
        return _account(model, FIXED_SD, None, outcome, message, (0, 1, 0, float("nan")))
    found, arrived = search_spread(model)
    sd = np.exp(found.at)
    known: Floats = np.linalg.inv(model.straightened().information(found.at)).astype(np.float64, copy=False)
    # A search that stops on the last digits of the value has arrived when there is next to nothing to gain.
    gain = 0.5 * float(found.gradient @ known @ found.gradient)
    done = arrived and bool(np.isfinite(found.value)) and (found.code == 0 or gain < _TOLERATED_GAIN)
    norm = float(np.linalg.norm(found.gradient))
    outcome = ZoneOutcome.CONVERGED if done else ZoneOutcome.NOT_CONVERGED
    message = "the fit converged" if done else "the search for the spread over umpires did not arrive"
    return _account(model, sd, known, outcome, message, (found.steps, found.evaluations, found.code, norm))


def _refused(pitches: Pitches) -> tuple[ZoneOutcome, str] | None:
    size = pitches.strike.size
    if size < FEWEST_PITCHES:
        return ZoneOutcome.TOO_FEW, f"{size} measured taken pitches; at least {FEWEST_PITCHES} are asked for"
    if pitches.strike.min() == pitches.strike.max():
        word = "strike" if pitches.strike[0] else "ball"
        return ZoneOutcome.ONE_RESULT, f"every pitch was called a {word}: there is no edge to find"
    return None


def _account(
    model: ZoneModel,
    sd: Floats,
    known: Floats | None,
    outcome: ZoneOutcome,
    message: str,
    search: tuple[int, int, int, float],
) -> ZoneFit:
    pitches, bent, values = model.pitches, model.expected, model.values
    if bent is None or not outcome.has_estimates:
        return ZoneFit(ZoneOutcome.NOT_CONVERGED, message, pitches.strike.size, pitches.umpires)
    own_variance, border_variance = bent.own_variance(), np.diag(bent.border).copy()
    if known is not None:
        moves = [model.move(bent, by) for by in np.eye(VALUES)]
        own_moves, moved = np.stack([one.own for one in moves]), np.stack([one.border for one in moves])
        own_variance += np.einsum("kau,kau->au", np.tensordot(known, own_moves, 1), own_moves)
        border_variance += np.einsum("ka,ka->a", known @ moved, moved)
    games = no_spread(bent)
    if spare_games(bent) >= FEWEST_SPARE_GAMES:
        games = game_spread(bent, model.sums)
    else:
        message += "; too few games to learn how far an umpire's edges move between them, so intervals leave it out"
    own_variance, border_variance = own_variance + games.own, border_variance + games.border
    steps, evaluations, code, norm = search
    return ZoneFit(
        outcome=outcome,
        message=message,
        pitches=pitches.strike.size,
        umpires=pitches.umpires,
        values=values.own,
        sd=np.sqrt(own_variance),
        mean=values.border[:VALUES],
        mean_sd=np.sqrt(border_variance[:VALUES]),
        spread=sd,
        game_spread=games.sd,
        shift=values.border[VALUES:].reshape(model.terms, OFFSETS),
        shift_sd=np.sqrt(border_variance[VALUES:]).reshape(model.terms, OFFSETS),
        log_likelihood=model.sums.value,
        laplace=float("nan") if known is None else model.joint(sd) - 0.5 * bent.log_det,
        end=sd,
        iterations=steps,
        evaluations=evaluations,
        return_code=code,
        gradient_norm=norm,
    )


__all__ = ["EDGES", "FEWEST_PITCHES", "FEWEST_UMPIRES", "ZoneFit", "ZoneModel", "ZoneOutcome", "fit_zone"]
