"""Two quizzes of 40 items: cases made from the scenarios, dimensions, and questions on mechanics."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from demo_data import book
from demo_data.book import RULED, Event, Ruling, Situation, differs
from demo_data.game_calls import BY_NAME, pick_situation
from demo_data.plan import Plan, Rng, chance
from demo_data.quiz_texts import DIMENSIONS, MECHANICS
from demo_data.scenario import Scenario
from demo_data.sheet import Row

LETTERS = "abcd"
QUIZZES = {"Q1": "2026-03-01", "Q2": "2026-05-10"}
SECOND_SITTING_SHARE = 0.85
LEFT_OUT_SHARE = 0.02

ITEM_COLUMNS: Sequence[str] = (
    "item_id", "rule_code", "topic", "stem", *(f"option_{letter}" for letter in LETTERS),
    *(f"option_{letter}_states" for letter in LETTERS), "key", "quantity",
    "moment", "outs", "balls", "strikes", "on_first", "on_second", "on_third", "play_on", "stealing_first",
    "stealing_second", "pitch_kind", "location", "miss_side", "bounced", "pitch_delivered", "pitch_caught",
    "location_at_touch", "swing", "contact", "tip_first_touched", "first_touch", "touched", "touch_place",
    "avoidance", "could_avoid", "stance_front", "stance_back", "contact_front", "contact_back",
    "contact_knee", "plate_touch", "batter_act",
)  # fmt: skip
RESPONSE_COLUMNS = ("quiz_id", "date", "umpire_id", "item_id", "answer")
TRUE_ITEM_COLUMNS = ("item_id", "verdict", "right_option", "difficulty", "reference")

CASES = {
    "Q1": (
        ("front_foot_wholly_out_fair", "nfhs"),
        ("back_foot_wholly_out_foul", "nfhs"),
        ("part_of_foot_out", "nfhs"),
        ("plate_and_line_foul", "nfhs"),
        ("missed_with_foot_on_plate", "nfhs"),
        ("stance_over_front_line", "nfhs"),
        ("delay_strike", "nfhs"),
        ("steps_out_pitch_delivered", "nfhs"),
        ("swung_at_and_hit", "nfhs"),
        ("swung_at_hands_hit", "nfhs"),
        ("in_zone_as_it_touched", "nfhs"),
        ("tried_to_avoid", "nfhs"),
        ("permitted", "nfhs"),
        ("permitted", "ncaa"),
        ("froze_on_breaking_pitch", "nfhs"),
        ("loose_clothing", "nfhs"),
        ("bounced_then_hit", "nfhs"),
        ("foul_tip_to_body", "nfhs"),
        ("strike_three_dropped_first_held", "nfhs"),
        ("foul_bunt_on_two_strikes", "nfhs"),
    ),
    "Q2": (
        ("foot_on_plate_no_line", "nfhs"),
        ("foot_in_the_air", "nfhs"),
        ("plate_and_line_fair", "obr"),
        ("foot_out_foul_tip", "nfhs"),
        ("knee_wholly_out", "nfhs"),
        ("delay_strike", "obr"),
        ("steps_out_pitch_delivered", "obr"),
        ("strike_three_hits_him", "nfhs"),
        ("bounced_swung_at_hit", "nfhs"),
        ("no_chance", "nfhs"),
        ("moved_into", "ncaa"),
        ("froze_in_the_box", "ncaa"),
        ("steal_not_forced", "obr"),
        ("froze_not_judged", "nfhs"),
        ("loose_clothing", "obr"),
        ("foul_tip_to_mitt", "nfhs"),
        ("strike_three_dropped_runner_stealing", "nfhs"),
        ("strike_three_dropped_two_outs", "nfhs"),
        ("bounced_strike_three", "nfhs"),
        ("ball_four", "nfhs"),
    ),
}
MISKEYED = ("Q1", "foul_tip_to_body", "nfhs")
"""This item's key is the ruling of the professional and college codes, asked under the high school code."""

OPEN = ("Q2", "froze_not_judged", "nfhs")
"""This item leaves out whether he could have moved, and that decides."""

