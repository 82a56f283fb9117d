"""Lines that a cast alone types: which they are, and that they come to what the look at each cell comes to."""

import re
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from pipeline.config import Policy, RunConfig
from pipeline.ingest import land, stage
from pipeline.ingest.cells import plain_pattern
from pipeline.ingest.load import load_season
from pipeline.store import Store
from schemas import layer_tables, table

COLUMNS = (
    "call_id", "game_id", "evaluator_id", "outs", "bounced", "ball_x_in", "miss_side", "swing", "recorded_on", "note",
)  # fmt: skip
HEAD = ",".join(COLUMNS)
CELLS = {
    "call_id": ["C1", "C2", "E7", "EXAMPLE-1", "example-2", "ex", "", " C3", "É1"],
    "game_id": ["G1", "G1 "],
    "evaluator_id": ["E01"],
    "outs": ["1", "02", "+1", "1.0", "1.5", "x", "", "9999999999999999999"],
    "bounced": ["yes", "Y", "1", "no", "maybe", ""],
    "ball_x_in": ["1.5", "-2", "-0", ".5", "5.", "1e3", "0x10", "inf", "1_000", "4.0889999999999995", "", "\u22122"],
    "miss_side": ["low", "low+inside", "inside + low", "under", ""],
    "swing": ["full", "Full", "checked", ""],
    "recorded_on": ["2026-04-18", "2026-02-29", "2026-04-31", "2024-02-29", "18.4.2026", "2026-04-18 00:00", ""],
    "note": ["seen well", " leading", "a;b|c", "it's", "\u201cwell\u201d", "", "-"],
}
LINES = st.one_of(
    st.tuples(*(st.sampled_from(CELLS[name]) for name in COLUMNS)).map(",".join),
    st.sampled_from(["", " ", ",,,", "," * (len(COLUMNS) - 1), "C9,G1", "C9" + "," * len(COLUMNS)]),
)


def fits(line: str, delimiter: str = ",") -> bool:
    pattern = plain_pattern(table("plate_calls"), COLUMNS, (), delimiter)
    assert pattern is not None
    # The engine writes a character as \x{2c}, Python as \x2c.
    pattern = re.sub(r"\\x\{([0-9a-f]+)\}", lambda code: f"\\x{int(code[1], 16):02x}", pattern)
    return re.fullmatch(pattern, line) is not None


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    made = tmp_path_factory.mktemp("plain") / "season"
    made.mkdir()
    (made / "umpires.csv").write_text("umpire_id,name,level\nU01,Umpire One,varsity\n")
    (made / "games.csv").write_text("game_id,date,level,rule_code,plate_umpire_id\nG1,2026-04-18,varsity,nfhs,U01\n")
    return made


def loaded(folder: Path, text: str) -> dict[str, list[tuple]]:
    """Load a sheet of plate calls and return all that the load wrote."""
    (folder / "plate_calls.csv").write_text(text, encoding="utf-8", newline="")
    names = [f"{layer}.{one.name}" for one in layer_tables("season") for layer in ("raw", "staged")]
    with Store() as store:
        load_season(RunConfig(folder, folder.parent / "results", Policy("T", "", None, None, ())), store)
        return {name: store.rows(f"SELECT * FROM {name} ORDER BY ALL") for name in [*names, "meta.file", "meta.reject"]}


@pytest.mark.parametrize(
    ("line", "expected"),
    [
        ("C1,G1,E01,1,yes,1.5,low,full,2026-04-18,seen well", True),
        ("C1,G1,E01,,,,,,,", True),
        ("C1,G1,E01,,,-12.25,,,,", True),
        ("C1,G1,E01,,,,,,2024-02-29,", False),  # the 29th of February is left to the look at each cell
        ("C1,G1,E01,,,,,,2026-04-31,", False),
        ("C1,G1,E01,+1,,,,,,", False),
        ("C1,G1,E01,,Y,,,,,", False),
        ("C1,G1,E01,,,1e3,,,,", False),
        ("C1,G1,E01,,,,low+inside,,,", False),
        ("C1,G1,E01,,,,,,, leading", False),
        ('C1,G1,E01,,,,,,,"quoted"', False),
        ("C1,G1,E01,,,,,,", False),
        ("C1,G1,E01,,,,,,,,", False),
        (",G1,E01,,,,,,,", False),
        ("EXAMPLE-1,G1,E01,,,,,,,", False),
        ("example-1,G1,E01,,,,,,,", False),
        ("E1,G1,E01,,,,,,,", True),
        ("", False),
    ],
)  # fmt: skip
def test_a_line_is_plain_where_a_cast_is_all_that_its_cells_need(line: str, expected: bool) -> None:
    assert fits(line) is expected


