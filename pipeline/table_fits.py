"""Items and agreement of any table, without a season: the commands items and agreement."""

from __future__ import annotations

import csv
import io
import json
import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from pipeline.errors import InputError, PlateworkError, Where
from pipeline.formulas import safe_row
from pipeline.ingest.plain_table import PlainTable, read_plain_table, refuse
from pipeline.scoring.agreement.alpha import Scale
from pipeline.scoring.agreement.analysis import (
    COVERAGE,
    DRAWS,
    ICC_NAMES,
    SEED,
    AgreementAnalysis,
    Scores,
    analyse_agreement,
    code_scores,
)
from pipeline.scoring.design import Floats
from pipeline.scoring.items.analysis import ItemAnalysis, analyse_items
from pipeline.scoring.threads import one_blas_thread
from pipeline.store import write_bytes

BLANKS = ("", "NA")
_MARKS = {**dict.fromkeys(BLANKS, math.nan), "0": 0.0, "1": 1.0, "0.0": 0.0, "1.0": 1.0}
MOST_RATERS_PLANNED = 10

ITEM_METHODS = {
    "classical": "p over the answers given; correlations with the share right of the items that the person answered "
    "(item_rest: of the others); KR-20 and KR-21 of the persons who answered every item",
    "rasch": "marginal maximum likelihood, standard normal persons, one slope for all items (free; and fixed at 1 in "
    "the columns slope_1); blanks are left out of the person's product",
    "cml": "conditional maximum likelihood given the score on the items that the person answered; difficulties add up "
    "to zero; SEs from the exact information",
    "fit": "infit and outfit at the persons' maximum likelihood measures under the conditional difficulties, persons "
    "with nothing or everything right left out; the conditional ones by the exact chance given the score",
    "2pl": "marginal maximum likelihood, standard normal persons, a slope for each item; SEs from the exact "
    "information, those of difficulties by the delta method",
    "persons": "measure: weighted likelihood (Warm 1989), in logits on the scale of the conditional difficulties; "
    "rasch and 2pl: mean and SD of the posterior",
}


@dataclass(frozen=True)
class TableOutcome:
    """What was written, what the reader must know, and whether there is nothing to look into."""

    files: tuple[Path, ...]
    messages: tuple[str, ...]
    clean: bool


def items_file(path: Path, person: str | None, out: Path) -> TableOutcome:
    """Analyse a table with a row per person and a 0/1 column per item; write items, persons and summary.

    Raises
    ------
    InputError
        The table cannot be read, has no item, or holds something else than 0, 1 and blanks.
    """
    table = read_plain_table(path)
    place = None if person is None else table.place(person, "--person")
    persons = _persons(table, place)
    columns = [i for i in range(len(table.names)) if i != place]
    if not columns:
        raise InputError("there is no item beside the person", where=Where(path, 1), hint="give a 0/1 column per item")
    marks = _marks(table, columns)
    with one_blas_thread():
        found = analyse_items(marks, [table.names[i] for i in columns], persons)
    files = (
        _write(out / "items.csv", _csv_text(_item_rows(found))),
        _write(out / "persons.csv", _csv_text(_person_rows(found))),
        _write(out / "summary.json", _json_text(_item_summary(found))),
    )
    return TableOutcome(files, found.messages, found.converged and not found.messages)


def _persons(table: PlainTable, place: int | None) -> list[str]:
    if place is None:
        return [str(i) for i in range(1, len(table.rows) + 1)]
    names = table.column(place)
    first: dict[str, int] = {}
    faults: list[PlateworkError] = []
    for row, name in enumerate(names):
        if name in BLANKS:
            faults.append(table.fault(row, place, "the person is blank", "name every person"))
        elif name in first:
            message = f"{name!r} stands on line {table.lines[first[name]]} already"
            faults.append(table.fault(row, place, message, "give each person one row"))
        first.setdefault(name, row)
    refuse(faults)
    return names


def _marks(table: PlainTable, columns: Sequence[int]) -> Floats:
    """Return the table as 1, 0 and NaN."""
    try:
        return np.array([[_MARKS[row[i]] for i in columns] for row in table.rows], dtype=np.float64)
    except KeyError:
        refuse(_strange_columns(table, columns))
        raise


