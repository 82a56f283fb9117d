"""Rule all cases of a table in DuckDB.

Many rows share their deciding facts. So each row's facts become a few whole numbers (`keys`), the distinct ones are
walked through the decision diagrams (`walk`) and ruled (`distinct`), and the rulings are joined back to the rows.
"""

from __future__ import annotations

import datetime as dt

from pipeline.config import RunConfig
from pipeline.errors import DisagreementError
from pipeline.rules.compile import RuleBook, league_book, rule_book
from pipeline.rules.model import CODES, RULING_FIELDS
from pipeline.rules.vocabulary import recorded_facts
from pipeline.rulings.distinct import COLUMNS, DistinctRulings, insert, ruling_row
from pipeline.rulings.keys import FactKeys
from pipeline.rulings.walk import code_sql, lay_out, regime_sql, walk_sql
from pipeline.store import StepResult, Store

__all__ = ["COLUMNS", "lay_out", "rule_season", "rule_table", "ruling_row", "today", "walk_sql"]


def _changes(book: RuleBook) -> list[dt.date]:
    """The days on which the rules of some code change."""
    return sorted({regime.first_day for regime in book.regimes if regime.first_day})


def _key_rows(store: Store, book: RuleBook, keys: FactKeys, source: str, only: str | None) -> None:
    """Make `keyed` (each row's `call_id`, `regime`, `era` and keys) and `kind` (its distinct rows without the id).

    `era` is the number of changes of any code's rules up to the day of the game.

    Raises
    ------
    DisagreementError
        A row has a value that is none of its fact's.
    """
    era = " + ".join(["0", *(f"CAST(coalesce(game_on >= DATE '{day}', FALSE) AS INTEGER)" for day in _changes(book))])
    columns = ", ".join(keys.columns)
    store.run(
        f"CREATE OR REPLACE TEMP TABLE keyed AS SELECT call_id, {regime_sql(book, only)} AS regime, {era} AS era, "
        f"{keys.sql} FROM {source}"
    )
    store.run(
        f"CREATE OR REPLACE TEMP TABLE kind AS SELECT DISTINCT regime, era, {columns} FROM keyed "
        "WHERE regime IS NOT NULL"
    )
    if store.value(f"SELECT count(*) FROM kind WHERE {' OR '.join(f'{name} IS NULL' for name in keys.columns)}"):
        for name, fact in keys.facts.items():
            odd = store.rows(f"SELECT call_id, {name} FROM {source} WHERE ({code_sql(fact)}) IS NULL LIMIT 1")
            for call_id, value in odd:
                raise DisagreementError(
                    f"call {call_id}: {value!r} is no value of {name}",
                    hint=f"write one of {', '.join(fact.values)} in the sheet or the amendment that says so",
                )


def _write(store: Store, keys: FactKeys, target: str) -> int:
    """Make `target` from the rows in `keyed` and the rulings of their facts; return its row count."""
    store.run(
        f"CREATE OR REPLACE TABLE {target} AS SELECT call_id, {', '.join(COLUMNS)} FROM keyed "
        f"JOIN ruled USING (regime, {', '.join(keys.columns)}) JOIN answer USING (answer_id)"
    )
    return int(store.value(f"SELECT count(*) FROM {target}"))


def _drop(store: Store, *names: str) -> None:
    for name in names:
        store.run(f"DROP TABLE {name}")


def rule_table(
    store: Store, source: str, target: str, code: str | None = None, book: RuleBook | None = None
) -> int:
    """Make table `target` with the ruling of each row of `source`; return its row count.

    `source` has `call_id`, `game_on`, `rule_code` (unless `code` is given) and the recorded deciding facts. `book`
    has the rules as a league plays them; None takes the rules' own words.

    Raises
    ------
    DisagreementError
        A row has a value that is none of its fact's.
    """
    book, keys = book or rule_book(), FactKeys(recorded_facts())
    _key_rows(store, book, keys, source, code)
    store.run(f"CREATE OR REPLACE TEMP TABLE wanted AS SELECT DISTINCT regime, {', '.join(keys.columns)} FROM kind")
    DistinctRulings(store, book, keys).make()
    rows = _write(store, keys, target)
    _drop(store, "keyed", "kind", "wanted", "ruled", "answer")
    return rows


