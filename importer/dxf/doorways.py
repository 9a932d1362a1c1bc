"""Doorways: the floor between two rooms, from openings of the walls and from door symbols.

room A
####+---------+####   <- wall face of A
####|         |####      shape: the strip across the wall, jamb to jamb,
####|- - - - -|####      from room to room; the dashes are the leaf line
####+---------+####   <- wall face of B
room B
"""

from __future__ import annotations

import math
from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import shapely
from shapely import Polygon, STRtree

from importer.dxf.arrays import point_array, polygon_array
from importer.dxf.doors import TWIN_MM
from importer.dxf.draft import DraftDoorway, RoomFinder
from importer.dxf.drawing import Floats
from importer.dxf.found import DoorSymbol, Opening, OpeningKind
from importer.plan import DoorwayKind, Point
from importer.tolerance import AREA_MM2

PROBE_MM: Final = 90.0
"""Which room lies beyond an opening is asked so far behind its face."""

THICKEST_WALL_MM: Final = 700.0
"""A door between outlines is looked for across walls up to this thickness."""

REVEAL_MM: Final = 150.0
"""A room may begin so far behind the face an opening was measured at (linings, skewed faces)."""

LEAF_MM: Final = 40.0
"""Thickness of a leaf; its middle lies half of that inside the face it is flush with."""

MEETING_MM: Final = 80.0
"""Closed ends of the two leaves of a double door are this near: rebate and drawing slack."""

STEP_MM: Final = 20.0
"""Rooms behind a door symbol are looked for in steps of this."""

SIGN_MM: Final = 300.0
"""A door block or a door text stands this near the opening it speaks of."""

NARROWEST_MM: Final = 400.0
"""Nobody walks through less; narrower openings are slots."""


OUTER_WALL_MM: Final = 250.0
"""Thickness taken for an outer wall whose far face was not found (common practice, no source)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Frame:
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


def _frame(one: Point, two: Point) -> _Frame | None:
    start, end = np.asarray(one, dtype=float), np.asarray(two, dtype=float)
    width = float(np.hypot(*(end - start)))
    if width < NARROWEST_MM:
        return None
    along = (end - start) / width
    return _Frame(start=start, along=along, across=np.array([-along[1], along[0]]), width=width)


# ---------------------------------------------------------------- from openings of the walls


def from_openings(
    openings: Sequence[Opening],
    finder: RoomFinder,
    symbols: Sequence[DoorSymbol],
    door_signs: Sequence[Point] = (),
    outdoors: Collection[int] = (),
) -> list[DraftDoorway]:
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
        when a door is drawn in it or a door sign stands at it; else it is a window.
    """
    signed = _signed(openings, door_signs)
    found = []
    for opening, sign in zip(openings, signed, strict=True):
        frame = _frame(*opening.jamb_line)
        if frame is None or _inside_rooms(opening.shape, finder):
            continue
        own = [symbols[k] for k in opening.symbols]
        half = opening.thickness_mm / 2
        below = _room_beyond(finder, frame, -half, own)
        above = _room_beyond(finder, frame, half, own)
        outer = any(r is None or r in outdoors for r in (below, above))
        if below == above or (outer and not sign and opening.kind is not OpeningKind.DOOR):
            continue
        found.append(_from_opening(opening, frame, (below, above), finder, symbols))
    return found


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
    finder: RoomFinder, frame: _Frame, face: float, leaves: Sequence[DoorSymbol]
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
    frame: _Frame,
    rooms: tuple[int | None, int | None],
    finder: RoomFinder,
    symbols: Sequence[DoorSymbol],
) -> DraftDoorway:
    half = opening.thickness_mm / 2
    own = tuple(symbols[k] for k in opening.symbols)
    shape = _fitted(frame, (-half, half), rooms, finder)
    kind = opening.door_kind
    if kind is DoorwayKind.OPENING:
        kind = _kind(opening.kind, len(own))
    return DraftDoorway(
        rooms=_ordered(rooms),
        shape=shape if shape is not None else _least(opening.shape, frame),
        leaf_line=frame.line(_leaf_offset(frame, own, -half, half)),
        width_mm=opening.width_mm,
        thickness_mm=opening.thickness_mm,
        kind=kind,
        swings_into=_swing(frame, own, rooms, (-half, half)),
        source=own[0].source if own else None,
        symbols=opening.symbols,
    )


def _least(shape: Polygon, frame: _Frame) -> Polygon:
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


def _ordered(rooms: tuple[int | None, int | None]) -> tuple[int, int | None]:
    one, two = rooms
    if one is None:
        assert two is not None
        return two, None
    if two is None:
        return one, None
    return min(one, two), max(one, two)


def _fitted(
    frame: _Frame,
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


def _leaf_offset(frame: _Frame, leaves: Sequence[DoorSymbol], low: float, high: float) -> float:
    """Where across the wall the closed leaf stands: under its middle, inside the wall."""
    if not leaves:
        return (low + high) / 2
    offsets = [frame.offset(p) for leaf in leaves for p in (leaf.hinge, leaf.closed_end)]
    inset = min(LEAF_MM / 2, (high - low) / 2)
    return float(np.clip(np.mean(offsets), low + inset, high - inset))


def _swing(
    frame: _Frame,
    leaves: Sequence[DoorSymbol],
    rooms: tuple[int | None, int | None],
    faces: tuple[float, float],
) -> int | None:
    """The room that the leaves stand open into."""
    if not leaves:
        return None
    tips = np.mean([frame.offset(leaf.open_end) for leaf in leaves])
    return rooms[1] if tips > sum(faces) / 2 else rooms[0]


# ---------------------------------------------------------------- from door symbols


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


def _leaf_frame(leaves: Sequence[DoorSymbol]) -> _Frame | None:
    end = leaves[1].hinge if len(leaves) == 2 else leaves[0].closed_end
    return _frame(leaves[0].hinge, end)


def _across_wall(
    frame: _Frame, leaves: Sequence[DoorSymbol], group: tuple[int, ...], finder: RoomFinder
) -> DraftDoorway | None:
    base = _onto_wall(frame, finder)
    (below, low), (above, high) = (_first_room(base, sign, finder) for sign in (-1.0, 1.0))
    if below == above:
        return None
    faces = _wall_faces(below, low, above, high)
    if faces is None:
        return None
    rooms = (below, above)
    shape = _fitted(base, faces, rooms, finder)
    return DraftDoorway(
        rooms=_ordered(rooms),
        shape=shape if shape is not None else base.strip(faces[0] - 1.0, faces[1] + 1.0),
        leaf_line=base.line(_leaf_offset(base, leaves, *faces)),
        width_mm=base.width,
        thickness_mm=faces[1] - faces[0],
        kind=DoorwayKind.DOUBLE if len(leaves) == 2 else DoorwayKind.HINGED,
        swings_into=_swing(base, leaves, rooms, faces),
        source=leaves[0].source if leaves else None,
        symbols=group,
    )


def across_wall_doorway(
    chord: tuple[Point, Point], kind: DoorwayKind, source: int, finder: RoomFinder
) -> DraftDoorway | None:
    """A doorway jamb to jamb along a chord with a room on both sides; None when there are not two."""
    frame = _frame(*chord)
    made = _across_wall(frame, (), (), finder) if frame is not None else None
    if made is None or made.rooms[1] is None:
        return None
    return replace(made, kind=kind, source=source)


def _onto_wall(frame: _Frame, finder: RoomFinder) -> _Frame:
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


def _first_room(frame: _Frame, sign: float, finder: RoomFinder) -> tuple[int | None, float]:
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
