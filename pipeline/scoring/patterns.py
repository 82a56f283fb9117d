"""How often each pattern of misruling occurs, and what share of all misruled calls the patterns explain."""

from __future__ import annotations

from pipeline.store import Store

_SOURCES = {
    "recognised": ("rulings.pattern", "call_id VARCHAR, pattern_id VARCHAR, place BIGINT"),
    "recognised_text": ("rulings.pattern_text", "pattern_id VARCHAR, precedence BIGINT, kind VARCHAR"),
}


def write_patterns(store: Store) -> int:
    """Make `scores.pattern_call`, `scores.misruling_pattern` and `scores.pattern_total`; return their row count.

    Reads `scores.call_grade`, `rulings.pattern` and `rulings.pattern_text`; where patterns were not looked for,
    none is recognised. A call counts under the first pattern recognised in it and under no other.
    """
    for name, (source, columns) in _SOURCES.items():
        if store.has_table(source):
            store.run(f"CREATE OR REPLACE TEMP TABLE {name} AS SELECT * FROM {source}")
        else:
            store.run(f"CREATE OR REPLACE TEMP TABLE {name} ({columns})")
    written = sum(
        store.create(f"scores.{name}", __package__, name)
        for name in ("pattern_call", "misruling_pattern", "pattern_total")
    )
    for name in _SOURCES:
        store.run(f"DROP TABLE {name}")
    return written
