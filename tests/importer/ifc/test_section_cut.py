"""Bodies cut by a level plane and seen from above."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import Point, Polygon, box

from importer.ifc.meshes import Mesh
from importer.ifc.section_cut import cut_at, height_range, seen_from_above, together
from tests.importer.ifc.sample_model import beside, prism

FRAME = Polygon(box(0, 0, 4000, 3000).exterior, [box(1000, 1000, 2000, 2000).exterior])


@given(
    st.lists(st.floats(300, 4000), min_size=3, max_size=9),
    st.floats(0.01, 0.99),
    st.sampled_from([0.0, 4.5e6]),
)
@settings(max_examples=25, deadline=None, derandomize=True)
def test_cut_through_a_prism_is_its_plan_at_any_height_and_place(
    radii: list[float], share: float, far: float
) -> None:
    turns = np.linspace(0, 2 * np.pi, len(radii), endpoint=False)
    lengths = np.array(radii)
    plan = Polygon(np.c_[lengths * np.cos(turns) + far, lengths * np.sin(turns) - far])
    mesh = prism(plan, -300.0, 2400.0)
    cut = cut_at(mesh, -300.0 + 2700.0 * share)
    assert cut.symmetric_difference(plan).area < 1.0
    assert seen_from_above(mesh).symmetric_difference(plan).area < 1e-3 * plan.area


def test_cut_outside_the_body_is_empty() -> None:
    mesh = prism(box(0, 0, 100, 100), 0.0, 1000.0)
    assert height_range(mesh) == (0.0, 1000.0)
    assert cut_at(mesh, -1.0).is_empty
    assert cut_at(mesh, 1000.5).is_empty


def test_cut_keeps_holes() -> None:
    assert cut_at(prism(FRAME, 0, 1000), 500.0).equals(FRAME)


def test_shells_that_overlap_are_one_area_and_no_hole_where_they_do() -> None:
    body = beside(prism(box(0, 0, 1000, 200), 0, 2500), prism(box(500, 0, 2000, 200), 0, 2500))
    assert cut_at(body, 1100.0).equals(box(0, 0, 2000, 200))


def test_plane_through_corners_gives_the_same_as_just_above() -> None:
    step = beside(prism(box(0, 0, 1000, 200), 0, 1100), prism(box(0, 0, 1000, 200), 1100, 2500))
    assert cut_at(step, 1100.0).equals(box(0, 0, 1000, 200))


def test_shell_that_does_not_quite_close_is_cut_all_the_same() -> None:
    mesh = prism(box(0, 0, 1000, 200), 0, 2500)
    torn = Mesh(
        mesh.vertices[mesh.faces].reshape(-1, 3), np.arange(3 * len(mesh.faces)).reshape(-1, 3)
    )
    torn.vertices[:3] += 0.01  # a face of its own, a hair away from its neighbours
    assert cut_at(torn, 1100.0).area == pytest.approx(2e5, rel=1e-3)


def test_neighbours_that_meet_but_for_noise_are_joined() -> None:
    whole = together([box(0, 0, 1000, 200), box(1000.00001, 0, 2000, 200)])
    assert len(whole.geoms) == 1
    assert together([]).is_empty


def test_round_body_is_seen_round() -> None:
    disc = Point(0, 0).buffer(500)
    seen = seen_from_above(prism(disc, 0, 800))
    assert seen.area == pytest.approx(disc.area, rel=1e-3)
    assert shapely.is_valid(seen)
