"""Plays from the rules' own worked cases: what happened stands in the case, the scoreboard is drawn."""

from __future__ import annotations

import random
from collections.abc import Iterator, Mapping

from pipeline.rules.plays.play import Origin
from pipeline.rules.plays.situation import BASES, COUNT_AND_OUTS, as_read
from pipeline.rules.reading import rules
from pipeline.rules.vocabulary import facts

WITHOUT_TOPIC = ("standing", "coverage", "order")
"""Topics of rules that keep the order of decision; their cases tell of no play that a clinic would hold."""

VARIANTS = 2
"""How many scoreboards are drawn for each worked case."""

_RUNNERS = ("", "", "1", "1", "2", "3", "12", "13", "23", "123")
"""Runners on base, drawn evenly from this list: empty and first base come more often, as in games."""

_FROM = {"second": "stealing_first", "third": "stealing_second", "home": "stealing_third"}
"""Who is going where the case says only to which base: he who was one base before it."""

_PLAIN_PITCH = {"moment": "pitch", "touched": "none", "pitch_delivered": "yes", "walk_request": "none"}
"""On such a play the catcher has the ball, where the case says nothing else."""

_AHEAD = {"on_first": "on_second", "on_second": "on_third"}

_ALIKE = {"contact_front": "inside", "contact_back": "inside", "plate_touch": "no"}
"""How a batted ball is read where the case does not speak of the feet, because it is about something else."""


def topics() -> tuple[str, ...]:
    """Every topic of which there are worked cases about plays, in the order of the alphabet."""
    return tuple(sorted({rule.topic for rule in rules().values() if rule.cases} - set(WITHOUT_TOPIC)))


def _happened(given: Mapping[str, str]) -> dict[str, str]:
    """Complete what happened where the case leaves out what goes without saying."""
    made = {name: value for name, value in given.items() if name in facts()}
    if going := _FROM.get(made.get("play_on", "none")):
        made.setdefault(going, "yes")
    known = as_read(made, "")
    if known["contact"] != "none":
        if known["swing"] == "none" and known["touched"] == "none":
            made["swing"] = "full"
        for name, value in _ALIKE.items():
            made.setdefault(name, value)
        if known["contact"] == "foul_caught":
            made.setdefault("pitch_caught", "no")
    elif all(known[name] == value for name, value in _PLAIN_PITCH.items()):
        made.setdefault("pitch_caught", "no" if known["bounced"] == "yes" else "yes")
    return made


def drawn_count(rng: random.Random) -> dict[str, str]:
    """Draw outs, balls and strikes."""
    return {"outs": rng.choice("012"), "balls": rng.choice("0123"), "strikes": rng.choice("012")}


def _is_going(given: Mapping[str, str], base: str) -> bool:
    return given.get(base.replace("on_", "stealing_")) == "yes"


def _scoreboard(given: Mapping[str, str], rng: random.Random) -> dict[str, str]:
    """Draw outs, count and runners where the case leaves them open."""
    drawn = drawn_count(rng)
    on = rng.choice(_RUNNERS)
    bases = {name: "yes" if str(number) in on else "no" for number, name in enumerate(BASES, 1)}
    for name in BASES:
        # A runner who is going is on his base, and the base before him is free, unless its runner is going too.
        if _is_going(given, name):
            bases[name] = "yes"
            ahead = _AHEAD.get(name)
            if ahead is not None and not _is_going(given, ahead):
                bases[ahead] = "no"
    return {**drawn, **bases, **{name: given[name] for name in (*COUNT_AND_OUTS, *BASES) if name in given}}


def worked_situations(
    wanted: frozenset[str], seed: int, variants: int = VARIANTS
) -> Iterator[tuple[dict[str, str], Origin]]:
    """Every worked case of the wanted topics with drawn scoreboards: all once, in a drawn order, then all again.

    Cases about a fact that was not recorded, and cases of a league that settled a point for itself, are left out.
    """
    found = []
    for rule in rules().values():
        for number, case in enumerate(rule.cases):
            if rule.topic in wanted and "" not in case.given.values() and not case.options:
                base = f"{rule.id}/{number}"
                found.append((case.given, Origin(rule.topic, base, f"Worked case of rule {rule.id}: {case.name}.")))
    order = random.Random(f"cases/{seed}")  # noqa: S311 - a seeded draw, nothing secret
    for variant in range(variants):
        order.shuffle(found)
        for given, origin in found:
            rng = random.Random(f"{seed}/{origin.base}/{variant}")  # noqa: S311 - as above
            happened = _happened(given)
            yield {**happened, **_scoreboard(happened, rng)}, origin
