"""Twins: the same play with as little changed as possible, and another ruling."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

from pipeline.rules.compile import RuleBook
from pipeline.rules.explanation_words import plausibility
from pipeline.rules.nearest import nearest_other_rulings
from pipeline.rules.plays.options import apart
from pipeline.rules.plays.play import Play, as_play
from pipeline.rules.plays.situation import SITUATION

WAYS = 40
"""How many of the nearest changes are tried."""

_SCOREBOARD = 100
"""How much farther a change of outs, count or runners is than one of what happened: a twin is about the play."""


def twin_of(book: RuleBook, day: dt.date, play: Play) -> tuple[Play, str] | None:
    """Return the nearest play that can be asked too and is ruled otherwise, and what is different in it, in words.

    Of equally likely changes (`plausibility`) the first whose ruling is a known wrong ruling on the given play. None
    where no change leaves a play that can be told, or where the words would not show the change.
    """

    def weigh(name: str, given: str | None, value: str) -> int:
        return _SCOREBOARD if name in SITUATION else plausibility(name, given, value)

    root = book.regime(play.code, day).root
    best: tuple[tuple[int, bool], Play, str] | None = None
    for near in nearest_other_rulings(book.forest, root, play.known, play.answer.spoken, weigh, WAYS):
        far = sum(weigh(change.fact, change.given, change.value) for change in near.changes)
        if best is not None and far > best[0][0]:
            break
        facts = {**play.facts, **{change.fact: change.value for change in near.changes}, **dict(near.supposed)}
        origin = replace(play.origin, note=f"Twin of the play before it. {play.origin.note}", made=())
        found = as_play(book, play.code, day, facts, origin)
        if found is None or not apart(found.ruling, play.ruling):
            continue
        lead = _difference(play, found)
        if not lead or any(found.known[change.fact] != change.value for change in near.changes):
            continue
        # Best is a twin whose ruling people do give on the first play: they overlook just this difference.
        rank = (far, all(apart(found.ruling, wrong.ruling) for wrong in play.wrong))
        if best is None or rank < best[0]:
            best = (rank, found, lead)
    return None if best is None else best[1:]


def _difference(one: Play, other: Play) -> str:
    """The sentences of the other play that the first has not."""
    told = [text for name, text in other.stem.sentences.items() if one.stem.sentences.get(name) != text]
    left_out = [name for name in one.stem.sentences if name not in other.stem.sentences]
    return "" if left_out and not told else " ".join(told)
