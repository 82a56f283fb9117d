"""What pitches say of the zone's values: minus the Hessian, summed by umpire and circumstance."""

from __future__ import annotations

import numpy as np

from pipeline.scoring.called_zone.edges import OFFSETS, PAIRS, VALUES, Pitches
from pipeline.scoring.design import Codes, Floats

POSITION = np.array([[PAIRS.index((min(a, b), max(a, b))) for b in range(VALUES)] for a in range(VALUES)])
"""Where the pair of two values stands among PAIRS, shape (8, 8)."""


class Information:
    """Minus the Hessian of the log-likelihood, without any prior.

    Attributes
    ----------
    own
        Of the umpires' values, shape (umpires, 8, 8).
    own_shift, shift
        Of an umpire's values with the shifts, (umpires, 8, 4 * terms), and of the shifts; edge by edge within a
        circumstance.
    """

    def __init__(self, pitches: Pitches, hessian: Floats) -> None:
        self.pitches = pitches
        terms = pitches.terms.shape[1]
        self.own = matrices(pitches.umpire_sums(hessian), POSITION)
        self.own_shift = np.zeros((pitches.umpires, VALUES, OFFSETS * terms))
        self.shift = np.zeros((OFFSETS * terms, OFFSETS * terms))
        used, place = np.unique(POSITION[:OFFSETS], return_inverse=True)
        place = place.reshape(OFFSETS, VALUES)
        needed = hessian[used]
        edge = np.arange(OFFSETS)
        for k in range(terms):
            by_term = needed * pitches.terms[:, k]
            columns = slice(OFFSETS * k, OFFSETS * (k + 1))
            self.own_shift[:, :, columns] = matrices(pitches.umpire_sums(by_term), place.T)
            for other in range(k + 1):
                met = -(by_term[place[:, :OFFSETS]] @ pitches.terms[:, other])
                self.shift[np.ix_(OFFSETS * k + edge, OFFSETS * other + edge)] = met
                self.shift[np.ix_(OFFSETS * other + edge, OFFSETS * k + edge)] = met.T

    @property
    def border(self) -> int:
        """Number of parameters that all umpires share: eight means, and the shifts."""
        return VALUES + int(self.shift.shape[0])


def matrices(sums: Floats, places: Codes) -> Floats:
    """Return minus the sums of each column as a stack of matrices whose entries stand at `places`."""
    return np.ascontiguousarray(-np.moveaxis(sums[places], 2, 0))
