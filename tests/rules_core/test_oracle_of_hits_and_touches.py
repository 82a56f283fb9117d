"""The compiled rules against a second reading of illegally batted balls and hit batters, fact by fact and whole.

Whole grids are compared, every cell also not recorded, for every code, span of dates and, where the professional code
leaves a point to the league, for a league that has settled nothing and one of each reading. All facts of the kind of
play are in each grid, with the feet and the count, the touch and the count, the whole count, or feet and touch; what
a grid leaves out is as on a blank sheet. Combinations that leave the same part of a diagram are ruled alike, so one
of them stands for all; the figures count every combination. Cases drawn from all facts at once come on top.
"""

from __future__ import annotations

import datetime as dt
import functools
import importlib.util
import itertools
import math
import random
from pathlib import Path

import numpy as np
import pytest

import schemas
from pipeline.rules.answer import NONE_CALLED, rule_case
from pipeline.rules.compile import rule_book
from pipeline.rules.model import CODES, RULING_FIELDS
from pipeline.rules.options import options, settle
from pipeline.rules.vocabulary import facts

# Loaded from beside this file: a dependency installs a package called `tests`, which would be found by that name.
_SPEC = importlib.util.spec_from_file_location("oracle", Path(__file__).with_name("oracle_of_hits_and_touches.py"))
oracle = importlib.util.module_from_spec(_SPEC)
_SPEC.loader.exec_module(oracle)

LEAGUES = {"nfhs": (None,), "obr": (None, *oracle.JUMPED_OUT), "ncaa": (None,)}
"""What a league of each code may have settled about a jump out of the box; None: nothing."""
BOOKS = {
    league: rule_book(settle({} if league is None else {"jumped_out": league})) for league in (None, *oracle.JUMPED_OUT)
}
BOOK = BOOKS[None]
FOREST = BOOK.forest
BLANKS = {field.name: field.blank_value or None for field in schemas.table("plate_calls").fields}
AT_REST = {name: BLANKS.get(name) for name in facts()} | {"stance_fault": "no"}
"""What the facts are on a sheet left blank."""
KINDS = tuple(name for name in facts() if name in {*oracle.KINDS, "tip_first_touched"})
"""The facts of the kind of play, in the order of the diagrams."""
COUNT = ("zone", "balls", "strikes", "pitch_caught", "on_first", "outs")
VARIED = {*KINDS, *oracle.FEET, *oracle.TOUCH, *COUNT}
GRIDS = {
    "feet": (oracle.FEET, ("balls", "strikes", "pitch_caught")),
    "touch": (oracle.TOUCH, ("zone", "balls", "strikes")),
    "count": ((), COUNT),
    "feet and touch": (oracle.FEET, oracle.TOUCH),
}
"""The facts varied in each grid, besides those of the kind of play, which every grid varies."""
EARLIEST = dt.date(1990, 1, 1)


def spans():
    """Every code with each day on which its rules change, by the rules core or by the oracle, and the beginning."""
    return [
        (code, day)
        for code in CODES
        for day in sorted(
            {EARLIEST, *oracle.CHANGES[code], *(one.first_day for one in BOOK.regimes if one.code == code and one.first_day)}
        )
    ]


def settings():
    """Every code, day and league that is compared."""
    return [(code, day, league) for code, day in spans() for league in LEAGUES[code]]


def values(name):
    """What a cell can hold: each value of a fact, and not recorded."""
    return (*facts()[name].values, None)


class Bits:
    """A bit for each ruling, so that a set of rulings is a number; the first bit is a contradiction."""

    def __init__(self):
        self.of = {oracle.CONTRADICTION: 1}

    def __call__(self, ruling):
        return np.uint32(self.of.setdefault(ruling, 1 << len(self.of)))

    def names(self, mask):
        return {ruling for ruling, bit in self.of.items() if bit & int(mask)}


BIT = Bits()


def spoken(answer):
    """An answer of the rules core in the oracle's words."""
    if answer.state != "settled":
        return (answer.state,)
    ruling = dict(zip(RULING_FIELDS, answer.ruling, strict=True))
    return ("settled", *answer.ruling, answer.outs_added, answer.count if ruling["batter"] == "at_bat" else "over")


def with_unknown(masks, axis):
    """One place more along an axis: the fact not recorded, where every ruling of the others is possible."""
    return np.concatenate([masks, np.bitwise_or.reduce(masks, axis=axis, keepdims=True)], axis=axis)


def left(masks):
    """Contradictions taken out wherever something else is possible."""
    return np.where(masks > 1, masks & ~np.uint32(1), masks)


