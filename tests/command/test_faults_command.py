"""Full disks, closed folders, two runs at once, stores that cannot be used: a clear message, nothing lost."""

from __future__ import annotations

import contextlib
import importlib.util
import os
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

import duckdb
import pytest

_SPEC = importlib.util.spec_from_file_location("small_season", Path(__file__).with_name("small_season.py"))
small_season = importlib.util.module_from_spec(_SPEC)
_SPEC.loader.exec_module(small_season)

# Writing past this many bytes into one file fails as on a full disk. Python and DuckDB both meet it.
SMALL_DISK = """
import resource, signal, sys
signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
resource.setrlimit(resource.RLIMIT_FSIZE, (int(sys.argv[1]),) * 2)
"""
# First the same into another folder, so that all is imported: another user may not reach the interpreter's files.
OTHER_USER = """
import os, sys
from pipeline.cli import main
words, sys.argv = sys.argv, ["platework", "load", sys.argv[3], "--out", sys.argv[1], "--quiet"]
try:
    main()
except SystemExit:
    pass
sys.argv = words
os.setgroups([])
os.setgid(65534)
os.setuid(65534)
"""
COMMAND = """
import warnings
warnings.simplefilter("ignore")
from pipeline.cli import main
sys.argv = ["platework", *sys.argv[2:]]
main()
"""


def run(*words: object, before: str = "import sys", first: object = "") -> subprocess.CompletedProcess[str]:
    """Run the command after some lines of Python."""
    return subprocess.run(
        [sys.executable, "-c", before + COMMAND, str(first), *map(str, words)],
        capture_output=True, text=True, check=False,
    )  # fmt: skip


@pytest.fixture
def season(tmp_path: Path) -> Path:
    return small_season.write_small_season(tmp_path / "season")


@pytest.fixture(scope="module")
def loaded(tmp_path_factory) -> tuple[Path, Path]:
    """A season that was loaded into a folder."""
    folder = tmp_path_factory.mktemp("loaded")
    season = small_season.write_small_season(folder / "season")
    done = run("load", season, "--out", folder / "out")
    assert done.returncode in (0, 1), done.stderr
    return season, folder / "out"


