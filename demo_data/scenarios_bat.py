"""Scenarios of swings, bunts, tips, third strikes and fourth balls."""

from __future__ import annotations

from demo_data import book
from demo_data.book import Situation, but
from demo_data.scenario import Scenario, all_codes
from demo_data.scenarios_box import FEET, PITCH_AND_OUTCOME


def _two_strikes(now: Situation) -> bool:
    return now.strikes == 2


def _under_two_strikes(now: Situation) -> bool:
    return now.strikes < 2


def _may_run(now: Situation) -> bool:
    return now.strikes == 2 and not now.first_blocks


def _may_not_run(now: Situation) -> bool:
    return now.strikes == 2 and now.first_blocks


def _two_outs_first_held(now: Situation) -> bool:
    return now.strikes == 2 and now.on_first and now.outs == 2


def _steal_of_second(now: Situation) -> bool:
    return now.strikes == 2 and now.on_first and not now.on_second and not now.on_third and now.outs < 2


def _three_balls(now: Situation) -> bool:
    return now.balls == 3


def _under_three_balls(now: Situation) -> bool:
    return now.balls < 3


MISS = {"swing": "full"}
CAUGHT = {"pitch_caught": "yes"}
NOT_CAUGHT = {"pitch_caught": "no"}
OUT_ANYWAY = but(book.strike_caught, batter="out")
DEAD_TIP = but(book.foul_tip, ball_status="dead", runners="return")

