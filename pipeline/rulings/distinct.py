"""Rule the distinct sets of facts of a table: each end of the diagrams once, and each incomplete set once.

A ruling follows from what is left of the diagram once the facts are known, and from the facts that it repeats (the
count). So of all the complete sets that reach one end with one count, one is ruled, and of the sets that lack a fact
on their way, one for each diagram left.
"""

from __future__ import annotations

import copy
from collections.abc import Sequence
from dataclasses import replace

from pipeline.rules.answer import CaseRuling, rule_case
from pipeline.rules.compile import RuleBook
from pipeline.rules.diagram import Forest
from pipeline.rules.model import RULING_FIELDS
from pipeline.rulings.keys import FactKeys
from pipeline.rulings.walk import MISSING, lay_out, place_sql, put_lists
from pipeline.store import Store

COLUMNS = (
    "state",
    *RULING_FIELDS,
    "outs_added",
    "balls_after",
    "strikes_after",
    "needs",
    "rule_refs",
    "rule_ids",
    "because",
    "confidence",
)
"""What is said of each row, as text."""

REPEATED = ("balls", "strikes")
"""The facts that a ruling repeats, and so depends on although no decision may ask them."""

CHUNK = 50_000
"""Incomplete sets that are fetched and ruled at a time, which bounds what is held in memory."""


def ruling_row(ruling: CaseRuling) -> tuple[str, ...]:
    """The ruling as text cells in the order of COLUMNS."""
    return (
        ruling.state, *(ruling.ruling[name] for name in RULING_FIELDS), ruling.outs_added, ruling.balls_after,
        ruling.strikes_after, ";".join(ruling.needs), "; ".join(ruling.rule_refs), ";".join(ruling.rule_ids),
        ruling.because, ruling.confidence,
    )  # fmt: skip


def insert(store: Store, table: str, rows: Sequence[tuple[object, ...]], kinds: Sequence[str]) -> None:
    """Append rows to a table, each column handed over as one list of the kind named."""
    if rows:
        select = ", ".join(f"unnest(?::{kind}[])" for kind in kinds)
        store.run(f"INSERT INTO {table} SELECT {select}", [list(column) for column in zip(*rows, strict=True)])


class Remainders:
    """What is left of the diagrams of a forest for many sets of facts, sharing what the sets have in common.

    The diagrams left are made in a copy of the forest, `made`, so that they go with it when a portion is done;
    node numbers of the forest hold in the copy too.
    """

    def __init__(self, forest: Forest) -> None:
        self.forest = forest
        self.shifts: list[int] = []
        """By level: where the bits of the fact's code begin in a set of facts packed into one number."""
        self.ones: list[int] = []
        bits = 0
        for variable in forest.variables:
            self.shifts.append(bits)
            self.ones.append((1 << len(variable.values).bit_length()) - 1)
            bits += len(variable.values).bit_length()
        self.masks: dict[int, int] = {}
        self.forget()

    def forget(self) -> None:
        """Begin a new portion: drop every diagram that was made."""
        self.made = copy.copy(self.forest)
        for name, part in vars(self.made).items():
            if isinstance(part, (list, dict)):
                setattr(self.made, name, part.copy())
        self.known: dict[tuple[int, int], int] = {}

    def mask(self, node: int) -> int:
        """The bits of the facts that are asked at a node or below it."""
        found = self.masks.get(node)
        if found is None:
            found = 0
            if not self.forest.is_end(node):
                level = self.forest.levels[node]
                found = self.ones[level] << self.shifts[level]
                for branch in self.forest.branches[node]:
                    found |= self.mask(branch)
            self.masks[node] = found
        return found

    def left(self, node: int, packed: int) -> int:
        """What `Forest.restrict` gives for the facts in `packed` (0 in a fact's bits: not recorded)."""
        forest = self.forest
        while not forest.is_end(node):
            level = forest.levels[node]
            code = packed >> self.shifts[level] & self.ones[level]
            if code == MISSING:
                break
            node = forest.branches[node][code - 1]
        else:
            return node
        # What is left turns on the facts asked from here on and on no others.
        key = (node, packed & self.mask(node))
        found = self.known.get(key)
        if found is None:
            found = self.made.node(level, tuple([self.left(branch, packed) for branch in forest.branches[node]]))
            self.known[key] = found
        return found


