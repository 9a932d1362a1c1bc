"""Passages between drawn outlines: where the walls leave free what lies between two rooms.

Outlines stop at the wall line whether there is a door or only an opening. What walls enclose runs on
through a wide opening; the piece of it that joins two outlines is the floor of the passage.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
import shapely
from shapely import LineString, Polygon, STRtree
from shapely.ops import substring

from importer.dxf.draft import DraftDoorway, RoomFinder
from importer.dxf.found import Recovered
from importer.plan import DoorwayKind, Point

NARROWEST_MM: Final = 600.0
"""A passage that one walks through; what is narrower is a gap behind a column."""

TOUCH_MM: Final = 5.0
"""The piece between two outlines reaches both within this."""

OPEN_EDGE_MM: Final = 2.0
"""Outlines that meet with no wall between share a strip this wide: as good as nothing to walk
over, enough for a shape."""


def passages(finder: RoomFinder, recovered: Recovered) -> list[DraftDoorway]:
    """Openings between rooms of the finder that lie in one room as the walls tell it.

    Args:
        finder: rooms drawn as outlines.
        recovered: rooms that walls enclose.

    Returns:
        One doorway for each piece of floor that joins two outlines, at least 600 mm wide. Outlines
        that touch where no wall stands are joined by a strip 2 mm thick.
    """
    found: list[DraftDoorway] = []
    for room in recovered.rooms:
        inside = finder.touching(room.shape)
        if len(inside) > 1:
            found += _pieces(room.shape, inside, finder)
            found += _shared_edges(room.shape, inside, finder)
    return found


def _pieces(space: Polygon, inside: Sequence[int], finder: RoomFinder) -> list[DraftDoorway]:
    rest = space.difference(shapely.union_all(finder.shapes[list(inside)]))
    parts = [p for p in shapely.get_parts(rest) if isinstance(p, Polygon)]
    found = []
    for part in parts:
        grown = shapely.buffer(part, TOUCH_MM, join_style="mitre")
        edges = {r: _edge(finder.shapes[r], grown) for r in inside}
        wide = [r for r in inside if edges[r].length >= NARROWEST_MM]
        if len(wide) == 2:
            found.append(_doorway(part, wide[0], wide[1], edges[wide[0]], edges[wide[1]]))
    return found


def _edge(room: Polygon, grown: Polygon) -> LineString:
    """The part of the room's edge along the piece, without what the growing added to its ends."""
    runs = shapely.get_parts(shapely.line_merge(shapely.intersection(room.boundary, grown)))
    lines = [r for r in runs if isinstance(r, LineString)]
    longest = max(lines, key=lambda r: r.length, default=LineString())
    if longest.length <= 2 * TOUCH_MM:
        return LineString()
    cut = substring(longest, TOUCH_MM, longest.length - TOUCH_MM)
    return cut if isinstance(cut, LineString) else LineString()


def _doorway(
    piece: Polygon, one: int, two: int, edge_one: LineString, edge_two: LineString
) -> DraftDoorway:
    start, end = _middle_line(edge_one, edge_two)
    width = float(np.hypot(end[0] - start[0], end[1] - start[1]))
    return DraftDoorway(
        rooms=(one, two),
        shape=shapely.orient_polygons(Polygon(piece.exterior)),
        leaf_line=(start, end),
        width_mm=width,
        thickness_mm=piece.area / width,
        kind=DoorwayKind.OPENING,
    )


def _middle_line(one: LineString, two: LineString) -> tuple[Point, Point]:
    """Half way between two edges that face each other."""
    a0, a1 = np.array(one.coords[0]), np.array(one.coords[-1])
    b0, b1 = np.array(two.coords[0]), np.array(two.coords[-1])
    if np.hypot(*(a0 - b0)) + np.hypot(*(a1 - b1)) > np.hypot(*(a0 - b1)) + np.hypot(*(a1 - b0)):
        b0, b1 = b1, b0
    start, end = (a0 + b0) / 2, (a1 + b1) / 2
    return (float(start[0]), float(start[1])), (float(end[0]), float(end[1]))


def _shared_edges(space: Polygon, inside: Sequence[int], finder: RoomFinder) -> list[DraftDoorway]:
    """Outlines that touch where no wall stands."""
    shapes = finder.shapes[list(inside)]
    one, two = STRtree(shapes).query(shapes, predicate="dwithin", distance=TOUCH_MM)
    free = shapely.buffer(space, -TOUCH_MM, join_style="mitre")
    found = []
    for i, j in sorted(zip(one.tolist(), two.tolist(), strict=True)):
        if i >= j:
            continue
        grown = shapely.buffer(shapes[j], TOUCH_MM, join_style="mitre")
        edge = _edge(shapes[i], shapely.intersection(grown, free))
        if edge.length < NARROWEST_MM:
            continue
        strip = shapely.buffer(edge, OPEN_EDGE_MM / 2, cap_style="flat", join_style="mitre")
        start, end = edge.coords[0], edge.coords[-1]
        found.append(
            DraftDoorway(
                rooms=(inside[i], inside[j]),
                shape=shapely.orient_polygons(strip),
                leaf_line=((start[0], start[1]), (end[0], end[1])),
                width_mm=float(edge.length),
                thickness_mm=OPEN_EDGE_MM,
                kind=DoorwayKind.OPENING,
            )
        )
    return found
