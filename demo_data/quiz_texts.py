"""The words of quiz items that are not cases: dimensions, and the mechanics of the plate."""

from __future__ import annotations

from typing import Any


def _inches(value: float) -> tuple[str, str]:
    return f"{value:g} in", f"value={value:g}"


def _dimension(code: str, quantity: str, stem: str, values: tuple[float, ...], reference: str) -> dict[str, Any]:
    """Make an item on a dimension; the first value is the right one, the others go round as false facts."""
    return {
        "rule_code": code,
        "topic": "dimensions",
        "stem": stem,
        "quantity": quantity,
        "options": [_inches(value) for value in values],
        "reference": reference,
    }


DIMENSIONS = (
    _dimension(
        "nfhs",
        "plate_front_edge_in",
        "How wide is the front edge of home plate?",
        (17, 16, 18, 12),
        "NFHS 1-2-9 (memory)",
    ),
    _dimension(
        "nfhs",
        "plate_side_edge_in",
        "How long is each side edge of home plate, front to back?",
        (8.5, 12, 17, 9),
        "NFHS 1-2-9 (memory)",
    ),
    _dimension(
        "nfhs",
        "plate_slant_edge_in",
        "How long is each slanted edge of home plate?",
        (12, 8.5, 17, 11),
        "NFHS 1-2-9 (memory)",
    ),
    _dimension("nfhs", "box_width_in", "How wide is the batter's box?", (48, 36, 52, 60), "NFHS diagram 2"),
    _dimension("nfhs", "box_length_in", "How long is the batter's box?", (72, 60, 66, 84), "NFHS diagram 2"),
    _dimension("nfhs", "box_gap_in", "How far is the batter's box from the plate?", (6, 4, 8, 12), "NFHS diagram 2"),
    _dimension(
        "nfhs",
        "catchers_box_width_in",
        "How wide is the catcher's box?",
        (43, 48, 36, 60),
        "NFHS diagram 2 (memory)",
    ),
    _dimension(
        "nfhs",
        "catchers_box_depth_in",
        "How deep is the catcher's box?",
        (96, 72, 84, 120),
        "NFHS diagram 2 (memory)",
    ),
    _dimension(
        "nfhs",
        "pitching_distance_in",
        "How far is the pitcher's plate from the rear point of home?",
        (726, 720, 732, 700),
        "NFHS 1-2-6",
    ),
    _dimension(
        "nfhs",
        "ball_circumference_min_in",
        "What is the least distance around the ball?",
        (9, 8.75, 9.5, 8.5),
        "NFHS 1-3-1 (memory)",
    ),
    _dimension(
        "nfhs",
        "ball_circumference_max_in",
        "What is the most around the ball?",
        (9.25, 9.5, 9, 10),
        "NFHS 1-3-1 (memory)",
    ),
    _dimension(
        "nfhs",
        "bat_thickness_max_nonwood_in",
        "How thick may a bat be that is not of wood?",
        (2.625, 2.75, 2.25, 2.5),
        "NFHS 1-3-2",
    ),
    _dimension(
        "nfhs",
        "bat_length_max_nonwood_in",
        "How long may a bat be that is not of wood?",
        (36, 34, 38, 42),
        "NFHS 1-3-2",
    ),
    _dimension(
        "nfhs",
        "bat_thickness_max_wood_in",
        "How thick may a bat of wood be?",
        (2.75, 2.61, 2.625, 2.5),
        "NFHS 1-3-2",
    ),
    _dimension(
        "obr",
        "bat_thickness_max_wood_in",
        "Professional rules: how thick may a bat be?",
        (2.61, 2.75, 2.625, 2.5),
        "OBR 3.02(a)",
    ),
    _dimension(
        "ncaa",
        "bat_thickness_max_wood_in",
        "College rules: how thick may a bat of wood be?",
        (2.75, 2.61, 2.625, 2.5),
        "NCAA 1-12-a",
    ),
    _dimension(
        "ncaa",
        "bat_thickness_max_nonwood_in",
        "College rules: how thick may a bat be that is not of wood?",
        (2.625, 2.75, 2.61, 2.25),
        "NCAA 1-12-b",
    ),
    _dimension(
        "ncaa",
        "bat_length_max_nonwood_in",
        "College rules: how long may a bat be that is not of wood?",
        (36, 34, 42, 38),
        "NCAA 1-12-b",
    ),
    _dimension(
        "obr",
        "plate_front_edge_in",
        "Professional rules: how wide is the front edge of home plate?",
        (17, 16, 18, 12),
        "OBR 2.02 (memory)",
    ),
    _dimension(
        "obr",
        "box_width_in",
        "Professional rules: how wide is the batter's box?",
        (48, 52, 36, 60),
        "OBR 2.01",
    ),
    _dimension(
        "obr",
        "box_length_in",
        "Professional rules: how long is the batter's box?",
        (72, 66, 60, 84),
        "OBR 2.01",
    ),
    _dimension(
        "obr",
        "box_gap_in",
        "Professional rules: how far is the box from the plate?",
        (6, 4, 8, 12),
        "OBR 2.01",
    ),
    _dimension(
        "ncaa",
        "plate_side_edge_in",
        "College rules: how long is each side edge of home plate?",
        (8.5, 12, 17, 9),
        "NCAA 1-6",
    ),
    _dimension(
        "ncaa",
        "plate_slant_edge_in",
        "College rules: how long is each slanted edge of home plate?",
        (12, 8.5, 17, 11),
        "NCAA 1-6",
    ),
    _dimension(
        "obr",
        "ball_circumference_max_in",
        "Professional rules: what is the most around the ball?",
        (9.25, 9.5, 9, 10),
        "OBR 3.01",
    ),
    _dimension(
        "obr",
        "pitching_distance_in",
        "Professional rules: how far is the pitcher's plate from home?",
        (726, 720, 732, 700),
        "OBR 2.01",
    ),
)


