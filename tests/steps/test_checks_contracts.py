"""Checks follow from the declarations alone, and names and values in them are never read as SQL."""

from __future__ import annotations

import datetime as dt
import re
from dataclasses import replace

import duckdb
import pytest

from pipeline.checks.contracts import applicable, checks_of, in_dependency_order
from pipeline.checks.patterns import python_pattern
from pipeline.checks.quoting import identifier, literal
from pipeline.errors import ContractError
from schemas import ForeignKey, RowRule, Table, layer_tables, table


def ids(name: str, kind: str) -> set[str]:
    return {check.id for check in checks_of(table(name)) if check.kind == kind}


def test_every_constraint_key_and_row_rule_of_every_table_gives_exactly_one_check() -> None:
    for declared in layer_tables("season"):
        expected = 1 + len(declared.foreign_keys) + len(declared.row_rules)  # 1: no exact copies
        expected += sum(field.required for field in declared.fields)
        expected += sum(bool(field.enum) for field in declared.fields)
        expected += sum(field.minimum is not None or field.maximum is not None for field in declared.fields)
        expected += sum(field.pattern is not None for field in declared.fields)
        keys = {declared.primary_key} | {(field.name,) for field in declared.fields if field.unique}
        expected += len(keys - {()})
        assert len(checks_of(declared)) == expected, declared.name


def test_check_ids_are_unique_over_the_whole_season() -> None:
    every = [check.id for declared in layer_tables("season") for check in checks_of(declared)]
    assert len(every) == len(set(every))


def test_the_bounds_of_the_count_come_from_the_declaration() -> None:
    by_id = {check.id: check for check in checks_of(table("plate_calls"))}
    balls = by_id["plate_calls.balls.range"]
    # The contract: balls 0 to 3, strikes 0 to 2, outs 0 to 2, before the pitch.
    assert (balls.args["minimum"], balls.args["maximum"], balls.severity) == (0, 3, "reject")
    assert by_id["plate_calls.strikes.range"].args["maximum"] == 2
    assert balls.title == "Balls: 0 to 3"
    assert balls.remedy == "write a value of 0 to 3, or leave it blank (not recorded)"
    assert by_id["plate_calls.miss_side.in_set"].args["separator"] == "+"


def test_a_column_that_only_warns_makes_a_check_that_only_warns() -> None:
    by_id = {check.id: check for check in checks_of(table("umpires"))}
    assert by_id["umpires.email.regex"].severity == "warn"
    assert by_id["umpires.name.not_null"].severity == "reject"


def test_one_column_against_another_is_recognised_and_computed_anew_by_the_second_engine() -> None:
    assert ids("plate_calls", "greater_than") == {"plate_calls.zone_has_height"}
    assert ids("ratings", "greater_than") == {"ratings.score_within_scale"}
    score = next(check for check in checks_of(table("ratings")) if check.kind == "greater_than")
    assert score.columns == ("scale_max", "score")  # score <= scale_max, the greater first
    assert score.args["or_equal"] is True


def test_rules_of_another_shape_stay_sql() -> None:
    assert "plate_calls.miss_side_once_each_way" in ids("plate_calls", "row_rule")
    assert "games.two_teams" in ids("games", "row_rule")
    # Texts are compared letter by letter in one engine and might not be in the other.
    assert "availability.until_after_from" in ids("availability", "row_rule")


def test_tables_come_after_those_they_point_to() -> None:
    names = [item.name for item in in_dependency_order(layer_tables("season"))]
    assert set(names) == {item.name for item in layer_tables("season")}
    for declared in layer_tables("season"):
        for key in declared.foreign_keys:
            assert names.index(key.table) < names.index(declared.name)


def pointing(name: str, to: str) -> Table:
    key = ForeignKey(("umpire_id",), to, ("umpire_id",), "reject")
    return replace(table("umpires"), name=name, foreign_keys=(key,))


def test_foreign_keys_in_a_circle_are_refused_by_name() -> None:
    with pytest.raises(ContractError, match="circle: a, b"):
        in_dependency_order([pointing("a", "b"), pointing("b", "a")])


def test_a_foreign_key_is_asked_for_only_where_its_table_was_handed_in() -> None:
    checks = checks_of(table("plate_calls"))
    asked = {c.columns[0] for c in applicable(checks, {"games", "plate_calls"}) if c.kind == "foreign_key"}
    assert asked == {"game_id"}
    assert len(applicable(checks, {"games", "evaluators", "umpires"})) == len(checks)


