"""The checks across rows and sheets, declared once: what must hold, how grave it is, and where a bound comes from.

Each is one SELECT in `sql/<kind>.sql`. What it finds becomes a finding; how many it found becomes a row of
`meta.check_result`, beside the checks that follow from the table declarations.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

MOST_CALLS_A_GAME = 450
"""More calls on one game than this are no game's: both sides throw some 250 to 330 pitches in nine innings
(from memory, no source), and a third as many again is left for extra innings."""

STRAIGHT_LINE_CALLS = 100
"""From this many grades on, one grade for all of them is told (our own choice, no source): were 97 calls of
100 right, a hundred would all be graded right by chance one time in twenty (0.97^100 = 0.048)."""

STRAIGHT_LINE_SCORES = 20
"""From this many scores on, one score for all of them is told (our own choice, no source): even where three
scores in four are the same, twenty in a row come up one time in three hundred (0.75^20 = 0.003)."""

STRAIGHT_LINE_GAMES = 12
"""From this many games on, one score for all criteria of each game is told (our own choice, no source): even where
three games in four are like that, twelve in a row come up three times in a hundred (0.75^12 = 0.032)."""

STRAIGHT_LINE_CHECKS = 20
"""From this many checks of positioning on, the same answers in all of them are told (our own choice, no source): even
where three checks in four are alike, twenty in a row come up one time in three hundred (0.75^20 = 0.003)."""

LEAST_MINUTES_APART = 60
"""Two starts closer than this cannot both be worked (our own choice, no source): no game is over sooner."""

COPIED_ROWS, COPIED_SHARE = 20, 0.8
"""Least size of a sheet, and part of it that must be the same in another game's (our choice, no source)."""

NEAR_BOUNDARY_IN = 1.0
"""Taken pitches measured within this many inches of the zone's boundary are not held against anyone: neither
the umpire's eye nor the measurement is finer (our own choice, no source)."""


@dataclass(frozen=True)
class AcrossCheck:
    """One question asked of the season as a whole.

    `table` is the sheet whose rows are looked at. `severity` is `warn` (mend or decide) or `note` (good to know).
    `title` says what must hold. `stage` is `check` where the sheets alone tell, `rulings` where the rules must
    have spoken first.
    """

    kind: str
    table: str
    severity: Literal["warn", "note"]
    title: str
    stage: Literal["check", "rulings"] = "check"

    @property
    def id(self) -> str:
        """The id under which the result is told."""
        return f"across.{self.kind}"


_ACROSS = (
    AcrossCheck("own_game", "plate_calls", "warn", "Nobody grades or amends his or her own work"),
    AcrossCheck("outside_season", "games", "warn", "The game's day lies within the season that the policy names"),
    AcrossCheck("unknown_level", "games", "warn", "Every level on the sheets is one of the policy"),
    AcrossCheck(
        "two_games_at_once", "games", "warn",
        f"No umpire stands in two games at once: starts on the slate lie {LEAST_MINUTES_APART} minutes apart or more "
        "(our own choice: no game is over sooner); where a start is not known, all games of a day are at one site",
    ),
    AcrossCheck("seen_once", "umpires", "note", "An umpire was seen in more than one game"),
    AcrossCheck("sheet_form", "plate_calls", "note", "A file has the plain form: commas, UTF-8, our own headings"),
    AcrossCheck("facts_differ", "plate_calls", "warn", "Two evaluators on one pitch recorded the same facts"),
    AcrossCheck(
        "many_calls", "plate_calls", "warn",
        f"One evaluator has at most {MOST_CALLS_A_GAME} calls of one game (both sides throw some 250 to 330 pitches "
        "in nine innings, from memory, no source; a third as many again is left for extra innings)",
    ),
    AcrossCheck(
        "copied_sheets", "plate_calls", "warn",
        f"No two games' sheets of {COPIED_ROWS} calls or more are the same in {COPIED_SHARE:.0%} of their rows "
        "(both bounds are our own choice)",
    ),
    AcrossCheck(
        "straight_lining", "plate_calls", "warn",
        f"An evaluator with {STRAIGHT_LINE_CALLS} grades or more did not give the same grade to all (our own choice: "
        "97 right of 100 would give a hundred right ones one time in twenty)",
    ),
    AcrossCheck(
        "straight_scores", "ratings", "warn",
        f"An evaluator with {STRAIGHT_LINE_SCORES} scores or more did not give the same score to all (our own choice: "
        "were three in four the same, twenty in a row would come up one time in three hundred)",
    ),
    AcrossCheck(
        "straight_criteria", "ratings", "warn",
        f"An evaluator with {STRAIGHT_LINE_GAMES} rated games or more did not give all criteria of each game one score "
        "(our own choice: were three games in four like that, twelve in a row would come up three times in a hundred)",
    ),
    AcrossCheck(
        "straight_checks", "positioning", "warn",
        f"An evaluator with {STRAIGHT_LINE_CHECKS} positioning checks or more did not answer all of them alike (our "
        "own choice: were three in four alike, twenty in a row would come up one time in three hundred)",
    ),
    AcrossCheck("answer_without_option", "quiz_responses", "warn", "An answer names an option that the item has"),
    AcrossCheck("recorded_before_game", "plate_calls", "warn", "No call was written down before the day of its game"),
    AcrossCheck("amended_before_game", "amendments", "warn", "No call was amended before the day of its game"),
    AcrossCheck("amendment_without_change", "amendments", "note", "An amendment changes what stands on the sheet"),
    AcrossCheck("amended_row", "amendments", "warn", "A row still holds together once its amendments are in place"),
    AcrossCheck("facts_contradict", "plate_calls", "warn", "The facts of a call can stand together", "rulings"),
    AcrossCheck(
        "grade_contradicts_rules", "plate_calls", "warn",
        "The evaluator's grade is the one that the rules give (taken pitches within "
        f"{NEAR_BOUNDARY_IN:g} in of the zone's boundary are left out, our own choice)", "rulings",
    ),
)  # fmt: skip

ACROSS = {check.kind: check for check in _ACROSS}
"""Every check across rows and sheets, by kind."""
