"""Rows set aside can be found, read, mended and loaded again."""

from __future__ import annotations

import csv
import dataclasses
import shutil

import pytest

from pipeline.config import read_config
from pipeline.errors import InputError
from pipeline.ingest.load import load_season
from pipeline.publish.mend_sheets import mend_name
from pipeline.publish.quarantine import REASONS, REVIEW, write_quarantine
from pipeline.store import Store
from schemas.remarks import REMARKS, fingerprint

ABOVE = "\ufeff" + ",".join(REMARKS) + ","


@pytest.fixture(scope="module")
def reasons(outcome):
    with (outcome.config.out / "quarantine" / REASONS).open(encoding="utf-8", newline="") as stream:
        return list(csv.DictReader(stream))


def lines_of(folder, name):
    return (folder / name).read_text(encoding="utf-8").split("\n")


def test_every_row_set_aside_has_a_reason_a_remedy_and_a_line_in_a_file(outcome, reasons):
    assert len(reasons) == outcome.quarantined > 0
    for row in reasons:
        assert row["reason"], row
        assert row["remedy"], row
        kept = lines_of(outcome.config.out / "quarantine", row["quarantine_file"])[int(row["quarantine_line"]) - 1]
        came = (outcome.config.season / row["file"]).read_bytes().decode("utf-8", "replace").split("\n")
        came = came[int(row["line"]) - 1]
        assert kept.endswith("," + came), row
        assert kept.startswith(f"{row['file']},,{row['line']},{fingerprint(came)},"), row


def test_a_file_of_rows_set_aside_has_the_headings_of_its_sheet_after_the_remarks(outcome, reasons):
    for name, file in {(row["quarantine_file"], row["file"]) for row in reasons}:
        kept = lines_of(outcome.config.out / "quarantine", name)
        assert kept[0] == ABOVE + (outcome.config.season / file).read_text(encoding="utf-8-sig").split("\n")[0]


def rows_with_findings(store):
    """Count the accepted rows that want a look; numbers of rows are those of a sheet, so that two sheets may share one."""
    return store.value(
        """SELECT count(DISTINCT (table_name, row_id)) FROM (
            SELECT table_name, row_id, severity FROM meta.finding
            UNION ALL SELECT table_name, row_id, severity FROM meta.ruling_finding
        ) WHERE severity = 'warn' AND row_id IS NOT NULL"""
    )


def test_rows_accepted_with_a_finding_are_handed_back_with_it(outcome):
    with Store(outcome.store_path, read_only=True) as store:
        told = rows_with_findings(store)
        path, line, message = store.rows(
            "SELECT path, line_no, message FROM meta.ruling_finding WHERE path LIKE '%.csv' ORDER BY finding_id LIMIT 1"
        )[0]
    folder = outcome.config.out / "quarantine" / REVIEW
    rows = []
    for one in sorted(folder.iterdir()):
        with one.open(encoding="utf-8-sig", newline="") as stream:
            delimiter = stream.read(6)[-1]
            stream.seek(0)
            rows += csv.DictReader(stream, delimiter=delimiter)
    assert len(rows) == told > 0
    (row,) = [row for row in rows if row["#file"] == path and row["#line"] == str(line)]
    assert message in row["#reason"]


def test_a_mended_row_of_the_demo_season_takes_the_place_of_the_one_set_aside(outcome, tmp_path):
    # The demo season has a game whose month is 13; mended to May it loads.
    season = tmp_path / "season"
    shutil.copytree(outcome.config.season, season)
    text = (outcome.config.out / "quarantine" / "games-mend.csv").read_text(encoding="utf-8")
    lines = text.splitlines(keepends=True)
    head, tail = lines[1].rsplit(",2026-13-05,", 1)
    (season / "games-mend.csv").write_text(f"{lines[0]}{head},2026-05-13,{tail}", encoding="utf-8")
    with Store() as store:
        load_season(read_config(season, tmp_path / "out"), store)
        found = store.rows(
            "SELECT path, rows_in, rows_rejected, rows_replaced FROM meta.file WHERE table_name = 'games' ORDER BY path"
        )
        assert store.rows("SELECT state, is_checked FROM meta.mend") == [("applied", True)]
    assert found[0] == ("games-mend.csv", 1, 0, 0)
    assert found[1][2:] == (0, 1)


