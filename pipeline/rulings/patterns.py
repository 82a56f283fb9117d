"""Recognise patterns of misruling in a season: what each wrong ruling reads like."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

from pipeline.config import RunConfig
from pipeline.rules.compile import RuleBook, league_book, rule_book
from pipeline.rules.misbeliefs import Misbelief, misbeliefs, recognise
from pipeline.rules.model import RULING_FIELDS
from pipeline.rules.vocabulary import facts
from pipeline.store import StepResult, Store
from pipeline.store.database import named_sql

_TEXT = {
    "pattern_id": "VARCHAR",
    "precedence": "BIGINT",
    "kind": "VARCHAR",
    "topic": "VARCHAR",
    "title": "VARCHAR",
    "says": "VARCHAR",
    "true_where": "VARCHAR",
    "codes": "VARCHAR",
    "rule_refs": "VARCHAR",
    "confidence": "VARCHAR",
    "source": "VARCHAR",
}


def _references(misbelief: Misbelief) -> str | None:
    """The rules that say otherwise, as `nfhs 7-3-2; obr 6.03(a)(1)`; None where the call's own rules do."""
    if misbelief.kind == "code":
        return None
    return "; ".join(f"{code} {text}" for code, text in misbelief.reference.items())


def _text_rows() -> list[tuple[object, ...]]:
    return [
        (
            one.id, place, one.kind, one.topic, one.title, one.says, one.true_where, ", ".join(one.reference),
            _references(one), one.confidence, one.source,
        )
        for place, one in enumerate(misbeliefs().values(), 1)
    ]  # fmt: skip


def _replace(store: Store, table: str, columns: dict[str, str], rows: Sequence[tuple[object, ...]]) -> None:
    declared = ", ".join(f"{name} {kind}" for name, kind in columns.items())
    store.run(f"CREATE OR REPLACE TABLE {table} ({declared})")
    if rows:
        listed = ", ".join(f"unnest(?::{kind}[])" for kind in columns.values())
        store.run(f"INSERT INTO {table} SELECT {listed}", [list(column) for column in zip(*rows, strict=True)])


def _spans(book: RuleBook) -> list[tuple[object, ...]]:
    """The first day of each span of days on which no rule of any code changed: other codes are looked at too."""
    return [(day,) for day in sorted({regime.first_day or dt.date.min for regime in book.regimes})]


def _fact_columns(store: Store) -> list[str]:
    """The deciding facts that calls carry; what a league settles for itself is settled in the rule book."""
    found = store.rows(
        "SELECT column_name FROM information_schema.columns WHERE table_schema = 'facts' AND table_name = 'fct_call'"
    )
    columns = {name for (name,) in found}
    return [name for name in facts() if name in columns]


def _recognised(store: Store, book: RuleBook, names: list[str]) -> list[tuple[object, ...]]:
    """One row for each distinct misruled case and pattern: case, pattern, place among the case's patterns."""
    rows: list[tuple[object, ...]] = []
    keys = ", ".join(["case_id", "rule_code", "first_day", *names, *(f"ruled_{name}" for name in RULING_FIELDS)])
    for case_id, code, day, *cells in store.rows(f"SELECT {keys} FROM misruled_case ORDER BY case_id"):
        known = dict(zip(names, cells[: len(names)], strict=True))
        ruled = dict(zip(RULING_FIELDS, cells[len(names) :], strict=True))
        found = recognise(book, code, day, known, ruled)
        rows += [(case_id, one.id, place) for place, one in enumerate(found, 1)]
    return rows


def recognise_season(config: RunConfig | None, store: Store) -> StepResult:
    """Make `rulings.pattern` and `rulings.pattern_text`.

    `rulings.pattern` has call_id, pattern_id and place (1: the first in order of precedence) for each call with a
    part that its rulings exclude. Calls that scoring leaves undecided (edge pitches) are among them: what counts
    as wrong is decided there. Calls alike in code, span of days, facts and ruling are recognised once. Points that
    a league settles are as the policy has them; without a configuration, as the rules' own words.
    """
    book = rule_book() if config is None else league_book(config.policy.rule_options)
    names = _fact_columns(store)
    keys = ["rule_code", "first_day", *names, *(f"ruled_{name}" for name in RULING_FIELDS)]
    text_of = ", ".join(f"CAST(f.{name} AS VARCHAR) AS {name}" for name in names)
    ruled_of = ", ".join(f"f.ruled_{name}" for name in RULING_FIELDS)
    same = " AND ".join(f"m.{name} IS NOT DISTINCT FROM c.{name}" for name in keys)
    with store.transaction():
        _replace(store, "rulings.pattern_text", _TEXT, _text_rows())
        _replace(store, "rulings.pattern_span", {"first_day": "DATE"}, _spans(book))
        wrong = named_sql(__package__, "misruled")
        store.run(
            "CREATE OR REPLACE TEMP TABLE misruled AS "
            f"SELECT w.call_id, w.rule_code, w.first_day, {text_of}, {ruled_of} "
            f"FROM ({wrong}) AS w JOIN facts.fct_call AS f USING (call_id)"
        )
        listed = ", ".join(keys)
        store.run(
            f"CREATE OR REPLACE TEMP TABLE misruled_case AS SELECT row_number() OVER (ORDER BY {listed}) AS case_id, * "
            f"FROM (SELECT DISTINCT {listed} FROM misruled)"
        )
        columns = {"case_id": "BIGINT", "pattern_id": "VARCHAR", "place": "BIGINT"}
        _replace(store, "rulings.pattern_case", columns, _recognised(store, book, names))
        store.run(
            "CREATE OR REPLACE TABLE rulings.pattern AS SELECT m.call_id, p.pattern_id, p.place "
            f"FROM misruled AS m JOIN misruled_case AS c ON {same} "
            "JOIN rulings.pattern_case AS p USING (case_id) ORDER BY m.call_id, p.place"
        )
        rows_in = int(store.value("SELECT count(*) FROM misruled"))
        calls = int(store.value("SELECT count(DISTINCT call_id) FROM rulings.pattern"))
        for name in ("misruled", "misruled_case", "rulings.pattern_case", "rulings.pattern_span"):
            store.run(f"DROP TABLE {name}")
    return StepResult("patterns", rows_in, calls, notes={"recognised": calls, "patterns": len(misbeliefs())})
