"""Compile checks to great-expectations, run them on a data frame, and return the rows that each finds.

The package takes seconds to import, so that happens inside the functions. Nothing of it is kept on disk: the
context lives in memory, its progress bars and usage tracking are off.
"""

from __future__ import annotations

import importlib.metadata
import os
import warnings
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from pipeline.checks.contracts import Check
from pipeline.checks.patterns import python_pattern
from pipeline.checks.quoting import identifier
from pipeline.checks.violations import rule_sql
from pipeline.errors import DisagreementError

if TYPE_CHECKING:
    import pandas as pd
    from great_expectations import ExpectationSuite
    from great_expectations.data_context import EphemeralDataContext
    from great_expectations.expectations.expectation import Expectation

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

    Grain: one row of `relation`. It holds `row_id`, each column that a check names (dates as yyyymmdd), and
    one boolean column for each row rule that only SQL can decide.
    """
    compared = [check for check in checks if check.kind != "row_rule"]
    names = sorted({name for check in compared for name in check.columns})
    columns = ["row_id"]
    for name in names:
        value = day_number(identifier(name)) if name in dates else identifier(name)
        columns.append(f"{value} AS {identifier(name)}")
    columns += [
        f"{rule_sql(check)} AS {identifier(_rule_column(check))}"
        for check in checks
        if check.kind == "row_rule"
    ]
    return f"SELECT {', '.join(columns)} FROM {relation}"


def key_parameter(check: Check) -> str:
    """Return the name under which the known ids of a foreign key are handed to a suite."""
    return f"{check.args['table']}_{check.args['target']}"


def expectation(check: Check, dates: frozenset[str]) -> Expectation:
    """Return the expectation that finds the rows `violation_sql` finds, carrying the check's id."""
    from great_expectations import expectations as gx
    from great_expectations.expectations.row_conditions import Column

    common: dict[str, Any] = {"meta": {"check_id": check.id}, "severity": _SEVERITY[check.severity]}
    first = check.columns[0]
    match check.kind:
        case "not_null":
            return gx.ExpectColumnValuesToNotBeNull(column=first, **common)
        case "in_set" if check.args["separator"] is None:
            return gx.ExpectColumnValuesToBeInSet(column=first, value_set=list(check.args["values"]), **common)
        case "in_set":
            pattern = _joined_pattern(check.args["values"], check.args["separator"])
            return gx.ExpectColumnValuesToMatchRegex(column=first, regex=pattern, **common)
        case "range":
            low, high = (
                int(bound.strftime("%Y%m%d")) if first in dates and bound is not None else bound
                for bound in (check.args["minimum"], check.args["maximum"])
            )
            return gx.ExpectColumnValuesToBeBetween(column=first, min_value=low, max_value=high, **common)
        case "regex":
            pattern = python_pattern(check.args["pattern"])
            return gx.ExpectColumnValuesToMatchRegex(column=first, regex=pattern, **common)
        case "unique" if len(check.columns) == 1:
            return gx.ExpectColumnValuesToBeUnique(column=first, **common)
        case "unique":
            return gx.ExpectCompoundColumnsToBeUnique(
                column_list=list(check.columns), ignore_row_if="any_value_is_missing", **common
            )
        case "foreign_key":
            # The ids are handed over at the run, so that the saved suite does not grow with the season.
            known: Any = {"$PARAMETER": key_parameter(check)}
            return gx.ExpectColumnValuesToBeInSet(column=first, value_set=known, **common)
        case "greater_than":
            return gx.ExpectColumnPairValuesAToBeGreaterThanB(
                column_A=first,
                column_B=check.columns[1],
                or_equal=check.args["or_equal"],
                ignore_row_if="either_value_is_missing",
                **common,
            )
        case "conditional":
            condition = Column(first) == check.args["value"]
            return gx.ExpectColumnValuesToNotBeNull(
                column=check.columns[1], row_condition=condition, **common
            )
        case "row_rule":
            return gx.ExpectColumnValuesToBeInSet(column=_rule_column(check), value_set=[True], **common)
        case "exact_copy":
            raise DisagreementError("exact copies are found by SQL alone and have no expectation")


