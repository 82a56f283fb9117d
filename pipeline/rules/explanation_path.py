"""The way to a ruling: every decision in order, the rule that spoke, and the rules that were passed by and why.

Conditions are evaluated on the recorded facts with three truth values: met, not met, undecided (a fact that was not
recorded may go either way). Where a condition is said to be met or not, it is so for every filling of the missing
facts; the rulings that are possible at all, which the decision diagram gives exactly, narrow down what is undecided.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from pipeline.rules.compile import NOT_ASKED, Regime, RuleBook
from pipeline.rules.expression import All, Condition, Membership, Not
from pipeline.rules.model import Answer, Decision, Rule
from pipeline.rules.reading import decisions
from pipeline.rules.vocabulary import facts

Facts = Mapping[str, str | None]

NO_RULE = ""
"""Stands in a list of speakers for “no rule spoke”."""


@dataclass(frozen=True)
class Taken:
    """One decision as far as the recorded facts take it.

    `asked` is None where that is undecided. `met` has the truth of each rule's condition. `speakers` are the rules
    that may have spoken (`NO_RULE` for none); one alone means that it is settled. `outcomes` and `counts` are what
    may have come of it.
    """

    decision: Decision
    asked: bool | None
    met: Mapping[str, bool | None]
    speakers: tuple[str, ...]
    outcomes: tuple[str, ...]
    counts: tuple[str, ...]


def _one(values: Sequence[bool]) -> bool | None:
    return values[0] if len(set(values)) == 1 else None


class View:
    """What one set of recorded facts means to the rules in force.

    Parameters
    ----------
    answers
        The settled rulings that are possible (from the decision diagram); empty where there are none.
    """

    def __init__(self, book: RuleBook, regime: Regime, known: Facts, answers: Sequence[Answer] = ()) -> None:
        self.book = book
        self.regime = regime
        self.known = known
        self.answers = answers
        self.active: dict[str, Rule] = {rule_id: book.rules[rule_id] for rule_id in regime.rule_ids}
        self.set_aside = {name for rule in self.active.values() for name in rule.sets_aside}
        self.taken: dict[str, Taken] = {}
        self._memo: dict[str, frozenset[str]] = {}
        for decision in decisions():
            self.taken[decision.name] = self._take(decision)

    # --- truth ----------------------------------------------------------------------------------------------

    def possible(self, name: str) -> tuple[str, ...]:
        """What a fact, a decision, or `decision.count` may be."""
        base, _, attribute = name.partition(".")
        if base in self.taken:
            return self.taken[base].counts if attribute else self.taken[base].outcomes
        value = self.known.get(name)
        return facts()[name].values if value is None else (value,)

    def truth(self, condition: Condition) -> bool | None:
        """Whether a condition is met; None where the missing facts decide."""
        if isinstance(condition, Membership):
            return _one([condition.holds(value) for value in self.possible(condition.name)])
        if isinstance(condition, Not):
            inner = self.truth(condition.part)
            return None if inner is None else not inner
        decisive = not isinstance(condition, All)
        parts = [self.truth(part) for part in condition.parts]
        if decisive in parts:
            return decisive
        return None if None in parts else not decisive

    def _take(self, decision: Decision) -> Taken:
        candidates = [rule for rule in self.active.values() if rule.decision == decision.name]
        asked = True if decision.asked is None else self.truth(decision.asked)
        met = {rule.id: self.truth(rule.when) for rule in candidates}
        speakers: list[str] = []
        may_be_silent = asked is not True or decision.otherwise is not None
        for rule in candidates if asked is not False else ():
            others = [met[other] for other in rule.yields_to if other in met]
            if met[rule.id] is False or True in others:
                continue
            speakers.append(rule.id)
            if met[rule.id] and None not in others:
                # Of several rules that say the same, the first speaks.
                may_be_silent = asked is not True
                break
        if may_be_silent:
            speakers.append(NO_RULE)
        speakers, narrowed = self._narrowed(decision, speakers)
        said = [self.active[rule_id] for rule_id in speakers if rule_id]
        outcomes = [rule.then for rule in said]
        counts = [rule.count or "none" for rule in said]
        if NO_RULE in speakers:
            counts.append("none")
            if asked is not True:
                outcomes.append(NOT_ASKED)
            if asked is not False and decision.otherwise is not None:
                outcomes.append(decision.otherwise)
        if asked is None and narrowed and NO_RULE not in speakers:
            asked = True
        return Taken(
            decision, asked, met, tuple(speakers), tuple(dict.fromkeys(outcomes)), tuple(dict.fromkeys(counts))
        )

    def _narrowed(self, decision: Decision, speakers: list[str]) -> tuple[list[str], bool]:
        """Leave out the speakers that no possible ruling has, where the rulings tell of every decision."""
        spoken = set()
        for answer in self.answers:
            # What was set aside may have set aside others itself, and the ruling tells of neither.
            has_aside = any(self.active[rule_id].sets_aside for rule_id in answer.rule_ids)
            may_miss = decision.name in self.set_aside and has_aside
            if may_miss or (answer.state != "settled" and decision.name != "standing"):
                return speakers, False
            own = [rule_id for rule_id in answer.rule_ids if self.active[rule_id].decision == decision.name]
            spoken.add(own[0] if own else NO_RULE)
        left = [speaker for speaker in speakers if speaker in spoken]
        return (left, True) if left else (speakers, False)

    # --- reasons --------------------------------------------------------------------------------------------

    def grounds(self, condition: Condition) -> frozenset[str]:
        """The recorded facts that make a condition what it is: as long as they hold, nothing else matters to it.

        Of an undecided condition, the recorded facts that bear on it.
        """
        if isinstance(condition, Membership):
            base = condition.name.partition(".")[0]
            if base in self.taken:
                return self.grounds_of_decision(base)
            return frozenset() if self.known.get(base) is None else frozenset({base})
        if isinstance(condition, Not):
            return self.grounds(condition.part)
        truths = [self.truth(part) for part in condition.parts]
        whole = self.truth(condition)
        if isinstance(condition, All) and whole is False:
            return self.grounds(condition.parts[truths.index(False)])
        wanted = {True: (True,), False: (False,), None: (True, None)}[whole]
        return frozenset().union(
            *(self.grounds(part) for part, truth in zip(condition.parts, truths, strict=True) if truth in wanted)
        )

    def grounds_of_decision(self, name: str) -> frozenset[str]:
        """The recorded facts that make a decision what it is."""
        found = self._memo.get(name)
        if found is None:
            taken = self.taken[name]
            found = frozenset()
            if taken.asked is not True and taken.decision.asked is not None:
                found |= self.grounds(taken.decision.asked)
            if taken.asked is not False:
                for speaker in taken.speakers:
                    if speaker:
                        found |= self.grounds(self.active[speaker].when)
                    else:
                        for rule_id, met in taken.met.items():
                            if met is False:
                                found |= self.grounds(self.active[rule_id].when)
            self._memo[name] = found
        return found

    def missing(self, condition: Condition) -> frozenset[str]:
        """The unrecorded facts on which an undecided condition turns."""
        if self.truth(condition) is not None:
            return frozenset()
        if isinstance(condition, Membership):
            base = condition.name.partition(".")[0]
            if base not in self.taken:
                return frozenset({base})
            taken = self.taken[base]
            parts = [self.active[rule_id].when for rule_id, met in taken.met.items() if met is None]
            if taken.decision.asked is not None:
                parts.append(taken.decision.asked)
            return frozenset().union(*(self.missing(part) for part in parts))
        if isinstance(condition, Not):
            return self.missing(condition.part)
        return frozenset().union(*(self.missing(part) for part in condition.parts))
