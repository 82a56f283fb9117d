"""Blank sheets to fill in: one CSV for each table, and a policy with every setting explained."""

from __future__ import annotations

import csv
import difflib
import io
import textwrap
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from pipeline.errors import InputError
from schemas.reader import RULING_GROUP, Field, Table, layer_tables, table

EXAMPLE_MARK = "EXAMPLE-"
"""A row whose key begins with this is the example of a blank sheet; loading passes it over."""

BYTE_ORDER_MARK = "\ufeff"

_POLICY = """\
# The policy of a season: what the committee decides before it looks at a single sheet.
# An unknown setting is refused. To see who would read otherwise under another policy before it is taken:
# platework score SEASON --what-if OTHER.toml
# Lines that begin with # are remarks. Every setting but [[levels]] may be left out; the measurement, weight
# and scoring values shown here are then used.

[season]
title = "Our season"                # stands on every page
association = "Our association"     # stands on every page
first_day = 2026-03-01              # games outside these days are pointed out
last_day = 2026-10-31               # the last of these days

[measurement]
# How far a recorded pitch location may be off: one standard deviation in inches, by its source.
# Set your own where you have measured the same pitches twice.
tracked_sd_in = 0.5                 # a tracking system
video_sd_in = 1.5                   # read from video
eye_sd_in = 3.0                     # judged by eye
# A pitch whose probability of being a right call lies between these two is an edge pitch: it is reported
# apart and never marked wrong.
edge_low = 0.1                      # less likely right than this: wrong
edge_high = 0.9                     # more likely right than this: right

[consequence_weights]
# How much a misruling matters by what it cost, used to choose topics for clinics.
count = 1.0                         # a ball or a strike
base = 3.0                          # a base given or withheld
out = 5.0                           # an out or a run
safety = 8.0                        # somebody's safety

[scoring]
interval = 0.9                      # width of every interval on the pages
draws = 4000                        # simulated draws behind the probabilities
seed = 20260301                     # the same seed gives the same pages

[clinics]
# What the committee can hold after the season. The plan never moves a reading.
sessions = 4                        # how many
seats = 12                          # people in one session
subjects = 2                        # subjects taught in one session
plays = 6                           # case plays for one session
sessions_a_person = 2               # at most so many for one umpire
# ASSUMPTIONS, taken from no source: what share of somebody's wrong rulings on a subject one session removes.
share_removed_rules = 0.4           # where the rule is not known
share_removed_practice = 0.2        # where it is known, or is a matter of the eye
share_removed_off = 0.5             # how far off both may be, up or down, as a share of themselves
avoid = []                          # sheets of quiz items (the next quiz) whose questions no case play may ask

# One [[levels]] section for each level of play, lowest first. An umpire is judged for the level above the one
# now worked. A standard is the least rate of right rulings (0 to 1), adjusted for evaluator and difficulty,
# that the level asks for in an area; an area without a standard is reported but not asked for. Areas:
# pitches, batters_box, hit_batter, other_rulings, positioning, quiz.
# THE FIGURES BELOW ARE PLACEHOLDERS, taken from no source: set yours.

[[levels]]
id = "sub_varsity"                  # as in the column level of umpires and games
title = "Sub-varsity"               # as the pages call it
risk_ready = 0.1                    # accepted probability that somebody called ready is below a standard
risk_not_yet = 0.1                  # accepted probability that somebody told "not yet" is at all of them
[levels.standards]                  # all of them have to be met at once
pitches = 0.85
hit_batter = 0.75
quiz = 0.70
[levels.evidence]                   # the least that must have been seen before a verdict is given
games = 3                           # games with a graded call
calls = 150                         # graded calls
evaluators = 2                      # different evaluators

[[levels]]
id = "varsity"
title = "Varsity"
risk_ready = 0.1
risk_not_yet = 0.1
[levels.standards]
pitches = 0.90                      # balls and strikes
batters_box = 0.80                  # feet, stance, leaving and changing the box
hit_batter = 0.80                   # touched by a pitch
other_rulings = 0.80                # everything else at the plate
positioning = 0.80                  # working the slot
quiz = 0.80                         # rules quiz
[levels.evidence]
games = 4
calls = 250
evaluators = 2
[levels.disqualifying]              # the most misrulings with such a consequence that are let pass;
safety = 1                          # one more is "not yet", whatever the rates. Also count, base, out
"""

