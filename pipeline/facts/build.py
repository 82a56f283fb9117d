"""Make the facts: one row for each call, and one for each positioning check and item."""

from __future__ import annotations

from collections.abc import Mapping

import schemas
from pipeline.config import Measurement, RunConfig
from pipeline.errors import DisagreementError
from pipeline.store import StepResult, Store
from pipeline.store.database import named_sql

PACKAGE = "pipeline.facts"


def _amend(store: Store) -> int:
    """Make the view `amended_call`: each call as it counts, amended or as its sheet has it; return the values amended.

    Which amendment holds was decided where `checked.amended_call` was made; the originals stay in `checked`.
    """
    changed = (
        int(store.value('SELECT count(*) FROM (SELECT DISTINCT call_id, "column" FROM checked.amendments)'))
        if store.has_table("checked.amendments")
        else 0
    )
    if changed and not store.has_table("checked.amended_call"):
        raise DisagreementError(
            "there are amendments, but they were not put in their place when the season was checked",
            hint="run `platework run` for the whole season",
        )
    amended = (
        " WHERE call_id NOT IN (SELECT call_id FROM checked.amended_call) UNION ALL BY NAME "
        "SELECT * FROM checked.amended_call"
    )
    store.run(
        f"CREATE OR REPLACE TEMP VIEW amended_call AS SELECT * FROM checked.plate_calls{amended if changed else ''}"
    )
    return changed


def fill_parameters(store: Store, dimensions: Mapping[str, tuple[float, float]], measurement: Measurement) -> None:
    """Make the temporary tables `parameter` (ball radius and plate half width by code) and `error_sd`."""
    store.run(
        "CREATE OR REPLACE TEMP TABLE parameter (rule_code VARCHAR, ball_radius_in DOUBLE, plate_half_width_in DOUBLE)"
    )
    for code, (radius, half_width) in sorted(dimensions.items()):
        store.run("INSERT INTO parameter VALUES (?, ?, ?)", [code, radius, half_width])
    store.run("CREATE OR REPLACE TEMP TABLE error_sd (source_of_location VARCHAR, sd_in DOUBLE)")
    for source, sd in (
        ("tracked", measurement.tracked_sd_in),
        ("video", measurement.video_sd_in),
        ("eye", measurement.eye_sd_in),
    ):
        store.run("INSERT INTO error_sd VALUES (?, ?)", [source, sd])


def make_calls(
    store: Store, target: str, dimensions: Mapping[str, tuple[float, float]], measurement: Measurement
) -> int:
    """Make `target` from the temporary table or view `source_call`; return its row count."""
    fill_parameters(store, dimensions, measurement)
    for statement in named_sql(PACKAGE, "macros").split(";"):
        if statement.strip():
            store.run(statement)
    return store.create(target, PACKAGE, "fct_call")


def _item_cases(config: RunConfig, store: Store, dimensions: Mapping[str, tuple[float, float]]) -> int:
    """Make `facts.item_case`: the quiz items that tell of a case, as calls of the season's last day."""
    if not store.has_table("checked.quiz_items"):
        return 0
    columns = ", ".join(schemas.fact_columns())
    day = config.policy.last_day or store.value("SELECT max(date) FROM checked.games")
    # A case always has a moment (a blank is read as the pitch); an item without a case has no facts at all.
    store.run(
        f"CREATE OR REPLACE TEMP TABLE source_call AS "
        f"SELECT item_id AS call_id, {columns}, rule_code, $day::DATE AS game_on "
        "FROM checked.quiz_items WHERE quantity IS NULL AND moment IS NOT NULL",
        {"day": day},
    )
    made = make_calls(store, "facts.item_case", dimensions, config.policy.measurement)
    store.run("DROP TABLE source_call")
    return made


def build_facts(config: RunConfig, store: Store, dimensions: Mapping[str, tuple[float, float]]) -> StepResult:
    """Make `facts.fct_call` and `facts.fct_positioning` from the checked sheets.

    `dimensions` gives ball radius and half the plate's width in inches for each rule code.
    """
    with store.transaction():
        amended = _amend(store)
        rows_in = int(store.value("SELECT count(*) FROM amended_call"))
        select = named_sql(PACKAGE, "source_call")
        store.run(f"CREATE OR REPLACE TEMP TABLE source_call AS {select}")
        calls = make_calls(store, "facts.fct_call", dimensions, config.policy.measurement)
        checks = (
            store.create("facts.fct_positioning", PACKAGE, "fct_positioning")
            if store.has_table("checked.positioning")
            else 0
        )
        store.run("DROP TABLE source_call")
        store.run("DROP VIEW amended_call")
        items = _item_cases(config, store, dimensions)
    return StepResult(
        "facts",
        rows_in,
        calls,
        notes={"values amended": amended, "positioning items": checks, "quiz cases": items},
    )
