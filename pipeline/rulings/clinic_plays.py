"""Case plays for the planned clinics: made from the season's own misruled facts, with nobody's name in them."""

from __future__ import annotations

import datetime as dt
from collections import Counter
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from pipeline.config import RunConfig
from pipeline.rules.compile import rule_book
from pipeline.rules.plays.items import LETTERS, Item
from pipeline.rules.plays.make import Wish, all_topics, make_items
from pipeline.rulings.play_sources import asked_already, misruled_plays
from pipeline.store import StepResult, Store
from pipeline.store.database import named_sql

ONLY_THE_EYE = 0.9
"""A subject of whose wrong rulings at least this share is a matter of the eye has no written plays: no text shows what
the eye has to see (our own choice, no source)."""

COLUMNS = {
    "session": "BIGINT",
    "number": "BIGINT",
    "item_id": "VARCHAR",
    "topic": "VARCHAR",
    "rule_code": "VARCHAR",
    "stem": "VARCHAR",
    **{f"option_{letter}": "VARCHAR" for letter in LETTERS},
    **{f"why_{letter}": "VARCHAR" for letter in LETTERS},
    "key": "VARCHAR",
    "because": "VARCHAR",
    "rule_refs": "VARCHAR",
    "confidence": "VARCHAR",
    "difficulty": "VARCHAR",
    "difficulty_why": "VARCHAR",
    "origin": "VARCHAR",
}

Signatures = Collection[tuple[str, ...]]


@dataclass(frozen=True)
class Wanted:
    """So many plays on a topic are wanted in a session."""

    session: int
    topic: str
    number: int


def shared_out(subjects: list[dict[str, Any]], plays: int) -> list[Wanted]:
    """Share a session's plays over its subjects as evenly as can be, the rest to the first ones.

    `subjects` are the rows of `scores.clinic_subject` in order; those that only the eye decides get none.
    """
    wanted = []
    for session in sorted({row["session"] for row in subjects}):
        asked = [row["topic"] for row in subjects if row["session"] == session and row["judged_share"] < ONLY_THE_EYE]
        for place, topic in enumerate(asked):
            number = plays // len(asked) + (place < plays % len(asked))
            if number:
                wanted.append(Wanted(session, topic, number))
    return wanted


def dealt(wanted: Sequence[Wanted], made: Mapping[str, Sequence[Item]]) -> Iterator[tuple[Wanted, list[Item]]]:
    """Yield the items of each wish, in order: each comes once before any comes again, and never twice in a session."""
    begun: Counter[str] = Counter()
    for one in wanted:
        pool = made[one.topic]
        number = min(one.number, len(pool))
        yield one, [pool[(begun[one.topic] + place) % len(pool)] for place in range(number)]
        begun[one.topic] += number


def rules_day(config: RunConfig, store: Store) -> dt.date:
    """Return the day whose rules the plays follow: the season's last by the policy, else that of its last game."""
    last: dt.date | None = store.value("SELECT max(game_on) FROM facts.fct_call")
    return config.policy.last_day or last or dt.date.max


def make_clinic_plays(config: RunConfig, store: Store, avoid: Signatures = ()) -> StepResult:
    """Make `rulings.clinic_play`: the case plays of each planned session.

    They come from the season's misruled calls on the session's subjects and, where those give too few different
    questions, from the rules' own worked cases. No two in a session ask one question; sessions on one subject share
    plays only when there are no more that differ. None asks what an item of the season's quiz asks, nor what is in
    `avoid`.

    Reads `scores.clinic_subject`, `facts.fct_call`, `scores.call_grade`, `checked.quiz_items`, `facts.item_case`.
    """
    with store.transaction():
        subjects = store.records("SELECT * FROM scores.clinic_subject ORDER BY session, place")
        wanted = shared_out(subjects, config.policy.clinics.plays)
        codes = dict(store.rows(named_sql(__package__, "clinic_code")))
        day = rules_day(config, store)
        asked = set(avoid)
        if wanted and store.has_table("facts.item_case") and store.has_table("checked.quiz_items"):
            asked |= asked_already(store, rule_book(), day, "facts.item_case", "checked.quiz_items")
        made: dict[str, list[Item]] = {}
        for topic in dict.fromkeys(one.topic for one in wanted):
            number = sum(one.number for one in wanted if one.topic == topic)
            wish = Wish(codes[topic], day, number, frozenset({topic}), seed=config.policy.seed)
            made[topic] = _items(store, wish, asked)
        rows = [_row(one.session, one.topic, item) for one, items in dealt(wanted, made) for item in items]
        _write(store, rows)
    return StepResult("plays", len(subjects), len(rows), notes={"wanted": sum(one.number for one in wanted)})


def _items(store: Store, wish: Wish, asked: set[tuple[str, ...]]) -> list[Item]:
    """Return the items of a wish, and add what they ask to `asked`."""
    (topic,) = wish.topics
    items = list(make_items(rule_book(), wish, misruled_plays(store, wish.code, topic), asked).items)
    asked |= {item.signature for item in items}
    if len(items) < wish.number and topic in all_topics():
        more = Wish(wish.code, wish.day, wish.number - len(items), wish.topics, seed=wish.seed)
        added = make_items(rule_book(), more, None, asked).items
        asked |= {item.signature for item in added}
        items += added
    return items


def _row(session: int, topic: str, item: Item) -> dict[str, Any]:
    options = {option.letter: option for option in item.options}
    return {
        "session": session,
        "item_id": item.item_id,
        "topic": topic,
        "rule_code": item.code,
        "stem": item.stem,
        **{f"option_{letter}": options[letter].text if letter in options else None for letter in LETTERS},
        **{f"why_{letter}": (options[letter].why or None) if letter in options else None for letter in LETTERS},
        "key": item.key,
        "because": item.because,
        "rule_refs": "; ".join(item.references),
        "confidence": item.confidence,
        "difficulty": item.grade.name,
        "difficulty_why": item.grade.why,
        "origin": item.origin,
    }


def _write(store: Store, rows: list[dict[str, Any]]) -> None:
    declared = ", ".join(f"{name} {kind}" for name, kind in COLUMNS.items())
    store.run(f"CREATE OR REPLACE TABLE rulings.clinic_play ({declared})")
    numbers: dict[int, int] = {}
    for row in rows:
        numbers[row["session"]] = numbers.get(row["session"], 0) + 1
        values = {**row, "number": numbers[row["session"]]}
        store.run(
            f"INSERT INTO rulings.clinic_play VALUES ({', '.join('?' for _ in COLUMNS)})",
            [values[name] for name in COLUMNS],
        )
