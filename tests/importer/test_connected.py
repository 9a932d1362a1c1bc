"""Connected parts against SciPy's sparse graphs (general-purpose reference library)."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from importer.dxf.connected import connected_parts


@pytest.mark.parametrize("seed", range(20))
def test_parts_are_those_of_a_graph_library(seed: int) -> None:
    rng = np.random.default_rng(seed)
    count = int(rng.integers(1, 200))
    pairs = rng.integers(0, count, (int(rng.integers(0, 2 * count)), 2))
    graph = coo_array((np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), shape=(count, count))
    _, expected = connected_components(graph, directed=False)
    assert connected_parts(count, pairs[:, 0], pairs[:, 1]).tolist() == expected.tolist()


def test_a_long_chain_is_one_part() -> None:
    order = np.random.default_rng(1).permutation(5000)
    assert not connected_parts(5000, order[:-1], order[1:]).any()


def test_nothing_has_no_parts() -> None:
    assert connected_parts(0, [], []).tolist() == []
