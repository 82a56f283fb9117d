"""Each decision table by itself: the whole product of what its conditions name, enumerated in DuckDB.

A table is one decision of one regime. Its inputs are the facts that its conditions name and the earlier decisions
that they name, each with every outcome it can have. For every combination it is counted how many rules speak after
`yields_to`.

Two things keep the product small, and neither loses a combination. Values of one input that no condition of the
table tells apart are one class. A table whose classes have more than ROW_LIMIT combinations is split by the input
that most conditions name: with its value put in, many conditions are decided and their inputs no longer matter.
Where all rules of a decision mean the same, groups of them that share no input are enumerated apart.
The combinations of all parts, each times the values that it stands for, must add up to the whole product.

The product also holds combinations that no facts lead to, as “the pitch met the bat” beside “no contact”. Where
such a one has no single answer, the diagrams of the earlier decisions tell whether any facts lead there.
"""

from __future__ import annotations

import functools
import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from pipeline.errors import RuleDefinitionError
from pipeline.rules.compile import NOT_ASKED, Regime, _Compiler
from pipeline.rules.diagram import Forest
from pipeline.rules.expression import Condition, Membership, memberships_in
from pipeline.rules.model import Decision, Rule
from pipeline.rules.reading import decisions
from pipeline.rules.vocabulary import facts
from pipeline.rulings.proof.conditions_sql import condition_sql, holds, kind_of, literal, quoted, simplify
from pipeline.rulings.proof.findings import Finding, in_words, title
from pipeline.rulings.proof.reach import Cell, Joint, Reach
from pipeline.store import Store

ROW_LIMIT = 100_000
"""A table with more combinations of classes than this is split."""

ASKED = ""
"""The key of the condition under which the question is asked, beside the ids of the rules."""


@dataclass(frozen=True)
class Counts:
    """Combinations of full values: all of them, and those in which the question is asked, nobody speaks, and so on.

    `impossible` are those that no facts lead to, as far as they were looked at: those whose earlier decisions cannot
    come out together so, which are not enumerated, and those enumerated without a single answer. `rows` are
    combinations of classes that
    DuckDB enumerated, in `parts` statements.
    """

    total: int
    asked: int
    silent: int
    impossible: int
    by_rule: Mapping[str, int]
    rows: int
    parts: int

    def times(self, weight: int) -> Counts:
        """The same, where each combination stands for `weight` of them."""
        by_rule = {name: weight * count for name, count in self.by_rule.items()}
        return replace(
            self, total=weight * self.total, asked=weight * self.asked, silent=weight * self.silent,
            impossible=weight * self.impossible, by_rule=by_rule,
        )  # fmt: skip

    def plus(self, other: Counts) -> Counts:
        """Two parts of one table that have no combination in common."""
        by_rule = {
            name: self.by_rule.get(name, 0) + other.by_rule.get(name, 0) for name in {*self.by_rule, *other.by_rule}
        }
        return Counts(
            self.total + other.total, self.asked + other.asked, self.silent + other.silent,
            self.impossible + other.impossible, by_rule, self.rows + other.rows, self.parts + other.parts,
        )  # fmt: skip

    def beside(self, other: Counts) -> Counts:
        """Two groups of rules that share no input, each of one meaning: every combination with every other."""
        by_rule = {
            name: self.by_rule.get(name, 0) * other.total + other.by_rule.get(name, 0) * self.total
            for name in {*self.by_rule, *other.by_rule}
        }
        return Counts(
            self.total * other.total, self.asked * other.asked, self.silent * other.silent, 0, by_rule,
            self.rows + other.rows, self.parts + other.parts,
        )  # fmt: skip


@dataclass(frozen=True)
class TableAccount:
    """What was counted in one table, and what was disproved."""

    regime: str
    decision: str
    rules: int
    inputs: tuple[str, ...]
    counts: Counts
    findings: tuple[Finding, ...]


def input_of(name: str) -> str:
    """The input that a name in a condition belongs to: `judgement.count` to `judgement`."""
    return name.partition(".")[0]


def cells_of(name: str, active: Mapping[str, Rule], known: Mapping[str, Decision]) -> list[Cell]:
    """Every value of one input: the values of a fact, or what an earlier decision can come to."""
    if name not in known:
        return [{name: value} for value in facts()[name].values]
    decision = known[name]
    pairs = [(rule.then, rule.count or "none") for rule in active.values() if rule.decision == name]
    if decision.otherwise is not None:
        pairs.append((decision.otherwise, "none"))
    if decision.asked is not None:
        pairs.append((NOT_ASKED, "none"))
    return [{name: outcome, f"{name}.count": count} for outcome, count in dict.fromkeys(pairs)]


