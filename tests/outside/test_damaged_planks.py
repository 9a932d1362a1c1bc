"""Damaged planks: every place told is tried by cutting it, and how many find a place is matched with
NetworkX as referee.
"""

from __future__ import annotations

from dataclasses import replace

import networkx as nx
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import Polygon, box

from layout.floor import BayLayout, Plank, PlankId, Role
from layout.laying_damage import damaged_planks
from layout.rules import RuleSet
from layout.takeoff import combine
from layout.writers.damage import damage_words, damaged_at_an_end, left_in_packs
from tests.layout import build
from tests.layout.laid import rectangle_result
from tests.outside.test_laying_order import lay

RULES = build.rules()


def matched(planks: tuple[Plank, ...], near: int, far: int, up_to: float) -> int:
    """Damaged planks that find places, by a greatest matching."""
    graph = nx.Graph()
    tops = [("near", n) for n in range(near)] + [("far", n) for n in range(far)]
    graph.add_nodes_from(tops)
    for top in tops:
        side = int(top[0] == "far")
        graph.add_edges_from((top, p.id) for p in planks if p.damage_mm[side] >= up_to)
    return len(nx.bipartite.hopcroft_karp_matching(graph, tops)) // 2


ends = st.tuples(st.integers(0, 400), st.integers(0, 400))


@given(planks=st.lists(ends, max_size=9), near=st.integers(0, 9), far=st.integers(0, 9))
@settings(max_examples=150, deadline=None)
def test_any_numbers_within_the_three_figures_find_places_and_no_others_do(
    planks: list[tuple[int, int]], near: int, far: int
) -> None:
    made = tuple(
        Plank(id=PlankId(f"P{n}"), pieces=(), offcut_mm=0, waste_mm2=0, damage_mm=(a, b))
        for n, (a, b) in enumerate(planks)
    )
    told = damaged_planks(made, 100.0)
    fit = near <= told.near and far <= told.far and near + far <= told.in_all
    assert fit is (matched(made, near, far, 100.0) == near + far)
    assert matched(made, len(made), len(made), 100.0) == told.in_all


KINDS = {
    "rectangle": box(0, 0, 5200, 3860),
    "corridor": box(0, 0, 9200, 1250),
    "narrow": box(0, 0, 900, 2600),
}


@pytest.mark.parametrize("kind", sorted(KINDS))
def test_pieces_can_be_cut_from_planks_damaged_as_told(kind: str) -> None:
    """The pieces of a plank laid one after the other in what is sound of it, each at the end it keeps."""
    layout = lay(KINDS[kind])
    assert layout.damaged.in_all > 0
    for plank in layout.planks:
        near, far = plank.damage_mm
        assert is_cut(layout, plank, (near, 0.0), RULES)
        assert is_cut(layout, plank, (0.0, far), RULES)


@pytest.mark.parametrize("shape", [box(0, 0, 5200, 3860)])
def test_more_damage_than_told_spoils_a_piece(shape: Polygon) -> None:
    layout = lay(shape)
    for plank in layout.planks:
        near, far = plank.damage_mm
        assert not is_cut(layout, plank, (near + 1.0, 0.0), RULES)
        assert not is_cut(layout, plank, (0.0, far + 1.0), RULES)


def is_cut(layout: BayLayout, plank: Plank, damage: tuple[float, float], rules: RuleSet) -> bool:
    """Whether the pieces of a plank fit between the damage of its two ends: what keeps an end needs it
    sound. No strips lie side by side in these rooms.
    """
    pieces = {p.id: p for p in layout.pieces}
    own = [pieces[p] for p in plank.pieces]
    roles = {p.role for p in own}
    if damage[0] and roles & {Role.FULL, Role.LAST}:
        return False
    if damage[1] and roles & {Role.FULL, Role.FIRST}:
        return False
    if not any(damage):
        return True
    measured = [p for p in own if p.role in {Role.LAST, Role.ONLY}]
    needed = sum(p.blank_length_mm for p in own) + rules.site.tolerance * len(measured)
    needed += rules.cut.kerf * (len(own) - 1)
    return needed <= rules.plank.length - sum(damage) + 0.5


def test_job_takes_as_many_damaged_planks_as_its_packs_hold_and_says_so() -> None:
    """Two bays in packs of ten: places of both, and what the packs hold beyond the planks laid."""
    layout = lay(KINDS["rectangle"])
    result = replace(rectangle_result(), bays=(layout, layout))
    job = combine([result], build.rules(plank={"length": 1220, "width": 180, "per_pack": 10}))
    assert damaged_at_an_end(job) == 2 * layout.damaged.in_all
    assert left_in_packs(job) == 10 * job.totals.packs - 2 * len(layout.planks)
    assert left_in_packs(job) >= job.totals.spare_planks
    assert damage_words(job).startswith(f"{2 * layout.damaged.in_all} with one end damaged")
    assert damage_words(combine([], build.rules())) == ""
