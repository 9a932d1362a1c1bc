"""Rooms between walls, for models without spaces."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from shapely import Polygon, box

from importer.ifc.free_levels import levels_to_search
from importer.ifc.free_rooms import FreeRoom, free_rooms
from importer.ifc.section_bodies import Bodies, Body, Role
from importer.ifc.section_levels import Level
from importer.ifc.section_openings import Gap, Opening
from importer.plan import StoreyId
from sample_plans import block_storey
from tests.importer.ifc.sample_model import block_bodies, block_levels, block_openings, prism

GROUND, UPPER = (Level(storey=StoreyId(s), floor=f) for s, f in (("S1", 0.0), ("S2", 3000.0)))


def body(role: Role, plan: Polygon, low: float, high: float, number: int = 1) -> Body:
    return Body(
        role=role, product=None, whole=number, mesh=prism(plan, low, high), low=low, high=high
    )


def frame(x0: float, y0: float, x1: float, y1: float, thickness: float = 200.0) -> Polygon:
    """Four walls about a room given by its faces."""
    inner = box(x0, y0, x1, y1)
    outer = inner.buffer(thickness, join_style="mitre")
    return Polygon(outer.exterior, [inner.exterior])


def found(
    levels: list[Level], bodies: list[Body], openings: tuple[Opening, ...] = ()
) -> tuple[FreeRoom, ...]:
    return free_rooms(levels, Bodies(bodies=tuple(bodies)), openings)


def test_rooms_of_the_sample_are_those_it_was_made_from() -> None:
    rooms = free_rooms(block_levels(), block_bodies(), block_openings())
    columns = shapely.union_all([Polygon(r) for r in block_storey.building().columns])
    for storey in ("S1", "S2", "S3"):
        mine = [r.shape for r in rooms if r.storey == storey]
        for space in block_storey.building().spaces:
            if space.name == "Stair":
                continue
            truth = space.shape.difference(columns)
            best = min(mine, key=lambda r: r.symmetric_difference(truth).area)
            assert best.hausdorff_distance(truth) < 0.1, space.key
        shaft = shapely.Point(600, 2700)  # the lift: enclosed like a room, but no slab carries it
        assert not any(r.contains(shaft) for r in mine)


def test_stair_is_taken_out_of_its_room() -> None:
    rooms = free_rooms(block_levels(), block_bodies(), block_openings())
    places = [
        r.shape for r in rooms if r.storey == "S1" and r.shape.contains(shapely.Point(-2400, 2500))
    ]
    assert len(places) == 1
    assert not places[0].contains(shapely.Point(-2400, 4500))


def test_walls_that_do_not_close_enclose_nothing() -> None:
    wall = frame(0, 0, 4000, 3000).difference(box(1000, -300, 2000, 100))
    assert found([GROUND], [body(Role.WALL, wall, 0, 2600)]) == ()
    assert found([GROUND], []) == ()


def test_opening_closes_a_wall_whose_body_has_it_cut_out() -> None:
    wall = frame(0, 0, 4000, 3000).difference(box(1000, -300, 2000, 100))
    gap = Gap(origin=(0, 0), along=(1, 0), u0=1000, u1=2000, v0=-500, v1=400, low=0, high=2100)
    opening = Opening(gap=gap, entity=None, host=1)
    (room,) = found([GROUND], [body(Role.WALL, wall, 0, 2600)], (opening,))
    assert room.shape.equals(box(0, 0, 4000, 3000))


def test_column_in_a_room_is_a_hole_in_it() -> None:
    bodies = [
        body(Role.WALL, frame(0, 0, 4000, 3000), 0, 2600),
        body(Role.COLUMN, box(1000, 1000, 1300, 1300), 0, 2600, 2),
    ]
    (room,) = found([GROUND], bodies)
    assert room.shape.area == pytest.approx(12e6 - 9e4)
    assert len(room.shape.interiors) == 1


@pytest.mark.parametrize("inner", [box(0, 0, 900, 900), box(0, 0, 5000, 500)])
def test_duct_is_no_room(inner: Polygon) -> None:
    wall = inner.buffer(200, join_style="mitre").difference(inner)
    assert found([GROUND], [body(Role.WALL, wall, 0, 2600)]) == ()


def test_wall_over_two_storeys_makes_a_room_only_where_a_slab_carries_it() -> None:
    room = frame(0, 0, 4000, 3000)
    hall = [
        body(Role.WALL, room, 0, 6000),
        body(Role.SLAB, box(-200, -200, 4200, 3200), -200, 0, 2),
    ]
    assert [r.storey for r in found([GROUND, UPPER], hall)] == ["S1"]
    gallery = [*hall, body(Role.SLAB, box(-200, -200, 4200, 3200), 2800, 3000, 3)]
    assert [r.storey for r in found([GROUND, UPPER], gallery)] == ["S1", "S2"]


def test_hole_in_the_slab_is_taken_out_of_the_room() -> None:
    hole = box(500, 500, 1500, 2500)
    slab = Polygon(box(-200, -200, 4200, 3200).exterior, [hole.exterior])
    bodies = [body(Role.WALL, frame(0, 0, 4000, 3000), 0, 2600), body(Role.SLAB, slab, -200, 0, 2)]
    (room,) = found([GROUND], bodies)
    assert room.shape.symmetric_difference(box(0, 0, 4000, 3000).difference(hole)).area < 1.0


def test_rooms_far_from_the_origin_are_the_same_rooms() -> None:
    far = shapely.transform(frame(0, 0, 4000, 3000), lambda p: p + np.array([4.5e8, 5.4e9]))
    (room,) = found([GROUND], [body(Role.WALL, far, 0, 2600)])
    assert room.shape.area == pytest.approx(12e6, rel=1e-6)
    assert room.shape.bounds[:2] == pytest.approx((4.5e8, 5.4e9))


def slab(shape: Polygon, top: float, number: int) -> Body:
    return body(Role.SLAB, shape, top - 200.0, top, number)


def test_floors_half_a_flight_apart_are_rooms_of_one_storey() -> None:
    low, high = box(0, 0, 4000, 3000), box(4200, 0, 8000, 3000)
    walls = [
        body(Role.WALL, frame(0, 0, 4000, 3000), -1200, 4000),
        body(Role.WALL, frame(4200, 0, 8000, 3000), -1200, 4000, 2),
    ]
    slabs = [slab(low.buffer(100), -1000.0, 3), slab(high.buffer(100), 0.0, 4)]
    levels = [Level(storey=StoreyId("S1"), floor=z, doors=1) for z in (-1000.0, 0.0)]
    rooms = {r.floor: r.shape for r in found(levels, [*walls, *slabs])}
    assert rooms[-1000.0].symmetric_difference(low).area < 1000.0
    assert rooms[0.0].symmetric_difference(high).area < 1000.0


def test_gallery_is_a_room_as_far_as_its_slab_reaches() -> None:
    hall, gallery = box(0, 0, 4000, 6000), box(0, 0, 4000, 1500)
    bodies = [
        body(Role.WALL, frame(0, 0, 4000, 6000), 0, 6000),
        slab(hall.buffer(200, join_style="mitre"), 0.0, 2),
        slab(gallery, 3000.0, 3),
    ]
    shapes = {r.storey: r.shape for r in found([GROUND, UPPER], bodies)}
    assert shapes[StoreyId("S1")].symmetric_difference(hall).area < 1000.0
    assert shapes[StoreyId("S2")].symmetric_difference(gallery).area < 1000.0


def test_stairwell_at_the_edge_of_a_slab_is_no_floor() -> None:
    room, well = box(0, 0, 4000, 3000), box(3000, 0, 4000, 3000)
    bodies = [
        body(Role.WALL, frame(0, 0, 4000, 3000), 0, 2600),
        slab(room.difference(well), 0.0, 2),
    ]
    (found_room,) = found([GROUND], bodies)
    assert found_room.shape.symmetric_difference(room.difference(well)).area < 1000.0


def test_storey_without_doors_a_hand_above_another_has_no_rooms_of_its_own() -> None:
    bodies = [
        body(Role.WALL, frame(0, 0, 4000, 3000), 0, 2600),
        slab(box(-200, -200, 4200, 3200), 0.0, 2),
    ]
    levels = [
        Level(storey=StoreyId("S1"), floor=0.0, doors=2),
        Level(storey=StoreyId("S2"), floor=100.0),
    ]
    assert [r.storey for r in found(levels, bodies)] == ["S1"]
    assert [r.storey for r in found(levels[::-1], bodies)] == ["S1"]


def test_levels_are_the_storeys_floor_and_wherever_else_its_doors_stand() -> None:
    levels = levels_to_search(
        {0: StoreyId("S1"), 1: StoreyId("S2")},
        {0: 0.0, 1: 3000.0},
        {0: [0.0, 20.0, -450.0, -450.0, -455.0]},
    )
    assert [(level.storey, level.floor, level.doors) for level in levels] == [
        ("S1", -450.0, 3),
        ("S1", 0.0, 2),
        ("S2", 3000.0, 0),
    ]
