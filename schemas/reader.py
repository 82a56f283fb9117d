"""Read the Table Schema documents in `schemas/tables/` into typed objects.

A document is a Table Schema (Frictionless Data) in YAML form, with these additions of ours, which the
standard allows and ignores: `unit`, `blank` (what an empty cell means), `blankValue` (the value it is read
as), `aliases` (other headings that are accepted), `severity`, `rowRules` (conditions over one row), `group`
(which part of a sheet a column belongs to). Unknown keys are refused, so that a misspelt constraint cannot
be lost.

Three keys save declaring a thing twice. `factsOf: plate_calls`, in the place of a field, stands for every
fact column of that table. `columnsOf: plate_calls` allows in a column the names of that table's fact and
ruling columns. `valueFor: {table: plate_calls, column: column}` says that a cell must fit the column named
beside it, and becomes a row rule.

A foreign key is looked at only where the table it points to was handed in: most tables of a season may be
absent.
"""

from __future__ import annotations

import functools
from collections.abc import Mapping
from dataclasses import dataclass, replace
from importlib.resources import files
from typing import Any, Literal

import yaml

from pipeline.errors import ContractError, Where

FieldType = Literal["string", "integer", "number", "date", "boolean", "datetime"]
Severity = Literal["reject", "warn"]

NUMBER_PATTERN = r"[+-]?([0-9]+([.][0-9]*)?|[.][0-9]+)"
"""How a number may be written: no exponent, no `inf`, no `0x10`, which a cast alone would take."""

DUCKDB_TYPES: dict[str, str] = {
    "string": "VARCHAR",
    "integer": "BIGINT",
    "number": "DOUBLE",
    "date": "DATE",
    "boolean": "BOOLEAN",
    "datetime": "TIMESTAMP",
}


@dataclass(frozen=True)
class Field:
    """One column: what it is called, what it may hold, and what a blank means.

    `unit` is a symbol (`in`, `mph`, `year`, …) or None for a count or a text. `blank_value` is the value
    that a blank is read as, or None where a blank stays unknown. `enum` lists the allowed values;
    `list_separator` is set where a cell may hold several of them. `group` is the part of the sheet it
    belongs to. `borrowed_from` names the table whose declaration this is (`factsOf`): such columns are blank
    together where the row has no case, and then none of their blanks is read as a value.
    """

    name: str
    title: str
    type: FieldType
    description: str
    unit: str | None
    required: bool
    unique: bool
    enum: tuple[str, ...]
    list_separator: str | None
    minimum: float | str | None
    maximum: float | str | None
    pattern: str | None
    blank: str | None
    blank_value: str | None
    aliases: tuple[str, ...]
    example: str | None
    severity: Severity
    group: str | None = None
    borrowed_from: str | None = None

    @property
    def duckdb_type(self) -> str:
        """The DuckDB type that holds this column once typed."""
        return DUCKDB_TYPES[self.type]


@dataclass(frozen=True)
class ForeignKey:
    """`fields` of this table must name a row of `table`, matched on `target_fields`."""

    fields: tuple[str, ...]
    table: str
    target_fields: tuple[str, ...]
    severity: Severity


@dataclass(frozen=True)
class RowRule:
    """A condition that one row must meet, in DuckDB SQL over the table's columns (unknown passes).

    `fits` names the table whose declaration decides, where the first of `columns` names the column and the second
    holds the value (`valueFor`).
    """

    name: str
    sql: str
    message: str
    remedy: str
    columns: tuple[str, ...]
    severity: Severity
    fits: str | None = None


@dataclass(frozen=True)
class Table:
    """One table of a layer (`season`: what people hand in; `published`: what the reports read)."""

    name: str
    layer: str
    title: str
    description: str
    fields: tuple[Field, ...]
    primary_key: tuple[str, ...]
    foreign_keys: tuple[ForeignKey, ...]
    row_rules: tuple[RowRule, ...]

    def field(self, name: str) -> Field:
        """Return the column called `name`; KeyError when there is none."""
        for field in self.fields:
            if field.name == name:
                return field
        raise KeyError(name)

    @property
    def key_column(self) -> str:
        """The first column of the primary key; the first column where there is no key."""
        return (self.primary_key or self.field_names)[0]

    @property
    def field_names(self) -> tuple[str, ...]:
        """The column names in declared order."""
        return tuple(field.name for field in self.fields)


_TABLE_KEYS = {
    "name",
    "title",
    "description",
    "primaryKey",
    "foreignKeys",
    "missingValues",
    "fields",
    "rowRules",
}
_FIELD_KEYS = {
    "name", "title", "type", "description", "unit", "constraints", "blank", "blankValue", "aliases",
    "example", "severity", "listSeparator", "group", "columnsOf", "valueFor",
}  # fmt: skip
FACT_GROUPS = ("situation", "pitch", "bat", "batter")
"""The groups of `plate_calls` whose columns are facts of the case."""

