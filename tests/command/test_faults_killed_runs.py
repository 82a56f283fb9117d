"""A run that is killed at any moment leaves a store and outputs that are the ones before or the ones after."""

from __future__ import annotations

import contextlib
import hashlib
import importlib.util
import json
import os
import random
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import pytest

from pipeline.run import STAGES
from pipeline.store import Store

pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(sys.platform != "linux", reason="a child's processor time is read as Linux gives it"),
]

_SPEC = importlib.util.spec_from_file_location("small_season", Path(__file__).with_name("small_season.py"))
small_season = importlib.util.module_from_spec(_SPEC)
_SPEC.loader.exec_module(small_season)

FOLDERS = ("site", "packets", "tables", "quarantine")
FILES = ("manifest.json", "validation/suite.json", "validation/validation.json")
ONE_TRANSACTION = {"load", "check"}
"""Stages of one step each; those of others are held layer by layer."""

LATER_STEPS = {
    "rulings.pattern": "patterns", "rulings.pattern_text": "patterns", "rulings.quiz_key": "quiz keys",
    "rulings.item_ruling": "quiz keys", "scores.evaluator_health": "health", "scores.level_topic": "clinics",
    **{f"scores.clinic_{name}": "clinics" for name in ("attendee", "plan", "session", "subject", "target")},
    "rulings.clinic_play": "plays",
}  # fmt: skip
"""Tables of a layer that a later step of the stage writes, in a transaction of its own."""

STEPS = ("facts", "rulings", "patterns", "quiz keys", "scores", "health", "clinics", "plays")
"""The transactions of the stage `score`, in their order."""

KILLS = {"load": 12, "check": 12, "score": 12, "report": 12, "run": 6}


def hash_folder(folder: Path) -> str | None:
    if not folder.exists():
        return None
    digest = hashlib.sha256()
    for path in sorted(folder.rglob("*")):
        if path.is_file():
            digest.update(str(path.relative_to(folder)).encode() + b"\0" + path.read_bytes() + b"\0")
    return digest.hexdigest()


def hash_file(path: Path) -> str | None:
    if not path.exists():
        return None
    if path.name != "manifest.json":
        return hashlib.sha256(path.read_bytes()).hexdigest()
    said = json.loads(path.read_text())
    said.pop("times")
    # A stage alone names only its own steps.
    said.pop("steps")
    return json.dumps(said, sort_keys=True)


def outputs(out: Path) -> dict[str, str | None]:
    return {**{name: hash_folder(out / name) for name in FOLDERS}, **{name: hash_file(out / name) for name in FILES}}


def tables(out: Path) -> dict[str, tuple]:
    """Return the content of each table as a count and a hash that no order of rows changes; times are left out."""
    with Store(out / "season.duckdb") as store:
        return {
            name: store.rows(
                f"SELECT count(*), sum(hash(line)), '{columns}' FROM (SELECT {columns} FROM {name}) AS line"
            )[0]
            for name, columns in store.rows(
                "SELECT schema_name || '.' || table_name, string_agg('\"' || column_name || '\"', ', ' ORDER BY column_index) "
                "FROM duckdb_columns() WHERE NOT internal AND data_type <> 'TIMESTAMP' GROUP BY ALL ORDER BY 1"
            )
            if name != "meta.stage_done"
        }


def stages_done(out: Path) -> tuple[str, ...]:
    with Store(out / "season.duckdb") as store:
        return store.stages_done()


@dataclass
class Warm:
    """The warm process, the two seasons, and what undisturbed runs of them leave."""

    process: subprocess.Popen[str]
    folder: Path
    seasons: dict[str, Path]
    before: dict[str, Path] = field(default_factory=dict)
    seconds: dict[str, float] = field(default_factory=dict)

    def run(self, *words: str, kill_after: float | None = None) -> tuple[int, float]:
        """Run the command; kill it when it has used so much processor time. Return exit status and seconds used."""
        log = self.folder / "log"
        self.process.stdin.write(json.dumps([str(log), *words]) + "\n")
        self.process.stdin.flush()
        pid = int(self.process.stdout.readline())
        clock = (~pid << 3) | 2  # CLOCK of a process: clock_getcpuclockid(3), whose layout linux/posix-timers.h fixes
        used = 0.0
        with contextlib.suppress(OSError):
            while kill_after is not None:
                used = time.clock_gettime(clock)
                if used >= kill_after:
                    os.kill(pid, signal.SIGKILL)
                    break
                if is_over(pid):
                    break
                time.sleep(0.001)
            while kill_after is None and not is_over(pid):
                used = time.clock_gettime(clock)
                time.sleep(0.002)
        return int(self.process.stdout.readline()), used


def is_over(pid: int) -> bool:
    """Whether a process is gone or waits to be buried."""
    try:
        return Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0] == "Z"
    except OSError:
        return True


