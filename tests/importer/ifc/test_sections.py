"""The lines of a plan cut from the sample model, held against what the model was made from."""

from __future__ import annotations

from collections import Counter
from functools import cache

import numpy as np
import pytest
import shapely
from shapely import LineString, Polygon, box

from importer.ifc.section_doors import door_lines
from importer.ifc.section_openings import Gap, Opening, clipped, less_openings
from importer.ifc.section_stairs import all_treads, stair_lines
from importer.ifc.sections import Linework, storey_linework
from importer.plan import Drawn, DrawnKind
from sample_plans import block_storey
from sample_plans.building import Leaf
from tests.importer.ifc.sample_model import (
    block,
    block_bodies,
    block_levels,
    block_openings,
    prism,
)


@cache
def linework() -> Linework:
    return storey_linework(block(), block_levels(), block_bodies(), block_openings())


def drawn(storey: int, kind: DrawnKind) -> list[Drawn]:
    return [d for d in linework().drawn if d.storey == f"S{storey}" and d.kind is kind]


@pytest.mark.parametrize("storey", [1, 2, 3])
def test_walls_are_those_of_the_building_with_their_openings(storey: int) -> None:
    body = shapely.union_all(block_storey.building().walls())
    cut = shapely.union_all([d.shape for d in drawn(storey, DrawnKind.WALL)])
    # In the two bays a window reaches 50 mm round the corner into the next wall, which stays whole.
    assert cut.symmetric_difference(body).area < 12_000.0


def test_every_door_is_drawn_with_its_swing_to_the_side_it_opens_to() -> None:
    doors = [d for d in block_storey.building().doors if d.leaf is Leaf.HINGED]
    swings = [d.shape for d in drawn(1, DrawnKind.DOOR_SWING)]
    for door in doors:
        free_end = door.across(door.hinge, door.side * door.width)
        expected = LineString([door.closed_end, free_end])
        near = min(swings, key=lambda s: s.hausdorff_distance(expected))
        ends = shapely.MultiPoint([near.coords[0], near.coords[-1]])
        assert ends.hausdorff_distance(shapely.MultiPoint(expected.coords)) < 1.0


def test_corners_of_a_swing_lie_on_one_arc_about_the_hinge() -> None:
    gap = Gap(origin=(10, 20), along=(0.6, 0.8), u0=0, u1=900, v0=-50, v1=50, low=0, high=2100)
    (_, leaf), (kind, swing) = door_lines(gap, "SINGLE_SWING_RIGHT")
    hinge = np.array(gap.at(900, 50))
    radii = np.hypot(*(shapely.get_coordinates(swing) - hinge).T)
    assert kind is DrawnKind.DOOR_SWING
    assert radii == pytest.approx(np.full(len(radii), 900.0))
    assert leaf.area == pytest.approx(40 * 900)


@pytest.mark.parametrize(
    ("operation", "leaves", "swings"),
    [
        ("SINGLE_SWING_LEFT", 1, 1),
        ("DOUBLE_SWING_RIGHT", 2, 2),
        ("DOUBLE_DOOR_SINGLE_SWING", 2, 2),
        ("DOUBLE_DOOR_SINGLE_SWING_OPPOSITE_LEFT", 2, 2),
        ("DOUBLE_DOOR_DOUBLE_SWING", 4, 4),
        ("SLIDING_TO_LEFT", 2, 0),
        ("DOUBLE_DOOR_SLIDING", 4, 0),
        ("FOLDING_TO_RIGHT", 1, 0),
        ("NOTDEFINED", 1, 0),
        ("", 1, 0),
    ],
)
def test_each_way_of_opening_has_its_sign(operation: str, leaves: int, swings: int) -> None:
    gap = Gap(origin=(0, 0), along=(1, 0), u0=0, u1=1000, v0=0, v1=100, low=0, high=2100)
    kinds = Counter(kind for kind, _ in door_lines(gap, operation))
    assert kinds == Counter(
        {DrawnKind.DOOR_LEAF: leaves, DrawnKind.DOOR_SWING: swings}
        if swings
        else {DrawnKind.DOOR_LEAF: leaves}
    )


