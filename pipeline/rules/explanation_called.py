"""What an umpire called, held against the ruling part by part, and where that call would be right."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from pipeline.rules.answer import NONE_CALLED
from pipeline.rules.compile import Regime, RuleBook
from pipeline.rules.explanation_path import Facts
from pipeline.rules.explanation_words import part_words, plausibility
from pipeline.rules.model import CODE_TITLES, CODES, RULING_FIELDS, Answer
from pipeline.rules.nearest import NearCase, Weigh, has_parts, nearest_with_ruling, sound_answers


@dataclass(frozen=True)
class CalledPart:
    """One part of a call: what was called, what may be right, the verdict, and the rule that brings the part.

    `verdict` is `right`, `wrong`, `open` (missing facts decide), or `not_called` (the rules call nothing there, so
    nothing is graded).
    """

    part: str
    called: str
    right: tuple[str, ...]
    verdict: str
    rule_id: str
    words: str


@dataclass(frozen=True)
class Span:
    """Days on which a call would be right under a code; None: no first, or no last day."""

    code: str
    code_title: str
    first_day: dt.date | None
    last_day: dt.date | None


@dataclass(frozen=True)
class Pattern:
    """A way of ruling wrongly that a call fits: its id, title, what it says, and where that would be true."""

    pattern_id: str
    title: str
    says: str
    true_where: str


@dataclass(frozen=True)
class Called:
    """A call beside the ruling: part by part, and in which cases, codes and days all of it would be right."""

    verdict: str
    parts: tuple[CalledPart, ...]
    patterns: tuple[Pattern, ...]
    nearest: tuple[NearCase, ...]
    codes: tuple[Span, ...]
    days: tuple[Span, ...]


def _brings(book: RuleBook, answers: Sequence[Answer], part: str) -> str:
    """The id of the rule that brings a part of the ruling, where all possible rulings have it from one rule."""
    found = set()
    for answer in answers:
        bringing = [rule_id for rule_id in answer.rule_ids if part in book.rules[rule_id].ruling]
        found.add(bringing[-1] if bringing else "")
    return found.pop() if len(found) == 1 else ""


def _value_words(part: str, value: str) -> str:
    return part_words()[part].values[value] if value else "nothing is called"


def _part(book: RuleBook, code: str, answers: Sequence[Answer], part: str, called: str) -> CalledPart:
    place = RULING_FIELDS.index(part)
    right = tuple(sorted({answer.ruling[place] for answer in answers}))
    if right == (called,):
        verdict = "right"
    elif called in right:
        verdict = "open"
    else:
        verdict = "not_called" if "" in right else "wrong"
    rule_id = _brings(book, answers, part)
    given = " or ".join(_value_words(part, value) for value in right)
    by = f" ({rule_id}, {book.rules[rule_id].codes[code].reference})" if rule_id else ""
    words = {
        "right": f"right: {given}{by}",
        "wrong": f"wrong: {given}{by}",
        "open": f"open: {given}, by what was not recorded",
        "not_called": "the rules call nothing here, so nothing is graded",
    }[verdict]
    return CalledPart(part, called, right, verdict, rule_id, words)


def _right_under(book: RuleBook, regime: Regime, known: Facts, parts: Mapping[str, str], wrong: Sequence[str]) -> bool:
    answers = sound_answers(book.forest, regime.root, known)
    return bool(answers) and all(
        answer.state == "settled" and has_parts(answer, parts, wrong) for answer in answers
    )


def _spans(
    book: RuleBook, code: str, known: Facts, parts: Mapping[str, str], wrong: Sequence[str]
) -> tuple[Span, ...]:
    """The days on which the call would be right under its own code, adjoining spans joined."""
    own = [regime for regime in book.regimes if regime.code == code]
    found: list[Span] = []
    for place, regime in enumerate(own):
        if not _right_under(book, regime, known, parts, wrong):
            continue
        following = own[place + 1].first_day if place + 1 < len(own) else None
        last = following - dt.timedelta(days=1) if following else None
        if found and regime.first_day and found[-1].last_day == regime.first_day - dt.timedelta(days=1):
            found[-1] = Span(code, CODE_TITLES[code], found[-1].first_day, last)
        else:
            found.append(Span(code, CODE_TITLES[code], regime.first_day, last))
    return tuple(found)


def hold_against(
    book: RuleBook,
    code: str,
    day: dt.date,
    known: Facts,
    ruled: Mapping[str, str | None],
    known_under: Mapping[str, Facts] | None = None,
    weigh: Weigh = plausibility,
) -> Called | None:
    """Hold a call against the ruling; None where nothing was called or no ruling is given.

    Parameters
    ----------
    ruled
        Parts of the ruling by name (RULING_FIELDS); None, a blank or an absent part was not noted. `none_called`
        says that nothing was called there.
    known_under
        By other code, the deciding facts as that code reads the same sheet (None: as `known`).
    """
    parts = {name: value for name in RULING_FIELDS if (value := ruled.get(name))}
    regime = book.regime(code, day)
    answers = sound_answers(book.forest, regime.root, known)
    if not parts or not answers or any(answer.state != "settled" for answer in answers):
        return None
    parts = {name: "" if value == NONE_CALLED else value for name, value in parts.items()}
    held = tuple(_part(book, code, answers, name, value) for name, value in parts.items())
    verdicts = [part.verdict for part in held]
    verdict = next((word for word in ("wrong", "open", "right") if word in verdicts), "not_called")
    if verdict not in ("wrong", "open"):
        return Called(verdict, held, (), (), (), ())
    doubtful = tuple(part.part for part in held if part.verdict == verdict)
    near = nearest_with_ruling(book.forest, regime.root, known, parts, doubtful, weigh)
    codes = tuple(
        Span(other, CODE_TITLES[other], day, day)
        for other in CODES
        if other != code
        and _right_under(book, book.regime(other, day), (known_under or {}).get(other, known), parts, doubtful)
    )
    return Called(verdict, held, (), near, codes, _spans(book, code, known, parts, doubtful))