def product(node, memo, depth=0):
    """Every ruling of a part of a diagram, by the facts of the kind of play from `depth` on, unknown last."""
    found = memo.get((node, depth))
    if found is not None:
        return found
    level = FOREST.levels[node]
    here = FOREST.level_of[KINDS[depth]] if depth < len(KINDS) else FOREST.bottom
    if level < here:
        found = np.bitwise_or.reduce([product(branch, memo, depth) for branch in FOREST.branches[node]])
    elif depth == len(KINDS):
        found = np.asarray(BIT(spoken(FOREST.answers[node])))
    else:
        size = len(facts()[KINDS[depth]].values)
        branches = FOREST.branches[node] if level == here else (node,) * size
        parts = [product(branch, memo, depth + 1) for branch in branches]
        found = with_unknown(np.stack(parts), 0)
    memo[node, depth] = found
    return found


@pytest.fixture(scope="module")
def plays():
    """The ruling of every complete play, by the arguments of the oracle's `play` in their order."""
    kinds = [facts()[name].values for name in oracle.KINDS]
    axes = [*kinds, (True, False), oracle.FEET_WORDS, oracle.TOUCH_WORDS, *[(True, False)] * 5]
    flat = [BIT(oracle.play(*one)) for one in itertools.product(*axes)]
    return np.array(flat, dtype=np.uint32).reshape([len(axis) for axis in axes])


class Reading:
    """The oracle over whole grids, for one code, day and league."""

    def __init__(self, plays, code, day, league):
        self.plays, self.code, self.day, self.league = plays, code, day, league
        self.memo = {}
        self.tips = [oracle.tips_stand(code, day, value) for value in facts()["tip_first_touched"].values]

    def summary(self, given):
        """What the oracle makes of feet, touch and count: two sets of facts with one summary are ruled alike."""
        feet = oracle.feet_words(self.code, self.league, *(given[name] for name in oracle.FEET))
        return frozenset(feet), self.touch(*(given[name] for name in oracle.TOUCH)), oracle.counts(given)

    def touch(self, *facts_of_touch):
        """The words of a touch for each garment, offer and bounce."""
        if facts_of_touch not in self.memo:
            kinds = itertools.product(*(facts()[name].values for name in ("touched", "swing", "bounced")))
            self.memo[facts_of_touch] = tuple(
                frozenset(oracle.touch_words(self.code, self.day, one, swing in oracle.OFFERS, bounced, *facts_of_touch))
                for one, swing, bounced in kinds
            )
        return self.memo[facts_of_touch]

    def rulings(self, summary):
        """Every ruling, by the facts of the kind of play, unknown last on each axis."""
        if summary not in self.memo:
            self.memo[summary] = self._rulings(*summary)
        return self.memo[summary]

    def _rulings(self, feet, touch, count):
        masks = self.counted(count)
        masks = np.bitwise_or.reduce(masks[..., [oracle.FEET_WORDS.index(word) for word in feet], :], axis=-2)
        sizes = [len(facts()[name].values) for name in ("touched", "swing", "bounced")]
        may = np.array([[word in words for word in oracle.TOUCH_WORDS] for words in touch]).reshape(*sizes, -1)
        may = may[None, :, None, :, None, :, None, :]
        masks = np.bitwise_or.reduce(np.where(may, masks, np.uint32(0)), axis=-1)
        masks = np.stack([masks[..., 0] if stands else masks[..., 1] for stands in self.tips], axis=-1)
        masks = np.moveaxis(masks, -1, KINDS.index("tip_first_touched"))
        for axis in range(masks.ndim):
            masks = with_unknown(masks, axis)
        return left(masks)

    def counted(self, count):
        if count not in self.memo:
            masks = self.plays
            for truth in reversed(count):
                masks = np.bitwise_or.reduce(masks, axis=-1) if truth is None else masks[..., 0 if truth else 1]
            self.memo[count] = masks
        return self.memo[count]


@functools.cache
def step(node, level, branch):
    """What is left of a diagram once one fact is known; kept for every part, since most parts are shared."""
    if FOREST.levels[node] >= level:
        return FOREST.branches[node][branch] if FOREST.levels[node] == level else node
    return FOREST.node(FOREST.levels[node], tuple(step(part, level, branch) for part in FOREST.branches[node]))


def after(node, given):
    """What is left of a diagram once the recorded ones of some facts are known."""
    for name, value in given.items():
        if value is not None:
            node = step(node, FOREST.level_of[name], facts()[name].values.index(value))
    return node


