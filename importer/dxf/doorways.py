"""Doorways: the floor between two rooms, from openings of the walls and from door symbols.

room A
####+---------+####   <- wall face of A
####|         |####      shape: the strip across the wall, jamb to jamb,
####|- - - - -|####      from room to room; the dashes are the leaf line
####+---------+####   <- wall face of B
room B
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from typing import Final

import numpy as np
import shapely
from shapely import Polygon, STRtree

from importer.dxf.arrays import point_array, polygon_array
from importer.dxf.draft import DraftDoorway, RoomFinder
from importer.dxf.found import DoorSymbol, Opening, OpeningKind
from importer.dxf.opening_frame import Frame, fitted, frame_of, leaf_offset, ordered, swing_side
from importer.plan import DoorwayKind, Point
from importer.tolerance import AREA_MM2

PROBE_MM: Final = 90.0
"""Which room lies beyond an opening is asked so far behind its face."""

SIGN_MM: Final = 300.0
"""A door block or a door text stands this near the opening it speaks of."""


def from_openings(
    openings: Sequence[Opening],
    finder: RoomFinder,
    symbols: Sequence[DoorSymbol],
    door_signs: Sequence[Point] = (),
    outdoors: Collection[int] = (),
) -> tuple[list[DraftDoorway], list[Opening]]:
    """Doorways for the openings that part two rooms, or a room from outside, at floor level.

    Args:
        openings: openings of the walls.
        finder: the rooms.
        symbols: the door symbols that openings refer to.
        door_signs: places of door blocks and of texts that speak of doors.
        outdoors: rooms that are balconies, porches and the like: outside for this purpose.

    Returns:
        An opening between two rooms is one whatever is drawn in it: doors that show no swing
        (sliding, pocket, folding) are drawn like windows. One to the outside reaches the floor only
        when a door is drawn in it or a door sign stands at it; else it is a window. The second list
        are the openings left out so.
    """
    signed = _signed(openings, door_signs)
    found = []
    left = []
    for opening, sign in zip(openings, signed, strict=True):
        frame = frame_of(*opening.jamb_line)
        if frame is None or _inside_rooms(opening.shape, finder):
            continue
        own = [symbols[k] for k in opening.symbols]
        half = opening.thickness_mm / 2
        below = _room_beyond(finder, frame, -half, own)
        above = _room_beyond(finder, frame, half, own)
        outer = any(r is None or r in outdoors for r in (below, above))
        if below == above:
            continue
        if outer and not sign and opening.kind is not OpeningKind.DOOR:
            left.append(opening)
            continue
        found.append(_from_opening(opening, frame, (below, above), finder, symbols))
    return found, left


def _signed(openings: Sequence[Opening], signs: Sequence[Point]) -> list[bool]:
    """For each opening whether a door sign stands at it."""
    if not openings or not signs:
        return [False] * len(openings)
    tree = STRtree(point_array(np.array(signs)))
    shapes = polygon_array([o.shape for o in openings])
    hit, _ = tree.query(shapes, predicate="dwithin", distance=SIGN_MM)
    signed = set(hit.tolist())
    return [k in signed for k in range(len(openings))]


def _inside_rooms(shape: Polygon, finder: RoomFinder) -> bool:
    """Rooms drawn as outlines reach over it: it was seen where there is no wall."""
    over = finder.shapes[finder.touching(shape)]
    return bool(shapely.area(shapely.intersection(over, shape)).sum() > 0.3 * shape.area)


def _room_beyond(
    finder: RoomFinder, frame: Frame, face: float, leaves: Sequence[DoorSymbol]
) -> int | None:
    """The room behind a face of the opening: what most of the probes hit. The side that the leaves
    swing to is that of the room they stand open in.
    """
    step = PROBE_MM if face >= 0 else -PROBE_MM
    shares = (0.5, 0.15, 0.3, 0.4, 0.6, 0.7, 0.85)
    points = [frame.at(share * frame.width, face + step) for share in shares]
    for leaf in leaves:
        if frame.offset(leaf.open_end) * step > 0:
            tip, middle = np.array(leaf.open_end), np.array(leaf.hinge) / 2
            points += [0.75 * tip + 0.5 * middle, 0.5 * tip + middle] * len(shares)
    hits = [r for r in finder.rooms_at(np.array(points)) if r is not None]
    return max(sorted(set(hits)), key=hits.count) if hits else None


def _from_opening(
    opening: Opening,
    frame: Frame,
    rooms: tuple[int | None, int | None],
    finder: RoomFinder,
    symbols: Sequence[DoorSymbol],
) -> DraftDoorway:
    half = opening.thickness_mm / 2
    own = tuple(symbols[k] for k in opening.symbols)
    shape = fitted(frame, (-half, half), rooms, finder)
    kind = opening.door_kind
    if kind is DoorwayKind.OPENING:
        kind = _kind(opening.kind, len(own))
    return DraftDoorway(
        rooms=ordered(rooms),
        shape=shape if shape is not None else _least(opening.shape, frame),
        leaf_line=frame.line(leaf_offset(frame, own, -half, half)),
        width_mm=opening.width_mm,
        thickness_mm=opening.thickness_mm,
        kind=kind,
        swings_into=swing_side(frame, own, rooms, (-half, half)),
        source=own[0].source if own else None,
        symbols=opening.symbols,
    )


def _least(shape: Polygon, frame: Frame) -> Polygon:
    """The opening's own shape; of one in a single-line wall a strip as good as a line."""
    if shape.is_valid and shape.area > AREA_MM2:
        return shape
    return frame.strip(-1.0, 1.0)


def _kind(kind: OpeningKind, leaves: int) -> DoorwayKind:
    if leaves:
        return DoorwayKind.DOUBLE if leaves > 1 else DoorwayKind.HINGED
    if kind is OpeningKind.WINDOW:
        return DoorwayKind.SLIDING
    return DoorwayKind.OPENING