def test_the_delimiter_of_a_sheet_is_no_character_of_its_cells() -> None:
    assert fits("C1;G1;E01;;;;;;;a, b", ";")
    assert not fits("C1;G1;E01;;;;;;;a; b", ";")


@settings(max_examples=12, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(lines=st.lists(LINES, max_size=12))
def test_plain_lines_come_to_what_the_look_at_each_cell_comes_to(folder: Path, lines: list[str]) -> None:
    text = "\n".join([HEAD, "C0,G1,E01,1,yes,1.5,low,full,2026-04-18,seen well", *lines]) + "\n"
    by_cast = loaded(folder, text)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(stage, "_MANY_ROWS", 0)
        assert loaded(folder, text) == by_cast
        patch.setattr(land, "plain_pattern", lambda *_: None)
        assert loaded(folder, text) == by_cast
        patch.setattr(land, "is_simple", lambda *_: False)
        assert loaded(folder, text) == by_cast


def test_each_allowed_value_of_a_large_sheet_is_kept_as_it_is_written(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    fields = [field for field in table("plate_calls").fields if field.enum and not field.list_separator]
    values = [(field.name, value) for field in fields for value in field.enum]
    head = ",".join(["call_id", "game_id", "evaluator_id", *(field.name for field in fields)])
    lines = [
        ",".join([f"C{place}", "G1", "E01", *(value if field.name == name else "" for field in fields)])
        for place, (name, value) in enumerate(values)
    ]
    monkeypatch.setattr(stage, "_MANY_ROWS", 0)
    done = loaded(folder, "\n".join([head, *lines]) + "\n")
    names = ["row_id", "file_id", "line_no", *table("plate_calls").field_names]
    rows = {row[names.index("call_id")]: dict(zip(names, row, strict=True)) for row in done["staged.plate_calls"]}
    assert [(name, rows[f"C{place}"][name]) for place, (name, _) in enumerate(values)] == values


def test_empty_and_broken_lines_do_not_send_a_sheet_the_slow_way(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(land, "land_exact", lambda *_: pytest.fail("the exact way was taken"))
    rows = "C1,G1,E01,1,yes,1.5,low,full,2026-04-18,seen well\n\nC2,G1\n"
    done = loaded(folder, f"{HEAD}\n{rows}" + "\n" * 1000)
    assert [row[1:3] for row in done["raw.plate_calls"]] == [(2, rows.splitlines()[0])]
    assert [(row[3], row[6]) for row in done["meta.reject"]] == [
        (4, f"the row has 2 cells, the heading line has {len(COLUMNS)}")
    ]
    account = next(row for row in done["meta.file"] if row[1] == "plate_calls.csv")
    # Columns of meta.file from the eleventh on: rows in, blank, staged, rejected.
    assert account[10:14] == (2, 1001, 1, 1)


def test_a_cell_in_quotation_marks_is_read_without_them_and_kept_with_them(folder: Path) -> None:
    line = '"C1",G1,E01,1,yes,1.5,low,full,2026-04-18,"a, ""b"""'
    (row,) = loaded(folder, f"{HEAD}\n{line}\n")["raw.plate_calls"]
    names = ["file_id", "line_no", "raw_text", *table("plate_calls").field_names]
    cells = dict(zip(names, row, strict=True))
    assert (cells["raw_text"], cells["call_id"], cells["note"]) == (line, "C1", 'a, "b"')
