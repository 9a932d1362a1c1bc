"""Slots of a floor that are too thin for a plank: between two wardrobes, beside a unit, behind a column.

+--------+  +--------+        the floor opened by a square as wide as the least tongue: the square
| unit   |##| unit   |        does not fit between the units, so the slot (#) stays bare
+--------+  +--------+
floor
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from math import hypot
from typing import Final

import shapely
from shapely import Polygon

from importer.tolerance import AREA_MM2, GRID_MM, SAME_POINT_MM, SLIVER_WIDTH_MM
from layout.bay_edges import TONGUE_MM, TONGUE_WIDTH_MM
from layout.bay_inset import MITRE_LIMIT

SLOT_SHARE: Final = 0.75
"""A slot fills its bounding rectangle at least so far; the tip of a slanted floor, which can be cut,
does not."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Opened:
    """A floor without its slots, in one or more parts, largest first; and the slots."""

    parts: tuple[Polygon, ...]
    slots: tuple[Polygon, ...]


def without_slots(floor: Polygon, min_width: float) -> Opened:
    """Leave out what no plank can be laid in: slots thinner than a tongue, and longer ones thinner than
    the least row (mm).
    """
    slots = [
        *_thinner_than(floor, min(TONGUE_WIDTH_MM, min_width), 0.0),
        *_thinner_than(floor, min_width, TONGUE_MM),
    ]
    if not slots:
        return Opened(parts=(floor,), slots=())
    taken = shapely.union_all(slots, grid_size=GRID_MM)
    left = shapely.difference(floor, taken, grid_size=GRID_MM)
    return Opened(parts=tuple(_polygons(left)), slots=tuple(_polygons(taken)))


def _polygons(shape: shapely.Geometry) -> list[Polygon]:
    parts = [p for p in shapely.get_parts(shape) if isinstance(p, Polygon) and p.area > AREA_MM2]
    return sorted(parts, key=lambda p: (-round(p.area), p.bounds))


def _thinner_than(floor: Polygon, width: float, longer_than: float) -> Iterator[Polygon]:
    """Slots of the floor that a square of that width does not fit into, if they are long enough."""
    half = width / 2 - SAME_POINT_MM
    if half <= SLIVER_WIDTH_MM:
        return
    core = shapely.buffer(floor, -half, join_style="mitre", mitre_limit=MITRE_LIMIT)
    if core.is_empty:
        return
    grown = shapely.buffer(core, half + SAME_POINT_MM, join_style="mitre", mitre_limit=MITRE_LIMIT)
    for part in _polygons(shapely.difference(floor, grown, grid_size=GRID_MM)):
        sides = _sides(part)
        if sides[1] > longer_than and part.area >= SLOT_SHARE * sides[0] * sides[1]:
            yield part


def _sides(part: Polygon) -> tuple[float, float]:
    """Sides of the smallest rectangle around it, the shorter first."""
    box = shapely.minimum_rotated_rectangle(part)
    if not isinstance(box, Polygon):
        return 0.0, 0.0
    (x0, y0), (x1, y1), (x2, y2) = shapely.get_coordinates(box)[:3].tolist()
    one, other = hypot(x1 - x0, y1 - y0), hypot(x2 - x1, y2 - y1)
    return (one, other) if one < other else (other, one)
