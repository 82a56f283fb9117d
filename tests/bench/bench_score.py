"""Time and memory of each stage on the made-up season drawn larger. Run by hand:

    python tests/bench/bench_score.py FOLDER [scale] [stage,stage]

FOLDER keeps the season and its results, so that a stage can be measured again by itself. With a scale of 100 the
season has 4,800 umpires and 1.4 million calls. CPU seconds are those of the stage's whole process, on all cores.
"""

from __future__ import annotations

import os
import subprocess
import sys
import time
from pathlib import Path

STAGES = ("load", "check", "score", "report")


def measured(command: list[str]) -> tuple[float, float, float]:
    """Run a command; return its CPU seconds, seconds by the clock, and peak memory in GB."""
    began = time.perf_counter()
    running = subprocess.Popen(command, stderr=subprocess.DEVNULL, stdout=subprocess.DEVNULL)
    _, status, used = os.wait4(running.pid, 0)
    running.returncode = os.waitstatus_to_exitcode(status)
    if running.returncode > 1:
        raise SystemExit(f"{' '.join(command)} ended with exit code {running.returncode}")
    return used.ru_utime + used.ru_stime, time.perf_counter() - began, used.ru_maxrss / 1e6


def main(folder: Path, scale: int, stages: list[str]) -> None:
    season, out = folder / "season", folder / "results"
    if not (season / "policy.toml").exists():
        make = ["-m", "demo_data.make_demo_data", "--out", str(folder), "--scale", str(scale)]
        subprocess.run([sys.executable, *make], check=True)
    for stage in stages:
        cpu, clock, peak = measured([sys.executable, "-m", "pipeline", stage, str(season), "--out", str(out)])
        sys.stdout.write(f"{stage:7} {cpu:7.1f} s CPU {clock:7.1f} s by the clock {peak:6.2f} GB\n")
        sys.stdout.flush()


if __name__ == "__main__":
    given = sys.argv[1:]
    main(Path(given[0]), int(given[1]) if given[1:] else 100, given[2].split(",") if given[2:] else list(STAGES))