def _strange_columns(table: PlainTable, columns: Sequence[int]) -> list[PlateworkError]:
    """Say which cells are no marks; of a column that is mostly something else, say it once."""
    faults: list[PlateworkError] = []
    for i in columns:
        bad = [row for row, cells in enumerate(table.rows) if cells[i] not in _MARKS]
        if len(bad) > max(1, len(table.rows) // 2):
            message = f"{table.rows[bad[0]][i]!r} is neither 0 nor 1, nor are {len(bad) - 1:,} others of this column"
            hint = f"if it names the persons, say --person {table.names[i]!r}; else leave the column out"
            faults.append(table.fault(bad[0], i, message, hint))
            continue
        faults += [
            table.fault(
                row,
                i,
                f"{table.rows[row][i]!r} is neither 0 nor 1",
                "write 1 for right, 0 for wrong, nothing for no answer",
            )
            for row in bad
        ]
    return faults


def _item_rows(found: ItemAnalysis) -> Iterable[dict[str, Any]]:
    classical, rasch, one = found.classical, found.marginal, found.marginal_slope_1
    cml, two, fit = found.conditional, found.two_parameter, found.fit
    columns = {
        "p": classical.p,
        "point_biserial": classical.point_biserial,
        "item_rest": classical.item_rest,
        "rasch_difficulty": found.spread(rasch.difficulty if rasch else None),
        "rasch_se": found.spread(rasch.difficulty_se if rasch else None),
        "cml_difficulty": found.spread(cml.difficulty if cml else None),
        "cml_se": found.spread(cml.difficulty_se if cml else None),
        "infit": found.spread(fit.infit if fit else None),
        "outfit": found.spread(fit.outfit if fit else None),
        "slope_2pl": found.spread(two.slope if two else None),
        "difficulty_2pl": found.spread(two.difficulty if two else None),
    }
    extra = {
        "rasch_difficulty_slope_1": found.spread(one.difficulty if one else None),
        "rasch_se_slope_1": found.spread(one.difficulty_se if one else None),
        "slope_2pl_se": found.spread(two.slope_se if two else None),
        "difficulty_2pl_se": found.spread(two.difficulty_se if two else None),
        "infit_conditional": found.spread(fit.infit_conditional if fit else None),
        "outfit_conditional": found.spread(fit.outfit_conditional if fit else None),
    }
    for i, name in enumerate(found.items):
        yield {
            "item": name,
            **{column: values[i] for column, values in columns.items()},
            "answers": int(classical.answered[i]),
            "outcome": found.outcome[i],
            **{column: values[i] for column, values in extra.items()},
        }


def _person_rows(found: ItemAnalysis) -> Iterable[dict[str, Any]]:
    rasch, two = found.marginal, found.two_parameter
    blank = np.full(len(found.persons), np.nan)
    columns = {
        "measure": found.measure,
        "measure_se": found.measure_se,
        "rasch_ability": rasch.person if rasch else blank,
        "rasch_ability_se": rasch.person_se if rasch else blank,
        "ability_2pl": two.person if two else blank,
        "ability_2pl_se": two.person_se if two else blank,
    }
    answered, right = found.answers.given.sum(axis=1), found.answers.right.sum(axis=1)
    for i, name in enumerate(found.persons):
        yield {
            "person": name,
            "answered": int(answered[i]),
            "right": int(right[i]),
            **{column: values[i] for column, values in columns.items()},
        }


def _item_summary(found: ItemAnalysis) -> dict[str, Any]:
    nan = math.nan
    classical, rasch, one = found.classical, found.marginal, found.marginal_slope_1
    cml, two = found.conditional, found.two_parameter
    return {
        "kr20": classical.kr20,
        "kr21": classical.kr21,
        "rasch_slope": rasch.slope if rasch else nan,
        "rasch_log_likelihood": rasch.log_likelihood if rasch else nan,
        "cml_log_likelihood": cml.log_likelihood if cml else nan,
        "log_likelihood_2pl": two.log_likelihood if two else nan,
        "converged": found.converged,
        "messages": list(found.messages),
        "rasch_slope_se": rasch.slope_se if rasch else nan,
        "rasch_log_likelihood_slope_1": one.log_likelihood if one else nan,
        "persons": found.answers.persons,
        "items": found.answers.items,
        "items_in_models": int(found.kept.size),
        "answers": int(found.answers.given.sum()),
        "blanks": int(found.answers.given.size - found.answers.given.sum()),
        "complete_persons": classical.complete_persons,
        "mean_score": classical.mean,
        "sd_score": classical.sd,
        "fits": {
            name: {
                "outcome": str(record.outcome),
                "message": record.message,
                "steps": record.iterations,
                "evaluations": record.evaluations,
                "return_code": record.return_code,
                "gradient_norm": record.gradient_norm,
            }
            for name, record in found.records.items()
        },
        "methods": ITEM_METHODS,
    }


@dataclass(frozen=True)
class AgreementColumns:
    """Which columns of a long table hold what."""

    subject: str
    rater: str
    score: str


def agreement_file(path: Path, columns: AgreementColumns, level: str, out: Path) -> TableOutcome:
    """Work out the agreement of a table with a row per subject and rater; write the summary.

    Raises
    ------
    InputError
        The table cannot be read, a rater scored a subject twice, or a score does not fit the level.
    """
    table = read_plain_table(path)
    scale = Scale(level)
    scores = _scores(table, columns, scale)
    with one_blas_thread():
        found = analyse_agreement(scores, scale)
    file = _write(out / "summary.json", _json_text(_agreement_summary(found)))
    settled = found.components is None or found.components.converged
    return TableOutcome((file,), found.messages, settled and not math.isnan(found.alpha))


def _scores(table: PlainTable, columns: AgreementColumns, scale: Scale) -> Scores:
    subject = table.place(columns.subject, "--subject")
    rater = table.place(columns.rater, "--rater")
    score = table.place(columns.score, "--score")
    faults: list[PlateworkError] = []
    first: dict[tuple[str, str], int] = {}
    kept: list[tuple[str, str, str]] = []
    for row, cells in enumerate(table.rows):
        key = cells[subject], cells[rater]
        for place, what in ((subject, "subject"), (rater, "rater")):
            if cells[place] in BLANKS:
                faults.append(table.fault(row, place, f"the {what} is blank", f"name every {what}"))
        if key in first:
            message = f"{key[1]!r} scored {key[0]!r} on line {table.lines[first[key]]} already"
            faults.append(table.fault(row, rater, message, "keep one score of each rater for each subject"))
        first.setdefault(key, row)
        if cells[score] in BLANKS:
            continue
        problem = None if scale is Scale.NOMINAL else _misfit(cells[score], scale)
        if problem:
            faults.append(table.fault(row, score, *problem))
        kept.append((*key, cells[score]))
    refuse(faults)
    if not kept:
        raise InputError("no row has a score", where=Where(table.path, column=columns.score), hint="give scores")
    subjects, raters, scores = (list(part) for part in zip(*kept, strict=True))
    return code_scores(subjects, raters, scores, scale)


def _misfit(text: str, scale: Scale) -> tuple[str, str] | None:
    """Say why a score does not fit the level, and what to do; None if it does."""
    try:
        value = float(text) if "_" not in text else math.nan
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        return f"{text!r} is not a number", "number the categories in their order, or use --level nominal"
    if scale is Scale.RATIO and value < 0:
        return f"{text!r} is below zero, which the ratio level does not know", "use --level interval"
    return None


def _agreement_summary(found: AgreementAnalysis) -> dict[str, Any]:
    nan = math.nan
    components = found.components
    summary: dict[str, Any] = {
        "kappa_cohen": found.kappa_cohen,
        "kappa_fleiss": found.kappa_fleiss,
        "alpha": found.alpha,
        **{name: found.icc[name].value if name in found.icc else nan for name in ICC_NAMES},
        "variance": {
            "subject": components.subject if components else nan,
            "rater": components.rater if components else nan,
            "residual": components.residual if components else nan,
        },
        "level": str(found.scale),
        "messages": list(found.messages),
        "subjects": found.scores.subjects,
        "raters": found.scores.raters,
        "scores": int(found.scores.code.size),
        "kappa_linear": found.kappa_linear,
        "kappa_quadratic": found.kappa_quadratic,
        "fleiss_observed": found.fleiss_observed,
        "fleiss_expected": found.fleiss_expected,
        "alpha_low": found.alpha_interval.low,
        "alpha_high": found.alpha_interval.high,
        "alpha_interval": {
            "coverage": COVERAGE,
            "method": "percentiles over subjects drawn again",
            "draws": DRAWS,
            "draws_with_a_value": found.alpha_interval.draws,
            "seed": SEED,
            "subjects_with_two_scores": found.paired_units,
        },
    }
    for name in ICC_NAMES:
        summary[f"{name}_low"] = found.icc[name].low if name in found.icc else nan
        summary[f"{name}_high"] = found.icc[name].high if name in found.icc else nan
    summary["variance_method"] = components.method if components else None
    summary["converged"] = components is None or components.converged
    summary["dependability"] = None
    if components:
        planned = range(1, max(MOST_RATERS_PLANNED, found.scores.raters) + 1)
        summary["dependability"] = {
            "scores_per_subject": found.typical_raters,
            "e_rho2": components.relative(found.typical_raters),
            "phi": components.absolute(found.typical_raters),
            "by_raters": [
                {"raters": k, "e_rho2": components.relative(k), "phi": components.absolute(k)} for k in planned
            ],
        }
    return summary


def _write(target: Path, text: str) -> Path:
    write_bytes(target, text.encode())
    return target


def _csv_text(rows: Iterable[dict[str, Any]]) -> str:
    stream = io.StringIO()
    writer = None
    for row in rows:
        if writer is None:
            writer = csv.writer(stream, lineterminator="\n")
            writer.writerow(safe_row(row))
        writer.writerow(safe_row(_cell(value) for value in row.values()))
    return stream.getvalue()


def _cell(value: Any) -> Any:
    if isinstance(value, float):
        return repr(float(value)) if math.isfinite(value) else ""
    return value


def _json_text(summary: dict[str, Any]) -> str:
    return json.dumps(_plain(summary), indent=2, ensure_ascii=False, allow_nan=False) + "\n"


def _plain(value: Any) -> Any:
    """Return a value as JSON can hold it: what is not a number becomes null."""
    if isinstance(value, dict):
        return {name: _plain(one) for name, one in value.items()}
    if isinstance(value, list):
        return [_plain(one) for one in value]
    if isinstance(value, float):
        return float(value) if math.isfinite(value) else None
    return value
