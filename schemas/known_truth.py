"""What the engine was measured to be worth on simulated seasons whose truth is known: a stored result.

`known_truth.json` is written by `tests/bench/bench_validity.py --store`; nothing in it belongs to a season that was
handed in. A reader gets figures with their Monte Carlo errors, by design, size and method, and where they come
from.
"""

from __future__ import annotations

import functools
import json
from collections.abc import Mapping
from dataclasses import dataclass
from importlib.resources import files
from typing import Any, NamedTuple

from pipeline.errors import ContractError, Where

NAME = "known_truth.json"


class Figure(NamedTuple):
    """A value, its Monte Carlo standard error, and how far its 95 % range reaches to each side (by Student's t).

    Both are None where one season alone was run. Seasons differ and only so many were made: that is the error.
    Shares and coverages are from 0 to 1; errors, biases, widths and shortfalls in points of the rate.
    """

    value: float
    error: float | None
    reach: float | None


class Tenth(NamedTuple):
    """Those whose stated chance lies in one tenth: how many, the mean of it, and the share truly able."""

    umpires: int
    said: float
    able: float
    able_reach: float | None


@dataclass(frozen=True)
class Group:
    """One method on the seasons of one design and size.

    `outcomes` counts how the fits ended, `reliability` has the tenths of the stated chance; both are empty for
    methods that have none.
    """

    seasons: int
    figures: Mapping[str, Figure]
    outcomes: Mapping[str, int]
    reliability: tuple[Tenth, ...]

    def get(self, name: str) -> Figure | None:
        """Return a figure, or None where the method has none."""
        return self.figures.get(name)


@dataclass(frozen=True)
class KnownTruth:
    """The stored result.

    Attributes
    ----------
    designs, sizes
        As they were simulated, by key, in order; keys of a design are those of the simulation.
    groups
        By design, size and method.
    replays
        Figures of single seasons, by which the result can be held against the code.
    about
        Everything else: who made it, versions, seed, draws, cuts, risk, processor seconds.
    """

    designs: Mapping[str, Mapping[str, Any]]
    sizes: Mapping[str, Mapping[str, Any]]
    groups: Mapping[tuple[str, str, str], Group]
    replays: tuple[Mapping[str, Any], ...]
    about: Mapping[str, Any]

    def group(self, design: str, size: str, method: str = "platework") -> Group | None:
        """Return one method on one design and size, or None if it was not run."""
        return self.groups.get((design, size, method))

    def figure(self, name: str, design: str, size: str, method: str = "platework") -> Figure | None:
        """Return one figure, or None where there is none."""
        found = self.group(design, size, method)
        return None if found is None else found.get(name)


def parse_known_truth(text: str) -> KnownTruth:
    """Return the result that a JSON text holds.

    Raises
    ------
    ContractError
        It is not JSON, or lacks a part.
    """
    try:
        raw: dict[str, Any] = json.loads(text)
        groups = {
            (row["design"], row["size"], row["method"]): Group(
                row["seasons"],
                {name: Figure(*pair) for name, pair in row["figures"].items()},
                row.get("outcomes", {}),
                tuple(
                    Tenth(round(one["umpires"]), one["said"], one["able"], one["able_reach"])
                    for one in row.get("reliability", [])
                ),
            )
            for row in raw.pop("figures")
        }
        return KnownTruth(
            designs={one["key"]: one for one in raw.pop("designs")},
            sizes={one["key"]: one for one in raw.pop("sizes")},
            groups=groups,
            replays=tuple(raw.pop("replays")),
            about=raw,
        )
    except (ValueError, KeyError, TypeError, AttributeError) as error:
        raise ContractError(
            f"the stored result on known truth cannot be read: {error!r}",
            where=Where(NAME),
            hint="make it anew with `tests/bench/bench_validity.py --store`",
        ) from error


@functools.cache
def known_truth() -> KnownTruth:
    """Return the stored result."""
    return parse_known_truth(files("schemas").joinpath(NAME).read_text(encoding="utf-8"))
