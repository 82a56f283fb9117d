"""Compile checks to SQL: one statement per table that lists every violation, at any size."""

from __future__ import annotations

from collections.abc import Callable, Iterable

from pipeline.checks.contracts import Check
from pipeline.checks.quoting import identifier, listed, literal


def violations_sql(checks: Iterable[Check], relation: str) -> str:
    """Return a SELECT of (table_name, row_id, check_id) over `relation`, one row per row and check it fails.

    Parameters
    ----------
    checks
        Checks of one table, at least one, of any kind but `exact_copy` (`copies_sql` lists those).
    relation
        The rows looked at, as a quoted name; it has `row_id` and the declared columns.
    """
    return "\nUNION ALL\n".join(violation_sql(check, relation) for check in checks)


def violation_sql(check: Check, relation: str) -> str:
    """Return the SELECT of the violations of one check."""
    return (
        f"SELECT {literal(check.table)} AS table_name, row_id, {literal(check.id)} AS check_id "
        f"FROM {_BY_KIND[check.kind](check, relation)}"
    )


def copies_sql(check: Check, key: tuple[str, ...], relation: str) -> str:
    """Return a SELECT of (row_id, first_id): each row that equals an earlier one in all declared columns.

    Copies share their key, so that only rows whose key stands twice are compared in full.
    """
    every = ", ".join(identifier(name) for name in check.columns)
    rows = same_key_sql(check, key, relation)
    return f"""
        WITH compared AS (
            SELECT row_id, min(row_id) OVER (PARTITION BY {every}) AS first_id FROM ({rows})
        )
        SELECT row_id, first_id FROM compared WHERE row_id <> first_id
    """


def same_key_sql(check: Check, key: tuple[str, ...], relation: str) -> str:
    """Return a SELECT of the rows whose key stands more than once, and of few others; `check` is of exact copies."""
    some = ", ".join(identifier(name) for name in key or check.columns)
    # Numbers of 64 bits are counted faster than texts; that two keys have one number costs a look and changes nothing.
    doubled = f"SELECT hash({some}) FROM {relation} GROUP BY 1 HAVING count(*) > 1"
    return f"SELECT * FROM {relation} WHERE hash({some}) IN ({doubled})"


def rule_sql(check: Check) -> str:
    """Return the condition of a row rule, TRUE where it cannot be decided."""
    return f"coalesce(({check.args['sql']}), TRUE)"


def _where(condition: Callable[[Check, str], str]) -> Callable[[Check, str], str]:
    return lambda check, relation: f"{relation} WHERE {condition(check, identifier(check.columns[0]))}"


def _not_null(_: Check, column: str) -> str:
    return f"{column} IS NULL"


def _in_set(check: Check, column: str) -> str:
    allowed, separator = listed(check.args["values"]), check.args["separator"]
    if separator is None:
        return f"{column} NOT IN {allowed}"
    parts = f"string_split({column}, {literal(separator)})"
    return f"len(list_filter({parts}, lambda part: part NOT IN {allowed})) > 0"


def _range(check: Check, column: str) -> str:
    outside = [
        f"{column} {sign} {literal(check.args[bound])}"
        for sign, bound in (("<", "minimum"), (">", "maximum"))
        if check.args[bound] is not None
    ]
    return " OR ".join(outside)


def _regex(check: Check, column: str) -> str:
    return f"NOT regexp_full_match({column}, {literal(check.args['pattern'])})"


def _foreign_key(check: Check, column: str) -> str:
    target = identifier(check.args["target"])
    known = f"SELECT {target} FROM checked.{identifier(check.args['table'])} WHERE {target} IS NOT NULL"
    return f"{column} IS NOT NULL AND {column} NOT IN ({known})"


def _greater_than(check: Check, first: str) -> str:
    sign = ">=" if check.args["or_equal"] else ">"
    return f"NOT ({first} {sign} {identifier(check.columns[1])})"


def _conditional(check: Check, first: str) -> str:
    return f"{first} = {literal(check.args['value'])} AND {identifier(check.columns[1])} IS NULL"


def _row_rule(check: Check, _: str) -> str:
    return f"NOT {rule_sql(check)}"


def _unique(check: Check, relation: str) -> str:
    columns = ", ".join(identifier(name) for name in check.columns)
    filled = " AND ".join(f"{identifier(name)} IS NOT NULL" for name in check.columns)
    doubled = f"SELECT hash({columns}) FROM {relation} WHERE {filled} GROUP BY 1 HAVING count(*) > 1"
    counted = f"SELECT row_id, count(*) OVER (PARTITION BY {columns}) AS times"
    return f"({counted} FROM {relation} WHERE {filled} AND hash({columns}) IN ({doubled})) WHERE times > 1"


_OF_ROW: dict[str, Callable[[Check, str], str]] = {
    "not_null": _not_null,
    "in_set": _in_set,
    "range": _range,
    "regex": _regex,
    "greater_than": _greater_than,
    "conditional": _conditional,
    "row_rule": _row_rule,
}

_BY_KIND: dict[str, Callable[[Check, str], str]] = {
    **{kind: _where(condition) for kind, condition in _OF_ROW.items()},
    "unique": _unique,
    "foreign_key": _where(_foreign_key),
}
