"""Time and memory of the check step on the demo season, its plate calls multiplied. Run by hand:

    python tests/bench/bench_checks.py 1 10 40

Each copy of the calls gets ids and games of its own, and measures moved a little so that no sheet is a copy. One
process per size, so that the resident size is that of this size alone.
"""

from __future__ import annotations

import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

SEASON = Path(__file__).resolve().parents[2] / "demo_data" / "season"


def multiply(store, times: int) -> None:
    """Add the games and calls of the season `times - 1` times more, as further lines of the same files."""
    for layer in ("raw", "staged"):
        for table in ("games", "plate_calls"):
            moved = {"line_no": "line_no + n * 10000000", "game_id": "game_id || '-' || n"}
            if table == "plate_calls":
                moved["call_id"] = "call_id || '-' || n"
            if layer == "staged":
                moved["row_id"] = "row_id + n * 10000000"
                if table == "plate_calls":
                    moved["ball_x_in"] = "ball_x_in + n / 1000.0"
            target = f"{table}_line" if layer == "raw" else f"{table}_row"
            stored = store.rows(
                "SELECT column_name FROM duckdb_columns() WHERE schema_name = ? AND table_name = ?",
                [layer, target],
            )
            names = ", ".join(moved.get(name, f'"{name}"') + f' AS "{name}"' for (name,) in stored)
            store.run(
                f"INSERT INTO {layer}.{target} BY NAME SELECT {names} "
                f"FROM {layer}.{target} AS rows, range(1, {times}) AS r(n)"
            )
    store.run(
        "UPDATE meta.file SET rows_in = rows_in + (SELECT count(*) FROM (SELECT file_id, line_no FROM staged.games "
        "UNION ALL SELECT file_id, line_no FROM staged.plate_calls) AS rows "
        "WHERE rows.file_id = file.file_id AND line_no > 10000000)"
    )


def run_one(times: int) -> None:
    from pipeline.checks.check import check_season
    from pipeline.config import read_config
    from pipeline.ingest.load import load_season
    from pipeline.store import Store

    with tempfile.TemporaryDirectory() as folder, Store() as store:
        config = read_config(SEASON, Path(folder))
        load_season(config, store)
        multiply(store, times)
        calls = store.value("SELECT count(*) FROM staged.plate_calls")
        for label in ("first, importing great-expectations", "again"):
            start = time.perf_counter()
            done = check_season(config, store)
            seconds = time.perf_counter() - start
            peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
            sys.stdout.write(f"{calls:>9,} calls, {label}: {seconds:6.2f} s, {peak:,.0f} MB at most, {done.notes}\n")
            sys.stdout.flush()


if __name__ == "__main__":
    if len(sys.argv) == 3 and sys.argv[1] == "--one":
        run_one(int(sys.argv[2]))
    else:
        for size in sys.argv[1:] or ["1", "10"]:
            subprocess.run([sys.executable, __file__, "--one", size], check=True)
