"""Turn conditions of the rule catalogue into SQL, from the parsed tree alone; no decision diagram takes part."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from pipeline.rules.expression import All, Condition, Membership, Not, Some


def quoted(name: str) -> str:
    """A column name as SQL writes it."""
    return '"' + name.replace('"', '""') + '"'


def literal(text: str) -> str:
    """A text as SQL writes it; where a column holds whole numbers, DuckDB reads the text as one."""
    return "'" + text.replace("'", "''") + "'"


def kind_of(values: Sequence[str]) -> str:
    """The column type for a list of values: a small whole number, or one of the values."""
    if all(value.isdigit() for value in values):
        return "UTINYINT"
    return f"ENUM({', '.join(literal(value) for value in values)})"


def condition_sql(condition: Condition | bool) -> str:
    """Return a condition as SQL over columns that have the names used in it; complete facts only.

    Each name is one column (`judgement.count` too). A condition that is already decided becomes TRUE or FALSE.
    """
    if isinstance(condition, bool):
        return "TRUE" if condition else "FALSE"
    if isinstance(condition, Membership):
        column = quoted(condition.name)
        if condition.operator in ("in", "not in"):
            listed = ", ".join(literal(value) for value in condition.values)
            return f"({column} {condition.operator.upper()} ({listed}))"
        return f"(CAST({column} AS INTEGER) {condition.operator} {int(condition.values[0])})"
    if isinstance(condition, Not):
        return f"(NOT {condition_sql(condition.part)})"
    joint = " AND " if isinstance(condition, All) else " OR "
    return f"({joint.join(condition_sql(part) for part in condition.parts)})"


def simplify(condition: Condition | bool, known: Mapping[str, str]) -> Condition | bool:
    """Return what is left of a condition once some names have a value; True or False where nothing is left."""
    if isinstance(condition, bool):
        return condition
    if isinstance(condition, Membership):
        return condition.holds(known[condition.name]) if condition.name in known else condition
    if isinstance(condition, Not):
        inner = simplify(condition.part, known)
        return not inner if isinstance(inner, bool) else Not(inner)
    settles = isinstance(condition, Some)
    left = []
    for part in condition.parts:
        made = simplify(part, known)
        if made is settles:
            return settles
        if not isinstance(made, bool):
            left.append(made)
    if not left:
        return not settles
    if len(left) == 1:
        return left[0]
    return Some(tuple(left)) if settles else All(tuple(left))


def holds(condition: Condition, values: Mapping[str, str]) -> bool:
    """Whether a condition is met by complete facts."""
    left = simplify(condition, values)
    if not isinstance(left, bool):
        raise KeyError(f"not every name of the condition has a value: {left}")
    return left
