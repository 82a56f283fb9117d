"""What the store remembers of earlier versions stands beside it too: a torn or lost store loses none of it."""

from __future__ import annotations

import contextlib
import logging
import shutil
from pathlib import Path

import pytest

from pipeline.config import read_config
from pipeline.errors import StoreError
from pipeline.ingest.load import load_season
from pipeline.store import Store
from schemas.store_tables import HISTORY

SHEETS = {
    "umpires.csv": "umpire_id,name,level\nU1,A Person,low\n",
    "games.csv": "game_id,date,level,rule_code,plate_umpire_id\nG1,2026-04-01,low,nfhs,U1\n",
    "plate_calls_E1.csv": "call_id,game_id,evaluator_id,outs\nC1,G1,E1,1\n",
    "plate_calls_E2.csv": "call_id,game_id,evaluator_id,outs\nC9,G1,E2,0\n",
}
HEADING = "call_id,game_id,evaluator_id,outs\n"


@pytest.fixture
def season(tmp_path: Path) -> Path:
    folder = tmp_path / "season"
    folder.mkdir()
    for name, text in SHEETS.items():
        (folder / name).write_text(text, encoding="utf-8", newline="")
    (folder / "policy.toml").write_text('[[levels]]\nid = "low"\n', encoding="utf-8")
    return folder


def load(season: Path) -> Path:
    config = read_config(season, season.parent / "out")
    config.out.mkdir(exist_ok=True)
    with Store(config.store_path, renew=True) as store:
        load_season(config, store)
    return config.store_path


def remembered(path: Path) -> dict[str, list[tuple]]:
    with Store(path, read_only=True) as store:
        return {name: store.rows(f"SELECT * FROM meta.{name} ORDER BY ALL") for name in HISTORY}


def replace_calls(season: Path, outs: int) -> None:
    (season / "plate_calls_E1.csv").write_text(f"{HEADING}C1,G1,E1,{outs}\n", encoding="utf-8")


def lose(path: Path) -> None:
    path.unlink()
    path.with_name(f"{path.name}.wal").unlink(missing_ok=True)


def copied(path: Path) -> dict[str, bytes]:
    return {file.name: file.read_bytes() for file in sorted((path.parent / "history").glob("*"))}


def test_there_is_no_copy_until_a_sheet_changes_and_then_it_is_written_once(season: Path) -> None:
    path = load(season)
    assert not copied(path)
    load(season)
    assert not copied(path)
    replace_calls(season, 2)
    load(season)
    was = copied(path)
    assert sorted(was) == ["archived_row.parquet", "history.json", "load_run.parquet", "sheet_event.parquet",
                           "sheet_version.parquet"]  # fmt: skip
    load(season)
    assert copied(path) == was
    assert not list(path.parent.glob(".*"))


def test_a_lost_store_takes_all_it_remembered_from_the_copy_and_says_so(
    season: Path, caplog: pytest.LogCaptureFixture
) -> None:
    load(season)
    replace_calls(season, 2)
    path = load(season)
    was = remembered(path)
    assert was["archived_row"] == [("plate_calls_E1.csv", "", was["archived_row"][0][2], "plate_calls", 2, "C1", "C1,G1,E1,1")]
    lose(path)
    with caplog.at_level(logging.WARNING):
        load(season)
    assert "2 earlier loads" in caplog.text
    assert str(path.parent / "history") in caplog.text
    assert remembered(path) == was
    # And it goes on from there.
    replace_calls(season, 0)
    load(season)
    assert [row[0] for row in remembered(path)["load_run"]] == [1, 2, 3]
    assert len(remembered(path)["archived_row"]) == 2


