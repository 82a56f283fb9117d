"""What a fit says about itself: where it started and ended, how it stopped, and what that means."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum


class Outcome(StrEnum):
    """How a fit ended. Only the first two give estimates of the model's own."""

    CONVERGED = "converged"
    SINGULAR = "singular"
    NOT_CONVERGED = "not_converged"
    SEPARATED = "separated"
    NO_VARIATION = "no_variation"
    TOO_FEW = "too_few"
    CONFOUNDED = "confounded"
    TOO_LARGE = "too_large"

    @property
    def has_estimates(self) -> bool:
        """Whether the numbers of the fit may be used."""
        return self in (Outcome.CONVERGED, Outcome.SINGULAR)

    @property
    def remedy(self) -> str:
        """What the reader can do; empty after a good end."""
        return _REMEDIES.get(self, "")


_REMEDIES = {
    Outcome.SINGULAR: "leave out the effect whose SD is 0: the data show no more spread than luck gives; "
    "or gather more per level",
    Outcome.NOT_CONVERGED: "look for levels with very few rows, or for an effect that another one nearly repeats; "
    "leave one out",
    Outcome.SEPARATED: "leave out an effect or covariate, or gather rows in which its levels meet more results",
    Outcome.NO_VARIATION: "check that the right column was named; with one result only there is nothing to explain",
    Outcome.TOO_FEW: "gather more rows, or name an effect with at least two levels",
    Outcome.CONFOUNDED: "leave out one of the effects that are named",
    Outcome.TOO_LARGE: "leave out an effect with many levels, or merge its levels",
}


@dataclass(frozen=True)
class FitRecord:
    """The account of one fit.

    Parameters
    ----------
    outcome
        How it ended.
    message
        The same in a sentence for a reader who knows the data and not the algorithm.
    start, end
        Parameters by name, before and after: fixed part, thresholds, standard deviations (logit units; for a
        measured response its own units).
    iterations, evaluations
        Steps of the outer search, and evaluations of the likelihood (each with its gradient).
    return_code
        0 the expected gain fell under the tolerance; 1 the step limit was reached; 2 no better point was
        found along the search direction; 3 nothing was fitted.
    gradient_norm
        Euclidean norm of the gradient in (fixed part, thresholds, log SDs) at the end, SDs at zero left out.
    linked_groups
        Number of sets of levels that share no cell. With more than one, effects cannot be compared across
        them.
    """

    outcome: Outcome
    message: str
    start: dict[str, float] = field(default_factory=dict)
    end: dict[str, float] = field(default_factory=dict)
    iterations: int = 0
    evaluations: int = 0
    return_code: int = 3
    gradient_norm: float = float("nan")
    linked_groups: int = 1
