"""SQL and great-expectations, compiled from one declaration, name the same rows for every kind of check."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Iterator
from typing import Any, get_args

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from pipeline.checks import expectations
from pipeline.checks.contracts import Check, Kind, checks_of
from pipeline.checks.expectations import frame_sql, quiet_context, run_suite, suite, suite_record
from pipeline.checks.validation import Looked, validate
from pipeline.checks.violations import copies_sql, violations_sql
from pipeline.errors import DisagreementError
from pipeline.store import Store
from schemas import Field, ForeignKey, RowRule, Table


def column(name: str, kind: str = "string", **more: Any) -> Field:
    plain: dict[str, Any] = {
        "title": name, "description": "", "unit": None, "required": False, "unique": False, "enum": (),
        "list_separator": None, "minimum": None, "maximum": None, "pattern": None, "blank": "not recorded",
        "blank_value": None, "aliases": (), "example": "x", "severity": "reject",
    }  # fmt: skip
    return Field(name=name, type=kind, **{**plain, **more})


def rule(name: str, sql: str, *columns: str) -> RowRule:
    return RowRule(name, sql, "it is not so", "mend it", columns, "reject")


TABLE = Table(
    name="things",
    layer="season",
    title="Things",
    description="Every kind of check on one small table, under names that need quotation marks.",
    fields=(
        column("thing_id", required=True, unique=True),
        column("part"),
        column("number", "integer"),
        column("the colour", enum=("red", "blue", "it's")),
        column("sides", enum=("low", "high", "a.b"), list_separator="+"),
        column("height", "number", minimum=6, maximum=40.5),
        column("least", "number", minimum=0),
        column("day", "date", minimum="2026-03-01", maximum="2026-06-30"),
        column("mail", pattern=r"[^@\s]+@[^@\s]+"),
        column("owner"),
        column("low", "number"),
        column("high", "number"),
    ),
    primary_key=("part", "number"),
    foreign_keys=(ForeignKey(("owner",), "owners", ("owner_id",), "reject"),),
    row_rules=(
        rule("higher", "high > low", "low", "high"),
        rule("not_above", "low <= high", "low", "high"),
        rule("red_has_a_mail", "\"the colour\" <> 'red' OR mail IS NOT NULL", "the colour", "mail"),
        rule("both_or_neither", "(low IS NULL) = (high IS NULL)", "low", "high"),
        rule("may_be_unknown", "low <> 7", "low"),
    ),
)
EVERY = checks_of(TABLE)
CHECKS = tuple(check for check in EVERY if check.kind != "exact_copy")
COPIES = next(check for check in EVERY if check.kind == "exact_copy")
DATES = frozenset({"day"})
KNOWN_OWNERS = ("O1", "O'2")


def some(*values: Any) -> st.SearchStrategy[Any]:
    return st.sampled_from([None, *values])


ROWS = st.fixed_dictionaries(
    {
        "thing_id": some("a", "b", "c", "d", "é"),
        "part": some("p", "q"),
        "number": some(1, 2),
        "the colour": some("red", "blue", "it's", "RED", "red ", ""),
        "sides": some("low", "low+high", "a.b", "axb", "low+", "low + high", "low\n", ""),
        "height": some(6.0, 5.999, 40.5, 40.6, -1.0),
        "least": some(0.0, -0.0, -0.5, 3.0),
        "day": some(dt.date(2026, 2, 28), dt.date(2026, 3, 1), dt.date(2026, 6, 30), dt.date(2026, 7, 1)),
        # No-break space, vertical tab and em space are blanks in one of the two pattern languages only.
        "mail": some("a@b", "a@b\n", "a b@c", "a\u00a0b@c", "a\u2003@c", "a\x0b@c", "@", "é@ü", "nan", ""),
        "owner": some("O1", "O'2", "O3", ""),
        "low": some(6.0, 7.0, 8.0),
        "high": some(6.0, 7.0, 8.0),
    }
)


@pytest.fixture(scope="module")
def context() -> Iterator[Any]:
    with quiet_context() as made:
        yield made


@pytest.fixture
def store() -> Iterator[Store]:
    with Store() as made:
        yield made


def fill(store: Store, rows: list[dict[str, Any]]) -> None:
    columns = ", ".join(f'"{field.name}" {field.duckdb_type}' for field in TABLE.fields)
    store.run(f"CREATE OR REPLACE TABLE staged.things (row_id BIGINT, {columns})")
    for row_id, row in enumerate(rows, 1):
        store.run(
            f"INSERT INTO staged.things VALUES (?{', ?' * len(TABLE.fields)})",
            [row_id, *(row[name] for name in TABLE.field_names)],
        )
    store.run("CREATE OR REPLACE TABLE checked.owners AS SELECT unnest(?::VARCHAR[]) AS owner_id", [KNOWN_OWNERS])


def by_sql(store: Store, checks: tuple[Check, ...] = CHECKS) -> dict[str, set[int]]:
    found: dict[str, set[int]] = defaultdict(set)
    if COPIES in checks:
        # Of equal rows the first stands twice too.
        pairs = store.rows(copies_sql(COPIES, TABLE.primary_key, "staged.things"))
        found |= {COPIES.id: {row_id for pair in pairs for row_id in pair}} if pairs else {}
    plain = tuple(check for check in checks if check.kind != "exact_copy")
    for _, row_id, check_id in store.rows(violations_sql(plain, "staged.things")) if plain else ():
        assert row_id not in found[check_id]
        found[check_id].add(row_id)
    return dict(found)


def by_expectations(context: Any, store: Store, checks: tuple[Check, ...] = CHECKS) -> dict[str, set[int]]:
    frame = store.frame(frame_sql(checks, "staged.things", DATES))
    known = {"owner_in_owners": list(KNOWN_OWNERS)}
    outcomes = run_suite(context, suite("things", checks, DATES), frame.copy(), known)
    assert {outcome.check_id for outcome in outcomes} == {check.id for check in checks}
    # Asked for a yes or no first, each check comes to the same rows.
    assert run_suite(context, suite("things", checks, DATES), frame, known, suspected=()) == outcomes
    return {outcome.check_id: set(outcome.failing) for outcome in outcomes if outcome.failing}


BLANK: dict[str, Any] = dict.fromkeys(TABLE.field_names)


def test_every_kind_of_check_is_on_the_small_table() -> None:
    assert {check.kind for check in EVERY} == set(get_args(Kind))
    assert {check.kind for check in CHECKS} == {
        "not_null", "in_set", "range", "regex", "unique", "foreign_key", "greater_than", "conditional",
        "row_rule",
    }  # fmt: skip


def test_both_find_the_rows_that_were_worked_out_by_hand(context: Any, store: Store) -> None:
    fill(
        store,
        [
            {
                **BLANK,
                "thing_id": "a",
                "the colour": "red",
                "mail": "a@b",
                "sides": "low+high",
                "owner": "O'2",
            },
            {**BLANK, "thing_id": "a", "the colour": "RED", "height": 5.999, "part": "p", "number": 1},
            {**BLANK, "thing_id": None, "sides": "low+", "height": 40.6, "part": "p", "number": 1},
            {**BLANK, "thing_id": "d", "the colour": "red", "mail": None, "day": dt.date(2026, 7, 1)},
            {**BLANK, "thing_id": "e", "low": 7.0, "high": 7.0, "owner": "O3", "mail": "a@b\n"},
            {**BLANK, "thing_id": "f", "low": 8.0, "high": 7.0, "part": "p", "number": None},
            {**BLANK, "thing_id": "g", "low": 8.0, "mail": "a\u00a0b@c", "least": -0.5},
        ],
    )
    expected = {
        "things.thing_id.not_null": {3},
        "things.thing_id.unique": {1, 2},
        "things.part+number.unique": {2, 3},  # a blank part of a key makes no copy: rows 1, 4, 6
        "things.the colour.in_set": {2},
        "things.sides.in_set": {3},
        "things.height.range": {2, 3},
        "things.least.range": {7},
        "things.day.range": {4},
        "things.mail.regex": {5},  # the no-break space of row 7 is no blank in the declared pattern's language
        "things.owner.foreign_key": {5},
        "things.higher": {5, 6},
        "things.not_above": {6},
        "things.red_has_a_mail": {4},
        "things.both_or_neither": {7},
        "things.may_be_unknown": {5},
    }
    assert by_sql(store) == expected
    assert by_expectations(context, store) == expected


@st.composite
def seasons(draw: st.DrawFn) -> list[Any]:
    """Rows with any defects, some of them copies of others."""
    rows = draw(st.lists(ROWS, min_size=1, max_size=8))
    return rows + draw(st.lists(st.sampled_from(rows), max_size=2))


def test_both_find_the_same_rows_whatever_the_defects_and_every_kind_of_check_fails(context: Any, store: Store) -> None:
    failed: set[str] = set()

    @settings(max_examples=40, deadline=None, derandomize=True, suppress_health_check=list(HealthCheck))
    @given(rows=seasons())
    def they_agree(rows: list[Any]) -> None:
        fill(store, rows)
        found = by_sql(store, EVERY)
        assert found == by_expectations(context, store, EVERY)
        failed.update(found)

    they_agree()
    # No check agreed only because nothing ever failed it.
    assert failed == {check.id for check in EVERY}


def test_a_row_that_differs_by_a_minus_zero_is_a_copy_for_both(context: Any, store: Store) -> None:
    fill(store, [{**BLANK, "part": "p", "least": 0.0}, {**BLANK, "part": "p", "least": -0.0}, {**BLANK, "part": "q"}])
    assert by_sql(store, (COPIES,)) == by_expectations(context, store, (COPIES,)) == {COPIES.id: {1, 2}}


def test_of_copies_the_first_is_no_failure_once_both_agree(store: Store) -> None:
    row = {**BLANK, "thing_id": "a"}
    fill(store, [row, {**row, "thing_id": "b"}, row, row])
    store.run("CREATE TABLE things_once AS SELECT * FROM staged.things WHERE row_id <= 2")
    store.run("CREATE TABLE meta.violation (table_name VARCHAR, row_id BIGINT, check_id VARCHAR)")
    store.run("INSERT INTO meta.violation SELECT 'things', unnest([3, 4]), ?", [COPIES.id])
    item = Looked(TABLE, "things_once", 4, 2, EVERY)
    done = validate(store, [item])
    assert done.outcomes[COPIES.id].failing == {3, 4}
    store.run("DELETE FROM meta.violation WHERE row_id = 3")
    with pytest.raises(DisagreementError, match=r"things\.exact_copy: SQL finds 2 rows, great-expectations 3"):
        validate(store, [item])


def test_a_copy_is_every_later_row_that_is_equal_in_all_columns(store: Store) -> None:
    row = {**BLANK, "thing_id": "a", "part": "p", "number": 1}
    fill(store, [row, {**row, "height": 7.0}, row, {**row, "number": 2}, row])
    check = next(check for check in checks_of(TABLE) if check.kind == "exact_copy")
    found = sorted(store.rows(copies_sql(check, TABLE.primary_key, "staged.things")))
    assert found == [(3, 1), (5, 1)]
    assert sorted(store.rows(copies_sql(check, (), "staged.things"))) == found


def looked(store: Store) -> list[Looked]:
    rows = store.value("SELECT count(*) FROM staged.things")
    return [Looked(TABLE, "staged.things", rows, rows, checks_of(TABLE))]


def violations(store: Store) -> None:
    store.run(f"CREATE OR REPLACE TABLE meta.violation AS {violations_sql(CHECKS, 'staged.things')}")


def test_one_row_more_or_less_on_either_side_stops_the_run(store: Store) -> None:
    fill(store, [{**BLANK, "thing_id": "a", "height": 1.0}, {**BLANK, "thing_id": "b"}])
    violations(store)
    assert validate(store, looked(store)).outcomes["things.height.range"].failing == {1}
    store.run("UPDATE meta.violation SET row_id = 2 WHERE check_id = 'things.height.range'")
    with pytest.raises(DisagreementError, match=r"things\.height\.range: SQL finds 1 rows.*row_id 1, 2"):
        validate(store, looked(store))


def test_an_expectation_that_cannot_be_computed_stops_the_run_and_is_no_finding(context: Any, store: Store) -> None:
    fill(store, [{**BLANK, "thing_id": "a", "mail": "not a number"}])
    broken = Check("things.broken", "things", "range", ("mail",), "reject", "", "", {"minimum": 1, "maximum": 2})
    with pytest.raises(DisagreementError, match=r"could not compute things\.broken"):
        by_expectations(context, store, (broken,))


def test_above_the_limit_a_sample_and_every_violating_row_are_validated(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    fill(store, [{**BLANK, "thing_id": "a", "part": "p", "number": 1}])
    store.run("INSERT INTO staged.things (row_id, thing_id) SELECT i, 'x' || i FROM range(2, 3001) AS r(i)")
    store.run("UPDATE staged.things SET height = 99 WHERE row_id % 500 = 0")
    store.run("UPDATE staged.things SET thing_id = 'x7', part = 'z' WHERE row_id = 2900")
    violations(store)
    monkeypatch.setattr("pipeline.checks.validation.WHOLE_ROWS", 1000)
    done = validate(store, looked(store))
    assert done.scopes == {"things": "sample"}
    assert done.outcomes["things.height.range"].failing == {500, 1000, 1500, 2000, 2500, 3000}
    assert done.outcomes["things.thing_id.unique"].failing == {7, 2900}
    seen = done.results["things"]["rows_validated"]
    assert 20 <= seen <= 60  # a hundredth of 3000, and at most eight rows more
    assert validate(store, looked(store)).results == done.results


def test_a_saved_suite_is_the_same_each_time_and_names_every_check() -> None:
    first, second = (suite_record(suite("things", CHECKS, DATES)) for _ in range(2))
    assert first == second
    assert [item["meta"]["check_id"] for item in first["expectations"]] == [check.id for check in CHECKS]
    assert not any("id" in item for item in first["expectations"])


def test_nothing_is_said_on_the_terminal_or_in_the_log(
    context: Any, store: Store, capfd: pytest.CaptureFixture[str], caplog: pytest.LogCaptureFixture
) -> None:
    fill(store, [{**BLANK, "thing_id": "a", "height": 1.0}])
    by_expectations(context, store)
    assert capfd.readouterr() == ("", "")
    assert [record for record in caplog.records if record.levelname != "DEBUG"] == []


def test_a_failing_row_that_comes_without_its_id_stops_the_run(
    context: Any, store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    fill(store, [{**BLANK, "thing_id": "a", "height": 1.0}, {**BLANK, "thing_id": "b", "height": 2.0}])
    frame = store.frame(frame_sql(CHECKS, "staged.things", DATES)).assign(row_id=1)
    monkeypatch.setattr(expectations, "plain_text", lambda _: frame)
    with pytest.raises(DisagreementError, match=r"counts 2 rows that fail things\.height\.range but names 1"):
        by_expectations(context, store)
