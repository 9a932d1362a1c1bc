"""An opening in a wall as a frame to measure in: along from jamb to jamb, across from room to room."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import shapely
from shapely import Polygon

from importer.dxf.draft import RoomFinder
from importer.dxf.drawing import Floats
from importer.dxf.found import DoorSymbol
from importer.plan import Point
from importer.tolerance import AREA_MM2

REVEAL_MM: Final = 150.0
"""A room may begin so far behind the face an opening was measured at (linings, skewed faces)."""

LEAF_MM: Final = 40.0
"""Thickness of a leaf; its middle lies half of that inside the face it is flush with."""

NARROWEST_MM: Final = 400.0
"""Nobody walks through less; narrower openings are slots."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Frame:
    """An opening as a frame: `start` jamb, unit `along` to the other jamb, unit `across`."""

    start: Floats
    along: Floats
    across: Floats
    width: float

    def at(self, u: float, v: float) -> Floats:
        """Point u along and v across, mm."""
        return np.asarray(self.start + u * self.along + v * self.across)

    def strip(self, low: float, high: float) -> Polygon:
        """Rectangle over the width from `low` to `high` across."""
        corners = [(0.0, low), (self.width, low), (self.width, high), (0.0, high)]
        return Polygon([tuple(self.at(u, v)) for u, v in corners])

    def line(self, v: float) -> tuple[Point, Point]:
        """The line jamb to jamb at v across."""
        a, b = self.at(0.0, v), self.at(self.width, v)
        return (float(a[0]), float(a[1])), (float(b[0]), float(b[1]))

    def offset(self, point: Point) -> float:
        """How far across the frame's base line a point lies."""
        return float(np.dot(np.asarray(point) - self.start, self.across))


def frame_of(one: Point, two: Point) -> Frame | None:
    """The frame jamb to jamb; None when nobody can walk through."""
    start, end = np.asarray(one, dtype=float), np.asarray(two, dtype=float)
    width = float(np.hypot(*(end - start)))
    if width < NARROWEST_MM:
        return None
    along = (end - start) / width
    return Frame(start=start, along=along, across=np.array([-along[1], along[0]]), width=width)


def ordered(rooms: tuple[int | None, int | None]) -> tuple[int, int | None]:
    """The pair as doorways keep it: a room first, None last."""
    one, two = rooms
    if one is None:
        assert two is not None
        return two, None
    if two is None:
        return one, None
    return min(one, two), max(one, two)


def fitted(
    frame: Frame,
    faces: tuple[float, float],
    rooms: tuple[int | None, int | None],
    finder: RoomFinder,
) -> Polygon | None:
    """The floor in the opening, from room to room. On a side without a room it ends at the face.

    None when nothing is left between the rooms (their outlines meet in the wall).
    """
    low, high = faces
    reach_low = low - (REVEAL_MM if rooms[0] is not None else 0.0)
    reach_high = high + (REVEAL_MM if rooms[1] is not None else 0.0)
    strip = frame.strip(reach_low, reach_high)
    shapes = finder.shapes[[r for r in rooms if r is not None]]
    rest = strip.difference(shapely.union_all(shapes))
    core = frame.strip(low, high) if high - low > 1.0 else frame.strip(low - 1.0, high + 1.0)
    parts = [p for p in shapely.get_parts(rest) if isinstance(p, Polygon) and p.area > AREA_MM2]
    parts = [p for p in parts if p.intersection(core).area > AREA_MM2]
    if not parts:
        return None
    shape = max(parts, key=lambda p: p.area)
    reached = all(shape.distance(s) <= 1.0 for s in shapes)
    if not reached:
        return None
    return shapely.orient_polygons(Polygon(shape.exterior))


def leaf_offset(frame: Frame, leaves: Sequence[DoorSymbol], low: float, high: float) -> float:
    """Where across the wall the closed leaf stands: under its middle, inside the wall."""
    if not leaves:
        return (low + high) / 2
    offsets = [frame.offset(p) for leaf in leaves for p in (leaf.hinge, leaf.closed_end)]
    inset = min(LEAF_MM / 2, (high - low) / 2)
    return float(np.clip(np.mean(offsets), low + inset, high - inset))


def swing_side(
    frame: Frame,
    leaves: Sequence[DoorSymbol],
    rooms: tuple[int | None, int | None],
    faces: tuple[float, float],
) -> int | None:
    """The room that the leaves stand open into."""
    if not leaves:
        return None
    tips = np.mean([frame.offset(leaf.open_end) for leaf in leaves])
    return rooms[1] if tips > sum(faces) / 2 else rooms[0]
