"""The stock's matching and the solver's count of it against NetworkX."""

from __future__ import annotations

import networkx as nx
import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from layout.demand import Blank, StockRules
from layout.floor import Role
from layout.joint_problem import greatest_matching
from layout.stock import cut_planks

PLANK, KERF = 1220.0, 2.0
lengths = st.lists(st.integers(100, 1219).map(float), max_size=14)
tolerances = st.sampled_from([0.0, 10.0])


def reference(firsts: list[float], lasts: list[float], tolerance: float) -> int:
    graph = nx.Graph()
    graph.add_nodes_from(("first", i) for i in range(len(firsts)))
    graph.add_edges_from(
        (("first", i), ("last", j))
        for i, s in enumerate(firsts)
        for j, e in enumerate(lasts)
        if s + e + KERF + tolerance <= PLANK
    )
    tops = {n for n in graph if n[0] == "first"}
    return len(nx.bipartite.hopcroft_karp_matching(graph, tops)) // 2


@given(firsts=lengths, lasts=lengths, tolerance=tolerances)
def test_as_many_pieces_share_planks_as_a_greatest_matching_allows(
    firsts: list[float], lasts: list[float], tolerance: float
) -> None:
    blanks = [
        Blank(
            key=n,
            role=role,
            length_mm=length,
            width_mm=180.0,
            keeps_near_edge=True,
            keeps_far_edge=True,
        )
        for n, (role, length) in enumerate(
            [*((Role.FIRST, s) for s in firsts), *((Role.LAST, e) for e in lasts)]
        )
    ]
    stock = StockRules(
        plank_length=PLANK, plank_width=180.0, kerf=KERF, keep_offcut=300.0, tolerance=tolerance
    )
    planks = len(cut_planks(blanks, stock))
    assert planks == len(blanks) - reference(firsts, lasts, tolerance)


@given(firsts=lengths, lasts=lengths, tolerance=tolerances)
def test_threshold_formula_counts_a_greatest_matching(
    firsts: list[float], lasts: list[float], tolerance: float
) -> None:
    need = np.sort(np.array(firsts, dtype=float))
    room = np.sort(PLANK - KERF - tolerance - np.array(lasts, dtype=float))
    assert greatest_matching(need, room) == reference(firsts, lasts, tolerance)
