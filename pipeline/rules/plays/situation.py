"""The facts of a play: what a reader takes from what is told, and the sheet's columns that say the same."""

from __future__ import annotations

import functools
from collections.abc import Collection, Mapping

import schemas
from pipeline.rules.vocabulary import facts

Facts = Mapping[str, str | None]
"""Deciding facts by name; None or absent: not recorded."""

COUNT_AND_OUTS = ("outs", "balls", "strikes")
BASES = ("on_first", "on_second", "on_third")
SITUATION = (*COUNT_AND_OUTS, *BASES)
"""What stands on the scoreboard, as against what happened on the play."""


@functools.cache
def blanks() -> Mapping[str, str | None]:
    """What each deciding fact is read as where nobody wrote anything down; None: it stays unknown."""
    columns = {field.name: field.blank_value for field in schemas.table("plate_calls").fields}
    return {name: columns.get(name) for name in facts()}


def as_read(given: Facts, code: str) -> dict[str, str | None]:
    """Return every deciding fact as a sheet is read that says what is `given` and nothing else.

    The readings are those by which the facts of a call are made from its sheet: a blank event is `none`, a stance
    that nobody wrote down is legal on a pitch, and where the ball was as it touched the batter follows from where
    it crossed, if that is all that is known.
    """
    known = {name: value if given.get(name) is None else given[name] for name, value in blanks().items()}
    if known["batter_act"] in ("delay", "switched_box"):
        known["moment"] = "before_pitch"
    if known["stance_fault"] is None and (
        known["moment"] == "pitch" or known["batter_act"] in ("delay", "switched_box")
    ):
        known["stance_fault"] = "no"
    if known["touch_in_zone"] is None:
        if known["zone"] == "out_of_zone":
            known["touch_in_zone"] = "no"
        elif known["zone"] == "in_zone" and code == "nfhs":
            known["touch_in_zone"] = "yes"
    elif known["touch_in_box"] is None:
        known["touch_in_box"] = "no"
    return known


_IMPLIED = (
    ("contact", "foul", "pitch_caught", "no"),  # caught, it is told as `foul_caught` or as a tip
    ("avoidance", "no_chance", "could_avoid", "no"),
    ("avoidance", "permitted", "could_avoid", "yes"),
    ("avoidance", "moved_into", "could_avoid", "yes"),
)
"""Facts that go without saying once another is known: fact, value, implied fact, its value."""


def with_implied(given: Facts) -> dict[str, str | None]:
    """Return facts with those filled in that follow from the meaning of the others."""
    made = dict(given)
    for name, value, implied, its_value in _IMPLIED:
        if made.get(name) == value and made.get(implied) is None:
            made[implied] = its_value
    return made


def only(known: Facts, names: Collection[str]) -> dict[str, str]:
    """Return the facts that are known and named."""
    return {name: value for name, value in known.items() if name in names and value is not None}


def columns(given: Mapping[str, str]) -> dict[str, str]:
    """Return the cells of a `plate_calls` sheet that say what is given; what a blank cell says anyway is left out."""
    cells = {"moment": given.get("moment", "pitch")}
    for name, value in given.items():
        if name == "zone":
            cells["location"] = value
        elif name == "touch_in_zone":
            inside = "in_batters_box" if given.get("touch_in_box") == "yes" else "out_of_zone"
            cells["location_at_touch"] = "in_zone" if value == "yes" else inside
        elif name == "stance_fault":
            if value == "yes" or given.get("moment") == "before_pitch":
                cells["stance_front"] = "past_line" if value == "yes" else "inside"
                cells["stance_back"] = "inside"
        elif name != "touch_in_box" and (value != blanks()[name] or name in SITUATION):
            cells[name] = value
    return cells
