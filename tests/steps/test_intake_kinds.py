"""Files as people's programs write them: each kind is used, or handed back with a reason."""

import io
import zipfile
from pathlib import Path

import pytest
import xlsxwriter

from pipeline import packed
from pipeline.config import Policy, RunConfig, read_policy
from pipeline.errors import ConfigError, FaultsError
from pipeline.ingest.load import load_season
from pipeline.publish.quarantine import write_quarantine
from pipeline.store import Store

UMPIRES = "umpire_id,name,level\nU01,Umpire One,varsity\n"
GAMES = "game_id,date,level,rule_code,plate_umpire_id\nG1,2026-04-18,varsity,nfhs,U01\n"
CALLS = "call_id,game_id,evaluator_id,outs,swing,note\nC1,G1,E01,1,full,first\nC2,G1,E01,,,second\n"


@pytest.fixture
def season(tmp_path: Path) -> Path:
    folder = tmp_path / "season"
    folder.mkdir()
    (folder / "umpires.csv").write_text(UMPIRES)
    (folder / "games.csv").write_text(GAMES)
    (folder / "plate_calls.csv").write_text(CALLS)
    return folder


def config_for(season: Path, date_order: str | None = None) -> RunConfig:
    return RunConfig(season, season.parent / "results", Policy("T", "", None, None, (), date_order=date_order))


@pytest.fixture
def load(season: Path):
    stores: list[Store] = []

    def loader(date_order: str | None = None) -> Store:
        stores.append(Store())
        load_season(config_for(season, date_order), stores[-1])
        return stores[-1]

    yield loader
    for store in stores:
        store.close()


def ids(store: Store) -> list[str]:
    return [row[0] for row in store.rows("SELECT call_id FROM staged.plate_calls ORDER BY call_id")]


def account(store: Store, path: str) -> tuple:
    return store.rows("SELECT rows_in, rows_staged, rows_rejected FROM meta.file WHERE path = ?", [path])[0]


# The whole grid of delimiters and encodings, with quoted line breaks and accents


@pytest.mark.parametrize("delimiter", [",", ";", "\t", "|"])
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "cp1252"])
def test_every_delimiter_in_every_encoding_keeps_line_breaks_and_accents(season, load, delimiter, encoding):
    lines = (
        ("call_id", "game_id", "evaluator_id", "outs", "swing", "note"),
        ("C1", "G1", "E01", "1", "full", '"José said:\r\ntwo lines"'),
        ("C2", "G1", "E01", "2", "", "plain"),
        ("C3", "G1"),
    )
    text = "\r\n".join(delimiter.join(line) for line in lines) + "\r\n"
    (season / "plate_calls.csv").write_bytes(text.encode(encoding))
    store = load()
    assert account(store, "plate_calls.csv") == (3, 2, 1)
    assert store.rows("SELECT call_id, line_no, outs, note FROM staged.plate_calls ORDER BY 1") == [
        ("C1", 2, 1, "José said:\r\ntwo lines"),
        ("C2", 4, 2, "plain"),
    ]
    reason = "the row has 2 cells, the heading line has 6"
    assert store.rows("SELECT line_no, reason, raw_text FROM meta.reject") == [(5, reason, f"C3{delimiter}G1")]


# Words and numbers as they are typed


@pytest.mark.parametrize("word", ["Y", "yes", "YES", "TRUE", "True", "1", "x", "X", " y ", "yes\u00a0", "\u202fyes", "“yes”", "‘Y’"])
def test_yes_is_understood_as_people_write_it(season, load, word):
    (season / "plate_calls.csv").write_text(f"call_id,game_id,evaluator_id,on_first\nC1,G1,E01,{word}\n")
    assert load().rows("SELECT on_first FROM staged.plate_calls") == [("yes",)]


