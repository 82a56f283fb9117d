"""What a rule, a decision and a ruling are."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, field

from pipeline.rules.expression import Condition

CODES = ("nfhs", "obr", "ncaa")
"""The rule codes: high school, the Official Baseball Rules, college."""

CODE_TITLES = {"nfhs": "High school", "obr": "Official Baseball Rules", "ncaa": "College"}

RULING_FIELDS = ("pitch", "ball_status", "batter", "runners", "runner_out", "choice", "instruct")
"""The parts of a ruling that an umpire signals and that are graded."""

CONFIDENCE = ("verified", "memory", "inferred")
"""How well a rule's text is known, strongest first: its words were read, are recalled, or are concluded."""


@dataclass(frozen=True)
class CodeEntry:
    """What makes a rule part of one code: reference, how well known, and its first and last day in force."""

    reference: str
    confidence: str
    valid_from: dt.date | None = None
    valid_until: dt.date | None = None
    note: str | None = None

    def in_force(self, day: dt.date) -> bool:
        """Whether the rule holds on that day (both ends included)."""
        return (self.valid_from is None or self.valid_from <= day) and (
            self.valid_until is None or day <= self.valid_until
        )


@dataclass(frozen=True)
class Case:
    """A worked case of a rule: facts given, code, day, and the parts of the ruling that must come out.

    A fact that is not given is what a blank cell of `plate_calls` is read as; one given as blank is not recorded.
    `then` names parts of the ruling, and as `rule` whether this rule is `met`, `not_met` or, facts missing, `unknown`.
    `options` are points that the league of this case has settled, where they differ from the defaults.
    """

    name: str
    code: str
    given: Mapping[str, str]
    then: Mapping[str, str]
    day: dt.date | None = None
    source: str | None = None
    options: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class Rule:
    """One rule: when its condition is met, its decision is `then`, with the parts of the ruling it brings.

    `yields_to` names the rules that come before it: where one of them is met, this one is silent. `count` is the
    rule's effect on the count (`ball`, `strike`, `two_strikes`, `foul`, or none). `sets_aside` names earlier
    decisions that no longer count where this rule speaks, as a balk undoes whatever became of the pitch.
    """

    id: str
    name: str
    title: str
    topic: str
    decision: str
    codes: Mapping[str, CodeEntry]
    when_text: str
    when: Condition
    then: str
    says: str
    ruling: Mapping[str, str] = field(default_factory=dict)
    count: str | None = None
    yields_to: tuple[str, ...] = ()
    sets_aside: tuple[str, ...] = ()
    cases: tuple[Case, ...] = ()
    path: str = ""


@dataclass(frozen=True)
class Decision:
    """One question of the order of decision: its outcomes, when it is asked, and what holds when no rule speaks."""

    name: str
    question: str
    outcomes: tuple[str, ...]
    asked_text: str | None
    asked: Condition | None
    otherwise: str | None


@dataclass(frozen=True)
class Answer:
    """What the rules make of one complete set of facts: the rules that spoke, in order of decision, and the ruling.

    `state` is `settled`, `contradiction`, or `not_covered` (no rule of this version speaks of such a play).
    `ruling` has the RULING_FIELDS; a blank part is not called. `outs_added` counts outs by the ruling itself.
    """

    state: str
    rule_ids: tuple[str, ...]
    ruling: tuple[str, ...]
    outs_added: int
    count: str

    @property
    def spoken(self) -> tuple[str | int, ...]:
        """The part that two answers must share to count as one ruling."""
        return (self.state, *self.ruling, self.outs_added)
