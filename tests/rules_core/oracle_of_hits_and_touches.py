"""A second reading of the rules on illegally batted balls and hit batters, with the count as far as they need it.

Written from the rules alone, as plain functions; nothing of the rules core is used. What a code says is in the
predicates (`tip_stands`, the feet, the touch); one order of decision, `play`, serves all codes. A fact that was
not recorded is None, and so is the reading of a league that has settled none. There are two readings: `reading` takes complete facts only; `possible` takes any facts,
carries what is unknown through predicates that know three values, and names every ruling that is left.

Every act besides the swing, the pitch and the touch is taken as not having happened: a legal pitch, delivered,
a legal bat, no act of catcher or umpire, and a legal stance.
"""

from __future__ import annotations

import datetime as dt
import itertools

AWARDS_KNOWN_FROM = dt.date(2015, 1, 1)
"""College: what earned a hit batter his base before is not known; a swing and a pitch in the zone were strikes."""
STRIKE_FOR_NO_ATTEMPT_FROM = dt.date(2019, 1, 1)
"""College: from then on a batter who lets an avoidable pitch hit him is charged a strike."""
TIP_OFF_GEAR_FROM = dt.date(2020, 1, 1)
"""Professional and college: from then on a tip off the catcher's gear, then caught, is a foul tip."""

CHANGES = {
    "nfhs": (),
    "obr": (TIP_OFF_GEAR_FROM,),
    "ncaa": (AWARDS_KNOWN_FROM, STRIKE_FOR_NO_ATTEMPT_FROM, TIP_OFF_GEAR_FROM),
}
"""The days on which what is read here changes."""
JUMPED_OUT = {"out": "illegal", "legal": "legal"}
"""Professional: a hit with both feet in the air after a jump out of the box, as a league reads it; no text joins the
words on the ground with the Comment against jumping out. A league that has settled nothing is None: both remain."""

CONTRADICTION = ("contradiction",)
NOT_COVERED = ("not_covered",)
OFFERS = ("full", "bunt")
KINDS = {
    "contact": ("none", "fair", "foul", "foul_tip", "foul_caught"),
    "touched": ("none", "person", "clothing", "loose_clothing"),
    "first_touch": ("bat", "body"),
    "swing": ("none", "full", "bunt", "checked"),
    "batter_place_at_touch": ("in_box", "out_of_box"),
    "bounced": ("yes", "no"),
}
"""The facts of which each value is a kind of play of its own."""
MAY_REACH_PLATE = ("on_line", "part_out", "all_out")
NOT_TOGETHER = (("no_chance", "yes"), ("permitted", "no"))
FEET_WORDS = ("legal", "illegal", "impossible")
TOUCH_WORDS = ("strike", "ball", "award", "unsettled", "impossible")
FEET = ("contact_front", "contact_back", "contact_knee", "plate_touch", "jumped_out")
TOUCH = ("touch_in_zone", "touch_in_box", "avoidance", "could_avoid")


def said(pitch, ball_status, batter, runners, count="none"):
    """A settled ruling: the seven parts, the outs it adds, and what it does to the count of a turn that goes on."""
    parts = (pitch, ball_status, batter, runners, "none", "none", "none")
    return ("settled", *parts, int(batter == "out"), count if batter == "at_bat" else "over")


# Complete facts -----------------------------------------------------------------------------------------------


def tip_stands(code, day, first_touched):
    """Whether a tip that the catcher held is a foul tip: straight to mitt or hand, or off his gear where that counts."""
    if first_touched == "gear_or_body":
        return code != "nfhs" and day >= TIP_OFF_GEAR_FROM
    return first_touched == "mitt_or_hand"


def feet_word(code, league, front, back, knee, plate, jumped):
    """Whether a ball is legally batted with feet and knee so at the instant of contact, in a settled league."""
    feet = (front, back)
    if plate == "yes" and knee != "all_out" and not any(foot in MAY_REACH_PLATE for foot in feet):
        return "impossible"
    if "all_out" in feet:
        return "illegal"
    if code == "nfhs" and knee == "all_out":
        return "illegal"
    if code != "obr" and plate == "yes":
        return "illegal"
    if code == "obr" and jumped == "yes" and feet == ("airborne", "airborne"):
        return JUMPED_OUT[league]
    return "legal"