def broken_rule(sql: str) -> Table:
    return replace(table("umpires"), row_rules=(RowRule("wrong", sql, "m", "r", ("years",), "reject"),))


def test_a_row_rule_that_is_no_sql_is_refused_before_any_row_is_read() -> None:
    with pytest.raises(ContractError, match=r"row rule 'wrong' is not valid SQL"):
        checks_of(broken_rule("(years > 3"))


def test_a_row_rule_under_the_name_of_another_check_is_refused() -> None:
    rules = broken_rule("years > 3").row_rules
    with pytest.raises(ContractError, match=r"two checks are called umpires\.wrong"):
        checks_of(replace(table("umpires"), row_rules=rules + rules))


def test_a_pattern_on_a_column_that_is_no_text_is_refused() -> None:
    fields = tuple(
        replace(field, pattern="[0-9]+") if field.name == "years" else field for field in table("umpires").fields
    )
    with pytest.raises(ContractError, match="only a column of text can have a pattern"):
        checks_of(replace(table("umpires"), fields=fields))


@pytest.mark.parametrize("value", ["it's", "'; DROP TABLE x; --", "", "\\'", "é\n"])
def test_a_text_comes_back_from_sql_as_it_went_in(value: str) -> None:
    assert duckdb.connect().execute(f"SELECT {literal(value)}").fetchall() == [(value,)]


@pytest.mark.parametrize("value", [0, -3, 2.5, 1e-9, dt.date(2026, 3, 1)])
def test_a_number_or_a_date_comes_back_from_sql_as_it_went_in(value: float | dt.date) -> None:
    assert duckdb.connect().execute(f"SELECT {literal(value)}").fetchall()[0][0] == pytest.approx(value, abs=0)


@pytest.mark.parametrize("value", [True, None, dt.datetime(2026, 3, 1), [1]])
def test_a_value_that_is_neither_text_nor_number_nor_date_is_refused(value: object) -> None:
    with pytest.raises(ContractError):
        literal(value)  # type: ignore[arg-type]


def test_a_name_with_quotation_marks_stays_a_name() -> None:
    name = 'a"; DROP TABLE x; --'
    connection = duckdb.connect()
    connection.execute(f"CREATE TABLE t ({identifier(name)} INTEGER)")
    assert [row[0] for row in connection.execute("DESCRIBE t").fetchall()] == [name]


def declared_patterns() -> list[str]:
    return sorted({f.pattern for t in layer_tables("season") for f in t.fields if f.pattern is not None})


# Each blank of Unicode that one of the engines may take for \s, and digits and letters beyond ASCII.
ODD = [
    " ",
    "\t",
    "\n",
    "\x0b",
    "\x0c",
    "\r",
    "\x1c",
    "\x85",
    "\u00a0",
    "\u2003",
    "٣",
    "é",
    "@",
    ";",
    "=",
    ":",
]


@pytest.mark.parametrize("pattern", [*declared_patterns(), r"\s+", r"[\s]x", r"\d+", r"\w", r"a|b", r"a.b", r"[]]"])
def test_a_pattern_fits_the_same_texts_in_python_and_in_duckdb(pattern: str) -> None:
    whole = ["", "a", "a@b", "12:30", "9:05", "24:00", "a=b;c=d", "a = b ;", "b", "1", "a\nb", " x", "aa"]
    texts = whole + [text[:1] + odd + text[1:] for text in whole for odd in ODD] + [t + "\n" for t in whole]
    connection = duckdb.connect()
    by_duckdb = [
        row[0]
        for row in connection.execute(
            "SELECT regexp_full_match(text, ?) FROM (SELECT unnest(?::VARCHAR[]) AS text)", [pattern, texts]
        ).fetchall()
    ]
    compiled = re.compile(python_pattern(pattern))
    assert by_duckdb == [bool(compiled.search(text)) for text in texts]
    if pattern in declared_patterns():
        assert any(by_duckdb)


@pytest.mark.parametrize("pattern", [r"a\b", r"a$", r"[[:alpha:]]", r"\Sx", r"(a)\1", "a\\"])
def test_a_pattern_that_the_two_may_read_differently_is_refused(pattern: str) -> None:
    with pytest.raises(ContractError, match="may read differently"):
        python_pattern(pattern)
