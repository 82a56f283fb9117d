"""The free parameters of a model as one vector: fixed part, the response's own, logarithms of the free SDs."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from pipeline.scoring.design import Floats
from pipeline.scoring.laplace import Gradient, LaplaceModel, Mode


@dataclass(frozen=True)
class Point:
    """Parameters by kind; `sd` holds every factor, 0 for those left out."""

    fixed: Floats
    own: Floats
    sd: dict[str, float]


@dataclass(frozen=True)
class Packing:
    """Which entry of the vector is what."""

    names: tuple[str, ...]
    free: tuple[str, ...]
    n_fixed: int
    n_own: int

    @classmethod
    def of(cls, model: LaplaceModel, free: Sequence[str]) -> Packing:
        """Return the packing of a model in which the factors `free` have an SD above zero."""
        return cls(tuple(model.design.names), tuple(free), model.design.fixed.shape[1], model.response.size)

    @property
    def size(self) -> int:
        """Length of the vector."""
        return self.n_fixed + self.n_own + len(self.free)

    @property
    def first_sd(self) -> int:
        """Position of the first log SD."""
        return self.n_fixed + self.n_own

    def point(self, vector: Floats) -> Point:
        """Return the parameters of a vector."""
        sd = dict.fromkeys(self.names, 0.0)
        sd.update(zip(self.free, np.exp(vector[self.first_sd :]).tolist(), strict=True))
        return Point(vector[: self.n_fixed], vector[self.n_fixed : self.first_sd], sd)

    def vector(self, point: Point) -> Floats:
        """Return the vector of parameters."""
        return np.concatenate([point.fixed, point.own, self.logs(point.sd)])

    def logs(self, sd: Mapping[str, float]) -> Floats:
        """Return the logarithms of the free SDs."""
        return np.array([float(np.log(sd[name])) for name in self.free])

    def flat(self, parts: Gradient) -> Floats:
        """Return derivatives as a vector."""
        return np.concatenate([parts.fixed, parts.own, np.array([parts.log_sd[name] for name in self.free])])


def mode_at(model: LaplaceModel, packing: Packing, vector: Floats) -> Mode:
    """Return the mode of the effects at a parameter vector."""
    point = packing.point(vector)
    return model.mode(point.fixed, point.sd, point.own)


def rough_widths(model: LaplaceModel, packing: Packing, mode: Mode) -> Floats:
    """Return an approximate standard error of each parameter; one half is added to the information of an SD."""
    information = packing.flat(model.rough_information(mode))
    information[packing.first_sd :] += 0.5
    widths: Floats = 1 / np.sqrt(np.maximum(information, 1e-6))
    return widths


def prior_terms(log_sd: Floats, prior_sd: float) -> tuple[float, Floats]:
    """Return log density and slope, by the log SDs, of a half-normal prior of scale `prior_sd` on each SD."""
    relative = np.exp(2 * log_sd) / prior_sd**2
    return float(np.sum(log_sd - relative / 2)), 1 - relative


def information(
    model: LaplaceModel, packing: Packing, vector: Floats, *, prior_sd: float | None = None, central: bool = False
) -> Floats:
    """Return the negative second derivatives of the log-likelihood (or log posterior) by all parameters.

    Differences of the exact gradient, over a twentieth of a standard error each way (`central`) or one way.
    """

    def gradient(at: Floats) -> Floats:
        slope = packing.flat(model.gradient(mode_at(model, packing, at)))
        if prior_sd is not None:
            slope[packing.first_sd :] += prior_terms(at[packing.first_sd :], prior_sd)[1]
        return slope

    mode = mode_at(model, packing, vector)
    widths = rough_widths(model, packing, mode)
    found = np.empty((packing.size, packing.size))
    here = gradient(vector) if not central else NO_GRADIENT
    for i in range(packing.size):
        step = np.zeros(packing.size)
        step[i] = 0.05 * widths[i]
        ahead = gradient(vector + step)
        if central:
            found[i] = (gradient(vector - step) - ahead) / (2 * step[i])
        else:
            found[i] = (here - ahead) / step[i]
    return (found + found.T) / 2


NO_GRADIENT: Floats = np.zeros(0)
