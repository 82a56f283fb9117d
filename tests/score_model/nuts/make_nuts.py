"""Long NUTS run on a small season: the posterior that the product's draws are held to. Run by hand:

    python -m venv nuts && nuts/bin/pip install numpyro==0.22.0 jax==0.10.2 numpy pandas
    nuts/bin/python tests/score_model/nuts/make_nuts.py

Writes `season.csv` (the cells) and `posterior.json` (summaries, versions, seeds, diagnostics) beside itself.
The model is the product's: logit, normal effects, half-normal(1.5) prior on each SD, flat intercept. The
adjusted rate is the right-call rate over the season's mix of situations for an average evaluator, averaged
over games.
"""

from __future__ import annotations

import json
from pathlib import Path

import jax
import numpy as np
import numpyro
import pandas as pd
from numpyro import distributions as dist
from numpyro.diagnostics import effective_sample_size, gelman_rubin
from numpyro.infer import MCMC, NUTS

HERE = Path(__file__).parent
SEASON_SEED, NUTS_SEED = 20260401, 7
CHAINS, WARMUP, SAMPLES = 4, 1500, 5000
PRIOR_SD = 1.5
NAMES = ("umpire", "game", "evaluator", "situation")


def season() -> pd.DataFrame:
    """Return the cells of a made-up season: 20 umpires, 3 to 8 games each, 6 evaluators, 10 situations."""
    rng = np.random.default_rng(SEASON_SEED)
    skill, severity, hard = rng.normal(0, 0.5, 20), rng.normal(0, 0.4, 6), rng.normal(0, 0.9, 10)
    rows, game = [], 0
    for umpire in range(20):
        panel = rng.choice(6, int(rng.integers(2, 5)), replace=False)
        for _ in range(int(rng.integers(3, 9))):
            evaluator, form = int(rng.choice(panel)), rng.normal(0, 0.25)
            met, trials = np.unique(rng.integers(0, 10, 45), return_counts=True)
            mean = 1 / (1 + np.exp(-(1.6 + skill[umpire] + severity[evaluator] + form + hard[met])))
            right = rng.binomial(trials, mean)
            rows += [
                (f"U{umpire:02d}", f"G{game:03d}", f"E{evaluator}", f"S{s}", int(y), int(n))
                for s, y, n in zip(met, right, trials, strict=True)
            ]
            game += 1
    return pd.DataFrame(rows, columns=["umpire_id", "game_id", "evaluator_id", "stratum", "successes", "trials"])


def model(codes: dict[str, np.ndarray], sizes: dict[str, int], right: np.ndarray, trials: np.ndarray) -> None:
    """State the product's model."""
    eta = numpyro.sample("intercept", dist.Normal(0, 100))
    for name in NAMES:
        sd = numpyro.sample(f"sd_{name}", dist.HalfNormal(PRIOR_SD))
        v = numpyro.sample(f"v_{name}", dist.Normal(0, 1).expand([sizes[name]]).to_event(1))
        eta = eta + numpyro.deterministic(f"effect_{name}", sd * v)[codes[name]]
    numpyro.sample("right", dist.Binomial(total_count=trials, logits=eta), obs=right)


def main() -> None:
    """Sample and write the summaries."""
    numpyro.set_host_device_count(2)
    jax.config.update("jax_enable_x64", True)
    cells = season()
    cells.to_csv(HERE / "season.csv", index=False)
    columns = dict(zip(NAMES, ("umpire_id", "game_id", "evaluator_id", "stratum"), strict=True))
    coded = {name: pd.factorize(cells[column], sort=True) for name, column in columns.items()}
    codes = {name: code for name, (code, _) in coded.items()}
    sizes = {name: len(levels) for name, (_, levels) in coded.items()}
    right, trials = cells["successes"].to_numpy(), cells["trials"].to_numpy()
    mcmc = MCMC(
        NUTS(model, target_accept_prob=0.9),
        num_warmup=WARMUP,
        num_samples=SAMPLES,
        num_chains=CHAINS,
        chain_method="sequential",
        progress_bar=False,
    )
    mcmc.run(jax.random.PRNGKey(NUTS_SEED), codes, sizes, right, trials)
    by_chain = {name: np.asarray(value) for name, value in mcmc.get_samples(group_by_chain=True).items()}
    divergent = int(np.asarray(mcmc.get_extra_fields()["diverging"]).sum())
    watched = ["intercept", *(f"sd_{name}" for name in NAMES), "effect_umpire", "effect_evaluator"]
    worst_rhat = max(float(np.max(gelman_rubin(by_chain[name]))) for name in watched)
    least_ess = min(float(np.min(effective_sample_size(by_chain[name]))) for name in watched)
    flat = {name: value.reshape(-1, *value.shape[2:]) for name, value in by_chain.items()}
    mix = np.bincount(codes["situation"], weights=trials) / trials.sum()
    nodes, weights = np.polynomial.hermite_e.hermegauss(11)
    weights = weights / weights.sum()
    rate = np.zeros((flat["intercept"].size, sizes["umpire"]))
    for share, effect in zip(mix, flat["effect_situation"].T, strict=True):
        for node, weight in zip(nodes, weights, strict=True):
            linear = flat["intercept"] + effect + node * flat["sd_game"]
            rate += share * weight / (1 + np.exp(-(linear[:, None] + flat["effect_umpire"])))
    ahead = (rate[:, :, None] > rate[:, None, :]).mean(axis=0)
    ranks = (-rate).argsort(axis=1).argsort(axis=1) + 1

    def told(draws: np.ndarray) -> dict[str, object]:
        low, high = np.quantile(draws, [0.05, 0.95], axis=0)
        rounded = {"mean": draws.mean(axis=0), "sd": draws.std(axis=0), "low": low, "high": high}
        return {key: np.round(value, 5).tolist() for key, value in rounded.items()}

    made = {
        "versions": {"numpyro": numpyro.__version__, "jax": jax.__version__, "numpy": np.__version__},
        "seeds": {"season": SEASON_SEED, "nuts": NUTS_SEED},
        "draws": {"chains": CHAINS, "warmup": WARMUP, "kept_per_chain": SAMPLES},
        "diagnostics": {"divergent": divergent, "worst_rhat": round(worst_rhat, 4), "least_ess": round(least_ess)},
        "intercept": told(flat["intercept"]),
        "sd": {name: told(flat[f"sd_{name}"]) for name in NAMES},
        "effects": {name: told(flat[f"effect_{name}"]) for name in ("umpire", "evaluator", "situation")},
        "adjusted_rate": told(rate),
        "ahead": np.round(ahead, 4).tolist(),
        "rank": {
            "mean": np.round(ranks.mean(axis=0), 3).tolist(),
            "first": np.round((ranks == 1).mean(axis=0), 4).tolist(),
        },
        "above_0.8": np.round((rate >= 0.8).mean(axis=0), 4).tolist(),
    }
    (HERE / "posterior.json").write_text(json.dumps(made, indent=1) + "\n")


if __name__ == "__main__":
    main()
