"""Time of the called-zone fit, and how its intervals cover on seasons with known edges. Run by hand:

    python tests/bench/bench_called_zone.py [umpires] [pitches an umpire] [seasons] [game SD in tenths of an inch]

Simulated: pitches about the zone's edges, offsets with SD .8 in about (.6, 1, -.3, .4), log sharpness with SD .3
about log .9, places measured with an error of .5 in (half of them 1.5 in), two circumstances by pitch and two by
game that shift the edges. The umpire calls the true place; the fit sees the measured one.
"""

from __future__ import annotations

import resource
import sys
import time

import numpy as np
from scipy.special import expit

MEAN = np.array([0.6, 1.0, -0.3, 0.4, *[np.log(0.9)] * 4])
SPREAD = np.array([0.8] * 4 + [0.3] * 4)
SHIFT = np.array([[0.3, -0.4, 0, 0], [0, 0.5, 0, 0], [0, 0, -0.5, 0.8], [0.2, -0.2, 0, 0]])


def simulate(umpires: int, each: int, seed: int, *, game_sd: float = 0.0):
    from pipeline.scoring.called_zone.places import calibrated

    rng = np.random.default_rng(seed)
    size = umpires * each
    umpire = np.repeat(np.arange(umpires), each)
    game = np.arange(size) // max(each // 4, 1)
    terms = np.empty((size, len(SHIFT)))
    terms[:, :2] = rng.random((size, 2)) < 0.4
    terms[:, 2:] = (rng.random((game.max() + 1, 2)) < 0.4)[game]
    terms -= 0.4
    own = MEAN[:, None] + SPREAD[:, None] * rng.standard_normal((8, umpires))
    x, z = rng.normal(0, 9, size), rng.normal(30, 11, size)
    true = np.stack([9.95 + x, 9.95 - x, 43.5 - z, z - 16.5])
    offset = own[:4, umpire] + SHIFT.T @ terms.T + rng.normal(0, game_sd, (game.max() + 1, 4))[game].T
    strike = rng.random(size) < expit((true + offset) / np.exp(own[4:, umpire])).prod(axis=0)
    sd = np.where(rng.random(size) < 0.5, 0.5, 1.5)
    x, sd_x = calibrated(x + rng.normal(0, 1, size) * sd, sd)
    z, _ = calibrated(z + rng.normal(0, 1, size) * sd, sd)
    seen = np.stack([9.95 + x, 9.95 - x, 43.5 - z, z - 16.5])
    return (seen, sd_x, strike.astype(float), umpire, terms, umpires, game), own


def main(umpires: int, each: int, seasons: int, tenths: int) -> None:
    from pipeline.scoring.called_zone.edges import pack
    from pipeline.scoring.called_zone.fit import fit_zone
    from pipeline.scoring.threads import one_blas_thread

    inside, shifts = [], []
    for season in range(seasons):
        data, own = simulate(umpires, each, season, game_sd=tenths / 10)
        cpu = time.process_time()
        with one_blas_thread():
            fit = fit_zone(pack(*data))
        cpu = time.process_time() - cpu
        inside.append((np.abs(fit.values - own) <= 1.6449 * fit.sd).mean(axis=1))
        shifts.append(np.abs(fit.shift - SHIFT) <= 1.6449 * fit.shift_sd)
        sys.stdout.write(
            f"{umpires} x {each}: {cpu:.2f} s CPU, {fit.evaluations} evaluations, {fit.outcome}, gradient "
            f"{fit.gradient_norm:.1e}; spread {np.round(fit.spread, 2)}, over games {np.round(fit.game_spread, 2)}; mean {np.round(fit.mean, 2)}\n"
        )
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6
    sys.stdout.write(f"90 % intervals hold: umpires' values {np.round(np.mean(inside, axis=0), 3)}, ")
    by_term = np.mean(shifts, axis=(0, 2))
    sys.stdout.write(f"shifts by circumstance (two by pitch, two by game) {np.round(by_term, 2)}; {peak:.2f} GB\n")


if __name__ == "__main__":
    given = [int(word) for word in sys.argv[1:]]
    main(*(given + [1000, 250, 1, 0][len(given) :]))
