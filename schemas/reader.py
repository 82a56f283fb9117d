"""Read the Table Schema documents in `schemas/tables/` into typed objects.

A document is a Table Schema (Frictionless Data) in YAML form, with these additions of ours, which the
standard allows and ignores: `unit`, `blank` (what an empty cell means), `blankValue` (the value it is read
as), `aliases` (other headings that are accepted), `severity`, `rowRules` (conditions over one row).
Unknown keys are refused, so that a misspelt constraint cannot be lost.
"""

from __future__ import annotations

import functools
from collections.abc import Mapping
from dataclasses import dataclass
from importlib.resources import files
from typing import Any, Literal

import yaml

from pipeline.errors import ContractError, Where

FieldType = Literal["string", "integer", "number", "date", "boolean", "datetime"]
Severity = Literal["reject", "warn"]

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
    `list_separator` is set where a cell may hold several of them.
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
    """A condition that one row must meet, in DuckDB SQL over the table's columns (unknown passes)."""

    name: str
    sql: str
    message: str
    remedy: str
    columns: tuple[str, ...]
    severity: Severity


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
    def field_names(self) -> tuple[str, ...]:
        """The column names in declared order."""
        return tuple(field.name for field in self.fields)


_TABLE_KEYS = {"name", "title", "description", "primaryKey", "foreignKeys", "missingValues", "fields", "rowRules"}
_FIELD_KEYS = {
    "name", "title", "type", "description", "unit", "constraints", "blank", "blankValue", "aliases",
    "example", "severity", "listSeparator",
}  # fmt: skip
_CONSTRAINT_KEYS = {"required", "unique", "enum", "minimum", "maximum", "pattern"}


class _StrictLoader(yaml.SafeLoader):
    """A YAML loader that refuses doubled keys and keys that are not text (`on`, `no` read as truth values)."""


def _strict_mapping(loader: _StrictLoader, node: yaml.MappingNode) -> dict[str, Any]:
    mapping: dict[str, Any] = {}
    for key_node, value_node in node.value:
        key = loader.construct_object(key_node, deep=True)  # type: ignore[no-untyped-call]
        if not isinstance(key, str):
            raise yaml.constructor.ConstructorError(None, None, f"key {key!r} is not text", key_node.start_mark)
        if key in mapping:
            raise yaml.constructor.ConstructorError(None, None, f"key {key!r} stands twice", key_node.start_mark)
        mapping[key] = loader.construct_object(value_node, deep=True)  # type: ignore[no-untyped-call]
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
        raise ContractError(f"field {raw['name']!r} may be blank but does not say what that means", where=Where(where))
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
    )


def _read_table(layer: str, file_name: str, text: str) -> Table:
    where = f"schemas/tables/{layer}/{file_name}"
    raw = load_yaml(text, where)
    _refuse_unknown(raw, _TABLE_KEYS, where, "the table")
    fields = tuple(_read_field(item, where) for item in raw["fields"])
    names = [field.name for field in fields]
    if len(set(names)) != len(names):
        raise ContractError("a column is declared twice", where=Where(where))
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
    found = [
        _read_table(layer, entry.name, entry.read_text(encoding="utf-8"))
        for entry in folder.iterdir()
        if entry.name.endswith(".yaml")
    ]
    return tuple(sorted(found, key=lambda item: item.name))


def all_tables() -> tuple[Table, ...]:
    """Every declared table of every layer, by layer and name."""
    root = files("schemas").joinpath("tables")
    layers = sorted(entry.name for entry in root.iterdir() if entry.is_dir() and not entry.name.startswith("_"))
    return tuple(item for layer in layers for item in layer_tables(layer))


def table(name: str, layer: str = "season") -> Table:
    """Return one declared table; KeyError when the layer has none of that name."""
    for item in layer_tables(layer):
        if item.name == name:
            return item
    raise KeyError(name)
