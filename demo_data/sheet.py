"""Writing the files: columns in fixed order, one record a line, the same bytes each time."""

from __future__ import annotations

import csv
import datetime as dt
import io
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path

import xlsxwriter

Row = Mapping[str, str]

CALL_COLUMNS = (
    "call_id", "game_id", "evaluator_id", "umpire_id", "pitch_no", "recorded_on", "moment", "inning",
    "half", "outs", "balls", "strikes", "on_first", "on_second", "on_third", "play_on", "stealing_first",
    "stealing_second", "batter_side", "pitcher_hand", "arm_slot", "pitch_kind", "pitch_mph", "ball_x_in", "ball_z_in",
    "zone_low_in", "zone_high_in", "location", "miss_side", "location_source", "bounced", "pitch_delivered",
    "pitch_caught", "location_at_touch", "swing", "contact", "tip_first_touched", "first_touch", "touched",
    "touch_place", "avoidance", "could_avoid", "stance_front", "stance_back", "contact_front", "contact_back",
    "contact_knee", "plate_touch", "batter_act", "ruled_pitch", "ruled_ball_status", "ruled_batter",
    "ruled_runners", "ruled_instruct", "grade", "note",
)  # fmt: skip

ALIASES = {
    "call_id": "Call", "game_id": "Game", "evaluator_id": "Evaluator", "umpire_id": "Umpire",
    "pitch_no": "Pitch number", "recorded_on": "Entered on", "inning": "Inn", "outs": "Out",
    "on_first": "R1", "on_second": "R2", "on_third": "R3", "batter_side": "Bats",
    "pitcher_hand": "Throws", "pitch_kind": "Pitch type", "pitch_mph": "MPH", "ball_x_in": "Ball X",
    "ball_z_in": "Ball Z", "zone_low_in": "Zone bottom in", "zone_high_in": "Zone top in",
    "location_source": "Source", "pitch_caught": "Caught", "ruled_pitch": "Call pitch", "note": "Comments",
}  # fmt: skip
"""Other headings that one evaluator writes; each is an alias that the season's table declares."""

NUMBERS = {
    "pitch_no", "inning", "outs", "balls", "strikes", "pitch_mph", "ball_x_in", "ball_z_in", "zone_low_in",
    "zone_high_in",
}  # fmt: skip

DAYS = {"recorded_on"}


def csv_text(headings: Sequence[str], columns: Sequence[str], rows: Iterable[Row], delimiter: str = ",") -> str:
    r"""Return the rows as CSV text with `\n` line ends."""
    text = io.StringIO()
    writer = csv.writer(text, delimiter=delimiter, lineterminator="\n")
    writer.writerow(headings)
    writer.writerows([row.get(column, "") for column in columns] for row in rows)
    return text.getvalue()


def write_csv(path: Path, columns: Sequence[str], rows: Iterable[Row]) -> None:
    """Write rows as a comma-separated file in UTF-8."""
    path.write_text(csv_text(columns, columns, rows), encoding="utf-8", newline="")


def write_aliased(path: Path, rows: Iterable[Row]) -> None:
    """Write plate calls under other headings, with semicolons, in Windows-1252."""
    headings = [ALIASES.get(column, column) for column in CALL_COLUMNS]
    path.write_text(csv_text(headings, CALL_COLUMNS, rows, ";"), encoding="cp1252", newline="")


def write_workbook(path: Path, rows: Iterable[Row]) -> None:
    """Write plate calls as the one sheet of a workbook, numbers as numbers and days as days."""
    book = xlsxwriter.Workbook(str(path), {"in_memory": True})
    book.set_properties({"created": dt.datetime(2026, 7, 20)})
    sheet = book.add_worksheet("plate_calls")
    as_day = book.add_format({"num_format": "yyyy-mm-dd"})
    for place, column in enumerate(CALL_COLUMNS):
        sheet.write_string(0, place, column)
    for line, row in enumerate(rows, 1):
        for place, column in enumerate(CALL_COLUMNS):
            value = row.get(column, "")
            if value and column in NUMBERS:
                sheet.write_number(line, place, float(value))
            elif value and column in DAYS:
                sheet.write_datetime(line, place, dt.datetime.fromisoformat(value), as_day)
            elif value:
                sheet.write_string(line, place, value)
    book.close()
