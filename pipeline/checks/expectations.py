"""Compile checks to great-expectations, run them on a data frame, and return the rows that each finds.

The package takes seconds to import, so that happens inside the functions. Nothing of it is kept on disk: the
context lives in memory, its progress bars and usage tracking are off.
"""

from __future__ import annotations

import importlib
import importlib.metadata
import os
import re
import threading
import warnings
from collections.abc import Collection, Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from pipeline.checks.contracts import Check
from pipeline.checks.patterns import python_pattern
from pipeline.checks.quoting import identifier
from pipeline.checks.violations import rule_sql
from pipeline.deferred import defer
from pipeline.errors import DisagreementError

if TYPE_CHECKING:
    import pandas as pd
    from great_expectations import ExpectationSuite
    from great_expectations.core import ExpectationValidationResult
    from great_expectations.core.batch_definition import BatchDefinition
    from great_expectations.datasource.fluent.interfaces import Batch
    from great_expectations.expectations.expectation import Expectation
    from great_expectations.expectations.expectation_configuration import ExpectationConfiguration

_WHOLE_ROW = "whole row"

_SEVERITY = {"reject": "critical", "warn": "warning"}


@dataclass(frozen=True)
class Outcome:
    """What great-expectations found for one check: how many rows it saw, and the ids of those that fail."""

    check_id: str
    rows: int
    failing: frozenset[int]


def day_number(column: str) -> str:
    """Return SQL for a date as a whole number yyyymmdd, which is compared fifty times faster than a date."""
    return f"(year({column}) * 10000 + month({column}) * 100 + day({column}))"


def frame_sql(checks: Sequence[Check], relation: str, dates: frozenset[str]) -> str:
    """Return the SELECT of the frame that `expectation` speaks of.

    Grain: one row of `relation`. It holds `row_id`, each column that a check names (dates as yyyymmdd), one
    boolean column for each row rule that only SQL can decide, and for exact copies a digest of the whole row.
    """
    compared = [check for check in checks if check.kind not in ("row_rule", "exact_copy")]
    names = sorted({name for check in compared for name in check.columns})
    columns = ["row_id"]
    for name in names:
        value = day_number(identifier(name)) if name in dates else identifier(name)
        columns.append(f"{value} AS {identifier(name)}")
    columns += [
        f"{rule_sql(check)} AS {identifier(_rule_column(check))}" for check in checks if check.kind == "row_rule"
    ]
    columns += [f"{_digest(check)} AS {identifier(_WHOLE_ROW)}" for check in checks if check.kind == "exact_copy"]
    return f"SELECT {', '.join(columns)} FROM {relation}"


def _digest(check: Check) -> str:
    """Return SQL for a short text that two rows share exactly where all their declared columns are the same."""
    # JSON tells a minus zero from a zero, and equality does not; adding a whole zero makes them one.
    numbers = check.args["numbers"]
    columns = (f"{identifier(name)} + 0" if name in numbers else identifier(name) for name in check.columns)
    return f"md5(CAST(to_json(row({', '.join(columns)})) AS VARCHAR))"


def key_parameter(check: Check) -> str:
    """Return the name under which the known ids of a foreign key are handed to a suite."""
    return f"{check.columns[0]}_in_{check.args['table']}"


def expectation(check: Check, dates: frozenset[str]) -> Expectation:
    """Return the expectation that finds the rows `violation_sql` finds, carrying the check's id.

    `dates` names the columns that the frame holds as yyyymmdd.
    """
    name, arguments = _expected(check, dates)
    # The package holds these names without exporting them, so that a type checker does not see them.
    library = importlib.import_module("great_expectations.expectations")
    made: Expectation = getattr(library, name)(
        meta={"check_id": check.id}, severity=_SEVERITY[check.severity], **arguments
    )
    return made


