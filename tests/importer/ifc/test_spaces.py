"""Rooms from spaces: whatever shape they have, each floor once, on its storey. Kinds I3, I4, I11."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import box

from importer.ifc.footprint import Reading, footprint
from importer.plan import PlanError
from tests.importer.ifc.models import (
    ONE_ROOM,
    Building,
    codes,
    read_text,
    said,
)
from tests.importer.ifc.sample_model import beside, prism

POINTS = {
    60 + k: f"IFCCARTESIANPOINT(({x},{y}))"
    for k, (x, y) in enumerate([(0.0, 0.0), (4000.0, 0.0), (4000.0, 3000.0), (0.0, 3000.0)])
}
FOOTPRINT: dict[int, str | None] = {
    **POINTS,
    40: "IFCPRODUCTDEFINITIONSHAPE($,$,(#46,#48))",
    46: "IFCSHAPEREPRESENTATION(#6,'Box','BoundingBox',(#47))",
    47: "IFCBOUNDINGBOX(#10,5000.,4000.,2500.)",
    48: "IFCSHAPEREPRESENTATION(#6,'FootPrint','GeometricCurveSet',(#49))",
    49: "IFCGEOMETRICCURVESET((#50))",
    50: "IFCPOLYLINE((#60,#61,#62,#63,#60))",
}
SECOND_SPACE: dict[int, str | None] = {
    28: "IFCRELAGGREGATES('0ZZZZZZZZZZZZZZZZZZZZ6',$,$,$,#21,(#30,#70))",
    70: "IFCSPACE('0ZZZZZZZZZZZZZZZZZZZZ8',$,'102',$,$,#71,$,'Store',.ELEMENT.,.INTERNAL.,$)",
    71: "IFCLOCALPLACEMENT(#24,#32)",
}


# --- I3: spaces without a body ------------------------------------------------------------------------


def test_footprint_curve_counts_and_the_bounding_box_never(tmp_path: Path) -> None:
    plan = read_text(tmp_path, FOOTPRINT)
    (room,) = plan.rooms
    assert room.shape.equals(box(0, 0, 4000, 3000))
    assert "footprint curve" in said(plan, "IMP-351")


def test_space_with_a_bounding_box_only_is_no_room(tmp_path: Path) -> None:
    shape = {**FOOTPRINT, 40: "IFCPRODUCTDEFINITIONSHAPE($,$,(#46))"}
    with pytest.raises(PlanError):
        read_text(tmp_path, shape)


def test_space_without_shape_is_listed_and_the_others_are_read(tmp_path: Path) -> None:
    plan = read_text(tmp_path, SECOND_SPACE)
    assert [r.name for r in plan.rooms] == ["Kitchen"]
    assert "102" in said(plan, "IMP-350")


def test_model_whose_only_space_has_no_shape_is_refused_with_what_was_seen(
    tmp_path: Path,
) -> None:
    with pytest.raises(PlanError, match="1 spaces"):
        read_text(tmp_path, {30: ONE_ROOM[30].replace("#40", "$")})


def test_profile_is_read_where_the_kernel_makes_no_body(tmp_path: Path) -> None:
    # A depth of nothing: no body, but the profile is there.
    plan = read_text(tmp_path, {42: "IFCEXTRUDEDAREASOLID(#44,#43,#45,0.)"})
    (room,) = plan.rooms
    assert room.shape.area == pytest.approx(12e6)
    assert "profile" in said(plan, "IMP-351")


# --- I4: heights of storeys -------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("elevation", "told"), [("$", False), ("3000.", False), ("0.", True), ("6000.", True)]
)
def test_placement_tells_the_height_of_a_storey(
    tmp_path: Path, elevation: str, *, told: bool
) -> None:
    plan = read_text(tmp_path, {21: ONE_ROOM[21].replace("3000.", elevation)})
    (storey,) = plan.storeys
    assert storey.elevation_mm == pytest.approx(3000.0)
    assert ("IMP-551" in codes(plan)) == told


def test_height_is_not_added_twice(tmp_path: Path) -> None:
    plan = read_text(
        tmp_path,
        {
            26: "IFCCARTESIANPOINT((0.,0.,0.))",
            33: "IFCCARTESIANPOINT((0.,0.,3000.))",
        },
    )
    assert plan.storeys[0].elevation_mm == pytest.approx(3000.0)
    assert plan.rooms[0].storey == plan.storeys[0].id
    assert "+3000 mm" in said(plan, "IMP-553")


# --- I11: far from the origin -----------------------------------------------------------------------


def test_room_far_from_the_origin_keeps_its_shape(tmp_path: Path) -> None:
    plan = read_text(tmp_path, {26: "IFCCARTESIANPOINT((408201584.8,4080928016.6,3000.))"})
    (room,) = plan.rooms
    assert room.shape.area == pytest.approx(12e6, rel=1e-6)
    assert room.shape.bounds == pytest.approx(
        (408199584.8, 4080926516.6, 408203584.8, 4080929516.6), abs=1e-3
    )


# --- each floor once ------------------------------------------------------------------------------------


def test_gross_space_around_its_net_twin_is_not_counted(tmp_path: Path) -> None:
    house = Building()
    storey = house.storey()
    house.space(storey, (0, 0, 4000, 3000), "Net")
    house.space(storey, (-100, -100, 4100, 3100), "Gross")
    plan = house.read(tmp_path)
    assert [r.name for r in plan.rooms] == ["Net"]
    assert "Gross" in said(plan, "IMP-356")


def test_space_around_several_is_their_sum(tmp_path: Path) -> None:
    house = Building()
    storey = house.storey()
    house.space(storey, (0, 0, 4000, 6200), "Flat")
    house.space(storey, (0, 0, 4000, 3000), "South")
    house.space(storey, (0, 3200, 4000, 6200), "North")
    plan = house.read(tmp_path)
    assert sorted(r.name or "" for r in plan.rooms) == ["North", "South"]
    assert "sum of 2" in said(plan, "IMP-356")


def test_part_of_a_space_is_not_counted_beside_the_whole(tmp_path: Path) -> None:
    house = Building()
    storey = house.storey()
    whole = house.space(storey, (0, 0, 4000, 3000), "Whole")
    part = house.product(
        "IfcSpace", (0, 0, 1000, 3000), 0.0, 2500.0, LongName="Part", CompositionType="PARTIAL"
    )
    house.join("IfcRelAggregates", RelatingObject=whole, RelatedObjects=[part])
    plan = house.read(tmp_path)
    assert [r.name for r in plan.rooms] == ["Whole"]
    assert plan.rooms[0].shape.area == pytest.approx(12e6)


def test_spaces_that_overlap_a_little_are_cut_apart_and_told(tmp_path: Path) -> None:
    house = Building()
    storey = house.storey()
    house.space(storey, (0, 0, 4000, 3000), "Large")
    house.space(storey, (3500, 0, 6000, 3000), "Small")
    plan = house.read(tmp_path)
    assert sum(r.shape.area for r in plan.rooms) == pytest.approx(18e6)
    assert "1.50 m2" in said(plan, "IMP-357")


# --- footprints -----------------------------------------------------------------------------------------

sides = st.integers(10, 80).map(lambda k: 100.0 * k)


@settings(max_examples=15, deadline=None, derandomize=True)
@given(sides, sides, st.floats(0.0, 90.0), st.floats(-1e5, 1e5))
def test_floor_of_a_prism_is_its_plan(x: float, y: float, turn: float, foot: float) -> None:
    plan = shapely.affinity.rotate(
        box(0, 0, x, y).difference(box(x / 2, y / 2, x, y)), turn, origin=(0, 0)
    )
    found = footprint(prism(plan, foot, foot + 2500.0))
    assert found is not None
    assert found.reading is Reading.FACES
    assert found.parts[0].symmetric_difference(plan).area < 1e-6 * plan.area + 2.0
    assert (found.low, found.high) == pytest.approx((foot, foot + 2500.0))


def test_gallery_above_and_bench_below_do_not_change_the_floor() -> None:
    room = box(0, 0, 4000, 3000)
    bay = prism(box(4000, 500, 4600, 2500), 450.0, 2500.0)  # a bay window over a raised sill
    found = footprint(beside(prism(room, 0.0, 2500.0), bay))
    assert found is not None
    assert found.area == pytest.approx(room.area)


def test_step_in_a_floor_is_measured() -> None:
    low, high = (
        prism(box(0, 0, 4000, 3000), 0.0, 2500.0),
        prism(box(4000, 0, 6000, 3000), 150, 2500),
    )
    found = footprint(beside(low, high))
    assert found is not None
    assert found.step == pytest.approx(150.0)


def test_names_of_the_room_for_rules(tmp_path: Path) -> None:
    mapping: Mapping[int, str | None] = {
        30: ONE_ROOM[30].replace("'101',$,$,", "'101',$,'Wet room',")
    }
    (room,) = read_text(tmp_path, mapping).rooms
    assert (room.number, room.name) == ("101", "Kitchen")
    assert "Wet room" in room.also_called
