"""Time of one explanation, over 200 varied cases. Run by hand:

python tests/bench/bench_explain.py

The cases are drawn with a fixed seed: a quiet pitch with up to eight facts changed or not recorded, under every code,
with a call that is held against the ruling. The rules are loaded, and one case explained, before the clock starts.
Processor time is shown beside wall time, since other work on the machine stretches the latter.
"""

from __future__ import annotations

import datetime as dt
import random
import statistics
import sys
import time
from collections import Counter

from pipeline.rules.compile import rule_book
from pipeline.rules.explanation import document, explain
from pipeline.rules.explanation_words import fact_words
from pipeline.rules.misbeliefs import misbeliefs
from pipeline.rules.model import CODES
from pipeline.rules.vocabulary import facts

CASES = 200
DAY = dt.date(2026, 5, 1)
USUAL = {"pitch_caught": "yes", "on_first": "no", "on_second": "no", "on_third": "no"}


def varied_case(draw: random.Random) -> tuple[str, dict[str, str | None], dict[str, str]]:
    """A code, facts and a call."""
    known: dict[str, str | None] = {}
    for name, fact in facts().items():
        quiet = sorted(fact_words()[name].quiet)
        known[name] = USUAL.get(name) or (quiet[0] if quiet else draw.choice(fact.values))
    for name in draw.sample(sorted(known), draw.randint(0, 8)):
        known[name] = draw.choice((None, *facts()[name].values))
    call = {"pitch": draw.choice(("ball", "strike", "foul")), "batter": draw.choice(("at_bat", "out", "first_base"))}
    return draw.choice(CODES), known, call


def main() -> None:
    draw = random.Random(20260501)
    cases = [varied_case(draw) for _ in range(CASES)]
    book = rule_book()
    misbeliefs()
    explain(book, cases[0][0], DAY, cases[0][1], cases[0][2])
    milliseconds: list[float] = []
    processor: list[float] = []
    states: Counter[str] = Counter()
    for code, known, call in cases:
        start, started = time.perf_counter(), time.process_time()
        found = explain(book, code, DAY, known, call)
        document(found)
        processor.append((time.process_time() - started) * 1000)
        milliseconds.append((time.perf_counter() - start) * 1000)
        states[found.state] += 1
    sys.stdout.write(f"{CASES} explanations: {', '.join(f'{n} {state}' for state, n in sorted(states.items()))}\n")
    for clock, times in (("wall", milliseconds), ("processor", processor)):
        ordered = sorted(times)
        sys.stdout.write(
            f"{clock:>9}: mean {statistics.fmean(ordered):5.1f} ms, 95th percentile "
            f"{ordered[int(0.95 * CASES) - 1]:5.1f} ms, at most {ordered[-1]:5.1f} ms\n"
        )


if __name__ == "__main__":
    main()