def _mechanics(stem: str, right: str, *wrong: str) -> dict[str, Any]:
    """Make an item on how the plate is worked: trade knowledge, for which no rule can check the key."""
    return {
        "rule_code": "nfhs",
        "topic": "mechanics",
        "stem": stem,
        "options": [(text, "") for text in (right, *wrong)],
        "reference": "practice",
    }


MECHANICS = (
    _mechanics(
        "Where is the slot?",
        "Between batter and catcher, about over the inside corner",
        "Over the middle of the plate",
        "Behind the catcher's outside shoulder",
    ),
    _mechanics(
        "How low may the chin be?",
        "No lower than the top of the catcher's head",
        "Level with the catcher's shoulders",
        "As low as the batter's knees",
    ),
    _mechanics(
        "When should the plate umpire be set?",
        "Before the ball leaves the hand",
        "As the ball is caught",
        "As the pitcher takes the sign",
    ),
    _mechanics(
        "The catcher closes the slot. Where does the umpire go?",
        "Up, over the same spot",
        "Away from the batter",
        "Back two steps",
    ),
    _mechanics(
        "What decides whether a pitch was a strike?",
        "Where the ball crossed the plate",
        "Where the mitt ended",
        "How the catcher received it",
    ),
    _mechanics(
        "Where do most fouls leave?",
        "A little to the side, away from the slot",
        "Straight back into the slot",
        "Down at the umpire's feet",
    ),
    _mechanics(
        "A pitch hits the batter. What comes first?",
        "Time, at once",
        "Pointing to first base",
        "A look at the partner",
    ),
    _mechanics(
        "The batter's lines are worn away. What is done first?",
        "Redraw the 6 in gap to the plate",
        "Redraw the back line",
        "Nothing until somebody complains",
    ),
    _mechanics(
        "What is false timing?",
        "A pause added after the call was decided",
        "A slow pitcher",
        "A call made too soon",
    ),
    _mechanics(
        "Where should the eyes and head be as the pitch comes?",
        "Head still, only the eyes move",
        "Head follows the ball",
        "Eyes on the mitt",
    ),
    _mechanics(
        "How is a swinging strike shown?",
        "With the arm, little or no voice",
        "With the loudest voice",
        "With a point at the batter",
    ),
    _mechanics("When is the mask on?", "For every live pitch", "Only with runners on", "Only for fast pitchers"),
    _mechanics(
        "Where are the hands?",
        "Behind the catcher or tucked in",
        "On the catcher's back",
        "Out to the sides for balance",
    ),
    _mechanics(
        "A call on a checked swing is asked for. What does the plate umpire do?",
        "Points with the left hand and asks",
        "Refuses always",
        "Asks the catcher",
    ),
)
