"""Faults put into the sheets on purpose, each with its place and the table in which a run must show it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from demo_data import book
from demo_data.book import Situation
from demo_data.entry_days import ONCE_A_MONTH, WEEKS_LATE, WRONG_YEAR
from demo_data.game_calls import Call, amended, verdict_of
from demo_data.plan import ALIASED, DRIFTING, OTHER_CODE, Plan
from demo_data.quiz import Item
from demo_data.sheet import Row

PLANTED_COLUMNS = ("planted_id", "kind", "file", "line_no", "about", "what", "found_by")
REJECTS = "meta.reject"
AMENDMENT_COLUMNS = ("call_id", "evaluator_id", "date", "column", "value", "reason")
AMENDED_DAY = "2026-07-15"


@dataclass(frozen=True)
class Planted:
    """One planted fault: kind, file and line (blank where it is no single line), whom or what it is about."""

    kind: str
    file: str
    line_no: str
    about: str
    what: str
    found_by: str


def _taken(calls: Sequence[Call]) -> list[Call]:
    return [
        call
        for call in calls
        if call.scenario == "taken_pitch" and call.row.get("ball_x_in") and call.row["strikes"] != "2"
    ]


def _copy(call: Call, serial: int, **cells: str) -> dict[str, str]:
    """Return a row like that of a call, under an id of its own, with some cells changed."""
    return {**call.row, "call_id": f"{call.row['game_id']}-9{serial:02d}", **cells}


def plant_in_calls(evaluator_id: str, calls: Sequence[Call], file: str) -> tuple[list[Row], list[Planted]]:
    """Return an evaluator's rows with the faults that belong in that sheet, and what was planted.

    Line 1 holds the headings; every row takes one line.
    """
    rows: list[Row] = [call.row for call in calls]
    planted: list[Planted] = []
    inserted: list[tuple[Row, str, str]] = []
    taken = _taken(calls)

    def insert(row: Row, place: int, kind: str, what: str) -> None:
        made = dict(row)
        rows.insert(place, made)
        inserted.append((made, kind, what))

    if evaluator_id == "E01":
        first = taken[10].row
        insert(first, rows.index(first) + 1, "exact_duplicate", "the row above once more")
        insert(taken[40].row, len(rows), "exact_duplicate", "a row from further up once more")
    elif evaluator_id == "E02":
        for call in (taken[5], taken[60]):
            other = "ball" if call.row["ruled_pitch"] == "strike" else "strike"
            insert(
                {**call.row, "ruled_pitch": other},
                len(rows),
                "contradictory_row",
                "same call, another ruling",
            )
        insert(_copy(taken[20], 1, balls="4"), 100, "impossible_count", "four balls before the pitch")
    elif evaluator_id == "E04":
        insert(_copy(taken[12], 1, swing="half"), 50, "unknown_value", "swing is 'half'")
        insert(_copy(taken[30], 2, game_id="G9999"), 120, "unknown_game", "game G9999 is in no sheet")
        upside_down = {"zone_low_in": "39.0", "zone_high_in": "18.0"}
        insert(
            _copy(taken[31], 3, **upside_down),
            200,
            "zone_upside_down",
            "the limits of the zone are exchanged",
        )
    elif evaluator_id == OTHER_CODE:
        planted += [
            Planted(
                "other_code",
                file,
                str(place + 2),
                call.row["call_id"],
                f"grades '{call.row['grade']}', which fits OBR; by NFHS the umpire's ruling was "
                f"{'right' if call.verdict == 'yes' else 'wrong'}",
                "published.pub_evaluator",
            )
            for place, call in enumerate(calls)
            if call.scenario == "plate_and_line_foul" and call.right.batter == "out" and _misgraded(call)
        ]
    elif evaluator_id == ALIASED:
        note = "batter’s foot hid the line – déjà vu"
        rows = [{**row, "note": note} if place in (3, 40) else row for place, row in enumerate(rows)]
        what = "other headings, semicolons, Windows-1252 with accents"
        planted.append(Planted("other_form", file, "", evaluator_id, what, "meta.file"))
    # Lines are counted last: an insertion moves what stands below it.
    lines = {id(row): line_no for line_no, row in enumerate(rows, 2)}
    planted += [Planted(kind, file, str(lines[id(row)]), row["call_id"], what, REJECTS) for row, kind, what in inserted]
    return rows, planted


def _misgraded(call: Call) -> bool:
    return call.row["grade"] == {"yes": "wrong", "no": "right"}[call.verdict]


def truncated_line(evaluator_id: str, text: str, file: str) -> tuple[str, list[Planted]]:
    """Return the text of a sheet with a last line that breaks off, for the one evaluator who has it."""
    if evaluator_id != "E04":
        return text, []
    lines = text.splitlines()
    broken = ",".join(lines[-1].split(",")[:9])
    what = "the row breaks off after nine cells"
    planted = [Planted("broken_row", file, str(len(lines) + 1), broken.split(",")[0], what, REJECTS)]
    return f"{text}{broken}\n", planted


def plant_in_games(rows: Sequence[Row], file: str) -> tuple[list[Row], list[Planted]]:
    """Return the games with one more, of a date that does not exist."""
    last = {**rows[-1], "game_id": f"G{len(rows) + 1:04d}", "date": "2026-13-05"}
    planted = Planted("malformed_date", file, str(len(rows) + 2), last["game_id"], "month 13", REJECTS)
    return [*rows, last], [planted]


def planted_elsewhere(plan: Plan, items: Sequence[Item]) -> list[Planted]:
    """Return what is planted in persons and in the quiz."""
    once = plan.umpires[47].umpire_id
    found = [
        Planted(
            "drift",
            "",
            "",
            DRIFTING,
            "grows stricter by 4.2 logits through the season",
            "published.pub_evaluator",
        ),
        Planted("seen_once", "umpires.csv", "49", once, "seen in a single game", "meta.finding"),
    ]
    for line_no, item in enumerate(items, 2):
        kind = {"wrong": "miskeyed_item", "open": "open_item"}.get(item.verdict)
        if kind:
            what = f"the key is {item.row['key']}; right is {item.right_option or 'open'}"
            about = item.row["item_id"]
            found.append(Planted(kind, "quiz_items.csv", str(line_no), about, what, "published.pub_quiz_item"))
    return found


def planted_days(plan: Plan) -> list[Planted]:
    """Return what is planted in the days of entry: two late evaluators, and a slip of one."""
    where = "published.pub_evaluator_health"
    slip = next(game for game in plan.games if game.evaluator.evaluator_id == WRONG_YEAR)
    return [
        Planted(
            "late_sheets",
            f"plate_calls_{WEEKS_LATE}.csv",
            "",
            WEEKS_LATE,
            "writes every sheet down 11 to 25 days after the game",
            where,
        ),
        Planted(
            "late_sheets",
            f"plate_calls_{ONCE_A_MONTH}.csv",
            "",
            ONCE_A_MONTH,
            "writes a month's sheets down on the first of the next",
            where,
        ),
        Planted(
            "written_before_game",
            f"plate_calls_{WRONG_YEAR}.csv",
            "2",
            slip.game_id,
            "last year's number in the day of entry",
            "meta.finding",
        ),
    ]


def planted_rows(planted: Sequence[Planted]) -> list[Row]:
    """Return the rows of the list of planted faults, numbered."""
    return [
        {
            "planted_id": f"P{number:02d}",
            "kind": fault.kind,
            "file": fault.file,
            "line_no": fault.line_no,
            "about": fault.about,
            "what": fault.what,
            "found_by": fault.found_by,
        }
        for number, fault in enumerate(planted, 1)
    ]


def amend(evaluator_id: str, calls: Sequence[Call]) -> tuple[list[Call], list[Row]]:
    """Return the calls as they count after the season's amendments, and the amendments' rows.

    Two evaluators mend their own sheets: three rulings written down the wrong way round, and the catch
    of strike three that had been left out.
    """
    counted = list(calls)
    rows: list[Row] = []

    def record(call: Call, column: str, value: str, reason: str) -> None:
        cells = (call.row["call_id"], evaluator_id, AMENDED_DAY, column, value, reason)
        rows.append(dict(zip(AMENDMENT_COLUMNS, cells, strict=True)))

    if evaluator_id == "E06":
        mistaken = [c for c in _taken(calls) if c.verdict == "no" and not c.row.get("ruled_batter")]
        for call in mistaken[:3]:
            value = {"ball": "strike", "strike": "ball"}[call.row["ruled_pitch"]]
            counted[counted.index(call)] = amended(call, "ruled_pitch", value)
            record(call, "ruled_pitch", value, "mistake on the sheet, video reviewed")
    if evaluator_id in ("E09", "E10"):
        unknown = [c for c in calls if c.scenario == "strike_three_catch_not_recorded"]
        for call in unknown[:1]:
            right = book.strike_caught(_situation(call.row))
            row = {**call.row, "pitch_caught": "yes"}
            verdict = verdict_of(row, right)
            counted[counted.index(call)] = replace(call, row=row, right=right, verdict=verdict)
            record(call, "pitch_caught", "yes", "the catcher held it, video reviewed")
    return counted, rows


def _situation(row: Row) -> Situation:
    held = [bool(row[f"on_{base}"]) for base in ("first", "second", "third")]
    return Situation(int(row["outs"]), int(row["balls"]), int(row["strikes"]), *held)
