"""Lay the words of the rule catalogue beside the rulings, for the `pub_rule…` tables and their neighbours."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any

from pipeline.publish.decision_text import decision_rows, feed_rows
from pipeline.publish.measure_text import dimension_rows, option_rows
from pipeline.publish.rule_words import COUNTS, condition_lines, given_words, plain, ruling_words, value_words
from pipeline.rules.elsewhere import elsewhere
from pipeline.rules.model import CODES, CONFIDENCE, Rule
from pipeline.rules.reading import rules
from pipeline.store import Store

Row = Sequence[Any]

_TABLES: Mapping[str, str] = {
    "rule_text": (
        "rule_id VARCHAR, topic VARCHAR, title VARCHAR, says VARCHAR, codes VARCHAR, reference_nfhs VARCHAR, "
        "reference_obr VARCHAR, reference_ncaa VARCHAR, confidence VARCHAR, decision VARCHAR, outcome VARCHAR, "
        "brings VARCHAR, count_effect VARCHAR, condition VARCHAR, yields_to VARCHAR, comes_before VARCHAR, "
        "sets_aside VARCHAR"
    ),
    "rule_code_text": (
        "rule_id VARCHAR, code VARCHAR, reference VARCHAR, confidence VARCHAR, valid_from DATE, valid_until DATE, "
        "note VARCHAR, instead_rule_ids VARCHAR, instead_outcome VARCHAR"
    ),
    "rule_condition_text": "rule_id VARCHAR, line_no BIGINT, depth BIGINT, words VARCHAR",
    "rule_case_text": (
        "rule_id VARCHAR, case_no BIGINT, name VARCHAR, code VARCHAR, day DATE, options VARCHAR, given VARCHAR, "
        "state VARCHAR, ruling VARCHAR, rule_state VARCHAR, source VARCHAR"
    ),
    "decision_text": (
        "decision VARCHAR, place BIGINT, question VARCHAR, outcomes VARCHAR, asked VARCHAR, asked_words VARCHAR, "
        "otherwise VARCHAR, rules_nfhs BIGINT, rules_obr BIGINT, rules_ncaa BIGINT"
    ),
    "decision_feed_text": "decision VARCHAR, feeds VARCHAR, in_asked BOOLEAN, rules BIGINT",
    "dimension_text": (
        "dimension VARCHAR, place BIGINT, topic VARCHAR, title VARCHAR, unit VARCHAR, value_nfhs DOUBLE, "
        "value_obr DOUBLE, value_ncaa DOUBLE, confidence_nfhs VARCHAR, confidence_obr VARCHAR, "
        "confidence_ncaa VARCHAR, reference VARCHAR"
    ),
    "rule_option_text": (
        "option_id VARCHAR, title VARCHAR, codes VARCHAR, choices VARCHAR, default_choice VARCHAR, "
        "in_force VARCHAR, settled_by VARCHAR, reference VARCHAR, confidence VARCHAR, note VARCHAR, "
        "rule_ids VARCHAR, topics VARCHAR"
    ),
}
"""The temporary tables, each a list of columns with their types."""


def make_rule_text(store: Store, chosen: Mapping[str, str]) -> None:
    """Make the temporary tables that hold the catalogue in words; `chosen` are the options that the policy settles.

    They are `rule_text`, `rule_code_text`, `rule_condition_text`, `rule_case_text`, `decision_text`,
    `decision_feed_text`, `dimension_text` and `rule_option_text`.
    """
    catalogue = sorted(rules().items())
    ordered = [rule for _, rule in catalogue]
    _fill(store, "rule_text", (_rule_row(rule, ordered) for rule in ordered))
    _fill(store, "rule_code_text", (row for rule in ordered for row in _code_rows(rule)))
    _fill(store, "rule_condition_text", (row for rule in ordered for row in _condition_rows(rule)))
    _fill(store, "rule_case_text", (row for rule in ordered for row in _case_rows(rule)))
    _fill(store, "decision_text", decision_rows(ordered))
    _fill(store, "decision_feed_text", feed_rows(ordered))
    _fill(store, "dimension_text", dimension_rows())
    _fill(store, "rule_option_text", option_rows(ordered, chosen))


def drop_rule_text(store: Store) -> None:
    """Drop what `make_rule_text` made."""
    for name in _TABLES:
        store.run(f"DROP TABLE {name}")


def _fill(store: Store, name: str, rows: Iterable[Row]) -> None:
    columns = _TABLES[name]
    store.run(f"CREATE OR REPLACE TEMP TABLE {name} ({columns})")
    kinds = [column.split()[1] for column in columns.split(", ")]
    lists = [list(values) for values in zip(*rows, strict=True)]
    if lists:
        # All lists are unnested side by side, so a row is written by one statement for the whole table.
        unnested = ", ".join(f"unnest(?::{kind}[])" for kind in kinds)
        store.run(f"INSERT INTO {name} SELECT {unnested}", lists)


def _rule_row(rule: Rule, ordered: Sequence[Rule]) -> Row:
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
        rule.decision,
        plain(rule.then),
        ruling_words(rule.ruling) or None,
        COUNTS.get(rule.count, plain(rule.count)) if rule.count else None,
        rule.when_text,
        ";".join(rule.yields_to) or None,
        ";".join(other.id for other in ordered if rule.id in other.yields_to) or None,
        ";".join(rule.sets_aside) or None,
    )


def _code_rows(rule: Rule) -> Iterator[Row]:
    for code in CODES:
        entry = rule.codes.get(code)
        if entry is not None:
            own = (entry.reference or None, entry.confidence, entry.valid_from, entry.valid_until, entry.note)
            yield (rule.id, code, *own, None, None)
        else:
            there = elsewhere()[rule.id, code]
            outcome = plain(there.outcome) if there.outcome else None
            yield (rule.id, code, None, None, None, None, None, ";".join(there.rule_ids) or None, outcome)


def _condition_rows(rule: Rule) -> Iterator[Row]:
    for number, (depth, words) in enumerate(condition_lines(rule.when), 1):
        yield (rule.id, number, depth, words)


def _case_rows(rule: Rule) -> Iterator[Row]:
    for number, case in enumerate(rule.cases, 1):
        options = "; ".join(value_words(f"option_{name}", value) for name, value in case.options.items())
        yield (
            rule.id,
            number,
            case.name,
            case.code,
            case.day,
            options or None,
            given_words(case.given) or None,
            case.then.get("state"),
            ruling_words(case.then) or None,
            case.then.get("rule"),
            case.source,
        )