FILLERS: tuple[Event, ...] = (
    book.award, book.ball_dead, book.strike_dead, book.foul, book.illegal_hit, book.strike_caught,
    book.ball_live, book.fair,
)  # fmt: skip
STANCE_FILLERS: tuple[Event, ...] = (
    book.say_nothing, book.direct_batter, book.warn, book.but(book.warn, instruct="eject"),
)  # fmt: skip
CODE_TITLES = {"nfhs": "High school rules", "obr": "Professional rules", "ncaa": "College rules"}
WORDS = {
    "pitch": {
        "ball": "a ball",
        "strike": "a strike",
        "foul": "a foul",
        "in_play": "the ball is in play",
        "no_pitch": "no pitch",
    },
    "ball_status": {"live": "live", "dead": "dead", "delayed_dead": "delayed dead"},
    "batter": {
        "at_bat": "he stays at bat",
        "out": "he is out",
        "first_base": "he is given first base",
        "batter_runner": "he may run",
    },
    "runners": {
        "as_played": "runners move at their risk",
        "return": "runners go back",
        "forced": "only forced runners move",
        "forced_and_stealing": "forced and stealing runners move",
        "advance_one": "every runner moves up one",
    },
    "instruct": {
        "none": "say nothing",
        "direct_batter": "direct him into the box",
        "warn": "warn him",
        "eject": "eject him",
        "start_over": "start over",
    },
}


@dataclass(frozen=True)
class Item:
    """One item, with the option that is truly right (blank if open) and what a check of the key should say.

    The verdict is blank where no rule can check the key.
    """

    quiz_id: str
    row: dict[str, str]
    right_option: str
    verdict: str
    difficulty: float
    reference: str


def _stated(ruling: Ruling, noted: Sequence[str]) -> dict[str, str]:
    return {part: getattr(ruling, part) for part in RULED if part in noted and getattr(ruling, part)}


def _in_words(stated: Mapping[str, str]) -> str:
    text = ", ".join(WORDS[part][value] for part, value in stated.items())
    return text[0].upper() + text[1:] + "."


def _options(scenario: Scenario, code: str, now: Situation) -> list[dict[str, str]]:
    """Return what four options state, the right one first; the others contradict it in a stated part."""
    right = scenario.ruling(code, now)
    noted = scenario.noted
    fillers = STANCE_FILLERS if noted == ("instruct",) else FILLERS
    events = scenario.right[code]
    first = [event(now) for event in events] if isinstance(events, tuple) else [right]
    options = [_stated(ruling, noted) for ruling in first]
    for event in (*scenario.wrongs, *fillers):
        stated = _stated(event(now), noted)
        contradicts = any(differs(value, getattr(right, part)) for part, value in stated.items())
        if contradicts and stated not in options and len(options) < len(LETTERS):
            options.append(stated)
    return options


def _where(now: Situation) -> str:
    outs = ("Nobody out", "One out", "Two outs")[now.outs]
    bases = [
        name for name, held in (("first", now.on_first), ("second", now.on_second), ("third", now.on_third)) if held
    ]
    runners = (
        f"runners on {' and '.join(bases)}" if len(bases) > 1 else f"runner on {bases[0]}" if bases else "bases empty"
    )
    return f"{outs}, {runners}, count {now.balls}-{now.strikes}."


def _shuffled(row: dict[str, str], options: list[tuple[str, str]], rng: Rng) -> list[int]:
    """Write (text, states) options to a row in random order; return for each letter which option it is."""
    order = [int(place) for place in rng.permutation(len(options))]
    for letter, place in zip(LETTERS, order, strict=False):
        row[f"option_{letter}"], row[f"option_{letter}_states"] = options[place]
    return order


