"""Which umpires can be compared: groups joined by evaluators who saw members of both."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Codes = NDArray[np.int64]


def linked_groups(left: Codes, right: Codes, n_left: int, n_right: int) -> tuple[Codes, Codes]:
    """Return the group number, from 0, of every left and every right level.

    Two levels share a group when a chain of pairs (left[i], right[i]) joins them. Groups are numbered by the
    lowest left level in them; a right level that stands in no pair gets a number of its own after those.

    Parameters
    ----------
    left, right
        Codes of the two levels of each observed pair.
    n_left, n_right
        Number of levels on each side.
    """
    parent = list(range(n_left + n_right))

    def root(node: int) -> int:
        while parent[node] != node:
            parent[node] = parent[parent[node]]
            node = parent[node]
        return node

    pairs = np.unique(np.asarray(left, dtype=np.int64) * max(n_right, 1) + np.asarray(right, dtype=np.int64))
    for pair in pairs.tolist():
        a, b = root(pair // max(n_right, 1)), root(n_left + pair % max(n_right, 1))
        # The lower number stays the root, so that the numbering does not depend on the order of the pairs.
        parent[max(a, b)] = min(a, b)
    roots = np.array([root(node) for node in range(n_left + n_right)], dtype=np.int64)
    group = np.unique(roots, return_inverse=True)[1].astype(np.int64)
    return group[:n_left], group[n_left:]


def nested_in(inner: Codes, outer: Codes) -> bool:
    """Return whether every level of `inner` occurs with one level of `outer` only."""
    pairs = np.unique(inner * (int(outer.max()) + 1) + outer)
    return bool(pairs.size == np.unique(inner).size)


def nestings(codes: Mapping[str, Codes]) -> list[tuple[str, str]]:
    """Return every pair (inner, outer) of factors of which the one is nested in the other.

    Two factors that divide the rows in the same way stand in both orders. A factor with one level is not
    named: everything is nested in it.
    """
    several = [name for name, code in codes.items() if np.unique(code).size > 1]
    return [
        (inner, outer)
        for inner in several
        for outer in several
        if inner != outer and nested_in(codes[inner], codes[outer])
    ]


@dataclass(frozen=True)
class Unlinked:
    """Two crossed factors whose levels fall into groups that share no row."""

    factors: tuple[str, str]
    groups: int
    group_of: tuple[Codes, Codes]


def unlinked(codes: Mapping[str, Codes], sizes: Mapping[str, int], nested: list[tuple[str, str]]) -> list[Unlinked]:
    """Return the pairs of crossed factors that fall into more than one linked group, nested pairs left out.

    Differences between levels of different groups rest on the assumption that the groups do not differ as
    wholes: the data cannot tell a strong group of one factor from a lenient group of the other.
    """
    names = [name for name, code in codes.items() if np.unique(code).size > 1]
    found = []
    for i, one in enumerate(names):
        for other in names[i + 1 :]:
            if (one, other) in nested or (other, one) in nested:
                continue
            groups = linked_groups(codes[one], codes[other], sizes[one], sizes[other])
            number = int(np.unique(groups[0][codes[one]]).size)
            if number > 1:
                found.append(Unlinked((one, other), number, groups))
    return found
