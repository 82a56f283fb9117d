"""The season store killed, damaged, held by another, or written by another version: told clearly, nothing lost."""

from __future__ import annotations

import contextlib
import os
import random
import shutil
import signal
import struct
import subprocess
import sys
import time
from pathlib import Path

import duckdb
import pytest

from pipeline.errors import StorageError, StoreBusyError, StoreError, StoreVersionError, UnwritableError
from pipeline.store import Store
from pipeline.store.version import own_layout
from schemas import store_tables
from schemas.store_tables import layout_fingerprint, meta_table_sql

KILLS = 25

# Each generation replaces two tables in one transaction: some with many rows, which go to the file itself when they
# are committed, some with few, which go to the log beside it.
ENDLESS_WORK = """
import sys
from pathlib import Path
from pipeline.store import Store
with Store(Path(sys.argv[1])) as store:
    generation = store.value("SELECT max(n) FROM facts.one") if store.has_table("facts.one") else 0
    print("ready", flush=True)
    while True:
        generation += 1
        rows = 150_000 if generation % 3 == 0 else 50
        with store.transaction():
            store.run("CREATE OR REPLACE TABLE facts.one AS SELECT $g AS n FROM range($r)", {"g": generation, "r": rows})
            store.run("CREATE OR REPLACE TABLE facts.two AS SELECT $g AS n FROM range($r)", {"g": generation, "r": rows})
"""


def program(text: str, *words: str) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-W", "ignore", "-c", text, *words], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    )


@pytest.fixture
def path(tmp_path: Path) -> Path:
    """A season store that holds a little."""
    made = tmp_path / "season.duckdb"
    with Store(made) as store, store.transaction():
        store.run("CREATE TABLE facts.one AS SELECT range AS n, repeat('x', 50) || range AS word FROM range(20000)")
    return made


def told(path: Path, **how: bool) -> StoreError:
    """Return what is said when the store is opened and read; what was there is not touched."""
    was = path.read_bytes() if path.is_file() else None
    with pytest.raises((StoreError, UnwritableError)) as caught, Store(path, **how) as store, store.transaction():
        store.rows("SELECT sum(hash(one)) FROM facts.one")
    assert was is None or path.read_bytes() == was
    assert str(path) in str(caught.value)
    assert caught.value.hint
    return caught.value


def read_or_fault(path: Path, sql: str, *, read_only: bool = False) -> list[tuple] | StoreError:
    try:
        with Store(path, read_only=read_only) as store, store.transaction():
            return store.rows(sql)
    except StoreError as fault:
        return fault


# Killed


@pytest.mark.skipif(os.name != "posix", reason="kills as POSIX systems do")
def test_a_store_killed_at_random_moments_holds_one_generation_of_both_tables(tmp_path: Path) -> None:
    path = tmp_path / "season.duckdb"
    rng = random.Random("killed store")
    last = with_log = 0
    for _ in range(KILLS):
        process = program(ENDLESS_WORK, str(path))
        assert process.stdout.readline() == "ready\n", process.stderr.read()
        time.sleep(rng.uniform(0, 0.3))
        process.send_signal(signal.SIGKILL)
        process.communicate()
        assert process.returncode == -signal.SIGKILL
        with_log += path.with_name("season.duckdb.wal").exists()
        with Store(path) as store:
            if not store.has_table("facts.one"):
                assert not store.has_table("facts.two")
                continue
            found = {store.rows(f"SELECT min(n), max(n), count(*) FROM facts.{name}")[0] for name in ("one", "two")}
            assert len(found) == 1
            low, high, rows = found.pop()
            assert low == high >= last
            assert rows == (150_000 if high % 3 == 0 else 50)
            last = high
    assert last > KILLS
    assert with_log


def test_a_transaction_that_fails_leaves_what_was_there(path: Path) -> None:
    with Store(path) as store:
        with contextlib.suppress(ZeroDivisionError), store.transaction():
            store.run("DROP TABLE facts.one")
            raise ZeroDivisionError
        assert store.value("SELECT count(*) FROM facts.one") == 20000


