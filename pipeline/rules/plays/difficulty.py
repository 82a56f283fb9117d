"""How hard a play is: from a season's misrulings where there is one, else from what pulls the other way."""

from __future__ import annotations

from dataclasses import dataclass

from pipeline.rules.compile import RuleBook
from pipeline.rules.plays.measures import Measure
from pipeline.rules.plays.play import Play
from pipeline.rules.plays.situation import SITUATION

GRADES = ("plain", "demanding", "hard")

DEMANDING_SHARE, HARD_SHARE = 0.10, 0.25
"""From these shares of misruled calls on, a kind of play is demanding, or hard."""

FEWEST_GRADED = 5
"""A season that graded fewer calls of a kind says nothing about how hard it is."""

MANY_WRONG = 4
"""So many different wrong rulings or more that follow from a misbelief, wrong parts aside, are one pull."""

CLOSE_FACTS = 3
"""So many facts or more, each of which alone would change the ruling, are one pull."""

DEFINITION = (
    f"Where a season is given and it graded {FEWEST_GRADED} calls of the kind or more: plain below "
    f"{DEMANDING_SHARE:.0%} of them misruled, demanding from {DEMANDING_SHARE:.0%}, hard from {HARD_SHARE:.0%}. "
    "Else by what pulls the other way: another code rules otherwise on the same facts; "
    f"{MANY_WRONG} different wrong rulings or more follow from known misbeliefs; {CLOSE_FACTS} of the facts told or "
    "more would each alone change the ruling (outs, count and runners aside). None or one of these is plain, two are "
    "demanding, three hard. A question about a measure is plain, and demanding where the codes differ."
)


@dataclass(frozen=True)
class Grade:
    """One of GRADES, and why."""

    name: str
    why: str


def facts_that_turn(book: RuleBook, root: int, play: Play) -> tuple[str, ...]:
    """The facts told, besides the scoreboard, of which another value alone leads to another ruling."""
    forest = book.forest
    found = []
    for name in play.facts:
        if name in SITUATION:
            continue
        for value in forest.variables[forest.level_of[name]].values:
            if value == play.known[name]:
                continue
            _, node = forest.path(root, {**play.known, name: value})
            answer = forest.answers[node]
            spoken = getattr(answer, "spoken", None)
            if getattr(answer, "state", "") == "settled" and spoken != play.answer.spoken:
                found.append(name)
                break
    return tuple(found)


def grade_play(book: RuleBook, root: int, play: Play) -> Grade:
    """Grade a play; see DEFINITION."""
    share = play.origin.wrong_share
    if share is not None and play.origin.graded >= FEWEST_GRADED:
        name = GRADES[(share >= DEMANDING_SHARE) + (share >= HARD_SHARE)]
        return Grade(name, f"{share:.0%} of {play.origin.graded} graded calls of this kind were misruled")
    pulls = []
    if play.other_codes:
        pulls.append("another code rules otherwise")
    beliefs = sum(wrong.misbelief.kind != "part" for wrong in play.wrong)
    if beliefs >= MANY_WRONG:
        pulls.append(f"{beliefs} wrong rulings follow from misbeliefs")
    turning = facts_that_turn(book, root, play)
    if len(turning) >= CLOSE_FACTS:
        pulls.append(f"{len(turning)} facts would each alone change the ruling")
    return Grade(GRADES[max(0, len(pulls) - 1)], "; ".join(pulls) or "nothing pulls the other way")


def grade_measure(measure: Measure) -> Grade:
    """Grade a question about a measure; see DEFINITION."""
    if measure.differs:
        return Grade("demanding", "the codes differ")
    return Grade("plain", "one figure in every code")
