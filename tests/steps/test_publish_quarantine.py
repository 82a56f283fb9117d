"""Rows set aside can be found, read, mended and loaded again."""

from __future__ import annotations

import csv
import dataclasses
import shutil

import pytest

from pipeline.config import read_config
from pipeline.errors import InputError
from pipeline.ingest.load import load_season
from pipeline.publish.quarantine import REASONS, quarantine_name, write_quarantine
from pipeline.store import Store


@pytest.fixture(scope="module")
def reasons(outcome):
    with (outcome.config.out / "quarantine" / REASONS).open(encoding="utf-8", newline="") as stream:
        return list(csv.DictReader(stream))


def test_every_row_set_aside_has_a_reason_a_remedy_and_a_line_in_a_file(outcome, reasons):
    assert len(reasons) == outcome.quarantined > 0
    for row in reasons:
        assert row["reason"], row
        assert row["remedy"], row
        kept = (outcome.config.out / "quarantine" / row["quarantine_file"]).read_text(encoding="utf-8").split("\n")
        came = (outcome.config.season / row["file"]).read_bytes().decode("utf-8", "replace").split("\n")
        assert kept[int(row["quarantine_line"]) - 1] == came[int(row["line"]) - 1], row


def test_a_file_of_rows_set_aside_has_the_headings_of_its_sheet(outcome, reasons):
    for name in {row["quarantine_file"] for row in reasons}:
        kept = (outcome.config.out / "quarantine" / name).read_text(encoding="utf-8").split("\n")
        came = (outcome.config.season / name).read_text(encoding="utf-8-sig").split("\n")
        assert kept[0] == came[0]


def test_a_mended_row_is_taken_when_it_is_put_back(outcome, tmp_path):
    # The demo season has a game whose month is 13; mended to May it loads.
    season = tmp_path / "season"
    shutil.copytree(outcome.config.season, season)
    row = (outcome.config.out / "quarantine" / "games.csv").read_text(encoding="utf-8")
    assert "2026-13-05" in row
    (season / "games_mended.csv").write_text(row.replace("2026-13-05", "2026-05-13"), encoding="utf-8")
    with Store() as store:
        load_season(read_config(season, tmp_path / "out"), store)
        found = store.rows("SELECT path, rows_in, rows_staged FROM meta.file WHERE path = 'games_mended.csv'")
    assert found == [("games_mended.csv", 1, 1)]


SEASON = {
    "umpires.csv": "umpire_id,name,level\nU1,A Person,low\n",
    "games.csv": "game_id,date,level,rule_code,plate_umpire_id\nG1,2026-04-01,low,nfhs,U1\n",
}
HEADING = "call_id,game_id,evaluator_id,outs,note"


def load(tmp_path, files, store):
    """Write a season of these files, load it, and write what was set aside."""
    season = tmp_path / "season"
    season.mkdir()
    for name, content in {**SEASON, **files}.items():
        (season / name).write_bytes(content if isinstance(content, bytes) else content.encode("utf-8"))
    (season / "policy.toml").write_text('[[levels]]\nid = "low"\n', encoding="utf-8")
    config = read_config(season, tmp_path / "out")
    load_season(config, store)
    return config


def test_a_record_over_several_lines_keeps_them_and_the_next_line_number_is_right(tmp_path):
    sheet = f'{HEADING}\r\nC1,G1,E1,x,"two\r\nlines"\r\nC2,G1,E1,1,\r\nC3,G1,E1,y,last\r\n'
    with Store() as store:
        config = load(tmp_path, {"plate_calls.csv": sheet}, store)
        folder = tmp_path / "quarantine"
        folder.mkdir()
        assert write_quarantine(config, store, folder) == 2
    kept = (folder / "plate_calls.csv").read_bytes().decode("utf-8")
    assert kept == f'{HEADING}\r\nC1,G1,E1,x,"two\r\nlines"\r\nC3,G1,E1,y,last\r\n'
    with (folder / REASONS).open(encoding="utf-8", newline="") as stream:
        told = [(row["line"], row["quarantine_line"], row["column"]) for row in csv.DictReader(stream)]
    assert told == [("2", "2", "outs"), ("5", "4", "outs")]


def test_another_encoding_and_delimiter_come_out_readable_under_the_old_headings(tmp_path):
    sheet = "call_id;game_id;evaluator_id;outs;note\nC1;G1;E1;x;caf\u00e9\n".encode("cp1252")
    with Store() as store:
        config = load(tmp_path, {"plate_calls.csv": sheet}, store)
        folder = tmp_path / "quarantine"
        folder.mkdir()
        write_quarantine(config, store, folder)
    kept = (folder / "plate_calls.csv").read_text(encoding="utf-8")
    assert kept == "call_id;game_id;evaluator_id;outs;note\nC1;G1;E1;x;caf\u00e9\n"


def test_a_sheet_of_a_workbook_becomes_a_csv_that_is_known_by_its_name(tmp_path):
    xlsxwriter = pytest.importorskip("xlsxwriter")
    path = tmp_path / "plate_calls_E1.xlsx"
    with xlsxwriter.Workbook(str(path)) as book:
        sheet = book.add_worksheet("Plate calls April")
        for row, cells in enumerate((HEADING.split(","), ["C1", "G1", "E1", "nine", "a, note"])):
            sheet.write_row(row, 0, cells)
    with Store() as store:
        config = load(tmp_path, {path.name: path.read_bytes()}, store)
        folder = tmp_path / "quarantine"
        folder.mkdir()
        assert write_quarantine(config, store, folder) == 1
    (kept,) = [one for one in folder.iterdir() if one.name != REASONS]
    assert kept.name.startswith("plate_calls-plate_calls_E1-Plate_calls_April")
    assert kept.read_text(encoding="utf-8") == f'{HEADING}\nC1,G1,E1,nine,"a, note"\n'


def test_a_sheet_that_was_changed_after_loading_is_not_quoted(tmp_path):
    sheet = f"{HEADING}\nC1,G1,E1,x,\n"
    with Store() as store:
        config = load(tmp_path, {"plate_calls.csv": sheet}, store)
        (config.season / "plate_calls.csv").write_text(sheet.replace("x", "1"), encoding="utf-8")
        folder = tmp_path / "quarantine"
        folder.mkdir()
        with pytest.raises(InputError, match="has changed since it was loaded"):
            write_quarantine(config, store, folder)
        # An older copy of the season elsewhere is as good as the one that was loaded.
        other = tmp_path / "other"
        other.mkdir()
        (other / "plate_calls.csv").write_text(sheet, encoding="utf-8")
        assert write_quarantine(dataclasses.replace(config, season=other), store, folder) == 1


def test_a_season_without_faults_leaves_the_headings_of_the_reasons_alone(tmp_path):
    with Store() as store:
        config = load(tmp_path, {"plate_calls.csv": f"{HEADING}\nC1,G1,E1,1,\n"}, store)
        folder = tmp_path / "quarantine"
        folder.mkdir()
        assert write_quarantine(config, store, folder) == 0
    assert [path.name for path in folder.iterdir()] == [REASONS]
    assert (folder / REASONS).read_text(encoding="utf-8").count("\n") == 1


def test_a_quarantine_file_keeps_the_folder_of_its_sheet():
    row = {"path": "april/plate_calls_E1.csv", "sheet": None, "table_name": "plate_calls", "file_id": 3}
    assert quarantine_name(row) == "april/plate_calls_E1.csv"
