"""Scenarios of the batter's box: stance, delay, and the feet at contact."""

from __future__ import annotations

from demo_data import book
from demo_data.book import Situation, but
from demo_data.scenario import Scenario, all_codes

FEET = {"contact_front": "inside", "contact_back": "inside", "plate_touch": "no"}
"""Feet as an evaluator notes them where nothing is amiss; without them a batted ball stays open."""

OUTCOME = ("ball_status", "batter", "runners")
PITCH_AND_OUTCOME = ("pitch", *OUTCOME)


def _under_two_strikes(now: Situation) -> bool:
    return now.strikes < 2


def _runner_and_under_two_strikes(now: Situation) -> bool:
    return now.strikes < 2 and (now.on_first or now.on_second or now.on_third)


STANCE = (
    Scenario(
        name="stance_over_front_line",
        area="batters_box",
        story="Before the pitch the toes of the batter's front foot are on the ground beyond the line.",
        facts={"moment": "before_pitch", "stance_front": "past_line", "stance_back": "inside"},
        right=all_codes(book.direct_batter),
        wrongs=(book.say_nothing, book.warn),
        noted=("instruct",),
        reference="NFHS 7-3-2 case A; OBR 5.04(b)(5); NCAA 7-1 (memory)",
        weight=3,
    ),
    Scenario(
        name="stance_over_back_line",
        area="batters_box",
        story="Before the pitch the heel of the batter's back foot is on the ground behind the back line.",
        facts={"moment": "before_pitch", "stance_front": "inside", "stance_back": "past_line"},
        right=all_codes(book.direct_batter),
        wrongs=(book.say_nothing, book.warn),
        noted=("instruct",),
        reference="NFHS 7-3-2 case A; OBR 5.04(b)(5); NCAA 7-1 (memory)",
        weight=3,
    ),
    Scenario(
        name="stance_on_the_line",
        area="batters_box",
        story="Before the pitch the batter's front foot touches the line and nothing of it is beyond.",
        facts={"moment": "before_pitch", "stance_front": "on_line", "stance_back": "inside"},
        # Lines belong to the box: NFHS 2-7-2, OBR 5.04(b)(5).
        right=all_codes(book.say_nothing),
        wrongs=(book.direct_batter, book.warn),
        noted=("instruct",),
        reference="NFHS 2-7; OBR 5.04(b)(5)",
        difficulty=0.5,
    ),
)

DELAY = (
    Scenario(
        name="delay_strike",
        area="batters_box",
        story=("The batter is told to take his place, does not, and lets the time run out; time was not granted."),
        facts={"moment": "before_pitch", "batter_act": "delay"},
        right={
            "nfhs": book.delay_strike_live,  # 7-3-1
            "ncaa": book.delay_strike_live,  # 7-1
            "obr": book.delay_strike_dead,  # 5.04(b)(3)
        },
        wrongs=(book.delay_strike_dead, book.delay_strike_live, book.no_pitch),
        noted=PITCH_AND_OUTCOME,
        reference="NFHS 7-3-1; OBR 5.04(b)(3); NCAA 7-1",
        weight=1.5,
        difficulty=-0.4,
    ),
    Scenario(
        name="steps_out_pitch_delivered",
        area="batters_box",
        story=(
            "The batter steps out with both feet while the pitcher delivers; time was not granted. "
            "The pitch is outside the zone and caught."
        ),
        facts={
            "batter_act": "left_box_both_feet",
            "location": "out_of_zone",
            "miss_side": "outside",
            "pitch_caught": "yes",
        },
        right={
            "nfhs": book.two_strikes,  # 6-2-4d1, case 6.2.4 I
            "obr": book.ball_live,  # 5.04(b)(2): by location
            "ncaa": book.ball_live,  # 7-1-b Penalty: by location
        },
        wrongs=(book.ball_live, book.strike_caught, book.no_pitch),
        noted=PITCH_AND_OUTCOME,
        reference="NFHS 6-2-4d1; OBR 5.04(b)(2); NCAA 7-1-b",
        fits=_under_two_strikes,
        difficulty=-0.6,
    ),
    Scenario(
        name="steps_out_pitcher_stops",
        area="batters_box",
        story="The batter steps out with both feet without time, and the pitcher stops in his delivery.",
        facts={"batter_act": "left_box_both_feet", "pitch_delivered": "no"},
        right={"nfhs": book.one_strike_pitcher_stopped, "obr": book.start_over},
        wrongs=(book.balk, book.one_strike_pitcher_stopped, book.start_over, book.no_pitch),
        noted=("pitch", "instruct"),
        reference="NFHS 6-2-4d1, case 6.2.4 I; OBR 5.04(b)(2) Comment",
        fits=_runner_and_under_two_strikes,
        weight=0.6,
        difficulty=-0.5,
        in_quiz=False,
    ),
)

