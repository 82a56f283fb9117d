"""The smallest change of recorded facts after which the ruling is another one, or is a given one.

A change of one recorded fact costs one. A fact that was not recorded may be anything, for nothing. The part of a
decision diagram that few enough changes reach is found layer by layer; in it the cheapest way on from every node is
found by dynamic programming from the ends upward; and the ways are then listed in order of cost by a search that this
cost guides. All three are exact. (The search is that of Hart,
Nilsson and Raphael 1968, IEEE Trans. Systems Science and Cybernetics 4(2), with a bound that is never wrong.)
"""

from __future__ import annotations

import heapq
from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass

from pipeline.rules.diagram import Forest
from pipeline.rules.model import RULING_FIELDS, Answer

Facts = Mapping[str, str | None]
"""Deciding facts by name; None or absent: not recorded."""

Weigh = Callable[[str, str | None, str], int]
"""How far-fetched a change is (fact, recorded value, other value): 0 to 999, less is likelier.

The recorded value is None where nothing was recorded and the other value is supposed: 0 to 9.
"""

_Marks = tuple[tuple[int, int], ...]
"""Levels and the place of the value chosen there."""

_Way = tuple[int, _Marks, _Marks, int, int]
"""What a whole way costs at least, the facts changed and supposed so far, the node reached, the cost so far."""

_CHANGE = 10**9
_WEIGHT = 10**3
_NO_WAY = 10**15


@dataclass(frozen=True)
class Change:
    """One fact read otherwise than it was recorded."""

    fact: str
    given: str
    value: str


@dataclass(frozen=True)
class NearCase:
    """A case near the recorded one: what reads otherwise, what is supposed where nothing was recorded, the ruling.

    `supposed` are values of unrecorded facts without which another ruling would be possible too, (fact, value) in the
    order in which the ruling asks them.
    """

    changes: tuple[Change, ...]
    supposed: tuple[tuple[str, str], ...]
    answer: Answer


def sound_answers(forest: Forest, root: int, known: Facts) -> tuple[Answer, ...]:
    """Every answer that some filling of the missing facts leads to, contradictions left out, in a fixed order."""
    seen: set[int] = set()
    stack = [root]
    found = []
    while stack:
        node = stack.pop()
        if node in seen:
            continue
        seen.add(node)
        if forest.is_end(node):
            answer = forest.answers[node]
            if isinstance(answer, Answer) and answer.state != "contradiction":
                found.append(answer)
            continue
        variable = forest.variables[forest.levels[node]]
        value = known.get(variable.name)
        branches = forest.branches[node]
        stack += branches if value is None else (branches[variable.values.index(value)],)
    return tuple(sorted(found, key=lambda answer: (answer.state, answer.rule_ids, answer.spoken)))


def _alike(fact: str, given: str | None, value: str) -> int:
    del fact, given, value
    return 0


