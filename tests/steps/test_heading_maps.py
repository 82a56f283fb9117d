"""Headings files: what other headings, words and units stand for is written down, and nothing else is supposed."""

import shutil
from pathlib import Path

import pytest

import schemas
from pipeline.config import Policy, RunConfig
from pipeline.errors import FaultsError
from pipeline.ingest.load import load_season
from pipeline.ingest.mapping import read_heading_map
from pipeline.publish.quarantine import write_quarantine
from pipeline.store import Store

UMPIRES = "umpire_id,name,level\nU01,Umpire One,varsity\n"
GAMES = "game_id,date,level,rule_code,plate_umpire_id\nG1,2026-04-18,varsity,nfhs,U01\n"
CALLS = "call_id,game_id,evaluator_id,Velo,Height,Decision,Weather\nC1,G1,E01,144.840960,76.2,K,dry\nC2,G1,E01,,,B,wet\n"
MAP = """
[plate_calls.headings]
"Velo" = { column = "pitch_mph", unit = "km/h" }
"Height" = { column = "ball_z_in", unit = "cm" }
"Decision" = "ruled_pitch"
"Weather" = ""

[plate_calls.values.ruled_pitch]
"K" = "strike"
"B" = "ball"
"""


@pytest.fixture
def season(tmp_path: Path) -> Path:
    folder = tmp_path / "season"
    folder.mkdir()
    (folder / "umpires.csv").write_text(UMPIRES)
    (folder / "games.csv").write_text(GAMES)
    (folder / "plate_calls.csv").write_text(CALLS)
    return folder


@pytest.fixture
def load(season: Path):
    stores: list[Store] = []

    def loader() -> Store:
        stores.append(Store())
        load_season(RunConfig(season, season.parent / "results", Policy("T", "", None, None, ())), stores[-1])
        return stores[-1]

    yield loader
    for store in stores:
        store.close()


def calls(store: Store, columns: str = "call_id, pitch_mph, ball_z_in, ruled_pitch") -> list[tuple]:
    return store.rows(f"SELECT {columns} FROM staged.plate_calls ORDER BY call_id")


def notes(store: Store, path: str = "plate_calls.csv") -> str:
    return store.value("SELECT notes FROM meta.file WHERE path = ?", [path]) or ""


# 144.84096 km/h are 90 mph (1.609344 km to the mile), 76.2 cm are 30 inches (2.54 cm to the inch).
READ = [("C1", 90.0, 30.0, "strike"), ("C2", None, None, "ball")]


def test_without_a_headings_file_an_unknown_heading_is_refused_and_the_way_out_named(load):
    with pytest.raises(FaultsError) as caught:
        load()
    said = str(caught.value)
    assert "the heading 'Velo' is not one of the sheet 'plate_calls'" in said
    assert "`platework match` proposes it" in said


def test_a_headings_file_explains_headings_words_and_units_and_the_sheet_says_so(season, load):
    (season / "headings.toml").write_text(MAP)
    store = load()
    assert calls(store) == READ
    said = notes(store)
    assert "headings read as headings.toml says: 'Velo' as pitch_mph in km/h, 'Height' as ball_z_in in cm" in said
    assert "'Decision' as ruled_pitch, 'Weather' passed over" in said
    assert "words read as headings.toml says, in: ruled_pitch" in said
    assert notes(store, "headings.toml") == "headings file: says what headings and words stand for"


def test_the_row_as_it_came_is_kept_beside_what_was_read(season, load):
    (season / "headings.toml").write_text(MAP)
    assert load().rows("SELECT raw_text, pitch_mph FROM raw.plate_calls ORDER BY line_no LIMIT 1") == [
        ("C1,G1,E01,144.840960,76.2,K,dry", "144.840960")
    ]


def test_a_file_beside_a_sheet_stands_in_the_place_of_the_seasons(season, load):
    (season / "headings.toml").write_text(MAP.replace("km/h", "mph"))
    (season / "plate_calls.csv.headings.toml").write_text(MAP)
    (season / "plate_calls_north.csv").write_text(CALLS.replace("C1", "N1").replace("C2", "N2"))
    store = load()
    assert calls(store, "call_id, pitch_mph") == [("C1", 90.0), ("C2", None), ("N1", 144.84096), ("N2", None)]
    assert "as plate_calls.csv.headings.toml says" in notes(store)
    assert "as headings.toml says" in notes(store, "plate_calls_north.csv")