def _rule_column(check: Check) -> str:
    return f"rule {check.args['name']}"


def _joined_pattern(values: Sequence[str], separator: str) -> str:
    import re

    one = "|".join(re.escape(value) for value in values)
    return rf"^(?:(?:{one})(?:{re.escape(separator)}(?:{one}))*)\Z"


def suite(name: str, checks: Sequence[Check], dates: frozenset[str]) -> ExpectationSuite:
    """Return the suite of one table, in the order of its checks."""
    import great_expectations as gx

    return gx.ExpectationSuite(name=name, expectations=[expectation(check, dates) for check in checks])


def suite_record(made: ExpectationSuite) -> dict[str, Any]:
    """Return a suite as plain data that is the same at each run: no random ids, no notes of ours lost."""
    record = made.to_json_dict()
    return {
        "name": record["name"],
        "great_expectations_version": importlib.metadata.version("great-expectations"),
        "expectations": [
            {key: value for key, value in item.items() if key != "id"} for item in record["expectations"]
        ],
    }


@contextmanager
def quiet_context() -> Iterator[EphemeralDataContext]:
    """Give a great-expectations context in memory, with tracking, progress bars and warnings off."""
    # Releases before 1.24 report their use to an outside host unless told not to.
    os.environ["GX_ANALYTICS_ENABLED"] = "false"
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import great_expectations as gx
        import pandas as pd
        from great_expectations.data_context.types.base import ProgressBarsConfig

        context = gx.get_context(mode="ephemeral")
        context.variables.progress_bars = ProgressBarsConfig(globally=False)
        # With pyarrow installed text would be matched by another pattern engine.
        with pd.option_context("mode.string_storage", "python"):
            yield context


def plain_text(frame: pd.DataFrame) -> pd.DataFrame:
    """Return the frame with its text as Python objects, a missing cell as None, whichever engine pandas prefers."""
    import pandas as pd

    for name in frame.columns:
        if not pd.api.types.is_numeric_dtype(frame[name]):
            column = frame[name].astype(object)
            frame[name] = column.where(column.notna(), None)
    return frame


def run_suite(
    context: EphemeralDataContext,
    made: ExpectationSuite,
    frame: pd.DataFrame,
    known_ids: Mapping[str, list[str]],
) -> list[Outcome]:
    """Run a suite on a frame of `frame_sql` and return what each check found.

    Raises
    ------
    DisagreementError
        An expectation could not be computed, which says nothing about the data.
    """
    source = context.data_sources.add_or_update_pandas("season")
    asset = source.add_dataframe_asset(made.name)
    batch = asset.add_batch_definition_whole_dataframe("rows").get_batch({"dataframe": plain_text(frame)})
    result = batch.validate(
        made,
        result_format={
            "result_format": "COMPLETE",
            "unexpected_index_column_names": ["row_id"],
            "return_unexpected_index_query": False,
        },
        expectation_parameters=dict(known_ids),
    )
    outcomes = []
    for item in result.results:
        config = item.expectation_config
        check_id = config.meta["check_id"] if config and config.meta else "an unnamed check"
        trouble = _trouble(item.exception_info)
        if trouble is not None or "unexpected_count" not in item.result:
            raise DisagreementError(
                f"great-expectations could not compute the check {check_id}: {trouble or 'no count came back'}",
                hint="this is a fault of the program: report it with the versions in manifest.json",
            )
        failing = frozenset(int(row["row_id"]) for row in item.result.get("unexpected_index_list") or ())
        if len(failing) != item.result["unexpected_count"]:
            raise DisagreementError(
                f"great-expectations counts {item.result['unexpected_count']} rows that fail {check_id} "
                f"but names {len(failing)}",
                hint="this is a fault of the program: report it with the versions in manifest.json",
            )
        outcomes.append(Outcome(check_id, len(frame), failing))
    return outcomes


def _trouble(info: Any) -> str | None:
    """Return the message of an exception inside a result; it stands there flat, or once for each metric."""
    if not info:
        return None
    flat = [info] if "raised_exception" in info else list(info.values())
    return next((str(item["exception_message"]) for item in flat if item["raised_exception"]), None)