def _expected(check: Check, dates: frozenset[str]) -> tuple[str, dict[str, Any]]:
    """Return name and arguments of the expectation that says what a check says."""
    first, args = check.columns[0], check.args
    match check.kind:
        case "not_null":
            return "ExpectColumnValuesToNotBeNull", {"column": first}
        case "in_set" if args["separator"] is None:
            return "ExpectColumnValuesToBeInSet", {"column": first, "value_set": list(args["values"])}
        case "in_set":
            pattern = _joined_pattern(args["values"], args["separator"])
            return "ExpectColumnValuesToMatchRegex", {"column": first, "regex": pattern}
        case "range":
            low, high = (
                int(bound.strftime("%Y%m%d")) if first in dates and bound is not None else bound
                for bound in (args["minimum"], args["maximum"])
            )
            return "ExpectColumnValuesToBeBetween", {"column": first, "min_value": low, "max_value": high}
        case "regex":
            pattern = python_pattern(args["pattern"])
            return "ExpectColumnValuesToMatchRegex", {"column": first, "regex": pattern}
        case "unique" if len(check.columns) == 1:
            return "ExpectColumnValuesToBeUnique", {"column": first}
        case "unique":
            return "ExpectCompoundColumnsToBeUnique", {
                "column_list": list(check.columns),
                "ignore_row_if": "any_value_is_missing",
            }
        case "foreign_key":
            # The ids are handed over at the run, so that the saved suite does not grow with the season.
            known = {"$PARAMETER": key_parameter(check)}
            return "ExpectColumnValuesToBeInSet", {"column": first, "value_set": known}
        case "greater_than":
            return "ExpectColumnPairValuesAToBeGreaterThanB", {
                "column_A": first,
                "column_B": check.columns[1],
                "or_equal": args["or_equal"],
                "ignore_row_if": "either_value_is_missing",
            }
        case "conditional":
            from great_expectations.expectations.row_conditions import Column

            condition = Column(first) == args["value"]
            return "ExpectColumnValuesToNotBeNull", {"column": check.columns[1], "row_condition": condition}
        case "row_rule":
            return "ExpectColumnValuesToBeInSet", {"column": _rule_column(check), "value_set": [True]}
        case "exact_copy":
            # It names every row that stands twice, the first one too.
            return "ExpectColumnValuesToBeUnique", {"column": _WHOLE_ROW}


def _rule_column(check: Check) -> str:
    return f"rule {check.args['name']}"


def _joined_pattern(values: Sequence[str], separator: str) -> str:
    one = "|".join(re.escape(value) for value in values)
    return rf"^(?:(?:{one})(?:{re.escape(separator)}(?:{one}))*)\Z"


def suite(name: str, checks: Sequence[Check], dates: frozenset[str]) -> ExpectationSuite:
    """Return the suite of one table, in the order of its checks."""
    import great_expectations as gx

    return gx.ExpectationSuite(name=name, expectations=[expectation(check, dates) for check in checks])


def suite_record(made: ExpectationSuite) -> dict[str, Any]:
    """Return a suite as plain data that is the same at each run: no random ids, no notes of ours lost."""
    record: dict[str, Any] = dict(made.to_json_dict())
    return {
        "name": record["name"],
        "great_expectations_version": importlib.metadata.version("great-expectations"),
        "expectations": [{key: value for key, value in item.items() if key != "id"} for item in record["expectations"]],
    }


_ahead: list[threading.Thread] = []
"""The thread that imports the package ahead of its use, while there is one."""


def import_ahead() -> None:
    """Begin to import the package beside other work; `quiet_context` and `end_import_ahead` wait for it."""
    _report_nothing()
    if not _ahead:
        _ahead.append(threading.Thread(target=_import_quietly, name="import of great-expectations"))
        _ahead[0].start()


def end_import_ahead() -> None:
    """Wait until an import that was begun ahead is over."""
    while _ahead:
        _ahead[0].join()
        _ahead.clear()


_RARELY_USED = ("scipy.stats", "altair")
"""What the package imports for three expectations that no check of ours is, and to draw the result of one of them:
loading them is a third of its own import."""


def _report_nothing() -> None:
    # Releases before 1.24 report their use to an outside host unless told not to.
    os.environ["GX_ANALYTICS_ENABLED"] = "false"


def _import_sparingly() -> None:
    for name in _RARELY_USED:
        defer(name)
    importlib.import_module("great_expectations")


def _import_quietly() -> None:
    with warnings.catch_warnings(), suppress(Exception):
        # What goes wrong is told where the package is used.
        warnings.simplefilter("ignore")
        _import_sparingly()


