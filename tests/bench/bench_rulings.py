"""Time and memory of the rulings, beside the time to write the same calls to a new table. Run by hand:

    python tests/bench/bench_rulings.py                      (5,000,000 calls made of the demo season's)
    python tests/bench/bench_rulings.py 1000000 complete     (every call another set of facts, none missing)
    python tests/bench/bench_rulings.py 1000000 gaps         (likewise, each fact missing in one call of twenty)

The common table: each call is one of the demo season's with the count, the outs and the runners of three others of
its topic and code, so that sets of facts appear that the season does not have. Codes, days and blanks are in the
season's proportions. The other two are the worst case: every fact is drawn by itself (four times in five what a
blank cell is read as, or else nearly all would contradict themselves at the first question; otherwise any value), and
the codes too, on the days around every change of any code's rules.

Each runs on a store in a file, as a season does, and each time is the median of three. Seconds of CPU stand beside
them, since other work on the machine moves the clock more than those.
"""

from __future__ import annotations

import resource
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

SEASON = Path(__file__).resolve().parents[2] / "demo_data" / "season"
BLOCKS = (("balls", "strikes"), ("outs",), ("on_", "stealing_"))
"""Facts that are taken together from another call of the same topic and code; a name that ends in _ begins several."""


def make_common(store, calls: int) -> None:
    """Make `facts.fct_call` out of the demo season's calls."""
    from pipeline.checks.check import check_season
    from pipeline.config import read_config
    from pipeline.facts.build import build_facts
    from pipeline.ingest.load import load_season
    from pipeline.rules.dimensions import zone_measures
    from pipeline.rules.vocabulary import recorded_facts

    with tempfile.TemporaryDirectory() as folder:
        config = read_config(SEASON, Path(folder))
        for step in (load_season, check_season):
            step(config, store)
        build_facts(config, store, zone_measures())
    # A spot is a call's place in the order by topic and code, so that each draw is found by one number.
    store.run(
        "CREATE TEMP TABLE base AS SELECT *, min(spot) OVER (PARTITION BY topic, rule_code) AS first_spot, "
        "count(*) OVER (PARTITION BY topic, rule_code) AS spots FROM "
        "(SELECT *, row_number() OVER (ORDER BY topic, rule_code, call_id) AS spot FROM facts.fct_call)"
    )
    store.run(
        "CREATE TEMP TABLE drawn AS SELECT n, spot, "
        + ", ".join(
            f"first_spot + CAST(hash(n * 10 + {number}) % spots AS BIGINT) AS spot_{number}"
            for number in range(1, len(BLOCKS) + 1)
        )
        + f" FROM (SELECT n, 1 + CAST(hash(n) % (SELECT count(*) FROM base) AS BIGINT) AS spot FROM range({calls}) AS r(n))"
        " JOIN base USING (spot)"
    )
    taken, joins = [], ""
    for number, block in enumerate(BLOCKS, 1):
        mine = [name for name in recorded_facts() if name.startswith(block) and (name in block or block[0][-1] == "_")]
        taken += [f"b{number}.{name} AS {name}" for name in mine]
        joins += f" JOIN base AS b{number} ON b{number}.spot = drawn.spot_{number}"
    store.run(
        "CREATE OR REPLACE TABLE facts.fct_call AS SELECT play.* EXCLUDE (spot, first_spot, spots) "
        f"REPLACE ('P' || lpad(CAST(n AS VARCHAR), 8, '0') AS call_id, {', '.join(taken)}) "
        f"FROM drawn JOIN base AS play ON play.spot = drawn.spot{joins}"
    )
    store.run("DROP TABLE drawn")
    store.run("DROP TABLE base")


