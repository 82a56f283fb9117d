"""CPU seconds from a CSV of plate calls to checked and staged, beside the engine's own reader of that file. By hand:

    python tests/bench/bench_intake.py                       (1,000,000 rows of 20 columns)
    python tests/bench/bench_intake.py --rows 5000000 --times 5
    python tests/bench/bench_intake.py --load-only

The bare reader is measured before and after each intake, as a machine is not always equally fast; the better counts.
The calls are the demo season's, each copy with ids and games of its own and measures moved a little, so that no sheet
is a copy. The measure to compare with is `CREATE TABLE AS` of a typed `read_csv` of the same file, into a store in a
file as ours, in the same run. Seconds are of CPU, of all threads: other work on the machine moves the clock more.
"""

from __future__ import annotations

import argparse
import functools
import resource
import shutil
import sys
import tempfile
import time
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
from operator import truediv
from pathlib import Path
from statistics import median
from typing import Any

say = sys.stdout.write
SEASON = Path(__file__).resolve().parents[2] / "demo_data" / "season"
PLAIN = ("01", "02", "03", "04", "05", "06", "09", "10")
"""Evaluators of the demo season whose sheets are plain."""

COLUMNS = (
    "call_id", "game_id", "evaluator_id", "inning", "half", "outs", "balls", "strikes", "batter_side", "pitcher_hand",
    "pitch_kind", "pitch_mph", "ball_x_in", "ball_z_in", "zone_low_in", "zone_high_in", "location_source", "swing",
    "ruled_pitch", "grade",
)  # fmt: skip
GAME = "CASE WHEN n = 0 THEN game_id ELSE game_id || '-' || n END"
"""The id of a copied game; the first copy keeps its own, which the season's other sheets name."""

LOAD_PARTS = {
    "pipeline.ingest.load": ("land", "stage", "_settle", "_refuse_empty_season"),
    "pipeline.ingest.files": ("hash_file", "decide_encoding", "as_utf8", "measure", "find_sources"),
    "pipeline.ingest.land": ("is_exact", "number_lines", "land_lines", "land_split", "land_exact", "_take_out", "_take_out_broken"),
    "pipeline.ingest.versions": ("remember", "record"),
    "pipeline.ingest.mends": ("apply_mends",),
}
CHECK_PARTS = {
    "pipeline.checks.check": ("_part_all", "balance_books", "confirm", "_write_results", "find_across"),
    "pipeline.checks.validation": ("run_suite",),
}


def cpu() -> float:
    """Seconds of CPU that this process has used, on all its threads."""
    used = resource.getrusage(resource.RUSAGE_SELF)
    return used.ru_utime + used.ru_stime