@contextmanager
def quiet_context() -> Iterator[BatchDefinition[Any]]:
    """Give a place for frames in a great-expectations context in memory, with tracking, progress bars and warnings off.

    One place serves all tables: the package writes its whole configuration out for each that is added.
    """
    _report_nothing()
    end_import_ahead()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        _import_sparingly()
        import great_expectations as gx
        import pandas as pd
        from great_expectations.data_context.types.base import ProgressBarsConfig

        context = gx.get_context(mode="ephemeral")
        context.variables.progress_bars = ProgressBarsConfig(globally=False)
        # With pyarrow installed text would be matched by another pattern engine.
        with pd.option_context("mode.string_storage", "python"):
            asset = context.data_sources.add_pandas("season").add_dataframe_asset("rows")
            yield asset.add_batch_definition_whole_dataframe("rows")


def plain_text(frame: pd.DataFrame) -> pd.DataFrame:
    """Return the frame with its text as Python objects and its missing cells as None."""
    import pandas as pd

    for name in frame.columns:
        if not pd.api.types.is_numeric_dtype(frame[name]):
            column = frame[name].astype(object)
            frame[name] = column.where(column.notna(), None)
    return frame


def run_suite(
    place: BatchDefinition[Any],
    made: ExpectationSuite,
    frame: pd.DataFrame,
    known_ids: Mapping[str, list[str]],
    suspected: Collection[str] | None = None,
) -> list[Outcome]:
    """Run a suite on a frame of `frame_sql` and return what each check found, in the order of the suite.

    `suspected` names the checks whose rows surely have to be named, all where it is None. The others are asked first
    for a yes or no alone, at half the cost, and those that answer no are asked for their rows as well.

    Raises
    ------
    DisagreementError
        An expectation could not be computed, which says nothing about the data.
    """
    batch = place.get_batch({"dataframe": plain_text(frame)})
    named = {_check_id(item): item for item in made.expectations}
    asked_first = [] if suspected is None else [item for name, item in named.items() if name not in suspected]
    outcomes = {}
    for item in _validated(batch, made.name, asked_first, known_ids, _YES_OR_NO):
        if item.success:
            check_id = _check_id(item.expectation_config)
            outcomes[check_id] = Outcome(check_id, len(frame), frozenset())
    for item in _validated(
        batch, made.name, [item for name, item in named.items() if name not in outcomes], known_ids, _EVERY_ROW
    ):
        check_id = _check_id(item.expectation_config)
        if "unexpected_count" not in item.result:
            raise _not_computed(check_id, "no count came back")
        failing = frozenset(int(row["row_id"]) for row in item.result.get("unexpected_index_list") or ())
        if len(failing) != item.result["unexpected_count"]:
            raise DisagreementError(
                f"great-expectations counts {item.result['unexpected_count']} rows that fail {check_id} "
                f"but names {len(failing)}",
                hint="this is a fault of the program: report it with the versions in manifest.json",
            )
        outcomes[check_id] = Outcome(check_id, len(frame), failing)
    return [outcomes[name] for name in named]


_YES_OR_NO = {"result_format": "BOOLEAN_ONLY", "return_unexpected_index_query": False}
_EVERY_ROW = {
    "result_format": "COMPLETE",
    "unexpected_index_column_names": ["row_id"],
    "return_unexpected_index_query": False,
}


def _validated(
    batch: Batch,
    name: str,
    expectations: Sequence[Expectation],
    known_ids: Mapping[str, list[str]],
    result_format: dict[str, Any],
) -> Iterator[ExpectationValidationResult]:
    """Yield the result of each expectation on a batch; none that could not be computed."""
    import great_expectations as gx

    if not expectations:
        return
    asked = gx.ExpectationSuite(name=name, expectations=list(expectations))
    for item in batch.validate(asked, result_format=result_format, expectation_parameters=dict(known_ids)).results:
        trouble = _trouble(item.exception_info)
        if trouble is not None:
            raise _not_computed(_check_id(item.expectation_config), trouble)
        yield item


def _check_id(said: Expectation | ExpectationConfiguration | None) -> str:
    return str(said.meta["check_id"]) if said and said.meta else "an unnamed check"


def _not_computed(check_id: str, trouble: str) -> DisagreementError:
    return DisagreementError(
        f"great-expectations could not compute {check_id}: {trouble}",
        hint="this is a fault of the program: report it with the versions in manifest.json",
    )


def _trouble(info: Any) -> str | None:
    """Return the message of an exception inside a result; it stands there flat, or once for each metric."""
    if not info:
        return None
    flat = [info] if "raised_exception" in info else list(info.values())
    return next((str(item["exception_message"]) for item in flat if item["raised_exception"]), None)
