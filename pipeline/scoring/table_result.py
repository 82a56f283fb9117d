"""What a fitted table gives back."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from pipeline.scoring.connection import Unlinked
from pipeline.scoring.design import Floats
from pipeline.scoring.diagnostics import FitRecord

COVERAGE = 0.95
_Z95 = 1.959963984540054


@dataclass(frozen=True)
class Levels:
    """The levels of one effect.

    Attributes
    ----------
    names
        As in the table.
    mode
        Conditional mode (lme4: `ranef`), logit scale or units of the response.
    se
        Its standard deviation with all parameters taken as known (lme4: `condVar = TRUE`).
    se_all
        The same with what not knowing intercept, coefficients and SDs adds (``gaussian``: intercept and
        coefficients only); NaN where that is not known.
    """

    names: list[str]
    mode: Floats
    se: Floats
    se_all: Floats


@dataclass(frozen=True)
class TableFit:
    """A fitted table.

    Attributes
    ----------
    family
        ``binomial`` (logit; lme4 `glmer` with nAGQ = 1), ``ordered`` (cumulative logit; ordinal `clmm`) or
        ``gaussian`` (lme4 `lmer`).
    fixed, fixed_se
        Intercept (none for ``ordered``) and coefficients by name. The standard errors carry that the SDs are
        estimated (for ``gaussian`` they take them as known, as `lmer` does).
    intercept_se_sd_known
        The intercept's standard error with the SDs taken as known.
    thresholds, threshold_ses
        For ``ordered``: logit P(category <= k) = threshold - effects.
    sd, sd_interval
        By effect, and `residual` for ``gaussian``; 95 % Wald interval on the log SD, none for an SD of 0.
    log_likelihood
        As the program named above prints it: binomial coefficients of the rows as listed are included (0 for
        binary rows); for ``gaussian`` restricted unless `method` says maximum likelihood.
    """

    family: str
    method: str
    record: FitRecord
    fixed: dict[str, float]
    fixed_se: dict[str, float]
    intercept_se_sd_known: float
    sd: dict[str, float]
    sd_interval: dict[str, tuple[float, float]]
    log_likelihood: float
    effects: dict[str, Levels]
    rows: int
    rows_dropped: int
    observations: int
    cells: int
    success: str = ""
    failure: str = ""
    categories: list[str] = field(default_factory=list)
    thresholds: Floats = field(default_factory=lambda: np.zeros(0))
    threshold_ses: Floats = field(default_factory=lambda: np.zeros(0))
    nested: list[tuple[str, str]] = field(default_factory=list)
    unlinked: list[Unlinked] = field(default_factory=list)

    @property
    def converged(self) -> bool:
        """Whether the numbers may be used."""
        return self.record.outcome.has_estimates

    @property
    def is_clean(self) -> bool:
        """Whether nothing needs the reader's eye: there are estimates, and all levels are linked."""
        return self.converged and not self.unlinked


def sd_intervals(sd: Mapping[str, float], free: Sequence[str], log_ses: Floats) -> dict[str, tuple[float, float]]:
    """Return 95 % Wald intervals on the log SD, for the SDs of `free` with standard errors `log_ses` of their logs."""
    found = {}
    for name, se in zip(free, log_ses.tolist(), strict=True):
        # Beyond e^50 an interval says "anything", and the exponential would overflow.
        reach = float(np.exp(min(_Z95 * se, 50.0))) if np.isfinite(se) else float("nan")
        found[name] = (sd[name] / reach, sd[name] * reach)
    return found