def left_with_log(folder: Path) -> Path:
    """Return a store whose last change is only in the log beside it, as after a kill."""
    path = folder / "season.duckdb"
    text = (
        "import os, signal, sys\nfrom pathlib import Path\nfrom pipeline.store import Store\n"
        "store = Store(Path(sys.argv[1]))\nstore.run('CREATE TABLE facts.one AS SELECT 1 AS n')\n"
        "store.run('CHECKPOINT')\nstore.run('INSERT INTO facts.one VALUES (2)')\n"
        "os.kill(os.getpid(), signal.SIGKILL)"
    )
    process = program(text, str(path))
    process.communicate()
    assert path.with_name("season.duckdb.wal").stat().st_size > 0
    return path


@pytest.mark.skipif(os.name != "posix", reason="kills as POSIX systems do")
class TestLog:
    """The log of committed changes that DuckDB keeps beside the file until it writes them into it."""

    def test_it_is_read_even_by_one_who_only_looks_and_stays(self, tmp_path: Path) -> None:
        path = left_with_log(tmp_path)
        with Store(path, read_only=True) as store:
            assert store.rows("SELECT n FROM facts.one ORDER BY n") == [(1,), (2,)]
        assert path.with_name("season.duckdb.wal").exists()
        with Store(path) as store:
            assert store.rows("SELECT n FROM facts.one ORDER BY n") == [(1,), (2,)]
        assert not path.with_name("season.duckdb.wal").exists()

    def test_a_last_entry_that_broke_off_was_never_committed(self, tmp_path: Path) -> None:
        path = left_with_log(tmp_path)
        log = path.with_name("season.duckdb.wal")
        log.write_bytes(log.read_bytes()[:-5])
        with Store(path) as store:
            assert store.rows("SELECT n FROM facts.one") == [(1,)]

    def test_one_that_is_damaged_is_refused_and_named_or_read_up_to_a_commit(self, tmp_path: Path) -> None:
        path = left_with_log(tmp_path)
        log = path.with_name("season.duckdb.wal")
        base, content = path.read_bytes(), log.read_bytes()
        refused = 0
        for place in range(len(content)):
            changed = bytearray(content)
            changed[place] ^= 0xFF
            path.write_bytes(base)
            log.write_bytes(changed)
            found = read_or_fault(path, "SELECT n FROM facts.one ORDER BY n")
            if isinstance(found, StoreError):
                refused += 1
                assert "season.duckdb.wal" in str(found)
                assert found.exit_code == 3
                assert (path.read_bytes(), log.read_bytes()) == (base, changed)
            else:
                # A changed length looks like an entry that broke off, which was never committed.
                assert found in ([(1,)], [(1,), (2,)])
        assert refused > len(content) / 2

    def test_one_of_another_store_is_refused_and_named(self, tmp_path: Path, path: Path) -> None:
        (tmp_path / "other").mkdir()
        shutil.copy(left_with_log(tmp_path / "other").with_name("season.duckdb.wal"), path.parent)
        assert "move this file (and season.duckdb.wal, if it is there) away" in str(told(path))


# Damaged


