"""The chained ruling over the reduced domain, worked out twice in DuckDB and compared row by row.

Once by the batch's walk through the decision diagrams, and once here: decision after decision as columns made from
the conditions of the rules with `yields_to`, and the ruling put together from the rules that spoke. The second way
knows no diagram.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

from pipeline.rules.compile import ENDS, NOT_ASKED, Regime, RuleBook
from pipeline.rules.invariants import Invariant
from pipeline.rules.model import RULING_FIELDS, Answer, Decision, Rule
from pipeline.rules.reading import decisions
from pipeline.rules.vocabulary import facts
from pipeline.rulings.proof.conditions_sql import condition_sql, literal, quoted
from pipeline.rulings.proof.findings import Finding, in_words, title
from pipeline.rulings.proof.tables import verdicts_of
from pipeline.rulings.walk import code_sql, lay_out, place_sql, put_lists
from pipeline.store import Store

UNASKED, SILENT, GAP, CONFLICT, FIRST = 0, 1, 2, 3, 4
"""What the column of a decision holds: one of these, or FIRST plus the place of the rule that spoke."""

DEFAULTS = {"runner_out": "none", "choice": "none", "instruct": "none"}
"""The parts of a settled ruling that say that nothing is added, where no rule names them."""


@dataclass
class ChainAccount:
    """What was counted over the reduced domain of one regime."""

    regime: str
    rows: int
    by_state: dict[str, int] = field(default_factory=dict)
    rulings: int = 0
    seconds: float = 0.0
    violations: dict[str, int] = field(default_factory=dict)
    findings: list[Finding] = field(default_factory=list)


class ChainSql:
    """The chained ruling of one regime as SQL, from the rules alone."""

    def __init__(self, active: Mapping[str, Rule]) -> None:
        self.order: tuple[Decision, ...] = decisions()
        self.rules = {
            decision.name: [rule for rule in active.values() if rule.decision == decision.name]
            for decision in self.order
        }

    def number(self, rule: Rule) -> int:
        """What the column of a decision holds where this rule spoke."""
        return FIRST + self.rules[rule.decision].index(rule)

    def spoken(self, source: str) -> str:
        """`source` with `spoken.<decision>`, `<decision>` and `<decision>.count` for each decision."""
        made = f"SELECT * FROM {source}"
        for decision in self.order:
            made = self._decide(decision, made)
        return made

    def _decide(self, decision: Decision, source: str) -> str:
        name, mine = decision.name, self.rules[decision.name]
        met = "".join(f", {condition_sql(rule.when)} AS {quoted('met.' + rule.id)}" for rule in mine)
        asked = condition_sql(True if decision.asked is None else decision.asked)
        judged = f"SELECT *, {asked} AS asked{met} FROM ({source})"
        here = {rule.id for rule in mine}
        speaks = {
            rule.id: " AND ".join(
                [quoted(f"met.{rule.id}"), *(f"NOT {quoted('met.' + one)}" for one in rule.yields_to if one in here)]
            )
            for rule in mine
        }
        verdicts = verdicts_of(mine)
        cases = [f"WHEN NOT asked THEN {UNASKED}"]
        if len(set(verdicts.values())) > 1:
            marks = ", ".join(f"CASE WHEN {speaks[rule.id]} THEN {verdicts[rule.id]} END" for rule in mine)
            cases.append(f"WHEN least(NULL::INTEGER, {marks}) <> greatest(NULL::INTEGER, {marks}) THEN {CONFLICT}")
        cases += [f"WHEN {speaks[rule.id]} THEN {self.number(rule)}" for rule in mine]
        last = GAP if decision.otherwise is None else SILENT
        numbered = (
            f"SELECT * EXCLUDE (asked{''.join(', ' + quoted('met.' + rule.id) for rule in mine)}), "
            f"(CASE {' '.join(cases)} ELSE {last} END)::UTINYINT AS {quoted('spoken.' + name)} FROM ({judged})"
        )
        outcomes = {UNASKED: NOT_ASKED, SILENT: decision.otherwise or "gap", GAP: "gap", CONFLICT: "conflict"}
        outcomes |= {self.number(rule): rule.then for rule in mine}
        counts = {self.number(rule): rule.count for rule in mine if rule.count}
        return (
            f"SELECT *, {self._choose(name, outcomes)} AS {quoted(name)}, "
            f"{self._choose(name, counts, 'none')} AS {quoted(name + '.count')} FROM ({numbered})"
        )

    @staticmethod
    def _choose(name: str, by_number: Mapping[int, str], otherwise: str = "") -> str:
        """A text for each number in a decision's column."""
        numbers: dict[str, list[str]] = {}
        for number, text in by_number.items():
            numbers.setdefault(text, []).append(str(number))
        cases = [
            f"WHEN {quoted('spoken.' + name)} IN ({', '.join(found)}) THEN {literal(text)}"
            for text, found in numbers.items()
        ]
        return f"(CASE {' '.join(cases)} ELSE {literal(otherwise)} END)" if cases else literal(otherwise)

    def ruled(self, source: str) -> str:
        """`source`, which has the `spoken` columns, with the parts of the ruling beside them.

        Adds `ruling.state`, `ruling.<part>`, `ruling.outs_added`, `ruling.count`, and `said.<decision>`: the
        outcome of the rule that spoke and counts, else `silent`.
        """
        aside: dict[str, list[str]] = {decision.name: [] for decision in self.order}
        for mine in self.rules.values():
            for rule in mine:
                for name in rule.sets_aside:
                    aside[name].append(f"{quoted('spoken.' + rule.decision)} = {self.number(rule)}")
        counts = ", ".join(
            f"{quoted('spoken.' + name)} >= {FIRST}{''.join(f' AND NOT {one}' for one in ones)} "
            f"AS {quoted('counts.' + name)}"
            for name, ones in aside.items()
        )
        effective = f"SELECT *, {counts} FROM ({source})"
        faults = " OR ".join(f"{quoted('spoken.' + name)} IN ({GAP}, {CONFLICT})" for name in aside)
        ended = "".join(
            f" WHEN {quoted('spoken.' + rule.decision)} = {self.number(rule)} THEN {literal(rule.then)}"
            for mine in self.rules.values()
            for rule in mine
            if rule.then in ENDS
        )
        stated = (
            f"SELECT *, CASE WHEN {faults} THEN 'fault'{ended} ELSE 'settled' END AS {quoted('ruling.state')} "
            f"FROM ({effective})"
        )
        parts = [f"{self._part(part)} AS {quoted('ruling.' + part)}" for part in RULING_FIELDS]
        said = [
            f"CASE WHEN {quoted('ruling.state')} = 'settled' AND {quoted('counts.' + name)} "
            f"THEN {self._choose(name, {self.number(rule): rule.then for rule in self.rules[name]})} "
            f"ELSE 'silent' END AS {quoted('said.' + name)}"
            for name in aside
        ]
        put_together = (
            f"SELECT *, {', '.join([*parts, *said])}, {self._last(lambda rule: rule.count, 'none')} "
            f"AS {quoted('ruling.count')} FROM ({stated})"
        )
        return (
            f"SELECT *, ({quoted('ruling.batter')} = 'out')::INTEGER + "
            f"({quoted('ruling.runner_out')} NOT IN ('none', ''))::INTEGER AS {quoted('ruling.outs_added')} "
            f"FROM ({put_together})"
        )

    def _part(self, part: str) -> str:
        return self._last(lambda rule: rule.ruling.get(part), DEFAULTS.get(part, ""), empty="")

    def _last(self, said: Callable[[Rule], str | None], otherwise: str, empty: str = "none") -> str:
        """What the last rule that says anything says; `empty` where the ruling is not settled."""
        cases = []
        for name in reversed(list(self.rules)):
            numbers: dict[str, list[str]] = {}
            for rule in self.rules[name]:
                if (text := said(rule)) is not None:
                    numbers.setdefault(text, []).append(str(self.number(rule)))
            cases += [
                f"WHEN {quoted('counts.' + name)} AND {quoted('spoken.' + name)} IN ({', '.join(found)}) "
                f"THEN {literal(text)}"
                for text, found in numbers.items()
            ]
        return (
            f"(CASE WHEN {quoted('ruling.state')} <> 'settled' THEN {literal(empty)} {' '.join(cases)} "
            f"ELSE {literal(otherwise)} END)"
        )

    def rule_ids(self, numbers: Sequence[int], state: str) -> tuple[str, ...]:
        """The rules that spoke and count, from the numbers of the decisions in order; one only where none rules."""
        spoken = [
            self.rules[decision.name][number - FIRST]
            for decision, number in zip(self.order, numbers, strict=True)
            if number >= FIRST
        ]
        if state in ENDS:
            return next((rule.id,) for rule in spoken if rule.then in ENDS)
        aside = {name for rule in spoken for name in rule.sets_aside}
        return tuple(rule.id for rule in spoken if rule.decision not in aside)


