"""Plans, bays and room kinds for tests of the layout: shapes drawn by hand, invented throughout."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from math import cos, pi, radians, sin
from typing import TypeVar

import shapely
from shapely import LineString, Polygon, box
from shapely.affinity import affine_transform
from shapely.geometry.base import BaseGeometry

from importer.plan import (
    Doorway,
    DoorwayId,
    DoorwayKind,
    FlatId,
    Obstacle,
    ObstacleId,
    ObstacleKind,
    Plan,
    Point,
    Room,
    RoomId,
    Storey,
    StoreyId,
    UnitReading,
)
from layout.demand import BayDemand, JointPlan
from layout.rules import RuleSet

STOREY = StoreyId("S1")


def rules(**sections: object) -> RuleSet:
    """A plain rule set, 1220 x 180; sections replace the defaults."""
    given: dict[str, object] = {
        "name": "test",
        "plank": {"length": 1220, "width": 180},
        "cut": {"kerf": 2},
        **sections,
    }
    return RuleSet.model_validate(given)


def room(shape: Polygon, count: int = 1, **fields: object) -> Room:
    given: dict[str, object] = {
        "id": RoomId(f"R{count}"),
        "shape": shapely.orient_polygons(shape),
        "storey": STOREY,
        **fields,
    }
    return Room(**given)  # type: ignore[arg-type]


def doorway(
    low: Point,
    high: Point,
    number: int = 1,
    rooms: tuple[int, int | None] = (1, None),
    **fields: object,
) -> Doorway:
    """An opening that fills the box from `low` to `high`; the wall is as thick as its shorter side."""
    shape = box(*low, *high)
    x0, y0, x1, y1 = shape.bounds
    upright = x1 - x0 < y1 - y0
    mid = ((x0 + x1) / 2, (y0 + y1) / 2)
    line = ((mid[0], y0), (mid[0], y1)) if upright else ((x0, mid[1]), (x1, mid[1]))
    given: dict[str, object] = {
        "id": DoorwayId(f"D{number}"),
        "rooms": (RoomId(f"R{rooms[0]}"), None if rooms[1] is None else RoomId(f"R{rooms[1]}")),
        "storey": STOREY,
        "shape": shapely.orient_polygons(shape),
        "leaf_line": line,
        "width_mm": max(x1 - x0, y1 - y0),
        "wall_thickness_mm": min(x1 - x0, y1 - y0),
        "kind": DoorwayKind.HINGED,
        **fields,
    }
    return Doorway(**given)  # type: ignore[arg-type]


def obstacle(shape: Polygon, number: int = 1, kind: ObstacleKind = ObstacleKind.COLUMN) -> Obstacle:
    return Obstacle(id=ObstacleId(f"O{number}"), kind=kind, shape=shape, storey=STOREY)


def plan(
    rooms: Sequence[Room] | Polygon,
    doorways: Sequence[Doorway] = (),
    obstacles: Sequence[Obstacle] = (),
) -> Plan:
    """A plan of one storey; a bare polygon is a plan of one room, R1."""
    made = (room(rooms),) if isinstance(rooms, Polygon) else tuple(rooms)
    return Plan(
        file="test.dxf",
        format="DXF",
        units=UnitReading(name="mm", to_mm=1.0, because="test"),
        storeys=(Storey(id=STOREY, name="Ground"),),
        flats=(),
        rooms=made,
        doorways=tuple(doorways),
        obstacles=tuple(obstacles),
    )


# --- kinds of room ------------------------------------------------------------------------------


def rectangle(length: float = 5200.0, depth: float = 3860.0) -> Polygon:
    return box(0, 0, length, depth)


def polygon(*points: Point) -> Polygon:
    shape: Polygon = shapely.orient_polygons(Polygon(points))
    return shape


def angled_wall() -> Polygon:
    return polygon((0, 0), (6000, 0), (6000, 2500), (4200, 4300), (0, 4300))


def out_of_square() -> Polygon:
    """The far wall runs out by 60 mm, the right-hand one leans by 0.8 degrees."""
    return polygon((0, 0), (5400, 0), (5455, 4010), (0, 3950))


def bay_window() -> Polygon:
    """A room of 5 x 4 m with a round bay 3 m wide, drawn as 24 chords."""
    arc = [(2500 + 1500 * cos(a), 4000 + 900 * sin(a)) for a in (k * pi / 24 for k in range(25))]
    return polygon((0, 0), (5000, 0), (5000, 4000), *arc, (0, 4000))


def column_hole() -> Polygon:
    room_with_column: Polygon = Polygon(
        box(0, 0, 6400, 4700).exterior, [box(2800, 2100, 3200, 2520).exterior]
    )
    return room_with_column


KINDS: dict[str, Polygon] = {
    "rectangle": rectangle(),
    "l_shape": polygon((0, 0), (6100, 0), (6100, 2600), (3300, 2600), (3300, 5200), (0, 5200)),
    "u_shape": polygon(
        (0, 0),
        (7000, 0),
        (7000, 5000),
        (5100, 5000),
        (5100, 2300),
        (1900, 2300),
        (1900, 5000),
        (0, 5000),
    ),
    "t_shape": polygon(
        (2200, 0),
        (4700, 0),
        (4700, 3100),
        (7100, 3100),
        (7100, 5600),
        (0, 5600),
        (0, 3100),
        (2200, 3100),
    ),
    "z_shape": polygon(
        (0, 0),
        (4000, 0),
        (4000, 1500),
        (6600, 1500),
        (6600, 4900),
        (2400, 4900),
        (2400, 3000),
        (0, 3000),
    ),
    "angled_wall": angled_wall(),
    "out_of_square": out_of_square(),
    "bay_window": bay_window(),
    "column_hole": column_hole(),
    "alcove": polygon(
        (0, 0),
        (5600, 0),
        (5600, 4100),
        (3700, 4100),
        (3700, 4550),
        (2300, 4550),
        (2300, 4100),
        (0, 4100),
    ),
    "chimney_breast": polygon(
        (0, 0), (1800, 0), (1800, 420), (3350, 420), (3350, 0), (5300, 0), (5300, 4000), (0, 4000)
    ),
    "sliver": polygon((0, 0), (4200, 0), (4200, 330), (0, 330)),
    "neck": polygon(
        (0, 0),
        (4000, 0),
        (4000, 1700),
        (5200, 1700),
        (5200, 0),
        (9000, 0),
        (9000, 4200),
        (5200, 4200),
        (5200, 2700),
        (4000, 2700),
        (4000, 4200),
        (0, 4200),
    ),
    "corridor": box(0, 0, 9200, 1250),
    "wall_end": polygon(
        (0, 0),
        (5000, 0),
        (5000, 1960),
        (3600, 1960),
        (3600, 2060),
        (5000, 2060),
        (5000, 4000),
        (0, 4000),
    ),
    "triangle": polygon((0, 0), (5000, 0), (0, 4000)),
}
"""The catalogue of room kinds, wall faces in mm; no two alike in what they ask of the geometry."""

FAR = (408_201_584.8, 4_080_928.016)
"""A national grid's easting and northing in millimetres would be here or further."""


