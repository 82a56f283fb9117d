"""The called zones of a season: read the pitches, fit, write the tables."""

from __future__ import annotations

from statistics import NormalDist

import numpy as np
import pandas as pd

from pipeline.config import RunConfig
from pipeline.rules.dimensions import zone_measures
from pipeline.scoring.called_zone.circumstances import BY_GAME, Circumstance, circumstances
from pipeline.scoring.called_zone.edges import EDGES, OFFSETS, pack
from pipeline.scoring.called_zone.fit import ZoneFit, fit_zone
from pipeline.scoring.called_zone.places import calibrated
from pipeline.scoring.design import Codes, Floats
from pipeline.scoring.tables import Row, write_table
from pipeline.store import Store
from pipeline.store.database import named_sql

NEAR_IN = 3.0
"""A pitch is near an edge when the ball's nearest part is within 3 in of it and no other edge is missed."""
FEWEST_NEAR = 8
"""With fewer pitches near an edge nothing is said of that umpire's edge."""

_INTERVAL = {"offset_in": "DOUBLE", "low": "DOUBLE", "high": "DOUBLE"}
_SHARPNESS = {"sharpness_in": "DOUBLE", "sharpness_low": "DOUBLE", "sharpness_high": "DOUBLE"}
TABLES: dict[str, dict[str, str]] = {
    "called_zone": {
        "umpire_id": "VARCHAR",
        "edge": "VARCHAR",
        **_INTERVAL,
        **_SHARPNESS,
        "near_pitches": "BIGINT",
        "pitches": "BIGINT",
        "state": "VARCHAR",
    },
    "called_zone_mean": {
        "edge": "VARCHAR",
        **_INTERVAL,
        "spread_in": "DOUBLE",
        **_SHARPNESS,
        "near_pitches": "BIGINT",
    },
    "called_zone_effect": {
        "circumstance": "VARCHAR",
        "kind": "VARCHAR",
        "edge": "VARCHAR",
        "shift_in": "DOUBLE",
        "low": "DOUBLE",
        "high": "DOUBLE",
        "pitches_with": "BIGINT",
        "pitches_without": "BIGINT",
        "games_with": "BIGINT",
        "games_without": "BIGINT",
        "state": "VARCHAR",
    },
    "called_zone_fit": {
        "outcome": "VARCHAR",
        "message": "VARCHAR",
        "pitches": "BIGINT",
        "umpires": "BIGINT",
        "zone_low_in": "DOUBLE",
        "zone_high_in": "DOUBLE",
        "plate_half_width_in": "DOUBLE",
        "log_likelihood": "DOUBLE",
        "iterations": "BIGINT",
        "evaluations": "BIGINT",
        "return_code": "BIGINT",
        "gradient_norm": "DOUBLE",
    },
}
_NO_CHECKS = pd.DataFrame(columns=["game_id", "umpire_id", *BY_GAME])


def write_called_zone(config: RunConfig, store: Store) -> int:
    """Write `scores.called_zone`, `_mean`, `_effect` and `_fit`; return the number of rows.

    Reads `facts.fct_call`, `checked.positioning`, `checked.games`; the sheet of positioning may be missing. An edge
    or a circumstance with too few pitches keeps its row with state `thin` and no figure; a season that cannot be
    fitted has its outcome and no edge.
    """
    calls = store.frame(named_sql(__package__, "called_pitch"))
    has_checks = store.has_table("checked.positioning") and store.has_table("checked.games")
    games = store.frame(named_sql(__package__, "game_positioning")) if has_checks else _NO_CHECKS
    found = circumstances(calls, games)
    used = [one for one in found if one.is_enough]
    umpires = sorted(calls["umpire_id"].unique())
    places = {name: i for i, name in enumerate(umpires)}
    umpire = calls["umpire_id"].map(places).to_numpy(dtype=np.int64)
    inside, error = distances(config, calls)
    columns = np.stack([one.column for one in used], axis=1) if used else np.zeros((len(calls), 0))
    strike = calls["strike"].to_numpy(dtype=np.float64)
    game = pd.factorize(calls["game_id"])[0].astype(np.int64)
    fit = fit_zone(pack(inside, error, strike, umpire, columns, len(umpires), game))
    near = near_edges(inside)
    z = NormalDist().inv_cdf(0.5 + config.policy.interval / 2)
    rows = {
        "called_zone": _umpire_rows(fit, umpires, umpire, near, z) if fit.outcome.has_estimates else [],
        "called_zone_mean": _mean_rows(fit, near, z) if fit.outcome.has_estimates else [],
        "called_zone_effect": _effect_rows(fit, found, used, z),
        "called_zone_fit": [_fit_row(fit, calls)],
    }
    return sum(write_table(store, name, rows[name], TABLES[name]) for name in TABLES)