class DistinctRulings:
    """Rules the temporary table `wanted` (`regime` and the keys, no row twice) into `ruled` and `answer`.

    `ruled` has `regime`, the keys and `answer_id`; `answer` has `answer_id` and COLUMNS. Both are temporary tables.
    """

    def __init__(self, store: Store, book: RuleBook, keys: FactKeys) -> None:
        self.store = store
        self.book = book
        self.keys = keys
        self.answer_ids: dict[tuple[str, ...], int] = {}
        self.remainders = Remainders(book.forest)

    def make(self) -> int:
        """Make `ruled` and `answer`; return how many distinct sets of facts and regimes were ruled."""
        store, columns = self.store, ", ".join(self.keys.columns)
        put_lists(store, lay_out(self.book), "step_list")
        place = place_sql(self.book, {name: digit.sql for name, digit in self.keys.digits.items()}, "step_list.")
        store.run(
            "CREATE OR REPLACE TEMP TABLE walked AS "
            f"SELECT row_number() OVER () AS set_no, regime, {columns}, {place} AS place FROM wanted, step_list"
        )
        repeated = [name for name in REPEATED if name in self.keys.digits]
        counted = ", ".join(f"{self.keys.digits[name].sql} AS {name}" for name in repeated)
        ended = ", ".join(["regime", "place", *repeated])
        store.run(
            f"CREATE OR REPLACE TEMP TABLE ended AS SELECT set_no, regime, place, {counted} FROM walked "
            f"WHERE place <> {MISSING}"
        )
        store.run("CREATE OR REPLACE TEMP TABLE answered (set_no BIGINT, answer_id INTEGER)")
        self._rule(
            f"SELECT set_no, regime, {columns} FROM walked "
            f"WHERE set_no IN (SELECT min(set_no) FROM ended GROUP BY {ended}) ORDER BY set_no"
        )
        # The ruling of one set holds for every set that reached the same end with the same count.
        store.run(
            f"CREATE OR REPLACE TEMP TABLE end_answer AS SELECT {ended}, answer_id "
            "FROM ended JOIN answered USING (set_no)"
        )
        store.run("DELETE FROM answered")
        sets = int(store.value("SELECT count(*) FROM walked"))
        for first in range(1, sets + 1, CHUNK):
            self._rule(
                f"SELECT set_no, regime, {columns} FROM walked "
                f"WHERE set_no BETWEEN {first} AND {first + CHUNK - 1} AND place = {MISSING} ORDER BY set_no"
            )
        store.run(
            f"CREATE OR REPLACE TEMP TABLE ruled AS SELECT regime, {columns}, answer_id FROM "
            f"(SELECT set_no, answer_id FROM ended JOIN end_answer USING ({ended}) UNION ALL FROM answered) "
            "JOIN walked USING (set_no)"
        )
        kinds = ["INTEGER", *["VARCHAR"] * len(COLUMNS)]
        store.run(
            f"CREATE OR REPLACE TEMP TABLE answer (answer_id INTEGER, {', '.join(f'{n} VARCHAR' for n in COLUMNS)})"
        )
        insert(store, "answer", [(number, *cells) for cells, number in self.answer_ids.items()], kinds)
        for name in ("walked", "ended", "end_answer", "answered", "step_list"):
            store.run(f"DROP TABLE {name}")
        return sets

    def _rule(self, select: str) -> None:
        """Rule each set of facts that the query gives (`set_no`, `regime`, the keys) and note its answer."""
        self.remainders.forget()
        book = replace(self.book, forest=self.remainders.made)
        level_of = book.forest.level_of
        digits = [
            (digit.key, digit.divisor, digit.width, self.remainders.shifts[level_of[name]])
            for name, digit in self.keys.digits.items()
        ]
        repeated = {name: self.keys.digits[name] for name in REPEATED if name in self.keys.digits}
        alike: dict[tuple[int, ...], int] = {}
        rows = []
        for set_no, position, *keys in self.store.rows(select):
            packed = 0
            for key, divisor, width, shift in digits:
                packed |= keys[key] // divisor % width << shift
            regime = self.book.regimes[position]
            left = self.remainders.left(regime.root, packed)
            count = {name: digit.read(keys) for name, digit in repeated.items()}
            likeness = (position, left, *count.values())
            answer_id = alike.get(likeness)
            if answer_id is None:
                ruling = rule_case(book, replace(regime, root=left), self.keys.values(count))
                answer_id = self.answer_ids.setdefault(ruling_row(ruling), len(self.answer_ids))
                alike[likeness] = answer_id
            rows.append((set_no, answer_id))
        insert(self.store, "answered", rows, ("BIGINT", "INTEGER"))
