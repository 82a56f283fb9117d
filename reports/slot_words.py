"""Drills for each part of working the slot, and cautions, in words of our own. Common practice, no source.

Local codes, the governing body's rules on equipment and medical advice come first.
"""

from __future__ import annotations

SLOT_DRILLS = {
    "in_slot": (
        "Before each pitch of a bullpen session find the slot by looking, not by habit: between batter and catcher, about over "
        "the inside corner, the nose on or just inside its edge. A partner calls the batter's side at random; change over and "
        "find it again. Ten on each side, then with a catcher who sets up inside."
    ),
    "head_height": (
        "Have somebody film from the side. The chin stays no lower than the top of the catcher's head, from the first inning to "
        "the last: it tends to sink as the game goes on. Lock the height with a fixed contact of hand, forearm or thigh that "
        "is the same on every pitch, and check it each half inning."
    ),
    "drift": (
        "Track twenty pitches with a cap pushed forward on the head: when it moves, the head moved. Only the eyes follow the "
        "ball, from the hand to the mitt. When the catcher sets up outside, stay."
    ),
    "view_handled": (
        "With a catcher and a batter who crowd the view on purpose: when the slot closes, go up and look over, never away from "
        "the batter. Say aloud what you saw of the ball at the plate; the partner says what was hidden."
    ),
    "set_at_release": (
        "Say 'set' aloud before the ball leaves the hand, down and still, head square to the pitcher. A partner behind the "
        "screen counts how often the word comes after the release. Quick pitchers last."
    ),
    "gap_defended": (
        "Walk the lines before the game and between innings: the six inches between plate and box stay visible. Have a batter "
        "rub them out and crowd; put him right before the pitch, and redraw early rather than argue later."
    ),
}
SLOT_CAUTION = (
    "Full plate gear for every live pitch, mask on, the throat guard over the chest protector in the stance, hands behind the "
    "catcher or tucked. Foul balls and heat do harm: after a blow to the head or mask stop and see a doctor, drink and rest in "
    "the heat. Local codes and medical advice come first."
)
