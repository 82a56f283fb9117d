"""Variance by component of a table subjects by raters, and what it says of decisions.

    score = mean + subject + rater + residual,

with one score in a cell at most. In a complete table the components follow from the mean squares; where that
makes one negative, or cells are empty, they are estimated by restricted maximum likelihood.

References
----------
.. [1] Brennan 2001, Generalizability Theory, chapters 2 and 3.
.. [2] Bates, Maechler, Bolker & Walker 2015, J. Stat. Softw. 67(1), section 3.4 (the profiled criterion).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import linalg, optimize

from pipeline.scoring.agreement.intraclass import mean_squares
from pipeline.scoring.design import Codes, Floats

_NAN = float("nan")
_WIDEST = 1e4
"""Ratio of SDs above which the residual cannot be told from none."""
_NEVER = 1e300


@dataclass(frozen=True)
class Components:
    """Variances, how they were found (`anova` or `reml`), and whether the search settled."""

    subject: float
    rater: float
    residual: float
    method: str
    converged: bool = True

    def relative(self, raters: float) -> float:
        """Return E-rho2: how dependable the order of subjects is with so many raters each (the same for all)."""
        return _share(self.subject, self.residual / raters)

    def absolute(self, raters: float) -> float:
        """Return Phi: how dependable the level of a subject's score is with so many raters."""
        return _share(self.subject, (self.rater + self.residual) / raters)


def _share(subject: float, error: float) -> float:
    return subject / (subject + error) if subject + error > 0 else _NAN


def variance_components(table: Floats) -> Components:
    """Return the components of a table with NaN in empty cells; two subjects and two raters at least."""
    if not np.isnan(table).any():
        m = mean_squares(table)
        subject, rater = (m.between - m.residual) / m.raters, (m.rater - m.residual) / m.subjects
        if subject >= 0 and rater >= 0:
            return Components(subject, rater, m.residual, "anova")
    subject_code, rater_code = np.nonzero(~np.isnan(table))
    return _restricted(table[subject_code, rater_code], subject_code, rater_code, table.shape)


def _restricted(scores: Floats, subject: Codes, rater: Codes, shape: tuple[int, int]) -> Components:
    """Minimise the REML criterion over the two ratios of SDs to the residual SD; subjects are eliminated."""
    number = scores.size
    scale = float(scores.std())
    if scale == 0:
        return Components(0.0, 0.0, 0.0, "reml")
    y = (scores - scores.mean()) / scale
    met = np.zeros(shape)
    met[subject, rater] = 1.0
    by_subject, by_rater = met.sum(axis=1), met.sum(axis=0)
    sides = np.stack([np.ones(number), y])
    of_subject = np.stack([np.bincount(subject, weights=side, minlength=shape[0]) for side in sides], axis=1)
    of_rater = np.stack([np.bincount(rater, weights=side, minlength=shape[1]) for side in sides], axis=1)
    products = sides @ sides.T

    def criterion(ratios: Floats) -> tuple[float, float]:
        a, b = abs(ratios[0]), abs(ratios[1])
        if max(a, b) > _WIDEST:
            return _NEVER, 0.0
        diagonal = 1 + a * a * by_subject
        link = a * b * met / diagonal[:, None]
        lower = linalg.cholesky(np.diag(1 + b * b * by_rater) - a * b * met.T @ link, lower=True)
        left = linalg.solve_triangular(lower, b * of_rater - link.T @ (a * of_subject), lower=True)
        rest = products - (a * of_subject).T @ (a * of_subject / diagonal[:, None]) - left.T @ left
        if rest[0, 0] <= 1e-12:
            return _NEVER, 0.0
        squares = rest[1, 1] - rest[0, 1] ** 2 / rest[0, 0]
        size = np.sum(np.log(diagonal)) + 2 * np.sum(np.log(np.diag(lower))) + np.log(rest[0, 0])
        return float(size + (number - 1) * np.log(max(squares, 1e-300))), max(float(squares), 0.0) / (number - 1)

    found = min(
        (
            optimize.minimize(
                lambda x: criterion(x)[0],
                np.array(start),
                method="Nelder-Mead",
                options={"xatol": 1e-7, "fatol": 1e-10, "maxfev": 600},
            )
            for start in ((1.0, 0.5), (0.2, 0.2))
        ),
        key=lambda ended: float(ended.fun),
    )
    residual = criterion(found.x)[1] * scale**2
    ratios = np.where(np.abs(found.x) < 1e-6, 0.0, found.x) ** 2
    lost = bool(np.abs(found.x).max() > 0.5 * _WIDEST) or not 0 < residual < _NEVER
    return Components(
        float(ratios[0]) * residual, float(ratios[1]) * residual, residual, "reml", bool(found.success) and not lost
    )
