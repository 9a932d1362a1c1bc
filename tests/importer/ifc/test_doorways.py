"""Doorways: doors with and without openings, gaps without doors, curtain walls, boundaries. Kinds I7-I9."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from shapely import box

from importer.plan import Doorway, DoorwayKind, Plan
from tests.importer.ifc.models import Building, codes, said, two_rooms

GAP = (1500.0, 3000.0, 2400.0, 3200.0)


def names(plan: Plan, doorway: Doorway) -> list[str]:
    title = {r.id: r.name or "" for r in plan.rooms}
    return sorted(title[r] for r in doorway.rooms if r is not None)


def the_doorway(plan: Plan) -> Doorway:
    (doorway,) = plan.doorways
    return doorway


# --- I8: doors and openings in every combination --------------------------------------------------------


@pytest.mark.parametrize("schema", ["IFC2X3", "IFC4", "IFC4X3"])
@pytest.mark.parametrize("made_of", ["door", "opening", "both", "unrelated"])
def test_gap_between_two_rooms_is_one_doorway(tmp_path: Path, made_of: str, schema: str) -> None:
    house, storey, wall = two_rooms(schema)
    opening = None if made_of == "door" else house.opening(wall, GAP)
    if made_of != "opening":
        house.door(storey, GAP, fills=opening if made_of == "both" else None)
    doorway = the_doorway(house.read(tmp_path))
    assert doorway.shape.symmetric_difference(box(*GAP)).area < 1000.0
    assert doorway.width_mm == pytest.approx(900.0)
    assert doorway.wall_thickness_mm == pytest.approx(200.0)
    open_gap = made_of == "opening"
    assert doorway.kind is (DoorwayKind.OPENING if open_gap else DoorwayKind.HINGED)


def test_doorway_joins_the_rooms_without_a_gap_in_the_floor(tmp_path: Path) -> None:
    house, storey, wall = two_rooms()
    deep = (1500.0, 2900.0, 2400.0, 3350.0)  # bodies of openings stick out of their walls
    house.door(storey, GAP, fills=house.opening(wall, deep))
    plan = house.read(tmp_path)
    one, two = (r.shape for r in plan.rooms)
    whole = one.union(two).union(the_doorway(plan).shape.buffer(0.01, join_style="mitre"))
    assert whole.geom_type == "Polygon"
    assert whole.area == pytest.approx(24e6 + 900 * 200, rel=1e-4)


@pytest.mark.parametrize(
    ("z", "height"),
    [(900.0, 1200.0), (0.0, 1500.0), (100.0, 2100.0)],
    ids=["window", "low", "sill"],
)
def test_gap_that_nobody_walks_through_is_no_doorway(
    tmp_path: Path, z: float, height: float
) -> None:
    house, _, wall = two_rooms()
    house.opening(wall, GAP, z=z, height=height)
    assert house.read(tmp_path).doorways == ()


def test_outer_door_has_one_room_and_its_leaf_lies_in_the_wall(tmp_path: Path) -> None:
    house, storey, _ = two_rooms()
    outer = house.wall(storey, (0, -300, 4000, 0))
    gap = (1000.0, -300.0, 1900.0, 0.0)
    house.door(storey, gap, fills=house.opening(outer, gap), OperationType="SINGLE_SWING_LEFT")
    plan = house.read(tmp_path)
    doorway = the_doorway(plan)
    assert names(plan, doorway) == ["South"]
    assert doorway.rooms[1] is None
    assert doorway.shape.symmetric_difference(box(*gap)).area < 1000.0
    assert -300.0 < doorway.leaf_line[0][1] == doorway.leaf_line[1][1] < 0.0


def test_door_that_leads_nowhere_is_told(tmp_path: Path) -> None:
    house, storey, _ = two_rooms()
    house.door(storey, (20000, 0, 20900, 100))
    plan = house.read(tmp_path)
    assert plan.doorways == ()
    assert "IMP-450" in codes(plan)


@pytest.mark.parametrize(
    ("operation", "kind", "swings"),
    [
        ("SINGLE_SWING_LEFT", DoorwayKind.HINGED, True),
        ("SLIDING_TO_LEFT", DoorwayKind.SLIDING, False),
        ("DOUBLE_DOOR_SINGLE_SWING", DoorwayKind.DOUBLE, True),
        ("FOLDING_TO_RIGHT", DoorwayKind.FOLDING, False),
        ("NOTDEFINED", DoorwayKind.HINGED, False),
    ],
)
def test_operation_tells_the_kind_and_where_it_swings(
    tmp_path: Path, operation: str, kind: DoorwayKind, *, swings: bool
) -> None:
    house, storey, wall = two_rooms()
    house.door(storey, GAP, fills=house.opening(wall, GAP), OperationType=operation)
    plan = house.read(tmp_path)
    doorway = the_doorway(plan)
    assert doorway.kind is kind
    north = next(r.id for r in plan.rooms if r.name == "North")
    assert doorway.swings_into == (north if swings else None)


def test_door_on_another_storey_joins_no_rooms_here(tmp_path: Path) -> None:
    house, storey, wall = two_rooms()
    house.door(storey, GAP, fills=house.opening(wall, GAP, z=3000.0), z=3000.0)
    assert house.read(tmp_path).doorways == ()


# --- I9: doors in curtain walls ---------------------------------------------------------------------------


def test_door_and_panes_of_a_curtain_wall_part_rooms(tmp_path: Path) -> None:
    house = Building()
    storey = house.storey()
    house.space(storey, (0, 0, 4000, 3000), "South")
    house.space(storey, (0, 3060, 4000, 6060), "North")
    front = house.root("IfcCurtainWall", ObjectPlacement=house.placement((0.0, 0.0, 0.0)))
    house.put(storey, front)
    panes = [
        house.product("IfcPlate", (x0, 3000, x1, 3060), 0.0, 2500.0)
        for x0, x1 in ((0, 1500), (2400, 4000))
    ]
    door = house.product(
        "IfcDoor", (1500, 3000, 2400, 3060), 0.0, 2100.0, OverallWidth=900.0, OverallHeight=2100.0
    )
    house.join("IfcRelAggregates", RelatingObject=front, RelatedObjects=[*panes, door])
    plan = house.read(tmp_path)
    doorway = the_doorway(plan)
    assert names(plan, doorway) == ["North", "South"]
    assert doorway.width_mm == pytest.approx(900.0)
    assert doorway.source.guid == door.GlobalId


def test_curtain_wall_bounds_rooms_that_no_space_tells(tmp_path: Path) -> None:
    house = Building()
    storey = house.storey()
    for side in (
        (-200.0, -200.0, 4200.0, 0.0),
        (-200.0, 0.0, 0.0, 3000.0),
        (4000.0, 0.0, 4200.0, 3000.0),
    ):
        house.wall(storey, side)
    front = house.root("IfcCurtainWall", ObjectPlacement=house.placement((0.0, 0.0, 0.0)))
    house.put(storey, front)
    pane = house.product("IfcPlate", (-200, 3000, 4200, 3060), 0.0, 2500.0)
    house.join("IfcRelAggregates", RelatingObject=front, RelatedObjects=[pane])
    (room,) = house.read(tmp_path).rooms
    assert room.shape.symmetric_difference(box(0, 0, 4000, 3000)).area < 1000.0


# --- I7: space boundaries -----------------------------------------------------------------------------------


def boundary(house: Building, space: Any, element: Any = None, **values: Any) -> Any:
    given = {
        "PhysicalOrVirtualBoundary": "VIRTUAL",
        "InternalOrExternalBoundary": "INTERNAL",
        **values,
    }
    return house.join(
        "IfcRelSpaceBoundary", RelatingSpace=space, RelatedBuildingElement=element, **given
    )


def open_plan(gap: float, schema: str = "IFC4") -> tuple[Building, Any, Any]:
    """Two spaces of one open floor, some way apart."""
    house = Building(schema)
    storey = house.storey()
    one = house.space(storey, (0, 0, 4000, 3000), "Living")
    two = house.space(storey, (4000 + gap, 0, 6000 + gap, 3000), "Dining")
    return house, one, two


def test_touching_spaces_without_a_wall_are_joined(tmp_path: Path) -> None:
    house, _, _ = open_plan(0.0)
    doorway = the_doorway(house.read(tmp_path))
    assert doorway.kind is DoorwayKind.OPENING
    assert doorway.width_mm == pytest.approx(3000.0)
    assert doorway.wall_thickness_mm == 0.0


@pytest.mark.parametrize("schema", ["IFC2X3", "IFC4"])
def test_virtual_boundary_without_element_or_geometry_joins_spaces_near_each_other(
    tmp_path: Path, schema: str
) -> None:
    house, one, two = open_plan(150.0, schema)
    assert house.read(tmp_path).doorways == ()
    if schema == "IFC2X3":
        for space in (one, two):
            boundary(house, space)
    else:
        virtual = house.root("IfcVirtualElement")
        for space in (one, two):
            boundary(house, space, virtual)
    doorway = the_doorway(house.read(tmp_path))
    assert doorway.width_mm == pytest.approx(3000.0)
    assert doorway.wall_thickness_mm == pytest.approx(150.0)


def test_virtual_boundary_where_a_wall_stands_makes_no_doorway(tmp_path: Path) -> None:
    house, one, two = open_plan(150.0)
    storey = house.file.by_type("IfcBuildingStorey")[0]
    house.wall(storey, (4000, -100, 4150, 3100))
    virtual = house.root("IfcVirtualElement")
    for space in (one, two):
        boundary(house, space, virtual)
    assert house.read(tmp_path).doorways == ()


def test_virtual_boundary_of_spaces_that_do_not_meet_means_nothing(tmp_path: Path) -> None:
    house, one, two = open_plan(5000.0)
    virtual = house.root("IfcVirtualElement")
    for space in (one, two):
        boundary(house, space, virtual)
    assert house.read(tmp_path).doorways == ()


def test_boundaries_to_nothing_are_read_over(tmp_path: Path) -> None:
    house, storey, wall = two_rooms("IFC2X3")
    door = house.door(storey, GAP, fills=house.opening(wall, GAP))
    spaces = house.file.by_type("IfcSpace")
    boundary(house, spaces[0], door, PhysicalOrVirtualBoundary="PHYSICAL")
    boundary(house, spaces[1], None, PhysicalOrVirtualBoundary="NOTDEFINED")
    plan = house.read(tmp_path)
    assert names(plan, the_doorway(plan)) == ["North", "South"]


def test_sliver_of_contact_is_no_passage(tmp_path: Path) -> None:
    house = Building()
    storey = house.storey()
    house.space(storey, (0, 0, 4000, 3000), "South")
    house.space(storey, (3960, 3000, 8000, 6000), "North")
    assert house.read(tmp_path).doorways == ()


def test_door_inside_one_room_is_told(tmp_path: Path) -> None:
    house = Building()
    storey = house.storey()
    house.space(storey, (0, 0, 4000, 6000), "Hall")
    house.door(storey, (1500, 3000, 2400, 3100))
    plan = house.read(tmp_path)
    assert plan.doorways == ()
    assert "Hall" in said(plan, "IMP-451")
