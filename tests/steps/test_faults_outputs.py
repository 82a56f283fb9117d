"""Output folders and files killed at each single move: the old or the new, whole, and nothing left lying about."""

from __future__ import annotations

import contextlib
import errno
import os
import subprocess
import sys
from pathlib import Path

import pytest

from pipeline.errors import StorageError, UnwritableError
from pipeline.store import clear_leftovers, outputs, replaced_folder, scratch_folder, write_bytes

# The process kills itself just before the n-th time that it asks the system for something about files, for each n
# until it comes through; after each death the parent looks at what is there.
KILLED_AT_EACH_MOVE = """
import os, signal, sys
from pathlib import Path
from pipeline.store import clear_leftovers, outputs, replaced_folder, write_bytes

exchanges, kind, home = sys.argv[1] == "exchange", sys.argv[2], Path(sys.argv[3])
FILE_EVENTS = ("open", "os.", "shutil.", "tempfile.", "ctypes.")

def replace(word):
    if kind == "file":
        write_bytes(home / "thing", (word * 1000).encode())
        return
    with replaced_folder(home / "thing") as folder:
        (folder / "deep").mkdir()
        for name in ("one", "deep/two"):
            (folder / name).write_text(word)

def state():
    target = home / "thing"
    if kind == "file":
        return {target.read_bytes()[:3].decode()} if len(target.read_bytes()) == 3000 else {"half"}
    if not target.exists():
        return {"none"}
    found = [path.read_text() for path in target.rglob("*") if path.is_file()]
    return set(found) if len(found) == 2 else {"half"}

if not exchanges:
    outputs._exchange = lambda one, other: False
replace("old")
deaths, seen = 0, set()
for moment in range(1, 1000):
    replace("old")
    child = os.fork()
    if child == 0:
        left = moment
        def watch(event, arguments):
            global left
            if event.startswith(FILE_EVENTS):
                left -= 1
                if left == 0:
                    os.kill(os.getpid(), signal.SIGKILL)
        sys.addaudithook(watch)
        replace("new")
        os._exit(0)
    died = os.waitpid(child, 0)[1] == signal.SIGKILL
    deaths += died
    if exchanges or kind == "file":
        assert state() in ({"old"}, {"new"}), (moment, state())
    clear_leftovers(home)
    assert state() in ({"old"}, {"new"}), (moment, state())
    seen |= state()
    assert [path.name for path in home.iterdir()] == ["thing"], list(home.iterdir())
    if not died:
        break
assert seen == {"old", "new"}, seen
print(deaths)
"""


@pytest.mark.skipif(not hasattr(os, "fork"), reason="needs a system that forks")
@pytest.mark.parametrize("kind", ["folder", "file"])
@pytest.mark.parametrize("way", ["exchange", "two moves"])
def test_killed_before_each_single_move_the_old_or_the_new_stands_whole(tmp_path: Path, way: str, kind: str) -> None:
    if way == "exchange" and sys.platform != "linux":
        pytest.skip("tried on Linux only")
    done = subprocess.run(
        [sys.executable, "-W", "ignore", "-c", KILLED_AT_EACH_MOVE, way, kind, str(tmp_path)],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert int(done.stdout) >= (10 if kind == "folder" else 5)


@pytest.mark.skipif(sys.platform != "linux", reason="an exchange in one move is tried on Linux only")
def test_two_folders_are_exchanged_in_one_move_where_the_system_can(tmp_path: Path) -> None:
    one, other = tmp_path / "one", tmp_path / "other"
    one.mkdir()
    other.mkdir()
    (one / "was one").touch()
    assert outputs._exchange(one, other)
    assert (other / "was one").exists()
    assert not outputs._exchange(one, tmp_path / "not there")


def test_an_error_while_filling_leaves_the_old_folder_and_nothing_beside_it(tmp_path: Path) -> None:
    with replaced_folder(tmp_path / "site") as folder:
        (folder / "page").write_text("old")
    with contextlib.suppress(ZeroDivisionError), replaced_folder(tmp_path / "site") as folder:
        (folder / "page").write_text("new")
        raise ZeroDivisionError
    assert (tmp_path / "site" / "page").read_text() == "old"
    assert [path.name for path in tmp_path.iterdir()] == ["site"]


def test_a_folder_takes_the_place_of_a_link_or_a_file_of_its_name_without_touching_what_the_link_shows(
    tmp_path: Path,
) -> None:
    elsewhere = tmp_path / "elsewhere"
    elsewhere.mkdir()
    (elsewhere / "kept").touch()
    out = tmp_path / "out"
    out.mkdir()
    (out / "site").symlink_to(elsewhere)
    (out / "tables").write_text("a file")
    for name in ("site", "tables"):
        with replaced_folder(out / name) as folder:
            (folder / "page").touch()
        assert [path.name for path in (out / name).iterdir()] == ["page"]
    assert (elsewhere / "kept").exists()
    assert sorted(path.name for path in out.iterdir()) == ["site", "tables"]


def test_leftovers_are_cleared_and_other_hidden_files_are_left_alone(tmp_path: Path) -> None:
    (tmp_path / ".site.abc.part" / "deep").mkdir(parents=True)
    (tmp_path / ".manifest.json.abc.part").touch()
    (tmp_path / "validation").mkdir()
    (tmp_path / "validation" / ".suite.json.x.part").touch()
    (tmp_path / ".git").mkdir()
    (tmp_path / ".notes").touch()
    (tmp_path / "mine.part").touch()
    assert clear_leftovers(tmp_path) == 3
    assert sorted(path.name for path in tmp_path.iterdir()) == [".git", ".notes", "mine.part", "validation"]
    assert not list((tmp_path / "validation").iterdir())


def test_a_scratch_folder_lies_in_the_results_for_nobody_else_to_read_and_goes_away(tmp_path: Path) -> None:
    with scratch_folder(tmp_path / "out") as folder:
        assert folder.parent == tmp_path / "out"
        assert folder.name.startswith(".")
        assert os.name != "posix" or folder.stat().st_mode & 0o077 == 0
    assert not list((tmp_path / "out").iterdir())


@pytest.mark.parametrize("number", [errno.ENOSPC, errno.EDQUOT, errno.EFBIG])
def test_a_full_disk_is_told_with_file_and_remedy(tmp_path: Path, number: int) -> None:
    write_bytes(tmp_path / "page", b"old")
    with pytest.raises(StorageError) as caught, replaced_folder(tmp_path / "site"):
        raise OSError(number, os.strerror(number), str(tmp_path / "site" / "x"))
    assert "no room left" in str(caught.value)
    assert "make room" in str(caught.value)
    assert str(tmp_path) in str(caught.value)
    assert caught.value.exit_code == 3


def test_a_sheet_that_may_not_be_read_is_not_told_as_a_folder_that_may_not_be_written(tmp_path: Path) -> None:
    with pytest.raises(PermissionError), replaced_folder(tmp_path / "out" / "site"):
        raise PermissionError(errno.EACCES, "Permission denied", "/season/umpires.csv")


def test_results_cannot_go_where_a_file_stands(tmp_path: Path) -> None:
    (tmp_path / "out").write_text("a file")
    with pytest.raises(UnwritableError) as caught:
        write_bytes(tmp_path / "out" / "manifest.json", b"{}")
    assert "--out" in str(caught.value)
    assert caught.value.exit_code == 2
