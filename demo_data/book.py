"""What the three codes say, worked out by hand: a second opinion that shares nothing with the product.

Each function here takes the situation before the pitch and returns the ruling for one kind of event. They
are written from the rule texts, case by case, so that a mistake in the rules core shows as a difference.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, fields, replace

CODES = ("nfhs", "obr", "ncaa")
RULED = ("pitch", "ball_status", "batter", "runners", "runner_out", "choice", "instruct")


@dataclass(frozen=True)
class Situation:
    """Outs, count and occupied bases before the pitch."""

    outs: int
    balls: int
    strikes: int
    on_first: bool = False
    on_second: bool = False
    on_third: bool = False

    @property
    def first_blocks(self) -> bool:
        """Whether first base is held with fewer than two outs: then a dropped strike three is an out."""
        return self.on_first and self.outs < 2


@dataclass(frozen=True)
class Ruling:
    """A ruling in words of the plate calls sheet.

    A blank part is one on which this second opinion says nothing (never "no such part"); several possible
    values are joined by `|`, in alphabetical order.
    """

    pitch: str = ""
    ball_status: str = ""
    batter: str = ""
    runners: str = ""
    runner_out: str = "none"
    choice: str = "none"
    instruct: str = "none"
    outs_added: str = "0"
    balls_after: str = ""
    strikes_after: str = ""

    @property
    def is_open(self) -> bool:
        """Whether some part has several possible values."""
        return any("|" in getattr(self, field.name) for field in fields(self))


Event = Callable[[Situation], Ruling]


def at_bat(now: Situation, pitch: str, status: str, runners: str, *, balls: int = 0, strikes: int = 0) -> Ruling:
    """Return the ruling under which the turn at bat goes on, with so many balls and strikes added."""
    return Ruling(
        pitch=pitch,
        ball_status=status,
        batter="at_bat",
        runners=runners,
        balls_after=str(now.balls + balls),
        strikes_after=str(now.strikes + strikes),
    )


def ball_live(now: Situation) -> Ruling:
    """Return a ball, nothing touched. Ball four: first base, live, the others forced.

    NFHS 2-4-2, OBR 5.05(b)(1), NCAA 8-2-b.
    """
    if now.balls == 3:
        return Ruling(pitch="ball", ball_status="live", batter="first_base", runners="forced")
    return at_bat(now, "ball", "live", "as_played", balls=1)


def ball_dead(now: Situation) -> Ruling:
    """Return a ball that touched the batter and earns no award; ball four still gives first base.

    NFHS 7-3-4 Penalty and 8-1-1d; OBR 5.05(b)(2) and its ruling that nobody advances.
    """
    if now.balls == 3:
        return Ruling(pitch="ball", ball_status="dead", batter="first_base", runners="forced")
    return at_bat(now, "ball", "dead", "return", balls=1)


def strike_caught(now: Situation) -> Ruling:
    """Return a strike that the catcher caught in flight. NFHS 7-4-1, OBR 5.09(a)(2), NCAA 7-11."""
    if now.strikes == 2:
        return Ruling(pitch="strike", ball_status="live", batter="out", runners="as_played", outs_added="1")
    return at_bat(now, "strike", "live", "as_played", strikes=1)


def strike_not_caught(now: Situation) -> Ruling:
    """Return a strike that was not caught in flight.

    He may run unless first base is held with fewer than two outs.
    NFHS 7-4-1b and 8-1-1b; OBR 5.05(a)(2), 5.09(a)(3); NCAA 7-11-g, 8-2-c.
    """
    if now.strikes == 2 and not now.first_blocks:
        return Ruling(pitch="strike", ball_status="live", batter="batter_runner", runners="as_played")
    return strike_caught(now)


def runs_on_strike_three(now: Situation) -> Ruling:
    """Return what is ruled where the batter is let run on strike three, whatever the rule says."""
    return Ruling(pitch="strike", ball_status="live", batter="batter_runner", runners="as_played")


def strike_dead(now: Situation) -> Ruling:
    """Return a strike that touched the batter: dead, nobody advances, no right to run on strike three.

    NFHS 5-1-1a, 7-2-1b, 8-1-1d; OBR Definitions (strike, e and f), 5.09(a)(6); NCAA 7-4, 8-2-d.
    """
    if now.strikes == 2:
        return Ruling(pitch="strike", ball_status="dead", batter="out", runners="return", outs_added="1")
    return at_bat(now, "strike", "dead", "return", strikes=1)


def award(now: Situation) -> Ruling:
    """Return first base for a hit batter: dead, only forced runners move; the pitch has no call of its own.

    NFHS 8-1-1d, 5-1-1a; OBR 5.05(b)(2), 5.06(c)(1); NCAA 8-2-d, 6-4-c.
    """
    return Ruling(ball_status="dead", batter="first_base", runners="forced")


def foul(now: Situation) -> Ruling:
    """Return a foul that is not a bunt.

    NFHS 2-16, 7-2-1; OBR 5.06(c)(5), Definitions (strike, c); NCAA 7-7.
    """
    return at_bat(now, "foul", "dead", "return", strikes=int(now.strikes < 2))


def foul_bunt(now: Situation) -> Ruling:
    """Return a bunt that went foul: on two strikes he is out. NFHS 7-4-1e; OBR 5.09(a)(4); NCAA 7-11."""
    if now.strikes == 2:
        return Ruling(pitch="strike", ball_status="dead", batter="out", runners="return", outs_added="1")
    return foul(now)


def fair(now: Situation) -> Ruling:
    """Return a ball legally hit into fair ground."""
    return Ruling(pitch="in_play", ball_status="live", batter="batter_runner", runners="as_played")


def foul_tip(now: Situation) -> Ruling:
    """Return a foul tip: a strike in any count, live. NFHS 2-16-2; OBR Definitions; NCAA 7-8."""
    return strike_caught(now)


def illegal_hit(now: Situation) -> Ruling:
    """Return the penalty for an illegally batted ball: dead, batter out, runners return, steals included.

    NFHS 7-3-2 Penalty; OBR 6.03(a)(1), 5.06(c)(4); NCAA 7-10-a. How the pitch is called does not matter then.
    """
    return Ruling(ball_status="dead", batter="out", runners="return", outs_added="1")


def direct_batter(now: Situation) -> Ruling:
    """Return the remedy for a stance over the line: direct him in; no penalty.

    NFHS 2-7, 7-3-2 (case A); OBR 5.04(b)(5); NCAA 7-1, 7-2.
    """
    return Ruling(instruct="direct_batter", runner_out="", choice="")


def say_nothing(now: Situation) -> Ruling:
    """Return nothing: the stance is legal."""
    return Ruling(instruct="none", runner_out="", choice="")


def warn(now: Situation) -> Ruling:
    """Return a warning to the batter, which no code provides for a stance."""
    return Ruling(instruct="warn", runner_out="", choice="")


def delay_strike_live(now: Situation) -> Ruling:
    """Return the strike without a pitch under which the ball stays live. NFHS 7-3-1; NCAA 7-1."""
    return strike_caught(now)


def delay_strike_dead(now: Situation) -> Ruling:
    """Return the strike without a pitch under which the ball is dead. OBR 5.04(b)(3)."""
    return strike_dead(now)


def two_strikes(now: Situation) -> Ruling:
    """Return a strike for the pitch, wherever it went, and one for stepping out. NFHS 6-2-4d1, 7-3-1."""
    if now.strikes >= 1:
        return Ruling(pitch="strike", ball_status="live", batter="out", runners="as_played", outs_added="1")
    return at_bat(now, "strike", "live", "as_played", strikes=2)


def one_strike_pitcher_stopped(now: Situation) -> Ruling:
    """Return one strike on the batter and no balk; how the ball stands is left unsaid. NFHS 6-2-4d1."""
    return replace(at_bat(now, "strike", "", "", strikes=1), instruct="")


def start_over(now: Situation) -> Ruling:
    """Return neither balk nor count: both start again. OBR 5.04(b)(2) Comment."""
    return replace(at_bat(now, "", "", ""), instruct="start_over")


def no_pitch(now: Situation) -> Ruling:
    """Return a pitch that is not counted."""
    return at_bat(now, "no_pitch", "dead", "return")


def balk(now: Situation) -> Ruling:
    """Return what an umpire rules who sees a balk."""
    return replace(at_bat(now, "no_pitch", "dead", "advance_one"))


def but(event: Event, **parts: str) -> Event:
    """Return an event whose ruling is that of another except for some parts."""

    def changed(now: Situation) -> Ruling:
        return replace(event(now), **parts)

    return changed


def either(now: Situation, events: Sequence[Event]) -> Ruling:
    """Return the ruling of which only this is known: it is one of several."""
    rulings = [event(now) for event in events]
    if len(rulings) == 1:
        return rulings[0]
    merged = {}
    for field in fields(Ruling):
        values = {getattr(ruling, field.name) for ruling in rulings}
        merged[field.name] = "" if "" in values else "|".join(sorted(values))
    return Ruling(**merged)


def differs(ruled: str, right: str) -> bool:
    """Whether a noted part is certainly wrong: both are stated, and the right one is not it."""
    return bool(ruled and right) and ruled not in right.split("|")
