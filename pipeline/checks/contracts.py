"""Make from the table declarations the list of checks that every row must pass.

Nothing is declared here: each check follows from a constraint, a key or a row rule in `schemas/tables/`. Two
compilers read the list, `violations` (SQL, which decides) and `expectations` (great-expectations, which must
come to the same rows).
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

from pipeline.errors import ContractError, Where
from schemas import Field, ForeignKey, RowRule, Table

Kind = Literal[
    "exact_copy",
    "not_null",
    "in_set",
    "range",
    "regex",
    "unique",
    "foreign_key",
    "greater_than",
    "conditional",
    "row_rule",
]


@dataclass(frozen=True)
class Check:
    """One condition on the rows of one table.

    A missing value passes every kind but `not_null`, and `conditional`, which asks for the value.

    `args` by kind: `in_set` values, separator (None where a cell holds one value); `range` minimum, maximum
    (None where open; dates as dates); `regex` pattern (the whole cell must fit); `foreign_key` table, target;
    `greater_than` or_equal (first column against second); `conditional` value (where the first column holds
    it, the second must be filled in); `row_rule` name, sql, message, fits (see `RowRule`);
    `exact_copy` numbers (its columns of that type); `unique`, `not_null` none.
    """

    id: str
    table: str
    kind: Kind
    columns: tuple[str, ...]
    severity: Literal["reject", "warn"]
    title: str
    remedy: str
    args: Mapping[str, Any] = field(default_factory=dict)

    @property
    def columns_text(self) -> str:
        """The columns as they are named to a reader."""
        return ", ".join(self.columns)


def checks_of(table: Table) -> tuple[Check, ...]:
    """Return every check of one table: copies first, then columns in declared order, keys, and row rules.

    Raises
    ------
    ContractError
        A constraint has no meaning for its column, or two checks have one id.
    """
    checks = [_exact_copy(table)]
    for column in table.fields:
        checks += _column_checks(table, column)
    checks += [_unique(table, columns) for columns in _keys(table)]
    checks += [_foreign_key(table, key) for key in table.foreign_keys]
    checks += [_row_rule(table, rule) for rule in table.row_rules]
    ids = [check.id for check in checks]
    doubled = sorted({name for name in ids if ids.count(name) > 1})
    if doubled:
        raise ContractError(f"two checks are called {', '.join(doubled)}", where=_where(table))
    return tuple(checks)


def in_dependency_order(tables: Iterable[Table]) -> tuple[Table, ...]:
    """Return tables so that each comes after those its foreign keys point to, by name where free.

    Raises
    ------
    ContractError
        The foreign keys run in a circle.
    """
    waiting = {table.name: table for table in sorted(tables, key=lambda table: table.name)}
    done: list[Table] = []
    while waiting:
        ready = [
            table
            for table in waiting.values()
            if not any(key.table in waiting and key.table != table.name for key in table.foreign_keys)
        ]
        if not ready:
            raise ContractError(f"the foreign keys of these tables run in a circle: {', '.join(waiting)}")
        done.append(ready[0])
        del waiting[ready[0].name]
    return tuple(done)


def applicable(checks: Iterable[Check], handed_in: set[str]) -> tuple[Check, ...]:
    """Return the checks that can be made: a foreign key only where the table it points to was handed in."""
    return tuple(check for check in checks if check.kind != "foreign_key" or check.args["table"] in handed_in)


def noun(table: Table) -> str:
    """Return what one row of a table is called, from the title of its key: `call`, `umpire`, `game`."""
    if len(table.primary_key) != 1:
        return "row"
    return table.field(table.primary_key[0]).title.removesuffix(" id").lower()


def bounds_text(minimum: object, maximum: object, unit: str | None = None) -> str:
    """Return a range as words: `0 to 3`, `20 to 110 mph`, `0 or more`."""
    after = f" {unit}" if unit else ""
    if minimum is not None and maximum is not None:
        return f"{minimum} to {maximum}{after}"
    return f"{minimum}{after} or more" if minimum is not None else f"{maximum}{after} or less"


def _where(table: Table, column: str | None = None) -> Where:
    return Where(f"schemas/tables/{table.layer}/{table.name}.yaml", column=column)


def _or_blank(column: Field) -> str:
    return "" if column.required else f", or leave it blank ({column.blank})"


def _exact_copy(table: Table) -> Check:
    return Check(
        id=f"{table.name}.exact_copy",
        table=table.name,
        kind="exact_copy",
        columns=table.field_names,
        severity="reject",
        title="No row is an exact copy of an earlier one",
        remedy="nothing is lost, the first one counts; take the copy out of the sheet",
        args={"numbers": tuple(column.name for column in table.fields if column.type == "number")},
    )


def _column_checks(table: Table, column: Field) -> list[Check]:
    found: list[Check] = []

    def add(kind: Kind, title: str, remedy: str, **args: Any) -> None:
        found.append(
            Check(
                id=f"{table.name}.{column.name}.{kind}",
                table=table.name,
                kind=kind,
                columns=(column.name,),
                severity=column.severity,
                title=f"{column.title}: {title}",
                remedy=remedy,
                args=args,
            )
        )

    if column.required:
        add("not_null", "filled in", f"fill it in, for example {column.example}")
    if column.enum:
        joined = f", joined by {column.list_separator}" if column.list_separator else ""
        add(
            "in_set",
            f"one of {', '.join(column.enum)}{joined}",
            f"write one of the allowed values{joined}{_or_blank(column)}",
            values=column.enum,
            separator=column.list_separator,
        )
    if column.minimum is not None or column.maximum is not None:
        minimum, maximum = _bound(table, column, column.minimum), _bound(table, column, column.maximum)
        text = bounds_text(minimum, maximum, column.unit)
        add("range", text, f"write a value of {text}{_or_blank(column)}", minimum=minimum, maximum=maximum)
    if column.pattern is not None:
        if column.type != "string":
            raise ContractError("only a column of text can have a pattern", where=_where(table, column.name))
        add(
            "regex",
            "in the form that is asked for",
            f"write it in the form of {column.example}{_or_blank(column)}",
            pattern=column.pattern,
        )
    return found


def _bound(table: Table, column: Field, value: float | str | None) -> float | dt.date | None:
    if value is None:
        return None
    if column.type == "date":
        return dt.date.fromisoformat(str(value))
    if column.type in ("integer", "number") and isinstance(value, int | float):
        return value
    raise ContractError(
        f"the bound {value!r} does not fit a column of type {column.type}", where=_where(table, column.name)
    )


def _keys(table: Table) -> list[tuple[str, ...]]:
    """Return the sets of columns whose values stand once only, the primary key first, each once."""
    keys = [table.primary_key] if table.primary_key else []
    return keys + [(c.name,) for c in table.fields if c.unique and (c.name,) not in keys]


def _unique(table: Table, columns: tuple[str, ...]) -> Check:
    titles = " and ".join(table.field(name).title for name in columns)
    return Check(
        id=f"{table.name}.{'+'.join(columns)}.unique",
        table=table.name,
        kind="unique",
        columns=columns,
        severity="reject",
        title=f"{titles}: once only",
        remedy="keep the right one and load again",
    )


def _foreign_key(table: Table, key: ForeignKey) -> Check:
    if len(key.fields) != 1 or len(key.target_fields) != 1:
        raise ContractError("a foreign key of several columns is not understood", where=_where(table))
    return Check(
        id=f"{table.name}.{key.fields[0]}.foreign_key",
        table=table.name,
        kind="foreign_key",
        columns=key.fields,
        severity=key.severity,
        title=f"{table.field(key.fields[0]).title}: known in the sheet {key.table}",
        remedy=f"add it to the sheet {key.table}, or mend the id",
        args={"table": key.table, "target": key.target_fields[0]},
    )


def _row_rule(table: Table, rule: RowRule) -> Check:
    kind, columns, args = _shape(table, rule)
    return Check(
        id=f"{table.name}.{rule.name}",
        table=table.name,
        kind=kind,
        columns=columns,
        severity=rule.severity,
        title=rule.name.replace("_", " ").capitalize(),
        remedy=rule.remedy,
        args={"name": rule.name, "sql": rule.sql, "message": rule.message, "fits": rule.fits, **args},
    )


def _shape(table: Table, rule: RowRule) -> tuple[Kind, tuple[str, ...], dict[str, Any]]:
    """Recognise the row rules that great-expectations can state by itself, so that it computes them anew.

    These are one column against another (`a > b`, `a >= b`, `a < b`, `a <= b`, numbers or dates), and
    `a <> 'x' OR b IS NOT NULL`. All others stay SQL.
    """
    import sqlglot
    from sqlglot import exp

    try:
        tree = sqlglot.parse_one(rule.sql, read="duckdb")
    except sqlglot.ParseError as error:
        raise ContractError(f"the row rule {rule.name!r} is not valid SQL: {error}", where=_where(table)) from error
    comparable = {c.name for c in table.fields if c.type in ("integer", "number", "date")}
    if isinstance(tree, exp.GT | exp.GTE | exp.LT | exp.LTE):
        names = [side.name for side in (tree.left, tree.right) if isinstance(side, exp.Column)]
        if len(names) == 2 and set(names) <= comparable:
            if isinstance(tree, exp.LT | exp.LTE):
                names.reverse()
            return "greater_than", tuple(names), {"or_equal": isinstance(tree, exp.GTE | exp.LTE)}
    if isinstance(tree, exp.Or) and isinstance(tree.left, exp.NEQ) and isinstance(tree.right, exp.Not):
        column, value, filled = tree.left.left, tree.left.right, tree.right.this
        if (
            isinstance(column, exp.Column)
            and isinstance(value, exp.Literal)
            and value.is_string
            and isinstance(filled, exp.Is)
            and isinstance(filled.this, exp.Column)
            and isinstance(filled.expression, exp.Null)
        ):
            return "conditional", (column.name, filled.this.name), {"value": value.this}
    return "row_rule", rule.columns, {}