DAMAGE = {
    "nothing in it": lambda content: b"",
    "a text": lambda content: b"umpire_id,name\n" * 2000,
    "cut to a tenth": lambda content: content[: len(content) // 10],
    "cut to its head": lambda content: content[:4096],
    "cut by its end": lambda content: content[:-1000],
    "another head": lambda content: content[:8] + b"XXXX" + content[12:],
    "zeros behind its heads": lambda content: content[:12288] + bytes(len(content) - 12288),
}


@pytest.mark.parametrize("damage", DAMAGE.values(), ids=DAMAGE.keys())
def test_a_damaged_store_is_told_with_its_path_and_a_remedy_and_left_as_it_is(path: Path, damage) -> None:
    path.write_bytes(damage(path.read_bytes()))
    fault = told(path)
    assert "damaged, or is no season store" in str(fault)
    assert "made anew from the sheets" in fault.hint
    assert fault.exit_code == 3


def test_no_byte_can_be_changed_so_that_other_rows_are_read(path: Path) -> None:
    """Each block has its sum: a changed byte is found when its block is read, or was of no account."""
    content = path.read_bytes()
    with Store(path) as store:
        right = store.rows("SELECT sum(hash(one)), count(*) FROM facts.one AS one")
    rng = random.Random("bytes")
    refused = 0
    for _ in range(40):
        changed = bytearray(content)
        changed[rng.randrange(len(content))] ^= 1 << rng.randrange(8)
        path.write_bytes(changed)
        path.with_name("season.duckdb.wal").unlink(missing_ok=True)
        found = read_or_fault(path, "SELECT sum(hash(one)), count(*) FROM facts.one AS one", read_only=True)
        if isinstance(found, StoreError):
            refused += 1
            assert found.hint
        else:
            assert found == right
    assert refused


def test_a_folder_in_its_place_is_told(tmp_path: Path) -> None:
    (tmp_path / "season.duckdb").mkdir()
    assert told(tmp_path / "season.duckdb")


# Held by another


def test_a_store_that_another_program_has_open_is_busy_and_named(path: Path) -> None:
    process = program(
        "import sys, time\nfrom pathlib import Path\nfrom pipeline.store import Store\n"
        "with Store(Path(sys.argv[1])):\n    print('open', flush=True)\n    sys.stdin.read() or time.sleep(60)",
        str(path),
    )
    try:
        assert process.stdout.readline() == "open\n"
        for read_only in (False, True):
            with pytest.raises(StoreBusyError) as caught:
                Store(path, read_only=read_only)
            assert str(process.pid) in str(caught.value)
            assert "wait until its run is over" in str(caught.value)
            assert caught.value.exit_code == 2
    finally:
        process.kill()
        process.communicate()


# Other versions


def set_layout(path: Path, fingerprint: str, written_by: str) -> None:
    with duckdb.connect(str(path)) as connection:
        connection.execute("UPDATE meta.layout SET fingerprint = ?, written_by = ?", [fingerprint, written_by])


def test_a_store_of_a_newer_platework_is_refused_even_by_a_whole_run(path: Path) -> None:
    set_layout(path, "another", "99.0")
    for how in ({}, {"read_only": True}, {"renew": True}):
        fault = told(path, **how)
        assert isinstance(fault, StoreVersionError)
        assert "newer platework (99.0" in str(fault)
        assert "install the newer platework" in fault.hint
        assert fault.exit_code == 2


@pytest.mark.parametrize("how", ["other tables", "a number for a layout", "no layout at all"])
def test_a_store_of_an_older_platework_is_refused_by_a_stage_and_made_anew_by_a_run(path: Path, how: str) -> None:
    if how == "other tables":
        set_layout(path, "another", "0.0.9")
    else:
        with duckdb.connect(str(path)) as connection:
            connection.execute("DROP TABLE meta.layout")
            connection.execute("CREATE TABLE meta.file AS SELECT 1 AS file_id")
            if how == "a number for a layout":
                connection.execute("CREATE TABLE meta.layout AS SELECT 1 AS layout")
    for read_only in (False, True):
        fault = told(path, read_only=read_only)
        assert "older platework" in str(fault)
        assert "platework run" in fault.hint
        assert fault.exit_code == 2
    was = path.read_bytes()
    with Store(path, renew=True) as store:
        assert not store.has_table("facts.one")
        assert store.stages_done() == ()
    assert path.with_name("season.older.duckdb").read_bytes() == was
    # Another one does not overwrite the one that is kept.
    set_layout(path, "another", "0.0.9")
    Store(path, renew=True).close()
    assert path.with_name("season.older.duckdb").read_bytes() == was
    assert path.with_name("season.older-1.duckdb").exists()
    assert not list(path.parent.glob(".*"))


def test_a_store_made_anew_remembers_what_the_older_one_remembered_even_of_fewer_columns(path: Path) -> None:
    with Store(path) as store:
        store.run("CREATE TABLE meta.load_run AS SELECT 1::BIGINT AS run_no, 'abc' AS inputs_sha256, 7 AS dropped_since")
        store.run(meta_table_sql("archived_row"))
        store.run("INSERT INTO meta.archived_row (path, line_no, raw_text) VALUES ('a.csv', 2, 'C1,strike')")
    set_layout(path, "another", "0.0.9")
    with Store(path, renew=True) as store:
        assert store.rows("SELECT run_no, loaded_at, inputs_sha256 FROM meta.load_run") == [(1, None, "abc")]
        assert store.rows("SELECT path, line_no, raw_text FROM meta.archived_row") == [("a.csv", 2, "C1,strike")]


def test_the_layout_follows_from_the_declared_columns(monkeypatch: pytest.MonkeyPatch) -> None:
    assert own_layout().fingerprint == layout_fingerprint()
    more = {**store_tables.META, "finding": {**store_tables.META["finding"], "since": "VARCHAR"}}
    other = {**store_tables.META, "finding": {**store_tables.META["finding"], "row_id": "INTEGER"}}
    found = {layout_fingerprint()}
    for declared in (more, other):
        monkeypatch.setattr(store_tables, "META", declared)
        found.add(layout_fingerprint.__wrapped__())
    assert len(found) == 3


def test_a_stage_that_another_version_did_does_not_stand(path: Path) -> None:
    with Store(path) as store:
        for place, stage in enumerate(("load", "check", "score")):
            store.end_stage(stage, place)
        assert store.stages_done() == ("load", "check", "score")
        store.run("UPDATE meta.stage_done SET done_by = '0.0.9' WHERE stage = 'check'")
        assert store.stages_done() == ("load",)


def test_a_database_of_something_else_is_refused_and_left_alone(tmp_path: Path) -> None:
    path = tmp_path / "season.duckdb"
    with duckdb.connect(str(path)) as connection:
        connection.execute("CREATE TABLE accounts AS SELECT 1 AS n")
    fault = told(path, renew=True)
    assert "not a season store" in str(fault)
    assert fault.exit_code == 2


def check_sum(block: bytes) -> int:
    """DuckDB's sum of a head block, worked out from what two versions write: 64 bits, each word times a constant."""
    total = 5381
    for (word,) in struct.iter_unpack("<Q", block):
        total ^= word * 0xBF58476D1CE4E5B9 & (2**64 - 1)
    return total


def test_a_store_of_a_newer_engine_is_refused_with_a_remedy(path: Path) -> None:
    content = bytearray(path.read_bytes())
    assert struct.unpack_from("<Q", content, 0)[0] == check_sum(bytes(content[8:4096]))
    struct.pack_into("<Q", content, 12, 250)
    struct.pack_into("<Q", content, 0, check_sum(bytes(content[8:4096])))
    path.write_bytes(content)
    fault = told(path)
    assert isinstance(fault, StoreVersionError)
    assert "newer DuckDB" in str(fault)


def test_an_engine_without_room_is_told_as_a_full_disk(path: Path) -> None:
    with Store(path) as store, pytest.raises(StorageError, match="no room left") as caught, store.transaction():
        raise duckdb.IOException('IO Error: Could not write file "season.duckdb": No space left on device')
    assert caught.value.exit_code == 3


FULL_AT_THE_END = """
import resource, signal, sys
from pathlib import Path
from pipeline.errors import PlateworkError
from pipeline.store import Store
signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
path = Path(sys.argv[1])
store = Store(path)
with store.transaction():
    store.run("CREATE TABLE facts.late AS SELECT range AS n, hash(range)::VARCHAR AS word FROM range(15000)")
resource.setrlimit(resource.RLIMIT_FSIZE, (path.stat().st_size,) * 2)
try:
    store.close()
except PlateworkError as fault:
    print(fault.exit_code, fault)
else:
    print("said nothing")
"""


@pytest.mark.skipif(os.name != "posix", reason="limits as POSIX systems have them")
def test_a_log_that_cannot_be_brought_into_the_file_at_the_end_is_told_and_kept(path: Path) -> None:
    process = program(FULL_AT_THE_END, str(path))
    said, faults = process.communicate()
    assert said.startswith("3 "), said + faults
    assert "no room left" in said
    assert "make room" in said
    assert path.with_name("season.duckdb.wal").stat().st_size > 0
    with Store(path) as store:
        assert store.value("SELECT count(*) FROM facts.late") == 15000


def test_a_fault_inside_is_told_and_not_what_closing_says_after_it(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def fails(store: Store) -> None:
        raise StorageError("no room")

    with pytest.raises(ZeroDivisionError), Store(path) as store:  # noqa: PT012
        monkeypatch.setattr(Store, "close", fails)
        raise ZeroDivisionError
    store.connection.close()