def make_random(store, calls: int, gaps: bool) -> None:
    """Make `facts.fct_call` with every fact drawn by itself."""
    import datetime as dt

    import schemas
    from pipeline.rules.compile import rule_book
    from pipeline.rules.model import CODES
    from pipeline.rules.vocabulary import recorded_facts

    book = rule_book()
    changes = sorted({regime.first_day for regime in book.regimes if regime.first_day})
    days = [day + dt.timedelta(days=step) for day in changes for step in (-1, 0)]
    blanks = {field.name: field.blank_value for field in schemas.table("plate_calls").fields}
    columns = []
    for number, (name, fact) in enumerate(recorded_facts().items()):
        listed = ", ".join(f"'{value}'" for value in fact.values)
        value = f"list_extract([{listed}], 1 + CAST(hash(n * 1000 + {number}) % {len(fact.values)} AS BIGINT))"
        if blanks.get(name) in fact.values:
            value = f"CASE WHEN hash(n * 1000 + {number + 250}) % 5 > 0 THEN '{blanks[name]}' ELSE {value} END"
        if fact.values[0].isdigit():
            value = f"CAST({value} AS BIGINT)"
        if gaps:
            value = f"CASE WHEN hash(n * 1000 + {number + 500}) % 20 > 0 THEN {value} END"
        columns.append(f"{value} AS {name}")
    coded = ", ".join(f"'{code}'" for code in CODES)
    dated = ", ".join(f"DATE '{day}'" for day in days)
    store.run(
        f"CREATE TABLE facts.fct_call AS SELECT 'P' || lpad(CAST(n AS VARCHAR), 8, '0') AS call_id, "
        f"list_extract([{coded}], 1 + CAST(hash(n * 1000 + 998) % {len(CODES)} AS BIGINT)) AS rule_code, "
        f"list_extract([{dated}], 1 + CAST(hash(n * 1000 + 999) % {len(days)} AS BIGINT)) AS game_on, "
        f"{', '.join(columns)} FROM range({calls}) AS r(n)"
    )


def timed(label: str, work, against: tuple[float, float] | None = None) -> tuple[float, float]:
    """Run three times; print and return the median seconds by the clock and of CPU, with their ratios to `against`."""
    took = []
    for _ in range(3):
        began, spent = time.perf_counter(), time.process_time()
        work()
        took.append((time.perf_counter() - began, time.process_time() - spent))
    clock, cpu = (statistics.median(column) for column in zip(*took, strict=True))
    ratio = f", {clock / against[0]:.2f} and {cpu / against[1]:.2f} times the copy" if against else ""
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6
    sys.stdout.write(f"  {label:<28} {clock:7.2f} s, {cpu:6.2f} s CPU{ratio}; {peak:.2f} GB at most so far\n")
    sys.stdout.flush()
    return clock, cpu


def run_one(calls: int, kind: str) -> None:
    from pipeline.rules.compile import rule_book
    from pipeline.rules.vocabulary import recorded_facts
    from pipeline.rulings.batch import rule_season, rule_table
    from pipeline.store import Store

    with tempfile.TemporaryDirectory() as folder, Store(Path(folder) / "bench.duckdb") as store:
        if kind == "common":
            make_common(store, calls)
        else:
            make_random(store, calls, kind == "gaps")
        store.run("CHECKPOINT")
        began = time.process_time()
        rule_book()
        compiled = time.process_time() - began
        names = ", ".join(recorded_facts())
        distinct = store.value(f"SELECT count(*) FROM (SELECT DISTINCT rule_code, {names} FROM facts.fct_call)")
        width = len(store.rows("DESCRIBE facts.fct_call"))
        threads = store.value("SELECT current_setting('threads')")
        sys.stdout.write(
            f"{calls:,} calls ({kind}), {width} columns, {len(recorded_facts())} deciding facts, {distinct:,} distinct "
            f"sets of code and facts; {threads} threads; "
            f"rules compiled in {compiled:.1f} s CPU, once, not counted below\n"
        )
        copy = timed("copy of the calls", lambda: store.run("CREATE OR REPLACE TABLE facts.copy AS FROM facts.fct_call"))
        store.run("DROP TABLE facts.copy")
        timed("rulings under the own code", lambda: rule_table(store, "facts.fct_call", "rulings.ruling"), copy)
        timed("rulings under all codes", lambda: rule_season(None, store), copy)
        states = store.rows("SELECT state, count(*) FROM rulings.ruling GROUP BY state ORDER BY state")
        other = store.value("SELECT count(*) FROM rulings.other_code")
        sys.stdout.write(f"  {', '.join(f'{state} {count:,}' for state, count in states)}; other codes {other:,}\n")


if __name__ == "__main__":
    if sys.argv[1:2] == ["--one"]:
        run_one(int(sys.argv[2]), sys.argv[3])
    else:
        size, kind = (sys.argv[1:] + ["5000000", "common"][len(sys.argv) - 1 :])[:2]
        subprocess.run([sys.executable, __file__, "--one", size, kind], check=True)