LIVE_ILLEGAL = but(book.illegal_hit, ball_status="live", runners="as_played")
RUNNERS_KEPT = but(book.illegal_hit, runners="as_played")

ILLEGAL_HIT = (
    Scenario(
        name="front_foot_wholly_out_fair",
        area="batters_box",
        story=(
            "As the bat meets the ball the front foot is on the ground wholly in front of the box; a fair grounder."
        ),
        facts={
            "swing": "full",
            "contact": "fair",
            "contact_front": "all_out",
            "contact_back": "inside",
            "plate_touch": "no",
        },
        right=all_codes(book.illegal_hit),
        wrongs=(book.fair, LIVE_ILLEGAL, RUNNERS_KEPT),
        noted=OUTCOME,
        reference="NFHS 7-3-2; OBR 6.03(a)(1); NCAA 7-10-a",
        weight=2,
    ),
    Scenario(
        name="back_foot_wholly_out_foul",
        area="batters_box",
        story="The batter fouls the pitch off with his back foot on the ground wholly behind the box.",
        facts={
            "swing": "full",
            "contact": "foul",
            "contact_front": "inside",
            "contact_back": "all_out",
            "plate_touch": "no",
        },
        right=all_codes(book.illegal_hit),
        # "No call because it went foul" is the common mistake.
        wrongs=(book.foul, RUNNERS_KEPT),
        noted=OUTCOME,
        reference="NFHS 7-3-2; OBR 6.03(a)(1) and Comment; NCAA 7-10-a",
        weight=2,
        difficulty=-0.2,
    ),
    Scenario(
        name="foot_out_foul_tip",
        area="batters_box",
        story="A foul tip, caught; at contact the front foot is on the ground wholly outside the box.",
        facts={
            "swing": "full",
            "contact": "foul_tip",
            "pitch_caught": "yes",
            "contact_front": "all_out",
            "contact_back": "inside",
            "plate_touch": "no",
        },
        right={"nfhs": book.illegal_hit, "obr": book.illegal_hit},
        wrongs=(book.foul_tip, book.foul),
        noted=OUTCOME,
        reference="NFHS 7-3-2; OBR 6.03(a)(1), published interpretation",
        difficulty=-0.5,
    ),
    Scenario(
        name="plate_and_line_foul",
        area="batters_box",
        story=("On a bunt that goes foul the batter's front foot touches home plate and the line of the box at once."),
        facts={
            "swing": "bunt",
            "contact": "foul",
            "contact_front": "part_out",
            "contact_back": "inside",
            "plate_touch": "yes",
        },
        right={
            "nfhs": book.illegal_hit,  # the plate is a ground of its own: 7-3-2; common practice
            "ncaa": book.illegal_hit,  # 7-10-a
            "obr": book.foul_bunt,  # still touching the line: 6.03(a)(1)
        },
        wrongs=(book.illegal_hit, book.foul_bunt),
        noted=OUTCOME,
        reference="NFHS 7-3-2; OBR 6.03(a)(1); NCAA 7-10-a",
        fits=_under_two_strikes,
        difficulty=-0.4,
    ),
    Scenario(
        name="plate_and_line_fair",
        area="batters_box",
        story=("The batter hits a fair ball with his front foot touching home plate and the line of the box at once."),
        facts={
            "swing": "full",
            "contact": "fair",
            "contact_front": "on_line",
            "contact_back": "inside",
            "plate_touch": "yes",
        },
        right={"nfhs": book.illegal_hit, "ncaa": book.illegal_hit, "obr": book.fair},
        wrongs=(book.illegal_hit, book.fair),
        noted=OUTCOME,
        reference="NFHS 7-3-2; OBR 6.03(a)(1); NCAA 7-10-a",
        difficulty=-0.4,
    ),
    Scenario(
        name="foot_on_plate_no_line",
        area="batters_box",
        story="At contact the front foot is on home plate and touches no line; the ball goes foul.",
        facts={
            "swing": "full",
            "contact": "foul",
            "contact_front": "all_out",
            "contact_back": "inside",
            "plate_touch": "yes",
        },
        right=all_codes(book.illegal_hit),
        wrongs=(book.foul,),
        noted=OUTCOME,
        reference="NFHS 7-3-2; OBR 6.03(a)(1) (wholly outside); NCAA 7-10-a",
    ),
    Scenario(
        name="part_of_foot_out",
        area="batters_box",
        story="At contact the heel is on the line and the toes are on the ground outside; a fair ball.",
        facts={
            "swing": "full",
            "contact": "fair",
            "contact_front": "part_out",
            "contact_back": "inside",
            "plate_touch": "no",
        },
        right=all_codes(book.fair),
        wrongs=(book.illegal_hit,),
        noted=OUTCOME,
        reference="NFHS 2-7, 7-3-2; OBR 6.03(a)(1); NCAA 7-10-a (inferred)",
        weight=2,
        difficulty=0.3,
    ),
    Scenario(
        name="foot_in_the_air",
        area="batters_box",
        story=("The front foot is in the air at contact and comes down outside the box afterwards; a fair ball."),
        facts={
            "swing": "full",
            "contact": "fair",
            "contact_front": "airborne",
            "contact_back": "inside",
            "plate_touch": "no",
        },
        right=all_codes(book.fair),
        wrongs=(book.illegal_hit,),
        noted=OUTCOME,
        reference="NFHS 7-3-2; OBR, NCAA inferred",
        weight=1.5,
    ),
    Scenario(
        name="missed_with_foot_on_plate",
        area="batters_box",
        story="A bunt attempt misses; the batter's front foot is on home plate. The catcher holds the pitch.",
        facts={
            "swing": "bunt",
            "contact": "none",
            "contact_front": "all_out",
            "contact_back": "inside",
            "plate_touch": "yes",
            "pitch_caught": "yes",
        },
        right=all_codes(book.strike_caught),  # nothing was batted: 7-3-2; 7-10-a note; OBR must hit the ball
        wrongs=(book.illegal_hit, but(book.strike_caught, ball_status="dead", runners="return")),
        noted=OUTCOME,
        reference="NFHS 7-2-1, 7-3-2; OBR 6.03(a)(1) (inferred); NCAA 7-10-a note",
        fits=_under_two_strikes,
    ),
    Scenario(
        name="missed_with_foot_out",
        area="batters_box",
        story=("The batter swings and misses with his front foot on the ground wholly outside; the pitch is caught."),
        facts={
            "swing": "full",
            "contact": "none",
            "contact_front": "all_out",
            "contact_back": "inside",
            "plate_touch": "no",
            "pitch_caught": "yes",
        },
        right=all_codes(book.strike_caught),
        wrongs=(book.illegal_hit,),
        noted=OUTCOME,
        reference="NFHS 7-2-1, 7-3-2; OBR 6.03(a)(1) (inferred); NCAA 7-10-a note",
        fits=_under_two_strikes,
    ),
    Scenario(
        name="knee_wholly_out",
        area="batters_box",
        story=("Reaching low, the batter has a knee on the ground wholly outside the box as he hits a fair ball."),
        facts={"swing": "full", "contact": "fair", **FEET, "contact_knee": "all_out"},
        right={"nfhs": book.illegal_hit},  # the text names the knee; the others name feet only
        wrongs=(book.fair,),
        noted=OUTCOME,
        reference="NFHS 7-3-2",
        weight=0.6,
        difficulty=-0.5,
    ),
    Scenario(
        name="chalk_worn_away",
        area="batters_box",
        story="The lines are worn away, so nobody can say where the front foot was as the ball was hit fair.",
        facts={"swing": "full", "contact": "fair", "contact_back": "inside", "plate_touch": "no"},
        right=dict.fromkeys(("nfhs", "obr", "ncaa"), (book.illegal_hit, book.fair)),
        wrongs=(),
        noted=OUTCOME,
        reference=("as front_foot_wholly_out_fair and part_of_foot_out: the fact that decides was not recorded"),
        weight=0.7,
    ),
)

SCENARIOS = (*STANCE, *DELAY, *ILLEGAL_HIT)
