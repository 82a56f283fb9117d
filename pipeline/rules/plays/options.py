"""The options of a play: the right ruling, and the rulings of those who believe otherwise, in words."""

from __future__ import annotations

import datetime as dt
import functools
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from importlib.resources import files
from typing import Any

from pipeline.rules.answer import count_after
from pipeline.rules.compile import RuleBook
from pipeline.rules.explanation_words import fact_words, part_words
from pipeline.rules.misbeliefs import Misbelief, holds, misbeliefs, ruling_as_if
from pipeline.rules.model import RULING_FIELDS, Answer
from pipeline.rules.plays.situation import BASES, Facts
from pipeline.rules.reading import rules
from schemas.reader import load_yaml

ALWAYS_SAID = ("pitch", "ball_status", "batter", "runners")
"""Parts that every option names where its ruling calls them; the others only where the options differ in them."""


@dataclass(frozen=True)
class Ruling:
    """A ruling as an option can claim it: its parts (blank: not called), and the count after it (blank: none).

    `moves` says what its word about runners comes to on the play: for each runner whether he gains a base; None where
    they are left to the play.
    """

    parts: Mapping[str, str]
    moves: tuple[bool, ...] | None
    balls_after: str
    strikes_after: str

    @property
    def count(self) -> str:
        """The count after it as an umpire gives it."""
        return f"{self.balls_after}-{self.strikes_after}" if self.balls_after and self.strikes_after else ""


@dataclass(frozen=True)
class Wrong:
    """A wrong ruling that people really give, and the misbelief that leads to it."""

    ruling: Ruling
    misbelief: Misbelief


@functools.cache
def _words() -> Mapping[str, Any]:
    path = "plays/rulings.yaml"
    text = files("pipeline.rules").joinpath(path).read_text(encoding="utf-8")
    return dict(load_yaml(text, f"pipeline/rules/{path}"))


def one_runner_words() -> Mapping[str, str]:
    """The words for each ruling about runners where there is a single one."""
    return dict(_words()["one_runner"])


def ruling_of(answer: Answer, known: Facts) -> Ruling:
    """Return an answer as a ruling on these facts; a part about runners is blank where there are none."""
    parts = dict(zip(RULING_FIELDS, answer.ruling, strict=True))
    if not runners_on(known):
        parts["runners"] = ""
    balls, strikes = known.get("balls"), known.get("strikes")
    after = count_after(answer, None if balls is None else int(balls), None if strikes is None else int(strikes))
    return Ruling(parts, moves(parts["runners"], known), *after)


def moves(runners: str, known: Facts) -> tuple[bool, ...] | None:
    """Return for each runner, from first base on, whether a word about runners gives him a base (None: the play does).

    Of one runner on second, “the runners go back” and “only forced runners move” say the same.
    """
    if runners in ("", "as_played"):
        return None
    on = [known.get(name) == "yes" for name in BASES]
    forced = [all(on[: place + 1]) for place in range(len(on))]
    stealing = [known.get(name.replace("on_", "stealing_")) == "yes" for name in BASES]
    gains = {
        "return": [False] * len(on),
        "forced": forced,
        "forced_and_stealing": [one or other for one, other in zip(forced, stealing, strict=True)],
        "advance_one": [True] * len(on),
    }[runners]
    return tuple(gain for gain, there in zip(gains, on, strict=True) if there)


def runners_on(known: Facts) -> int:
    """How many runners are on base."""
    return sum(known.get(name) == "yes" for name in BASES)


def same_count(one: Ruling, other: Ruling) -> bool:
    """Whether no count tells two rulings apart."""
    return not one.count or not other.count or one.count == other.count


def differ(one: Ruling, other: Ruling) -> tuple[str, ...]:
    """The parts in which both rulings say something and not the same; a part that one leaves open is no difference.

    Two words about runners that come to the same on the play are no difference either.
    """
    return tuple(
        name
        for name in RULING_FIELDS
        if one.parts[name] and other.parts[name] and one.parts[name] != other.parts[name]
        and (name != "runners" or one.moves != other.moves)
    )  # fmt: skip


def apart(one: Ruling, other: Ruling) -> bool:
    """Whether nobody can hold two rulings for the same."""
    return bool(differ(one, other)) or not same_count(one, other)


