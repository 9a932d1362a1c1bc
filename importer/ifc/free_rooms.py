"""Rooms of a model without spaces: what is free between its walls, over its slabs.

Walls are taken with their openings closed, so that a room ends at its doorways; columns, curtain walls
and whatever fills a gap stand in the way as well. Free space that no slab of the storey carries belongs
to the storey below, seen through a hole in the floor.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import shapely
from shapely import Polygon, STRtree
from shapely.geometry.base import BaseGeometry

from importer.ifc.free_stairs import not_floor
from importer.ifc.section_bodies import Bodies, Role
from importer.ifc.section_cut import cut_at, polygons_of
from importer.ifc.section_levels import Level, floor_of
from importer.ifc.section_openings import Opening, clipped
from importer.outlines import (
    clean_outline,
    inscribed_diameter,
    reading_order,
    spaces_between,
    thickened_bodies,
)
from importer.plan import StoreyId

CUT_MM: Final = 300.0
"""Height of the section above the floor: below sills, and low enough for attics, whose walls end at
the knee."""
LEAST_ROOM_MM2: Final = 1e6
"""A smaller space is a duct or a hollow in a wall: nobody lays a floor in it."""
LEAST_WIDTH_MM: Final = 600.0
"""Narrower than a person is no room either."""
CARRIED: Final = 0.5
"""Share of a room that a slab of its own storey carries."""
SAME_PLACE: Final = 0.5
"""Share of a room that another storey's room covers when both are the same place."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FreeRoom:
    """A room found between walls: its storey and outline, mm, along the wall faces."""

    storey: StoreyId
    shape: Polygon


@dataclass(frozen=True, slots=True, kw_only=True)
class _Candidate:
    """A free space of a level before storeys are compared. `carried` is the share over slabs."""

    room: FreeRoom
    carried: float


def free_rooms(
    levels: Sequence[Level], bodies: Bodies, openings: Sequence[Opening]
) -> tuple[FreeRoom, ...]:
    """The rooms of every storey.

    Args:
        levels: storeys in plan order, with their floors.
        bodies: everything meshed (`find_bodies`).
        openings: everything in walls (`find_openings`).

    Returns:
        Rooms by storey, then from the top of the sheet down; stairs and holes in the floor taken out.
        Empty where no walls enclose anything.
    """
    has_slabs = bool(bodies.of(Role.SLAB))
    candidates: list[_Candidate] = []
    for level in levels:
        floor = floor_of(bodies, level.floor)
        for shape in _enclosed(level, bodies, openings):
            carried = shape.intersection(floor).area / shape.area
            room = FreeRoom(storey=level.storey, shape=shape)
            candidates.append(_Candidate(room=room, carried=carried))
    kept = _on_their_own_storey(candidates) if has_slabs else candidates
    height = {level.storey: level.floor for level in levels}
    taken_out = {s: not_floor(bodies, floor) for s, floor in height.items()}
    found = []
    for candidate in kept:
        room = candidate.room
        found += [replace(room, shape=p) for p in _laid_part(room.shape, taken_out[room.storey])]
    return tuple(found)


def _enclosed(level: Level, bodies: Bodies, openings: Sequence[Opening]) -> list[Polygon]:
    """What is enclosed at a level, as large as a room."""
    plane = level.floor + CUT_MM
    walls: dict[int, BaseGeometry] = {}
    barriers: list[BaseGeometry] = []
    for body in bodies.of(Role.WALL, Role.COLUMN, Role.CURTAIN):
        if not body.low < plane < body.high:
            continue
        section = cut_at(body.mesh, plane)
        barriers.append(section)
        if body.role is Role.WALL:
            walls[body.whole] = walls.get(body.whole, Polygon()).union(section)
    # Bodies of walls may come with their openings cut out: the boxes close them again.
    gaps = [clipped(o, walls).gap.shape for o in openings if o.gap.low < plane < o.gap.high]
    solid = [p for b in (*barriers, *gaps) for p in polygons_of(b)]
    if not solid:
        return []
    origin = np.round(np.asarray(shapely.total_bounds(solid)[:2]))
    near = shapely.transform(np.array(solid, dtype=object), lambda xy: xy - origin)
    shapes = [
        shapely.transform(s.shape, lambda xy: xy + origin)
        for s in spaces_between(thickened_bodies(near))
        if not s.outside
    ]
    return [s for s in shapes if isinstance(s, Polygon) and is_room(s)]


def is_room(shape: Polygon) -> bool:
    """Whether a space is as large as a room, and as wide as a person."""
    return shape.area >= LEAST_ROOM_MM2 and inscribed_diameter(shape) >= LEAST_WIDTH_MM


def _on_their_own_storey(candidates: Sequence[_Candidate]) -> list[_Candidate]:
    """Without those that no slab of their storey carries while another storey has the same place on a
    slab of its own: walls run past floors that are not theirs.
    """
    if not candidates:
        return []
    shapes = [c.room.shape for c in candidates]
    one, other = STRtree(shapes).query(shapes, predicate="intersects")
    claimed: set[int] = set()
    for i, k in zip(one.tolist(), other.tolist(), strict=True):
        mine, rival = candidates[i], candidates[k]
        if mine.carried > CARRIED or mine.room.storey == rival.room.storey:
            continue
        overlap = mine.room.shape.intersection(rival.room.shape).area
        if rival.carried > CARRIED and overlap > SAME_PLACE * mine.room.shape.area:
            claimed.add(i)
    return [c for i, c in enumerate(candidates) if i not in claimed]


def _laid_part(shape: Polygon, taken_out: BaseGeometry) -> list[Polygon]:
    """The room less stairs and holes in its floor; in parts where they cut it in two."""
    if not shape.intersects(taken_out):
        return [shape]
    parts = [clean_outline(p) for p in polygons_of(shape.difference(taken_out))]
    rooms = [p for p in parts if p is not None and is_room(p)]
    return sorted(rooms, key=reading_order)