def test_the_whole_quarantine_put_back_untouched_changes_nothing(outcome, tmp_path):
    season = tmp_path / "season"
    shutil.copytree(outcome.config.season, season)
    shutil.copytree(outcome.config.out / "quarantine", season / "mended")
    with Store() as store, Store(outcome.store_path, read_only=True) as before:
        load_season(read_config(season, tmp_path / "out"), store)
        states = dict(store.rows("SELECT state, count(*) FROM meta.mend GROUP BY state"))
        assert states == {"unchanged": outcome.quarantined + rows_with_findings(before)}
        rejects = "SELECT path, line_no, raw_text FROM meta.reject WHERE stage = 'load' ORDER BY ALL"
        assert store.rows(rejects) == before.rows(rejects)
        staged = "SELECT * EXCLUDE (row_id, file_id) FROM staged.plate_calls ORDER BY call_id, line_no"
        assert store.rows(staged) == before.rows(staged)


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
    kept = (folder / "plate_calls-mend.csv").read_bytes().decode("utf-8")
    marks = [fingerprint('C1,G1,E1,x,"two\r\nlines"'), fingerprint("C3,G1,E1,y,last")]
    outs = "write a whole number from 0 to 2, such as 1, or leave it blank (not recorded)"
    assert kept == (
        f"{ABOVE}{HEADING}\r\n"
        f'plate_calls.csv,,2,{marks[0]},outs,\'x\' is not a whole number,"{outs}",C1,G1,E1,x,"two\r\nlines"\r\n'
        f"plate_calls.csv,,5,{marks[1]},outs,'y' is not a whole number,\"{outs}\",C3,G1,E1,y,last\r\n"
    )
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
    kept = (folder / "plate_calls-mend.csv").read_text(encoding="utf-8").split("\n")
    assert kept[0] == "\ufeff" + ";".join(REMARKS) + ";call_id;game_id;evaluator_id;outs;note"
    assert kept[1].endswith(";C1;G1;E1;x;caf\u00e9")


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
    head, row = kept.read_text(encoding="utf-8").splitlines()
    assert head == ABOVE + HEADING
    assert row.startswith("plate_calls_E1.xlsx,Plate calls April,2,r")
    assert row.endswith(',C1,G1,E1,nine,"a, note"')


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


@pytest.mark.parametrize(
    ("path", "sheet", "taken", "name"),
    [
        ("april/plate_calls_E1.csv", None, set(), "april/plate_calls_E1-mend.csv"),
        ("plate_calls/ana.tsv", None, set(), "plate_calls/plate_calls-ana-mend.tsv"),
        ("plate_calls-mend.csv", None, {"plate_calls-mend.csv"}, "plate_calls-mend2.csv"),
        ("plate_calls.csv", None, {"plate_calls-mend.csv", "plate_calls-mend2.csv"}, "plate_calls-mend3.csv"),
        ("May.xlsx", "plate calls", set(), "plate_calls-May-plate_calls-mend.csv"),
    ],
)
def test_a_sheet_to_mend_is_known_by_its_name_and_overwrites_none(path, sheet, taken, name):
    assert mend_name({"path": path, "sheet": sheet, "table_name": "plate_calls"}, "mend", taken) == name


def test_what_is_set_aside_of_a_mended_sheet_gets_remarks_of_its_own(tmp_path):
    sheet = f"{HEADING}\nC1,G1,E1,x,\nC2,G1,E1,y,\n"
    mend = (
        f"#file,#line,#was,{HEADING}\nplate_calls.csv,2,{fingerprint('C1,G1,E1,x,')},C1,G1,E1,z,\n"
        f"plate_calls.csv,3,,C2,G1\n"
    )
    with Store() as store:
        config = load(tmp_path, {"plate_calls.csv": sheet, "plate_calls-mend.csv": mend}, store)
        folder = tmp_path / "quarantine"
        folder.mkdir()
        assert write_quarantine(config, store, folder) == 2
    head, one, two = (folder / "plate_calls-mend2.csv").read_text(encoding="utf-8").splitlines()
    assert head == ABOVE + HEADING
    assert one.startswith("plate_calls-mend.csv,,2,r")
    assert one.endswith(",C1,G1,E1,z,")
    assert two.startswith("plate_calls-mend.csv,,3,r")
    assert two.endswith(",C2,G1")


def test_a_row_with_an_open_quotation_mark_comes_last_and_remarks_are_no_formulas(tmp_path):
    sheet = f'{HEADING}\nC1,G1,E1,1,"open\nC2,G1,E1,=1+1,\n'
    with Store() as store:
        config = load(tmp_path, {"plate_calls.csv": sheet}, store)
        folder = tmp_path / "quarantine"
        folder.mkdir()
        assert write_quarantine(config, store, folder) == 2
    kept = (folder / "plate_calls-mend.csv").read_text(encoding="utf-8").splitlines()
    assert kept[1].startswith("plate_calls.csv,,3,")
    assert kept[2].endswith(',C1,G1,E1,1,"open')
