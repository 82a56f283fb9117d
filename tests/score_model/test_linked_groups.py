"""Groups that can be compared, against a graph library."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from scipy import sparse
from scipy.sparse import csgraph

from pipeline.scoring.connection import linked_groups


@given(pairs=st.lists(st.tuples(st.integers(0, 7), st.integers(0, 5)), max_size=20))
def test_groups_are_the_connected_parts_of_the_graph(pairs: list[tuple[int, int]]) -> None:
    left, right = (np.array([pair[k] for pair in pairs], dtype=np.int64) for k in (0, 1))
    groups = np.concatenate(linked_groups(left, right, 8, 6))
    graph = sparse.coo_array((np.ones(len(pairs)), (left, right + 8)), shape=(14, 14))
    number, expected = csgraph.connected_components(graph, directed=False)
    assert np.unique(groups).size == number
    # The same partition: each group number stands for one component.
    assert len({*zip(groups.tolist(), expected.tolist(), strict=True)}) == number


def test_groups_are_numbered_by_their_lowest_umpire() -> None:
    umpires, evaluators = linked_groups(np.array([2, 1, 0]), np.array([0, 1, 1]), 3, 3)
    assert umpires.tolist() == [0, 0, 1]
    assert evaluators.tolist() == [1, 0, 2]
