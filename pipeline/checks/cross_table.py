"""Find what shows only across rows and sheets; such findings take no row out of the results."""

from __future__ import annotations

from typing import Any

from pipeline.checks.across import (
    COPIED_ROWS,
    COPIED_SHARE,
    LEAST_MINUTES_APART,
    MOST_CALLS_A_GAME,
    STRAIGHT_LINE_CALLS,
    STRAIGHT_LINE_CHECKS,
    STRAIGHT_LINE_GAMES,
    STRAIGHT_LINE_SCORES,
)
from pipeline.checks.amended import find_amended_rows, make_amended_calls
from pipeline.checks.findings import add_findings
from pipeline.checks.quarantine import accepted_sql
from pipeline.checks.quoting import identifier
from pipeline.config import RunConfig
from pipeline.store import Store
from pipeline.store.database import named_sql
from schemas import fact_columns, table

COPIED_AGAINST = 20
"""Of the sheets that hold one and the same row, how many are held against the others (our own choice, for speed): a
copied sheet is missed only where each row that it shares stands in more sheets than that before."""

_UNSIGNED = ("call_id", "game_id", "evaluator_id", "umpire_id", "pitch_no", "recorded_on", "note")
"""What two copies of a call do not share: ids, numbers, day of entry and notes."""


def find_across(config: RunConfig, store: Store) -> None:
    """Add to `meta.finding` what every query of this module finds in `checked.*`."""
    policy = config.policy
    queries: dict[str, dict[str, Any] | None] = {
        "own_game": None,
        "outside_season": {"first_day": policy.first_day, "last_day": policy.last_day},
        "unknown_level": {"levels": [level.id for level in policy.levels]},
        "two_games_at_once": {"minutes": LEAST_MINUTES_APART},
        "seen_once": None,
        "sheet_form": None,
        "facts_differ": {"columns": list(compared_facts())},
        "many_calls": {"most": MOST_CALLS_A_GAME},
        "copied_sheets": {"rows": COPIED_ROWS, "share": COPIED_SHARE, "most": COPIED_AGAINST},
        "straight_lining": {"calls": STRAIGHT_LINE_CALLS},
        "straight_scores": {"scores": STRAIGHT_LINE_SCORES},
        "straight_criteria": {"games": STRAIGHT_LINE_GAMES},
        "straight_checks": {"checks": STRAIGHT_LINE_CHECKS},
        "answer_without_option": None,
        "recorded_before_game": None,
        "amended_before_game": None,
        "amendment_without_change": None,
    }
    store.run(f"CREATE OR REPLACE TEMP TABLE counted_call AS {named_sql('pipeline.checks', 'counted_call')}")
    sign_calls(store)
    for name, parameters in queries.items():
        add_findings(store, "meta.finding", name, parameters)
    make_amended_calls(store)
    find_amended_rows(store, "meta.finding")


def sign_calls(store: Store) -> None:
    """Make the view `signed_call`, in which two calls have one signature where the same was recorded of both.

    Columns that no sheet has say nothing, and are left out: making a number of them is dear.
    """
    written = {
        name
        for (name,) in store.rows(
            "SELECT column_name FROM duckdb_columns() WHERE schema_name = 'staged' AND table_name = 'plate_calls_row'"
        )
    }
    calls = table("plate_calls")
    signed = [name for name in calls.field_names if (not written or name in written) and name not in _UNSIGNED]
    # Values that are kept as numbers are signed as such.
    is_kept = written >= {"game_id", "evaluator_id", "ball_x_in", "ball_z_in"}
    rows = f"({accepted_sql(calls, 'staged.plate_calls_row')})" if is_kept else "checked.plate_calls"
    store.run(
        "CREATE OR REPLACE TEMP VIEW signed_call AS SELECT row_id, game_id, evaluator_id, "
        "ball_x_in IS NOT NULL AND ball_z_in IS NOT NULL AS is_measured, "
        f"hash({', '.join(['0', *map(identifier, signed)])}) AS signature FROM {rows} AS calls"
    )


def compared_facts() -> tuple[str, ...]:
    """Return the facts on which two evaluators of one pitch should agree.

    Measures are left out, which differ by their error alone, and so is how the place was found, which is a
    fact of the evaluator and not of the pitch.
    """
    calls = table("plate_calls")
    return tuple(name for name in fact_columns() if calls.field(name).type != "number" and name != "location_source")