def _make_regimes(store: Store, book: RuleBook) -> None:
    """Make `regime_in`: for each era and code the regime in force."""
    store.run(
        "CREATE OR REPLACE TEMP TABLE regime_in (era INTEGER, code_no INTEGER, rule_code VARCHAR, regime INTEGER)"
    )
    rows: list[tuple[object, ...]] = [
        (era, code_no, code, book.regimes.index(book.regime(code, day)))
        for era, day in enumerate([dt.date.min, *_changes(book)])
        for code_no, code in enumerate(CODES)
    ]
    insert(store, "regime_in", rows, ("INTEGER", "INTEGER", "VARCHAR", "INTEGER"))


def _write_other_codes(store: Store, keys: FactKeys) -> None:
    """Make `rulings.other_code`: where another code settles a call otherwise than its own code rules it."""
    columns = ", ".join(keys.columns)
    differs = " OR ".join(f"said.{name} IS DISTINCT FROM own_said.{name}" for name in RULING_FIELDS)
    # First which sets of facts another code rules otherwise; only the rows that have them are then looked at.
    store.run(
        f"CREATE OR REPLACE TEMP TABLE otherwise AS SELECT kind.*, other.code_no, ruled.answer_id FROM kind "
        f"JOIN ruled AS own USING (regime, {columns}) JOIN answer AS own_said ON own_said.answer_id = own.answer_id "
        "JOIN regime_in AS home ON home.era = kind.era AND home.regime = kind.regime "
        "JOIN regime_in AS other ON other.era = kind.era AND other.code_no <> home.code_no "
        "JOIN ruled ON ruled.regime = other.regime AND "
        f"{' AND '.join(f'ruled.{name} = kind.{name}' for name in keys.columns)} "
        "JOIN answer AS said ON said.answer_id = ruled.answer_id "
        f"WHERE said.state = 'settled' AND ({differs})"
    )
    store.run(
        "CREATE OR REPLACE TABLE rulings.other_code AS "
        f"SELECT call_id, rule_code, {', '.join(RULING_FIELDS)} FROM keyed "
        f"JOIN otherwise USING (regime, era, {columns}) JOIN answer USING (answer_id) "
        "JOIN (SELECT DISTINCT code_no, rule_code FROM regime_in) USING (code_no) ORDER BY code_no, call_id"
    )
    _drop(store, "otherwise")


def rule_season(config: RunConfig | None, store: Store) -> StepResult:
    """Make `rulings.ruling` (every call under its own code) and `rulings.other_code` (where another code differs).

    The points that a league settles are taken from the policy; without a `config`, from the rules' own words.

    Raises
    ------
    DisagreementError
        A call has a value that is none of its fact's.
    """
    book = rule_book() if config is None else league_book(config.policy.rule_options)
    keys = FactKeys(recorded_facts())
    with store.transaction():
        rows_in = int(store.value("SELECT count(*) FROM facts.fct_call"))
        _key_rows(store, book, keys, "facts.fct_call", None)
        _make_regimes(store, book)
        columns = ", ".join(keys.columns)
        store.run(
            f"CREATE OR REPLACE TEMP TABLE wanted AS SELECT DISTINCT regime_in.regime, {columns} "
            "FROM kind JOIN regime_in USING (era)"
        )
        DistinctRulings(store, book, keys).make()
        ruled = _write(store, keys, "rulings.ruling")
        _write_other_codes(store, keys)
        _drop(store, "keyed", "kind", "wanted", "ruled", "answer", "regime_in")
        counts = dict(store.rows("SELECT state, count(*) FROM rulings.ruling GROUP BY state ORDER BY state"))
    return StepResult(
        "rulings",
        rows_in,
        ruled,
        notes={state: counts.get(state, 0) for state in ("settled", "open", "contradiction")},
    )


def today() -> dt.date:
    """The day whose rules hold for a case without a date."""
    return dt.date.today()
