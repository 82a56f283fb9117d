"""The published tables as the pages need them: the small ones in memory, the calls as a stream."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import groupby
from operator import itemgetter
from typing import Any

from pipeline.config import Policy
from pipeline.errors import StoreError
from pipeline.store import Store
from pipeline.store.database import named_sql
from reports.parts import LEDGER_CALLS, part_files
from schemas import layer_tables

Row = Mapping[str, Any]

_CHUNK = 5000


@dataclass(frozen=True)
class Person:
    """An umpire or an evaluator: id and name as they stand in the tables."""

    id: str
    name: str


class SeasonBook:
    """What is published of one season.

    Raises
    ------
    StoreError
        The season has not been published.
    """

    def __init__(self, policy: Policy, store: Store) -> None:
        self.policy = policy
        self._store = store
        missing = [t.name for t in layer_tables("published") if not store.has_table(f"published.{t.name}")]
        if missing:
            raise StoreError(
                f"there is nothing to make pages from: {', '.join(missing)} are not published",
                hint="run the whole season with `platework run`",
            )
        seasons = self.rows("season")
        if not seasons:
            raise StoreError("the published season is empty", hint="run the whole season with `platework run`")
        self.season = seasons[0]

    def rows(self, name: str) -> list[dict[str, Any]]:
        """Return the rows of `reports/sql/<name>.sql`, in its order."""
        return self._store.records(named_sql("reports", name))

    def by(self, name: str, key: str) -> dict[Any, list[Row]]:
        """Return the rows of `reports/sql/<name>.sql` by one of their columns, each list in its order."""
        found: dict[Any, list[Row]] = defaultdict(list)
        for row in self.rows(name):
            found[row[key]].append(row)
        return found

    def stream(self, name: str, key: str, bound: Mapping[str, Any] | None = None) -> Iterator[tuple[str, list[Row]]]:
        """Yield the rows of an ordered SELECT in groups of equal `key`, holding one group at a time.

        `bound` are the values of the names that the SELECT asks for.
        """
        for value, group in groupby(self._stream(name, bound), key=itemgetter(key)):
            yield value, list(group)

    def _stream(self, name: str, bound: Mapping[str, Any] | None) -> Iterator[dict[str, Any]]:
        cursor = self._store.connection.cursor()
        try:
            cursor.execute(named_sql("reports", name), bound)
            names = [column[0] for column in cursor.description or ()]
            while rows := cursor.fetchmany(_CHUNK):
                for row in rows:
                    yield dict(zip(names, row, strict=True))
        finally:
            cursor.close()

    def tuples(self, name: str) -> Iterator[tuple[Any, ...]]:
        """Yield the rows of `reports/sql/<name>.sql` as tuples, in its order, without holding them all."""
        cursor = self._store.connection.cursor()
        try:
            cursor.execute(named_sql("reports", name))
            while rows := cursor.fetchmany(_CHUNK):
                yield from rows
        finally:
            cursor.close()

    @cached_property
    def umpires(self) -> list[Person]:
        """Every umpire of whom anything is published, by id."""
        return [Person(row["umpire_id"], row["name"]) for row in self.rows("umpire")]

    @cached_property
    def evaluators(self) -> list[Person]:
        """Every evaluator of whom anything is published, by id."""
        return [Person(row["evaluator_id"], row["name"]) for row in self.rows("evaluator_person")]

    @cached_property
    def call_homes(self) -> dict[str, tuple[str, str]]:
        """The umpire of each call, and the page of his ledger on which its entry stands."""
        found: dict[str, tuple[str, str]] = {}
        for umpire, rows in groupby(self.tuples("call_home"), key=itemgetter(0)):
            _, games, calls = zip(*rows, strict=True)
            files = part_files(games, LEDGER_CALLS)
            homes = {file: (umpire, file) for file in set(files)}
            found.update(zip(calls, (homes[file] for file in files), strict=True))
        return found

    @cached_property
    def readiness(self) -> list[dict[str, Any]]:
        """The readiness of each umpire."""
        return self.rows("readiness")

    @cached_property
    def standards(self) -> dict[str, list[Row]]:
        """Standards by umpire."""
        return self.by("standard", "umpire_id")

    @cached_property
    def sensitivity(self) -> dict[str, list[Row]]:
        """Readings with the cuts moved, by umpire."""
        return self.by("sensitivity", "umpire_id")

    @cached_property
    def letter_points(self) -> dict[str, list[Row]]:
        """What the letters name, by umpire."""
        return self.by("letter_point", "umpire_id")

    @cached_property
    def growth(self) -> dict[str, list[Row]]:
        """Change over the season, by umpire."""
        return self.by("growth", "umpire_id")

    @cached_property
    def rates(self) -> dict[str, list[Row]]:
        """Rates by umpire."""
        return self.by("umpire_rate", "umpire_id")

    @cached_property
    def misrulings(self) -> list[dict[str, Any]]:
        """Misrulings, the greatest clinic score first."""
        return self.rows("misruling")

    @cached_property
    def umpire_misrulings(self) -> dict[str, list[Row]]:
        """Misrulings by umpire."""
        return self.by("umpire_misruling", "umpire_id")

    @cached_property
    def positioning(self) -> dict[str, list[Row]]:
        """Positioning by umpire."""
        return self.by("positioning", "umpire_id")

    @cached_property
    def quiz_results(self) -> list[dict[str, Any]]:
        """Quiz results."""
        return self.rows("quiz_umpire")

    @cached_property
    def rules(self) -> list[dict[str, Any]]:
        """The rules, by topic."""
        return self.rows("rule")

    @cached_property
    def misgrades(self) -> dict[str, list[Row]]:
        """Grades against the rules, by evaluator."""
        return self.by("evaluator_misgrade", "evaluator_id")

    @cached_property
    def health(self) -> dict[str, list[Row]]:
        """Health of the sheets, by evaluator."""
        return self.by("evaluator_health", "evaluator_id")

    def level_title(self, level_id: str) -> str:
        """Return a level in the policy's words; the id where the policy does not know it."""
        level = self.policy.level(level_id)
        return level.title if level else level_id

    def level_order(self, level_id: str) -> tuple[int, str]:
        """Return what levels are sorted by: the policy's order, then the id."""
        ids: Sequence[str] = [level.id for level in self.policy.levels]
        return (ids.index(level_id) if level_id in ids else len(ids), level_id)
