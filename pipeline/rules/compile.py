"""Compile the catalogue: one decision diagram for each code and span of days on which no rule changes."""

from __future__ import annotations

import datetime as dt
import functools
from collections.abc import Hashable, Mapping
from dataclasses import dataclass, field, replace

from pipeline.errors import RuleConflictError, RuleDefinitionError, Where
from pipeline.rules.diagram import Forest
from pipeline.rules.expression import All, Condition, Membership, Not, names_in
from pipeline.rules.model import CODES, RULING_FIELDS, Answer, Decision, Rule
from pipeline.rules.options import PREFIX, settle
from pipeline.rules.reading import decisions, rules
from pipeline.rules.vocabulary import facts

NOT_ASKED = "not_asked"
_OTHERWISE = "otherwise"
ENDS = ("contradiction", "not_covered")
"""Outcomes after which no later question is asked."""


@dataclass(frozen=True)
class Regime:
    """The rules of one code from `first_day` on (None: from the beginning) up to the next regime of that code."""

    code: str
    first_day: dt.date | None
    rule_ids: tuple[str, ...]
    root: int


@dataclass(frozen=True)
class RuleBook:
    """All regimes over one forest of diagrams, and the rules they were made from."""

    forest: Forest
    regimes: tuple[Regime, ...]
    rules: Mapping[str, Rule]

    def regime(self, code: str, day: dt.date) -> Regime:
        """Return the rules of a code in force on a day; KeyError for an unknown code."""
        fitting = [r for r in self.regimes if r.code == code and (r.first_day is None or r.first_day <= day)]
        if not fitting:
            raise KeyError(code)
        return fitting[-1]

    def confidence(self, answer: Answer, code: str) -> str:
        """The weakest mark among the rules that spoke."""
        order = ("verified", "memory", "inferred")
        marks = [self.rules[rule_id].codes[code].confidence for rule_id in answer.rule_ids]
        return max(marks, key=order.index) if marks else "verified"


@dataclass
class _Shared:
    """What the regimes of one catalogue have in common, so that each part is made once."""

    conditions: dict[tuple[object, ...], int] = field(default_factory=dict)
    folds: dict[tuple[int, ...], int] = field(default_factory=dict)
    answers: dict[tuple[int, ...], int] = field(default_factory=dict)