def touch_word(code, day, touched, struck_at, bounced, in_zone, in_box, avoidance, could_avoid):
    """What a pitch is that touched the batter before any bat did."""
    if (in_zone, in_box) == ("yes", "yes") or (avoidance, could_avoid) in NOT_TOGETHER:
        return "impossible"
    if struck_at or (in_zone == "yes" and bounced == "no"):
        return "strike"
    if code == "ncaa" and day < AWARDS_KNOWN_FROM:
        return "unsettled"
    # Elsewhere clothing is part of the batter; for college play no text on loose clothing was found.
    if code == "nfhs" and touched == "loose_clothing":
        return "ball"
    if avoidance in ("tried", "no_chance") or (avoidance == "froze" and could_avoid == "no"):
        return "award"
    if code != "ncaa" or day < STRIKE_FOR_NO_ATTEMPT_FROM:
        return "ball"
    if avoidance == "moved_into":
        return "strike"
    return "award" if in_box == "yes" or could_avoid == "no" else "strike"


def strike(dead, three, out):
    """A strike: with two before it the batter is out, or may run for it where that is so."""
    status, runners = ("dead", "return") if dead else ("live", "as_played")
    if not three:
        return said("strike", status, "at_bat", runners, "strike")
    return said("strike", status, "out" if out else "batter_runner", runners)


def foul(swing, three):
    """A foul ball; a bunt with two strikes is the third."""
    if three and swing == "bunt":
        return strike(dead=True, three=True, out=True)
    return said("foul", "dead", "at_bat", "return", "foul")


def play(contact, touched, first_touch, swing, place, bounced, tip, feet, touch, in_zone, caught, four, three, may_run):  # fmt: skip
    """The order of decision on complete facts and predicates.

    `tip`, `in_zone`, `caught` (by the catcher, in flight), `four` (three balls before), `three` (two strikes
    before) and `may_run` (first base empty, or two outs) are true or false; `feet` and `touch` are words.
    """
    # A caught foul may have been caught by another fielder; a plain foul was not held by the catcher.
    if contact == "foul" and caught:
        return CONTRADICTION
    if (touched != "none" and touch == "impossible") or (contact != "none" and feet == "impossible"):
        return CONTRADICTION
    struck_at = swing in OFFERS
    if touched != "none" and (contact == "none" or first_touch == "body"):
        if touch == "unsettled":
            return NOT_COVERED
        if touch == "award":
            return said("", "dead", "first_base", "forced")
        if touch == "strike":
            return strike(dead=True, three=three, out=True)
        if four:
            return said("ball", "dead", "first_base", "forced")
        return said("ball", "dead", "at_bat", "return", "ball")
    if contact != "none":
        if feet == "illegal":
            return said("", "dead", "out", "return")
        if touched != "none":
            if contact == "fair" and place == "out_of_box":
                return said("in_play", "dead", "out", "return")
            return foul(swing, three)
        if contact == "fair":
            return said("in_play", "live", "batter_runner", "as_played")
        if contact == "foul_caught":
            return said("in_play", "live", "out", "as_played")
        if contact == "foul_tip" and tip and caught:
            return strike(dead=False, three=three, out=True)
        return foul(swing, three)
    if struck_at or (in_zone and bounced == "no"):
        return strike(dead=False, three=three, out=(caught and bounced == "no") or not may_run)
    if four:
        return said("ball", "live", "first_base", "forced")
    return said("ball", "live", "at_bat", "as_played", "ball")


def reading(code, day, facts, league):
    """The ruling on complete facts in a league that has settled what a jump out of the box costs."""
    return play(
        *(facts[name] for name in KINDS),
        tip_stands(code, day, facts["tip_first_touched"]),
        feet_word(code, league, *(facts[name] for name in FEET)),
        touch_word(code, day, facts["touched"], facts["swing"] in OFFERS, facts["bounced"], *(facts[name] for name in TOUCH)),
        facts["zone"] == "in_zone",
        facts["pitch_caught"] == "yes",
        facts["balls"] == "3",
        facts["strikes"] == "2",
        facts["on_first"] == "no" or facts["outs"] == "2",
    )  # fmt: skip


# Any facts ----------------------------------------------------------------------------------------------------


def is_so(value, *wanted):
    """True, False, or None where the value was not recorded."""
    return None if value is None else value in wanted


def either(one, other):
    """One or the other, where each may be unknown."""
    return True if one or other else None if one is None or other is None else False


def both(one, other):
    """One and the other, where each may be unknown."""
    return False if one is False or other is False else None if one is None or other is None else True


def truths(value):
    """The two-valued readings of a three-valued answer."""
    return (True, False) if value is None else (value,)


