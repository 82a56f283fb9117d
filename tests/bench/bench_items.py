"""Time of the item models on 20,000 persons and 100 items. Run by hand:

    OPENBLAS_NUM_THREADS=1 python tests/bench/bench_items.py [persons items [share blank]]

Prints CPU seconds of each fit with its SEs, and how far the estimates lie from the truth in units of their SEs.
One thread: on a busy machine two threads that wait for each other cost many times one.
"""

from __future__ import annotations

import resource
import sys
import time

import numpy as np


def simulate(persons: int, items: int, blank: float, uneven: bool):
    rng = np.random.default_rng(1)
    ability, difficulty = rng.normal(size=(persons, 1)), rng.normal(size=items)
    slope = np.exp(rng.normal(0, 0.3, items)) if uneven else np.ones(items)
    table = (rng.random((persons, items)) < 1 / (1 + np.exp(-slope * (ability - difficulty)))).astype(float)
    table[rng.random(table.shape) < blank] = np.nan
    return table, slope, difficulty


def timed(name: str, work):
    cpu, wall = time.process_time(), time.perf_counter()
    found = work()
    spent = time.process_time() - cpu
    line = f"{name}: {spent:.2f} s CPU, {time.perf_counter() - wall:.2f} s wall, "
    sys.stdout.write(f"{line}{found.record.iterations} steps, {found.record.outcome}\n")
    return found


def miss(estimate, se, truth) -> None:
    sys.stdout.write(f"  mean squared error in SEs {np.mean(((estimate - truth) / se) ** 2):.2f}\n")


def main(persons: int, items: int, blank: float) -> None:
    from pipeline.scoring.items.answers import Answers
    from pipeline.scoring.items.rasch_conditional import fit_conditional_rasch
    from pipeline.scoring.items.rasch_marginal import fit_marginal_rasch
    from pipeline.scoring.items.two_parameter import fit_two_parameter
    from pipeline.scoring.threads import one_blas_thread

    sys.stdout.write(f"{persons:,} persons, {items} items, {blank:.0%} blank\n")
    with one_blas_thread():
        table, _, truth = simulate(persons, items, blank, uneven=False)
        cml = timed("Rasch, conditional", lambda: fit_conditional_rasch(Answers.of(table)))
        miss(cml.difficulty, cml.difficulty_se, truth - truth.mean())
        mml = timed("Rasch, marginal", lambda: fit_marginal_rasch(Answers.of(table)))
        miss(mml.difficulty, mml.difficulty_se, truth)
        table, slope, truth = simulate(persons, items, blank, uneven=True)
        answers = Answers.of(table)
        start = fit_marginal_rasch(answers)
        two = timed("Two-parameter", lambda: fit_two_parameter(answers, start.slope, -start.slope * start.difficulty))
        miss(two.slope, two.slope_se, slope)
        miss(two.difficulty, two.difficulty_se, truth)
    sys.stdout.write(f"peak {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6:.2f} GB\n")


if __name__ == "__main__":
    given = sys.argv[1:]
    main(
        int(given[0]) if given else 20_000,
        int(given[1]) if len(given) > 1 else 100,
        float(given[2]) if len(given) > 2 else 0.0,
    )