_OPTIONS = """
[rule_options]
# Points that the rule books leave to a league, or leave unsettled. Take the # away in front of those that you
# settle. What neither the policy nor the rule's words settle leaves a ruling that turns on it open.
"""


@dataclass(frozen=True)
class LeaguePoint:
    """A point that a league settles: name, what it is, each choice in words, and what the rule's words say."""

    name: str
    title: str
    choices: Mapping[str, str]
    default: str | None
    codes: Sequence[str]


def blank_policy(points: Sequence[LeaguePoint] = ()) -> str:
    """Return a policy with every setting, its default, and what it does; it is valid as it stands.

    Parameters
    ----------
    points
        What a league settles, as the rules declare it; each stands as a remark with its choices.
    """
    if not points:
        return _POLICY
    head, levels = _POLICY.split("# One [[levels]] section", 1)
    texts = [_OPTIONS.lstrip("\n")]
    for point in points:
        choices = "; ".join(f'"{choice}": {words}' for choice, words in point.choices.items())
        without = f'the rule\'s own words, "{point.default}"' if point.default else "not settled"
        about = f"{point.title} ({', '.join(point.codes)}). {choices}. Without it: {without}."
        texts += [f"# {line}\n" for line in textwrap.wrap(about, 110)]
        texts.append(f'# {point.name} = "{point.default or next(iter(point.choices))}"\n')
    return f"{head}{''.join(texts)}\n# One [[levels]] section{levels}"


# The examples of single columns, put side by side, would be facts that cannot stand together. The row shows
# a called strike on a pitch that nobody touched, or, for a quiz, a batter who froze.
_CALL_SHOWS = {
    "call_id", "game_id", "evaluator_id", "pitch_no", "inning", "half", "outs", "balls", "strikes",
    "batter_side", "pitcher_hand", "arm_slot", "pitch_kind", "pitch_mph", "ball_x_in", "ball_z_in",
    "zone_low_in", "zone_high_in", "location", "location_source", "pitch_caught", "stance_front",
    "stance_back", "grade", "note",
}  # fmt: skip
_QUIZ_SHOWS = {
    "item_id", "rule_code", "topic", "stem", "option_a", "option_b", "option_a_states", "option_b_states",
    "key",
}  # fmt: skip
_QUIZ_CASE = {
    "outs": "1",
    "balls": "1",
    "strikes": "1",
    "batter_side": "right",
    "touched": "person",
    "touch_place": "elbow",
    "avoidance": "froze",
    "location_at_touch": "in_batters_box",
}


def _example(sheet: Table, field: Field) -> str:
    if field.borrowed_from:
        return _QUIZ_CASE.get(field.name, "")
    if sheet.name == "plate_calls" and field.name not in _CALL_SHOWS and field.group != RULING_GROUP:
        return field.blank_value or ""
    if sheet.name == "quiz_items" and field.name not in _QUIZ_SHOWS:
        return ""
    return field.example or ""


def example_row(sheet: Table) -> list[str]:
    """Return example values in column order, the key marked so that loading passes the row over."""
    return [
        (EXAMPLE_MARK if field.name == sheet.key_column else "") + _example(sheet, field)
        for field in sheet.fields
    ]


def blank_csv(table_name: str) -> str:
    r"""Return an empty sheet: the headings and one example row, as CSV with `\r\n` line ends.

    It begins with a byte order mark, without which some spreadsheet programs misread UTF-8.

    Raises
    ------
    InputError
        There is no sheet of that name.
    """
    names = [item.name for item in layer_tables("season")]
    if table_name not in names:
        near = difflib.get_close_matches(table_name, [*names, "policy"], n=1)
        raise InputError(
            f"there is no sheet called {table_name!r}",
            hint=f"did you mean {near[0]!r}?" if near else f"sheets are: {', '.join(names)}, policy",
        )
    sheet = table(table_name)
    text = io.StringIO()
    writer = csv.writer(text)
    writer.writerow(sheet.field_names)
    writer.writerow(example_row(sheet))
    return BYTE_ORDER_MARK + text.getvalue()
