"""The graded calls of one game: taken pitches and special situations, with the right ruling of each."""

from __future__ import annotations

import bisect
import itertools
import math
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, replace

import numpy as np

from demo_data import book, scenarios_bat, scenarios_box, scenarios_hit
from demo_data.book import RULED, Ruling, Situation, differs, either
from demo_data.plan import OTHER_CODE, Game, Rng, chance
from demo_data.scenario import Scenario

SCENARIOS = (*scenarios_box.SCENARIOS, *scenarios_hit.SCENARIOS, *scenarios_bat.SCENARIOS)
BY_NAME = {scenario.name: scenario for scenario in SCENARIOS}

BALL_RADIUS_IN = 9.125 / (2 * math.pi)
"""From the middle of the 9 to 9 1/4 in that all three codes allow around the ball."""

HALF_PLATE_IN = 8.5
PITCHES, SPECIALS = (78, 86), (4, 7)
"""Least and most of each in one game."""

SOURCES = {"tracked": 0.5, "video": 0.38, "eye": 0.12}
SLOTS = {"overhand": 0.3, "three_quarter": 0.6, "sidearm": 0.1}
KINDS = {"fastball": 0.6, "breaking": 0.28, "offspeed": 0.12}
SOURCE_SD_IN = {"tracked": 0.4, "video": 1.2, "eye": 2.5}

PITCH_BASE, PITCH_REACH, PITCH_SCALE_IN = 0.7, 4.1, 1.8
"""Logit of a right call at the edge, what distance adds at most, and over how many inches."""

SPECIAL_BASE = {"batters_box": 1.5, "hit_batter": 1.6, "other_rulings": 1.9}

COUNTS = [(balls, strikes) for balls in range(4) for strikes in range(3)]
COUNT_UP_TO = [26, 39, 45, 56, 66, 75, 79, 85, 93, 95, 97.5, 100]
NOTES = {
    "pitches": ("frozen after the catcher moved", "good timing", "late on the signal", "head dropped"),
    "special": ("well sold", "talked to the coach", "asked his partner", "quick to point"),
}


@dataclass(frozen=True)
class Call:
    """One row of a sheet, and what is truly so: scenario, right ruling, whether all noted parts are right."""

    row: dict[str, str]
    scenario: str
    right: Ruling
    verdict: str


def verdict_of(row: dict[str, str], right: Ruling) -> str:
    """Return `no` if a noted part is wrong, else `open` if one cannot be decided, else `yes`."""
    noted = [(row.get(f"ruled_{part}", ""), getattr(right, part)) for part in RULED]
    stated = [(ruled, true) for ruled, true in noted if ruled and true]
    if any(differs(ruled, true) for ruled, true in stated):
        return "no"
    return "open" if not stated or any("|" in true for _, true in stated) else "yes"


def _pick(shares: Mapping[str, float], rng: Rng) -> str:
    """Return a value drawn by its share; the shares add up to one (a tenth the time of `rng.choice`)."""
    values = tuple(shares)
    up_to = tuple(itertools.accumulate(shares.values()))
    return values[min(bisect.bisect(up_to, rng.random()), len(values) - 1)]


def _situation(rng: Rng) -> Situation:
    balls, strikes = COUNTS[bisect.bisect(COUNT_UP_TO, 100 * rng.random())]
    first, second, third = (rng.random() < share for share in (0.3, 0.2, 0.12))
    return Situation(int(rng.integers(3)), balls, strikes, first, second, third)