def test_a_file_that_no_sheet_uses_is_told(season, load):
    (season / "headings.toml").write_text(MAP)
    (season / "plate_cals.csv.headings.toml").write_text(MAP)
    assert notes(load(), "plate_cals.csv.headings.toml") == "headings file: no sheet uses it"


def test_a_word_that_no_file_explains_is_set_aside_with_the_word_as_it_came(season, load):
    (season / "headings.toml").write_text(MAP.replace('"B" = "ball"', ""))
    store = load()
    assert calls(store, "call_id") == [("C1",)]
    assert store.rows("SELECT line_no, column_name, value, raw_text FROM meta.reject") == [
        (3, "ruled_pitch", "B", "C2,G1,E01,,,B,wet")
    ]


def test_a_word_may_stand_for_a_blank_and_case_and_blanks_around_it_do_not_matter(season, load):
    (season / "headings.toml").write_text(MAP + '"n/a" = ""\n')
    (season / "plate_calls.csv").write_text(CALLS + "C3,G1,E01,,, N/A ,dry\nC4,G1,E01,,,k,dry\n")
    assert calls(load(), "call_id, ruled_pitch")[2:] == [("C3", None), ("C4", "strike")]


@pytest.mark.parametrize(
    ("unit", "given", "inches"),
    # By hand: 1 in = 2.54 cm = 25.4 mm = 0.0254 m, 1 ft = 12 in.
    [("cm", "30.48", 12), ("mm", "304.8", 12), ("m", "0.762", 30), ("ft", "2.5", 30), ("in", "30.5", 30.5)],
)
def test_lengths_are_converted(season, load, unit, given, inches):
    (season / "headings.toml").write_text(MAP.replace('"cm"', f'"{unit}"'))
    (season / "plate_calls.csv").write_text(CALLS.replace("76.2", given))
    assert calls(load(), "ball_z_in")[0] == (inches,)


def test_decimal_commas_and_units_go_together(season, load):
    (season / "headings.toml").write_text(MAP)
    (season / "plate_calls.csv").write_text(CALLS.replace(",", ";").replace("76.2", "76,2"))
    assert calls(load(), "ball_z_in")[0] == (30.0,)


def test_a_mapped_heading_goes_before_an_alias(season, load):
    # `call` is another name of call_id; here it heads what the umpire called.
    (season / "headings.toml").write_text(MAP.replace('"Decision"', '"Call"'))
    (season / "plate_calls.csv").write_text(CALLS.replace("Decision", "Call"))
    assert calls(load()) == READ


def test_two_headings_for_one_column_are_refused(season, load):
    (season / "headings.toml").write_text(MAP.replace('"Weather" = ""', '"Weather" = "ruled_pitch"'))
    with pytest.raises(FaultsError, match="the column 'ruled_pitch' stands twice, under 'Decision' and 'Weather'"):
        load()


def test_aliases_are_told_and_mere_spelling_is_not(season, load):
    (season / "plate_calls.csv").write_text("CALL ID,game-id,Evaluator,MPH\nC1,G1,E01,90\n")
    assert notes(load()) == "headings read by their other names: 'Evaluator' as evaluator_id, 'MPH' as pitch_mph"


def test_a_file_of_any_name_and_a_sheet_of_a_workbook_may_be_mapped_to_a_table(season, load):
    import xlsxwriter

    (season / "plate_calls.csv").rename(season / "april.csv")
    with xlsxwriter.Workbook(season / "north.xlsx") as book:
        for name, mark in (("Blad1", "N"), ("plate_calls", "P")):
            sheet = book.add_worksheet(name)
            for number, line in enumerate(CALLS.replace("C1", mark + "1").replace("C2", mark + "2").splitlines()):
                sheet.write_row(number, 0, line.split(","))
    (season / "headings.toml").write_text(
        MAP + '[sheets]\n"April.csv" = "plate_calls"\n"north.xlsx [blad1]" = "plate_calls"\n"plate_calls" = ""\n'
    )
    assert calls(load(), "call_id") == [("C1",), ("C2",), ("N1",), ("N2",)]


