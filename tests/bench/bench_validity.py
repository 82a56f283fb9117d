"""Seasons with known truth, judged by the engine, by the plain percentage, and by R's lme4; the figures are stored.

    python tests/bench/bench_validity.py --cache FOLDER [--store] [--only DESIGN,...] [--quick]

Each season is simulated from a seed of its own (`pipeline/scoring/validity/simulate.py`), judged by the very
functions of the scoring step (`judge.py`) and held against the truth (`measures.py`). A group of seasons that
the cache holds is not run again, so the bench can be broken off and taken up. `--quick` runs a few seasons of
each group, in a minute or two. With `--store` the figures are written where the page of validity reads them.
lme4 (`glmer`, nAGQ = 1, the same cells) gets the first seasons of each group of the two smaller sizes, if
Rscript and lme4 are there; otherwise this is said and left out.
"""

from __future__ import annotations

import argparse
import csv
import json
import platform
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from dataclasses import asdict
from importlib.metadata import version
from pathlib import Path
from typing import Any

import numpy as np
from scipy.stats import t

from pipeline.scoring.validity import designs as d
from pipeline.scoring.validity.follow import follow_up
from pipeline.scoring.validity.judge import Judged, judge
from pipeline.scoring.validity.measures import Record, estimate_record, reliability, season_record, summarise
from pipeline.scoring.validity.plug_in import PlainFit, plain_fit, plug_in
from pipeline.scoring.validity.simulate import simulate

DRAWS = 2000
# Seasons by size: of the ordinary design, and of each hard one; and more of them where few are called ready. Chosen
# so that all take about 15 minutes of one core, lme4 apart.
SEASONS = {"24": (240, 50), "96": (40, 16), "480": (6, 3)}
MORE_SEASONS = {("few_looks", "24"): 100}
FOLLOWED = {"24": 100, "96": 15, "480": 0}
WITH_LME4 = {"24": 6, "96": 1, "480": 0}
REPLAYED = 2
STORED = Path(__file__).parents[2] / "schemas" / "known_truth.json"

PEER = """
suppressMessages(library(lme4)); args <- commandArgs(TRUE); options(digits = 12)
cat(as.character(packageVersion("lme4")), "\\n")
for (path in args) {
  c <- read.csv(path)
  m <- suppressMessages(suppressWarnings(glmer(
    cbind(y, n - y) ~ 1 + (1|umpire) + (1|evaluator) + (1|situation) + (1|game), c, binomial)))
  r <- as.data.frame(ranef(m, condVar = TRUE)); s <- as.data.frame(VarCorr(m))
  r <- r[r$grpvar %in% c("umpire", "situation"), ]
  out <- data.frame(kind = c("logLik", "intercept", paste0("sd_", s$grp), as.character(r$grpvar)),
    name = c("", "", rep("", nrow(s)), as.character(r$grp)),
    value = c(as.numeric(logLik(m)), fixef(m)[[1]], s$sdcor, r$condval),
    sd = c(NA, NA, rep(NA, nrow(s)), r$condsd))
  write.csv(out, sub("cells", "fit", path), row.names = FALSE)
}
"""


def has_lme4() -> bool:
    """Whether R with lme4 is there."""
    program = shutil.which("Rscript")
    if program is None:
        return False
    return subprocess.run([program, "-e", "library(lme4)"], capture_output=True).returncode == 0


def lme4_fits(seasons: list[Judged]) -> tuple[str, list[dict[str, PlainFit]]]:
    """Return the version of lme4, and by season and area its fit of the same cells."""
    with tempfile.TemporaryDirectory() as folder:
        paths: list[tuple[int, str, Path]] = []
        for k, judged in enumerate(seasons):
            for area, model in judged.models.items():
                path = Path(folder) / f"cells_{k}_{area}.csv"
                cells = model.cells[["umpire", "evaluator", "situation", "game", "successes", "trials"]]
                cells.rename(columns={"successes": "y", "trials": "n"}).to_csv(path, index=False)
                paths.append((k, area, path))
        names = [str(path) for *_, path in paths]
        done = subprocess.run(["Rscript", "-e", PEER, *names], capture_output=True, text=True, check=True)
        found: list[dict[str, PlainFit]] = [{} for _ in seasons]
        for k, area, path in paths:
            rows = list(csv.DictReader(path.with_name(path.name.replace("cells", "fit")).open()))
            model = seasons[k].models[area]
            found[k][area] = _read_fit(rows, len(model.umpires), len(model.situations))
    return done.stdout.split()[0], found


