"""Whether any facts lead to one combination of a decision table's inputs: what earlier decisions can come to."""

from __future__ import annotations

from collections.abc import Hashable, Mapping, Sequence

from pipeline.rules.compile import _Compiler
from pipeline.rules.diagram import Forest, Variable
from pipeline.rulings.proof.findings import find_case

Cell = Mapping[str, str]
"""One value of an input, by column: a fact has one column, a decision its outcome and its effect on the count."""


class Joint:
    """The earlier decisions `names` in one diagram: its answers are their outcomes and effects on the count."""

    def __init__(self, compiler: _Compiler, names: Sequence[str]) -> None:
        self.compiler, self.names = compiler, tuple(names)
        root = compiler.forest.combine(
            lambda spoken: tuple((compiler.outcome(one), compiler.count_effect(one)) for one in spoken),
            tuple(compiler.roots[name] for name in names),
        )
        self.known: dict[tuple[tuple[str, frozenset[tuple[str, str]]], ...], int] = {(): root}

    def given(self, put_in: Sequence[tuple[str, list[Cell]]]) -> int:
        """The diagram with None at every end where a decision did not come out as put in."""
        key = tuple((name, frozenset((cell[name], cell[f"{name}.count"]) for cell in cells)) for name, cells in put_in)
        made = self.known.get(key)
        if made is None:
            name, allowed = key[-1]
            place = self.names.index(name)
            made = self.compiler.forest.map(
                self.given(put_in[:-1]),
                lambda told: told if told is not None and told[place] in allowed else None,  # type: ignore[index]
            )
            self.known[key] = made
        return made


class Reach:
    """What the earlier decisions can come to, by the classes of the facts that a part of a table names.

    Exact: the joint diagram is narrowed to the values put in, values of one class are joined, and facts that the
    part does not name are left out by joining all their branches. At its ends are sets of combinations (a class for
    each decision not put in) that some facts lead to.

    `shared` are the facts of the part on which these decisions turn, `free` the decisions not put in.
    """

    def __init__(self, joint: Joint, put_in: Mapping[str, list[Cell]], grouped: Mapping[str, list[list[Cell]]]) -> None:
        self.names, self.put_in, self.grouped = joint.names, put_in, grouped
        self.forest = forest = joint.compiler.forest
        self.joint = joint.given([(name, cells) for name, cells in put_in.items() if name in joint.names])
        asked = forest.asked(self.joint)
        self.shared = [
            variable.name for variable in forest.variables if variable.name in asked and variable.name in grouped
        ]
        self.free = [name for name in grouped if name in joint.names]
        self.narrow = Forest([Variable(name, tuple(map(str, range(len(grouped[name]))))) for name in self.shared])
        self.place = {
            name: {tuple(cell.values()): str(i) for i, group in enumerate(grouped[name]) for cell in group}
            for name in (*self.shared, *self.free)
        }
        self.wanted: set[tuple[str, ...]] = set()

    def first(self, rows: Sequence[tuple[str, ...]]) -> tuple[str, ...] | None:
        """The first of some rows that facts lead to; None where there are none.

        A row has a value for each shared fact, then outcome and effect on the count for each free decision.
        """
        width = len(self.shared)
        classed = []
        for row in rows:
            facts_there = {name: self.place[name][(value,)] for name, value in zip(self.shared, row, strict=False)}
            pairs = zip(row[width::2], row[width + 1 :: 2], strict=True)
            classed.append(
                (facts_there, tuple(self.place[name][pair] for name, pair in zip(self.free, pairs, strict=True)))
            )
        self.wanted = {spoken for _, spoken in classed}
        root = self._join(self.joint, {})
        last: dict[str, str] = {}
        found: Hashable = frozenset()
        for row, (facts_there, spoken) in zip(rows, classed, strict=True):
            if facts_there != last or not width:
                found, last = self.narrow.answers[self.narrow.path(root, facts_there)[1]], facts_there
            if spoken in found:  # type: ignore[operator]
                return row
        return None

    def _at_end(self, told: Hashable) -> frozenset[tuple[str, ...]]:
        if told is None:
            return frozenset()
        spoken = dict(zip(self.names, told, strict=True))  # type: ignore[call-overload]
        # A gap or conflict of an earlier decision has no class; it then is in none of the combinations.
        return frozenset([tuple(self.place[name].get(spoken[name], "") for name in self.free)]) & self.wanted

    def _join(self, node: int, memo: dict[int, int]) -> int:
        made = memo.get(node)
        if made is not None:
            return made
        forest, narrow = self.forest, self.narrow
        if forest.is_end(node):
            made = narrow.end(self._at_end(forest.answers[node]))
        else:
            variable = forest.variables[forest.levels[node]]
            below = dict(zip(variable.values, (self._join(one, memo) for one in forest.branches[node]), strict=True))
            name = variable.name
            if name in self.grouped:
                made = narrow.node(
                    narrow.level_of[name],
                    tuple(self._either([below[cell[name]] for cell in group]) for group in self.grouped[name]),
                )
            elif name in self.put_in:
                made = self._either([below[cell[name]] for cell in self.put_in[name]])
            else:
                made = self._either(list(below.values()))
        memo[node] = made
        return made

    def _either(self, nodes: list[int]) -> int:
        different = tuple(dict.fromkeys(nodes))
        if len(different) == 1:
            return different[0]
        return self.narrow.combine(lambda sets: frozenset().union(*sets), different)  # type: ignore[arg-type]

    def case(self, row: Sequence[str]) -> dict[str, str]:
        """Facts that lead to a row; KeyError where there are none."""
        width = len(self.shared)
        chosen = dict(self.put_in)
        for name, value in zip(self.shared, row, strict=False):
            chosen[name] = self.grouped[name][int(self.place[name][(value,)])]
        for name, pair in zip(self.free, zip(row[width::2], row[width + 1 :: 2], strict=True), strict=True):
            chosen[name] = self.grouped[name][int(self.place[name][pair])]
        wanted = [{tuple(cell.values()) for cell in chosen[name]} if name in chosen else None for name in self.names]

        def fits(told: Hashable) -> bool:
            return isinstance(told, tuple) and all(
                some is None or one in some for one, some in zip(told, wanted, strict=True)
            )

        found = find_case(
            self.forest,
            self.joint,
            fits,
            {name: [cell[name] for cell in cells] for name, cells in chosen.items() if name in self.forest.level_of},
        )
        if found is None:
            raise KeyError(str(row))
        return found
