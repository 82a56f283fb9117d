"""Rule the distinct sets of facts of a table: each end of the diagrams once, and each incomplete set once.

A ruling follows from the end reached and from the facts that it repeats (the count). So of all the complete sets
that reach one end with one count, one is ruled. A set that lacks a fact on its way follows from the place where it
stopped and the facts that are asked below it, so sets that agree in these are ruled once.
"""

from __future__ import annotations

import copy
from collections.abc import Iterator, Sequence
from dataclasses import replace

from pipeline.rules.answer import CaseRuling, rule_case
from pipeline.rules.compile import RuleBook
from pipeline.rules.model import RULING_FIELDS
from pipeline.rules.vocabulary import recorded_facts
from pipeline.rulings.keys import FactKeys
from pipeline.rulings.walk import MISSING, lay_out, place_sql
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


class DistinctRulings:
    """Rules the temporary table `wanted` (`regime` and the keys, no row twice) into `ruled` and `answer`.

    `ruled` has `regime`, the keys and `answer_id`; `answer` has `answer_id` and COLUMNS. Both are temporary tables.
    """

    def __init__(self, store: Store, book: RuleBook, keys: FactKeys) -> None:
        self.store = store
        self.book = book
        self.keys = keys
        self.answer_ids: dict[tuple[str, ...], int] = {}
        self.below: dict[int, tuple[str, ...]] = {}
        """By place in the diagrams: the facts on which the ruling of a set that stopped there can turn."""

    def make(self) -> int:
        """Make `ruled` and `answer`; return how many distinct sets of facts and regimes were ruled."""
        store, columns = self.store, ", ".join(self.keys.columns)
        place = place_sql(self.book, {name: digit.sql for name, digit in self.keys.digits.items()})
        store.run(
            "CREATE OR REPLACE TEMP TABLE walked AS "
            f"SELECT row_number() OVER () AS set_no, regime, {columns}, {place} AS place FROM wanted",
            lay_out(self.book).bound,
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
        for name in ("walked", "ended", "end_answer", "answered"):
            store.run(f"DROP TABLE {name}")
        return sets

    def _rule(self, select: str) -> None:
        """Rule each set of facts that the query gives (`set_no`, `regime`, the keys) and note its answer."""
        # Following every branch makes new parts of diagrams; they go with the copy, or they would pile up.
        book = replace(self.book, forest=copy.copy(self.book.forest))
        for name, part in vars(book.forest).items():
            if isinstance(part, (list, dict)):
                setattr(book.forest, name, part.copy())
        alike: dict[tuple[object, ...], int] = {}
        rows = []
        for set_no, regime, codes, likeness in self._sets(select):
            answer_id = alike.get(likeness)
            if answer_id is None:
                ruling = rule_case(book, book.regimes[regime], self.keys.values(codes))
                answer_id = self.answer_ids.setdefault(ruling_row(ruling), len(self.answer_ids))
                alike[likeness] = answer_id
            rows.append((set_no, answer_id))
        insert(self.store, "answered", rows, ("BIGINT", "INTEGER"))

    def _sets(self, select: str) -> Iterator[tuple[int, int, dict[str, int], tuple[object, ...]]]:
        """Each set's number, regime and codes, and what sets that are ruled alike have in common."""
        forest = self.book.forest
        names = [variable.name for variable in forest.variables]
        for set_no, regime, *keys in self.store.rows(select):
            codes = self.keys.codes(keys)
            node = self.book.regimes[regime].root
            while not forest.is_end(node) and (code := codes.get(names[forest.levels[node]], MISSING)) != MISSING:
                node = forest.branches[node][code - 1]
            below = self.below.get(node)
            if below is None:
                asked = forest.asked(node) | set(REPEATED)
                below = self.below[node] = tuple(name for name in recorded_facts() if name in asked)
            yield set_no, regime, codes, (regime, node, *(codes[name] for name in below))
