"""Decision diagrams over facts with a few values each.

A diagram is a reduced, ordered graph: each inner node asks one fact and has one branch for each value, each end
is an answer, equal parts are one node, and a node whose branches all agree does not exist. So a node's fact
always matters, a walk visits only facts that decide, and a missing fact is exact to handle: follow every
branch. (The construction is the many-valued form of Bryant's 1986 reduced ordered decision diagrams,
IEEE Trans. Computers C-35(8); the many-valued form is Srinivasan, Kam, Malik and Brayton, ICCAD 1990.)
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterator, Mapping, Sequence
from dataclasses import dataclass


@dataclass(frozen=True)
class Variable:
    """One fact that a diagram may ask: its name and its values, in fixed order."""

    name: str
    values: tuple[str, ...]


class Forest:
    """All diagrams over one list of variables, sharing their parts.

    A diagram is a node number. Nodes are made by `node` and `end` only, so equal diagrams have equal numbers.
    """

    def __init__(self, variables: Sequence[Variable]) -> None:
        self.variables = tuple(variables)
        self.level_of = {variable.name: level for level, variable in enumerate(self.variables)}
        self.bottom = len(self.variables)
        self.levels: list[int] = []
        self.branches: list[tuple[int, ...]] = []
        self.answers: list[Hashable] = []
        self._nodes: dict[tuple[int, tuple[int, ...]], int] = {}
        self._ends: dict[Hashable, int] = {}
        self._joined: dict[tuple[bool, int, int], int] = {}
        self._negated: dict[int, int] = {}
        self._chosen: dict[tuple[int, int, int], int] = {}

    def end(self, answer: Hashable) -> int:
        """Return the diagram that always gives `answer`."""
        found = self._ends.get(answer)
        if found is None:
            found = self._add(self.bottom, (), answer)
            self._ends[answer] = found
        return found

    def node(self, level: int, branches: tuple[int, ...]) -> int:
        """Return the diagram that asks the fact of `level` and goes on with one of `branches`."""
        first = branches[0]
        if all(branch == first for branch in branches):
            return first
        key = (level, branches)
        found = self._nodes.get(key)
        if found is None:
            found = self._add(level, branches, None)
            self._nodes[key] = found
        return found

    def _add(self, level: int, branches: tuple[int, ...], answer: Hashable) -> int:
        self.levels.append(level)
        self.branches.append(branches)
        self.answers.append(answer)
        return len(self.levels) - 1

    def is_end(self, node: int) -> bool:
        """Whether a node is an answer."""
        return self.levels[node] == self.bottom

    def ask(self, name: str, answer_for: Callable[[str], Hashable]) -> int:
        """Return the diagram of a function of one fact."""
        level = self.level_of[name]
        return self.node(level, tuple(self.end(answer_for(value)) for value in self.variables[level].values))

    def map(
        self, node: int, change: Callable[[Hashable], Hashable], memo: dict[tuple[int, ...], int] | None = None
    ) -> int:
        """Return the diagram with every answer changed; `memo` as for `combine`."""
        return self.combine(lambda answers: change(answers[0]), (node,), memo)

    def combine(
        self,
        join: Callable[[tuple[Hashable, ...]], Hashable],
        nodes: tuple[int, ...],
        memo: dict[tuple[int, ...], int] | None = None,
    ) -> int:
        """Return the diagram whose answer is `join` of the answers of `nodes`.

        `memo` may be handed on to further calls with the same `join`, so that parts they share are made once.
        """
        memo = {} if memo is None else memo

        def walk(parts: tuple[int, ...]) -> int:
            found = memo.get(parts)
            if found is not None:
                return found
            level = min([self.levels[part] for part in parts])
            if level == self.bottom:
                made = self.end(join(tuple(self.answers[part] for part in parts)))
            else:
                width = len(self.variables[level].values)
                below = [self.branches[p] if self.levels[p] == level else (p,) * width for p in parts]
                made = self.node(level, tuple([walk(branch) for branch in zip(*below, strict=True)]))
            memo[parts] = made
            return made

        return walk(nodes)

    def negate(self, node: int) -> int:
        """Return the diagram that is true where a diagram of True and False is false."""
        found = self._negated.get(node)
        if found is None:
            if self.is_end(node):
                found = self.end(not self.answers[node])
            else:
                found = self.node(self.levels[node], tuple(self.negate(branch) for branch in self.branches[node]))
            self._negated[node] = found
        return found

    def conjoin(self, one: int, other: int) -> int:
        """Return the diagram that is true where both diagrams of True and False are true."""
        return self._join(False, one, other)

    def disjoin(self, one: int, other: int) -> int:
        """Return the diagram that is true where one of two diagrams of True and False is true."""
        return self._join(True, one, other)

    def choose(self, test: int, yes: int, no: int) -> int:
        """Return the diagram that goes on with `yes` where a diagram of True and False is true, else with `no`."""
        if self.is_end(test):
            return yes if self.answers[test] else no
        if yes == no:
            return yes
        key = (test, yes, no)
        found = self._chosen.get(key)
        if found is None:
            level = min(self.levels[test], self.levels[yes], self.levels[no])
            width = len(self.variables[level].values)
            below = [self.branches[part] if self.levels[part] == level else (part,) * width for part in key]
            found = self.node(level, tuple([self.choose(*parts) for parts in zip(*below, strict=True)]))
            self._chosen[key] = found
        return found

    def _join(self, settling: bool, one: int, other: int) -> int:
        """`combine` for and (False settles it) and or (True settles it), stopping early; results are kept."""
        if one == other:
            return one
        if one > other:
            one, other = other, one
        for this, rest in ((one, other), (other, one)):
            if self.is_end(this):
                return this if self.answers[this] is settling else rest
        key = (settling, one, other)
        found = self._joined.get(key)
        if found is None:
            level = min(self.levels[one], self.levels[other])
            width = len(self.variables[level].values)
            ones = self.branches[one] if self.levels[one] == level else (one,) * width
            others = self.branches[other] if self.levels[other] == level else (other,) * width
            found = self.node(level, tuple(self._join(settling, a, b) for a, b in zip(ones, others, strict=True)))
            self._joined[key] = found
        return found

    def restrict(self, node: int, known: Mapping[str, str]) -> int:
        """Return what is left of a diagram once some facts are known."""
        fixed = {
            self.level_of[name]: self.variables[self.level_of[name]].values.index(value)
            for name, value in known.items()
            if name in self.level_of
        }
        memo: dict[int, int] = {}

        def walk(part: int) -> int:
            level = self.levels[part]
            if level == self.bottom:
                return part
            found = memo.get(part)
            if found is None:
                if level in fixed:
                    found = walk(self.branches[part][fixed[level]])
                else:
                    found = self.node(level, tuple(walk(branch) for branch in self.branches[part]))
                memo[part] = found
            return found

        return walk(node)

    def reachable(self, node: int) -> Iterator[int]:
        """Every node of a diagram, each once, ends included."""
        seen = {node}
        stack = [node]
        while stack:
            part = stack.pop()
            yield part
            for branch in self.branches[part]:
                if branch not in seen:
                    seen.add(branch)
                    stack.append(branch)

    def ends(self, node: int) -> set[Hashable]:
        """Every answer that a diagram can give."""
        return {self.answers[part] for part in self.reachable(node) if self.is_end(part)}

    def asked(self, node: int) -> set[str]:
        """Every fact that can matter to a diagram."""
        return {
            self.variables[self.levels[part]].name for part in self.reachable(node) if not self.is_end(part)
        }

    def path(self, node: int, facts: Mapping[str, str | None]) -> tuple[list[tuple[str, str]], int]:
        """Walk down as far as the known facts lead: the (fact, value) pairs asked, and the node reached."""
        asked: list[tuple[str, str]] = []
        while not self.is_end(node):
            variable = self.variables[self.levels[node]]
            value = facts.get(variable.name)
            if value is None:
                break
            asked.append((variable.name, value))
            node = self.branches[node][variable.values.index(value)]
        return asked, node

    def count(self, node: int) -> dict[Hashable, int]:
        """How many of all combinations of facts lead to each answer (exact, by products; nothing is listed)."""
        widths = [len(variable.values) for variable in self.variables]
        memo: dict[int, dict[Hashable, int]] = {}

        def scaled(part: int, above: int) -> dict[Hashable, int]:
            factor = 1
            for level in range(above + 1, self.levels[part]):
                factor *= widths[level]
            return {answer: times * factor for answer, times in walk(part).items()}

        def walk(part: int) -> dict[Hashable, int]:
            found = memo.get(part)
            if found is None:
                found = {}
                if self.is_end(part):
                    found[self.answers[part]] = 1
                for branch in self.branches[part]:
                    for answer, times in scaled(branch, self.levels[part]).items():
                        found[answer] = found.get(answer, 0) + times
                memo[part] = found
            return found

        return scaled(node, -1)