def test_a_sheet_that_changed_while_the_store_was_lost_is_known_to_have_been_replaced(season: Path) -> None:
    load(season)
    replace_calls(season, 2)
    path = load(season)
    lose(path)
    (season / "plate_calls_E2.csv").write_text(f"{HEADING}C9,G1,E2,2\n", encoding="utf-8")
    load(season)
    with Store(path, read_only=True) as store:
        assert store.rows("SELECT event, path FROM meta.sheet_event WHERE run_no = 3") == [
            ("replaced", "plate_calls_E2.csv")
        ]
        # Its own rows went with the store; those of the sheet replaced before did not.
        assert store.rows("SELECT path, rows_kept FROM meta.sheet_version WHERE rows_kept IS NOT NULL ORDER BY 1") == [
            ("plate_calls_E1.csv", 1),
            ("plate_calls_E2.csv", 0),
        ]


def test_the_rows_of_a_replaced_sheet_are_in_the_copy_before_the_store_is_written(
    season: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = load(season)
    replace_calls(season, 2)
    run = Store.run

    def breaks_off(store: Store, sql: str, parameters: object = None) -> None:
        run(store, sql, parameters)
        if sql.startswith("COPY meta.archived_row"):
            raise KeyboardInterrupt

    with monkeypatch.context() as patched:
        patched.setattr(Store, "run", breaks_off)
        with pytest.raises(KeyboardInterrupt):
            load(season)
    # Broken off while the copy was written: neither is there.
    assert not copied(path)
    assert remembered(path)["archived_row"] == []

    execute = Store.transaction

    @contextlib.contextmanager
    def never_commits(store: Store):
        with execute(store):
            yield
            raise KeyboardInterrupt

    with monkeypatch.context() as patched:
        patched.setattr(Store, "transaction", never_commits)
        with pytest.raises(KeyboardInterrupt):
            load(season)
    assert copied(path)
    lose(path)
    load(season)
    assert [row[-1] for row in remembered(path)["archived_row"]] == ["C1,G1,E1,1"]


@pytest.mark.parametrize("harm", ["another byte", "a file is gone", "no account"])
def test_a_copy_that_is_damaged_too_is_refused_and_left_as_it_is(season: Path, harm: str) -> None:
    load(season)
    replace_calls(season, 2)
    path = load(season)
    lose(path)
    file = path.parent / "history" / "archived_row.parquet"
    if harm == "another byte":
        content = bytearray(file.read_bytes())
        content[len(content) // 2] ^= 1
        file.write_bytes(content)
    elif harm == "a file is gone":
        file.unlink()
    else:
        (path.parent / "history" / "history.json").write_text("{}")
    was = copied(path)
    with pytest.raises(StoreError, match="earlier versions of the sheets is damaged") as caught:
        load(season)
    assert "move the folder away" in str(caught.value)
    assert caught.value.exit_code == 3
    assert copied(path) == was


def damage_met(season: Path) -> StoreError | None:
    """Load, and return what is said of a damaged store."""
    try:
        load(season)
    except StoreError as fault:
        return fault
    return None


def test_whichever_block_of_the_store_is_torn_no_earlier_row_is_lost(season: Path) -> None:
    """A write that breaks off within a block, as when the power fails, leaves its first part new and the rest old."""
    rows = "".join(f"C{number},G1,E1,1\n" for number in range(20_000))
    (season / "plate_calls_E1.csv").write_text(HEADING + rows, encoding="utf-8")
    load(season)
    replace_calls(season, 2)
    path = load(season)
    was = remembered(path)
    assert len(was["archived_row"]) == 20_000
    content = path.read_bytes()
    shutil.copytree(path.parent / "history", season.parent / "copy")
    replace_calls(season, 0)
    # Heads of 4096 bytes, then blocks of 256 KiB (what DuckDB writes).
    places = [4096, *range(12288, len(content), 262_144)]
    refused = 0
    for place in places:
        torn = bytearray(content)
        torn[place + 2000 : place + 4096] = bytes(2096)
        path.write_bytes(torn)
        shutil.rmtree(path.parent / "history")
        shutil.copytree(season.parent / "copy", path.parent / "history")
        fault = damage_met(season)
        if fault is not None:
            refused += 1
            assert "history" in str(fault)
            lose(path)
            load(season)
        found = remembered(path)
        assert set(was["archived_row"]) <= set(found["archived_row"])
        assert [run[0] for run in found["load_run"]] == [1, 2, 3]
        lose(path)
    assert refused >= 2