def _frame(game: Game, pitch_no: int, now: Situation, rng: Rng) -> dict[str, str]:
    half_inning = pitch_no // 14
    return {
        "call_id": f"{game.game_id}-{pitch_no:03d}",
        "game_id": game.game_id,
        "evaluator_id": game.evaluator.evaluator_id,
        "pitch_no": str(pitch_no),
        "inning": str(half_inning // 2 + 1),
        "half": ("top", "bottom")[half_inning % 2],
        "outs": str(now.outs),
        "balls": str(now.balls),
        "strikes": str(now.strikes),
        "on_first": "yes" if now.on_first else "",
        "on_second": "yes" if now.on_second else "",
        "on_third": "yes" if now.on_third else "",
        "batter_side": "left" if rng.random() < 0.35 else "right",
        "pitcher_hand": "left" if rng.random() < 0.28 else "right",
    }


def margin_in(x: float, z: float, low: float, high: float) -> tuple[float, str]:
    """Return how far inside the boundary the ball's centre is, and the nearest edge; negative is outside.

    The boundary is the zone widened by the ball's radius on every side: any part of the ball is enough.
    """
    sides = {
        "side": HALF_PLATE_IN + BALL_RADIUS_IN - abs(x),
        "low": z - (low - BALL_RADIUS_IN),
        "high": high + BALL_RADIUS_IN - z,
    }
    edge = min(sides, key=lambda name: sides[name])
    return sides[edge], edge


def off_the_corner(x: float, z: float, low: float, high: float) -> float:
    """Return x, moved out where only a square corner would make the pitch a strike.

    A ball that passes a corner of the zone at more than its radius touches nothing. Such pitches are moved
    off the plate, so that square and round corners agree on every pitch of the season.
    """
    beyond_x = abs(x) - HALF_PLATE_IN
    beyond_z = max(low - z, z - high)
    if beyond_x > 0 and beyond_z > 0 and math.hypot(beyond_x, beyond_z) > BALL_RADIUS_IN - 0.05:
        return math.copysign(max(abs(x), 10.2), x)
    return x


def _side_name(x: float, batter_side: str) -> str:
    # The umpire looks from behind the plate: a right-handed batter stands to his left (x < 0).
    toward_batter = x < 0 if batter_side == "right" else x > 0
    return "inside" if toward_batter else "outside"


def _taken_place(low: float, high: float, rng: Rng) -> tuple[float, float]:
    while True:
        x = 8.6 * rng.standard_normal()
        z = (low + high) / 2 - 1.5 + 10.5 * rng.standard_normal()
        inside = margin_in(x, z, low, high)[0] > 0
        if z > -2 and rng.random() < (0.34 if inside else 0.74):
            return float(x), float(z)


def _logit(game: Game, area: str) -> float:
    return game.umpire.skill[area] + game.evaluator.severity_on(game.day) + game.effect


def _grade(verdict: str, near: bool, rng: Rng) -> str:
    """Return the evaluator's word: missing at times, mostly what is true, less surely so near the edge."""
    draw = rng.random()
    if draw < 0.25:
        return ""
    if verdict == "open":
        return "not_sure" if draw < 0.7 else "right"
    if near and draw < 0.35:
        return "not_sure"
    truly = "right" if verdict == "yes" else "wrong"
    mistaken = rng.random() < (0.12 if near else 0.015)
    return {"right": "wrong", "wrong": "right"}[truly] if mistaken else truly


def _note(kind: str, rng: Rng) -> str:
    return NOTES[kind][int(rng.integers(4))] if rng.random() < 0.04 else ""


def taken_pitch(game: Game, pitch_no: int, rng: Rng) -> Call:
    """Return a taken pitch that touched nothing.

    The umpire sees where the ball truly was; the sheet has the place as measured, and that decides.
    """
    now = _situation(rng)
    row = _frame(game, pitch_no, now, rng)
    low = round(17.5 + 1.3 * rng.standard_normal(), 1)
    high = round(low + 23.0 + 1.2 * rng.standard_normal(), 1)
    x, z = _taken_place(low, high, rng)
    margin, edge = margin_in(x, z, low, high)
    edge = _side_name(x, row["batter_side"]) if edge == "side" else edge
    slot = _pick(SLOTS, rng)
    source = _pick(SOURCES, rng)
    bounced = z < 3 and bool(rng.random() < 0.7)
    row |= {
        "arm_slot": slot if rng.random() < 0.8 else "",
        "pitch_kind": _pick(KINDS, rng),
        "pitch_mph": str(round(74 + 5 * rng.standard_normal())) if source == "tracked" else "",
        "location_source": source,
        "bounced": "yes" if bounced else "",
    }
    # With two strikes the catch decides a strike three; now and then it was not noted.
    caught = "" if rng.random() < 0.04 else "yes"
    if bounced:
        caught = "no"
    if now.strikes == 2 or bounced:
        row["pitch_caught"] = caught
    in_zone = _record_place(row, (x, z, low, high), source, rng)
    strikes = {
        "yes": [book.strike_caught],
        "no": [book.strike_not_caught],
        "": [book.strike_caught, book.strike_not_caught],
    }[caught if now.strikes == 2 else "yes"]
    if bounced:
        right = book.ball_live(now)
    else:
        events = [] if in_zone is False else list(strikes)
        events += [] if in_zone is True else [book.ball_live]
        right = either(now, events)
    truly_strike = margin > 0 and not bounced
    logit = PITCH_BASE + _logit(game, "pitches")
    logit += PITCH_REACH * (1 - math.exp(-abs(margin) / PITCH_SCALE_IN))
    logit += (1 if truly_strike else -1) * 1.2 * game.umpire.offset[edge] * math.exp(-abs(margin) / 2)
    logit -= 0.25 if slot == "sidearm" and row["batter_side"] == row["pitcher_hand"] else 0.0
    called_strike = truly_strike if rng.random() < chance(logit) else not truly_strike
    row["ruled_pitch"] = "strike" if called_strike else "ball"
    if rng.random() < 0.6 and (caught or now.strikes < 2):
        called = strikes[0](now) if called_strike else book.ball_live(now)
        row["ruled_batter"] = called.batter if called.batter != "at_bat" else ""
    verdict = verdict_of(row, right)
    row["grade"] = _grade(verdict, abs(margin) < 1.5, rng)
    row["note"] = _note("pitches", rng)
    return Call(row, "taken_pitch", right, verdict)


def _record_place(row: dict[str, str], place: tuple[float, float, float, float], source: str, rng: Rng) -> bool | None:
    """Write the measured or judged place on the row; return whether it says strike, or None."""
    x, z, low, high = place
    sd = SOURCE_SD_IN[source]
    seen_x = round(x + sd * rng.standard_normal(), 1)
    seen_z = round(z + sd * rng.standard_normal(), 1)
    seen_x = round(off_the_corner(seen_x, seen_z, low, high), 1)
    margin, edge = margin_in(seen_x, seen_z, low, high)
    # Tenths of an inch cannot fall between the boundaries for the smallest and the largest legal ball.
    if source != "eye" or rng.random() < 0.35:
        row |= {
            "ball_x_in": f"{seen_x:.1f}",
            "ball_z_in": f"{seen_z:.1f}",
            "zone_low_in": f"{low:.1f}",
            "zone_high_in": f"{high:.1f}",
        }
        return margin > 0
    if abs(margin) < 0.8:
        row["location"] = "edge"
        return None
    row["location"] = "in_zone" if margin > 0 else "out_of_zone"
    if margin < 0:
        row["miss_side"] = _side_name(seen_x, row["batter_side"]) if edge == "side" else edge
    return margin > 0


def pick_situation(scenario: Scenario, rng: Rng) -> Situation:
    """Return a situation in which the scenario can happen."""
    while True:
        now = _situation(rng)
        if scenario.fits(now):
            return now


def special(game: Game, pitch_no: int, scenario: Scenario, rng: Rng, ruled_right: bool | None = None) -> Call:
    """Return one special situation; `ruled_right` fixes whether the umpire gets it right."""
    now = pick_situation(scenario, rng)
    row = _frame(game, pitch_no, now, rng)
    row |= scenario.facts
    for fact, values in scenario.choices.items():
        row[fact] = values[int(rng.integers(len(values)))]
    code = game.rule_code
    right = scenario.ruling(code, now)
    logit = SPECIAL_BASE[scenario.area] + scenario.difficulty + _logit(game, scenario.area)
    draw = rng.random()
    is_right = draw < chance(logit) if ruled_right is None else ruled_right
    ruled = right
    if right.is_open:
        events = scenario.right[code]
        ruled = events[int(rng.integers(len(events)))](now) if isinstance(events, tuple) else right
    elif not is_right:
        mistakes = [event(now) for event in scenario.wrongs]
        mistakes = [
            mistake
            for mistake in mistakes
            if any(differs(getattr(mistake, part), getattr(right, part)) for part in scenario.noted)
        ]
        if mistakes:
            ruled = mistakes[int(rng.integers(len(mistakes)))]
    row |= {f"ruled_{part}": getattr(ruled, part) for part in scenario.noted}
    verdict = verdict_of(row, right)
    believed = verdict
    if game.evaluator.evaluator_id == OTHER_CODE and scenario.name.startswith("plate_and_line"):
        believed = verdict_of(row, scenario.ruling("obr", now))
        row["grade"] = "right" if believed == "yes" else "wrong"
    else:
        row["grade"] = _grade(believed, False, rng)
    row["note"] = _note("special", rng)
    return Call(row, scenario.name, right, verdict)


def calls_of(game: Game, seed: int) -> list[Call]:
    """Return every graded call of a game, in order of pitches."""
    rng = np.random.default_rng([seed, 2, game.number])
    pitches = int(rng.integers(PITCHES[0], PITCHES[1] + 1))
    specials = int(rng.integers(SPECIALS[0], SPECIALS[1] + 1))
    drawn = _draw_scenarios(game, specials, rng)
    places = {
        int(place): scenario
        for place, scenario in zip(
            rng.choice(np.arange(1, pitches + len(drawn) + 1), size=len(drawn), replace=False),
            drawn,
            strict=True,
        )
    }
    calls = []
    for pitch_no in range(1, pitches + len(drawn) + 1):
        if pitch_no not in places:
            calls.append(taken_pitch(game, pitch_no, rng))
            continue
        scenario, ruled_right = places[pitch_no]
        calls.append(special(game, pitch_no, scenario, rng, ruled_right))
    return calls


def _draw_scenarios(game: Game, count: int, rng: Rng) -> list[tuple[Scenario, bool | None]]:
    usable = [scenario for scenario in SCENARIOS if game.rule_code in scenario.right]
    weights = np.array([scenario.weight for scenario in usable])
    drawn: list[tuple[Scenario, bool | None]] = [
        (usable[int(place)], None) for place in rng.choice(len(usable), size=count, p=weights / weights.sum())
    ]
    if game.evaluator.evaluator_id == OTHER_CODE and game.rule_code == "nfhs":
        # One case of the plate in each of this evaluator's school games: ruled right and wrong in turn.
        drawn.append((BY_NAME["plate_and_line_foul"], game.number % 2 == 0))
    return drawn


def truth_row(call: Call) -> dict[str, str]:
    """Return the row of the truth file for a call."""
    parts = {name: str(value) for name, value in asdict(call.right).items()}
    return {
        "call_id": call.row["call_id"],
        "scenario": call.scenario,
        "verdict": call.verdict,
        "state": "open" if call.right.is_open else "settled",
        **parts,
    }


TRUTH_COLUMNS: Sequence[str] = (
    "call_id", "scenario", "verdict", "state", *RULED, "outs_added", "balls_after", "strikes_after",
)  # fmt: skip


def amended(call: Call, column: str, value: str) -> Call:
    """Return a call as it counts once one cell has been amended."""
    row = call.row | {column: value}
    return replace(call, verdict=verdict_of(row, call.right))
