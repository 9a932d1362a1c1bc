"""Doorways for door symbols that stand in no opening of the walls: between drawn outlines, or in
walls that are drawn on through the door.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Final

import numpy as np
import shapely
from shapely import STRtree

from importer.dxf.arrays import point_array
from importer.dxf.doors import TWIN_MM
from importer.dxf.draft import DraftDoorway, RoomFinder
from importer.dxf.found import DoorSymbol
from importer.dxf.opening_frame import (
    REVEAL_MM,
    Frame,
    fitted,
    frame_of,
    leaf_offset,
    ordered,
    swing_side,
)
from importer.plan import DoorwayKind, Point

THICKEST_WALL_MM: Final = 700.0
"""A door between outlines is looked for across walls up to this thickness."""

MEETING_MM: Final = 80.0
"""Closed ends of the two leaves of a double door are this near: rebate and drawing slack."""

STEP_MM: Final = 20.0
"""Rooms behind a door symbol are looked for in steps of this."""

OUTER_WALL_MM: Final = 250.0
"""Thickness taken for an outer wall whose far face was not found (common practice, no source)."""


def from_symbols(
    symbols: Sequence[DoorSymbol], skip: set[int], finder: RoomFinder
) -> list[DraftDoorway]:
    """Doorways for the door symbols that stand in no opening: between drawn outlines, or in walls
    that are drawn on through the door.

    Args:
        symbols: all door symbols.
        skip: indices of those that have a doorway already.
        finder: the rooms.
    """
    found = []
    for group in _leaves_together(symbols, skip):
        leaves = [symbols[k] for k in group]
        frame = _leaf_frame(leaves)
        if frame is not None:
            made = _across_wall(frame, leaves, group, finder)
            if made is not None:
                found.append(made)
    return found


def _leaves_together(symbols: Sequence[DoorSymbol], skip: set[int]) -> list[tuple[int, ...]]:
    """Symbols one by one, or two by two where their closed ends meet in one line."""
    free = [k for k in range(len(symbols)) if k not in skip]
    if not free:
        return []
    ends = point_array(np.array([symbols[k].closed_end for k in free]))
    one, two = STRtree(ends).query(ends, predicate="dwithin", distance=MEETING_MM)
    mate: dict[int, int] = {}
    for i, j in sorted(zip(one.tolist(), two.tolist(), strict=True)):
        a, b = free[i], free[j]
        if a < b and a not in mate and b not in mate and _facing(symbols[a], symbols[b]):
            mate[a], mate[b] = b, a
    return [(k, mate[k]) if k in mate else (k,) for k in free if mate.get(k, k) >= k]


def _facing(one: DoorSymbol, two: DoorSymbol) -> bool:
    """The hinges are as far apart as the two leaves are wide."""
    apart = float(np.hypot(one.hinge[0] - two.hinge[0], one.hinge[1] - two.hinge[1]))
    return abs(apart - one.radius_mm - two.radius_mm) <= 2 * MEETING_MM


def _leaf_frame(leaves: Sequence[DoorSymbol]) -> Frame | None:
    end = leaves[1].hinge if len(leaves) == 2 else leaves[0].closed_end
    return frame_of(leaves[0].hinge, end)


def _across_wall(
    frame: Frame, leaves: Sequence[DoorSymbol], group: tuple[int, ...], finder: RoomFinder
) -> DraftDoorway | None:
    base = _onto_wall(frame, finder)
    (below, low), (above, high) = (_first_room(base, sign, finder) for sign in (-1.0, 1.0))
    if below == above:
        return None
    faces = _wall_faces(below, low, above, high)
    if faces is None:
        return None
    rooms = (below, above)
    shape = fitted(base, faces, rooms, finder)
    return DraftDoorway(
        rooms=ordered(rooms),
        shape=shape if shape is not None else base.strip(faces[0] - 1.0, faces[1] + 1.0),
        leaf_line=base.line(leaf_offset(base, leaves, *faces)),
        width_mm=base.width,
        thickness_mm=faces[1] - faces[0],
        kind=DoorwayKind.DOUBLE if len(leaves) == 2 else DoorwayKind.HINGED,
        swings_into=swing_side(base, leaves, rooms, faces),
        source=leaves[0].source if leaves else None,
        symbols=group,
    )


def across_wall_doorway(
    chord: tuple[Point, Point], kind: DoorwayKind, source: int, finder: RoomFinder
) -> DraftDoorway | None:
    """A doorway jamb to jamb along a chord with a room on both sides; None when there are not two."""
    frame = frame_of(*chord)
    made = _across_wall(frame, (), (), finder) if frame is not None else None
    if made is None or made.rooms[1] is None:
        return None
    return replace(made, kind=kind, source=source)


def _onto_wall(frame: Frame, finder: RoomFinder) -> Frame:
    """The frame moved onto the nearest edge of the room that the closed leaf is drawn in, if any: a
    leaf is often drawn a little inside the room it opens into.
    """
    steps = np.arange(0.0, REVEAL_MM + STEP_MM, STEP_MM)
    reach = np.concatenate([steps, -steps[1:]])
    reach = reach[np.argsort(np.abs(reach), kind="stable")]
    rooms = finder.rooms_at(np.array([frame.at(frame.width / 2, v) for v in reach]))
    if rooms[0] is None:
        return frame
    for v, room in zip(reach, rooms, strict=True):
        if room != rooms[0]:
            ends = [frame.at(frame.width / 2, 0.0), frame.at(frame.width / 2, float(v))]
            inside = shapely.LineString(ends).intersection(finder.shapes[rooms[0]])
            return replace(frame, start=frame.at(0.0, math.copysign(inside.length, v)))
    return frame


def _first_room(frame: Frame, sign: float, finder: RoomFinder) -> tuple[int | None, float]:
    """The first room met from the leaf across the wall, and where across the frame it begins."""
    steps = np.arange(STEP_MM / 2, THICKEST_WALL_MM + TWIN_MM, STEP_MM)
    points = np.array([frame.at(frame.width / 2, sign * step) for step in steps])
    for step, room in zip(steps, finder.rooms_at(points), strict=True):
        if room is not None:
            ends = [frame.at(frame.width / 2, 0.0), frame.at(frame.width / 2, sign * step)]
            inside = shapely.LineString(ends).intersection(finder.shapes[room])
            return room, sign * max(0.0, step - float(inside.length))
    return None, 0.0


def _wall_faces(
    below: int | None, low: float, above: int | None, high: float
) -> tuple[float, float] | None:
    """Both faces of the wall across the frame. Where one side is outside, the wall is taken as
    thick as a plain outer wall behind the leaf.
    """
    if below is None:
        low = high - OUTER_WALL_MM if high <= STEP_MM else 0.0
    if above is None:
        high = low + OUTER_WALL_MM if low >= -STEP_MM else 0.0
    return (low, high) if high - low <= THICKEST_WALL_MM else None


def unled_symbols(symbols: Sequence[DoorSymbol], doorways: Sequence[DraftDoorway]) -> list[int]:
    """Leaf-tested symbols that no doorway uses."""
    used = {k for d in doorways for k in d.symbols}
    return [k for k, s in enumerate(symbols) if s.has_leaf and k not in used]