class _Search:
    """The ways from one root to the wanted ends."""

    def __init__(
        self, forest: Forest, root: int, known: Facts, wanted: Callable[[Answer], bool], weigh: Weigh
    ) -> None:
        self.forest = forest
        self.root = root
        self.known = known
        self.wanted = wanted
        self.weigh = weigh
        self.steps: dict[int, tuple[int, ...]] = {}
        """By level: what each value of its fact costs."""
        self.left = self.costs_to_go()

    def step(self, level: int) -> tuple[int, ...]:
        found = self.steps.get(level)
        if found is None:
            variable = self.forest.variables[level]
            given = self.known.get(variable.name)
            if given is None:
                found = tuple(1 + self.weigh(variable.name, None, value) for value in variable.values)
            else:
                found = tuple(
                    0 if value == given else _CHANGE + _WEIGHT * self.weigh(variable.name, given, value)
                    for value in variable.values
                )
            self.steps[level] = found
        return found

    def is_wanted(self, node: int) -> bool:
        answer = self.forest.answers[node]
        return isinstance(answer, Answer) and answer.state == "settled" and self.wanted(answer)

    def near_nodes(self) -> set[int]:
        """Every node that is reached with no more changes than a wanted end takes; empty where there is none.

        Layer by layer: the nodes that take no change, one change, two, until a layer has a wanted end.
        """
        forest = self.forest
        seen = {self.root}
        layer = [self.root]
        while layer:
            following: list[int] = []
            found = False
            while layer:
                node = layer.pop()
                if forest.is_end(node):
                    found = found or self.is_wanted(node)
                    continue
                for cost, branch in zip(self.step(forest.levels[node]), forest.branches[node], strict=True):
                    if cost >= _CHANGE:
                        following.append(branch)
                    elif branch not in seen:
                        seen.add(branch)
                        layer.append(branch)
            if found:
                return seen
            layer = [node for node in dict.fromkeys(following) if node not in seen]
            seen.update(layer)
        return set()

    def costs_to_go(self) -> dict[int, int]:
        """By node: the cost of the cheapest way on to a wanted end; `_NO_WAY` or more where there is none.

        Nodes that no cheapest way passes are left out.
        """
        forest = self.forest
        left: dict[int, int] = {}
        for node in sorted(self.near_nodes(), key=forest.levels.__getitem__, reverse=True):
            if forest.is_end(node):
                left[node] = 0 if self.is_wanted(node) else _NO_WAY
            else:
                left[node] = min(
                    cost + left.get(branch, _NO_WAY)
                    for cost, branch in zip(self.step(forest.levels[node]), forest.branches[node], strict=True)
                )
        return left

    def case(self, node: int, changed: _Marks, supposed: _Marks) -> NearCase:
        variables = self.forest.variables
        answer = self.forest.answers[node]
        assert isinstance(answer, Answer)  # noqa: S101 - only wanted ends are handed in, and `is_wanted` has looked
        changes = tuple(
            Change(variables[level].name, self.known[variables[level].name] or "", variables[level].values[place])
            for level, place in changed
        )
        named = {variables[level].name: variables[level].values[place] for level, place in supposed}
        return NearCase(changes, self.needed(changes, named, answer), answer)

    def needed(
        self, changes: tuple[Change, ...], supposed: dict[str, str], answer: Answer
    ) -> tuple[tuple[str, str], ...]:
        """Leave out, from the last, what need not be supposed: without it no other ruling is possible."""
        read = {**self.known, **{change.fact: change.value for change in changes}}
        kept = dict(supposed)
        for name in reversed(supposed):
            rest = {fact: value for fact, value in kept.items() if fact != name}
            if all(found.spoken == answer.spoken for found in sound_answers(self.forest, self.root, read | rest)):
                kept = rest
        return tuple(kept.items())

    def cases(self, limit: int) -> tuple[NearCase, ...]:
        """The cheapest ways, all with the fewest changes, one for each set of changed facts and ruling."""
        forest = self.forest
        cheapest = self.left.get(self.root, _NO_WAY)
        if cheapest >= _NO_WAY:
            return ()
        fewest = cheapest // _CHANGE
        found: list[NearCase] = []
        told: set[tuple[object, ...]] = set()
        seen: set[tuple[int, _Marks]] = set()
        ways: list[_Way] = [(cheapest, (), (), self.root, 0)]
        while ways and len(found) < limit:
            bound, changed, supposed, node, cost = heapq.heappop(ways)
            if bound // _CHANGE > fewest:
                break
            if (node, changed) in seen:
                continue
            seen.add((node, changed))
            if forest.is_end(node):
                case = self.case(node, changed, supposed)
                key = (tuple(level for level, _ in changed), case.answer.spoken)
                # Of one set of changes, what else might be supposed is no other case.
                if key not in told and changed not in told:
                    told |= {key, changed}
                    found.append(case)
                continue
            level = forest.levels[node]
            known = self.known.get(forest.variables[level].name) is not None
            for place, (step, branch) in enumerate(zip(self.step(level), forest.branches[node], strict=True)):
                total = cost + step + self.left.get(branch, _NO_WAY)
                if total < _NO_WAY:
                    mark = ((level, place),)
                    heapq.heappush(
                        ways,
                        (
                            total,
                            changed + mark if step >= _CHANGE else changed,
                            supposed if known else supposed + mark,
                            branch,
                            cost + step,
                        ),
                    )
        return tuple(found)


def nearest_cases(
    forest: Forest,
    root: int,
    known: Facts,
    wanted: Callable[[Answer], bool],
    weigh: Weigh = _alike,
    limit: int = 3,
) -> tuple[NearCase, ...]:
    """Return the cases with a wanted settled ruling that change the fewest recorded facts.

    Of equally few changes the likelier come first (`weigh`, summed), then those that suppose less and likelier. At
    most `limit` cases, one for each set of changed facts and ruling; empty where no facts at all lead to a wanted
    ruling. Facts that contradict one another, and plays without a rule, are never returned nor passed through.
    """
    return _Search(forest, root, known, wanted, weigh).cases(limit)


def nearest_other_rulings(
    forest: Forest,
    root: int,
    known: Facts,
    ruling: tuple[str | int, ...],
    weigh: Weigh = _alike,
    limit: int = 3,
) -> tuple[NearCase, ...]:
    """Return the nearest cases whose ruling (`Answer.spoken`) is not `ruling`; see `nearest_cases`."""
    return nearest_cases(forest, root, known, lambda answer: answer.spoken != ruling, weigh, limit)


def has_parts(answer: Answer, parts: Mapping[str, str], wanted: Collection[str] = ()) -> bool:
    """Whether a ruling has every given part, and at least one of those `wanted` (empty: of all).

    A part that the ruling leaves uncalled agrees with whatever was noted for it.
    """
    own = dict(zip(RULING_FIELDS, answer.ruling, strict=True))
    return all(own[name] in ("", value) for name, value in parts.items()) and any(
        own[name] == value for name, value in parts.items() if name in (wanted or parts)
    )


def nearest_with_ruling(
    forest: Forest,
    root: int,
    known: Facts,
    parts: Mapping[str, str],
    wanted: Collection[str] = (),
    weigh: Weigh = _alike,
    limit: int = 3,
) -> tuple[NearCase, ...]:
    """Return the nearest cases in which a ruling with the given parts would be right.

    See `nearest_cases` for the order, and `has_parts` for what agrees. Where facts were not recorded, a case may
    come without any change: the ruling is right if those facts were as supposed.
    """
    return nearest_cases(forest, root, known, lambda answer: has_parts(answer, parts, wanted), weigh, limit)
