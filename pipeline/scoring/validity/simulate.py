"""One simulated season: what everybody is truly like, and the cells that evaluators' sheets would give."""

from __future__ import annotations

import zlib
from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
import pandas as pd
from scipy.special import expit

from pipeline.scoring.design import Codes, Floats
from pipeline.scoring.validity.designs import SEED, Design, Size

AREA, OTHER_AREA = "pitches", "other_rulings"
_NODES, _WEIGHTS = np.polynomial.hermite_e.hermegauss(20)
_OTHER_SITUATIONS, _OTHER_INTERCEPT = 6, 1.6
# How unequal the situations are that a season brings, and those that one umpire meets of them.
_SEASON_MIX, _UMPIRE_MIX = 3.0, 40.0
# Within how many SDs of severity an umpire's evaluators match the umpire's ability where the two are tied.
_TIE_WIDTH = 1.2


@dataclass
class AreaTruth:
    """What is truly so in one area, on the logit scale, by code."""

    intercept: float
    skill: Floats
    severity: Floats
    hardness: Floats
    mixes: Floats
    game_sd: float

    def rate(self, shift: Floats, mix: Mapping[str, float]) -> Floats:
        """Return the right-call rate at `shift`, over a mix of situations by name and all games there could be."""
        shares = np.zeros(self.hardness.size)
        for name, share in mix.items():
            shares[int(name[1:])] = share
        linear = self.intercept + shift[:, None, None] + self.hardness[None, :, None] + self.game_sd * _NODES
        found: Floats = np.einsum("usn,s,n->u", expit(linear), shares, _WEIGHTS / _WEIGHTS.sum())
        return found


@dataclass
class Season:
    """A simulated season; `look` adds games to it.

    Attributes
    ----------
    truth
        By area.
    group
        Of each umpire: 0, or which of the groups without a link.
    panels
        The evaluators of each umpire.
    """

    design: Design
    umpires: tuple[str, ...]
    truth: dict[str, AreaTruth]
    group: Codes
    panels: list[Codes]
    rng: np.random.Generator
    rows: dict[str, list[pd.DataFrame]] = field(default_factory=dict)
    games: int = 0

    def look(self, games: Codes) -> None:
        """Have `games[i]` further games of umpire i seen and graded."""
        umpire = np.repeat(np.arange(games.size), games)
        evaluator = np.array([self.rng.choice(self.panels[u]) for u in umpire], dtype=np.int64)
        for area, truth in self.truth.items():
            calls = self.design.calls if area == AREA else self.design.other_calls
            self.rows.setdefault(area, []).append(self._graded(truth, umpire, evaluator, calls))
        self.games += umpire.size

    def _graded(self, truth: AreaTruth, umpire: Codes, evaluator: Codes, calls: int) -> pd.DataFrame:
        rng, n_games = self.rng, umpire.size
        trials = rng.multinomial(calls, truth.mixes[umpire])
        form = rng.normal(0, 1, n_games) * truth.game_sd
        linear = truth.intercept + truth.skill[umpire] + truth.severity[evaluator] + form
        seen = rng.binomial(trials, expit(linear[:, None] + truth.hardness))
        if self.design.wrong_facts:
            lost = rng.binomial(seen, self.design.wrong_facts)
            won = rng.binomial(trials - seen, self.design.wrong_facts)
            seen = seen - lost + won
        game, situation = np.nonzero(trials)
        return pd.DataFrame(
            {
                "umpire_id": [self.umpires[u] for u in umpire[game]],
                "game_id": [f"G{self.games + g:06d}" for g in game],
                "evaluator_id": [f"E{e:04d}" for e in evaluator[game]],
                "stratum": [f"S{s:02d}" for s in situation],
                "successes": seen[game, situation].astype(float),
                "trials": trials[game, situation].astype(float),
            }
        )

    def cells(self, area: str) -> pd.DataFrame:
        """Return the cells as the scoring step counts them from calls."""
        return pd.concat(self.rows[area], ignore_index=True)


def simulate(design: Design, size: Size, replicate: int) -> Season:
    """Return a season; the same one for the same design, size and replicate."""
    rng = np.random.default_rng([SEED, zlib.crc32(design.key.encode()), size.umpires, replicate])
    ability = _abilities(design, size.umpires, rng)
    group = np.arange(size.umpires) * design.groups // size.umpires
    watchers = np.arange(size.evaluators) * design.groups // size.evaluators
    truth = {AREA: _area(design, size, ability, watchers, rng, design.situations, design.intercept)}
    if design.other_calls:
        own = rng.normal(0, design.umpire_sd, size.umpires)
        other = design.correlation * ability + np.sqrt(1 - design.correlation**2) * own
        truth[OTHER_AREA] = _area(design, size, other, watchers, rng, _OTHER_SITUATIONS, _OTHER_INTERCEPT)
    names = tuple(f"U{u:04d}" for u in range(size.umpires))
    panels = _panels(design, ability, truth[AREA].severity, group, watchers, rng)
    season = Season(design, names, truth, group, panels, rng)
    season.look(np.full(size.umpires, design.games))
    return season


def _abilities(design: Design, size: int, rng: np.random.Generator) -> Floats:
    """Return abilities of the design's shape, with mean 0 and its SD in the population."""
    if design.shape == "skewed":
        shape = 1.5
        scores = (shape - rng.gamma(shape, 1, size)) / np.sqrt(shape)
    elif design.shape == "two_humps":
        within = 0.4
        scores = (rng.choice([-1.0, 1.0], size) + within * rng.normal(0, 1, size)) / np.sqrt(1 + within**2)
    else:
        scores = rng.normal(0, 1, size)
    return np.asarray(design.umpire_sd * scores, dtype=np.float64)


def _area(
    design: Design,
    size: Size,
    skill: Floats,
    watchers: Codes,
    rng: np.random.Generator,
    situations: int,
    intercept: float,
) -> AreaTruth:
    # The groups' gap lies evenly about the average evaluator.
    gap = design.group_gap * (watchers - (design.groups - 1) / 2)
    shares = rng.dirichlet(np.full(situations, _SEASON_MIX))
    return AreaTruth(
        intercept=intercept,
        skill=skill,
        severity=rng.normal(0, design.evaluator_sd, size.evaluators) - gap,
        hardness=rng.normal(0, design.situation_sd, situations),
        mixes=rng.dirichlet(np.maximum(_UMPIRE_MIX * shares, 0.05), size.umpires),
        game_sd=design.game_sd,
    )


def _panels(
    design: Design, ability: Floats, severity: Floats, group: Codes, watchers: Codes, rng: np.random.Generator
) -> list[Codes]:
    """Return the evaluators of each umpire: any of the umpire's group, or those who match the ability."""
    least, most = design.panel
    panels = []
    for u in range(ability.size):
        inside = np.flatnonzero(watchers == group[u])
        number = min(int(rng.integers(least, most + 1)), inside.size)
        weight = np.ones(inside.size)
        if design.tied:
            apart = ability[u] / design.umpire_sd + severity[inside] / design.evaluator_sd
            squared = apart**2 - (apart**2).min()
            # The floor keeps as many evaluators choosable as are drawn.
            weight = np.exp(-squared / (2 * _TIE_WIDTH**2)) + 1e-6
        panels.append(rng.choice(inside, number, replace=False, p=weight / weight.sum()))
    return panels
