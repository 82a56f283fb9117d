"""Where case plays come from besides the catalogue: a season's misruled calls; and what other quizzes already ask."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from typing import Any

from pipeline.rules.compile import RuleBook
from pipeline.rules.model import RULING_FIELDS
from pipeline.rules.plays.play import Origin, signature_of
from pipeline.rules.vocabulary import facts
from pipeline.store import Store
from pipeline.store.database import named_sql

TABLES = ("facts.fct_call", "scores.call_grade")
"""What a season store must hold."""


def _known(row: dict[str, Any]) -> dict[str, str]:
    return {name: str(row[name]) for name in facts() if row.get(name) is not None}


def misruled_plays(store: Store, code: str, topic: str | None = None) -> list[tuple[dict[str, str], Origin]]:
    """Return the facts of a season's misruled calls under one code, of one topic or all, equal facts once.

    They stand in a fixed order.

    Nobody is named: neither umpire nor game. The origin tells how often calls of that kind were misruled, and
    which rulings were given on these facts.
    """
    made: dict[tuple[tuple[str, str], ...], list[dict[str, Any]]] = defaultdict(list)
    for row in store.records(named_sql("pipeline.rulings", "misruled_plays"), {"code": code, "topic": topic}):
        made[tuple(_known(row).items())].append(row)
    found = []
    for known in sorted(made):
        rows = made[known]
        first = rows[0]
        wrong, graded = int(first["wrong_of_kind"]), int(first["graded_of_kind"])
        kind = str(first["stratum"]).replace("_", " ")
        given = {
            tuple((name, str(row[f"ruled_{name}"])) for name in RULING_FIELDS if row.get(f"ruled_{name}"))
            for row in rows
        }
        origin = Origin(
            str(first["topic"]),
            str(first["stratum"]),
            f"From the season: {wrong} of {graded} graded calls of the kind {kind!r} were misruled.",
            wrong / graded,
            graded,
            tuple(dict(parts) for parts in sorted(given) if parts),
        )
        found.append((dict(known), origin))
    return found


def asked_already(store: Store, book: RuleBook, day: dt.date, cases: str, items: str) -> set[tuple[str, ...]]:
    """Return what other items ask, as signatures: of their cases in `cases`, and of the measures in `items`.

    A case whose facts leave the ruling open asks nothing that could be repeated.
    """
    found: set[tuple[str, ...]] = {
        (str(code), str(quantity))
        for code, quantity in store.rows(f"SELECT rule_code, quantity FROM {items} WHERE quantity IS NOT NULL")
    }
    for row in store.records(f"SELECT * FROM {cases}"):
        signature = signature_of(book, str(row["rule_code"]), day, _known(row))
        if signature is not None:
            found.add(signature)
    return found