class _Compiler:
    """Builds the diagrams of one regime, decision after decision."""

    def __init__(self, forest: Forest, code: str, active: Mapping[str, Rule], shared: _Shared | None = None) -> None:
        self.forest = forest
        self.shared = shared or _Shared()
        self.code = code
        self.active = active
        self.roots: dict[str, int] = {}
        """By decision: the diagram whose answer is the id of the rule that spoke, or the outcome without a rule."""

    def outcome(self, answer: Hashable) -> str:
        text = str(answer)
        return self.active[text].then if text in self.active else text.removeprefix(f"{_OTHERWISE}:")

    def count_effect(self, answer: Hashable) -> str:
        text = str(answer)
        return (self.active[text].count or "none") if text in self.active else "none"

    def condition(self, condition: Condition) -> int:
        """The diagram (answers True, False) of a condition over facts and earlier decisions."""
        # Codes and spans of days share most rules; a condition means the same wherever the decisions it names do.
        key = (condition, tuple((name, self.roots.get(name.partition(".")[0])) for name in names_in(condition)))
        found = self.shared.conditions.get(key)
        if found is None:
            found = self.shared.conditions[key] = self._condition(condition)
        return found

    def _condition(self, condition: Condition) -> int:
        forest = self.forest
        if isinstance(condition, Membership):
            name, _, attribute = condition.name.partition(".")
            if name in self.roots:
                read = self.count_effect if attribute else self.outcome
                return forest.map(self.roots[name], lambda answer: condition.holds(read(answer)))
            if name not in forest.level_of:
                raise RuleDefinitionError(f"the decision {name!r} is asked about before it is taken")
            return forest.ask(name, condition.holds)
        if isinstance(condition, Not):
            return forest.negate(self.condition(condition.part))
        join = forest.conjoin if isinstance(condition, All) else forest.disjoin
        return functools.reduce(join, [self.condition(part) for part in condition.parts])

    def decide(self, decision: Decision) -> int:
        """The diagram of one decision: which rule speaks.

        Raises
        ------
        RuleConflictError
            Two rules speak and answer differently.
        RuleDefinitionError
            No rule speaks and the decision has no `otherwise`.
        """
        forest = self.forest
        candidates = [rule for rule in self.active.values() if rule.decision == decision.name]
        met = {rule.id: self.condition(rule.when) for rule in candidates}
        asked = forest.end(True) if decision.asked is None else self.condition(decision.asked)
        speaks = {}
        for rule in candidates:
            firsts = [forest.negate(met[other]) for other in rule.yields_to if other in met]
            speaks[rule.id] = functools.reduce(forest.conjoin, firsts, forest.conjoin(asked, met[rule.id]))
        self.refuse_conflict(decision, candidates, speaks)
        spoken = functools.reduce(forest.disjoin, speaks.values(), forest.end(False))
        if decision.otherwise is None:
            self.refuse_gap(decision, forest.conjoin(asked, forest.negate(spoken)))
        chosen = forest.end(f"{_OTHERWISE}:{decision.otherwise}")
        for rule in reversed(candidates):
            chosen = forest.choose(speaks[rule.id], forest.end(rule.id), chosen)
        return forest.choose(asked, chosen, forest.end(f"{_OTHERWISE}:{NOT_ASKED}"))

    def refuse_gap(self, decision: Decision, silent: int) -> None:
        """Raise where the question is asked and no rule speaks, with the facts of one such case."""
        if silent != self.forest.end(False):
            raise RuleDefinitionError(
                f"{self.code}: no rule answers “{decision.question}” where {self.example(silent)}",
                where=Where("pipeline/rules/catalogue"),
                hint="add a rule for such a case",
            )

    def refuse_conflict(self, decision: Decision, candidates: list[Rule], speaks: Mapping[str, int]) -> None:
        """Raise where two rules speak at once and say different things, with the facts of one such case."""
        for place, one in enumerate(candidates):
            for other in candidates[place + 1 :]:
                if (one.then, one.ruling, one.count, one.sets_aside) == (
                    other.then, other.ruling, other.count, other.sets_aside,
                ):  # fmt: skip
                    continue
                both = self.forest.conjoin(speaks[one.id], speaks[other.id])
                if both != self.forest.end(False):
                    raise RuleConflictError(
                        f"{self.code}: {one.id} and {other.id} answer “{decision.question}” differently where "
                        f"{self.example(both)}",
                        where=Where(other.path),
                        hint=f"say which comes first: `yields_to: [{one.id}]`, or narrow one of them",
                    )

    def example(self, root: int) -> str:
        """The facts on one path on which a diagram is true, in words."""
        forest = self.forest
        # Every node of a reduced diagram but the end False leads to True somewhere, so no search is needed.
        found = []
        node = root
        while not forest.is_end(node):
            variable = forest.variables[forest.levels[node]]
            for value, branch in zip(variable.values, forest.branches[node], strict=True):
                if branch != forest.end(False):
                    found.append(f"{variable.name} = {value}")
                    node = branch
                    break
        return ", ".join(found or ["(no facts)"])

    def spoken(self, before: tuple[str, ...], answer: Hashable) -> tuple[str, ...]:
        """The rules that have spoken once a decision is answered too; a rule that ends the order stands alone."""
        rule = self.active.get(str(answer))
        if rule is None or (before and self.active[before[-1]].then in ENDS):
            return before
        if rule.then in ENDS:
            return (rule.id,)
        return (*(one for one in before if self.active[one].decision not in rule.sets_aside), rule.id)

    def answer(self, rule_ids: tuple[str, ...]) -> Answer:
        """Put together what the rules say: later decisions override parts named by earlier ones."""
        speaking = [self.active[rule_id] for rule_id in rule_ids]
        if speaking and speaking[-1].then in ENDS:
            return Answer(speaking[-1].then, rule_ids, ("",) * len(RULING_FIELDS), 0, "none")
        parts = {"runner_out": "none", "choice": "none", "instruct": "none"}
        count = "none"
        for rule in speaking:
            parts.update(rule.ruling)
            count = rule.count or count
        ruling = tuple(parts.get(name, "") for name in RULING_FIELDS)
        outs = int(parts.get("batter") == "out") + int(parts.get("runner_out", "none") != "none")
        return Answer("settled", rule_ids, ruling, outs, count)

    def root(self) -> int:
        """The diagram of the whole ruling."""
        for decision in decisions():
            self.roots[decision.name] = self.decide(decision)
        joined = self.forest.end(())
        for root in self.roots.values():
            joined = self.forest.combine(
                lambda pair: self.spoken(*pair),  # type: ignore[arg-type]
                (joined, root),
                self.shared.folds,
            )
        return self.forest.map(joined, self.answer, self.shared.answers)  # type: ignore[arg-type]


def _changes(code: str, catalogue: Mapping[str, Rule]) -> list[dt.date | None]:
    """The days on which some rule of a code comes into force or ceases, earliest first; None is the beginning."""
    days: set[dt.date] = set()
    for rule in catalogue.values():
        entry = rule.codes.get(code)
        if entry and entry.valid_from:
            days.add(entry.valid_from)
        if entry and entry.valid_until:
            days.add(entry.valid_until + dt.timedelta(days=1))
    return [None, *sorted(days)]


def compile_rules(catalogue: Mapping[str, Rule]) -> RuleBook:
    """Compile a catalogue; see `rule_book` for the one that ships."""
    forest = Forest([fact.variable for fact in facts().values()])
    regimes = []
    shared = _Shared()
    for code in CODES:
        for first_day in _changes(code, catalogue):
            day = first_day or dt.date.min
            active = {
                rule_id: rule
                for rule_id, rule in catalogue.items()
                if code in rule.codes and rule.codes[code].in_force(day)
            }
            compiler = _Compiler(forest, code, active, shared)
            regimes.append(Regime(code, first_day, tuple(active), compiler.root()))
    return RuleBook(forest, tuple(regimes), catalogue)


@functools.cache
def whole_book() -> RuleBook:
    """Return the compiled catalogue with every option still to be settled (made once in a process)."""
    return compile_rules(rules())


@functools.cache
def rule_book(settled: tuple[tuple[str, str], ...] | None = None) -> RuleBook:
    """Return the compiled catalogue under the options of a league (see `options.settle`; None: the defaults).

    A point that is not settled stays a fact that nobody recorded: a ruling that turns on it is open.
    """
    book = whole_book()
    known = {PREFIX + name: value for name, value in (settle({}) if settled is None else settled)}
    regimes = tuple(replace(regime, root=book.forest.restrict(regime.root, known)) for regime in book.regimes)
    return RuleBook(book.forest, regimes, book.rules)


def league_book(chosen: Mapping[str, str]) -> RuleBook:
    """Return the rules as a league plays them, from the points that its policy settles; see `options.settle`."""
    return rule_book(settle(chosen))
