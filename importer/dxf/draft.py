"""The plan while it is put together: rooms and doorways by index, millimetres about the drawing's
origin, not yet sorted, numbered or moved to the plan's frame.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from shapely import Point as ShapelyPoint
from shapely import Polygon, STRtree

from importer.dxf.arrays import Geometries, point_array, polygon_array
from importer.dxf.drawing import Floats
from importer.dxf.labels import RoomLabel
from importer.plan import DoorwayKind, Point


@dataclass(frozen=True, slots=True, kw_only=True)
class DraftRoom:
    """A room with the labels that stand in it. `label` is the one that names it."""

    shape: Polygon
    why: str
    source: int | None = None
    labels: tuple[RoomLabel, ...] = ()
    name: str | None = None
    number: str | None = None
    printed_area_m2: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class DraftDoorway:
    """A doorway; `rooms` and `swings_into` index the draft rooms. `symbols` are the door symbols
    that stand in it.
    """

    rooms: tuple[int, int | None]
    shape: Polygon
    leaf_line: tuple[Point, Point]
    width_mm: float
    thickness_mm: float
    kind: DoorwayKind
    swings_into: int | None = None
    source: int | None = None
    symbols: tuple[int, ...] = ()


class RoomFinder:
    """Which room a point lies in."""

    def __init__(self, shapes: list[Polygon]) -> None:
        self._shapes = polygon_array(shapes)
        self._tree = STRtree(shapes)

    def rooms_at(self, points: Floats) -> list[int | None]:
        """For each point of an (n, 2) array the room it lies in, None outside all."""
        found: list[int | None] = [None] * len(points)
        if not len(points) or not len(self._shapes):
            return found
        at, room = self._tree.query(point_array(points), predicate="intersects")
        for p, r in sorted(zip(at.tolist(), room.tolist(), strict=True), reverse=True):
            found[p] = r
        return found

    def touching(self, shape: Polygon) -> list[int]:
        """Rooms that meet a shape, ascending."""
        return sorted(np.atleast_1d(self._tree.query(shape, predicate="intersects")).tolist())

    def near_point(self, at: Point, within: float) -> list[int]:
        """Rooms within that distance of a point, ascending."""
        hits = self._tree.query(ShapelyPoint(at), predicate="dwithin", distance=within)
        return sorted(np.atleast_1d(hits).tolist())

    @property
    def shapes(self) -> Geometries:
        """The rooms' shapes as an array."""
        return self._shapes
