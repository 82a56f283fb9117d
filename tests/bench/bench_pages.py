"""Seconds, memory and bytes for the pages of a large association. By hand:

    python tests/bench/bench_pages.py RESULTS                      (5,000 umpires, all that they called)
    python tests/bench/bench_pages.py RESULTS --umpires 1000
    python tests/bench/bench_pages.py RESULTS --calls-each 40      (of each umpire no more than his first 40 calls)
    python tests/bench/bench_pages.py RESULTS --profile

RESULTS is what a run of the demo season left. Its published tables are copied under new ids until there are as many
umpires as asked for: 48 umpires, 10 evaluators and 13,982 calls become, a hundred and four times, 4,992 umpires with
1,454,128 calls (291 each, one half of them measured pitches), written down by 1,040 evaluators. Only the step that
writes pages is measured. Seconds of CPU are those of this process and of those that it starts; the clock depends on
what else the machine does.
"""

from __future__ import annotations

import argparse
import cProfile
import pstats
import resource
import sys
import tempfile
import time
from dataclasses import replace
from pathlib import Path

SEASON = Path(__file__).resolve().parents[2] / "demo_data" / "season"

OWN_IDS = ("umpire_id", "evaluator_id", "other_id", "call_id", "game_id", "finding_id")
"""Columns whose values are made anew in each copy. A table without any of them is taken once."""

ONCE = ("pub_clinic_attendee",)
"""Tables that do not grow with the association: a session has its seats, whoever could fill them."""


def copied(store, tables, source, copies, calls_each=None):
    """Fill the published tables with `copies` copies of those of the season store `source`; return the rows."""
    store.run(f"ATTACH '{source}' AS former (READ_ONLY)")
    rows = 0
    for table in tables:
        names = set(table.field_names)
        own = names & set(OWN_IDS)
        columns = []
        for field in table.fields:
            column = f't."{field.name}"'
            changed = field.name in own or (field.name == "name" and own)
            columns.append(f"{column} || if(c = 0, '', '-' || c) AS \"{field.name}\"" if changed else column)
        times = copies if own and table.name not in ONCE else 1
        store.run(
            f"CREATE OR REPLACE TABLE published.{table.name} AS SELECT {', '.join(columns)} "
            f"FROM former.published.{table.name} AS t, range({times}) AS r(c)"
        )
        rows += store.value(f"SELECT count(*) FROM published.{table.name}")
    store.run("DETACH former")
    if calls_each:
        store.run(
            "DELETE FROM published.pub_call WHERE call_id IN (SELECT call_id FROM published.pub_call QUALIFY "
            "row_number() OVER (PARTITION BY umpire_id ORDER BY game_on, game_id, line_no) > ?)",
            [calls_each],
        )
    # How many processes share the work follows from this count.
    store.run("UPDATE published.pub_season SET calls_accepted = (SELECT count(*) FROM published.pub_call)")
    return rows


def cpu():
    """Seconds of CPU of this process and of its children that have ended."""
    parts = (resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN))
    return sum(part.ru_utime + part.ru_stime for part in parts)


def tell(text):
    sys.stdout.write(f"{text}\n")
    sys.stdout.flush()


def main():
    from pipeline.config import RunConfig, read_policy
    from pipeline.store import Store
    from reports.build import build_site
    from schemas import layer_tables

    asked = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    asked.add_argument("results", type=Path)
    asked.add_argument("--umpires", type=int, default=5000)
    asked.add_argument("--calls-each", type=int)
    asked.add_argument("--workers", type=int, help="processes that share the work; otherwise as in a run")
    asked.add_argument("--profile", action="store_true")
    asked.add_argument("--keep", type=Path, help="folder for the pages; otherwise they are thrown away")
    words = asked.parse_args()
    with tempfile.TemporaryDirectory() as scratch:
        base = RunConfig(season=SEASON, out=Path(scratch) / "out", policy=read_policy(SEASON / "policy.toml"))
        config = replace(base, out=words.keep) if words.keep else base
        with Store(Path(scratch) / "season.duckdb") as store:
            copies = max(1, words.umpires // 48)
            started = time.perf_counter()
            copied(store, layer_tables("published"), words.results / "season.duckdb", copies, words.calls_each)
            calls = store.value("SELECT count(*) FROM published.pub_call")
            people = store.value("SELECT count(*) FROM published.pub_readiness")
            tell(f"{people:,} umpires judged, {calls:,} calls, filled in {time.perf_counter() - started:.0f} s")
            profile = cProfile.Profile() if words.profile else None
            before, started = cpu(), time.perf_counter()
            if profile:
                profile.enable()
            result = build_site(config, store, workers=words.workers)
            if profile:
                profile.disable()
            used, took = cpu() - before, time.perf_counter() - started
        sizes = [path.stat().st_size for path in config.out.rglob("*.html")]
        memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024
        tell(f"{result.rows_out:,} pages, {sum(sizes) / 1e6:,.0f} MB, the largest {max(sizes) / 1e3:,.0f} kB")
        tell(f"{used:.1f} s of CPU, {took:.1f} s by the clock, {memory:,} MB at most in this process")
        if profile:
            pstats.Stats(profile, stream=sys.stdout).sort_stats("tottime").print_stats(40)


if __name__ == "__main__":
    main()