@pytest.mark.parametrize(
    ("column", "given", "staged"),
    [
        ("contact", "foul\u00a0tip", "foul_tip"),
        ("contact", "Foul\u2011Tip", "foul_tip"),
        ("outs", "\u200b2\u200b", 2),
        ("outs", "“2”", 2),
        ("ball_x_in", "\u22124.5", -4.5),
        ("ball_x_in", "4.5\u00a0", 4.5),
        ("note", "\u00a0two words\u202f", "two words"),
        ("note", "“mine”", "“mine”"),
        ("note", "O’Dell", "O’Dell"),
    ],
)
def test_blanks_that_do_not_break_and_quotation_marks_of_word_processors_do_no_harm(season, load, column, given, staged):
    (season / "plate_calls.csv").write_text(f"call_id,game_id,evaluator_id,{column}\nC1,G1,E01,{given}\n")
    assert load().rows(f"SELECT {column} FROM staged.plate_calls") == [(staged,)]


def test_quotation_marks_of_word_processors_around_headings_do_no_harm(season, load):
    (season / "plate_calls.csv").write_text("“call_id”,“game id”,evaluator_id\u00a0\nC1,G1,E01\n")
    assert ids(load()) == ["C1"]


@pytest.mark.parametrize("delimiter", [";", "\t", "|"])
def test_decimal_commas_are_read_where_commas_do_not_delimit(season, load, delimiter):
    text = "call_id,game_id,evaluator_id,ball_x_in\nC1,G1,E01,-4.5\n".replace(",", delimiter).replace(".", ",")
    (season / "plate_calls.csv").write_text(text)
    store = load()
    assert store.rows("SELECT ball_x_in FROM staged.plate_calls") == [(-4.5,)]
    assert "decimal commas read" in store.value("SELECT notes FROM meta.file WHERE path = 'plate_calls.csv'")


# Days


@pytest.mark.parametrize(
    ("order", "given", "day"),
    [
        (None, "31.12.2026", "2026-12-31"),
        (None, "12/31/2026", "2026-12-31"),
        (None, "31/12/2026", "2026-12-31"),
        (None, "5/5/2026", "2026-05-05"),
        ("dmy", "03/04/2026", "2026-04-03"),
        ("mdy", "03/04/2026", "2026-03-04"),
        ("dmy", "3.4.2026", "2026-04-03"),
        ("mdy", "3-4-2026", "2026-03-04"),
        ("mdy", "2026-04-03", "2026-04-03"),
    ],
)
def test_days_are_read_where_they_can_be_but_one_or_the_season_says_which(season, load, order, given, day):
    (season / "games.csv").write_text(GAMES.replace("2026-04-18", given))
    store = load(order)
    assert store.value("SELECT CAST(date AS VARCHAR) FROM staged.games") == day
    noted = store.value("SELECT notes FROM meta.file WHERE path = 'games.csv'") or ""
    assert ("as the policy says" in noted) == (order is not None and not given.startswith("2026"))


@pytest.mark.parametrize(
    ("order", "given", "reason", "remedy"),
    [
        (None, "03/04/2026", "could be two different days", "write 2026-03-04 or 2026-04-03, whichever is meant"),
        (None, "3.4.2026", "could be two different days", "write 2026-03-04 or 2026-04-03, whichever is meant"),
        # A day that does not follow the setting says that one of the two is wrong.
        ("dmy", "12/31/2026", "as the policy says, as day-month-year", "write 2026-12-31"),
        ("mdy", "31.12.2026", "as the policy says, as month-day-year", "write 2026-12-31"),
        (None, "31/02/2026", "is not a day written as year-month-day", "write the day as year-month-day"),
        (None, "12/31.2026", "is not a day written as year-month-day", "write 2026-12-31"),
        ("dmy", "3/4/26", "as the policy says, as day-month-year", "write 2026-03-04 or 2026-04-03"),
    ],
)
def test_days_that_may_be_another_are_handed_back(season, load, order, given, reason, remedy):
    (season / "games_more.csv").write_text(GAMES.replace("2026-04-18", given).replace("G1", "G2"))
    found = load(order).rows("SELECT value, reason, remedy FROM meta.reject")
    assert [row[0] for row in found] == [given]
    assert reason in found[0][1]
    assert found[0][2].startswith(remedy)


