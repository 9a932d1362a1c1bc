"""The order of laying held against a precedence graph that is built from the finished shapes alone, with
NetworkX as referee: who locks into whom is found by the audit's own geometry, not by the sequence.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from random import Random

import networkx as nx
import pytest
from shapely import Polygon, box
from shapely.affinity import rotate

from layout.audit_geometry import Contact, edges_of, joints_of, seams_of
from layout.bays import form_bays
from layout.floor import BayLayout, Piece
from layout.job_pools import Sketch, lay_pool
from layout.joints import Solved
from layout.laying_around import around_of
from tests.bench.generated_bays import KINDS, GeneratedBay, plan_of, set_out_bay
from tests.layout.build import plain_joints, rules

SHAPES = ("rooms", "U", "Z", "T", "column", "alcove", "bay window", "angled", "L")


@cache
def laid(kind: str, number: int, degrees: float = 0.0) -> BayLayout:
    """A generated bay laid with plain joints: the order needs no solver."""
    shape = rotate(KINDS[kind](Random(f"order/{kind}/{number}")), degrees, origin=(0, 0))
    return lay(shape)


def lay(shape: Polygon) -> BayLayout:
    rule_set = rules(limits={"run": "40 m", "across": "40 m"})
    plan = plan_of(shape)
    (bay,) = form_bays(plan, rule_set).bays
    return layout_of(set_out_bay("", bay, plan, rule_set))


def layout_of(bay: GeneratedBay) -> BayLayout:
    solved = Solved(plan=plain_joints(bay.demand), bound=1)
    plan = plan_of(bay.bay.outline)
    sketch = Sketch(
        bay=bay.bay, grid=bay.grid, solved=solved, around=around_of(bay.bay, plan, bay.rules)
    )
    (layout,) = lay_pool([sketch], bay.rules)
    return layout


def contacts(layout: BayLayout) -> tuple[tuple[Contact, ...], tuple[Contact, ...]]:
    """End joints and seams, from the shapes alone."""
    edges = edges_of([p.shape for p in layout.pieces])
    return joints_of(edges), seams_of(edges)


def precedence(layout: BayLayout) -> nx.DiGraph[int]:
    """What must lie before what, from the hand that each piece is laid in: left before right along a row;
    below before above where both go forward, above before below where both are laid in reverse. Where
    two hands part from a seam either may come first.
    """
    pieces = layout.pieces
    joints, seams = contacts(layout)
    graph: nx.DiGraph[int] = nx.DiGraph()
    graph.add_nodes_from(range(len(pieces)))
    graph.add_edges_from((c.low, c.high) for c in joints)
    for c in seams:
        low, high = pieces[c.low], pieces[c.high]
        if not low.is_reversed and not high.is_reversed:
            graph.add_edge(c.low, c.high)
        elif low.is_reversed and high.is_reversed:
            graph.add_edge(c.high, c.low)
    return graph


@pytest.mark.parametrize("kind", SHAPES)
@pytest.mark.parametrize("number", range(2))
def test_order_is_a_topological_order_of_what_locks_into_what(kind: str, number: int) -> None:
    layout = laid(kind, number, degrees=35.0 * number)
    graph = precedence(layout)
    assert nx.is_directed_acyclic_graph(graph)
    order = [p.order for p in layout.pieces]
    assert sorted(order) == list(range(1, len(order) + 1))
    assert all(order[a] < order[b] for a, b in graph.edges)


@pytest.mark.parametrize("kind", SHAPES)
@pytest.mark.parametrize("number", range(2))
def test_every_piece_can_be_clicked_in_when_its_turn_comes(kind: str, number: int) -> None:
    """It touches one that is laid, unless its run begins beside bare floor and reaches a laid row further
    on; and no piece is closed in from both long sides.
    """
    layout = laid(kind, number, degrees=35.0 * number)
    for piece, (ends, below, above) in neighbours_laid_before(layout):
        assert not (below and above), piece.id
        if not (ends or below or above) and piece.order > 1:
            assert reaches_a_laid_row(piece, layout), piece.id


def neighbours_laid_before(layout: BayLayout) -> list[tuple[Piece, tuple[int, int, int]]]:
    """Per piece how many it meets at an end, below and above that were laid before it."""
    joints, seams = contacts(layout)
    order = [p.order for p in layout.pieces]
    counts = {n: [0, 0, 0] for n in range(len(order))}
    for c in joints:
        late = c.high if order[c.low] < order[c.high] else c.low
        counts[late][0] += 1
    for c in seams:
        late, side = (c.high, 1) if order[c.low] < order[c.high] else (c.low, 2)
        counts[late][side] += 1
    return [(layout.pieces[n], (a, b, d)) for n, (a, b, d) in counts.items()]


def reaches_a_laid_row(piece: Piece, layout: BayLayout) -> bool:
    first = min(p.order for p in layout.pieces if p.run == piece.run)
    number = {p.id: n for n, p in enumerate(layout.pieces)}
    _, seams = contacts(layout)
    own = {number[p.id] for p in layout.pieces if p.run == piece.run}
    beside = {c.low for c in seams if c.high in own} | {c.high for c in seams if c.low in own}
    return any(layout.pieces[n].order < first for n in beside)


def test_the_referee_sees_an_order_that_closes_a_piece_in() -> None:
    """Rows 1, 3, 2: the middle one would have to go in between two laid rows."""
    layout = lay(box(0, 0, 4000, 540))
    turn = {1: 1, 2: 3, 3: 2}
    wrong = [replace(p, order=100 * turn.get(p.row, p.row) + p.number) for p in layout.pieces]
    mixed = replace(layout, pieces=tuple(wrong))
    assert any(wrong[a].order > wrong[b].order for a, b in precedence(mixed).edges)
    assert any(below and above for _, (_, below, above) in neighbours_laid_before(mixed))


def test_rooms_behind_the_first_row_are_laid_in_reverse() -> None:
    """Rooms in line that begin at different levels: what is behind a door is told as laid back."""
    layout = laid("rooms", 1, degrees=35.0)
    back = [s for s in layout.stretches if s.is_reversed]
    assert back
    assert all("tongue and groove swapped" in s.why for s in back)
    covered = [n for s in layout.stretches for n in range(s.first, s.last + 1)]
    assert covered == [p.order for p in layout.pieces]
