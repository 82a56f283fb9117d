"""What each umpire who is to attend a clinic ruled wrongly on the subjects of his sessions."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from typing import Any

from pipeline.store import Store
from pipeline.store.database import named_sql

MOST_NAMED = 4
"""So many misrulings and situations are named for a subject, the commonest first."""

Row = dict[str, Any]


class OwnMisrulings:
    """Misrulings by umpire and topic, of the given pairs of umpire and topic."""

    def __init__(self, store: Store, taught: Sequence[tuple[str, str]]) -> None:
        self.rows: dict[tuple[str, str], list[Row]] = defaultdict(list)
        store.run("CREATE OR REPLACE TEMP TABLE clinic_taught (umpire_id VARCHAR, topic VARCHAR)")
        if taught:
            umpires, topics = [list(column) for column in zip(*taught, strict=True)]
            store.run("INSERT INTO clinic_taught SELECT unnest(?::VARCHAR[]), unnest(?::VARCHAR[])", [umpires, topics])
        for row in store.records(named_sql(__package__, "clinic_own")):
            self.rows[row["umpire_id"], row["topic"]].append(row)
        store.run("DROP TABLE clinic_taught")

    def commonest(self, umpires: Iterable[str], topic: str) -> tuple[list[str], list[str]]:
        """Return the commonest misrulings and strata of some umpires on a subject."""
        codes, strata = Counter[str](), Counter[str]()
        for umpire in umpires:
            for row in self.rows[umpire, topic]:
                codes[row["misruling_code"]] += row["times"]
                strata[row["stratum"]] += row["times"]
        return _most_named(codes), _most_named(strata)

    def cells(self, umpire: str, topic: str) -> Row:
        """Return an attendee's misrulings with their times, the commonest first, and some of the calls."""
        codes = Counter[str]()
        for row in self.rows[umpire, topic]:
            codes[row["misruling_code"]] += row["times"]
        named = _most_named(codes, len(codes))
        calls = sorted(call for row in self.rows[umpire, topic] for call in row["calls"])
        return {
            "misruling_codes": ";".join(named),
            "misruling_times": ";".join(str(codes[code]) for code in named),
            "call_ids": ";".join(calls[:5]),
        }


def _most_named(counts: Counter[str], most: int = MOST_NAMED) -> list[str]:
    return sorted(counts, key=lambda name: (-counts[name], name))[:most]
