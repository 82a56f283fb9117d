"""Any table fitted by the scoring engine: the command fit."""

from __future__ import annotations

import csv
import io
import json
import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from pipeline.errors import FaultsError, InputError, PlateworkError, Where
from pipeline.formulas import safe_row
from pipeline.ingest.files import decide_encoding
from pipeline.scoring.connection import Unlinked
from pipeline.scoring.fit_table import fit_table
from pipeline.scoring.table_input import PlainTable
from pipeline.scoring.table_result import COVERAGE, TableFit
from pipeline.store import write_bytes

FAULTS_SHOWN = 20
LEVELS_SHOWN = 10
GROUPS_SHOWN = 20
_CONSTANTS = {
    "binomial": "the logarithms of the binomial coefficients of the rows as listed are included "
    "(0 for rows of one trial)",
    "ordered": "none left out",
    "gaussian": "none left out; restricted unless the method says maximum likelihood",
}


@dataclass(frozen=True)
class FitRequest:
    """What the command was asked; see `fit_table` for each."""

    response: str
    effects: tuple[str, ...]
    trials: str | None = None
    family: str = "binomial"
    covariates: tuple[str, ...] = ()
    success: str | None = None
    restricted: bool = True
    drop_blank: bool = False


def read_plain_table(path: Path) -> PlainTable:
    """Return a delimited text file (comma, semicolon, tab or bar; UTF-8, UTF-16 or Windows) as columns of text.

    Raises
    ------
    InputError
        The file is missing or empty, a heading is doubled, or rows differ in length from the header.
    """
    if not path.is_file():
        raise InputError("there is no such file", where=Where(path), hint="give a CSV with a heading for each column")
    encoding, _ = decide_encoding(path, str(path))
    with path.open(encoding=encoding, newline="") as stream:
        first = stream.readline()
        if not first.strip():
            raise InputError("the file is empty", where=Where(path), hint="give a CSV with a heading for each column")
        delimiter = max(",;\t|", key=first.count)
        stream.seek(0)
        reader = csv.reader(stream, delimiter=delimiter, strict=True)
        names = [name.strip().lstrip("\ufeff") for name in next(reader)]
        if len(set(names)) != len(names):
            doubled = next(name for name in names if names.count(name) > 1)
            raise InputError(
                f"the heading {doubled!r} stands twice", where=Where(path, 1), hint="give each column a name of its own"
            )
        rows: list[list[str]] = []
        lines: list[int] = []
        faults: list[PlateworkError] = []
        line = reader.line_num + 1
        try:
            for row in reader:
                if len(row) == len(names) and any(row):
                    rows.append(row)
                    lines.append(line)
                elif any(cell.strip() for cell in row):
                    fault = f"the row has {len(row)} cells, the header {len(names)}"
                    faults.append(InputError(fault, where=Where(path, line), hint="mend the delimiters or quotes"))
                line = reader.line_num + 1
        except csv.Error as error:
            raise InputError(
                f"the row cannot be read: {error}", where=Where(path, line), hint="look for a quote that is not closed"
            ) from None
    if faults:
        raise FaultsError(faults[:FAULTS_SHOWN])
    columns = {name: pd.Series([row[i].strip() for row in rows], dtype="object") for i, name in enumerate(names)}
    return PlainTable(columns, np.array(lines, dtype=np.int64), path)


def fit_file(path: Path, request: FitRequest, out: Path) -> tuple[TableFit, bool]:
    """Fit a file and write `effects.csv` and `summary.json` into `out`; return the fit and whether it is clean."""
    fit = fit_table(
        read_plain_table(path),
        request.response,
        request.effects,
        trials=request.trials,
        family=request.family,
        covariates=request.covariates,
        success=request.success,
        restricted=request.restricted,
        drop_blank=request.drop_blank,
    )
    write_bytes(out / "effects.csv", effects_csv(fit).encode())
    text = json.dumps(summary(fit, request), indent=2, ensure_ascii=False, allow_nan=False) + "\n"
    write_bytes(out / "summary.json", text.encode())
    return fit, fit.is_clean


def effects_csv(fit: TableFit) -> str:
    """Return a row per level: effect, level, mode, se, se_all (see `fit_table.Levels`); what is not known is blank."""
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\n")
    writer.writerow(["effect", "level", "mode", "se", "se_all"])
    for effect, levels in fit.effects.items():
        for name, *values in zip(levels.names, levels.mode, levels.se, levels.se_all, strict=True):
            numbers = ("" if math.isnan(value) else repr(float(value)) for value in values)
            writer.writerow(safe_row((effect, name, *numbers)))
    return stream.getvalue()


