"""A play: facts that are told, the ruling that follows from what is told alone, and the wrong rulings."""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection, Mapping
from dataclasses import dataclass

from pipeline.rules.answer import refs, rule_case, says
from pipeline.rules.compile import RuleBook, whole_book
from pipeline.rules.model import CODES, Answer
from pipeline.rules.plays.options import Ruling, Wrong, ruling_of, wrong_rulings
from pipeline.rules.plays.situation import Facts, as_read, only, with_implied
from pipeline.rules.plays.stem import Stem, tell

FEWEST_WRONG = 2
"""A play to which fewer wrong rulings of real patterns belong makes no item; one must be more than a wrong part."""


@dataclass(frozen=True)
class Origin:
    """Where a play comes from: `base` is one for all its variants, `note` says it to the trainer.

    `wrong_share` is the share of wrong calls among the graded calls of its kind in a season (None: no season), and
    `made` are the rulings that umpires of the season gave on it, as parts by name.
    """

    topic: str
    base: str
    note: str
    wrong_share: float | None = None
    graded: int = 0
    made: tuple[Mapping[str, str], ...] = ()


@dataclass(frozen=True)
class Play:
    """A play that can be asked: everything in it follows from `facts`, the facts that its stem tells.

    `signature` is the code and the facts that decide, as the decision diagram asks them; two plays that share it are
    one question.
    """

    code: str
    origin: Origin
    facts: Mapping[str, str]
    known: Facts
    stem: Stem
    answer: Answer
    ruling: Ruling
    because: str
    references: tuple[str, ...]
    confidence: str
    wrong: tuple[Wrong, ...]
    other_codes: tuple[str, ...]
    signature: tuple[str, ...]

    @property
    def topic(self) -> str:
        """What the play is about."""
        return self.origin.topic

    @property
    def same_story(self) -> tuple[object, ...]:
        """What two plays share that differ in outs, runners or count only, and in nothing that matters."""
        return (self.code, self.stem.story, self.answer.spoken)


def tellable(code: str, given: Facts) -> tuple[Stem, dict[str, str]] | None:
    """Tell facts; return the stem and the facts told, or None where what is told reads differently by itself."""
    stem = tell(code, as_read(given, code))
    told = only(as_read(given, code), stem.told)
    again = tell(code, as_read(told, code))
    return (stem, told) if again == stem else None


def deciding(book: RuleBook, root: int, known: Facts) -> tuple[tuple[tuple[str, str], ...], Answer] | None:
    """Return the facts that decide, in the order in which they are asked, and the ruling; None where it is open.

    A fact that was not recorded does not decide where every value that does not contradict the others leads to one
    ruling.
    """
    forest = book.forest
    left = forest.restrict(root, {name: value for name, value in known.items() if value is not None})
    sound = [
        answer for answer in forest.ends(left) if not (isinstance(answer, Answer) and answer.state == "contradiction")
    ]
    if len({(getattr(answer, "spoken", None), getattr(answer, "count", None)) for answer in sound}) != 1:
        return None
    asked: list[tuple[str, str]] = []
    node = root
    while not forest.is_end(node):
        variable = forest.variables[forest.levels[node]]
        value = known.get(variable.name)
        if value is None:
            rest = {name: given for name, given in known.items() if given is not None}
            node = next(
                branch for branch in forest.branches[node] if forest.ends(forest.restrict(branch, rest)) & set(sound)
            )
            continue
        asked.append((variable.name, value))
        node = forest.branches[node][variable.values.index(value)]
    answer = forest.answers[node]
    if not isinstance(answer, Answer) or answer.state != "settled":
        return None
    return tuple(asked), answer


def as_play(
    book: RuleBook,
    code: str,
    day: dt.date,
    given: Facts,
    origin: Origin,
    asked_before: Collection[tuple[str, ...]] = (),
) -> Play | None:
    """Make a play of facts, or None where it cannot be asked or its signature is among those `asked_before`.

    It cannot where what is told does not settle the ruling, or settles it otherwise than all the facts do; where it
    turns on a point that leagues settle for themselves, which no stem tells; or where too few wrong rulings are known
    to be given (FEWEST_WRONG).
    """
    given = with_implied(given)
    made = tellable(code, given)
    if made is None:
        return None
    stem, told = made
    known = as_read(told, code)
    root = book.regime(code, day).root
    found, full = deciding(book, root, known), deciding(book, root, as_read(given, code))
    if found is None or full is None or found[1].spoken != full[1].spoken:
        return None
    if deciding(book, whole_book().regime(code, day).root, known) is None:
        return None
    asked, answer = found
    signature = _signature(code, asked)
    if signature in asked_before:
        return None
    wrong = wrong_rulings(book, code, day, known, answer, origin.topic)
    if len(wrong) < FEWEST_WRONG or all(one.misbelief.kind == "part" for one in wrong):
        return None
    here = rule_case(book, book.regime(code, day), known)
    others = tuple(
        other for other in CODES
        if other != code and (ruled := rule_case(book, book.regime(other, day), known)).state == "settled"
        and ruled.ruling != here.ruling
    )  # fmt: skip
    return Play(
        code, origin, told, known, stem, answer, ruling_of(answer, known), says(book, answer.rule_ids),
        refs(book, answer.rule_ids, code), book.confidence(answer, code), wrong, others, signature,
    )  # fmt: skip


def _signature(code: str, asked: tuple[tuple[str, str], ...]) -> tuple[str, ...]:
    return (code, *(f"{name}={value}" for name, value in asked))


def signature_of(book: RuleBook, code: str, day: dt.date, known: Facts) -> tuple[str, ...] | None:
    """Return the signature of somebody else's case, or None where its facts leave the ruling open."""
    found = deciding(book, book.regime(code, day).root, known)
    return None if found is None else _signature(code, found[0])
