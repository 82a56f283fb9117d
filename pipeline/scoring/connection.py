"""Which umpires can be compared: groups joined by evaluators who saw members of both."""

from __future__ import annotations

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