def test_the_order_of_day_and_month_is_a_setting_of_the_policy(tmp_path):
    path = tmp_path / "policy.toml"
    path.write_text('[reading]\ndate_order = "dmy"\n[[levels]]\nid = "v"\n')
    assert read_policy(path).date_order == "dmy"
    path.write_text('[reading]\ndate_order = "ymd"\n[[levels]]\nid = "v"\n')
    with pytest.raises(ConfigError, match='write "dmy" or "mdy"'):
        read_policy(path)
    path.write_text('[reading]\ndate_ordr = "dmy"\n[[levels]]\nid = "v"\n')
    with pytest.raises(ConfigError, match="did you mean 'date_order'"):
        read_policy(path)


# Workbooks


def test_a_workbook_has_a_sheet_for_each_table_and_cells_of_every_kind(season, load):
    for name in ("umpires.csv", "games.csv", "plate_calls.csv"):
        (season / name).unlink()
    with xlsxwriter.Workbook(season / "season.xlsx") as book:
        rows = {
            "Umpires": [["umpire_id", "name", "level"], ["U01", "One", "varsity"]],
            "games": [["game_id", "date", "level", "rule_code", "plate_umpire_id"], ["G1", "12/31/2026", "v", "NFHS", "U01"]],
            "Plate_Calls north": [["call_id", "game_id", "evaluator_id", "outs", "on_first", "ball_x_in"], ["C1", "G1", "E01", 2, True, "-4,5"]],
            "Pivot": [["a", "b"], [1, 2]],
        }  # fmt: skip
        for name, lines in rows.items():
            sheet = book.add_worksheet(name)
            for number, line in enumerate(lines):
                sheet.write_row(number, 0, line)
    store = load()
    assert store.rows("SELECT outs, on_first, ball_x_in FROM staged.plate_calls") == [(2, "yes", -4.5)]
    assert store.value("SELECT CAST(date AS VARCHAR) FROM staged.games") == "2026-12-31"
    assert store.value("SELECT notes FROM meta.file WHERE sheet = 'Pivot'") == "not a sheet of ours: ignored"


# Many files, folders, .zip


def test_sheets_are_found_in_folders_and_under_the_endings_that_programs_give(season, load):
    (season / "plate_calls").mkdir()
    (season / "plate_calls" / "anna.tsv").write_text(CALLS.replace(",", "\t").replace("C1", "A1").replace("C2", "A2"))
    (season / "plate_calls_b.txt").write_text(CALLS.replace("C1", "B1").replace("C2", "B2"))
    (season / "readme.txt").write_text("not a sheet")
    assert ids(load()) == ["A1", "A2", "B1", "B2", "C1", "C2"]


def write_zip(path: Path, entries: dict[str, str | bytes]) -> None:
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as target:
        for name, content in entries.items():
            target.writestr(name, content)


def test_sheets_in_a_zip_are_loaded_under_the_path_inside_it(season, load):
    write_zip(
        season / "north.zip",
        {
            "april/plate_calls_anna.csv": CALLS.replace("C1", "A1").replace("C2", "A2"),
            "photo.jpg": b"\xff\xd8",
            "__MACOSX/april/plate_calls_anna.csv": "nonsense",
            ".hidden/plate_calls.csv": "nonsense",
            "budget.csv": "a,b\n1,2\n",
            "withdrawn/plate_calls_old.csv": CALLS,
        },
    )
    write_zip(season / "plate_calls.zip", {"berta.csv": CALLS.replace("C1", "B1").replace("C2", "B2")})
    store = load()
    assert ids(store) == ["A1", "A2", "B1", "B2", "C1", "C2"]
    assert store.rows("SELECT path, rows_staged, notes FROM meta.file WHERE path LIKE '%.zip%' ORDER BY path") == [
        ("north.zip/april/plate_calls_anna.csv", 2, None),
        ("north.zip/budget.csv", 0, "not a sheet of ours: ignored"),
        ("north.zip/withdrawn/plate_calls_old.csv", 0, "withdrawn: listed, not loaded"),
        ("plate_calls.zip/berta.csv", 2, None),
    ]