G = TypeVar("G", bound=BaseGeometry)


def moved(shape: G, degrees: float = 0.0, at: Point = (0.0, 0.0), *, mirrored: bool = False) -> G:
    """The shape mirrored in the y axis, turned about the origin, then shifted."""
    c, s = cos(radians(degrees)), sin(radians(degrees))
    flip = -1.0 if mirrored else 1.0
    turned: G = shapely.orient_polygons(affine_transform(shape, [c * flip, -s, s * flip, c, *at]))
    return turned


def moved_plan(
    original: Plan, degrees: float = 0.0, at: Point = (0.0, 0.0), *, mirrored: bool = False
) -> Plan:
    """The whole plan moved rigidly."""

    def place(shape: Polygon) -> Polygon:
        return moved(shape, degrees, at, mirrored=mirrored)

    def line(ends: tuple[Point, Point]) -> tuple[Point, Point]:
        placed = moved(LineString(ends), degrees, at, mirrored=mirrored)
        a, b = shapely.get_coordinates(placed).tolist()
        return (a[0], a[1]), (b[0], b[1])

    return replace(
        original,
        rooms=tuple(replace(r, shape=place(r.shape)) for r in original.rooms),
        doorways=tuple(
            replace(d, shape=place(d.shape), leaf_line=line(d.leaf_line)) for d in original.doorways
        ),
        obstacles=tuple(replace(o, shape=place(o.shape)) for o in original.obstacles),
    )


def flat_of_three() -> Plan:
    """Hall, living room, bath; walls 120 mm; the hall has the flat's entrance."""
    flat = FlatId("F1")
    return plan(
        [
            room(box(0, 0, 1500, 5000), 1, name="Hall", flat=flat),
            room(box(1620, 0, 6620, 5000), 2, name="Living", flat=flat),
            room(box(-2120, 0, -120, 2400), 3, name="Bath", number="0.03", flat=flat),
        ],
        [
            doorway((300, -200), (1200, 0), 1, (1, None), flat_entrance=True),
            doorway((1500, 2000), (1620, 2860), 2, (1, 2)),
            doorway((-120, 800), (0, 1500), 3, (1, 3)),
        ],
    )


# --- joints without the solver ------------------------------------------------------------------


def plain_joints(demand: BayDemand) -> JointPlan:
    """Some joints for every run: a third of a plank further on in each row, ends made long enough
    where the run allows it. Good for testing geometry, bad for planks.
    """
    plank, least = demand.stock.plank_length, demand.min_length
    joints: list[tuple[float, ...]] = []
    for run in demand.runs:
        length = run.x1 - run.x0
        if length <= plank:
            joints.append(())
            continue
        ways = (least + k * 10.0 for k in range(int((plank - least) / 10.0) + 1))
        fitting = [s for s in ways if least <= (length - s) % plank or (length - s) % plank == 0.0]
        first = fitting[(run.row * len(fitting)) // 3 % len(fitting)]
        places = []
        x = run.x0 + first
        while x < run.x1 - 1e-6:
            places.append(x)
            x += plank
        joints.append(tuple(places))
    return JointPlan(joints=tuple(joints), planks=0)
