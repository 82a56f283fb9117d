"""Lists of quiz items beside a season: their cases, and what they ask already."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from pathlib import Path

import schemas
from pipeline.config import Measurement
from pipeline.errors import InputError, Where
from pipeline.facts.build import make_calls
from pipeline.ingest.cases import land_cases
from pipeline.rules.compile import rule_book
from pipeline.rules.dimensions import zone_measures
from pipeline.rulings.batch import today
from pipeline.rulings.play_sources import asked_already
from pipeline.rulings.quiz_key import LETTERS
from pipeline.store import Store


def item_cases(store: Store, items: Path) -> None:
    """Make `item` (what each item of a quiz sheet states) and `facts.item_case` (the facts of those about a case).

    Raises
    ------
    InputError
        The sheet cannot be read, or lacks the ids or the keys.
    """
    names = land_cases(store, items, today())
    if "item_id" not in names or "key" not in names:
        raise InputError(
            "the sheet has no item_id or no key",
            where=Where(items, 1),
            hint="see `platework blank quiz_items`",
        )
    wanted = (
        "item_id",
        "rule_code",
        "quantity",
        "key",
        *(f"option_{letter}_states" for letter in LETTERS),
    )
    given = ", ".join(
        f"nullif(trim(\"in_{name}\"), '') AS {name}" if name in names else f"NULL AS {name}" for name in wanted
    )
    store.run(f"CREATE TEMP TABLE item AS SELECT line_no, {given} FROM raw.case_row")
    has_case = " OR ".join(
        f"nullif(trim(\"in_{name}\"), '') IS NOT NULL" for name in schemas.fact_columns() if name in names
    )
    store.run(
        "UPDATE source_call SET call_id = item_id FROM item "
        "WHERE CAST(item.line_no AS VARCHAR) = source_call.call_id"
    )
    keep = f'SELECT trim("in_item_id") FROM raw.case_row WHERE {has_case}' if has_case else "SELECT '' WHERE FALSE"
    store.run(f"DELETE FROM source_call WHERE call_id NOT IN ({keep})")
    make_calls(store, "facts.item_case", zone_measures(), Measurement())


def asked_in_lists(paths: Sequence[Path], day: dt.date) -> set[tuple[str, ...]]:
    """Return what the items of some quiz sheets ask, as signatures under the rules of a day.

    Raises
    ------
    InputError
        A sheet cannot be read, or lacks the ids or the keys.
    """
    found: set[tuple[str, ...]] = set()
    for path in paths:
        with Store() as store:
            item_cases(store, path)
            found |= asked_already(store, rule_book(), day, "facts.item_case", "item")
    return found