def classes(root, names, reading):
    """Combinations of some facts, those left with one diagram and one summary together: one of them, how many."""
    found = {}
    for cells in itertools.product(*(values(name) for name in names)):
        given = dict(zip(names, cells, strict=True))
        key = after(root, given), reading.summary(AT_REST | given)
        found[key] = (given, found[key][1] + 1) if key in found else (given, 1)
    return list(found.values())


def differences(code, day, league, blocks, plays):
    """How many combinations were compared, and a line for each kind of difference."""
    reading = Reading(plays, code, day, league)
    varied = {*KINDS, *blocks[0], *blocks[1]}
    root = after(BOOKS[league].regime(code, day).root, {name: AT_REST[name] for name in AT_REST if name not in varied})
    memo: dict = {}
    compared = 0
    lines = {}
    for (one, times), (other, others) in itertools.product(*(classes(root, block, reading) for block in blocks)):
        theirs = left(product(after(root, one | other), memo))
        ours = reading.rulings(reading.summary(AT_REST | one | other))
        compared += times * others * theirs.size
        if np.array_equal(theirs, ours):
            continue
        for place in np.argwhere(theirs != ours):
            kind = dict(zip(KINDS, (values(name)[i] for name, i in zip(KINDS, place, strict=True)), strict=True))
            both = tuple(frozenset(BIT.names(masks[tuple(place)])) for masks in (theirs, ours))
            shown = {name: value for name, value in (one | other | kind).items() if value is not None}
            if both not in lines or len(shown) < len(lines[both]):
                lines[both] = shown
    return compared, [f"{shown}: rules {set(theirs)}, oracle {set(ours)}" for (theirs, ours), shown in lines.items()]


def ways(names):
    """In how many ways the cells of some facts can be filled or left."""
    return math.prod(len(values(name)) for name in names)


@pytest.mark.parametrize("grid", GRIDS)
@pytest.mark.parametrize(("code", "day", "league"), settings())
def test_every_filling_of_the_deciding_cells_is_ruled_as_the_second_reading_rules_it(code, day, league, grid, plays):
    compared, lines = differences(code, day, league, GRIDS[grid], plays)
    assert lines == []
    assert compared == ways({*KINDS, *GRIDS[grid][0], *GRIDS[grid][1]})


YES_NO = ("yes", "no")


def test_the_second_reading_knows_the_leagues_that_the_rules_know():
    point = options()["jumped_out"]
    assert set(oracle.JUMPED_OUT) == set(point.values)
    assert point.default is None
    assert {code for code, leagues in LEAGUES.items() if len(leagues) > 1} == set(point.codes)


@pytest.mark.parametrize(("code", "league"), [(code, league) for code in CODES for league in LEAGUES[code]])
def test_feet_and_plate_with_facts_missing_mean_what_their_fillings_mean(code, league):
    tried = 0
    for cells in itertools.product(*(values(name) for name in oracle.FEET)):
        words = {
            oracle.feet_word(code, one, *full)
            for one in oracle.leagues(league)
            for full in itertools.product(*(facts()[n].values if cell is None else (cell,) for n, cell in zip(oracle.FEET, cells, strict=True)))
        }
        assert oracle.feet_words(code, league, *cells) == ((words - {"impossible"}) or words), cells
        tried += 1
    assert tried == 6 * 6 * 4 * 3 * 3


@pytest.mark.parametrize(("code", "day"), spans())
def test_a_touch_with_facts_missing_means_what_its_fillings_mean(code, day):
    tried = 0
    for touched, struck_at, bounced in itertools.product(("person", "clothing", "loose_clothing"), (True, False), YES_NO):
        for cells in itertools.product(*(values(name) for name in oracle.TOUCH)):
            words = {
                oracle.touch_word(code, day, touched, struck_at, bounced, *full)
                for full in itertools.product(*(facts()[n].values if cell is None else (cell,) for n, cell in zip(oracle.TOUCH, cells, strict=True)))
            }
            found = oracle.touch_words(code, day, touched, struck_at, bounced, *cells)
            assert found == ((words - {"impossible"}) or words), (touched, struck_at, bounced, cells)
            tried += 1
    assert tried == 12 * 3 * 3 * 6 * 3


def drawn(chance, share_missing):
    """Facts drawn at random, a share of them not recorded."""
    return AT_REST | {
        name: None if chance.random() < share_missing else chance.choice(facts()[name].values)
        for name in AT_REST
        if name in VARIED
    }