def test_a_workbook_in_a_zip_is_loaded(season, load):
    stream = io.BytesIO()
    with xlsxwriter.Workbook(stream, {"in_memory": True}) as book:
        sheet = book.add_worksheet("plate_calls")
        for number, line in enumerate(CALLS.replace("C1", "W1").replace("C2", "W2").splitlines()):
            sheet.write_row(number, 0, line.split(","))
    write_zip(season / "more.zip", {"book.xlsx": stream.getvalue()})
    assert ids(load()) == ["C1", "C2", "W1", "W2"]


def test_names_in_a_zip_never_lead_out_of_their_place(season, load):
    names = ("../../plate_calls_a.csv", "/etc/plate_calls_b.csv", "C:\\temp\\plate_calls_c.csv")
    calls = {name: CALLS.replace("C1", f"{n}1").replace("C2", f"{n}2") for n, name in enumerate(names)}
    write_zip(season / "odd.zip", calls)
    before = {path for path in season.parent.rglob("*") if "results" not in path.parts}
    store = load()
    assert len(ids(store)) == 8
    assert {path for path in season.parent.rglob("*") if "results" not in path.parts} == before
    assert [row[0] for row in store.rows("SELECT path FROM meta.file WHERE path LIKE 'odd%' ORDER BY path")] == [
        "odd.zip/etc/plate_calls_b.csv",
        "odd.zip/plate_calls_a.csv",
        "odd.zip/temp/plate_calls_c.csv",
    ]


def test_a_row_set_aside_from_a_zip_can_be_mended_and_put_back(season, load):
    write_zip(season / "north.zip", {"plate_calls_n.csv": CALLS.replace("C1", "N1").replace("C2", "N2").replace("full", "ful")})
    store = load()
    folder = season.parent / "quarantine"
    folder.mkdir()
    assert write_quarantine(config_for(season), store, folder) == 1
    mended = folder / "north" / "plate_calls_n-mend.csv"
    assert 'north.zip/plate_calls_n.csv,,2,' in mended.read_text(encoding="utf-8-sig")
    (season / "plate_calls_n-mend.csv").write_bytes(mended.read_bytes().replace(b",ful,", b",full,"))
    store = load()
    assert ids(store) == ["C1", "C2", "N1", "N2"]
    assert store.rows("SELECT state FROM meta.mend") == [("applied",)]


@pytest.mark.parametrize(
    ("entries", "words"),
    [
        ({"more.zip": b"PK"}, "it holds another .zip, 'more.zip', which is not opened"),
        ({"a/../plate_calls.csv": CALLS, "a/plate_calls.csv": CALLS}, "two files in it are called 'a/plate_calls.csv'"),
        ({f"{number}.csv": "" for number in range(packed.ENTRIES + 1)}, "it holds 2,001 files, and 2,000 are the most"),
        ({"plate_calls_z.csv": b"\0" * (packed.RATIO_FROM + (1 << 21))}, "unpacks to more than 200 times its size"),
    ],
)
def test_a_zip_that_cannot_be_used_is_refused_with_the_way_out(season, load, entries, words):
    write_zip(season / "bad.zip", entries)
    with pytest.raises(FaultsError) as caught:
        load()
    assert words in str(caught.value)
    assert "bad.zip" in str(caught.value)
    assert "unpack it yourself" in str(caught.value)


def test_a_zip_that_unpacks_to_too_much_in_all_is_refused(season, load, monkeypatch):
    monkeypatch.setattr(packed, "UNPACKED_BYTES", 2 * len(CALLS) - 1)
    write_zip(season / "big.zip", {"plate_calls_1.csv": CALLS, "plate_calls_2.csv": CALLS})
    with pytest.raises(FaultsError, match="its sheets unpack to more than"):
        load()


def test_a_damaged_zip_is_refused(season, load):
    write_zip(season / "cut.zip", {"plate_calls_1.csv": CALLS * 50})
    data = bytearray((season / "cut.zip").read_bytes())
    data[60:70] = b"\xff" * 10
    (season / "cut.zip").write_bytes(data)
    with pytest.raises(FaultsError, match="it is damaged"):
        load()
    (season / "cut.zip").write_bytes(b"no zip at all")
    with pytest.raises(FaultsError, match="it is damaged"):
        load()
