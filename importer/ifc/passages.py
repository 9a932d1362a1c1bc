"""Open passages: spaces that touch, or face each other across a boundary called virtual, with no wall
between. Found by geometry; a boundary that the model calls virtual only lets the gap be wider.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import hypot
from typing import Final

import numpy as np
import shapely
from shapely import LineString, Polygon, STRtree
from shapely.geometry.base import BaseGeometry

from importer.ifc.doorways import ZERO_DEPTH_MM
from importer.ifc.draft import DoorwayDraft, RoomDraft
from importer.ifc.model import IfcModel
from importer.ifc.section_bodies import Bodies, Role
from importer.ifc.section_cut import cut_at, together
from importer.plan import DoorwayKind, Point

TOUCH_MM: Final = 30.0
"""Spaces this near touch: in real models gaps are nought or 80 mm and more."""
VIRTUAL_MM: Final = 300.0
"""So wide may the gap be where both spaces have a virtual boundary."""
LEAST_MM: Final = 300.0
"""A narrower gap is no passage."""
WALL_CUT_MM: Final = 1000.0
"""Walls are looked for at this height above the floor."""
SHARED_HEIGHT_MM: Final = 1800.0
"""Touching over less height than a person needs is no passage."""
LEVEL_MM: Final = 60.0
"""Floors further apart in height are joined by a step, and no floor runs through."""
STRAIGHT_MM: Final = 5.0


def find_passages(
    model: IfcModel,
    rooms: Sequence[RoomDraft],
    bodies: Bodies,
    doorways: Sequence[DoorwayDraft],
) -> list[DoorwayDraft]:
    """Passages without a frame between rooms.

    Args:
        model: for its virtual boundaries.
        rooms: all rooms of the model.
        bodies: its walls and columns.
        doorways: those known already; no second one is made in their place.
    """
    pairs = _facing(model, rooms)
    if not pairs:
        return []
    solid: dict[int, BaseGeometry] = {}
    found: list[DoorwayDraft] = []
    for one, two, reach in pairs:
        level = round(rooms[one].low + WALL_CUT_MM)
        if level not in solid:
            solid[level] = _solid_at(bodies, float(level))
        known = [d.shape for d in doorways if set(d.rooms) == {one, two}]
        barrier = shapely.union_all([shapely.buffer(solid[level], 1.0), *known])
        found += _between(rooms, (one, two), reach, barrier)
    return found


def _facing(model: IfcModel, rooms: Sequence[RoomDraft]) -> list[tuple[int, int, float]]:
    """Pairs of rooms near each other at one level, and how wide a gap between them may be."""
    if len(rooms) < 2:
        return []
    virtual = _with_virtual_boundary(model)
    shapes = np.array([r.shape for r in rooms], dtype=object)
    one, two = STRtree(shapes).query(shapes, predicate="dwithin", distance=VIRTUAL_MM)
    apart = shapely.distance(shapes[one], shapes[two])
    found = []
    for a, b, off in sorted(zip(one.tolist(), two.tolist(), apart.tolist(), strict=True)):
        if a >= b or abs(rooms[a].low - rooms[b].low) > LEVEL_MM:
            continue
        shared = min(rooms[a].high, rooms[b].high) - max(rooms[a].low, rooms[b].low)
        both = all(r.space is not None and r.space.id() in virtual for r in (rooms[a], rooms[b]))
        reach = VIRTUAL_MM if both else TOUCH_MM
        if shared >= SHARED_HEIGHT_MM and off <= reach:
            found.append((a, b, reach))
    return found


def _with_virtual_boundary(model: IfcModel) -> frozenset[int]:
    """Spaces that the model says to be open to a neighbour."""
    return frozenset(
        boundary.RelatingSpace.id()
        for boundary in model.all_of("IfcRelSpaceBoundary")
        if boundary.PhysicalOrVirtualBoundary == "VIRTUAL" and boundary.RelatingSpace is not None
    )


def _solid_at(bodies: Bodies, height: float) -> BaseGeometry:
    """Walls and columns at a height, their openings closed."""
    standing = bodies.of(Role.WALL, Role.COLUMN, Role.CURTAIN)
    return together([cut_at(b.mesh, height) for b in standing if b.low < height < b.high])


def _between(
    rooms: Sequence[RoomDraft], pair: tuple[int, int], reach: float, barrier: BaseGeometry
) -> list[DoorwayDraft]:
    """Passages along the straight sides of the first room where the second faces them."""
    one, two = (rooms[k].shape for k in pair)
    passages = []
    for start, end in _straight_sides(one):
        side = _Side(start=start, end=end)
        for u0, u1, depth in _faced(side, two, reach):
            line = LineString([side.at(u0, depth / 2), side.at(u1, depth / 2)])
            for part in shapely.get_parts(line.difference(barrier)).tolist():
                if not isinstance(part, LineString) or part.length < LEAST_MM:
                    continue
                ends = sorted(side.along(p) for p in part.coords)
                passages.append(_passage(side, pair, (ends[0], ends[-1]), depth))
    return passages


@dataclass(frozen=True, slots=True, kw_only=True)
class _Side:
    """A straight side of a room; u along it, v away from the room."""

    start: Point
    end: Point

    @property
    def length(self) -> float:
        """From start to end, mm."""
        return hypot(self.end[0] - self.start[0], self.end[1] - self.start[1])

    def at(self, u: float, v: float) -> Point:
        """A point beside the side. The room lies on the left, so v grows to the right."""
        (x, y), length = self.start, self.length
        ux, uy = (self.end[0] - x) / length, (self.end[1] - y) / length
        return x + u * ux + v * uy, y + u * uy - v * ux

    def along(self, point: Sequence[float]) -> float:
        """How far along the side a point lies."""
        (x, y), length = self.start, self.length
        ux, uy = (self.end[0] - x) / length, (self.end[1] - y) / length
        return (point[0] - x) * ux + (point[1] - y) * uy

    def box(self, u: tuple[float, float], v: tuple[float, float]) -> Polygon:
        """A rectangle beside the side."""
        corners = [self.at(u[0], v[0]), self.at(u[1], v[0]), self.at(u[1], v[1])]
        box = Polygon([*corners, self.at(u[0], v[1])])
        return shapely.orient_polygons(box)


def _faced(side: _Side, other: Polygon, reach: float) -> list[tuple[float, float, float]]:
    """Stretches of a side that another room faces: from, to, and how far off it is, mm."""
    if side.length < LEAST_MM:
        return []
    strip = side.box((0.0, side.length), (-ZERO_DEPTH_MM, reach + ZERO_DEPTH_MM))
    found = []
    for part in shapely.get_parts(strip.intersection(other)).tolist():
        if not isinstance(part, Polygon) or part.is_empty:
            continue
        corners = shapely.get_coordinates(part.exterior)[:-1]
        us = [side.along(p) for p in corners]
        line = LineString([side.start, side.end])
        depth = float(shapely.distance(part, line))
        if max(us) - min(us) >= LEAST_MM:
            found.append((min(us), max(us), 0.0 if depth < ZERO_DEPTH_MM else depth))
    return found


def _passage(
    side: _Side, pair: tuple[int, int], u: tuple[float, float], depth: float
) -> DoorwayDraft:
    """The floor between two rooms along a side; thin where they touch."""
    low, high = -ZERO_DEPTH_MM, max(depth, ZERO_DEPTH_MM)
    return DoorwayDraft(
        rooms=pair,
        shape=side.box(u, (low, high)),
        leaf_line=(side.at(u[0], depth / 2), side.at(u[1], depth / 2)),
        width_mm=u[1] - u[0],
        thickness_mm=depth,
        kind=DoorwayKind.OPENING,
    )


def _straight_sides(shape: Polygon) -> list[tuple[Point, Point]]:
    """Sides of a polygon, those that go on straight joined, the polygon on the left of each."""
    sides = []
    shape = shapely.orient_polygons(shape)
    for ring in (shape.exterior, *shape.interiors):
        line = shapely.simplify(LineString(ring.coords), STRAIGHT_MM)
        sides += [(_point(a), _point(b)) for a, b in pairwise(line.coords)]
    return sides


def _point(p: Sequence[float]) -> Point:
    return float(p[0]), float(p[1])
