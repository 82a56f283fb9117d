"""Time and memory of the crossed-effects fit at three sizes, from raw calls in DuckDB to effects with their SEs.

    python tests/bench/bench_crossed_effects.py S M L [--games] [--draws N] [--peers]

Simulated: right ~ umpire + evaluator + situation (logit), intercept 1.6, SDs .5 / .4 / .9, each umpire seen
by two to five evaluators. With `--games` each umpire's calls fall into games of about 60 calls, of one
evaluator, with a game SD of .25. A database of raw calls is made first; the measured process then opens it,
counts the cells, fits, and has effects with standard errors. CPU seconds are those of that whole process,
imports included. `--draws` adds joint draws and ranks of all umpires. `--peers` runs R's lme4 on the same
cells, if Rscript and lme4 are there.
"""

from __future__ import annotations

import resource
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path

SIZES = {"S": (60, 12, 40, 12_000), "M": (1_000, 120, 80, 250_000), "L": (10_000, 800, 120, 4_000_000)}

PEER = """
suppressMessages(library(lme4)); d <- read.csv(commandArgs(TRUE)[1]); t <- proc.time()
m <- glmer(cbind(y, n - y) ~ 1 + (1|umpire) + (1|evaluator) + (1|situation), d, binomial)
cat("  lme4", as.character(packageVersion("lme4")), "logL", format(as.numeric(logLik(m)), digits = 10), "SDs",
    round(sqrt(unlist(VarCorr(m))), 4), "CPU", sum((proc.time() - t)[1:2]), "s\\n")
"""


def simulate(path: Path, size: str, games: bool, seed: int = 1) -> None:
    """Write the table `calls` of a made-up season."""
    import duckdb
    import numpy as np
    import pandas as pd

    umpires, evaluators, situations, calls = SIZES[size]
    rng = np.random.default_rng(seed)
    umpire = np.sort(rng.integers(0, umpires, calls))
    seen_by, panel = rng.integers(2, 6, umpires), rng.integers(0, evaluators, (umpires, 5))
    situation = rng.integers(0, situations, calls)
    eta = 1.6 + rng.normal(0, 0.5, umpires)[umpire] + rng.normal(0, 0.9, situations)[situation]
    severity = rng.normal(0, 0.4, evaluators)
    frame = {"umpire": umpire, "situation": situation}
    if games:
        per_umpire = max(1, round(calls / umpires / 60))
        game = umpire * per_umpire + rng.integers(0, per_umpire, calls)
        by_game = rng.integers(0, 5, umpires * per_umpire)
        frame["evaluator"] = panel[umpire, by_game[game] % seen_by[umpire]]
        frame["game"] = game
        eta += rng.normal(0, 0.25, umpires * per_umpire)[game]
    else:
        frame["evaluator"] = panel[umpire, rng.integers(0, 5, calls) % seen_by[umpire]]
    eta += severity[frame["evaluator"]]
    frame["verdict"] = np.where(rng.random(calls) < 1 / (1 + np.exp(-eta)), "right", "wrong")
    table = pd.DataFrame(frame).sample(frac=1, random_state=seed)  # calls come in no order
    with duckdb.connect(str(path)) as con:
        con.register("frame", table)
        con.execute("CREATE TABLE calls AS SELECT * FROM frame")


def measure(path: Path, size: str, games: bool, draws: int) -> None:
    """Run one measured process: open, count cells, fit."""
    import duckdb
    import numpy as np

    from pipeline.scoring.crossed_effects import fit_crossed_effects

    names = ["umpire", *(["game"] if games else []), "evaluator", "situation"]
    with duckdb.connect(str(path), read_only=True) as con:
        con.execute("SET threads = 2")
        keys = ", ".join(names)
        cells = con.execute(
            f"SELECT {keys}, count(*) FILTER (verdict = 'right') AS y, count(*) AS n FROM calls GROUP BY ALL "
            f"ORDER BY {keys}"
        ).fetchnumpy()
    counted = time.process_time()
    factors = {name: cells[name].astype(np.int64) for name in names}
    nested = {"game": "umpire"} if games else None
    y, n = cells["y"].astype(float), cells["n"].astype(float)
    del cells
    fit = fit_crossed_effects(y, n, factors, nested, ("umpire", "evaluator"))
    done, peak = time.process_time(), resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6
    sys.stdout.write(
        f"{size}{' with games' if games else ''}: whole process {done:.2f} s CPU (start and cells {counted:.2f}), "
        f"{peak:.2f} GB; {fit.record.evaluations} evaluations, {fit.cells:,} cells, {fit.record.outcome}\n"
        f"  logL {fit.log_likelihood:.5f} intercept {fit.intercept:.4f} SE of the first umpire "
        f"{fit.effect_sds['umpire'][0]:.4f} SDs { {name: round(value, 4) for name, value in fit.sd.items()} }\n"
    )
    if draws:
        from pipeline.scoring.posterior import draw_posterior
        from pipeline.scoring.rankings import rank_draws

        start = time.process_time()
        posterior = draw_posterior(fit, draws, 1)
        drawn = time.process_time()
        effects = posterior.effects["umpire"].astype(np.float32)
        ranks = rank_draws(effects)
        low, high = np.quantile(ranks, [0.05, 0.95], axis=0, method="inverted_cdf")
        order = effects.mean(axis=0).argsort()[::-1]
        ahead = (effects[:, order[:-1]] > effects[:, order[1:]]).mean(axis=0)
        sys.stdout.write(
            f"  {draws:,} joint draws of {effects.shape[1]:,} umpires {drawn - start:.2f} s CPU; ranks, their intervals "
            f"and P(ahead of the next) {time.process_time() - drawn:.2f} s CPU "
            f"(mean width {float((high - low).mean()):.0f}, mean P {float(ahead.mean()):.3f}); "
            f"{resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6:.2f} GB\n"
        )


def peer(path: Path, folder: Path) -> None:
    """Run lme4 on the same cells, if it is there."""
    import duckdb

    program = shutil.which("Rscript")
    has_lme4 = program and subprocess.run([program, "-e", "library(lme4)"], capture_output=True).returncode == 0
    if not has_lme4:
        sys.stdout.write("  skipped: no Rscript with lme4 (Debian: r-cran-lme4)\n")
        return
    target = folder / "cells.csv"
    with duckdb.connect(str(path), read_only=True) as con:
        con.execute(
            "COPY (SELECT umpire, evaluator, situation, count(*) FILTER (verdict = 'right') AS y, count(*) AS n "
            f"FROM calls GROUP BY ALL ORDER BY ALL) TO '{target}'"
        )
    subprocess.run([program, "-e", PEER, str(target)], check=True)


def main() -> None:
    """Make each season in one process and measure the fit in another, so that the memory is that of the fit."""
    if sys.argv[1] in ("simulate", "measure"):
        step, path, size, games, draws = sys.argv[1:]
        if step == "simulate":
            simulate(Path(path), size, games == "True")
        else:
            measure(Path(path), size, games == "True", int(draws))
        return
    games = "--games" in sys.argv
    draws = sys.argv[sys.argv.index("--draws") + 1] if "--draws" in sys.argv else "0"
    for size in [word for word in sys.argv[1:] if word in SIZES] or list(SIZES):
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / "calls.duckdb"
            for step in ("simulate", "measure"):
                subprocess.run([sys.executable, __file__, step, str(path), size, str(games), draws], check=True)
            if "--peers" in sys.argv:
                peer(path, Path(folder))


if __name__ == "__main__":
    main()