def in_words(found, given):
    """State, parts and count of a set of the oracle's rulings, as a case is answered."""
    settled = [one for one in found if one[0] == "settled"]
    if not settled:
        return {"state": "contradiction" if found == {oracle.CONTRADICTION} else "open"}
    joined = {}
    for i, name in enumerate(RULING_FIELDS, 1):
        distinct = {one[i] for one in settled}
        joined[name] = distinct.pop() if len(distinct) == 1 else "|".join(sorted(one or NONE_CALLED for one in distinct))
    joined["state"] = "settled" if len(found) == 1 else "open"
    joined["outs_added"] = "|".join(sorted({str(one[8]) for one in settled}))
    for name, effects, most in (("balls", ("ball",), 3), ("strikes", ("strike", "foul"), 2)):
        after_it = {"" if one[9] == "over" or given[name] is None else str(min(most, int(given[name]) + (one[9] in effects))) for one in settled}
        joined[f"{name}_after"] = "" if "" in after_it else "|".join(sorted(after_it))
    return joined


@pytest.mark.parametrize(("code", "day", "league"), settings())
def test_cases_drawn_from_all_facts_at_once_are_answered_as_the_second_reading_answers_them(code, day, league):
    book = BOOKS[league]
    chance = random.Random(f"{code} {day}")
    states = set()
    for number in range(240):
        given = drawn(chance, (0, 0.15, 0.5)[number % 3])
        found = oracle.possible(code, day, given, league)
        if number % 3 == 0:
            assert found == {oracle.reading(code, day, given, one) for one in oracle.leagues(league)}
        expected = in_words(found, given)
        answer = rule_case(book, book.regime(code, day), given)
        shown = {**answer.ruling, "state": answer.state, "outs_added": answer.outs_added}
        shown |= {"balls_after": answer.balls_after, "strikes_after": answer.strikes_after}
        assert {name: shown[name] for name in expected} == expected, given
        states.add(answer.state)
    assert states == {"settled", "open", "contradiction"}


FAIR_FEET = {"contact_front": "inside", "contact_back": "on_line", "plate_touch": "no", "jumped_out": "no"}
OFF = {"touch_in_zone": "no", "touch_in_box": "no"}
IN_BOX = {"touch_in_zone": "no", "touch_in_box": "yes"}
OUT_ON_ILLEGAL_HIT = "/dead/out/return"
AWARD = "/dead/first_base/forced"
WORKED = [
    # Worked out by hand from the rule named.
    ("nfhs", "7-3-2", {"contact": "fair", **FAIR_FEET, "contact_front": "all_out"}, OUT_ON_ILLEGAL_HIT),
    ("nfhs", "7-3-2, plate", {"contact": "foul_tip", "pitch_caught": "yes", **FAIR_FEET, "contact_back": "part_out", "plate_touch": "yes"}, OUT_ON_ILLEGAL_HIT),
    ("obr", "6.03(a)(1)", {"contact": "foul", "swing": "full", "pitch_caught": "no", "strikes": "0", **FAIR_FEET, "contact_back": "part_out", "plate_touch": "yes"}, "foul/dead/at_bat/return"),
    ("ncaa", "7-10-a", {"contact": "foul", "pitch_caught": "no", **FAIR_FEET, "plate_touch": "yes"}, OUT_ON_ILLEGAL_HIT),
    ("nfhs", "7-3-2, after contact", {"contact": "fair", **FAIR_FEET, "contact_front": "airborne"}, "in_play/live/batter_runner/as_played"),
    ("ncaa", "7-10-a, note", {"swing": "full", "plate_touch": "yes", "strikes": "1"}, "strike/live/at_bat/as_played"),
    ("nfhs", "5-1-1a, 7-2-1b", {"swing": "full", "touched": "person", "strikes": "2", "outs": "2"}, "strike/dead/out/return"),
    ("obr", "5.05(b)(2), attempt", {"touched": "person", "avoidance": "froze", "could_avoid": "yes", "balls": "1", **OFF}, "ball/dead/at_bat/return"),
    ("nfhs", "7-3-4, 8-1-1c", {"touched": "person", "avoidance": "permitted", "balls": "3", **OFF}, "ball/dead/first_base/forced"),
    ("ncaa", "7-4-i", {"touched": "person", "avoidance": "moved_into", "strikes": "2", **IN_BOX}, "strike/dead/out/return"),
    ("ncaa", "8-2-d-1-b", {"touched": "person", "avoidance": "froze", "strikes": "2", **IN_BOX}, AWARD),
    ("ncaa", "8-2-d-1-a", {"touched": "person", "avoidance": "froze", "could_avoid": "yes", "strikes": "1", **OFF}, "strike/dead/at_bat/return"),
    ("nfhs", "8-1-1d2", {"touched": "loose_clothing", "avoidance": "tried", "balls": "0", **OFF}, "ball/dead/at_bat/return"),
    ("obr", "5.05(b)(2), person", {"touched": "loose_clothing", "avoidance": "tried", **OFF}, AWARD),
    ("obr", "5.05(a)(3)", {"touched": "person", "avoidance": "tried", "bounced": "yes", **OFF}, AWARD),
    ("nfhs", "2-16, bat first", {"contact": "foul", "touched": "person", "first_touch": "bat", "pitch_caught": "no", "strikes": "1", **FAIR_FEET}, "foul/dead/at_bat/return"),
    ("nfhs", "8-1-1d, body first", {"contact": "foul", "touched": "person", "first_touch": "body", "pitch_caught": "no", "avoidance": "tried", **OFF}, AWARD),
    ("nfhs", "2-16-2", {"contact": "foul_tip", "tip_first_touched": "gear_or_body", "swing": "full", "pitch_caught": "yes", "strikes": "2", **FAIR_FEET}, "foul/dead/at_bat/return"),
    ("obr", "Definitions (FOUL TIP)", {"contact": "foul_tip", "tip_first_touched": "gear_or_body", "swing": "full", "pitch_caught": "yes", "strikes": "2", **FAIR_FEET}, "strike/live/out/as_played"),
    ("obr", "5.09(a)(4)", {"contact": "foul", "swing": "bunt", "pitch_caught": "no", "strikes": "2", **FAIR_FEET}, "strike/dead/out/return"),
]  # fmt: skip