def files_in(folder: Path) -> dict[str, bytes]:
    return {str(path.relative_to(folder)): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def assert_told(done: subprocess.CompletedProcess[str], code: int, *words: str) -> None:
    assert done.returncode == code, done.stderr
    assert "To do: " in done.stderr
    assert "fault of ours" not in done.stderr
    assert "Traceback" not in done.stderr
    for word in words:
        assert word in done.stderr


@pytest.mark.skipif(os.name != "posix", reason="limits as POSIX systems have them")
@pytest.mark.parametrize("room", [0, 8_000, 20_000], ids=["none at all", "a little", "some"])
def test_a_full_disk_is_told_and_what_was_there_stays(loaded: tuple[Path, Path], tmp_path: Path, room: int) -> None:
    season, _ = loaded
    out = tmp_path / "out"
    done = run("load", season, "--out", out, "--quiet", before=SMALL_DISK, first=room)
    assert_told(done, 3, "no room left", "make room", str(out))
    again = run("load", season, "--out", out, "--quiet")
    assert again.returncode in (0, 1), again.stderr
    assert sorted(path.name for path in out.iterdir()) == ["manifest.json", "season.duckdb"]


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A disk of 8 MiB of its own."""
    disk = tmp_path / "disk"
    disk.mkdir()
    mounted = shutil.which("mount") and subprocess.run(
        ["mount", "-t", "tmpfs", "-o", "size=8m", "none", str(disk)], capture_output=True, check=False
    )
    if not mounted or mounted.returncode:
        pytest.skip("a disk of its own cannot be mounted here")
    yield disk
    subprocess.run(["umount", str(disk)], check=True)


def test_a_disk_that_fills_up_in_a_later_run_leaves_the_store_as_the_last_step_left_it(
    season: Path, small_disk: Path
) -> None:
    out = small_disk / "out"
    done = run("load", season, "--out", out, "--quiet")
    assert done.returncode in (0, 1), done.stderr
    with duckdb.connect(str(out / "season.duckdb"), read_only=True) as store:
        was = store.execute("SELECT * FROM staged.plate_calls ORDER BY ALL").fetchall()
    with (small_disk / "filler").open("wb", buffering=0) as filler, contextlib.suppress(OSError):
        while True:
            filler.write(bytes(4096))
    before = (out / "manifest.json").read_bytes()
    assert_told(run("run", season, "--out", out, "--quiet"), 3, "no room left", "make room", str(out))
    (small_disk / "filler").unlink()
    assert (out / "manifest.json").read_bytes() == before
    assert {path.name for path in out.iterdir()} <= {"manifest.json", "season.duckdb", "season.duckdb.wal", "validation"}
    with duckdb.connect(str(out / "season.duckdb")) as store:
        assert store.execute("SELECT * FROM staged.plate_calls ORDER BY ALL").fetchall() == was
    done = run("load", season, "--out", out, "--quiet")
    assert done.returncode in (0, 1), done.stderr


@pytest.mark.slow
def test_a_disk_that_is_full_at_any_stage_is_told_and_the_stage_is_done_once_there_is_room(
    season: Path, small_disk: Path
) -> None:
    subprocess.run(["mount", "-o", "remount,size=64m", str(small_disk)], check=True)
    out = small_disk / "out"
    for stage in ("load", "check", "score", "report"):
        with (small_disk / "filler").open("wb", buffering=0) as filler, contextlib.suppress(OSError):
            while True:
                filler.write(bytes(4096))
        before = results_in(out)
        assert_told(run(stage, season, "--out", out, "--quiet"), 3, "no room left", "make room", str(out))
        assert results_in(out) == before
        (small_disk / "filler").unlink()
        done = run(stage, season, "--out", out, "--quiet")
        assert done.returncode in (0, 1), (stage, done.stderr)
    assert (out / "site" / "index.html").exists()


def results_in(out: Path) -> dict[str, bytes]:
    """Return the files of results but the store's, whose content is looked at by opening it."""
    return {name: content for name, content in files_in(out).items() if not name.startswith("season.duckdb")}


@pytest.mark.skipif(os.name != "posix" or os.getuid() != 0, reason="only root can become another user")
def test_a_folder_that_may_not_be_written_is_told_before_any_work() -> None:
    # Not in the folder for tests, which other users cannot reach.
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        folder.chmod(0o755)
        season = small_season.write_small_season(folder / "season")
        out = folder / "out"
        out.mkdir(mode=0o755)
        other = {"before": OTHER_USER, "first": folder / "other"}
        assert_told(run("load", season, "--out", out, **other), 2, str(out), "--out")
        assert not list(out.iterdir())
        assert_told(run("load", season, "--out", out / "deeper", **other), 2, str(out), "--out")
        # A store that is there but may not be written.
        done = run("load", season, "--out", out)
        assert done.returncode in (0, 1), done.stderr
        was = files_in(out)
        assert_told(run("load", season, "--out", out, **other), 2, str(out), "--out")
        assert files_in(out) == was


def test_a_file_where_the_results_should_go_is_told(season: Path, tmp_path: Path) -> None:
    (tmp_path / "out").write_text("mine")
    assert_told(run("run", season, "--out", tmp_path / "out"), 2, str(tmp_path / "out"), "--out")
    assert (tmp_path / "out").read_text() == "mine"


def test_a_second_run_into_one_folder_says_who_has_it_and_loses_nothing(season: Path, tmp_path: Path) -> None:
    out = tmp_path / "out"
    words = [sys.executable, "-W", "ignore", "-m", "pipeline", "run", str(season), "--out", str(out), "--quiet"]
    with subprocess.Popen(words, stderr=subprocess.PIPE, text=True) as first:
        while not (out / "season.duckdb").exists() and first.poll() is None:
            time.sleep(0.01)
        time.sleep(0.1)
        second = run("run", season, "--out", out)
        first_was_over = first.poll() is not None
        said = first.communicate()[1]
    assert not first_was_over, "the first run was over too soon for this test"
    assert_told(second, 2, "another program has this season open", str(first.pid), "wait until its run is over")
    assert first.returncode in (0, 1), said
    assert (out / "site" / "index.html").exists()


@pytest.mark.parametrize("content", [b"", b"umpire_id,name\n", bytes(100_000)], ids=["empty", "a text", "zeros"])
def test_a_damaged_store_stops_a_run_with_the_path_and_a_remedy(season: Path, tmp_path: Path, content: bytes) -> None:
    out = tmp_path / "out"
    out.mkdir()
    (out / "season.duckdb").write_bytes(content)
    assert_told(run("run", season, "--out", out), 3, str(out / "season.duckdb"), "made anew from the sheets")
    assert files_in(out) == {"season.duckdb": content}


def test_a_store_of_another_layout_is_refused_by_a_stage_and_a_newer_one_by_a_run(
    loaded: tuple[Path, Path], tmp_path: Path
) -> None:
    season, was = loaded
    out = tmp_path / "out"
    out.mkdir()
    (out / "season.duckdb").write_bytes((was / "season.duckdb").read_bytes())

    def set_layout(written_by: str) -> None:
        with duckdb.connect(str(out / "season.duckdb")) as connection:
            connection.execute("UPDATE meta.layout SET fingerprint = 'another', written_by = ?", [written_by])

    set_layout("99.0")
    for stage in ("load", "check", "run"):
        assert_told(run(stage, season, "--out", out), 2, "newer platework", "install the newer platework")
    set_layout("0.0.9")
    assert_told(run("check", season, "--out", out), 2, "older platework", "platework run")
    done = run("load", season, "--out", out)
    assert done.returncode in (0, 1), done.stderr
    assert "kept as" in done.stderr
    assert (out / "season.older.duckdb").exists()


def test_a_stage_does_not_build_on_what_was_scored_from_other_sheets(loaded: tuple[Path, Path]) -> None:
    season, out = loaded
    assert_told(run("report", season, "--out", out), 2, "platework score")
    assert_told(run("score", season, "--out", out), 2, "platework check")