def distances(config: RunConfig, calls: pd.DataFrame) -> tuple[Floats, Floats]:
    """Return how far inside each rule-book edge the balls' centres were, shape (4, pitches), and the error's SD.

    The rule-book edge is moved out by the ball's radius, as any part of the ball over any part of the zone counts.
    """
    measures = zone_measures()
    radius = calls["rule_code"].map({code: one[0] for code, one in measures.items()}).to_numpy(dtype=np.float64)
    half = calls["rule_code"].map({code: one[1] for code, one in measures.items()}).to_numpy(dtype=np.float64)
    policy = config.policy.measurement
    sds = {"tracked": policy.tracked_sd_in, "video": policy.video_sd_in, "eye": policy.eye_sd_in}
    error = np.asarray(calls["location_source"].map(sds), dtype=np.float64)
    # A left-handed batter stands to the right as the umpire looks (nearer first base): away from him is to the left.
    toward = np.where(calls["batter_side"] == "left", -1.0, 1.0)
    x, left = calibrated(calls["ball_x_in"].to_numpy(dtype=np.float64), error)
    z, left_up = calibrated(calls["ball_z_in"].to_numpy(dtype=np.float64), error)
    out = toward * x
    low, high = (calls[name].to_numpy(dtype=np.float64) for name in ("zone_low_in", "zone_high_in"))
    inside = np.stack([half + radius + out, half + radius - out, high + radius - z, z - low + radius])
    return inside, np.sqrt((left**2 + left_up**2) / 2)


def near_edges(inside_in: Floats) -> Floats:
    """Return 1 where a pitch is near an edge, shape (4, pitches)."""
    found = np.zeros_like(inside_in)
    for e in range(OFFSETS):
        others = np.delete(inside_in, e, axis=0).min(axis=0, initial=np.inf)
        found[e] = (np.abs(inside_in[e]) <= NEAR_IN) & (others >= 0)
    return found


def _values(mean: float, sd: float, log_mean: float, log_sd: float, z: float) -> dict[str, float]:
    return {
        "offset_in": mean,
        "low": mean - z * sd,
        "high": mean + z * sd,
        "sharpness_in": float(np.exp(log_mean)),
        "sharpness_low": float(np.exp(log_mean - z * log_sd)),
        "sharpness_high": float(np.exp(log_mean + z * log_sd)),
    }


def _umpire_rows(fit: ZoneFit, umpires: list[str], umpire: Codes, near: Floats, z: float) -> list[Row]:
    pitches = np.bincount(umpire, minlength=len(umpires))
    close = np.stack([np.bincount(umpire, weights=near[e], minlength=len(umpires)) for e in range(OFFSETS)])
    rows: list[Row] = []
    for u, name in enumerate(umpires):
        for e, edge in enumerate(EDGES):
            given = close[e, u] >= FEWEST_NEAR
            at, sd = fit.values[:, u], fit.sd[:, u]
            values = _values(float(at[e]), float(sd[e]), float(at[e + OFFSETS]), float(sd[e + OFFSETS]), z)
            rows.append(
                {
                    "umpire_id": name,
                    "edge": edge,
                    **(values if given else dict.fromkeys(values)),
                    "near_pitches": int(close[e, u]),
                    "pitches": int(pitches[u]),
                    "state": "given" if given else "thin",
                }
            )
    return rows


def _mean_rows(fit: ZoneFit, near: Floats, z: float) -> list[Row]:
    learnt = fit.outcome.value == "converged"
    rows: list[Row] = []
    for e, edge in enumerate(EDGES):
        t = e + OFFSETS
        values = _values(float(fit.mean[e]), float(fit.mean_sd[e]), float(fit.mean[t]), float(fit.mean_sd[t]), z)
        close = int(near[e].sum())
        rows.append(
            {
                "edge": edge,
                **(values if close >= FEWEST_NEAR else dict.fromkeys(values)),
                "spread_in": float(fit.spread[e]) if learnt and close >= FEWEST_NEAR else None,
                "near_pitches": close,
            }
        )
    return rows


def _effect_rows(fit: ZoneFit, found: list[Circumstance], used: list[Circumstance], z: float) -> list[Row]:
    place = {one.name: k for k, one in enumerate(used)}
    rows: list[Row] = []
    for one in found:
        for e, edge in enumerate(EDGES):
            k = place.get(one.name) if fit.outcome.has_estimates else None
            shift = None if k is None else float(fit.shift[k, e])
            sd = 0.0 if k is None else float(fit.shift_sd[k, e])
            rows.append(
                {
                    "circumstance": one.name,
                    "kind": "positioning" if one.name in BY_GAME else "matchup",
                    "edge": edge,
                    "shift_in": shift,
                    "low": None if shift is None else shift - z * sd,
                    "high": None if shift is None else shift + z * sd,
                    "pitches_with": round(one.pitches_with),
                    "pitches_without": round(one.pitches_without),
                    "games_with": one.games_with,
                    "games_without": one.games_without,
                    "state": "thin" if shift is None else "given",
                }
            )
    return rows


def _fit_row(fit: ZoneFit, calls: pd.DataFrame) -> Row:
    measures = zone_measures()
    widths = [measures[code][1] for code in sorted(calls["rule_code"].unique())]
    return {
        "outcome": str(fit.outcome),
        "message": fit.message,
        "pitches": fit.pitches,
        "umpires": fit.umpires,
        "zone_low_in": float(calls["zone_low_in"].mean()) if len(calls) else None,
        "zone_high_in": float(calls["zone_high_in"].mean()) if len(calls) else None,
        "plate_half_width_in": float(np.mean(widths)) if widths else None,
        "log_likelihood": fit.log_likelihood,
        "iterations": fit.iterations,
        "evaluations": fit.evaluations,
        "return_code": fit.return_code,
        "gradient_norm": fit.gradient_norm,
    }