SCENARIOS = (
    Scenario(
        name="swing_and_miss",
        area="other_rulings",
        story="The batter swings at a pitch outside the zone and misses; the catcher holds it.",
        facts={**MISS, "location": "out_of_zone", **CAUGHT},
        right=all_codes(book.strike_caught),
        wrongs=(book.ball_live, but(book.strike_caught, ball_status="dead", runners="return")),
        noted=PITCH_AND_OUTCOME,
        reference="NFHS 7-2-1b; OBR Definitions (strike, a); NCAA 7-4-a",
        fits=_under_two_strikes,
        difficulty=1.0,
    ),
    Scenario(
        name="checked_swing_ball",
        area="other_rulings",
        story=("The batter starts to swing at a pitch outside the zone and stops; it is judged that he did not offer."),
        facts={"swing": "checked", "location": "out_of_zone", **CAUGHT},
        right=all_codes(book.ball_live),
        wrongs=(book.strike_caught,),
        noted=PITCH_AND_OUTCOME,
        reference="NFHS 10-1-4a; OBR 8.02(c); by location",
        weight=1.5,
        fits=_under_two_strikes,
    ),
    Scenario(
        name="bat_held_over_plate",
        area="other_rulings",
        story="Squared to bunt, the batter holds the bat still over the plate; the pitch is high, caught.",
        facts={"location": "out_of_zone", "miss_side": "high", **CAUGHT},
        right=all_codes(book.ball_live),
        wrongs=(book.strike_caught,),
        noted=PITCH_AND_OUTCOME,
        reference="NFHS 2-8, 7-2-2; OBR and NCAA inferred",
        fits=_under_two_strikes,
    ),
    Scenario(
        name="bunt_missed",
        area="other_rulings",
        story="A bunt attempt at a high pitch misses; the catcher holds it.",
        facts={"swing": "bunt", "location": "out_of_zone", **CAUGHT},
        right=all_codes(book.strike_caught),
        wrongs=(book.ball_live, book.foul),
        noted=PITCH_AND_OUTCOME,
        reference="NFHS 7-2-1b; OBR Definitions (strike, a); NCAA 7-4-a",
        fits=_under_two_strikes,
        difficulty=0.6,
    ),
    Scenario(
        name="foul_on_two_strikes",
        area="other_rulings",
        story="On two strikes the batter swings and fouls the pitch to the backstop.",
        facts={"swing": "full", "contact": "foul", **FEET},
        right=all_codes(book.foul),
        wrongs=(but(book.foul, ball_status="live", runners="as_played"),),
        noted=PITCH_AND_OUTCOME,
        reference="NFHS 7-2-1; OBR 5.06(c)(5); NCAA 7-7",
        fits=_two_strikes,
        difficulty=1.0,
    ),
    Scenario(
        name="foul_bunt_on_two_strikes",
        area="other_rulings",
        story="On two strikes a bunt rolls foul, untouched.",
        facts={"swing": "bunt", "contact": "foul", **FEET},
        right=all_codes(book.foul_bunt),
        wrongs=(book.foul, but(book.foul_bunt, ball_status="live", runners="as_played")),
        noted=PITCH_AND_OUTCOME,
        reference="NFHS 7-4-1e; OBR 5.09(a)(4); NCAA 7-11 (memory)",
        fits=_two_strikes,
        weight=1.5,
    ),
    Scenario(
        name="foul_off_the_batter",
        area="other_rulings",
        story="The batter hits the pitch into his own leg while he stands in the box.",
        facts={
            "swing": "full",
            "contact": "foul",
            "first_touch": "bat",
            "touched": "person",
            "touch_place": "leg",
            **FEET,
        },
        right=all_codes(book.foul),
        wrongs=(book.fair, book.award),
        noted=PITCH_AND_OUTCOME,
        reference="NFHS 2-16-1f; OBR 5.09(a)(7) (memory); NCAA 7-7-e",
        difficulty=0.3,
    ),
    Scenario(
        name="foul_tip_to_mitt",
        area="other_rulings",
        story="A tipped pitch goes sharp and direct to the mitt and is held.",
        facts={"swing": "full", "contact": "foul_tip", "tip_first_touched": "mitt_or_hand", **CAUGHT, **FEET},
        right=all_codes(book.foul_tip),
        wrongs=(DEAD_TIP, book.foul),
        noted=PITCH_AND_OUTCOME,
        reference="NFHS 2-16-2; OBR Definitions (foul tip); NCAA 7-8",
        weight=2.5,
        difficulty=0.2,
    ),
    Scenario(
        name="foul_tip_to_body",
        area="other_rulings",
        story=("A tipped pitch goes straight to the catcher's chest protector, then into his mitt, and is held."),
        facts={"swing": "full", "contact": "foul_tip", "tip_first_touched": "gear_or_body", **CAUGHT, **FEET},
        right={
            "nfhs": book.foul,  # 2-16-2: mitt or hand first
            "obr": book.foul_tip,  # since 2020
            "ncaa": book.foul_tip,  # since 2020
        },
        wrongs=(book.foul, book.foul_tip),
        noted=PITCH_AND_OUTCOME,
        reference="NFHS 2-16-1, 2-16-2, 5-1-1; OBR Definitions (foul tip); NCAA 7-8",
        weight=2,
        difficulty=-0.4,
    ),
    Scenario(
        name="strike_three_caught",
        area="other_rulings",
        story="Strike three swinging, caught in flight.",
        facts={**MISS, **CAUGHT},
        right=all_codes(book.strike_caught),
        wrongs=(book.runs_on_strike_three, but(book.strike_caught, ball_status="dead", runners="return")),
        noted=PITCH_AND_OUTCOME,
        reference="NFHS 7-4-1b; OBR 5.09(a)(2); NCAA 7-11",
        fits=_two_strikes,
        difficulty=0.8,
    ),
    Scenario(
        name="strike_three_dropped_may_run",
        area="other_rulings",
        story="Strike three swinging gets away from the catcher; nothing bars the batter from running.",
        facts={**MISS, **NOT_CAUGHT},
        right=all_codes(book.strike_not_caught),
        wrongs=(OUT_ANYWAY,),
        noted=PITCH_AND_OUTCOME,
        reference="NFHS 8-1-1b; OBR 5.05(a)(2); NCAA 8-2-c",
        fits=_may_run,
        weight=2,
    ),
    Scenario(
        name="strike_three_dropped_first_held",
        area="other_rulings",
        story="Strike three swinging is dropped with first base occupied and fewer than two outs.",
        facts={**MISS, **NOT_CAUGHT},
        right=all_codes(book.strike_not_caught),
        wrongs=(book.runs_on_strike_three,),
        noted=PITCH_AND_OUTCOME,
        reference="NFHS 7-4-1b; OBR 5.09(a)(3); NCAA 7-11-g",
        fits=_may_not_run,
        weight=2,
    ),
    Scenario(
        name="strike_three_dropped_two_outs",
        area="other_rulings",
        story="Strike three swinging is dropped with a runner on first and two outs.",
        facts={**MISS, **NOT_CAUGHT},
        right=all_codes(book.strike_not_caught),
        wrongs=(OUT_ANYWAY,),
        noted=PITCH_AND_OUTCOME,
        reference="NFHS 7-4-1b, 8-1-1b; OBR 5.05(a)(2); NCAA 8-2-c",
        fits=_two_outs_first_held,
        difficulty=-0.2,
    ),
    Scenario(
        name="strike_three_dropped_runner_stealing",
        area="other_rulings",
        story=("Strike three swinging is dropped while the runner on first steals second; fewer than two outs."),
        facts={**MISS, **NOT_CAUGHT, "play_on": "second", "stealing_first": "yes"},
        right=all_codes(book.strike_not_caught),  # he counts as being there
        wrongs=(book.runs_on_strike_three,),
        noted=PITCH_AND_OUTCOME,
        reference="NFHS 7-4-1b; OBR 5.09(a)(3); NCAA 7-11-g",
        fits=_steal_of_second,
        difficulty=-0.3,
    ),
    Scenario(
        name="bounced_strike_three",
        area="other_rulings",
        story=(
            "On two strikes the batter swings at a pitch that bounced; the catcher gloves it cleanly off the ground."
        ),
        facts={**MISS, "bounced": "yes", **NOT_CAUGHT},
        right=all_codes(book.strike_not_caught),
        wrongs=(OUT_ANYWAY, book.ball_live),
        noted=PITCH_AND_OUTCOME,
        reference="OBR 5.05(a)(3); NFHS 8-1-1b; NCAA inferred",
        fits=_may_run,
        weight=1.5,
        difficulty=-0.3,
    ),
    Scenario(
        name="strike_three_catch_not_recorded",
        area="other_rulings",
        story="Strike three swinging; the sheet does not say whether the catcher caught it.",
        facts={**MISS},
        right=dict.fromkeys(("nfhs", "obr", "ncaa"), (book.strike_caught, book.strike_not_caught)),
        wrongs=(),
        noted=PITCH_AND_OUTCOME,
        reference="NFHS 7-4-1b; OBR 5.05(a)(2); NCAA 7-11-g: the fact that decides was not recorded",
        fits=_may_run,
        weight=0.7,
    ),
    Scenario(
        name="ball_four",
        area="other_rulings",
        story="Ball four, taken, outside the zone, caught.",
        facts={"location": "out_of_zone", **CAUGHT},
        right=all_codes(book.ball_live),
        wrongs=(but(book.ball_live, ball_status="dead"), but(book.ball_live, runners="advance_one")),
        noted=PITCH_AND_OUTCOME,
        reference="NFHS 2-4-2; OBR 5.05(b)(1); NCAA 8-2-b",
        choices={"miss_side": ("outside", "low", "high", "inside")},
        fits=_three_balls,
        weight=1.5,
        difficulty=0.6,
    ),
    Scenario(
        name="bounced_taken",
        area="other_rulings",
        story="A taken pitch bounces in front of the plate and comes up through the zone.",
        facts={"bounced": "yes", **NOT_CAUGHT},
        right=all_codes(book.ball_live),
        wrongs=(book.strike_not_caught,),
        noted=PITCH_AND_OUTCOME,
        reference="NFHS 7-2-2 (memory); OBR Definitions (ball); NCAA 7-5-a",
        fits=_under_three_balls,
        difficulty=0.6,
    ),
)
