"""The decision diagrams laid out as lookup lists, so that the engine walks a row from fact to fact.

One list for each fact: from a place in the diagram and the value of that fact to the next place.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from pipeline.rules.compile import RuleBook
from pipeline.rules.vocabulary import Fact, recorded_facts
from pipeline.store import Store

MISSING = 0
"""The place where a walk ends that lacks a fact; also the code of a fact that was not recorded."""


@dataclass(frozen=True)
class Layout:
    """The diagrams as lists: `steps[level][place * (values + 1) + code]` is the next place.

    `code` is 0 for a missing fact and otherwise the number of the value, from 1. `ends` maps the last place to
    its answer's node; `starts` maps a regime (by position) to its first place.
    """

    starts: tuple[int, ...]
    steps: tuple[tuple[int, ...], ...]
    ends: dict[int, int]

    @property
    def bound(self) -> dict[str, list[int]]:
        """The lists as the parameters that `place_sql` and `walk_sql` name."""
        lists = {f"step_{level}": list(table) for level, table in enumerate(self.steps)}
        return {"starts": list(self.starts), **lists}


def lay_out(book: RuleBook) -> Layout:
    """Number the nodes level by level; place 0 is always `MISSING`."""
    forest = book.forest
    frontier: list[int] = list(dict.fromkeys(regime.root for regime in book.regimes))
    place = {node: i for i, node in enumerate(frontier, 1)}
    starts = tuple(place[regime.root] for regime in book.regimes)
    steps = []
    for level, variable in enumerate(forest.variables):
        following: dict[int, int] = {}
        table = [MISSING] * (len(variable.values) + 1)
        for node in frontier:
            if forest.levels[node] == level:
                table.append(MISSING)
                targets: Sequence[int] = forest.branches[node]
            else:
                table.append(following.setdefault(node, len(following) + 1))
                targets = (node,) * len(variable.values)
            table += [following.setdefault(target, len(following) + 1) for target in targets]
        steps.append(tuple(table))
        frontier = list(following)
    return Layout(starts, tuple(steps), dict(enumerate(frontier, 1)))


def code_sql(fact: Fact) -> str:
    """The code of a fact's column: 0 where nothing was recorded, NULL where the value is none of the fact's."""
    # One call over constants and one column: the engine works it out once for each entry of a column's dictionary.
    if all(value.isdigit() for value in fact.values):
        return f"list_position([NULL, {', '.join(fact.values)}], CAST({fact.name} AS INTEGER)) - 1"
    listed = ", ".join(f"'{value}'" for value in fact.values)
    return f"list_position([NULL, {listed}], CAST({fact.name} AS VARCHAR)) - 1"


def regime_sql(book: RuleBook, only: str | None) -> str:
    """The position of the regime that rules a row, from `rule_code` (or the code `only`) and `game_on`."""
    spans = []
    for position, regime in reversed(list(enumerate(book.regimes))):
        since = f" AND game_on >= DATE '{regime.first_day.isoformat()}'" if regime.first_day else ""
        spans.append(f"WHEN {'rule_code' if only is None else repr(only)} = '{regime.code}'{since} THEN {position}")
    return f"CASE {' '.join(spans)} END"


def put_lists(store: Store, layout: Layout, table: str) -> None:
    """Make the temporary table `table` of one row with the lists of a layout, as `place_sql` reads them."""
    named = ", ".join(f"${name} AS {name}" for name in layout.bound)
    store.run(f"CREATE OR REPLACE TEMP TABLE {table} AS SELECT {named}", layout.bound)


def place_sql(book: RuleBook, codes: Mapping[str, str], lists: str = "$") -> str:
    """The end that a row of regime `regime` reaches, or 0; `codes` has the SQL of each recorded fact's code.

    `lists` is `$` where the lists are bound parameters, and `TABLE.` where `put_lists` made a table of them and the
    row is joined with it. The engine compares long parameters again and again while it plans, which takes most of a
    second, and goes through them more slowly.
    """
    place = f"list_extract({lists}starts, regime + 1)"
    for level, variable in enumerate(book.forest.variables):
        # A point that a league settles is no column: settled, the diagrams do not ask it; open, nobody recorded it.
        code = codes.get(variable.name, "0")
        place = f"list_extract({lists}step_{level}, {place} * {len(variable.values) + 1} + {code} + 1)"
    return place


def walk_sql(book: RuleBook, source: str, only: str | None) -> str:
    """Return the SELECT that gives `call_id`, `regime` and `place` (the end reached, or 0) of each row.

    `only` names the rule code to use for every row; None takes the row's own. The lists are bound parameters
    `$step_0`, `$step_1`, …, and `$starts`.
    """
    place = place_sql(book, {name: code_sql(fact) for name, fact in recorded_facts().items()})
    inner = f"SELECT call_id, {regime_sql(book, only)} AS regime, * EXCLUDE (call_id) FROM {source}"
    return f"SELECT call_id, regime, {place} AS place FROM ({inner})"
