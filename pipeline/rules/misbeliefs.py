"""Recognise what an umpire who ruled wrongly seems to believe.

A misbelief says “he ruled as if …”: as if another code held, as if a rule had not changed, as if a fact were
another, or with one part of the ruling wrong in a way of its own. Each is turned into a ruling by the same
diagrams that give the right one, so that recognising it is a comparison of two rulings. It is a reading of the
ruling, not of a mind: an umpire may also have seen other facts than those that were written down.
"""

from __future__ import annotations

import dataclasses
import datetime as dt
from collections.abc import Mapping, Sequence

from pipeline.rules.compile import Regime, RuleBook
from pipeline.rules.expression import All, Condition, Membership, Not
from pipeline.rules.misbelief_reading import Misbelief, misbeliefs
from pipeline.rules.model import RULING_FIELDS, Answer

__all__ = ["Misbelief", "holds", "misbeliefs", "recognise", "ruling_as_if"]

Facts = Mapping[str, str | None]
"""Deciding facts by name; None or absent: not recorded."""


def holds(condition: Condition, known: Facts) -> bool | None:
    """Whether a condition over facts is met; None where a fact that it turns on was not recorded."""
    if isinstance(condition, Membership):
        value = known.get(condition.name)
        return None if value is None else condition.holds(value)
    if isinstance(condition, Not):
        inner = holds(condition.part, known)
        return None if inner is None else not inner
    parts = [holds(part, known) for part in condition.parts]
    decisive = not isinstance(condition, All)
    if decisive in parts:
        return decisive
    return None if None in parts else not decisive


def possible(book: RuleBook, regime: Regime, known: Facts) -> tuple[Answer, ...] | None:
    """Return the rulings that some filling of the missing facts leads to, each way of speaking once.

    None where no ruling can be given: all fillings contradict themselves, or some play is not covered.
    """
    forest = book.forest
    _, node = forest.path(regime.root, known)
    if not forest.is_end(node):
        node = forest.restrict(
            node, {name: value for name, value in known.items() if value is not None and name in forest.level_of}
        )
    found: dict[tuple[str | int, ...], Answer] = {}
    for answer in forest.ends(node):
        if not isinstance(answer, Answer) or answer.state == "contradiction":
            continue
        if answer.state != "settled":
            return None
        found[answer.spoken] = answer
    return tuple(found[spoken] for spoken in sorted(found, key=str)) or None


def _supposed(misbelief: Misbelief, known: Facts) -> Facts | None:
    """The facts as the misbelief has them; None where it has nothing to say of them."""
    if not misbelief.as_if and not misbelief.fills:
        return known
    supposed: dict[str, str | None] = dict(known)
    for name, filled in misbelief.fills.items():
        if supposed.get(name) is None:
            supposed[name] = filled
    changed = False
    for name, new in misbelief.as_if.items():
        old = known.get(name)
        value: str | None = new if isinstance(new, str) else new.get(old or "")
        if value is None:
            return None
        changed = changed or value != old
        supposed[name] = value
    return supposed if changed or not misbelief.as_if else None


def _as_if(
    book: RuleBook, misbelief: Misbelief, code: str, day: dt.date, known: Facts, right: Sequence[Answer]
) -> Answer | None:
    """The ruling of a misbelief before it is held against the right one."""
    if misbelief.part:
        if len(right) != 1:
            return None
        parts = dict(zip(RULING_FIELDS, right[0].ruling, strict=True)) | dict(misbelief.part)
        return dataclasses.replace(right[0], ruling=tuple(parts[name] for name in RULING_FIELDS))
    if misbelief.day is not None and day <= misbelief.day:
        return None
    supposed = _supposed(misbelief, known)
    if supposed is None:
        return None
    found = possible(book, book.regime(misbelief.code or code, misbelief.day or day), supposed)
    return found[0] if found and len(found) == 1 else None


def _applies(misbelief: Misbelief, code: str, known: Facts, right: Sequence[Answer]) -> bool:
    if code not in misbelief.reference or misbelief.code == code:
        return False
    if misbelief.when is not None and holds(misbelief.when, known) is not True:
        return False
    if not misbelief.right:
        return True
    parts = [dict(zip(RULING_FIELDS, answer.ruling, strict=True)) for answer in right]
    return all(one[name] in values for one in parts for name, values in misbelief.right.items())


def ruling_as_if(
    book: RuleBook, misbelief: Misbelief, code: str, day: dt.date, known: Facts
) -> Answer | None:
    """Return the ruling of one who holds a misbelief.

    None where the misbelief has nothing to say of these facts, where its ruling is not settled, or where some
    right ruling says the same in every part.

    Raises
    ------
    KeyError
        The code is unknown.
    """
    right = possible(book, book.regime(code, day), known)
    if right is None or not _applies(misbelief, code, known, right):
        return None
    found = _as_if(book, misbelief, code, day, known, right)
    if found is None or any(found.ruling == answer.ruling for answer in right):
        return None
    return found


def wrong_parts(right: Sequence[Answer], ruled: Mapping[str, str | None]) -> tuple[str, ...]:
    """The parts of an umpire's ruling that no right ruling has; a part that is not called is never wrong."""
    wrong = []
    for place, name in enumerate(RULING_FIELDS):
        value = ruled.get(name)
        options = {answer.ruling[place] for answer in right}
        if value and "" not in options and value not in options:
            wrong.append(name)
    return tuple(wrong)


def _explains(answer: Answer, ruled: Mapping[str, str | None], wrong: Sequence[str]) -> bool:
    """Whether a ruling has every part that the umpire gave, and at least one of the wrong ones."""
    parts = dict(zip(RULING_FIELDS, answer.ruling, strict=True))
    given = {name: value for name, value in ruled.items() if value}
    return all(parts[name] in ("", value) for name, value in given.items()) and any(
        parts[name] == given[name] for name in wrong
    )


def recognise(
    book: RuleBook, code: str, day: dt.date, known: Facts, ruled: Mapping[str, str | None]
) -> tuple[Misbelief, ...]:
    """Return the misbeliefs under which an umpire's wrong ruling would be right, in order of precedence.

    Parameters
    ----------
    ruled
        Parts of the ruling by name (RULING_FIELDS); a blank or absent part is not compared.

    Notes
    -----
    Empty where no part is wrong. A misbelief whose ruling leaves a part uncalled (the pitch of an award, say)
    agrees with whatever was noted for it, but has to have one of the wrong parts as the umpire ruled it.
    """
    right = possible(book, book.regime(code, day), known)
    wrong = wrong_parts(right, ruled) if right else ()
    if right is None or not wrong:
        return ()
    found = []
    for misbelief in misbeliefs().values():
        if _applies(misbelief, code, known, right):
            answer = _as_if(book, misbelief, code, day, known, right)
            if answer is not None and _explains(answer, ruled, wrong):
                found.append(misbelief)
    return tuple(found)