# What a headings file may not hold


@pytest.mark.parametrize(
    ("text", "line", "words", "hint"),
    [
        ('[plate_cals.headings]\n"a" = "outs"\n', 1, "'plate_cals' is neither a sheet", "did you mean 'plate_calls'?"),
        ('[plate_calls.heading]\n"a" = "outs"\n', 1, "not a part of [plate_calls]", "did you mean 'headings'?"),
        ('[plate_calls.headings]\n"a" = "outz"\n', 2, "'a' is mapped to 'outz'", "did you mean 'outs'?"),
        ('[plate_calls.headings]\n"a" = { column = "outs", units = "x" }\n', 2, "not a setting", "did you mean 'unit'?"),
        ('[plate_calls.headings]\n"a" = 3\n', 2, "is not understood", 'write "a" = "column"'),
        ('[plate_calls.headings]\n"a" = { column = "pitch_mph", unit = "cm" }\n', 2, "cannot be in 'cm'", "allowed are: mph, km/h, m/s"),
        ('[plate_calls.headings]\n"a" = { column = "outs", unit = "cm" }\n', 2, "cannot be in 'cm'", "take the unit out"),
        ('[plate_calls.headings]\n"a b" = "outs"\n"A-B" = "balls"\n', 3, "is mapped twice", "take one"),
        ('[plate_calls.values.swng]\n"a" = "full"\n', 1, "not a column", "did you mean 'swing'?"),
        ('[plate_calls.values.swing]\n"a" = "ful"\n', 2, "which swing cannot be", "did you mean 'full'?"),
        ('[sheets]\n"a.csv" = "calls"\n', 2, "is no sheet of ours", "allowed are:"),
        ("sheets = 3\n", 1, "must be a section", "write [sheets]"),
        ('[plate_calls\n', None, "the headings file cannot be read", "mend that line"),
    ],
)  # fmt: skip
def test_what_is_not_understood_is_refused_with_line_and_hint(tmp_path, text, line, words, hint):
    path = tmp_path / "headings.toml"
    path.write_text(text)
    tables = {table.name: table for table in schemas.layer_tables("season")}
    _, faults = read_heading_map(path, "headings.toml", tables)
    assert [fault.where.line for fault in faults] == [line]
    assert words in str(faults[0])
    assert hint in (faults[0].hint or "")


def test_all_faults_of_a_headings_file_stop_the_load_at_once(season, load):
    (season / "headings.toml").write_text('[plate_calls.headings]\n"a" = "outz"\n"b" = "swng"\n')
    with pytest.raises(FaultsError) as caught:
        load()
    assert "outz" in str(caught.value)
    assert "swng" in str(caught.value)
    assert "has no sheet" not in str(caught.value)


# Mended rows of a mapped sheet


def test_a_mended_row_of_a_sheet_with_a_file_beside_it_is_read_as_that_sheet_is(season, load):
    (season / "plate_calls.csv.headings.toml").write_text(MAP)
    (season / "plate_calls.csv").write_text(CALLS.replace(",K,", ",??,"))
    store = load()
    folder = season.parent / "quarantine"
    folder.mkdir()
    config = RunConfig(season, season.parent / "results", Policy("T", "", None, None, ()))
    assert write_quarantine(config, store, folder) == 1
    mended = (folder / "plate_calls-mend.csv").read_text(encoding="utf-8-sig").rsplit("??", 1)
    (season / "plate_calls-mend.csv").write_text("K".join(mended))
    assert calls(load()) == READ


def test_mended_rows_of_sheets_with_different_files_cannot_stand_in_one_sheet(season, load):
    shutil.copy(season / "plate_calls.csv", season / "plate_calls_b.csv")
    for name in ("plate_calls.csv", "plate_calls_b.csv"):
        (season / f"{name}.headings.toml").write_text(MAP)
    head = "#file,#line," + CALLS.splitlines()[0]
    (season / "plate_calls-mend.csv").write_text(
        f"{head}\nplate_calls.csv,2,C1,G1,E01,,,K,\nplate_calls_b.csv,2,C1,G1,E01,,,K,\n"
    )
    with pytest.raises(FaultsError, match="put the mended rows of each sheet into a file of their own"):
        load()
