"""Scenarios of a pitch that touches the batter."""

from __future__ import annotations

from demo_data import book
from demo_data.book import Situation, but
from demo_data.scenario import Scenario, all_codes
from demo_data.scenarios_box import FEET, OUTCOME, PITCH_AND_OUTCOME

BODY = ("arm", "elbow", "shoulder", "back", "hip", "leg")
OUTSIDE = {"touched": "person", "location_at_touch": "out_of_zone"}
SLOW = {"pitch_kind": "breaking"}
FAST = {"pitch_kind": "fastball"}


def _under_three_balls(now: Situation) -> bool:
    return now.balls < 3


def _three_balls(now: Situation) -> bool:
    return now.balls == 3


def _two_strikes_first_open(now: Situation) -> bool:
    return now.strikes == 2 and not now.on_first


def _runner_on_second_only(now: Situation) -> bool:
    return now.on_second and not now.on_first and not now.on_third


LIVE_STRIKE = but(book.strike_dead, ball_status="live", runners="as_played")
LIVE_AWARD = but(book.award, ball_status="live", runners="as_played")
EVERYBODY_UP = but(book.award, runners="advance_one")

SCENARIOS = (
    Scenario(
        name="swung_at_and_hit",
        area="hit_batter",
        story="The batter swings at an inside pitch, misses, and the pitch hits him.",
        facts={"swing": "full", **OUTSIDE},
        right=all_codes(book.strike_dead),
        wrongs=(book.award, LIVE_STRIKE),
        noted=PITCH_AND_OUTCOME,
        reference="NFHS 5-1-1a, 7-2-1b; OBR Definitions (strike, e), 5.09(a)(6); NCAA 7-4",
        choices={"touch_place": BODY},
        weight=2.5,
    ),
    Scenario(
        name="swung_at_hands_hit",
        area="hit_batter",
        story="The batter swings and the pitch strikes his hands on the bat, then rolls into fair ground.",
        facts={"swing": "full", **OUTSIDE, "touch_place": "hand"},
        right=all_codes(book.strike_dead),
        # The hands are not part of the bat; "foul" and "in play" are the common mistakes.
        wrongs=(book.foul, book.fair, book.award),
        noted=PITCH_AND_OUTCOME,
        reference="NFHS 5-1-1a, 7-2-1b; OBR 5.06(c)(1); NCAA 7-4",
        weight=1.5,
        difficulty=-0.3,
    ),
    Scenario(
        name="strike_three_hits_him",
        area="hit_batter",
        story=("On two strikes, first base open, he swings and misses, the ball hits him and rolls away; he runs."),
        facts={"swing": "full", **OUTSIDE, "pitch_caught": "no"},
        right=all_codes(book.strike_dead),
        wrongs=(book.runs_on_strike_three, book.award),
        noted=PITCH_AND_OUTCOME,
        reference="OBR 5.09(a)(6); NFHS 7-2-1b, 5-1-1a; NCAA 7-4",
        choices={"touch_place": BODY},
        fits=_two_strikes_first_open,
        difficulty=-0.3,
    ),
    Scenario(
        name="bunt_offer_hit",
        area="hit_batter",
        story="The batter offers at a bunt and the pitch, off the zone, hits him.",
        facts={"swing": "bunt", **OUTSIDE},
        right=all_codes(book.strike_dead),
        wrongs=(book.award, book.ball_dead),
        noted=PITCH_AND_OUTCOME,
        reference="NFHS 7-2-1b; OBR Definitions (strike, e); NCAA 7-4",
        choices={"touch_place": BODY},
    ),
    Scenario(
        name="bounced_swung_at_hit",
        area="hit_batter",
        story="A pitch in the dirt is swung at, missed, and hits the batter.",
        facts={"swing": "full", **OUTSIDE, "bounced": "yes", "pitch_caught": "no"},
        right=all_codes(book.strike_dead),
        wrongs=(book.award, book.ball_dead),
        noted=PITCH_AND_OUTCOME,
        reference="NFHS 7-2-1b; OBR 5.09(a)(6); NCAA 7-4",
        choices={"touch_place": ("leg", "foot")},
    ),
    Scenario(
        name="in_zone_as_it_touched",
        area="hit_batter",
        story=("Not swung at: the pitch is in the zone, in flight, as it touches the batter who hangs over the plate."),
        facts={"touched": "person", "location_at_touch": "in_zone"},
        right=all_codes(book.strike_dead),
        wrongs=(book.award, book.ball_dead, LIVE_STRIKE),
        noted=PITCH_AND_OUTCOME,
        reference="NFHS 8-1-1d1; OBR 5.05(b)(2); NCAA 8-2-d-1-a",
        choices={"touch_place": ("hand", "arm", "elbow"), "avoidance": ("tried", "froze", "permitted")},
        weight=2,
        difficulty=-0.2,
    ),
    Scenario(
        name="at_plate_in_zone",
        area="hit_batter",
        story="Not swung at; the pitch that touched the batter's arm over the plate was in the zone.",
        facts={"touched": "person", "location": "in_zone"},
        # Where the place at the touch was not noted, the place at the plate decides: common practice.
        right={"nfhs": book.strike_dead},
        wrongs=(book.award, book.ball_dead),
        noted=PITCH_AND_OUTCOME,
        reference="NFHS 8-1-1d1; practice",
        choices={"touch_place": ("hand", "arm", "elbow"), "avoidance": ("tried", "permitted")},
    ),
    Scenario(
        name="touch_outside_plate_inside",
        area="hit_batter",
        story=("The pitch hits the batter in front of the plate, off the zone; it would have crossed in the zone."),
        facts={**OUTSIDE, "location": "in_zone", "avoidance": "tried"},
        # Both are noted and differ: the place at the touch decides (practice).
        right={"nfhs": book.award},
        wrongs=(book.strike_dead, book.ball_dead),
        noted=OUTCOME,
        reference="NFHS 8-1-1d1; practice",
        choices={"touch_place": BODY},
        weight=0.6,
        in_quiz=False,
    ),
    Scenario(
        name="tried_to_avoid",
        area="hit_batter",
        story="Not swung at, off the zone: the batter turns away and is hit.",
        facts={**OUTSIDE, "avoidance": "tried"},
        right=all_codes(book.award),
        wrongs=(book.ball_dead, EVERYBODY_UP),
        noted=OUTCOME,
        reference="NFHS 8-1-1d1; OBR 5.05(b)(2); NCAA 8-2-d-1",
        choices={"touch_place": BODY},
        weight=4,
        difficulty=0.8,
    ),
    Scenario(
        name="no_chance",
        area="hit_batter",
        story="Not swung at: a fast pitch in the batter's box hits him before he can move.",
        facts={"touched": "person", "location_at_touch": "in_batters_box", "avoidance": "no_chance"},
        right=all_codes(book.award),
        wrongs=(book.ball_dead, LIVE_AWARD),
        noted=OUTCOME,
        reference="NFHS 8-1-1d1; OBR 5.05(b)(2); NCAA 8-2-d-1-b",
        choices={"touch_place": BODY},
        weight=2,
        difficulty=0.6,
    ),
    Scenario(
        name="permitted",
        area="hit_batter",
        story="Off the zone, not swung at: the batter could have moved and lets the pitch hit his elbow.",
        facts={**OUTSIDE, "avoidance": "permitted", "could_avoid": "yes", "touch_place": "elbow"},
        right={
            "nfhs": book.ball_dead,  # 7-3-4 Penalty: by location, and it was off the zone
            "obr": book.ball_dead,  # 5.05(b)(2)(B)
            "ncaa": book.strike_dead,  # 7-4-i, 8-2-d-1-a
        },
        wrongs=(book.award, book.strike_dead, book.ball_dead),
        noted=PITCH_AND_OUTCOME,
        reference="NFHS 7-3-4 Penalty; OBR 5.05(b)(2); NCAA 7-4-i",
        fits=_under_three_balls,
        weight=3,
        difficulty=-0.4,
    ),
    Scenario(
        name="permitted_ball_four",
        area="hit_batter",
        story="On three balls the batter lets a pitch off the zone hit him.",
        facts={**OUTSIDE, "avoidance": "permitted", "could_avoid": "yes"},
        right={"nfhs": book.ball_dead, "obr": book.ball_dead, "ncaa": book.strike_dead},
        wrongs=(but(book.foul, pitch="ball"), book.strike_dead, but(book.ball_dead, ball_status="live")),
        noted=PITCH_AND_OUTCOME,
        reference="NFHS 7-3-4 Penalty, 8-1-1c; OBR 5.05(b)(2) (inferred); NCAA 7-4-i",
        choices={"touch_place": ("elbow", "shoulder", "leg")},
        fits=_three_balls,
    ),
    Scenario(
        name="moved_into",
        area="hit_batter",
        story="The batter moves his elbow into a pitch that is inside, off the zone.",
        facts={**OUTSIDE, "avoidance": "moved_into", "could_avoid": "yes", "touch_place": "elbow"},
        right={"nfhs": book.ball_dead, "obr": book.ball_dead, "ncaa": book.strike_dead},
        wrongs=(book.award, book.strike_dead, book.ball_dead),
        noted=PITCH_AND_OUTCOME,
        reference="NFHS 7-3-4; OBR 5.05(b)(2); NCAA 7-4-i, 8-2-d-1-a",
        fits=_under_three_balls,
        weight=1.5,
        difficulty=-0.3,
    ),
    Scenario(
        name="froze_on_breaking_pitch",
        area="hit_batter",
        story="A breaking pitch off the zone hits the batter, who stands and waits for it to break.",
        facts={**OUTSIDE, **SLOW, "avoidance": "froze"},
        right={"nfhs": book.award},  # he has not permitted it: practice
        wrongs=(book.ball_dead, book.strike_dead),
        noted=OUTCOME,
        reference="NFHS 7-3-4; practice",
        choices={"touch_place": BODY},
        fits=_under_three_balls,
        weight=1.5,
        difficulty=-0.2,
    ),
    Scenario(
        name="froze_could_avoid",
        area="hit_batter",
        story=("A pitch off the zone, not in the box, hits the batter, who stands still though he could have moved."),
        facts={**OUTSIDE, **FAST, "avoidance": "froze", "could_avoid": "yes"},
        right={
            "nfhs": book.ball_dead,
            "obr": book.ball_dead,
            "ncaa": book.strike_dead,  # not inside the box and avoidable
        },
        wrongs=(book.award, book.strike_dead, book.ball_dead),
        noted=PITCH_AND_OUTCOME,
        reference="NFHS 7-3-4; OBR 5.05(b)(2); NCAA 7-4-i, 8-2-d-1-a",
        choices={"touch_place": BODY},
        fits=_under_three_balls,
        weight=1.5,
        difficulty=-0.4,
    ),
    Scenario(
        name="froze_could_not_avoid",
        area="hit_batter",
        story="A fastball off the zone hits the batter, who stands still and had no chance to move.",
        facts={**OUTSIDE, **FAST, "avoidance": "froze", "could_avoid": "no"},
        right={"nfhs": book.award, "obr": book.award},
        wrongs=(book.ball_dead, LIVE_AWARD),
        noted=OUTCOME,
        reference="NFHS 7-3-4; OBR 5.05(b)(2)",
        choices={"touch_place": BODY},
        fits=_under_three_balls,
    ),
    Scenario(
        name="froze_in_the_box",
        area="hit_batter",
        story="The batter freezes; the ball, inside his own batter's box, hits his back.",
        facts={
            "touched": "person",
            "location_at_touch": "in_batters_box",
            "avoidance": "froze",
            "touch_place": "back",
        },
        right={"ncaa": book.award},  # 8-2-d-1-b: whatever he could have done
        wrongs=(book.strike_dead, book.ball_dead),
        noted=OUTCOME,
        reference="NCAA 8-2-d-1-b",
        fits=_under_three_balls,
        weight=2,
    ),
    Scenario(
        name="froze_not_judged",
        area="hit_batter",
        story=("A fastball off the zone hits the batter, who stands still; nobody noted whether he could have moved."),
        facts={**OUTSIDE, **FAST, "avoidance": "froze"},
        right={"nfhs": (book.award, book.ball_dead)},
        wrongs=(),
        noted=OUTCOME,
        reference="NFHS 7-3-4; practice: open while the judgment is not recorded",
        choices={"touch_place": BODY},
        fits=_under_three_balls,
        weight=0.7,
    ),
    Scenario(
        name="avoidance_not_recorded",
        area="hit_batter",
        story="A pitch off the zone hits the batter; the sheet does not say what he did about it.",
        facts={**OUTSIDE},
        right={"nfhs": (book.award, book.ball_dead), "obr": (book.award, book.ball_dead)},
        wrongs=(),
        noted=OUTCOME,
        reference="NFHS 7-3-4, 8-1-1d1; OBR 5.05(b)(2): the fact that decides was not recorded",
        choices={"touch_place": BODY},
        fits=_under_three_balls,
        weight=0.7,
    ),
    Scenario(
        name="loose_clothing",
        area="hit_batter",
        story="A pitch off the zone brushes the batter's untucked, flapping shirt; he had tried to avoid it.",
        facts={"touched": "loose_clothing", "location_at_touch": "out_of_zone", "avoidance": "tried"},
        right={
            "nfhs": book.ball_dead,  # 8-1-1d2: no award; by location
            "obr": book.award,  # clothing is part of the person
        },
        wrongs=(book.award, book.ball_dead),
        noted=OUTCOME,
        reference="NFHS 8-1-1d2; OBR 5.05(b)(2), Definitions (person)",
        fits=_under_three_balls,
        difficulty=-0.4,
    ),
    Scenario(
        name="clothing_worn_properly",
        area="hit_batter",
        story="A pitch off the zone brushes the batter's shirt, worn properly, as he turns away.",
        facts={"touched": "clothing", "location_at_touch": "out_of_zone", "avoidance": "tried"},
        right={"nfhs": book.award, "obr": book.award},
        wrongs=(book.ball_dead, book.ball_live),
        noted=OUTCOME,
        reference="NFHS 8-1-1d1; OBR 5.05(b)(2)",
    ),
    Scenario(
        name="bounced_then_hit",
        area="hit_batter",
        story="The pitch bounces, then hits the foot that the batter is pulling away.",
        facts={
            **OUTSIDE,
            "bounced": "yes",
            "avoidance": "tried",
            "touch_place": "foot",
            "pitch_caught": "no",
        },
        right=all_codes(book.award),
        wrongs=(book.ball_dead, book.ball_live),
        noted=OUTCOME,
        reference="OBR 5.05(a)(3); NFHS 8-1-1d; NCAA inferred",
        weight=1.5,
    ),
    Scenario(
        name="steal_not_forced",
        area="hit_batter",
        story="Runner on second stealing third; the batter turns away and is hit off the zone.",
        facts={
            **OUTSIDE,
            "avoidance": "tried",
            "on_second": "yes",
            "play_on": "third",
            "stealing_second": "yes",
        },
        right=all_codes(book.award),  # he is not forced: back to second
        wrongs=(but(book.award, runners="forced_and_stealing"), EVERYBODY_UP),
        noted=OUTCOME,
        reference="OBR 5.06(c)(1); NFHS 5-1-1a (inferred); NCAA 6-4-c",
        choices={"touch_place": BODY},
        fits=_runner_on_second_only,
        difficulty=-0.3,
    ),
    Scenario(
        name="bat_first_then_arm",
        area="hit_batter",
        story=("An inside pitch hits the knob of the bat, then the recoiling batter's arm, and dies in foul ground."),
        facts={"contact": "foul", "first_touch": "bat", "touched": "person", "touch_place": "arm", **FEET},
        right={"nfhs": book.foul, "obr": book.foul},
        wrongs=(book.award, book.ball_dead),
        noted=PITCH_AND_OUTCOME,
        reference="NFHS 2-16-1, 8-1-1d; OBR 5.09(a)(7)",
    ),
    Scenario(
        name="arm_first_then_bat",
        area="hit_batter",
        story="An inside pitch, off the zone, hits the recoiling batter's arm and then the knob of the bat.",
        facts={
            "contact": "foul",
            "first_touch": "body",
            **OUTSIDE,
            "touch_place": "arm",
            "avoidance": "tried",
            **FEET,
        },
        right={"nfhs": book.award, "obr": book.award},
        wrongs=(book.foul,),
        noted=OUTCOME,
        reference="NFHS 8-1-1d; OBR 5.05(b)(2): what was touched first decides",
    ),
)