def make_season(folder: Path, rows: int) -> Path:
    """Write a season whose one sheet of plate calls has `rows` rows."""
    import duckdb

    folder.mkdir()
    for path in SEASON.iterdir():
        if path.is_file() and not path.name.startswith(("plate_calls", "games", "quiz", "amendments")):
            shutil.copy(path, folder)
    base = duckdb.connect(":memory:")
    base.execute(
        f"CREATE TABLE call AS SELECT {', '.join(COLUMNS)} FROM read_csv(?, all_varchar=true, union_by_name=true) "
        "WHERE call_id IS NOT NULL",
        [[str(SEASON / f"plate_calls_E{number}.csv") for number in PLAIN]],
    )
    copies = -(-rows // base.execute("SELECT count(*) FROM call").fetchone()[0])
    base.execute(
        f"COPY (SELECT call.* REPLACE (call_id || '-' || n AS call_id, {GAME} AS game_id, "
        "CAST(ball_x_in AS DECIMAL(9, 3)) + n / 1000 AS ball_x_in) "
        f"FROM range({copies}) AS r(n), call LIMIT {rows}) TO '{folder / 'plate_calls.csv'}' (HEADER)"
    )
    base.execute(
        f"COPY (SELECT game.* REPLACE ({GAME} AS game_id) FROM "
        f"range({copies}) AS r(n), read_csv('{SEASON / 'games.csv'}', all_varchar=true) AS game) "
        f"TO '{folder / 'games.csv'}' (HEADER)"
    )
    return folder


def bare(path: Path, store: Path, *, lines_too: bool = False) -> tuple[float, float]:
    """Read the sheet typed, with the engine alone, into a store in a file; return the seconds of CPU and by the clock.

    With `lines_too` each line is kept as it came as well, which is the least that an intake must do that loses nothing.
    """
    import duckdb

    import schemas

    table = schemas.table("plate_calls")
    typed = ", ".join(f"'{name}': '{table.field(name).duckdb_type}'" for name in COLUMNS)
    connection = duckdb.connect(str(store))
    start, clock = cpu(), time.perf_counter()
    connection.execute(
        f"CREATE TABLE call AS SELECT * FROM read_csv(?, header=true, auto_detect=false, delim=',', quote='\"', "
        f"escape='\"', columns={{{typed}}})",
        [str(path)],
    )
    if lines_too:
        connection.execute("CREATE TABLE line (line_no BIGINT, raw_text VARCHAR USING COMPRESSION zstd)")
        connection.execute(
            "INSERT INTO line SELECT row_number() OVER () + 1, raw_text FROM read_csv(?, header=true, "
            "auto_detect=false, delim='', quote='', escape='', columns={'raw_text': 'VARCHAR'})",
            [str(path)],
        )
    connection.close()
    store.unlink()
    return cpu() - start, time.perf_counter() - clock


BESIDE = ("confirm", "run_suite", "hash_file")
"""What runs in a thread of its own: its seconds are that thread's, and they are also in the parts that run meanwhile."""


def watch(parts: dict[str, tuple[str, ...]], spent: dict[str, float]) -> None:
    """Have the seconds of some functions added up under their names."""
    import importlib

    def timed(name: str, function: Callable[..., Any]) -> Callable[..., Any]:
        used = time.thread_time if name in BESIDE else cpu

        @functools.wraps(function)
        def call(*args: Any, **named: Any) -> Any:
            start = used()
            try:
                return function(*args, **named)
            finally:
                spent[name] = spent.get(name, 0.0) + used() - start

        return call

    for module_name, names in parts.items():
        module = importlib.import_module(module_name)
        for name in names:
            if hasattr(module, name):
                setattr(module, name, timed(name, getattr(module, name)))


def intake(season: Path, out: Path, *, load_only: bool, measure: float) -> tuple[float, float]:
    """Load and check a season as a run does, write the shares, and return the seconds of CPU and by the clock."""
    from pipeline.checks.check import check_season
    from pipeline.checks.expectations import import_ahead
    from pipeline.config import read_config
    from pipeline.ingest.load import load_season
    from pipeline.store import Store

    config = read_config(season, out)
    config.out.mkdir()
    total = waited = 0.0
    # As a run does: the package for the check is imported beside the load, and its seconds are in those of the load.
    load = load_season if load_only else functools.partial(load_season, meanwhile=import_ahead)
    steps = [("load", load, LOAD_PARTS), ("check", check_season, CHECK_PARTS)][: 1 if load_only else 2]
    with Store(config.store_path) as store:
        for label, step, parts in steps:
            spent: dict[str, float] = {}
            watch(parts, spent)
            start, clock = cpu(), time.perf_counter()
            done = step(config, store)
            seconds, wait = cpu() - start, time.perf_counter() - clock
            total, waited = total + seconds, waited + wait
            say(
                f"{label}: {seconds:.2f} s of CPU, {seconds / measure:.2f} times the bare reader; "
                f"{wait:.1f} s by the clock; {done.rows_in:,} rows in, {done.rows_out:,} out, {done.notes}\n"
            )
            for part, used in sorted(spent.items(), key=lambda item: -item[1]):
                say(f"    {part:<22} {used:7.2f} s  {used / seconds:6.1%}\n")
    return total, waited


def once(season: Path, folder: Path, *, load_only: bool) -> tuple[float, float, float, float]:
    """Measure the bare reader, the intake, and the bare reader again; return CPU and clock of the one and the other."""
    sheet = season / "plate_calls.csv"
    sheet.read_bytes()
    before = bare(sheet, folder / "bare.duckdb")
    total, waited = intake(season, folder / "out", load_only=load_only, measure=before[0])
    shutil.rmtree(folder / "out")
    used, clock = min(before, bare(sheet, folder / "bare.duckdb"))
    say(
        f"in all {total:.2f} s of CPU, the bare reader (better of before and after) {used:.2f}: {total / used:.2f} "
        f"times; {waited:.1f} s by the clock, {clock:.1f}: {waited / clock:.2f} times; "
        f"{resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:,.0f} MB at most\n"
    )
    return used, clock, total, waited


def main() -> None:
    """Measure, each time in a process of its own, and write the shares and the ratios."""
    asked = argparse.ArgumentParser()
    asked.add_argument("--rows", type=int, default=1_000_000)
    asked.add_argument("--times", type=int, default=1, help="how often both are measured, in turns")
    asked.add_argument("--load-only", action="store_true")
    given = asked.parse_args()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        season = make_season(folder / "season", given.rows)
        sheet = season / "plate_calls.csv"
        say(f"{given.rows:,} rows, {len(COLUMNS)} columns, {sheet.stat().st_size / 1e6:.0f} MB\n")
        floor, _ = bare(sheet, folder / "floor.duckdb", lines_too=True)
        say(f"typed read_csv and each line kept, which is the least that loses nothing: {floor:.2f} s of CPU\n")
        found = []
        for _ in range(given.times):
            # The package for the check is imported once in a process, and its seconds belong to each time.
            with ProcessPoolExecutor(1, mp_context=get_context("spawn")) as process:
                found.append(process.submit(once, season, folder, load_only=given.load_only).result())
    used, clock, total, waited = zip(*found, strict=True)
    say(
        f"lowest of {given.times}: {min(total):.2f} s of CPU, {min(total) / min(used):.2f} times the bare reader "
        f"({min(used):.2f} s); {min(waited):.1f} s by the clock, {min(waited) / min(clock):.2f} times ({min(clock):.1f} s)\n"
        f"middle of the ratios: {median(map(truediv, total, used)):.2f} by CPU, "
        f"{median(map(truediv, waited, clock)):.2f} by the clock\n"
    )


if __name__ == "__main__":
    main()
