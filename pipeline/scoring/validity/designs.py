"""What the simulated seasons are like: one ordinary design, those that are hard for a stated reason, three sizes."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from pipeline.config import Evidence, Level, Policy

SEED = 20261126
CUTS = {"pitches": 0.90, "other_rulings": 0.78}
"""The standards: some two umpires of five are truly at the first, some half at the second."""

RISK = 0.10
LEVEL = "level"
COVERAGES = (0.5, 0.9)


@dataclass(frozen=True)
class Size:
    """How many umpires and evaluators a season has."""

    key: str
    umpires: int
    evaluators: int
    why: str


SIZES = (
    Size("24", 24, 6, "one level of a local association"),
    Size("96", 96, 20, "a regional association with its levels together"),
    Size("480", 480, 80, "a state"),
)


@dataclass(frozen=True)
class Design:
    """How a season comes about. SDs and the intercept are on the logit scale.

    Attributes
    ----------
    panel
        Fewest and most evaluators who share one umpire's games.
    shape
        Distribution of the umpires' abilities; all have mean 0 and SD `umpire_sd`.
    tied
        Whether strong umpires are seen by severe evaluators (and weak ones by lenient).
    groups, group_gap
        Groups of umpires and evaluators without a link, and how much more severe the evaluators of each further
        group are, as a whole.
    wrong_facts
        Share of the calls where a wrong fact turns right into wrong or wrong into right.
    other_calls, correlation
        Calls a game in a second area that has a standard of its own (0: there is none), and how far an umpire's
        abilities in the two areas go together.
    """

    key: str
    title: str
    words: str
    games: int = 5
    calls: int = 60
    panel: tuple[int, int] = (2, 4)
    intercept: float = 2.4
    umpire_sd: float = 0.5
    evaluator_sd: float = 0.3
    situation_sd: float = 0.9
    game_sd: float = 0.25
    situations: int = 16
    shape: Literal["normal", "skewed", "two_humps"] = "normal"
    tied: bool = False
    groups: int = 1
    group_gap: float = 0.0
    wrong_facts: float = 0.0
    other_calls: int = 0
    correlation: float = 0.0


DESIGNS = (
    Design(
        "ordinary",
        "An ordinary season",
        "Five games of 60 graded calls, seen by two to four evaluators; games of one umpire differ (SD 0.25).",
    ),
    Design(
        "few_looks",
        "Few looks",
        "Two games of 25 graded calls for each umpire.",
        games=2,
        calls=25,
        panel=(1, 2),
    ),
    Design(
        "few_evaluators",
        "Few evaluators for each umpire",
        "One or two evaluators see all games of an umpire, and evaluators differ more (SD 0.45).",
        panel=(1, 2),
        evaluator_sd=0.45,
    ),
    Design(
        "severe_with_strong",
        "Severe evaluators see the strong umpires",
        "Evaluators differ more (SD 0.45); the more severe, the stronger the umpires whom they see (correlation 0.6).",
        evaluator_sd=0.45,
        tied=True,
    ),
    Design(
        "unlinked",
        "Two groups without a link",
        "No evaluator sees umpires of both halves; those of one half are more severe by 0.6.",
        groups=2,
        group_gap=0.6,
    ),
    Design("skewed", "A few umpires far below the rest", "Abilities are skewed to the left.", shape="skewed"),
    Design(
        "two_humps",
        "Two kinds of umpires",
        "Abilities fall into two humps, almost two SDs apart.",
        shape="two_humps",
    ),
    Design(
        "wrong_facts",
        "Wrong facts in one row of fifty",
        "A wrong fact turns the grade of 2 % of the calls over; the truth is the rate without such mistakes.",
        wrong_facts=0.02,
    ),
    Design(
        "games_differ",
        "Games of one umpire differ much",
        "An umpire's games differ with SD 0.6, more than umpires do.",
        game_sd=0.6,
    ),
    Design("games_alike", "Games do not differ", "The calls of a game are independent (SD 0).", game_sd=0.0),
    Design(
        "two_standards",
        "Two standards at once",
        "A second area with 8 calls a game has a standard too; abilities in the two go together (correlation 0.6).",
        other_calls=8,
        correlation=0.6,
    ),
)


def bench_policy(draws: int, areas: tuple[str, ...]) -> Policy:
    """Return a policy with one level, no least evidence, and the accepted risks of the bench.

    No least evidence is asked for: it would hide what the probabilities by themselves are worth.
    """
    level = Level(
        LEVEL,
        "The level",
        {area: CUTS[area] for area in areas},
        evidence=Evidence(0, 0, 0),
        risk_ready=RISK,
        risk_not_yet=RISK,
    )
    return Policy("Simulated season", "", None, None, (level,), draws=draws)