@pytest.fixture(scope="module")
def warm(tmp_path_factory) -> Iterator[Warm]:
    folder = tmp_path_factory.mktemp("killed")
    seasons = {version: small_season.write_small_season(folder / f"season_{version}", version) for version in "AB"}
    with subprocess.Popen(
        [sys.executable, "-W", "ignore", str(Path(__file__).with_name("warm_runs.py"))],
        stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True,
    ) as process:  # fmt: skip
        made = Warm(process, folder, seasons)
        out = folder / "out"
        # Both versions go to folders of one name: the text of a manifest and of remedies may hold it.
        process.stdin.write(json.dumps(["", "run", str(seasons["A"]), "--out", str(out), "--quiet"]) + "\n")
        process.stdin.flush()
        process.stdout.readline()
        assert int(process.stdout.readline()) in (0, 1 << 8)
        for stage in STAGES:
            made.before[stage] = Path(shutil.copytree(out, folder / f"before_{stage}"))
            status, made.seconds[stage] = made.run(stage, str(seasons["B"]), "--out", str(out), "--quiet")
            assert status in (0, 1 << 8), (folder / "log").read_text()
        made.before["run"] = made.before["load"]
        made.seconds["run"] = sum(made.seconds.values())
        made.before["nothing more"] = out
        yield made
        process.stdin.close()


def groups(stage: str, names: set[str]) -> dict[str, list[str]]:
    """Return the tables of each transaction of a stage."""
    made: dict[str, list[str]] = {}
    for name in names:
        layer = LATER_STEPS.get(name, name.partition(".")[0])
        made.setdefault(stage if stage in ONE_TRANSACTION else name if layer == "meta" else layer, []).append(name)
    return made


def assert_before_or_after(warm: Warm, stage: str, out: Path) -> str:
    """Hold what a killed stage left against what was there before and what an undisturbed one leaves."""
    following = (*STAGES, "nothing more")[STAGES.index(stage) + 1]
    before, after = tables(warm.before[stage]), tables(warm.before[following])
    found = tables(out)
    assert found.keys() <= before.keys() | after.keys()
    changed = {name for name in before.keys() | after.keys() if before.get(name) != after.get(name)}
    for name in found.keys() - changed:
        assert found[name] == before[name], name
    seen = set()
    found_in: dict[str, str] = {}
    for group, names in groups(stage, changed).items():
        states = {
            "before" if found.get(name) == before.get(name) else "after" if found.get(name) == after.get(name) else "?"
            for name in names
        }
        assert len(states) == 1, (group, {name: found.get(name) for name in names})
        assert states <= {"before", "after"}, group
        seen |= states
        found_in[group] = min(states)
    # No step stands before one that it rests on: "after" as far as it came, then "before".
    in_order = [found_in[step] for step in STEPS if step in found_in]
    assert in_order == sorted(in_order), found_in
    done = stages_done(out)
    if stage in done:
        # Before a load begins, everything still stands as the last run left it.
        assert seen == ({"before"} if stage == "load" and done == STAGES else {"after"})
    was, is_now, will_be = outputs(warm.before[stage]), outputs(out), outputs(warm.before[following])
    for name, content in is_now.items():
        assert content in (was[name], will_be[name]), name
    return "+".join(sorted(seen))


@pytest.mark.parametrize("stage", STAGES)
def test_a_stage_killed_at_a_random_moment_leaves_what_was_before_or_what_comes_after(warm: Warm, stage: str) -> None:
    rng = random.Random(f"killed {stage}")
    out = warm.folder / f"out_{stage}"
    killed = 0
    for _ in range(3 * KILLS[stage]):
        shutil.rmtree(out, ignore_errors=True)
        shutil.copytree(warm.before[stage], out)
        status, _used = warm.run(
            stage, str(warm.seasons["B"]), "--out", str(out), "--quiet",
            kill_after=rng.uniform(0, warm.seconds[stage]),
        )  # fmt: skip
        killed += status == signal.SIGKILL
        assert status in (signal.SIGKILL, 0, 1 << 8), (warm.folder / "log").read_text()
        assert_before_or_after(warm, stage, out)
        if killed == KILLS[stage]:
            break
    assert killed == KILLS[stage]
    assert_a_plain_run_heals(warm, out)


def test_a_whole_run_killed_again_and_again_is_healed_by_the_next(warm: Warm) -> None:
    rng = random.Random("killed run")
    out = Path(shutil.copytree(warm.before["run"], warm.folder / "out_run"))
    was, will_be = outputs(warm.before["run"]), outputs(warm.before["nothing more"])
    killed = 0
    for _ in range(3 * KILLS["run"]):
        status, _used = warm.run(
            "run", str(warm.seasons["B"]), "--out", str(out), "--quiet",
            kill_after=rng.uniform(0, warm.seconds["run"]),
        )  # fmt: skip
        killed += status == signal.SIGKILL
        for name, content in outputs(out).items():
            assert content in (was[name], will_be[name]), name
        with Store(out / "season.duckdb") as store:
            assert set(store.stages_done()) <= set(STAGES)
        if killed == KILLS["run"]:
            break
    assert killed == KILLS["run"]
    assert_a_plain_run_heals(warm, out)


def assert_a_plain_run_heals(warm: Warm, out: Path) -> None:
    status, _used = warm.run("run", str(warm.seasons["B"]), "--out", str(out), "--quiet")
    assert status in (0, 1 << 8), (warm.folder / "log").read_text()
    undisturbed = warm.before["nothing more"]
    assert outputs(out) == outputs(undisturbed)
    assert tables(out) == tables(undisturbed)
    assert stages_done(out) == STAGES
    assert not [path for path in out.rglob(".*") if path.suffix in (".part", ".old")]
    assert {path.name for path in out.iterdir()} == {path.name for path in undisturbed.iterdir()}
