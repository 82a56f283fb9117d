"""The proof of the rules core as one run, and its account as text."""

from __future__ import annotations

import datetime as dt
import logging
import tempfile
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

from pipeline.errors import RuleDefinitionError
from pipeline.rules.compile import Regime, RuleBook, _changes, compile_rules, whole_book
from pipeline.rules.invariants import Invariant, invariants
from pipeline.rules.model import CODES, Answer, Rule
from pipeline.rules.reading import rules
from pipeline.rules.vocabulary import facts
from pipeline.rulings.proof.chain import ChainAccount, prove_chain
from pipeline.rulings.proof.domain import active_rules, blocks, make_domain, unlike_in_class, value_classes, witnesses
from pipeline.rulings.proof.findings import Finding, title
from pipeline.rulings.proof.invariants import InvariantAccount, prove_invariant, unspoken
from pipeline.rulings.proof.openness import OpennessAccount, prove_openness
from pipeline.rulings.proof.tables import TableAccount, prove_tables
from pipeline.store import Store

log = logging.getLogger(__name__)


@dataclass(frozen=True)
class Effort:
    """How much is tried: cases crossed for each code, drawn sets of facts for each regime, each n-th rule."""

    crossed_per_code: int
    draws: int
    every: int


_EARLY = dt.date.min
FULL = Effort(crossed_per_code=28_000_000, draws=3_000, every=3)
QUICK = Effort(crossed_per_code=120_000, draws=40, every=60)


@dataclass
class Account:
    """Everything that one run counted and found."""

    codes: tuple[str, ...]
    tables: list[TableAccount] = field(default_factory=list)
    spaces: list[tuple[str, int, dict[str, int], int]] = field(default_factory=list)
    chains: list[ChainAccount] = field(default_factory=list)
    invariants: list[InvariantAccount] = field(default_factory=list)
    openness: list[OpennessAccount] = field(default_factory=list)
    findings: list[Finding] = field(default_factory=list)
    silent: list[str] = field(default_factory=list)
    seconds: dict[str, float] = field(default_factory=dict)


def prove(
    codes: Sequence[str] = CODES,
    effort: Effort = FULL,
    catalogue: Mapping[str, Rule] | None = None,
    declared: Sequence[Invariant] | None = None,
) -> Account:
    """Prove the rules of some codes; without a catalogue, those that ship. What is disproved is in `findings`."""
    account = Account(tuple(codes))
    chosen = rules() if catalogue is None else catalogue
    said = invariants() if declared is None else declared
    with tempfile.TemporaryDirectory(prefix="platework-") as scratch, Store() as store:
        store.run("SET memory_limit = '3GB'")
        # A store in memory would put what does not fit into the folder that the command is run from.
        store.run(f"SET temp_directory = '{scratch}'")
        _timed(account, "tables", lambda: _tables(store, account, chosen))
        if account.findings:
            return account
        try:
            book = whole_book() if catalogue is None else compile_rules(catalogue)
        except RuleDefinitionError as error:
            account.findings.append(Finding("compilation", "all", error.message))
            return account
        regimes = [regime for regime in book.regimes if regime.code in codes]
        _timed(account, "whole space", lambda: _space(account, book, regimes))
        _timed(account, "invariants", lambda: _invariants(account, book, regimes, said))
        _timed(account, "open rulings", lambda: _openness(store, account, book, regimes, effort))
        _timed(account, "chained ruling", lambda: _chains(store, account, book, regimes, said, effort))
    return account


def _timed(account: Account, name: str, work: Callable[[], None]) -> None:
    started = time.perf_counter()
    work()
    account.seconds[name] = time.perf_counter() - started
    log.info("%s: %.0f s", name, account.seconds[name])


def _tables(store: Store, account: Account, catalogue: Mapping[str, Rule]) -> None:
    spoke: dict[str, int] = {}
    cut_short = False
    for code in account.codes:
        for first_day in _changes(code, catalogue):
            active = {
                one.id: one for one in catalogue.values()
                if code in one.codes and one.codes[code].in_force(first_day or _EARLY)
            }  # fmt: skip
            found = prove_tables(store, Regime(code, first_day, tuple(active), 0), active)
            for table in found:
                account.findings += table.findings
                cut_short |= bool(table.findings)
                for rule_id, times in table.counts.by_rule.items():
                    spoke[rule_id] = spoke.get(rule_id, 0) + times
            account.tables += found
    for rule_id, one in catalogue.items():
        if not cut_short and set(one.codes) & set(account.codes) and not spoke.get(rule_id):
            says = f"{rule_id} ({one.name}) never speaks in its table, in any code or span of days"
            account.findings.append(Finding("decision tables", "every regime", says))


def _space(account: Account, book: RuleBook, regimes: Sequence[Regime]) -> None:
    whole = 1
    for fact in facts().values():
        whole *= len(fact.values)
    able: set[str] = set()
    for regime in regimes:
        counted = book.forest.count(regime.root)
        states: dict[str, int] = {}
        for answer, times in counted.items():
            state = answer.state if isinstance(answer, Answer) else "no ruling"
            states[state] = states.get(state, 0) + times
            if isinstance(answer, Answer):
                able |= set(answer.rule_ids)
        account.spaces.append((title(regime), whole, states, len(counted)))
        here = {one for answer in counted if isinstance(answer, Answer) for one in answer.rule_ids}
        account.silent += [f"{title(regime)}: {one}" for one in regime.rule_ids if one not in here]
        if sum(states.values()) != whole or set(states) - {"settled", "contradiction", "not_covered"}:
            account.findings.append(
                Finding("whole space", title(regime), f"of {whole:,} cases some have no one ruling")
            )
    for rule_id in sorted({one for regime in regimes for one in regime.rule_ids} - able):
        says = f"{rule_id} ({book.rules[rule_id].name}) never counts in a ruling, in any code or span of days"
        account.findings.append(Finding("whole space", "every regime", says))


