"""Skirting: the walls of a bay from corner to corner, less doorways, joints and fixed units.

A doorway with a door has a frame, so that skirting ends at it; round the reveals of a plain opening it
runs on. Fixed units have plinths, stairs strings, pipes collars: none gets skirting; columns do.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import atan2, ceil, degrees
from typing import Final

import numpy as np
import numpy.typing as npt
import shapely
from shapely import LineString, Polygon

from importer.plan import DoorwayKind, ObstacleKind, Plan, Point
from importer.tolerance import LENGTH_MM
from layout.floor import Bay, MovementJoint
from layout.rules_order import SkirtingRules

Floats = npt.NDArray[np.float64]

NEAR_MM: Final = 3.0
"""Walls this near to a doorway, joint or unit belong to it: what two overlays on a grid can differ."""
SNAP_MM: Final = 5.0
"""A wall that is cut off this near to its corner reaches the corner."""
NIB_MM: Final = 20.0
"""Nothing shorter is covered: it is a stop or a rounding."""
BEND_DEG: Final = 20.0
"""Below this a wall bends, above it has a corner (own judgement)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Wall:
    """A stretch of wall to cover. `outside` counts its ends at outside corners (0, 1 or 2); `middle` is
    a point on it, plan frame.
    """

    length_mm: float
    outside: int
    middle: Point


def walls_of(
    bay: Bay, plan: Plan | None, joints: Sequence[MovementJoint], pipes: Sequence[Polygon]
) -> tuple[Wall, ...]:
    """The walls of a bay, ring by ring of its outline."""
    dx, dy = bay.outline.bounds[:2]
    bare = _bare(bay, plan, joints, pipes, (dx, dy))
    outline = shapely.orient_polygons(
        shapely.simplify(shapely.transform(bay.outline, lambda p: p - (dx, dy)), LENGTH_MM)
    )
    return tuple(
        Wall(length_mm=w.length_mm, outside=w.outside, middle=(w.middle[0] + dx, w.middle[1] + dy))
        for ring in (outline.exterior, *outline.interiors)
        for w in _walls(shapely.get_coordinates(ring), bare)
    )


def pieces_of(wall: Wall, rules: SkirtingRules) -> tuple[float, ...]:
    """What is sawn for a wall, whole mm: one piece, or whole bars and a rest where it is longer than a
    bar. Outside corners and the joints between its pieces are mitred.
    """
    bar = max(rules.stock)
    need = wall.length_mm + wall.outside * rules.mitre
    count = 1
    if need > bar:
        count = 1 + ceil(round((need - bar) / (bar - rules.mitre), 6))
    rest = need + (count - 1) * rules.mitre - (count - 1) * bar
    pieces = [bar] * (count - 1) + [rest]
    if count > 1 and rest < rules.least_piece:
        pieces[-2:] = [bar - (rules.least_piece - rest), rules.least_piece]
    return tuple(min(float(ceil(round(p, 3))), bar) for p in pieces)


# --- where no skirting goes ---------------------------------------------------------------------


def _bare(
    bay: Bay,
    plan: Plan | None,
    joints: Sequence[MovementJoint],
    pipes: Sequence[Polygon],
    origin: Point,
) -> shapely.Geometry:
    """Doorways with a frame, joint lines, units, stairs and pipes by the bay, a little grown."""
    found: list[shapely.Geometry] = [LineString(j.line) for j in joints if str(bay.id) in j.bays]
    found += pipes
    if plan is not None:
        rooms = set(bay.rooms)
        found += [
            d.shape
            for d in plan.doorways
            if d.kind is not DoorwayKind.OPENING and not rooms.isdisjoint(d.rooms)
        ]
        found += [
            o.shape
            for o in plan.obstacles
            if o.storey == bay.storey and o.kind in {ObstacleKind.FIXED_UNIT, ObstacleKind.STAIR}
        ]
    shapes = np.asarray(found, dtype=object)
    moved = shapely.transform(shapes, lambda p: p - origin)
    grown = shapely.buffer(moved, NEAR_MM, cap_style="flat", join_style="mitre")
    x0, y0, x1, y1 = bay.outline.bounds
    reach = shapely.box(-1.0, -1.0, x1 - x0 + 1.0, y1 - y0 + 1.0)
    return shapely.union_all(grown[shapely.intersects(grown, reach)])


# --- the walls ----------------------------------------------------------------------------------


@dataclass(slots=True)
class _Part:
    """A stretch of one edge of a ring, by the distances of its ends from the edge's start."""

    edge: int
    start: float
    end: float


def _walls(points: Floats, bare: shapely.Geometry) -> Iterator[Wall]:
    """The covered stretches of a ring, with the floor on its left; stretches that bend into each other
    are one.
    """
    steps = np.diff(points, axis=0)
    sizes = np.hypot(*steps.T)
    ways = np.unwrap(np.arctan2(steps[:, 1], steps[:, 0]))
    parts = list(_parts(points, steps, sizes, bare))
    count = len(sizes)

    def corner(a: _Part, b: _Part) -> float | None:
        """Turn between two parts that meet at a corner of the ring, degrees, left positive."""
        meets = b.edge == (a.edge + 1) % count
        if not meets or a.end < sizes[a.edge] or b.start > 0.0:
            return None
        turn = ways[b.edge] - ways[a.edge]
        return degrees(atan2(np.sin(turn), np.cos(turn)))

    turns = [corner(parts[n - 1], p) for n, p in enumerate(parts)]
    heads = [n for n, t in enumerate(turns) if t is None or abs(t) >= BEND_DEG]
    if parts and not heads:
        heads = [0]  # a round column
    for n, head in enumerate(heads):
        after = heads[(n + 1) % len(heads)]
        number = (after - head) % len(parts) or len(parts)
        own = [parts[(head + k) % len(parts)] for k in range(number)]
        length = sum(p.end - p.start for p in own)
        if length < NIB_MM:
            continue
        ends = (turns[head], turns[after])
        middle = own[len(own) // 2]
        along = (middle.start + middle.end) / 2 / sizes[middle.edge]
        x, y = points[middle.edge] + along * steps[middle.edge]
        yield Wall(
            length_mm=length,
            outside=sum(t is not None and t <= -BEND_DEG for t in ends),
            middle=(float(x), float(y)),
        )


def _parts(points: Floats, steps: Floats, sizes: Floats, bare: shapely.Geometry) -> Iterator[_Part]:
    """What is left of each edge of a ring outside the bare places."""
    edges = shapely.linestrings(np.stack([points[:-1], points[1:]], axis=1))
    left = shapely.difference(edges, bare)
    pieces, numbers = shapely.get_parts(left, return_index=True)
    keep = ~shapely.is_empty(pieces)
    pieces, numbers = pieces[keep], numbers[keep]
    first = shapely.get_coordinates(shapely.get_point(pieces, 0))
    last = shapely.get_coordinates(shapely.get_point(pieces, -1))
    unit = (steps / sizes[:, None])[numbers]
    start = ((first - points[numbers]) * unit).sum(axis=1)
    end = ((last - points[numbers]) * unit).sum(axis=1)
    low, high = np.minimum(start, end), np.maximum(start, end)
    low = np.where(low <= SNAP_MM, 0.0, low)
    high = np.where(high >= sizes[numbers] - SNAP_MM, sizes[numbers], high)
    worth = (high - low > SNAP_MM) | ((low == 0.0) & (high == sizes[numbers]))
    for n in np.lexsort((low, numbers)).tolist():
        if worth[n]:
            yield _Part(int(numbers[n]), float(low[n]), float(high[n]))
