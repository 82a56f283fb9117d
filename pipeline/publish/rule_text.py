"""Lay the words of the rule catalogue beside the rulings, for `pub_rule`."""

from __future__ import annotations

from pipeline.rules.model import CODES, CONFIDENCE, Rule
from pipeline.rules.reading import rules
from pipeline.store import Store


def make_rule_text(store: Store) -> None:
    """Make the temporary table `rule_text`: one row per rule of the catalogue."""
    columns = ("rule_id", "topic", "title", "says", "codes", *(f"reference_{code}" for code in CODES), "confidence")
    store.run(f"CREATE OR REPLACE TEMP TABLE rule_text ({', '.join(f'{name} VARCHAR' for name in columns)})")
    rows = [_row(rule) for _, rule in sorted(rules().items())]
    if rows:
        unnested = ", ".join("unnest(?::VARCHAR[])" for _ in columns)
        lists = [[row[place] for row in rows] for place in range(len(columns))]
        store.run(f"INSERT INTO rule_text SELECT {unnested}", lists)


def _row(rule: Rule) -> tuple[str | None, ...]:
    entries = [rule.codes.get(code) for code in CODES]
    marks = [entry.confidence for entry in entries if entry is not None]
    return (
        rule.id,
        rule.topic,
        rule.title.strip(),
        rule.says.strip() or None,
        ", ".join(code for code in CODES if code in rule.codes) or None,
        *(entry.reference or None if entry is not None else None for entry in entries),
        max(marks, key=CONFIDENCE.index) if marks else None,
    )
