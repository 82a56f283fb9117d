"""Answer one set of facts, complete or not: every ruling still possible, and the facts that would settle it."""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from pipeline.rules.compile import Regime, RuleBook
from pipeline.rules.model import RULING_FIELDS, Answer
from pipeline.rules.vocabulary import facts

NONE_CALLED = "none_called"
"""How “no pitch is called” is written where several values are possible."""

SEPARATOR = "|"

WIDEST = 1024
"""For up to so many combinations of missing facts it is tried whether fewer of them settle a case."""


@dataclass(frozen=True)
class CaseRuling:
    """The ruling of one case, in the words of the data contract.

    Each part of `ruling` is a value, or several joined by `|` where facts are missing. `needs` names the facts
    that would settle an `open` case. `balls_after` and `strikes_after` are blank where the count was not recorded
    or the batter's turn is over.
    """

    state: str
    ruling: Mapping[str, str]
    outs_added: str
    balls_after: str
    strikes_after: str
    needs: tuple[str, ...]
    rule_ids: tuple[str, ...]
    rule_refs: tuple[str, ...]
    because: str
    confidence: str


def _joined(values: Sequence[str]) -> str:
    distinct = list(dict.fromkeys(values))
    if len(distinct) == 1:
        return distinct[0]
    return SEPARATOR.join(sorted(value or NONE_CALLED for value in distinct))


def count_after(answer: Answer, balls: int | None, strikes: int | None) -> tuple[str, str]:
    """Return balls and strikes after the ruling; blank where unknown or where the turn at bat is over."""
    if (
        answer.state != "settled"
        or dict(zip(RULING_FIELDS, answer.ruling, strict=True))["batter"] != "at_bat"
    ):
        return "", ""
    more_balls = int(answer.count == "ball")
    more_strikes = {"strike": 1, "two_strikes": 2, "foul": 1}.get(answer.count, 0)
    balls_after = "" if balls is None else str(balls + more_balls)
    strikes_after = "" if strikes is None else str(min(2, strikes + more_strikes))
    return balls_after, strikes_after


def refs(book: RuleBook, rule_ids: Sequence[str], code: str) -> tuple[str, ...]:
    """The references of some rules in one code, each once, as `nfhs 7-3-2`."""
    return tuple(
        dict.fromkeys(
            f"{code} {book.rules[rule_id].codes[code].reference}"
            for rule_id in rule_ids
            if book.rules[rule_id].says
        )
    )


def says(book: RuleBook, rule_ids: Sequence[str]) -> str:
    """The sentences of some rules, in order of decision."""
    return " ".join(book.rules[rule_id].says for rule_id in rule_ids if book.rules[rule_id].says)


def _rulings_left(book: RuleBook, node: int) -> frozenset[object]:
    """The different rulings that a diagram can still end with; facts that cannot stand together lead to none."""
    ends = (item for item in book.forest.ends(node) if isinstance(item, Answer))
    return frozenset(item.spoken for item in ends if item.state != "contradiction")


def _settles(book: RuleBook, left: int, names: Sequence[str]) -> bool:
    """Whether one ruling at most is left, whatever the named facts turn out to be."""
    forest = book.forest
    values = [forest.variables[forest.level_of[name]].values for name in names]
    return all(
        len(_rulings_left(book, forest.restrict(left, dict(zip(names, chosen, strict=True))))) <= 1
        for chosen in itertools.product(*values)
    )


def _needed(book: RuleBook, left: int) -> tuple[str, ...]:
    """The missing facts that settle a case: those of which one value leaves other rulings than another does.

    Facts that matter only together with others are added until the case is settled whatever they turn out to be.
    """
    forest = book.forest
    asked = forest.asked(left)
    matter = [name for name in facts() if name in asked]
    needed = []
    for name in matter:
        values = forest.variables[forest.level_of[name]].values
        sets = {_rulings_left(book, forest.restrict(left, {name: value})) for value in values}
        if len(sets - {frozenset()}) > 1:
            needed.append(name)
    others = [name for name in matter if name not in needed]
    while others:
        width = math.prod(len(forest.variables[forest.level_of[name]].values) for name in needed)
        if width > WIDEST:
            return tuple(matter)
        if needed and _settles(book, left, needed):
            break
        needed.append(others.pop(0))
    return tuple(name for name in facts() if name in needed)


def columns_of(needs: Sequence[str]) -> tuple[str, ...]:
    """The contract's columns behind some deciding facts, for a reader who fills in a sheet."""
    shown = {
        "zone": ("location",),
        "touch_in_zone": ("location_at_touch",),
        "touch_in_box": ("location_at_touch",),
        "stance_fault": ("stance_front", "stance_back"),
    }
    return tuple(dict.fromkeys(column for name in needs for column in shown.get(name, (name,))))


def rule_case(book: RuleBook, regime: Regime, known: Mapping[str, str | None]) -> CaseRuling:
    """Rule one case from its deciding facts (None or absent: not recorded).

    Exact by construction: the rulings listed are those that some filling of the missing facts leads to, and no
    others; fillings that contradict themselves are left out.
    """
    forest = book.forest
    given = {name: value for name, value in known.items() if value is not None and name in forest.level_of}
    left = forest.restrict(regime.root, given)
    answers = sorted(
        (item for item in forest.ends(left) if isinstance(item, Answer)), key=lambda a: (a.state, a.rule_ids)
    )
    sound = [item for item in answers if item.state != "contradiction"]
    code = regime.code
    if not sound:
        only = answers[0]
        return CaseRuling(
            "contradiction", dict.fromkeys(RULING_FIELDS, ""), "", "", "", (), only.rule_ids,
            refs(book, only.rule_ids, code), says(book, only.rule_ids), book.confidence(only, code),
        )  # fmt: skip
    covered = [item for item in sound if item.state == "settled"]
    if not covered:
        only = sound[0]
        return CaseRuling(
            "open", dict.fromkeys(RULING_FIELDS, ""), "", "", "", (), only.rule_ids,
            refs(book, only.rule_ids, code), says(book, only.rule_ids), book.confidence(only, code),
        )  # fmt: skip
    settled = len({item.spoken for item in sound}) == 1
    ruling = {name: _joined([item.ruling[i] for item in covered]) for i, name in enumerate(RULING_FIELDS)}
    balls = given.get("balls")
    strikes = given.get("strikes")
    counts = [
        count_after(item, None if balls is None else int(balls), None if strikes is None else int(strikes))
        for item in covered
    ]
    common = tuple(
        rule_id for rule_id in covered[0].rule_ids if all(rule_id in item.rule_ids for item in covered)
    )
    marks = [book.confidence(item, code) for item in covered]
    weakest = max(marks, key=("verified", "memory", "inferred").index)
    if settled:
        spoken = covered[0].rule_ids if len(covered) == 1 else common or covered[0].rule_ids
        because = says(book, spoken)
        needs: tuple[str, ...] = ()
    else:
        spoken = tuple(dict.fromkeys(rule_id for item in covered for rule_id in item.rule_ids))
        needs = columns_of(_needed(book, left))
        titles = ", ".join(needs)
        lead = says(book, common)
        because = f"{lead + ' ' if lead else ''}What was not recorded decides the rest: {titles}."
    return CaseRuling(
        "settled" if settled else "open",
        ruling,
        _joined([str(item.outs_added) for item in covered]),
        _joined([pair[0] for pair in counts]) if settled or all(p[0] for p in counts) else "",
        _joined([pair[1] for pair in counts]) if settled or all(p[1] for p in counts) else "",
        needs,
        spoken,
        refs(book, spoken, code),
        because,
        weakest,
    )