def compare_ways(
    store: Store, book: RuleBook, regime: Regime, domain: str, invariants: Sequence[Invariant], account: ChainAccount
) -> None:
    """Rule every row of `domain` both ways; note counts, differences and violated invariants in `account`."""
    started = time.perf_counter()
    chain = ChainSql({rule_id: book.rules[rule_id] for rule_id in regime.rule_ids})
    layout = lay_out(book)
    names = [decision.name for decision in chain.order]
    broken = {
        f"broken_{place}": f"({condition_sql(one.where)} AND NOT {condition_sql(one.holds)})"
        for place, one in enumerate(invariants)
    }
    numbers = {name: quoted(f"spoken.{name}") for name in names}
    packed = ", ".join(
        ["'case_no': case_no"]
        + [f"{literal(name)}: {number}" for name, number in numbers.items()]
        + [f"'{key}': {sql}" for key, sql in broken.items()]
    )
    put_lists(store, layout, "step_list")
    place = place_sql(book, {name: code_sql(fact) for name, fact in facts().items()}, "step_list.")
    ruled = f"SELECT *, {book.regimes.index(regime)} AS regime FROM ({chain.ruled(chain.spoken(domain))})"
    both = f"SELECT {{{packed}}} AS told, {place} AS place FROM ({ruled}), step_list"
    counted = "".join(f", count(*) FILTER (told.{key}) AS {key}" for key in broken)
    shown = "".join(f", min(told.case_no) FILTER (told.{key}) AS example_{key}" for key in broken)
    grouped = (
        f"SELECT place, {', '.join(f'told.{quoted(name)} AS {number}' for name, number in numbers.items())}, "
        f"count(*) AS times, min(told.case_no) AS case_no{counted}{shown} FROM ({both}) GROUP BY ALL"
    )
    rulings = set()
    examples: dict[int, int] = {}
    # The optimizer writes the columns of one decision into those of the next, over and over: planning would not end.
    store.run("PRAGMA disable_optimizer")
    try:
        found = store.records(f"SELECT * FROM ({chain.ruled(grouped)})")
    finally:
        store.run("PRAGMA enable_optimizer")
    for row in found:
        state = row["ruling.state"]
        own = Answer(
            state,
            chain.rule_ids([row[f"spoken.{name}"] for name in names], state),
            tuple(row[f"ruling.{part}"] for part in RULING_FIELDS),
            row["ruling.outs_added"],
            row["ruling.count"],
        )
        account.by_state[state] = account.by_state.get(state, 0) + row["times"]
        rulings.add(own)
        walked = book.forest.answers[layout.ends[row["place"]]] if row["place"] else None
        if own != walked:
            both_say = f"the rules give {_short(own)}, the diagram {_short(walked)}"
            says = f"{row['times']:,} cases come out differently: {both_say}"
            account.findings.append(
                Finding("chained ruling", account.regime, says, show_case(store, domain, row["case_no"]))
            )
        for number, one in enumerate(invariants):
            if row[f"broken_{number}"]:
                account.violations[one.id] = account.violations.get(one.id, 0) + row[f"broken_{number}"]
                examples.setdefault(number, row[f"example_broken_{number}"])
    for number, case_no in examples.items():
        one = invariants[number]
        says = f"{one.id} does not hold in {account.violations[one.id]:,} cases of the domain: {one.says}"
        account.findings.append(Finding("invariants in SQL", account.regime, says, show_case(store, domain, case_no)))
    account.rulings = len(rulings)
    account.seconds = time.perf_counter() - started


def _short(answer: object) -> str:
    if not isinstance(answer, Answer):
        return "nothing"
    parts = "/".join(part or "-" for part in answer.ruling)
    by = ";".join(answer.rule_ids) or "no rule"
    return f"{answer.state} by {by} ({parts}, outs {answer.outs_added}, {answer.count})"


def show_case(store: Store, domain: str, case_no: int) -> str:
    """One row of the domain in words."""
    record = store.records(f"SELECT * EXCLUDE (case_no) FROM {domain} WHERE case_no = ?", [case_no])[0]
    return in_words({name: str(value) for name, value in record.items()})


def prove_chain(
    store: Store, book: RuleBook, regime: Regime, domain: str, invariants: Sequence[Invariant], rows: int
) -> ChainAccount:
    """Prove the chained ruling over a domain that was made before."""
    account = ChainAccount(title(regime), rows)
    compare_ways(store, book, regime, domain, invariants, account)
    return account
