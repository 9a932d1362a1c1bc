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
from shapely import MultiPolygon, Polygon, STRtree
from shapely.geometry.base import BaseGeometry

from importer.ifc.free_stairs import stairs_on
from importer.ifc.section_bodies import Bodies, Role
from importer.ifc.section_cut import cut_at, polygons_of
from importer.ifc.section_levels import Level, bare_of, floor_of, holes_in
from importer.ifc.section_openings import Opening, clipped
from importer.ifc.section_stairs import all_treads
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
"""Share of a room that another level's room covers when both are the same place."""
HEADROOM_MM: Final = 1800.0
"""Nobody stands between levels nearer to each other than this: of two rooms in one place there, one is
wrong."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FreeRoom:
    """A room found between walls: its storey, the height of its floor, its outline along the wall faces;
    mm.
    """

    storey: StoreyId
    floor: float
    shape: Polygon


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Candidate:
    """A free space of a level before levels are compared. `carried` is the share over slabs, `doors`
    the number of doors on its level; `of` is the whole that this is the carried part of.
    """

    room: FreeRoom
    carried: float
    doors: int
    of: _Candidate | None = None

    @property
    def is_carried(self) -> bool:
        """Whether it has a floor."""
        return self.carried > CARRIED

    @property
    def rank(self) -> tuple[bool, int, float, float]:
        """How good it is where only one of several can be."""
        return self.is_carried, self.doors, self.carried, -self.room.floor


def free_rooms(
    levels: Sequence[Level], bodies: Bodies, openings: Sequence[Opening]
) -> tuple[FreeRoom, ...]:
    """The rooms of every storey.

    Args:
        levels: storeys in plan order, with their floors; a storey may have several.
        bodies: everything meshed (`find_bodies`).
        openings: everything in walls (`find_openings`).

    Returns:
        Rooms by storey, then from the top of the sheet down; stairs and holes in the floor taken out.
        Empty where no walls enclose anything.
    """
    candidates: list[_Candidate] = []
    for level in levels:
        floor = floor_of(bodies, level.floor)
        for shape in _enclosed(level, bodies, openings):
            candidates += _on_floor(level, shape, floor)
    heights = sorted({level.floor for level in levels})
    steps = all_treads(b.mesh for b in bodies.of(Role.STAIR))
    stairs = {height: stairs_on(steps, height) for height in heights}
    found = []
    for candidate in _each_place_once(candidates):
        room = candidate.room
        found += [replace(room, shape=p) for p in _laid_part(room.shape, stairs[room.floor])]
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


def _on_floor(level: Level, shape: Polygon, floor: MultiPolygon) -> list[_Candidate]:
    """A free space as candidates: what a floor carries of it. Of one that is carried for the lesser part
    only, such as the air over a hall with a gallery in it, first the whole, as far as it is no hole in
    the floor, then what is carried.
    """
    room = FreeRoom(storey=level.storey, floor=level.floor, shape=shape)
    whole = _Candidate(
        room=room, carried=shape.intersection(floor).area / shape.area, doors=level.doors
    )
    pieces = _rooms_in(shape.difference(bare_of(shape, floor)))
    parts = [replace(whole, room=replace(room, shape=p), carried=1.0) for p in pieces]
    if whole.is_carried:
        return parts
    closed = _rooms_in(shape.difference(shapely.union_all(holes_in(floor))))
    wholes = [replace(whole, room=replace(room, shape=p)) for p in closed]
    return wholes + [replace(p, of=w) for p in parts for w in wholes[:1]]


def is_room(shape: Polygon) -> bool:
    """Whether a space is as large as a room, and as wide as a person."""
    return shape.area >= LEAST_ROOM_MM2 and inscribed_diameter(shape) >= LEAST_WIDTH_MM


def _each_place_once(candidates: Sequence[_Candidate]) -> list[_Candidate]:
    """Without those in a place that a better one has: on a level so near that only one can be right, or
    on any level when no slab carries them and one carries the other, because walls run past floors that
    are not theirs.
    """
    if not candidates:
        return []
    shapes = [c.room.shape for c in candidates]
    one, other = STRtree(shapes).query(shapes, predicate="intersects")
    rivals: dict[int, list[int]] = {}
    for i, k in zip(one.tolist(), other.tolist(), strict=True):
        if i != k and _excludes(candidates[k], candidates[i]):
            rivals.setdefault(i, []).append(k)
    # The best first, so that what has been beaten beats nothing itself; parts of a space only where the
    # whole has been beaten.
    order = sorted(
        range(len(candidates)),
        key=lambda n: (candidates[n].of is None, candidates[n].rank, -n),
        reverse=True,
    )
    kept: dict[int, _Candidate] = {}
    for i in order:
        candidate = candidates[i]
        whole_is_there = any(candidate.of is c for c in kept.values())
        if not whole_is_there and not any(k in kept for k in rivals.get(i, ())):
            kept[i] = candidate
    return [kept[i] for i in sorted(kept)]


def _excludes(better: _Candidate, mine: _Candidate) -> bool:
    """Whether both are one place, should `better` be the better."""
    apart = abs(better.room.floor - mine.room.floor)
    if apart >= HEADROOM_MM and (mine.is_carried or not better.is_carried):
        return False
    shape = mine.room.shape
    return float(better.room.shape.intersection(shape).area) > SAME_PLACE * shape.area


def _laid_part(shape: Polygon, stairs: BaseGeometry) -> list[Polygon]:
    """The room less its stairs; in parts where they cut it in two."""
    return _rooms_in(shape.difference(stairs)) if shape.intersects(stairs) else [shape]


def _rooms_in(shape: BaseGeometry) -> list[Polygon]:
    """The parts of an area that are as large as a room."""
    parts = [clean_outline(p) for p in polygons_of(shape)]
    return sorted((p for p in parts if p is not None and is_room(p)), key=reading_order)
