"""What is no floor in a room although its space does not leave it out: columns, piers of walls, stairs,
holes in the slab.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import shapely
from shapely import MultiPolygon, STRtree
from shapely.geometry.base import BaseGeometry

from importer.ifc.draft import ObstacleDraft, RoomDraft
from importer.ifc.free_stairs import stairs_on
from importer.ifc.grouping import Case, Kind, grouped
from importer.ifc.model import IfcModel
from importer.ifc.section_bodies import Bodies, Body, Role
from importer.ifc.section_cut import cut_at, polygons_of
from importer.ifc.section_levels import bare_of, floor_of
from importer.ifc.section_stairs import Tread, all_treads
from importer.plan import Finding, ObstacleKind, Severity

CUT_MM: Final = 100.0
"""Height above the floor at which things standing on it are cut."""
LEAST_MM2: Final = 2500.0
"""Smaller things (50 mm square) are pipes and noise: they are notched around on site."""
MOST_PIERS: Final = 0.05
"""Walls that take more of a room than this are no piers: its space runs to the middle of the walls."""
LEAST_PIERS: Final = 0.001
CARRIED: Final = 0.5
"""A room is held against its slab only where the slab carries at least this part of it."""
LEAST_HOLE_MM2: Final = 1e5
LEVEL_MM: Final = 10.0

_INTO_WALLS: Final = Kind(
    code="IMP-358",
    severity=Severity.SETTLE,
    one="A space seems to run into its walls, which take a part of it: {it}.",
    many="{n} spaces seem to run into their walls, which take a part of them: {it}.",
    remedy="Have room bounding set to the finished faces of the walls, or measure on site.",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class InTheWay:
    """Things in the way, by room, and what was noticed."""

    obstacles: tuple[ObstacleDraft, ...]
    findings: tuple[Finding, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Level:
    """What stands on one level: bodies cut just above it with their products, stairs, slabs."""

    columns: tuple[tuple[Body, BaseGeometry], ...]
    walls: BaseGeometry
    stairs: BaseGeometry
    slabs: BaseGeometry


def find_in_the_way(model: IfcModel, rooms: Sequence[RoomDraft], bodies: Bodies) -> InTheWay:
    """Everything in the way in rooms that come from spaces, clipped to them.

    Args:
        model: for findings.
        rooms: all rooms; those found between walls have theirs taken out already.
        bodies: everything meshed.
    """
    steps = all_treads(b.mesh for b in bodies.of(Role.STAIR))
    levels: dict[int, _Level] = {}
    found: list[ObstacleDraft] = []
    into_walls: list[Case] = []
    for k, room in enumerate(rooms):
        if room.space is None:
            continue
        at = round(room.low / LEVEL_MM)
        if at not in levels:
            levels[at] = _level(bodies, steps, room.low)
        found += _in_room(k, room, levels[at])
        piers, share = _piers(k, room, levels[at])
        found += piers
        if share > MOST_PIERS:
            into_walls.append(Case(room.space, f"{room.title}, {100 * share:.0f} %"))
    findings = grouped(model, _INTO_WALLS, into_walls)
    return InTheWay(obstacles=tuple(found), findings=tuple(findings))


def _level(bodies: Bodies, steps: Sequence[Tread], floor: float) -> _Level:
    height = floor + CUT_MM
    standing = [b for b in bodies.of(Role.COLUMN, Role.WALL) if b.low < height < b.high]
    cuts = [(b, cut_at(b.mesh, height)) for b in standing]
    walls = [shape for body, shape in cuts if body.role is Role.WALL]
    return _Level(
        columns=tuple((b, s) for b, s in cuts if b.role is Role.COLUMN),
        walls=shapely.union_all(np.array(walls, dtype=object)),
        stairs=stairs_on(steps, floor),
        slabs=floor_of(bodies, floor),
    )


def _in_room(k: int, room: RoomDraft, level: _Level) -> list[ObstacleDraft]:
    """Columns, then stairs, then holes; no place is in the way twice."""
    found: list[ObstacleDraft] = []
    taken: BaseGeometry = MultiPolygon()
    if level.columns:
        tree = STRtree([s for _, s in level.columns])
        for n in np.sort(tree.query(room.shape, predicate="intersects")).tolist():
            body, shape = level.columns[n]
            for part in polygons_of(shape.intersection(room.shape), LEAST_MM2):
                found.append(
                    ObstacleDraft(kind=ObstacleKind.COLUMN, shape=part, room=k, entity=body.product)
                )
                taken = taken.union(part)
    stairs = _areas(room.shape.intersection(level.stairs).difference(taken))
    hole = _hole(room, level).difference(taken.union(stairs))
    for kind, shape in ((ObstacleKind.STAIR, stairs), (ObstacleKind.SHAFT, hole)):
        parts = polygons_of(shape, LEAST_HOLE_MM2)
        found += [ObstacleDraft(kind=kind, shape=p, room=k) for p in parts]
    return found


def _hole(room: RoomDraft, level: _Level) -> BaseGeometry:
    """Where no slab lies under a room."""
    if level.slabs.intersection(room.shape).area < CARRIED * room.shape.area:
        return MultiPolygon()
    return bare_of(room.shape, level.slabs)


def _areas(shape: BaseGeometry) -> MultiPolygon:
    """The areas of a shape without the lines and points where others only touch it."""
    return MultiPolygon(polygons_of(shape))


def _piers(k: int, room: RoomDraft, level: _Level) -> tuple[list[ObstacleDraft], float]:
    """Pieces of walls in a room, and which part of it they take."""
    inside = room.shape.intersection(level.walls)
    share = inside.area / room.shape.area
    if not LEAST_PIERS <= share <= MOST_PIERS:
        return [], share
    parts = polygons_of(inside, LEAST_MM2)
    return [ObstacleDraft(kind=ObstacleKind.COLUMN, shape=p, room=k) for p in parts], share