RULING_GROUP = "ruling"
"""The group of `plate_calls` whose columns are parts of the umpire's ruling."""

_CONSTRAINT_KEYS = {"required", "unique", "enum", "minimum", "maximum", "pattern"}


# The parser in C where PyYAML was built with it: reading the rules takes a tenth of the time.
class _StrictLoader(getattr(yaml, "CSafeLoader", yaml.SafeLoader)):  # type: ignore[misc]
    """A YAML loader that refuses doubled keys and keys that are not text (such as `on`, `no`)."""


def _strict_mapping(loader: _StrictLoader, node: yaml.MappingNode) -> dict[str, Any]:
    mapping: dict[str, Any] = {}
    for key_node, value_node in node.value:
        key = loader.construct_object(key_node, deep=True)
        if not isinstance(key, str):
            raise yaml.constructor.ConstructorError(
                None, None, f"key {key!r} is not text", key_node.start_mark
            )
        if key in mapping:
            raise yaml.constructor.ConstructorError(
                None, None, f"key {key!r} stands twice", key_node.start_mark
            )
        mapping[key] = loader.construct_object(value_node, deep=True)
    return mapping


_StrictLoader.add_constructor(yaml.resolver.BaseResolver.DEFAULT_MAPPING_TAG, _strict_mapping)


def load_yaml(text: str, where: str) -> Any:
    """Parse YAML strictly: doubled or non-text keys raise ContractError naming file and line."""
    try:
        return yaml.load(text, Loader=_StrictLoader)  # noqa: S506 - a SafeLoader made stricter
    except yaml.MarkedYAMLError as error:
        line = error.problem_mark.line + 1 if error.problem_mark else None
        raise ContractError(f"this file is not valid: {error.problem}", where=Where(where, line)) from error


def _refuse_unknown(given: Mapping[str, Any], allowed: set[str], where: str, what: str) -> None:
    unknown = sorted(set(given) - allowed)
    if unknown:
        raise ContractError(
            f"{what} has unknown keys: {', '.join(unknown)}",
            where=Where(where),
            hint=f"allowed are: {', '.join(sorted(allowed))}",
        )


def _read_field(raw: Mapping[str, Any], where: str) -> Field:
    _refuse_unknown(raw, _FIELD_KEYS, where, f"field {raw.get('name')!r}")
    constraints = raw.get("constraints", {})
    _refuse_unknown(constraints, _CONSTRAINT_KEYS, where, f"the constraints of {raw.get('name')!r}")
    if raw.get("type", "string") not in DUCKDB_TYPES:
        raise ContractError(f"field {raw['name']!r} has an unknown type {raw['type']!r}", where=Where(where))
    required = bool(constraints.get("required", False))
    if not required and "blank" not in raw:
        raise ContractError(
            f"field {raw['name']!r} may be blank but does not say what that means", where=Where(where)
        )
    return Field(
        name=raw["name"],
        title=raw["title"],
        type=raw.get("type", "string"),
        description=raw.get("description", ""),
        unit=raw.get("unit"),
        required=required,
        unique=bool(constraints.get("unique", False)),
        enum=tuple(str(value) for value in constraints.get("enum", ())),
        list_separator=raw.get("listSeparator"),
        minimum=constraints.get("minimum"),
        maximum=constraints.get("maximum"),
        pattern=constraints.get("pattern"),
        blank=raw.get("blank"),
        blank_value=raw.get("blankValue"),
        aliases=tuple(raw.get("aliases", ())),
        example=None if raw.get("example") is None else str(raw["example"]),
        severity=raw.get("severity", "reject"),
        group=raw.get("group"),
    )


def _fields_in(layer: str, source: str, groups: tuple[str, ...]) -> tuple[Field, ...]:
    return tuple(field for field in table(source, layer).fields if field.group in groups)


def _read_fields(raw_fields: list[dict[str, Any]], layer: str, where: str) -> tuple[Field, ...]:
    fields: list[Field] = []
    for raw in raw_fields:
        if "factsOf" in raw:
            _refuse_unknown(raw, {"factsOf"}, where, "the line that borrows facts")
            source = raw["factsOf"]
            fields += [
                replace(field, borrowed_from=source) for field in _fields_in(layer, source, FACT_GROUPS)
            ]
            continue
        field = _read_field(raw, where)
        if "columnsOf" in raw:
            allowed = _fields_in(layer, raw["columnsOf"], (*FACT_GROUPS, RULING_GROUP))
            field = replace(field, enum=tuple(item.name for item in allowed))
        fields.append(field)
    headings = [heading.casefold() for field in fields for heading in (field.name, *field.aliases)]
    doubled = sorted({heading for heading in headings if headings.count(heading) > 1})
    if doubled:
        raise ContractError(f"headings stand for two columns: {', '.join(doubled)}", where=Where(where))
    return tuple(fields)


