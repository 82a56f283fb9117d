"""A plain table as the numbers of a model: codes of the effects, columns of the covariates, and how factors lie."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pipeline.errors import InputError, Where
from pipeline.scoring import table_input
from pipeline.scoring.connection import Unlinked, nestings, unlinked
from pipeline.scoring.design import Codes, Floats
from pipeline.scoring.table_input import PlainTable


@dataclass(frozen=True)
class Prepared:
    """A table as numbers."""

    table: PlainTable
    dropped: int
    codes: dict[str, Codes]
    levels: dict[str, list[str]]
    fixed: Floats
    fixed_names: list[str]
    nested: list[tuple[str, str]]
    unlinked: list[Unlinked]

    @property
    def sizes(self) -> dict[str, int]:
        """Number of levels of each effect."""
        return {name: len(levels) for name, levels in self.levels.items()}

    @property
    def blocks(self) -> dict[str, str] | None:
        """The nested pair that leaves the smallest border, if it beats the largest factor alone."""
        sizes = self.sizes
        best = max(self.nested, key=lambda pair: sizes[pair[0]] + sizes[pair[1]], default=None)
        if best is None or sizes[best[0]] + sizes[best[1]] < max(sizes.values()):
            return None
        return {best[0]: best[1]}


def prepare(
    table: PlainTable,
    response: str,
    effects: Sequence[str],
    trials: str | None,
    covariates: Sequence[str],
    *,
    drop_blank: bool,
) -> Prepared:
    """Return the rows that can be used, as numbers; see `fit_table.fit_table` for what is asked."""
    used = [response, *([trials] if trials else []), *table_input.effect_columns(table, effects), *covariates]
    table, dropped = table.without_blanks(used, drop=drop_blank)
    if trials is not None:
        # A row of no trials says nothing; it is no fault either.
        some = table.numbers(trials) != 0
        if not some.all():
            kept = {name: column[some].reset_index(drop=True) for name, column in table.columns.items()}
            table, dropped = PlainTable(kept, table.lines[some], table.source), dropped + int((~some).sum())
        if table.lines.size == 0:
            raise InputError("every row has 0 trials", where=Where(table.source, None, trials))
    codes: dict[str, Codes] = {}
    levels: dict[str, list[str]] = {}
    for effect in effects:
        codes[effect], levels[effect] = table_input.effect_codes(table, effect)
    fixed, names = table_input.fixed_columns(table, covariates)
    sizes = {name: len(found) for name, found in levels.items()}
    nested = nestings(codes)
    return Prepared(table, dropped, codes, levels, fixed, names, nested, unlinked(codes, sizes, nested))


def confounded(prepared: Prepared, response_has_luck: bool) -> str | None:
    """Return in words why two parts of the model cannot be told apart, if so.

    `response_has_luck`: a row has a spread of its own that is known (a count of several trials).
    """
    for inner, outer in prepared.nested:
        if (outer, inner) in prepared.nested:
            return f"{inner} and {outer} divide the rows in the same way"
    rows = prepared.table.lines.size
    for name, size in prepared.sizes.items():
        if size == rows and size > 1 and not response_has_luck:
            return f"every row has its own level of {name}, which cannot be told from the luck of the row"
    if prepared.fixed.shape[1]:
        whole = np.column_stack([np.ones(rows), scaled(prepared.fixed)[0]])
        if np.linalg.matrix_rank(whole) < whole.shape[1]:
            return f"a covariate repeats others ({', '.join(prepared.fixed_names)})"
    return None


def scaled(fixed: Floats) -> tuple[Floats, Floats, Floats]:
    """Return covariates with mean 0 and SD 1, their means and SDs."""
    mean, sd = fixed.mean(axis=0), fixed.std(axis=0)
    sd = np.where(sd > 0, sd, 1.0)
    return (fixed - mean) / sd, mean, sd