def _read_fit(rows: list[dict[str, str]], umpires: int, situations: int) -> PlainFit:
    one = {row["kind"]: float(row["value"]) for row in rows if not row["name"]}
    # Levels are the engine's codes; an absent one keeps the mode 0.
    modes, sds, hard = np.zeros(umpires), np.full(umpires, one["sd_umpire"]), np.zeros(situations)
    for row in rows:
        if row["kind"] == "umpire":
            modes[int(row["name"])], sds[int(row["name"])] = float(row["value"]), float(row["sd"])
        elif row["kind"] == "situation":
            hard[int(row["name"])] = float(row["value"])
    return PlainFit(one["intercept"], one["sd_game"], modes, sds, hard, one["logLik"])


def run_group(design: d.Design, size: d.Size, seasons: int, with_lme4: bool) -> dict[str, Any]:
    """Judge the seasons of one design and size; return the records of each."""
    records: dict[str, list[Record]] = {}
    outcomes: dict[str, int] = {}
    kept: list[Judged] = []
    cpu = time.process_time()
    for replicate in range(seasons):
        season = simulate(design, size, replicate)
        judged = judge(season, DRAWS, replicate)
        outcomes[judged.outcome] = outcomes.get(judged.outcome, 0) + 1
        for method in judged.by_method:
            records.setdefault(method, []).append(season_record(judged, method))
        if all(model.fit.has_estimates for model in judged.models.values()):
            said = plug_in({area: plain_fit(model) for area, model in judged.models.items()}, judged.models)
            records.setdefault("modes", []).append(
                estimate_record(said, judged.truth, judged.able, judged.linked)
            )
        if with_lme4 and replicate < WITH_LME4[size.key]:
            kept.append(judged)
        if design.key == "ordinary" and replicate < FOLLOWED[size.key]:
            records["platework"][-1] |= follow_up(season, judged, DRAWS, replicate)
    group: dict[str, Any] = {"records": records, "outcomes": outcomes, "cpu_s": round(time.process_time() - cpu, 1)}
    if kept:
        lme4, fits = lme4_fits(kept)
        records["lme4"] = [
            estimate_record(plug_in(fit, judged.models), judged.truth, judged.able, judged.linked)
            for fit, judged in zip(fits, kept, strict=True)
        ]
        records["platework_beside_lme4"] = records["platework"][: len(kept)]
        ours = [judged.models[area].fit.log_likelihood for judged in kept for area in judged.models]
        theirs = [fit[area].log_likelihood for fit in fits for area in fit]
        group |= {"lme4": lme4, "log_likelihood_ours_above": [a - b for a, b in zip(ours, theirs, strict=True)]}
    return group


def groups(only: set[str], quick: bool) -> Iterator[tuple[d.Design, d.Size, int]]:
    """Yield what is to be run, the ordinary design first."""
    for size in d.SIZES:
        for design in d.DESIGNS:
            if not only or design.key in only:
                number = SEASONS[size.key][design.key != "ordinary"]
                number = MORE_SEASONS.get((design.key, size.key), number)
                yield design, size, min(number, 3) if quick else number


def figures(cache: dict[tuple[str, str], dict[str, Any]]) -> list[dict[str, Any]]:
    """Return the rows of the stored result: one a design, size and method."""
    rows = []
    for (design, size), group in cache.items():
        for method, records in group["records"].items():
            said = summarise(records)
            row = {
                "design": design,
                "size": size,
                "method": method,
                "seasons": len(records),
                "figures": {name: _told(*figure, len(records)) for name, figure in sorted(said.items())},
            }
            if method == "platework":
                row |= {"outcomes": group["outcomes"], "reliability": [_tenth(one, len(records)) for one in reliability(records)]}
            rows.append(row)
    return rows


