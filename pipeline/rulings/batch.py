"""Rule all cases of a table in DuckDB.

The decision diagrams are laid out as one lookup list for each fact: from a place in the diagram and the value of
that fact to the next place. A row walks all facts in one SELECT. Rows that lack a fact on their way are gathered
by what they do have, ruled once for each pattern by the same diagrams, and joined back.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass

from pipeline.config import RunConfig
from pipeline.rules.answer import CaseRuling, count_after, refs, rule_case, says
from pipeline.rules.compile import RuleBook, rule_book
from pipeline.rules.model import CODES, RULING_FIELDS, Answer
from pipeline.rules.vocabulary import recorded_facts
from pipeline.store import StepResult, Store

MISSING = 0
"""The place where a walk ends that lacks a fact."""

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


@dataclass(frozen=True)
class Layout:
    """The diagrams as lists: `steps[level][place * (values + 1) + code]` is the next place.

    `code` is 0 for a missing fact and otherwise the number of the value, from 1. `ends` maps the last place to
    its regime's answer; `starts` maps a regime (by position) to its first place.
    """

    starts: tuple[int, ...]
    steps: tuple[tuple[int, ...], ...]
    ends: dict[int, int]


def lay_out(book: RuleBook) -> Layout:
    """Number the nodes level by level; place 0 is always `MISSING`."""
    forest = book.forest
    frontier: list[int] = list(dict.fromkeys(regime.root for regime in book.regimes))
    place = {node: i for i, node in enumerate(frontier, 1)}
    starts = tuple(place[regime.root] for regime in book.regimes)
    steps = []
    for level, variable in enumerate(forest.variables):
        following: dict[int, int] = {}
        table = [MISSING] * (len(variable.values) + 1)
        for node in frontier:
            if forest.levels[node] == level:
                table.append(MISSING)
                targets: Sequence[int] = forest.branches[node]
            else:
                table.append(following.setdefault(node, len(following) + 1))
                targets = (node,) * len(variable.values)
            table += [following.setdefault(target, len(following) + 1) for target in targets]
        steps.append(tuple(table))
        frontier = list(following)
    return Layout(starts, tuple(steps), dict(enumerate(frontier, 1)))


def _code_sql(name: str, values: Sequence[str]) -> str:
    listed = " ".join(f"WHEN '{value}' THEN {number}" for number, value in enumerate(values, 1))
    return f"CASE CAST({name} AS VARCHAR) {listed} ELSE 0 END"


def walk_sql(book: RuleBook, source: str, only: str | None) -> str:
    """Return the SELECT that gives `call_id`, `regime` and `place` (the end reached, or 0) of each row.

    `only` names the rule code to use for every row; None takes the row's own. The lists are bound parameters
    `$step_0`, `$step_1`, …, and `$starts`.
    """
    spans = []
    for position, regime in reversed(list(enumerate(book.regimes))):
        since = f" AND game_on >= DATE '{regime.first_day.isoformat()}'" if regime.first_day else ""
        spans.append(f"WHEN {'rule_code' if only is None else repr(only)} = '{regime.code}'{since} THEN {position}")
    inner = f"SELECT call_id, CASE {' '.join(spans)} END AS regime, * EXCLUDE (call_id) FROM {source}"
    place = "list_extract($starts, regime + 1)"
    for level, variable in enumerate(book.forest.variables):
        width = len(variable.values) + 1
        # A point that a league settles is no column: settled, the diagrams do not ask it; open, nobody recorded it.
        code = _code_sql(variable.name, variable.values) if variable.name in recorded_facts() else "0"
        place = f"list_extract($step_{level}, {place} * {width} + {code} + 1)"
    return f"SELECT call_id, regime, {place} AS place FROM ({inner})"


def _leaf_rows(book: RuleBook, layout: Layout) -> list[tuple[object, ...]]:
    """One row for each regime and end: what the answer says, apart from the count after it."""
    rows: list[tuple[object, ...]] = []
    place_of = {node: place for place, node in layout.ends.items()}
    for position, regime in enumerate(book.regimes):
        for node in sorted(book.forest.reachable(regime.root)):
            answer = book.forest.answers[node]
            if not isinstance(answer, Answer):
                continue
            state = "open" if answer.state == "not_covered" else answer.state
            settled = answer.state == "settled"
            at_bat = count_after(answer, 0, 0) != ("", "")
            more = count_after(answer, 0, 0) if at_bat else ("", "")
            rows.append(
                (
                    position,
                    place_of[node],
                    state,
                    *answer.ruling,
                    str(answer.outs_added) if settled else "",
                    int(more[0]) if at_bat else None,
                    int(more[1]) if at_bat else None,
                    "",
                    "; ".join(refs(book, answer.rule_ids, regime.code)),
                    ";".join(answer.rule_ids),
                    says(book, answer.rule_ids),
                    book.confidence(answer, regime.code),
                )
            )
    return rows


def _insert(store: Store, table: str, rows: list[tuple[object, ...]], kinds: Sequence[str]) -> None:
    if rows:
        select = ", ".join(f"unnest(?::{kind}[])" for kind in kinds)
        store.run(f"INSERT INTO {table} SELECT {select}", [[row[i] for row in rows] for i in range(len(kinds))])


def _make_leaves(store: Store, book: RuleBook, layout: Layout) -> None:
    kinds = [
        "INTEGER",
        "INTEGER",
        "VARCHAR",
        *["VARCHAR"] * 7,
        "VARCHAR",
        "INTEGER",
        "INTEGER",
        *["VARCHAR"] * 5,
    ]
    names = [
        "regime",
        "place",
        "state",
        *RULING_FIELDS,
        "outs_added",
        "more_balls",
        "more_strikes",
        "needs",
        "rule_refs",
        "rule_ids",
        "because",
        "confidence",
    ]
    store.run(f"CREATE OR REPLACE TEMP TABLE leaf ({', '.join(f'{n} {k}' for n, k in zip(names, kinds, strict=True))})")
    _insert(store, "leaf", _leaf_rows(book, layout), kinds)


def ruling_row(ruling: CaseRuling) -> tuple[str, ...]:
    """The ruling as text cells in the order of COLUMNS."""
    return (
        ruling.state, *(ruling.ruling[name] for name in RULING_FIELDS), ruling.outs_added, ruling.balls_after,
        ruling.strikes_after, ";".join(ruling.needs), "; ".join(ruling.rule_refs), ";".join(ruling.rule_ids),
        ruling.because, ruling.confidence,
    )  # fmt: skip


def _rule_patterns(store: Store, book: RuleBook, source: str) -> int:
    """Rule the rows that lack a fact, once for each distinct pattern of facts; return the number of patterns."""
    names = list(recorded_facts())
    listed = ", ".join(f"CAST({name} AS VARCHAR) AS {name}" for name in names)
    store.run(
        f"CREATE OR REPLACE TEMP TABLE gap AS SELECT call_id, regime, {listed} "
        f"FROM walked JOIN {source} USING (call_id) WHERE place = {MISSING}"
    )
    keys = ", ".join(["regime", *names])
    store.run(
        f"CREATE OR REPLACE TEMP TABLE pattern AS SELECT row_number() OVER (ORDER BY {keys}) AS pattern_id, * "
        f"FROM (SELECT DISTINCT {keys} FROM gap)"
    )
    kinds = ["BIGINT", *["VARCHAR"] * len(COLUMNS)]
    store.run(
        "CREATE OR REPLACE TEMP TABLE pattern_ruling "
        f"(pattern_id BIGINT, {', '.join(f'{name} VARCHAR' for name in COLUMNS)})"
    )
    rows: list[tuple[object, ...]] = []
    for pattern_id, position, *values in store.rows(f"SELECT pattern_id, {keys} FROM pattern ORDER BY pattern_id"):
        ruling = rule_case(book, book.regimes[position], dict(zip(names, values, strict=True)))
        rows.append((pattern_id, *ruling_row(ruling)))
    _insert(store, "pattern_ruling", rows, kinds)
    return len(rows)


def rule_table(
    store: Store, source: str, target: str, code: str | None = None, book: RuleBook | None = None
) -> int:
    """Make table `target` with the ruling of each row of `source`; return its row count.

    `source` has `call_id`, `game_on`, `rule_code` (unless `code` is given) and the deciding facts. `book` has the
    rules as a league plays them; None takes the rules' own words.
    """
    book = book or rule_book()
    layout = lay_out(book)
    _make_leaves(store, book, layout)
    bound = {f"step_{level}": list(table) for level, table in enumerate(layout.steps)}
    bound["starts"] = list(layout.starts)
    store.run(f"CREATE OR REPLACE TEMP TABLE walked AS {walk_sql(book, source, code)}", bound)
    _rule_patterns(store, book, source)
    same = " AND ".join(f"gap.{name} IS NOT DISTINCT FROM pattern.{name}" for name in ("regime", *recorded_facts()))
    # `least` passes over NULL, so a count that is unknown or over is told apart first.
    settled_columns = ", ".join(
        {
            "balls_after": "coalesce(CAST(balls + more_balls AS VARCHAR), '')",
            "strikes_after": "CASE WHEN strikes + more_strikes IS NULL THEN '' "
            "ELSE CAST(least(2, strikes + more_strikes) AS VARCHAR) END",
        }.get(name, name)
        + f" AS {name}"
        for name in COLUMNS
    )
    store.run(
        f"CREATE OR REPLACE TABLE {target} AS "
        f"SELECT call_id, {settled_columns} FROM walked JOIN {source} AS source USING (call_id) "
        "JOIN leaf USING (regime, place) "
        f"UNION ALL SELECT gap.call_id, {', '.join('pattern_ruling.' + name for name in COLUMNS)} "
        f"FROM gap JOIN pattern ON {same} JOIN pattern_ruling USING (pattern_id)"
    )
    for name in ("walked", "leaf", "gap", "pattern", "pattern_ruling"):
        store.run(f"DROP TABLE {name}")
    return int(store.value(f"SELECT count(*) FROM {target}"))


def rule_season(config: RunConfig, store: Store) -> StepResult:
    """Make `rulings.ruling` (every call under its own code) and `rulings.other_code` (where another code differs)."""
    with store.transaction():
        rows_in = int(store.value("SELECT count(*) FROM facts.fct_call"))
        ruled = rule_table(store, "facts.fct_call", "rulings.ruling")
        parts = ", ".join(RULING_FIELDS)
        store.run(
            "CREATE OR REPLACE TABLE rulings.other_code AS "
            f"SELECT call_id, '' AS rule_code, {parts} FROM rulings.ruling LIMIT 0"
        )
        for code in CODES:
            rule_table(store, "facts.fct_call", "rulings.under_code", code)
            differs = " OR ".join(f"other.{name} IS DISTINCT FROM own.{name}" for name in RULING_FIELDS)
            store.run(
                "INSERT INTO rulings.other_code "
                f"SELECT call_id, $code, {', '.join('other.' + name for name in RULING_FIELDS)} "
                "FROM rulings.under_code AS other JOIN rulings.ruling AS own USING (call_id) "
                "JOIN facts.fct_call USING (call_id) "
                f"WHERE fct_call.rule_code <> $code AND other.state = 'settled' AND ({differs}) ORDER BY call_id",
                {"code": code},
            )
        store.run("DROP TABLE rulings.under_code")
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