@pytest.mark.parametrize(("code", "reference", "given", "expected"), WORKED, ids=[f"{one[0]} {one[1]}" for one in WORKED])
def test_the_second_reading_gives_what_was_worked_out_by_hand(code, reference, given, expected):
    found = oracle.possible(code, dt.date(2024, 4, 1), AT_REST | given)
    assert {"/".join(one[1:5]) for one in found} == {expected}, reference


JUMP = {"contact": "fair", "contact_front": "airborne", "contact_back": "airborne", "jumped_out": "yes"}
STANDS = "in_play/live/batter_runner/as_played"


@pytest.mark.parametrize(
    ("league", "state", "rulings"),
    [
        (None, "open", {OUT_ON_ILLEGAL_HIT, STANDS}),
        ("out", "settled", {OUT_ON_ILLEGAL_HIT}),
        ("legal", "settled", {STANDS}),
    ],
)
def test_a_jump_out_of_the_box_is_ruled_as_the_league_reads_it_and_is_open_where_it_does_not(league, state, rulings):
    """Trap 2: the professional Comment stands against the words on the ground, and no text joins them."""
    day = dt.date(2024, 4, 1)
    found = oracle.possible("obr", day, AT_REST | JUMP, league)
    assert {"/".join(one[1:5]) for one in found} == rulings
    assert rule_case(BOOKS[league], BOOKS[league].regime("obr", day), AT_REST | JUMP).state == state


EARLY_TOUCH = {"touched": "person", "avoidance": "tried", "strikes": "0", **OFF}
STRIKE_AND_DEAD = "strike/dead/at_bat/return"


@pytest.mark.parametrize(
    ("given", "expected"),
    [
        ({"swing": "full"}, {STRIKE_AND_DEAD}),
        ({"touch_in_zone": "yes"}, {STRIKE_AND_DEAD}),
        ({"touch_in_zone": "yes", "bounced": "yes"}, {"not_covered"}),
        ({}, {"not_covered"}),
    ],
    ids=["struck at", "in the zone in flight", "in the zone after a bounce", "off the zone"],
)
def test_a_college_touch_before_2015_is_left_open_only_where_an_award_is_asked(given, expected):
    day = oracle.AWARDS_KNOWN_FROM - dt.timedelta(days=1)
    found = oracle.possible("ncaa", day, AT_REST | EARLY_TOUCH | given)
    assert {"/".join(one[1:5]) or one[0] for one in found} == expected


@pytest.mark.parametrize(
    ("code", "league", "given"),
    [
        ("obr", "out", JUMP),
        ("ncaa", None, {"touched": "loose_clothing", "avoidance": "tried", **OFF}),
    ],
    ids=["a jump out of the box", "loose clothing in college play"],
)
def test_what_no_text_settles_is_marked_as_inferred(code, league, given):
    book = BOOKS[league]
    answer = rule_case(book, book.regime(code, dt.date(2024, 4, 1)), AT_REST | given)
    assert answer.state == "settled"
    assert answer.confidence == "inferred"