def leagues(league):
    """The settled leagues that a league may be."""
    return tuple(JUMPED_OUT) if league is None else (league,)


def tips_stand(code, day, first_touched):
    """`tip_stands` where the first thing touched may be unknown."""
    if code != "nfhs" and day >= TIP_OFF_GEAR_FROM:
        return is_so(first_touched, "mitt_or_hand", "gear_or_body")
    return is_so(first_touched, "mitt_or_hand")


def feet_words(code, league, front, back, knee, plate, jumped):
    """`feet_word` where facts or league may be unknown: the words possible, impossible only where nothing else is."""
    feet = (front, back)
    reaches = any(foot is None or foot in MAY_REACH_PLATE for foot in feet) or knee in (None, "all_out")
    if plate == "yes" and not reaches:
        return {"impossible"}
    outside = either(is_so(front, "all_out"), is_so(back, "all_out"))
    on_plate = plate == "yes" if plate or not reaches else None
    if code == "nfhs":
        outside = either(outside, is_so(knee, "all_out"))
    if code != "obr":
        illegal = either(outside, on_plate)
        return {"illegal" if one else "legal" for one in truths(illegal)}
    in_air = both(is_so(front, "airborne"), is_so(back, "airborne"))
    by_a_jump = both(in_air, is_so(jumped, "yes"))
    # In the air with both feet, he touches the plate with a knee or not at all.
    if plate == "yes" and knee not in (None, "all_out"):
        by_a_jump = False
    words = {"illegal"} if outside is not False else set()
    if outside is True:
        return words
    if by_a_jump is not False:
        words |= {JUMPED_OUT[one] for one in leagues(league)}
    return words if by_a_jump is True else words | {"legal"}


def touch_words(code, day, touched, struck_at, bounced, in_zone, in_box, avoidance, could_avoid):
    """`touch_word` where the last four facts may be unknown: the words possible, impossible only alone."""
    if (in_zone, in_box) == ("yes", "yes") or (avoidance, could_avoid) in NOT_TOGETHER:
        return {"impossible"}
    # Of two facts that cannot both be so, a recorded one tells the other.
    in_zone = in_zone or ("no" if in_box == "yes" else None)
    in_box = in_box or ("no" if in_zone == "yes" else None)
    could_avoid = could_avoid or {"no_chance": "no", "permitted": "yes"}.get(avoidance)
    if struck_at:
        return {"strike"}
    through = both(is_so(in_zone, "yes"), bounced == "no")
    words = {"strike"} if through is not False else set()
    if through is True:
        return words
    if code == "ncaa" and day < AWARDS_KNOWN_FROM:
        return words | {"unsettled"}
    if code == "nfhs" and touched == "loose_clothing":
        return words | {"ball"}
    no_chance = both(is_so(avoidance, "froze"), is_so(could_avoid, "no"))
    award = either(is_so(avoidance, "tried", "no_chance"), no_chance)
    if award is not False:
        words.add("award")
    if award is True:
        return words
    if code != "ncaa" or day < STRIKE_FOR_NO_ATTEMPT_FROM:
        return words | {"ball"}
    if avoidance in (None, "moved_into"):
        words.add("strike")
    if avoidance != "moved_into":
        deserved = either(is_so(in_box, "yes"), is_so(could_avoid, "no"))
        words |= {"award" if one else "strike" for one in truths(deserved)}
    return words


def counts(facts):
    """In the zone, caught, three balls, two strikes, may run: each true, false or unknown."""
    return (
        is_so(facts["zone"], "in_zone"),
        is_so(facts["pitch_caught"], "yes"),
        is_so(facts["balls"], "3"),
        is_so(facts["strikes"], "2"),
        either(is_so(facts["on_first"], "no"), is_so(facts["outs"], "2")),
    )


def possible(code, day, facts, league=None):
    """Every ruling that some completion of the facts leads to; a contradiction only where nothing else is left."""
    kinds = [values if facts[name] is None else (facts[name],) for name, values in KINDS.items()]
    tips = truths(tips_stand(code, day, facts["tip_first_touched"]))
    feet = feet_words(code, league, *(facts[name] for name in FEET))
    rest = [truths(one) for one in counts(facts)]
    found = set()
    for kind in itertools.product(*kinds):
        _, touched, _, swing, _, bounced = kind
        touch = touch_words(code, day, touched, swing in OFFERS, bounced, *(facts[name] for name in TOUCH))
        found |= {play(*kind, *one) for one in itertools.product(tips, feet, touch, *rest)}
    return (found - {CONTRADICTION}) or found