def _invariants(account: Account, book: RuleBook, regimes: Sequence[Regime], said: Sequence[Invariant]) -> None:
    for regime in regimes:
        for one in said:
            if regime.code in one.codes:
                account.invariants.append(prove_invariant(book, regime, one))
    account.findings += [one.finding for one in account.invariants if one.finding]
    account.findings += unspoken(account.invariants, said, account.codes)


def _openness(store: Store, account: Account, book: RuleBook, regimes: Sequence[Regime], effort: Effort) -> None:
    for regime in regimes:
        found = prove_openness(store, book, regime, effort.draws, effort.every)
        account.openness.append(found)
        account.findings += found.findings


def _chains(
    store: Store, account: Account, book: RuleBook, regimes: Sequence[Regime], said: Sequence[Invariant], effort: Effort
) -> None:
    for regime in regimes:
        groups = value_classes(active_rules(book, regime))
        if unlike := unlike_in_class(book, regime, groups):
            says = f"values that no condition tells apart are ruled differently: {', '.join(unlike)}"
            account.findings.append(Finding("chained ruling", title(regime), says))
        spans = sum(other.code == regime.code for other in regimes)
        each = effort.crossed_per_code // spans // max(1, len(witnesses(book, regime)))
        rows = make_domain(store, list(blocks(book, regime, each, groups)), "domain")
        mine = [one for one in said if regime.code in one.codes]
        found = prove_chain(store, book, regime, "domain", mine, rows)
        account.chains.append(found)
        account.findings += found.findings


def text(account: Account) -> str:
    """The account in plain words and counts."""
    lines = ["Proof of the rules core", ""]
    lines.append("1. Decision tables, each by itself over all that its conditions name (classes enumerated in DuckDB)")
    for table in account.tables:
        c = table.counts
        lines.append(
            f"   {table.regime}, {table.decision}: {table.rules} rules, {len(table.inputs)} inputs, {c.total:,} "
            "combinations "
            f"= {c.rows:,} classes in {c.parts} parts; asked in {c.asked:,}; no rule speaks in {c.silent:,}; "
            f"no facts lead to {c.impossible:,}"
        )
    if account.spaces:
        lines += ["", "2. All combinations of facts, exactly (products over the diagrams)"]
    for regime, whole, states, rulings in account.spaces:
        told = ", ".join(f"{state} {times:,}" for state, times in sorted(states.items()))
        lines.append(f"   {regime}: {whole:,} combinations, one ruling each, {rulings:,} different: {told}")
    if account.silent:
        lines.append(f"   In force and never counted in a span: {'; '.join(account.silent)}")
    if account.invariants:
        lines += ["", "3. Invariants over the same combinations"]
    for one in {item.id: item for item in account.invariants}:
        mine = [item for item in account.invariants if item.id == one]
        lines.append(
            f"   {one}: {len(mine)} regimes, speaks of {sum(item.spoken_of for item in mine):,} combinations, "
            f"broken in {sum(item.broken for item in mine):,}"
        )
    if account.openness:
        lines += ["", "4. Open rulings against the union over all fillings (ruled in DuckDB by the conditions alone)"]
    for trial in account.openness:
        lines.append(
            f"   {trial.regime}: {trial.places:,} places of the diagram looked at; {trial.drawn:,} sets drawn, "
            f"{trial.one_missing:,} with one fact missing, {trial.two_missing:,} with two; "
            f"{trial.fillings:,} fillings, "
            f"{trial.still_open:,} open; {len(trial.findings)} differ"
        )
    if account.chains:
        lines += [
            "",
            "5. The chained ruling in DuckDB, by the diagrams and by the conditions alone, over a reduced domain",
        ]
        lines.append(
            "   A product of value classes around each rule that can speak, nearest facts first; each case once. The "
            "invariants are asked again, in SQL."
        )
    for chain in account.chains:
        told = ", ".join(f"{state} {times:,}" for state, times in sorted(chain.by_state.items()))
        differ = sum(one.part == "chained ruling" for one in chain.findings)
        lines.append(
            f"   {chain.regime}: {chain.rows:,} cases, {chain.rulings:,} rulings: {told}; {differ} kinds differ; "
            f"{chain.seconds:.1f} s"
        )
    for code in account.codes:
        total = sum(one.rows for one in account.chains if one.regime.split()[0] == code)
        if account.chains:
            lines.append(f"   {code}: {total:,} cases in all")
    lines += ["", "Seconds: " + ", ".join(f"{name} {spent:.1f}" for name, spent in account.seconds.items()), ""]
    if account.findings:
        lines.append(f"Disproved: {len(account.findings)}")
        lines += [f"- {one}" for one in account.findings]
    else:
        lines.append("Everything holds.")
    return "\n".join(lines) + "\n"
