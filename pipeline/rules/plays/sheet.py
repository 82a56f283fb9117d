"""Items as a quiz_items sheet."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence

import schemas
from pipeline.formulas import safe_row
from pipeline.rules.plays.items import Item


def quiz_sheet(items: Sequence[Item]) -> str:
    """Return items as CSV text with the columns of `quiz_items` that they use, in the declared order."""
    rows = []
    for item in items:
        row = {
            "item_id": item.item_id,
            "rule_code": item.code,
            "topic": item.topic,
            "stem": item.stem,
            "key": item.key,
            "quantity": item.quantity,
            **item.cells,
        }
        for option in item.options:
            row[f"option_{option.letter}"] = option.text
            row[f"option_{option.letter}_states"] = option.states
        rows.append(row)
    used = {name for row in rows for name, value in row.items() if value} | {
        "item_id", "rule_code", "topic", "stem", "key", "option_a", "option_b",
    }  # fmt: skip
    declared = [field.name for field in schemas.table("quiz_items").fields]
    stream = io.StringIO()
    writer = csv.DictWriter(
        stream, [name for name in declared if name in used], restval="", lineterminator="\n", extrasaction="raise"
    )
    writer.writeheader()
    filled = ({name: value for name, value in row.items() if value} for row in rows)
    writer.writerows(dict(zip(row, safe_row(row.values()), strict=True)) for row in filled)
    return stream.getvalue()

