"""Time and memory of the crossed-effects fit at three sizes. Run by hand:

    python tests/bench/bench_crossed_effects.py S M L [--games]

Simulated: right ~ umpire + evaluator + situation (logit), intercept 1.6, SDs .5 / .4 / .9, each umpire seen
by two to five evaluators. With `--games` each umpire's calls fall into games of about 60 calls with a game SD
of .25. One process per size, so that the resident size is that of this size alone.
"""

from __future__ import annotations

import resource
import subprocess
import sys
import time

import numpy as np

SIZES = {"S": (60, 12, 40, 12_000), "M": (1_000, 120, 80, 250_000), "L": (10_000, 800, 120, 4_000_000)}


def simulate(umpires: int, evaluators: int, situations: int, calls: int, games: bool, seed: int = 1):
    rng = np.random.default_rng(seed)
    umpire = np.sort(rng.integers(0, umpires, calls))
    seen_by = rng.integers(2, 6, umpires)
    panel = rng.integers(0, evaluators, (umpires, 5))
    evaluator = panel[umpire, rng.integers(0, 5, calls) % seen_by[umpire]]
    situation = rng.integers(0, situations, calls)
    eta = (
        1.6
        + rng.normal(0, 0.5, umpires)[umpire]
        + rng.normal(0, 0.4, evaluators)[evaluator]
        + rng.normal(0, 0.9, situations)[situation]
    )
    factors = {"umpire": umpire, "evaluator": evaluator, "situation": situation}
    nested = None
    if games:
        per_umpire = max(1, round(calls / umpires / 60))
        game = umpire * per_umpire + rng.integers(0, per_umpire, calls)
        eta = eta + rng.normal(0, 0.25, umpires * per_umpire)[game]
        # A game has one evaluator, as in a season.
        factors["game"], nested = game, {"game": "umpire"}
    right = (rng.random(calls) < 1 / (1 + np.exp(-eta))).astype(float)
    return right, np.ones(calls), factors, nested


def run_one(size: str, games: bool) -> None:
    from pipeline.scoring.crossed_effects import fit_crossed_effects
    from pipeline.scoring.posterior import draw_posterior

    right, trials, factors, nested = simulate(*SIZES[size], games)
    wall, cpu = time.perf_counter(), time.process_time()
    fit = fit_crossed_effects(right, trials, factors, nested, ("umpire", "evaluator"))
    fitted = time.process_time() - cpu
    sys.stdout.write(
        f"{size}{' with games' if games else ''}: fit {fitted:.2f} s CPU, "
        f"{time.perf_counter() - wall:.2f} s wall,"
        f" {fit.record.evaluations} evaluations, {fit.cells:,} cells, {fit.record.outcome}\n"
        f"  logL {fit.log_likelihood:.5f} intercept {fit.intercept:.4f} "
        f"{ {name: round(value, 4) for name, value in fit.sd.items()} }\n"
    )
    cpu = time.process_time()
    draw_posterior(fit, 1000, 1)
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6
    sys.stdout.write(
        f"  posterior with the SDs' uncertainty, 1,000 draws: {time.process_time() - cpu:.2f} s CPU; "
        f"whole process {time.process_time():.2f} s CPU, {peak:.2f} GB\n"
    )


if __name__ == "__main__":
    chosen = [name for name in sys.argv[1:] if name in SIZES]
    flags = [name for name in sys.argv[1:] if name not in SIZES]
    if len(chosen) == 1:
        run_one(chosen[0], "--games" in flags)
    else:
        for name in chosen or list(SIZES):
            subprocess.run([sys.executable, __file__, name, *flags], check=True)
