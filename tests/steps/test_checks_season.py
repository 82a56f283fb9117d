"""Checking a season: what is set aside and why, what goes on, and that every row is accounted for."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path

import pytest

from pipeline.checks import check, quarantine
from pipeline.checks.check import check_season
from pipeline.config import Level, Policy, RunConfig
from pipeline.errors import DisagreementError
from pipeline.ingest.load import load_season
from pipeline.store import StepResult, Store
from schemas import layer_tables

SHEETS = {
    "umpires": "umpire_id,name,level,email\nU01,One,varsity,one@example.org\nU02,Two,varsity,no address\n",
    "evaluators": "evaluator_id,name\nE01,Eva\n",
    "games": (
        "game_id,date,level,rule_code,plate_umpire_id\n"
        "G01,2026-04-18,varsity,nfhs,U01\n"
        "G02,2026-04-19,varsity,nfhs,U99\n"  # line 3: no such umpire
    ),
    "plate_calls": (
        "call_id,game_id,evaluator_id,balls,zone_low_in,zone_high_in,miss_side,note\n"
        "C01,G01,E01,1,,,,first\n"  # line 2
        "C02,G01,E01,4,18,16,,two faults\n"  # line 3: balls, and the zone upside down
        "C01,G01,E01,1.0,,,,first\n"  # line 4: a copy of line 2, written another way
        "C03,G02,E01,0,,,,\n"  # line 5: its game was set aside
        "C04,G1,E01,0,,,,\n"  # line 6: near to G01
        "C05,G01,E01,0,,,,one\n"  # line 7
        "C05,G01,E01,0,,,,other\n"  # line 8: the same call, another note
        "C05,G01,E01,0,,,,one\n"  # line 9: a copy of line 7
        "C06,G01,,0,,,inside+outside,\n"  # line 10: nobody, and both sides
        "C07,G01,E01,0,20,,,\n"  # line 11: one limit of the zone only; told, not set aside
        "C08,G01,E01,seven,,,,\n"  # line 12: set aside at load
        "C09,Z9,E01,0,,,,\n"  # line 13: like no game
    ),
    "amendments": (
        "call_id,evaluator_id,date,column,value,reason\n"
        "C01,E01,2026-04-20,balls,2,video\n"
        "C01,E01,2026-04-20,strikes,7,video\n"  # line 3: no such count
        "C02,E01,2026-04-20,balls,2,video\n"  # line 4: its call was set aside
    ),
}


def policy() -> Policy:
    return Policy("T", "", None, None, (Level("varsity", "Varsity", {}),))


class Season:
    """A small season, loaded and checked into a store in memory."""

    def __init__(self, folder: Path, sheets: dict[str, str]) -> None:
        folder.mkdir(parents=True)
        for stem, text in sheets.items():
            (folder / f"{stem}.csv").write_text(text, encoding="utf-8")
        self.config = RunConfig(folder, folder.parent / "results", policy())
        self.store = Store()
        load_season(self.config, self.store)

    def check(self) -> StepResult:
        return check_season(self.config, self.store)

    def reject(self, path: str, line_no: int) -> tuple[str | None, str | None, str, str]:
        """Return column, value, reason and remedy of the one reject on a line."""
        found = self.store.rows(
            "SELECT column_name, value, reason, remedy FROM meta.reject WHERE path = ? AND line_no = ?",
            [path, line_no],
        )
        assert len(found) == 1
        return found[0]

    def lines(self, table: str) -> list[int]:
        return [row[0] for row in self.store.rows(f"SELECT line_no FROM checked.{table} ORDER BY row_id")]


@pytest.fixture(scope="module")
def season(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Season]:
    made = Season(tmp_path_factory.mktemp("checks") / "season", SHEETS)
    made.result = made.check()  # type: ignore[attr-defined]
    yield made
    made.store.close()


def test_rows_that_pass_go_on_and_no_other_row_does(season: Season) -> None:
    assert season.lines("umpires") == [2, 3]
    assert season.lines("games") == [2]
    assert season.lines("plate_calls") == [2, 11]
    assert season.lines("amendments") == [2]


def test_checked_tables_have_the_columns_of_staged_ones_even_where_no_sheet_came(season: Season) -> None:
    for table in layer_tables("season"):
        described = [
            season.store.rows(
                "SELECT column_name, data_type FROM information_schema.columns "
                "WHERE table_schema = ? AND table_name = ? ORDER BY ordinal_position",
                [layer, table.name],
            )
            for layer in ("staged", "checked")
        ]
        assert described[0] == described[1]
        assert described[0]


def test_of_exact_copies_the_first_is_kept_and_the_later_ones_say_which_row_they_copy(season: Season) -> None:
    remedy = "nothing is lost, the first one counts; take the copy out of the sheet"
    assert season.reject("plate_calls.csv", 4) == (
        None,
        None,
        "exact copy of line 2 of plate_calls.csv",
        remedy,
    )
    assert season.reject("plate_calls.csv", 9)[2] == "exact copy of line 7 of plate_calls.csv"


def test_of_rows_with_one_key_and_different_values_none_is_kept(season: Season) -> None:
    expected = (
        "call_id",
        "C05",
        "call 'C05' stands on line 7 and line 8 of plate_calls.csv with different values",
        "keep the right one and load again",
    )
    assert season.reject("plate_calls.csv", 7) == season.reject("plate_calls.csv", 8) == expected


def test_a_row_with_several_faults_is_set_aside_once_with_all_reasons(season: Season) -> None:
    assert season.reject("plate_calls.csv", 3) == (
        "balls",
        "4",
        "balls: '4' is not in the range 0 to 3; zone_high_in, zone_low_in: the top of the zone is not above "
        "its bottom (zone_high_in '16', zone_low_in '18')",
        "balls: write a value of 0 to 3, or leave it blank (not recorded); zone_high_in, zone_low_in: "
        "exchange the two heights, or measure again",
    )


def test_a_blank_that_must_be_filled_is_the_value_told_even_where_another_fault_has_one(
    season: Season,
) -> None:
    column, value, reason, _ = season.reject("plate_calls.csv", 10)
    assert (column, value) == ("evaluator_id", None)
    assert reason == (
        "evaluator_id: nothing is filled in, and every call needs it; "
        "miss_side: one pitch cannot miss on both sides (miss_side 'inside+outside')"
    )


def test_a_call_of_a_game_that_was_set_aside_says_where_that_game_stands(season: Season) -> None:
    assert season.reject("games.csv", 3)[2] == "'U99' is not in the sheet umpires"
    assert season.reject("plate_calls.csv", 5) == (
        "game_id",
        "G02",
        "'G02' was itself set aside (games.csv line 3)",
        "mend that row of games and load again",
    )
    assert season.reject("amendments.csv", 4)[2] == "'C02' was itself set aside (plate_calls.csv line 3)"


def test_an_unknown_id_is_met_with_the_one_that_was_meant_where_there_is_a_like_one(season: Season) -> None:
    assert season.reject("plate_calls.csv", 6)[2:] == (
        "'G1' is not in the sheet games",
        "did you mean 'G01'? Otherwise add it to the sheet games, or mend the id",
    )
    assert season.reject("plate_calls.csv", 13)[3] == "add it to the sheet games, or mend the id"


def test_an_amendment_must_give_a_value_that_the_amended_column_allows(season: Season) -> None:
    column, value, reason, _ = season.reject("amendments.csv", 3)
    assert (column, value) == ("column, value", "strikes, 7")
    assert "(column 'strikes', value '7')" in reason


def test_the_raw_text_of_a_rejected_row_is_what_came(season: Season) -> None:
    text = season.store.value("SELECT raw_text FROM meta.reject WHERE path = 'plate_calls.csv' AND line_no = 4")
    assert text == "C01,G01,E01,1.0,,,,first"


def test_a_failed_check_that_only_warns_is_a_finding_and_keeps_the_row(season: Season) -> None:
    found = season.store.rows(
        "SELECT finding_id, severity, table_name, line_no, value, message, person_id FROM meta.finding "
        "WHERE kind = 'declared' ORDER BY finding_id"
    )
    assert found == [
        (
            "declared/plate_calls.zone_both_limits/plate_calls.csv/11", "warn", "plate_calls", 11, "20",
            "only one limit of the zone was recorded, so the height of the pitch cannot be judged "
            "(zone_low_in '20', zone_high_in blank)", "E01",
        ),
        (
            "declared/umpires.email.regex/umpires.csv/3", "warn", "umpires", 3, "no address",
            "'no address' has not the form that is asked for", None,
        ),
    ]  # fmt: skip


def test_every_row_that_came_in_is_accepted_or_set_aside_once(season: Season) -> None:
    # 2 + 1 + 2 + 12 + 3 rows, of which one was set aside at load; 2 + 1 + 1 + 2 + 1 go on.
    assert season.result == StepResult(  # type: ignore[attr-defined]
        "check",
        19,
        7,
        notes=season.result.notes,  # type: ignore[attr-defined]
    )
    assert season.result.notes["rejected"] == 12  # type: ignore[attr-defined]
    stages = dict(season.store.rows("SELECT stage, count(*) FROM meta.reject GROUP BY stage"))
    assert stages == {"load": 1, "check": 12}


def test_each_check_that_was_made_has_a_result_and_both_ways_of_checking_agree(season: Season) -> None:
    results = season.store.records("SELECT * FROM meta.check_result")
    by_id = {row["check_id"]: row for row in results}
    assert len(by_id) == len(results)
    zone = by_id["plate_calls.zone_has_height"]
    assert zone == {
        "check_id": "plate_calls.zone_has_height", "table_name": "plate_calls", "kind": "greater_than",
        "columns": "zone_high_in, zone_low_in", "severity": "reject", "title": "Zone has height",
        "rows_checked": 9, "failed": 1, "gx_failed": 1, "gx_scope": "whole", "agrees": True,
    }  # fmt: skip
    copies = by_id["plate_calls.exact_copy"]
    assert (copies["rows_checked"], copies["failed"], copies["gx_failed"], copies["agrees"]) == (11, 2, 2, True)
    assert all(row["agrees"] and row["failed"] == row["gx_failed"] for row in results if row["gx_scope"] == "whole")
    assert "ratings" not in {row["table_name"] for row in results}


def test_violations_keep_the_rows_by_id_for_whoever_asks_later(season: Season) -> None:
    found = season.store.rows(
        "SELECT table_name, line_no FROM meta.violation JOIN staged.plate_calls USING (row_id) "
        "WHERE check_id = 'plate_calls.call_id.unique' ORDER BY line_no"
    )
    assert found == [("plate_calls", 7), ("plate_calls", 8)]


def test_a_foreign_key_to_a_sheet_that_was_not_handed_in_is_not_asked_for(tmp_path: Path) -> None:
    sheets = {name: SHEETS[name] for name in ("umpires", "games")}
    sheets["plate_calls"] = "call_id,game_id,evaluator_id\nC01,G01,E77\n"
    season = Season(tmp_path / "season", sheets)
    season.check()
    assert season.lines("plate_calls") == [2]
    ids = {row[0] for row in season.store.rows("SELECT check_id FROM meta.check_result")}
    assert "plate_calls.evaluator_id.foreign_key" not in ids
    assert "plate_calls.game_id.foreign_key" in ids


def test_checking_again_gives_the_same_tables_and_the_same_bytes(season: Season) -> None:
    folder = season.config.out / "validation"

    def everything() -> tuple[dict[str, list[tuple[object, ...]]], dict[str, bytes]]:
        names = [
            *(f"checked.{table.name}" for table in layer_tables("season")),
            *("meta.reject", "meta.violation", "meta.finding", "meta.check_result"),
        ]
        return (
            {name: season.store.rows(f"SELECT * FROM {name}") for name in names},
            {path.name: path.read_bytes() for path in folder.iterdir()},
        )

    before = everything()
    season.check()
    assert everything() == before
    assert set(before[1]) == {"suite.json", "validation.json"}
    assert json.loads(before[1]["suite.json"])["plate_calls"]["name"] == "plate_calls"
    validation = json.loads(before[1]["validation.json"])["plate_calls"]
    assert (validation["rows"], validation["scope"]) == (9, "whole")
    row_id = season.store.value("SELECT row_id FROM staged.plate_calls WHERE balls = 4")
    assert {
        "check_id": "plate_calls.balls.range", "success": False, "failed": 1, "row_ids": [row_id],
    } in validation["checks"]  # fmt: skip


def test_books_that_do_not_balance_stop_the_run_and_leave_nothing_half_written(
    season: Season, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = season.store.rows("SELECT * FROM meta.reject")

    def lose_a_row(store: Store) -> None:
        store.run("DELETE FROM staged.plate_calls_row WHERE line_no = 11")
        quarantine.balance_books(store)

    monkeypatch.setattr(check, "balance_books", lose_a_row)
    with pytest.raises(DisagreementError, match=r"plate_calls\.csv: 12 rows came in, 1 were accepted and 10 set aside"):
        season.check()
    assert season.store.rows("SELECT * FROM meta.reject") == before
    assert season.lines("plate_calls") == [2, 11]


def test_ids_of_rows_that_stand_in_two_files_name_both_files(tmp_path: Path) -> None:
    sheets = {name: SHEETS[name] for name in ("umpires", "games", "evaluators")}
    head = "call_id,game_id,evaluator_id,note\n"
    sheets["plate_calls_a"] = f"{head}C01,G01,E01,one\nC02,G01,E01,\n"
    sheets["plate_calls_b"] = f"{head}C01,G01,E01,two\nC02,G01,E01,\n"
    season = Season(tmp_path / "season", sheets)
    season.check()
    places = "line 2 of plate_calls_a.csv and line 2 of plate_calls_b.csv"
    reason = f"call 'C01' stands on {places} with different values"
    assert season.reject("plate_calls_a.csv", 2)[2] == season.reject("plate_calls_b.csv", 2)[2] == reason
    assert season.reject("plate_calls_b.csv", 3)[2] == "exact copy of line 3 of plate_calls_a.csv"
    assert season.lines("plate_calls") == [3]


def test_after_a_load_nothing_counts_as_checked_until_the_check_is_made(tmp_path: Path) -> None:
    season = Season(tmp_path / "season", SHEETS)
    season.check()
    assert season.lines("plate_calls") == [2, 11]
    load_season(season.config, season.store)
    assert season.lines("plate_calls") == []
    season.check()
    assert season.lines("plate_calls") == [2, 11]
    aside = season.store.rows("SELECT table_name, count(*) FROM meta.set_aside GROUP BY 1 ORDER BY 1")
    # Of twelve rows one could not be typed, and two are accepted.
    assert season.store.value("SELECT count(*) FROM meta.reject WHERE path = 'plate_calls.csv' AND stage = 'load'") == 1
    assert dict(aside)["plate_calls"] == 9