def summary(fit: TableFit, request: FitRequest) -> dict[str, Any]:
    """Return the account of a fit, ready for JSON: numbers that are not known are null."""
    outcome = fit.record.outcome
    intercept = fit.fixed.get("intercept", float("nan"))
    made: dict[str, Any] = {
        "outcome": str(outcome),
        "converged": fit.converged,
        "message": fit.record.message,
        "remedy": outcome.remedy or None,
        "family": fit.family,
        "link": "identity" if fit.family == "gaussian" else "logit",
        "method": fit.method,
        "intercept": intercept,
        "intercept_se": fit.fixed_se.get("intercept", float("nan")),
        "intercept_se_sd_known": fit.intercept_se_sd_known,
        "sd": dict(fit.sd),
        "sd_interval": {name: list(ends) for name, ends in fit.sd_interval.items()},
        "sd_interval_method": f"Wald on the log SD, {COVERAGE:.0%}; none for an SD of 0",
        "log_likelihood": fit.log_likelihood,
        "log_likelihood_constant": _CONSTANTS[fit.family],
    }
    if len(fit.fixed) > 1 or fit.family == "ordered":
        made["fixed"] = {name: {"estimate": value, "se": fit.fixed_se[name]} for name, value in fit.fixed.items()}
    if fit.family == "ordered":
        made["categories"] = fit.categories
        made["thresholds"] = [
            {"between": [low, high], "estimate": float(cut), "se": float(se)}
            for low, high, cut, se in zip(
                fit.categories[:-1], fit.categories[1:], fit.thresholds, fit.threshold_ses, strict=False
            )
        ]
    made["response"] = {"column": request.response, "trials": request.trials}
    if fit.family == "binomial":
        made["response"] |= {"success": fit.success, "failure": fit.failure}
    made |= {
        "rows": fit.rows,
        "rows_left_out": fit.rows_dropped,
        "observations": fit.observations,
        "cells": fit.cells,
        "levels": {name: len(levels.names) for name, levels in fit.effects.items()},
        "nested": [{"inner": inner, "outer": outer} for inner, outer in fit.nested],
        "unlinked": [_unlinked(fit, one) for one in fit.unlinked],
        "fit_record": {
            "start": fit.record.start,
            "end": fit.record.end,
            "iterations": fit.record.iterations,
            "evaluations": fit.record.evaluations,
            "return_code": fit.record.return_code,
            "gradient_norm": fit.record.gradient_norm,
            "seed": None,
        },
        "notes": {
            "seed": "nothing is drawn: the same table gives the same numbers",
            "covariates": "in start and end of the fit record covariates have mean 0 and SD 1"
            if request.covariates
            else None,
            "se": "SD of a level given all parameters; se_all adds what not knowing them adds"
            + (" (coefficients only)" if fit.family == "gaussian" else ""),
        },
    }
    cleaned: dict[str, Any] = _without_nan(made)
    return cleaned


def _unlinked(fit: TableFit, found: Unlinked) -> dict[str, Any]:
    one, other = found.factors
    groups = []
    for number in range(min(found.groups, GROUPS_SHOWN)):
        members = {
            name: [fit.effects[name].names[i] for i in np.flatnonzero(group == number)]
            for name, group in zip(found.factors, found.group_of, strict=True)
        }
        groups.append(
            {name: {"levels": len(levels), "first": levels[:LEVELS_SHOWN]} for name, levels in members.items()}
        )
    return {
        "effects": [one, other],
        "groups": found.groups,
        "message": f"{one} and {other} fall into {found.groups} groups that share no row: levels of different groups "
        "cannot be compared, since a difference of the groups may lie in either",
        "remedy": f"compare within a group only, or gather rows in which {other} of one group meets {one} of "
        "another",
        "first_groups": groups,
    }


def _without_nan(value: Any) -> Any:
    if isinstance(value, dict):
        return {str(key): _without_nan(one) for key, one in value.items()}
    if isinstance(value, list | tuple):
        return [_without_nan(one) for one in value]
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    return value


def said(fit: TableFit, request: FitRequest, out: Path) -> Sequence[str]:
    """Return what the command tells its user, a line each."""
    lines = [f"{fit.rows:,} rows, {fit.observations:,} observations: {fit.record.message}."]
    if fit.rows_dropped:
        lines.append(f"Left out: {fit.rows_dropped:,} rows with a blank or without trials.")
    if fit.family == "binomial" and request.trials is None:
        lines.append(f"Success is {fit.success!r}, failure {fit.failure!r}; --success says otherwise.")
    if fit.record.outcome.remedy:
        lines.append(f"To do: {fit.record.outcome.remedy}.")
    for found in fit.unlinked:
        note = _unlinked(fit, found)
        lines += [f"{note['message']}.", f"To do: {note['remedy']}."]
    lines.append(f"Written: {out / 'effects.csv'}, {out / 'summary.json'}")
    return lines