def classes(cells: Sequence[Cell], told: Sequence[Membership]) -> list[list[Cell]]:
    """Gather the values that no comparison of `told` tells apart."""
    found: dict[tuple[bool, ...], list[Cell]] = {}
    for cell in cells:
        found.setdefault(tuple(one.holds(cell[one.name]) for one in told), []).append(cell)
    return list(found.values())


@dataclass(frozen=True)
class _Part:
    """What DuckDB enumerates at once: some inputs put in (a class of values each), some taking every class."""

    put_in: Mapping[str, list[Cell]]
    grouped: Mapping[str, list[list[Cell]]]
    rule_ids: frozenset[str]

    @property
    def rows(self) -> int:
        return math.prod(len(groups) for groups in self.grouped.values())


def verdicts_of(rules: Sequence[Rule]) -> dict[str, int]:
    """By rule of one decision: a number that two rules share if and only if they say the same in every way."""
    said = [(one.then, tuple(sorted(one.ruling.items())), one.count, one.sets_aside) for one in rules]
    return {rule.id: said.index(what) for rule, what in zip(rules, said, strict=True)}


class _Table:
    """One table under proof."""

    def __init__(self, store: Store, regime: str, compiler: _Compiler, decision: Decision) -> None:
        self.store, self.regime, self.compiler, self.decision = store, regime, compiler, decision
        self.known = {one.name: one for one in decisions()}
        self.rules = [rule for rule in compiler.active.values() if rule.decision == decision.name]
        self.verdict = verdicts_of(self.rules)
        self.all_alike = len(set(self.verdict.values())) <= 1
        self.asked: Condition | bool = True if decision.asked is None else decision.asked
        conditions: dict[str, Condition | bool] = {rule.id: rule.when for rule in self.rules}
        self.conditions = {ASKED: self.asked, **conditions}
        names = dict.fromkeys(input_of(one.name) for one in _told(self.conditions.values()))
        self.cells = {name: cells_of(name, compiler.active, self.known) for name in names}
        self.parts: list[_Part] = []
        self.counted: list[Counts] = []
        self.findings: dict[tuple[str, ...], Finding] = {}

    def prove(self) -> TableAccount:
        count = self.plan(self.conditions, {}, self.cells)
        self.counted = self.count_parts()
        counts = count()
        whole = math.prod(len(cells) for cells in self.cells.values())
        if counts.total != whole:
            self.fault(("sum",), f"its parts have {counts.total:,} combinations, the whole product {whole:,}")
        return TableAccount(
            self.regime, self.decision.name, len(self.rules), tuple(self.cells), counts, tuple(self.findings.values())
        )

    def fault(self, key: tuple[str, ...], says: str, example: str = "") -> None:
        finding = Finding("decision tables", self.regime, f"{self.decision.name}: {says}", example)
        self.findings.setdefault(key, finding)

    def plan(
        self,
        conditions: Mapping[str, Condition | bool],
        put_in: Mapping[str, list[Cell]],
        left: Mapping[str, list[Cell]],
    ) -> Callable[[], Counts]:
        """Cut the table into parts; return what gives its counts once the parts are counted.

        Some inputs are put in already, `left` still take every value; `conditions` are what is left of them.
        """
        told: dict[str, list[Membership]] = {}
        if conditions[ASKED] is not False:
            for one in _told(conditions.values()):
                told.setdefault(input_of(one.name), []).append(one)
        free = math.prod(len(cells) for name, cells in left.items() if name not in told)
        if conditions[ASKED] is False:
            return lambda: Counts(free, 0, 0, 0, {}, 0, 0)
        grouped = {name: classes(left[name], ones) for name, ones in told.items()}
        part = _Part(put_in, grouped, frozenset(conditions) - {ASKED})
        if part.rows <= ROW_LIMIT:
            self.parts.append(part)
            place = len(self.parts) - 1
            return lambda: self.counted[place].times(free)
        mine = {name: cells for name, cells in left.items() if name in told}
        apart = self.apart(conditions) if self.all_alike and conditions[ASKED] is True else []
        if len(apart) > 1:
            beside = []
            for some in apart:
                own = {input_of(one.name) for one in _told(some.values())}
                beside.append(
                    self.plan({ASKED: True, **some}, put_in, {name: mine[name] for name in mine if name in own})
                )
            return lambda: functools.reduce(Counts.beside, [count() for count in beside]).times(free)
        # Decisions first: to much of what they could come to in combination no facts lead, and it is left out.
        hubs = [name for name in told if name in self.known] or list(told)
        named = {
            name: sum(name in {input_of(one.name) for one in _told([condition])} for condition in conditions.values())
            for name in hubs
        }
        hub = max(named, key=named.__getitem__)
        rest = {name: cells for name, cells in mine.items() if name != hub}
        below: list[tuple[Callable[[], Counts], int]] = []
        for group in grouped[hub]:
            put = {**put_in, hub: group}
            if hub in self.known and self.nowhere(put):
                size = math.prod(len(cells) for cells in rest.values())
                below.append((functools.partial(Counts, size, 0, 0, size, {}, 0, 0), len(group)))
                continue
            decided = {key: simplify(condition, group[0]) for key, condition in conditions.items()}
            below.append((self.plan(decided, put, rest), len(group)))
        return lambda: functools.reduce(Counts.plus, [count().times(size) for count, size in below]).times(free)

    def nowhere(self, put_in: Mapping[str, list[Cell]]) -> bool:
        """Whether no facts lead to what was put in for the earlier decisions."""
        given = self.joint.given([(name, cells) for name, cells in put_in.items() if name in self.known])
        return self.compiler.forest.ends(given) == {None}

    @functools.cached_property
    def joint(self) -> Joint:
        """All earlier decisions that the table names, at once."""
        return Joint(self.compiler, [name for name in self.cells if name in self.known])

    def apart(self, conditions: Mapping[str, Condition | bool]) -> list[dict[str, Condition | bool]]:
        """The rules in groups that share no input and no declared order."""
        groups: list[tuple[set[str], dict[str, Condition | bool]]] = []
        for rule in self.rules:
            if rule.id not in conditions:
                continue
            condition = conditions[rule.id]
            marks = {rule.id, *rule.yields_to, *(input_of(one.name) for one in _told([condition]))}
            some = {rule.id: condition}
            for group in [group for group in groups if group[0] & marks]:
                groups.remove(group)
                marks |= group[0]
                some |= group[1]
            groups.append((marks, some))
        return [some for _, some in groups]

    def enumerate(self) -> None:
        """Make table `combination`: a row for each combination of classes of each part, with what it stands for.

        Inputs that do not matter in a part take their first value there; the conditions are asked in full.
        """
        kinds = []
        for cells in self.cells.values():
            kinds += [
                f"{quoted(head)} {kind_of(list(dict.fromkeys(cell[head] for cell in cells)))}" for head in cells[0]
            ]
        self.store.run(
            f"CREATE OR REPLACE TEMP TABLE combination ({', '.join(['part INTEGER', 'weight HUGEINT', *kinds])})"
        )
        for number, part in enumerate(self.parts):
            sources, columns, weights = [], [], ["1::HUGEINT"]
            for place, (name, cells) in enumerate(self.cells.items()):
                groups = part.grouped.get(name, [part.put_in.get(name, cells)])
                if len(groups) == 1:
                    columns += [literal(value) for value in groups[0][0].values()]
                    weights += [str(len(groups[0]))] if name in part.grouped else []
                    continue
                rows = ", ".join(
                    f"({', '.join([str(len(group)), *map(literal, group[0].values())])})" for group in groups
                )
                heads = [f"head_{i}" for i in range(len(cells[0]))]
                sources.append(f"(VALUES {rows}) AS input_{place}({', '.join(['size', *heads])})")
                columns += [f"input_{place}.{head}" for head in heads]
                weights.append(f"input_{place}.size")
            self.store.run(
                f"INSERT INTO combination SELECT {', '.join([str(number), ' * '.join(weights), *columns])}"
                + (f" FROM {' CROSS JOIN '.join(sources)}" if sources else "")
            )

    def speaking_sql(self) -> str:
        """The combinations with `asked`, which rules speak, and the least and the greatest verdict among them."""
        here = {rule.id for rule in self.rules}
        met, speaks, marks = [], [], ["NULL::INTEGER"]
        for rule in self.rules:
            others = [str(i) for i, part in enumerate(self.parts) if rule.id not in part.rule_ids]
            elsewhere = f" AND part NOT IN ({', '.join(others)})" if others else ""
            met.append(f"{condition_sql(rule.when)}{elsewhere} AS {quoted('met.' + rule.id)}")
            first = [
                quoted("met." + rule.id),
                *(f"NOT {quoted('met.' + one)}" for one in rule.yields_to if one in here),
            ]
            speaks.append(f"asked AND {' AND '.join(first)} AS {quoted('speaks.' + rule.id)}")
            marks.append(f"CASE WHEN {quoted('speaks.' + rule.id)} THEN {self.verdict[rule.id]} END")
        judged = f"SELECT {', '.join(['*', condition_sql(self.asked) + ' AS asked', *met])} FROM combination"
        spoken = f"SELECT {', '.join(['*', *speaks])} FROM ({judged})"
        return (
            f"SELECT *, least({', '.join(marks)}) AS least_verdict, greatest({', '.join(marks)}) AS most_verdict "
            f"FROM ({spoken})"
        )

    def count_parts(self) -> list[Counts]:
        """Count every part, all of them in one statement."""
        self.enumerate()
        sums = "".join(f", coalesce(sum(weight) FILTER ({quoted('speaks.' + rule.id)}), 0)" for rule in self.rules)
        gap, conflict = "(asked AND least_verdict IS NULL)", "(least_verdict <> most_verdict)"
        found = self.store.rows(
            "SELECT part, sum(weight), coalesce(sum(weight) FILTER (asked), 0), "
            f"coalesce(sum(weight) FILTER ({gap}), 0), "
            f"count(*) FILTER ({conflict}), count(*){sums} FROM ({self.speaking_sql()}) GROUP BY part ORDER BY part"
        )
        faults = ([gap] if self.decision.otherwise is None else []) + ([] if self.all_alike else [conflict])
        impossible = {}
        if faults and any((row[3] and gap in faults) or (row[4] and conflict in faults) for row in found):
            impossible = self.impossible(" OR ".join(faults))
        counted = []
        for part, total, asked, silent, _, rows, *times in found:
            by_rule = {rule.id: int(count) for rule, count in zip(self.rules, times, strict=True)}
            silent = 0 if gap in faults else int(silent)
            counted.append(Counts(int(total), int(asked), silent, impossible.get(part, 0), by_rule, rows, 1))
        self.store.run("DROP TABLE combination")
        return counted

    def impossible(self, fault: str) -> dict[int, int]:
        """By part: how many combinations without a single answer no facts lead to. Report one that facts lead to."""
        heads = ", ".join(quoted(head) for cells in self.cells.values() for head in cells[0])
        self.store.run(
            f"CREATE OR REPLACE TEMP TABLE faulty AS SELECT part, weight, {heads} FROM ({self.speaking_sql()}) "
            f"WHERE {fault}"
        )
        nowhere = {}
        for number, weight in self.store.rows("SELECT part, sum(weight) FROM faulty GROUP BY part ORDER BY part"):
            part = self.parts[number]
            within = Reach(self.joint, part.put_in, part.grouped)
            named = [*within.shared, *within.free]
            columns = [quoted(head) for name in named for head in self.cells[name][0]]
            rows = self.store.rows(
                f"SELECT DISTINCT {', '.join(columns) or '1'} FROM faulty WHERE part = ? ORDER BY ALL", [number]
            )
            row = within.first([tuple(map(str, row)) if columns else () for row in rows])
            if row is None:
                nowhere[number] = int(weight)
                continue
            same = "".join(f" AND {column} = ?" for column in columns)
            shown = self.store.records(
                f"SELECT * FROM faulty WHERE part = ?{same} ORDER BY ALL LIMIT 1", [number, *row]
            )[0]
            self.tell({**{name: str(shown[name]) for name in self.cells if name not in self.known}, **within.case(row)})
        self.store.run("DROP TABLE faulty")
        return nowhere

    def tell(self, case: Mapping[str, str]) -> None:
        """Report the gap or conflict that shows in one case."""
        whole = {**{fact.name: fact.values[0] for fact in facts().values()}, **case}
        for name, root in self.compiler.roots.items():
            spoken = self.compiler.forest.answers[self.compiler.forest.path(root, whole)[1]]
            whole |= {name: self.compiler.outcome(spoken), f"{name}.count": self.compiler.count_effect(spoken)}
        met = {rule.id for rule in self.rules if holds(rule.when, whole)}
        speaking = [rule.id for rule in self.rules if rule.id in met and not met & set(rule.yields_to)]
        example = in_words(case)
        if not speaking:
            self.fault(("gap",), "no rule answers, and there is no `otherwise`", example)
            return
        one = speaking[0]
        other = next((name for name in speaking if self.verdict[name] != self.verdict[one]), one)
        self.fault((one, other), f"{one} and {other} answer differently without a declared order", example)


def _told(conditions: Iterable[Condition | bool]) -> list[Membership]:
    return [one for condition in conditions if not isinstance(condition, bool) for one in memberships_in(condition)]


def prove_tables(store: Store, regime: Regime, active: Mapping[str, Rule]) -> list[TableAccount]:
    """Prove the decision tables of one regime; what is disproved is in the accounts.

    After a decision whose rules leave a gap or a conflict no later one can be taken, so its table is the last.
    """
    compiler = _Compiler(Forest([fact.variable for fact in facts().values()]), regime.code, active)
    accounts = []
    for decision in decisions():
        accounts.append(_Table(store, title(regime), compiler, decision).prove())
        try:
            compiler.roots[decision.name] = compiler.decide(decision)
        except RuleDefinitionError:
            if not accounts[-1].findings:
                raise
            break
    return accounts