def _case_item(quiz_id: str, item_id: str, scenario: Scenario, code: str, rng: Rng) -> Item:
    now = pick_situation(scenario, rng)
    row = {
        "item_id": item_id,
        "rule_code": code,
        "topic": {"batters_box": "batter's box", "hit_batter": "hit batter"}.get(scenario.area, "at the bat"),
        "stem": f"{CODE_TITLES[code]}. {_where(now)} {scenario.story} What is the ruling?",
        "outs": str(now.outs),
        "balls": str(now.balls),
        "strikes": str(now.strikes),
        "on_first": "yes" if now.on_first else "no",
        "on_second": "yes" if now.on_second else "no",
        "on_third": "yes" if now.on_third else "no",
        **{fact: values[0] for fact, values in scenario.choices.items()},
        **scenario.facts,
    }
    stated = _options(scenario, code, now)
    texts = [(_in_words(s), ";".join(f"{part}={value}" for part, value in s.items())) for s in stated]
    order = _shuffled(row, texts, rng)
    right = LETTERS[order.index(0)]
    row["key"] = right
    verdict = "confirmed"
    if (quiz_id, scenario.name, code) == MISKEYED:
        wanted = _stated(book.foul_tip(now), scenario.noted)
        row["key"] = LETTERS[order.index(stated.index(wanted))]
        verdict = "wrong"
    if (quiz_id, scenario.name, code) == OPEN:
        verdict, right = "open", ""
    difficulty = -0.9 - scenario.difficulty + 0.6 * rng.standard_normal()
    return Item(quiz_id, row, right, verdict, round(float(difficulty), 3), scenario.reference)


def _plain_item(quiz_id: str, item_id: str, given: Mapping[str, Any], rng: Rng) -> Item:
    """Make an item on a dimension or on mechanics; the first option given is the right one."""
    row = {
        "item_id": item_id,
        **{key: given.get(key, "") for key in ("rule_code", "topic", "stem", "quantity")},
    }
    order = _shuffled(row, list(given["options"]), rng)
    right = LETTERS[order.index(0)]
    row["key"] = right
    difficulty = round(float(-0.8 + 0.7 * rng.standard_normal()), 3)
    verdict = "confirmed" if row["quantity"] else ""
    return Item(quiz_id, row, right, verdict, difficulty, given["reference"])


def draw_items(seed: int) -> list[Item]:
    """Return the items of both quizzes: 20 cases, 13 dimensions and 7 on mechanics in each."""
    rng = np.random.default_rng([seed, 3])
    items: list[Item] = []
    for quiz, quiz_id in enumerate(QUIZZES):
        plain = [*DIMENSIONS[13 * quiz : 13 * quiz + 13], *MECHANICS[7 * quiz : 7 * quiz + 7]]
        for name, code in CASES[quiz_id]:
            number = len(items) % 40 + 1
            items.append(_case_item(quiz_id, f"{quiz_id}-{number:02d}", BY_NAME[name], code, rng))
        for given in plain:
            number = len(items) % 40 + 1
            items.append(_plain_item(quiz_id, f"{quiz_id}-{number:02d}", given, rng))
    return items


def response_rows(plan: Plan, items: Sequence[Item], seed: int) -> Iterator[Row]:
    """Yield the answers: everybody sits the first quiz, most the second.

    An umpire who knows the rule picks the option that is truly right, whatever the key says; on an item
    that is open, either of the two possible answers, the keyed one more often.
    """
    for number, umpire in enumerate(plan.umpires):
        rng = np.random.default_rng([seed, 8, number])
        sits = {"Q1": True, "Q2": bool(rng.random() < SECOND_SITTING_SHARE)}
        for item in items:
            if not sits[item.quiz_id]:
                continue
            right = item.right_option or item.row["key"]
            others = [letter for letter in LETTERS if letter != right and item.row.get(f"option_{letter}")]
            knows = rng.random() < chance(umpire.skill["quiz"] - item.difficulty)
            answer = right if knows else others[int(rng.integers(len(others)))]
            yield {
                "quiz_id": item.quiz_id,
                "date": QUIZZES[item.quiz_id],
                "umpire_id": umpire.umpire_id,
                "item_id": item.row["item_id"],
                "answer": "" if rng.random() < LEFT_OUT_SHARE else answer,
            }


def true_item_rows(items: Sequence[Item]) -> Iterator[Row]:
    """Yield for each item what a check of its key should say."""
    for item in items:
        yield {
            "item_id": item.row["item_id"],
            "verdict": item.verdict,
            "right_option": item.right_option,
            "difficulty": f"{item.difficulty:.3f}",
            "reference": item.reference,
        }
