"""What the clinic pages say: subjects, situations, drills and cautions, in words of our own.

The drills and cautions are common practice, no source. Local codes, the governing body's rules on equipment and medical
advice come first.
"""

from __future__ import annotations

from pipeline.config import TOPIC_TITLES

SUBJECTS = {
    **TOPIC_TITLES,
    "illegal_hit": "Illegally batted ball",
    "lodged_or_runner_touched": "Lodged pitch, or runner touched",
}

FORMS = {
    "room": "in the room",
    "field": "on the field",
    "both": "in the room, then on the field",
}

KNOWLEDGE = {
    "not_known": "the rule is not known",
    "known": "the rule is known",
    "not_clear": "whether the rule is known stays open",
}

DECISIONS = {
    "promote": "Promote",
    "keep": "Keep at the level now worked",
    "more_looks": "More looks first",
    "other": "Other",
}

_DRILLS = {
    "pitch": (
        "Thirty pitches in the bullpen, from the slot, behind a catcher, each measured or filmed. The umpire calls only "
        "when the ball is in the mitt; a partner writes call and place down. Then look, edge by edge, where they differ.",
        "Ten pitches about one edge, aimed there by the pitcher, then the next edge. Begin with the edge at which most goes wrong.",
        "The same again while a partner films the head. It stays at the top of the zone from release to mitt.",
    ),
    "check_swing": (
        "A batter stops his swing at different places. The umpire says swing or no swing, and what he saw the bat do; film "
        "settles it.",
    ),
    "swing": (
        "A batter swings, stops, or takes, in no fixed order. The umpire says which, and what he saw the bat do; film "
        "settles it.",
    ),
    "third_strike": (
        "A catcher takes third strikes in flight or off the ground, in no fixed order. The umpire says catch or no catch "
        "at once, with the signal, and then who may run.",
    ),
}

_WALK = (
    "Walk the plays through at the plate without a live ball: one is the batter, one the catcher. The umpire rules aloud "
    "with the signal, then names the fact that decided.",
)

CAUTIONS = (
    "Full plate gear for everybody who stands behind a live pitch: mask or helmet with throat guard, chest protector, shin "
    "guards, cup. The catcher too. No gear, no live pitch.",
    "Foul balls and bats that slip: nobody else stands within their reach; whoever looks on does so from behind a screen.",
    "A blow to the head or the mask ends the session for that person, even if he feels well. Somebody trained looks at him, "
    "and he comes back as the local rules on concussion say.",
    "Heat: water, shade and breaks from the start, shorter drills on hot days. Dizziness, confusion or a stop in sweating "
    "mean: stop, cool, call for help.",
    "Common practice, no source. Local codes, the governing body's rules on equipment and medical advice come first.",
)


_SITUATIONS = {
    "eye": "placed by eye",
    "tried": "the batter tried to avoid it",
    "froze": "the batter stood still",
    "permitted": "the batter let it hit him",
    "moved_into": "the batter moved into it",
    "no_chance": "no chance to avoid it",
    "swing": "the batter swung",
    "in_zone": "in the zone",
    "out_of_zone": "off the zone",
    "out": "a foot outside the box",
    "plate": "a foot on the plate",
    "line": "a foot on the line",
    "airborne": "a foot in the air",
    "caught": "caught",
    "not_caught": "not caught",
    "mitt_or_hand": "first off mitt or hand",
    "gear_or_body": "first off gear or body",
    "stance": "any stance",
    "delay": "any delay",
}


def subject(topic: str) -> str:
    """Return a topic as the clinic pages call it."""
    return SUBJECTS.get(topic, topic.replace("_", " ").capitalize())


def drills(topic: str) -> tuple[str, ...]:
    """Return what is done on the field for a topic."""
    return _DRILLS.get(topic, _WALK)


def situation(stratum: str) -> str:
    """Return a kind of situation in words: `low, just off` for `pitch/low/just_off`."""
    parts = stratum.split("/")[1:] or [stratum]
    return ", ".join(_SITUATIONS.get(part, part.replace("_", " ")) for part in parts)


def joined_subjects(topics: str) -> str:
    """Return topics that are joined by `;` in words: `Taken pitch and hit batter`."""
    named = [subject(topic) for topic in topics.split(";")]
    return " and ".join([named[0], *(f"{name[0].lower()}{name[1:]}" for name in named[1:])])
