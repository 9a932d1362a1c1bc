"""The floor inside doorways: where the threshold line lies, and the tongue of floor that runs to it.

        room A
    ----+          +----   wall face
        | a0    b0 |
        |----------|       joint line: middle of the wall, or under the closed leaf
        | a1    b1 |
    ----+          +----   wall face
        room B

All shapes here are near the origin.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Point as Dot
from shapely import Polygon

from importer.plan import Doorway, Point
from importer.tolerance import SAME_POINT_MM, WALL_SNAP_MM
from layout.directions import unit

Floats = NDArray[np.float64]

STANDS_OFF_MM: Final = 50.0
"""A doorway drawn up to this far from the room's wall face is still this room's: an architrave or a
lining drawn as the jamb (own judgement)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Tongue:
    """Floor from a room to the joint line in a doorway. `off_mm` is the distance by which doorway and
    room did not meet as drawn; the tongue bridges it.
    """

    shape: Polygon
    off_mm: float


def joint_line(doorway: Doorway, leaf_cover: Literal["centre", "leaf"]) -> tuple[Point, Point]:
    """The threshold line, jamb to jamb: in the middle of the wall, or under the closed leaf."""
    a0, a1, b0, b1 = _jambs(doorway)
    if leaf_cover == "centre":
        return _point((a0 + a1) / 2), _point((b0 + b1) / 2)
    return _point(_under_leaf(a0, a1, doorway)), _point(_under_leaf(b0, b1, doorway))


def tongue_into(
    doorway: Doorway, room: Polygon, line: tuple[Point, Point], short_by: float = 0.0
) -> Tongue | None:
    """The floor between the room and the joint line, reaching a little into the room so that the
    two join without a crack; None when the doorway stands too far off the room. It stays `short_by` off
    the line.
    """
    a0, a1, b0, b1 = _jambs(doorway)
    on_a, on_b = (np.asarray(p) for p in line)
    faces = ((a0, b0, a1, b1), (a1, b1, a0, b0))
    off = [room.distance(Dot((near_a + near_b) / 2)) for near_a, near_b, _, _ in faces]
    near_a, near_b, far_a, far_b = faces[int(np.argmin(np.round(off, 3)))]
    if min(off) > STANDS_OFF_MM:
        return None
    reach = min(off) + WALL_SNAP_MM
    if short_by:
        on_a = on_a + _beyond(near_a, far_a, short_by) - near_a
        on_b = on_b + _beyond(near_b, far_b, short_by) - near_b
    ring = [on_a, _beyond(near_a, far_a, reach), _beyond(near_b, far_b, reach), on_b]
    shape: Polygon = Polygon([_point(p) for p in ring])
    return Tongue(shape=shape, off_mm=min(off)) if shape.is_valid else None


def _jambs(doorway: Doorway) -> tuple[Floats, Floats, Floats, Floats]:
    """Corners a0, a1 of one jamb and b0, b1 of the other, a0 opposite b0 on one wall face."""
    ring = shapely.get_coordinates(shapely.orient_polygons(doorway.shape).exterior)[:-1]
    (x0, y0), (x1, y1) = doorway.leaf_line
    way = np.asarray(unit(x1 - x0, y1 - y0))
    if len(ring) != 4:
        ring = _box_along(ring, way)
    sides = np.roll(ring, -1, axis=0) - ring
    across = [float(np.hypot(*s)) - abs(float(s @ way)) for s in sides]
    # The jambs are the pair of opposite sides that run more across the leaf.
    start = 0 if across[0] + across[2] > across[1] + across[3] else 1
    a0, a1, b1, b0 = (ring[(start + k) % 4] for k in range(4))
    return a0, a1, b0, b1


def _box_along(ring: Floats, way: Floats) -> Floats:
    """The rectangle along the leaf that holds a doorway drawn with more than four corners."""
    normal = np.array([-way[1], way[0]])
    along, off = ring @ way, ring @ normal
    corners = [
        (along.min(), off.min()),
        (along.max(), off.min()),
        (along.max(), off.max()),
        (along.min(), off.max()),
    ]
    return np.array([a * way + o * normal for a, o in corners])


def _under_leaf(low: Floats, high: Floats, doorway: Doorway) -> Floats:
    """Where the line of the leaf meets a jamb, kept between the jamb's two corners."""
    start, end = (np.asarray(p) for p in doorway.leaf_line)
    ux, uy = unit(*(end - start))
    normal = np.array([-uy, ux])
    rise = float((high - low) @ normal)
    if abs(rise) <= SAME_POINT_MM:
        return (low + high) / 2
    share = float(np.clip((start - low) @ normal / rise, 0.0, 1.0))
    met: Floats = low + share * (high - low)
    return met


def _beyond(corner: Floats, other: Floats, reach: float) -> Floats:
    """The corner moved on along its jamb by `reach`."""
    ux, uy = unit(*(corner - other))
    moved: Floats = corner + reach * np.array([ux, uy])
    return moved


def _point(p: Floats) -> Point:
    return float(p[0]), float(p[1])
