"""Compile the catalogue: one decision diagram for each code and span of days on which no rule changes."""

from __future__ import annotations

import datetime as dt
import functools
from collections.abc import Hashable, Mapping
from dataclasses import dataclass

from pipeline.errors import RuleConflictError, RuleDefinitionError, Where
from pipeline.rules.diagram import Forest
from pipeline.rules.expression import All, Condition, Membership, Not
from pipeline.rules.model import CODES, RULING_FIELDS, Answer, Decision, Rule
from pipeline.rules.reading import decisions, rules
from pipeline.rules.vocabulary import facts

NOT_ASKED = "not_asked"
_OTHERWISE = "otherwise"


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


class _Compiler:
    """Builds the diagrams of one regime, decision after decision."""

    def __init__(self, forest: Forest, code: str, active: Mapping[str, Rule]) -> None:
        self.forest = forest
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
            return forest.map(self.condition(condition.part), lambda answer: not answer)
        parts = tuple(self.condition(part) for part in condition.parts)
        join = all if isinstance(condition, All) else any
        made = parts[0]
        for part in parts[1:]:
            made = forest.combine(join, (made, part))
        return made

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
        chosen = forest.end(())
        for rule in candidates:
            speaks = met[rule.id]
            for other in rule.yields_to:
                if other in met:
                    speaks = forest.combine(lambda pair: bool(pair[0]) and not pair[1], (speaks, met[other]))
            chosen = forest.combine(
                lambda pair, rule_id=rule.id: (*pair[0], rule_id) if pair[1] else pair[0],  # type: ignore[misc]
                (chosen, speaks),
            )
        asked = forest.end(True) if decision.asked is None else self.condition(decision.asked)
        return forest.combine(lambda pair: self.one(decision, *pair), (chosen, asked))

    def one(self, decision: Decision, chosen: Hashable, asked: Hashable) -> str:
        if not asked:
            return f"{_OTHERWISE}:{NOT_ASKED}"
        speaking = [self.active[rule_id] for rule_id in chosen]  # type: ignore[attr-defined]
        if not speaking:
            if decision.otherwise is None:
                return f"gap:{decision.name}"
            return f"{_OTHERWISE}:{decision.otherwise}"
        first: Rule = speaking[0]
        for other in speaking[1:]:
            if decision.name not in ("standing", "coverage") and (other.then, other.ruling, other.count) != (
                first.then,
                first.ruling,
                first.count,
            ):
                return f"conflict:{first.id}:{other.id}"
        return first.id

    def refuse_faults(self, decision: Decision, root: int) -> None:
        """Raise for a gap or conflict, with the facts of one case that shows it."""
        for answer in sorted(self.forest.ends(root), key=str):
            text = str(answer)
            if text.startswith("gap:"):
                raise RuleDefinitionError(
                    f"{self.code}: no rule answers “{decision.question}” where {self.example(root, answer)}",
                    where=Where("pipeline/rules/catalogue"),
                    hint="add a rule for such a case",
                )
            if text.startswith("conflict:"):
                _, one, other = text.split(":")
                raise RuleConflictError(
                    f"{self.code}: {one} and {other} answer “{decision.question}” differently where "
                    f"{self.example(root, answer)}",
                    where=Where(self.active[other].path),
                    hint=f"say which comes first: `yields_to: [{one}]`, or narrow one of them",
                )

    def example(self, root: int, answer: Hashable) -> str:
        """The facts on one path to an answer, in words."""
        forest = self.forest

        def walk(node: int) -> list[str] | None:
            if forest.is_end(node):
                return [] if forest.answers[node] == answer else None
            variable = forest.variables[forest.levels[node]]
            for value, branch in zip(variable.values, forest.branches[node], strict=True):
                rest = walk(branch)
                if rest is not None:
                    return [f"{variable.name} = {value}", *rest]
            return None

        return ", ".join(walk(root) or ["(no facts)"])

    def answer(self, names: tuple[str, ...], spoken: tuple[Hashable, ...]) -> Answer:
        """Put together what the decisions say: later decisions override parts named by earlier ones."""
        by_decision = dict(zip(names, spoken, strict=True))
        speaking = [self.active[str(item)] for item in spoken if str(item) in self.active]
        if self.outcome(by_decision["standing"]) == "contradiction":
            return Answer("contradiction", (str(by_decision["standing"]),), ("",) * len(RULING_FIELDS), 0, "none")
        if self.outcome(by_decision["coverage"]) == "not_covered":
            return Answer("not_covered", (str(by_decision["coverage"]),), ("",) * len(RULING_FIELDS), 0, "none")
        parts = {"runner_out": "none", "choice": "none", "instruct": "none"}
        count = "none"
        for rule in speaking:
            parts.update(rule.ruling)
            count = rule.count or count
        ruling = tuple(parts.get(name, "") for name in RULING_FIELDS)
        outs = int(parts.get("batter") == "out") + int(parts.get("runner_out", "none") != "none")
        return Answer("settled", tuple(rule.id for rule in speaking), ruling, outs, count)

    def root(self) -> int:
        """The diagram of the whole ruling."""
        for decision in decisions():
            made = self.decide(decision)
            self.refuse_faults(decision, made)
            self.roots[decision.name] = made
        names = tuple(self.roots)
        # Once the facts cannot stand or no rule covers the play, no later question may be asked of them.
        joined = self.forest.end(())
        for name in names:
            joined = self.forest.combine(lambda pair: (*pair[0], pair[1]), (joined, self.roots[name]))  # type: ignore[misc]
        return self.forest.map(joined, lambda spoken: self.answer(names, spoken))  # type: ignore[arg-type]


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
    for code in CODES:
        for first_day in _changes(code, catalogue):
            day = first_day or dt.date.min
            active = {
                rule_id: rule
                for rule_id, rule in catalogue.items()
                if code in rule.codes and rule.codes[code].in_force(day)
            }
            compiler = _Compiler(forest, code, active)
            regimes.append(Regime(code, first_day, tuple(active), compiler.root()))
    return RuleBook(forest, tuple(regimes), catalogue)


@functools.cache
def rule_book() -> RuleBook:
    """Return the compiled catalogue (made once in a process)."""
    return compile_rules(rules())