def _can_show(misbelief: Misbelief, code: str, known: Facts, right: Answer) -> bool:
    """Whether a misbelief may show here at all: a quick look, so that its ruling is sought for few."""
    if code not in misbelief.reference or (misbelief.when is not None and holds(misbelief.when, known) is not True):
        return False
    parts = dict(zip(RULING_FIELDS, right.ruling, strict=True))
    return all(parts[name] in values for name, values in misbelief.right.items())


@functools.cache
def _rule_topics() -> frozenset[str]:
    return frozenset(rule.topic for rule in rules().values())


def _belongs(misbelief: Misbelief, about: Collection[str], known: Facts) -> bool:
    """Whether a misbelief has to do with a play about some topics, so that its ruling is no nonsense there.

    It has if its topic is one of the play's, or none of the rules' at all (the ball's status, the runners); if it
    takes another code or date; or if it takes something that did happen for something else.
    """
    if misbelief.kind in ("code", "day") or misbelief.topic in about or misbelief.topic not in _rule_topics():
        return True
    for name, new in misbelief.as_if.items():
        old = known.get(name)
        value = new if isinstance(new, str) else new.get(old or "")
        if value is not None and value != old and old is not None and old not in fact_words()[name].quiet:
            return True
    return False


def wrong_rulings(
    book: RuleBook, code: str, day: dt.date, known: Facts, right: Answer, topic: str
) -> tuple[Wrong, ...]:
    """Return the wrong rulings that a known misbelief leads to on these facts, each once, in order of precedence.

    Misbeliefs of kind `judgement` are left out: the stem tells what was seen, so nobody can have seen it otherwise.
    So are those that have nothing to do with a play about `topic` and the topics of the rules that rule it.
    """
    about = {topic, *(book.rules[rule_id].topic for rule_id in right.rule_ids)}
    if known.get("moment") == "pitch":
        about.add("pitch")
    key = ruling_of(right, known)
    found: list[Wrong] = []
    for misbelief in misbeliefs().values():
        if misbelief.kind == "judgement" or not _can_show(misbelief, code, known, right):
            continue
        if not _belongs(misbelief, about, known):
            continue
        answer = ruling_as_if(book, misbelief, code, day, known)
        if answer is None or answer.state != "settled":
            continue
        ruling = ruling_of(answer, known)
        if apart(ruling, key) and all(apart(ruling, other.ruling) for other in found):
            found.append(Wrong(ruling, misbelief))
    return tuple(found)


def said_parts(rulings: Sequence[Ruling]) -> tuple[str, ...]:
    """The parts that the options of one item name, and `count` where only the count tells two of them apart."""
    said = list(ALWAYS_SAID)
    for name in RULING_FIELDS:
        if name not in said and len({ruling.parts[name] or "none" for ruling in rulings}) > 1:
            said.append(name)
    pairs = [(one, other) for i, one in enumerate(rulings) for other in rulings[i + 1 :]]
    if any(not differ(one, other) for one, other in pairs):
        said.append("count")
    return tuple(said)


def option_text(ruling: Ruling, said: Sequence[str], known: Facts) -> str:
    """Return a ruling as one sentence."""
    own, words = _words(), part_words()
    clauses = [] if ruling.parts["pitch"] or ruling.parts["ball_status"] else [own["nothing_called"]]
    for name in said:
        value = ruling.count if name == "count" else ruling.parts[name]
        if not value:
            continue
        if name == "count":
            clauses.append(f"the count is {value}")
        elif name == "runners" and runners_on(known) == 1:
            clauses.append(one_runner_words()[value])
        else:
            clauses.append(words[name].values[value])
    text = "; ".join(clauses)
    return text[:1].upper() + text[1:] + "."


def option_states(ruling: Ruling, said: Sequence[str]) -> str:
    """Return what an option claims, as `field=value` pairs joined by `;`."""
    pairs = [f"{name}={ruling.parts[name]}" for name in said if name != "count" and ruling.parts[name]]
    if "count" in said and ruling.count:
        pairs += [f"balls_after={ruling.balls_after}", f"strikes_after={ruling.strikes_after}"]
    return ";".join(pairs)