def _told(value: float, error: float, seasons: int) -> list[float | None]:
    """Return a value, its standard error, and the reach of its 95 % range."""
    return [_short(value), _short(error), _short(float(t.ppf(0.975, max(seasons - 1, 1))) * error)]


def _tenth(one: dict[str, float], seasons: int) -> dict[str, float | None]:
    able, _, reach = _told(one["able"], one["able_se"], seasons)
    return {"umpires": one["umpires"], "said": _short(one["said"]), "able": able, "able_reach": reach}


def _short(value: float) -> float | None:
    return None if np.isnan(value) else float(f"{value:.5g}")


def result(cache: dict[tuple[str, str], dict[str, Any]]) -> dict[str, Any]:
    """Return the stored result: provenance, figures, and the first seasons one by one, so that they can be replayed."""
    peers = [group for group in cache.values() if "lme4" in group]
    ahead = [one for group in peers for one in group["log_likelihood_ours_above"]]
    return {
        "made_by": "tests/bench/bench_validity.py --cache FOLDER --store",
        "versions": {name: version(name) for name in ("platework", "numpy", "scipy")}
        | {"python": platform.python_version(), "lme4": peers[0]["lme4"] if peers else None},
        "seed": d.SEED,
        "draws": DRAWS,
        "cuts": d.CUTS,
        "risk": d.RISK,
        "cpu_s": round(sum(group["cpu_s"] for group in cache.values())),
        "lme4_log_likelihood": {"fits": len(ahead), "ours_least_above": _short(min(ahead)),
                                "ours_most_above": _short(max(ahead))} if ahead else None,
        "designs": [asdict(design) for design in d.DESIGNS],
        "sizes": [asdict(size) for size in d.SIZES],
        "figures": figures(cache),
        "replays": [
            {"design": design, "size": size, "replicate": k, "record": {n: _short(v) for n, v in record.items()}}
            for (design, size), group in cache.items()
            if size == d.SIZES[0].key
            for k, record in enumerate(group["records"]["platework"][:REPLAYED])
        ],
    }  # fmt: skip


def by_lines(made: dict[str, Any]) -> str:
    """Return the result as JSON with one line for each part and each item of a list, so that changes can be read."""
    parts = []
    for name, value in made.items():
        text = json.dumps(value, ensure_ascii=False)
        if isinstance(value, list):
            text = "[\n" + ",\n".join(json.dumps(one, ensure_ascii=False) for one in value) + "\n]"
        parts.append(f"{json.dumps(name)}: {text}")
    return "{\n" + ",\n".join(parts) + "\n}\n"


def main() -> None:
    """Run what the cache lacks; store the figures if asked to."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--cache", type=Path, required=True, help="folder for the records of each group")
    parser.add_argument("--store", action="store_true", help="write the figures where the page reads them")
    parser.add_argument("--only", default="", help="designs, parted by commas")
    parser.add_argument("--quick", action="store_true", help="three seasons of each group")
    asked = parser.parse_args()
    asked.cache.mkdir(parents=True, exist_ok=True)
    with_lme4 = has_lme4()
    if not with_lme4:
        sys.stdout.write("lme4 is left out: no Rscript with lme4 (Debian: r-cran-lme4)\n")
    cache: dict[tuple[str, str], dict[str, Any]] = {}
    for design, size, seasons in groups(set(asked.only.split(",")) - {""}, asked.quick):
        path = asked.cache / f"{design.key}_{size.key}.json"
        if not path.exists():
            path.write_text(json.dumps(run_group(design, size, seasons, with_lme4)))
        group = cache[design.key, size.key] = json.loads(path.read_text())
        said = summarise(group["records"]["platework"])
        shown = ("covered_90", "covered_50", "rmse", "rank_correlation", "ready", "ready_wrong", "not_yet_wrong")
        told = "  ".join(f"{name} {said[name][0]:.3f} ±{said[name][1]:.3f}" for name in shown if name in said)
        sys.stdout.write(f"{design.key:20} {size.key:>4} {group['cpu_s']:7.1f} s CPU  {told}\n")
        sys.stdout.flush()
    if asked.store:
        STORED.write_text(by_lines(result(cache)), encoding="utf-8")
        sys.stdout.write(f"stored in {STORED.name}\n")


if __name__ == "__main__":
    main()