def _fits_sql(field: Field, value: str) -> str | None:
    """Return the DuckDB condition that the text in column `value` fits `field`; None where anything does."""
    if field.enum:
        listed = ", ".join(f"'{item}'" for item in field.enum)
        if field.list_separator:
            parts = f"string_split({value}, '{field.list_separator}')"
            return f"len(list_filter({parts}, lambda part: trim(part) NOT IN ({listed}))) = 0"
        return f"{value} IN ({listed})"
    if field.type in ("integer", "number"):
        shape = "[+-]?[0-9]+" if field.type == "integer" else NUMBER_PATTERN
        bounds = [f"regexp_full_match({value}, '{shape}')"]
        if field.minimum is not None:
            bounds.append(f"TRY_CAST({value} AS DOUBLE) >= {field.minimum}")
        if field.maximum is not None:
            bounds.append(f"TRY_CAST({value} AS DOUBLE) <= {field.maximum}")
        return " AND ".join(bounds)
    return None


def _value_rule(raw: Mapping[str, Any], layer: str) -> RowRule:
    """Make the row rule of a `valueFor` column: its text must fit the column that the row names."""
    names, value = raw["valueFor"]["column"], f'"{raw["name"]}"'
    branches = [
        f"WHEN '{field.name}' THEN {condition}"
        for field in _fields_in(layer, raw["valueFor"]["table"], (*FACT_GROUPS, RULING_GROUP))
        if (condition := _fits_sql(field, value))
    ]
    return RowRule(
        name=f"{raw['name']}_fits_{names}",
        sql=f'CASE "{names}" {" ".join(branches)} ELSE TRUE END',
        message=f"the {raw['name']} is not one that the column named under {names} allows",
        remedy=f"write a {raw['name']} that the column allows (the data dictionary lists them)",
        columns=(names, raw["name"]),
        severity="reject",
        fits=raw["valueFor"]["table"],
    )


def _read_table(layer: str, file_name: str, text: str) -> Table:
    where = f"schemas/tables/{layer}/{file_name}"
    raw = load_yaml(text, where)
    _refuse_unknown(raw, _TABLE_KEYS, where, "the table")
    fields = _read_fields(raw["fields"], layer, where)
    primary = raw.get("primaryKey", [])
    foreign = tuple(
        ForeignKey(
            fields=tuple(item["fields"]),
            table=item["reference"]["resource"],
            target_fields=tuple(item["reference"]["fields"]),
            severity=item.get("severity", "reject"),
        )
        for item in raw.get("foreignKeys", ())
    )
    rules = tuple(
        RowRule(
            name=item["name"],
            sql=item["sql"],
            message=item["message"],
            remedy=item["remedy"],
            columns=tuple(item["columns"]),
            severity=item.get("severity", "reject"),
        )
        for item in raw.get("rowRules", ())
    )
    rules += tuple(_value_rule(item, layer) for item in raw["fields"] if "valueFor" in item)
    return Table(
        name=raw["name"],
        layer=layer,
        title=raw["title"],
        description=raw["description"],
        fields=fields,
        primary_key=tuple([primary] if isinstance(primary, str) else primary),
        foreign_keys=foreign,
        row_rules=rules,
    )


@functools.cache
def layer_tables(layer: str) -> tuple[Table, ...]:
    """Every table of a layer, sorted by name.

    Raises
    ------
    ContractError
        A document has an unknown key, a doubled column, or a blank without a meaning.
    """
    folder = files("schemas").joinpath("tables", layer)
    names = sorted(entry.name[: -len(".yaml")] for entry in folder.iterdir() if entry.name.endswith(".yaml"))
    return tuple(table(name, layer) for name in names)


def all_tables() -> tuple[Table, ...]:
    """Every declared table of every layer, by layer and name."""
    root = files("schemas").joinpath("tables")
    layers = sorted(
        entry.name for entry in root.iterdir() if entry.is_dir() and not entry.name.startswith("_")
    )
    return tuple(item for layer in layers for item in layer_tables(layer))


@functools.cache
def table(name: str, layer: str = "season") -> Table:
    """Return one declared table; KeyError when the layer has none of that name."""
    entry = files("schemas").joinpath("tables", layer, f"{name}.yaml")
    if not entry.is_file():
        raise KeyError(name)
    found = _read_table(layer, entry.name, entry.read_text(encoding="utf-8"))
    if found.name != name:
        raise ContractError(
            f"the file is called {name} but declares {found.name}", where=Where(f"{layer}/{entry.name}")
        )
    return found


def fact_columns() -> tuple[str, ...]:
    """Return the fact columns of `plate_calls` in declared order: what rulings are derived from."""
    return tuple(field.name for field in _fields_in("season", "plate_calls", FACT_GROUPS))


def ruled_columns() -> tuple[str, ...]:
    """Return the ruling columns of `plate_calls` in declared order: what the umpire called."""
    return tuple(field.name for field in _fields_in("season", "plate_calls", (RULING_GROUP,)))