def test_opposite_leaves_open_to_opposite_sides() -> None:
    gap = Gap(origin=(0, 0), along=(1, 0), u0=0, u1=1000, v0=0, v1=100, low=0, high=2100)
    swings = [
        shape
        for kind, shape in door_lines(gap, "DOUBLE_DOOR_SINGLE_SWING_OPPOSITE_LEFT")
        if kind is DrawnKind.DOOR_SWING
    ]
    left, right = sorted(swings, key=lambda s: s.bounds[0])
    assert left.bounds[3] == pytest.approx(600)
    assert right.bounds[1] == pytest.approx(-500)


def test_body_of_an_opening_is_clipped_to_its_wall() -> None:
    wall = box(0, 0, 5000, 300)
    gap = Gap(origin=(0, 0), along=(1, 0), u0=1000, u1=2000, v0=-200, v1=700, low=0, high=2100)
    opening = Opening(gap=gap, entity=None, host=7)
    inside = clipped(opening, {7: wall}).gap
    assert (inside.v0, inside.v1) == (0, 300)
    assert less_openings(wall, [inside]).area == pytest.approx(wall.area - 1000 * 300)


def test_thickness_is_found_beside_an_opening_that_is_cut_out_already() -> None:
    wall = box(0, 0, 1000, 300).union(box(2000, 0, 5000, 300))
    gap = Gap(origin=(0, 0), along=(1, 0), u0=1000, u1=2000, v0=-200, v1=700, low=0, high=2100)
    inside = clipped(Opening(gap=gap, entity=None, host=7), {7: wall}).gap
    assert inside.shape.equals(box(1000, 0, 2000, 300))


def test_columns_windows_and_fittings_are_drawn_on_every_storey() -> None:
    plan = block_storey.building()
    for storey in (1, 2, 3):
        assert len(drawn(storey, DrawnKind.COLUMN)) == len(plan.columns)
        frames = [d for d in drawn(storey, DrawnKind.WINDOW) if isinstance(d.shape, Polygon)]
        assert len(frames) == len(plan.windows)
        assert len(drawn(storey, DrawnKind.OTHER)) >= len(plan.things)


def test_lower_flight_is_solid_and_upper_dashed_and_a_middle_storey_sees_both() -> None:
    assert drawn(1, DrawnKind.STAIR)
    assert [
        d
        for d in drawn(1, DrawnKind.OVERHEAD)
        if d.shape.bounds[1] > 3400 and d.shape.bounds[0] > -1700 and d.shape.bounds[2] < -300
    ]
    up_only = len(drawn(1, DrawnKind.STAIR))
    assert len(drawn(2, DrawnKind.STAIR)) > up_only
    # Nobody climbs from the top storey: what is seen there leads down.
    assert drawn(3, DrawnKind.STAIR)


def test_tread_under_another_is_hidden() -> None:
    low, high = prism(box(0, 0, 1000, 300), 0, 170), prism(box(0, 270, 1000, 600), 0, 340)
    lines = stair_lines(all_treads([low, high]), shapely.MultiPolygon(), 0.0, 1100.0)
    areas = sorted(round(s.area) for _, s in lines)
    assert areas == [270_000, 330_000]


def test_drawn_lines_name_the_product_they_come_from() -> None:
    guids = {d.source.guid for d in drawn(1, DrawnKind.DOOR_SWING)}
    doors = {d.GlobalId for d in block().file.by_type("IfcDoor")}
    assert guids
    assert guids <= doors


def test_walls_of_the_plan_are_those_that_are_drawn() -> None:
    assert len(linework().walls) == sum(len(drawn(k, DrawnKind.WALL)) for k in (1, 2, 3))
