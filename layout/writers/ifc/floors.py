"""The laid floors by room, ready to be written into a model: outlines, heights, what to say of each.

Plain records of plain values: they go to another process (`layout.writers.ifc.inside`). Plan frame, mm.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from math import ceil, hypot
from typing import Final

import numpy as np
import shapely
from shapely import LineString, Polygon
from shapely.ops import split

from importer.plan import Doorway, Plan, Point, Room, RoomId, StoreyId
from importer.tolerance import LENGTH_MM
from layout.cautions import CAUTIONS, DEFAULT_RULES_NOTE
from layout.floor import BayLayout, PlanResult
from layout.rules import RuleSet
from layout.writers.names import clean

_BEYOND_MM: Final = 1.0
"""A leaf line is cut so much longer at either end, so that it parts the floor also without a gap."""
_A_SHARE: Final = 0.01
"""A room of which a part of the floor holds less than this has no share in it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RoomFloor:
    """The floor of one bay in one room. `space` is the GlobalId of the space that the room came from,
    None for one found between walls; `level` the height of its underside, None where none is known.
    """

    room: RoomId
    space: str | None
    storey: StoreyId
    level: float | None
    name: str
    parts: tuple[Polygon, ...]

    @property
    def at(self) -> Point:
        """A point in it, by which it is told from others."""
        inside = self.parts[0].representative_point()
        return inside.x, inside.y


@dataclass(frozen=True, slots=True, kw_only=True)
class BayFloor:
    """One bay: what is said of all its floors, and its floors in plan order. `packs` are those that the
    bay alone would need, without spares, as on its sheet.
    """

    bay: str
    name: str
    laying_deg: float
    planks: int
    packs: int
    first_row_mm: float
    last_row_mm: float
    floors: tuple[RoomFloor, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Floors:
    """Everything that goes into the model."""

    bays: tuple[BayFloor, ...]
    thickness: float
    plank_length: float
    plank_width: float
    wall_gap: float
    rules: str
    note: str


def floors_of(result: PlanResult, rules: RuleSet, *, default_rules: bool) -> Floors:
    """The floors of a laid plan.

    Raises:
        ValueError: the plan could not be read.
    """
    if result.plan is None:
        msg = "a plan that could not be read has no floors"
        raise ValueError(msg)
    plan = result.plan
    return Floors(
        bays=tuple(_bay_floor(layout, plan, rules) for layout in result.bays),
        thickness=rules.plank.thickness,
        plank_length=rules.plank.length,
        plank_width=rules.plank.width,
        wall_gap=rules.gap.wall,
        rules=clean(rules.name),
        note=" ".join([CAUTIONS[0], *([DEFAULT_RULES_NOTE] if default_rules else [])]),
    )


def _bay_floor(layout: BayLayout, plan: Plan, rules: RuleSet) -> BayFloor:
    bay, out = layout.bay, layout.setting_out
    planks = len(layout.planks)
    levels = {s.id: s.elevation_mm for s in plan.storeys}
    rooms = {r.id: r for r in plan.rooms}
    floors = []
    for room_id, parts in floor_by_room(layout, plan).items():
        room = rooms[room_id]
        floors.append(
            RoomFloor(
                room=room.id,
                space=room.source.guid,
                storey=room.storey,
                level=levels.get(room.storey) if room.floor_mm is None else room.floor_mm,
                name=f"Plank floor {_called(room)}",
                parts=parts,
            )
        )
    return BayFloor(
        bay=str(bay.id),
        name=clean(bay.name),
        laying_deg=round(out.frame.along_deg, 6) % 360.0,
        planks=planks,
        packs=ceil(planks / rules.plank.per_pack),
        first_row_mm=out.first_row_mm,
        last_row_mm=out.last_row_mm,
        floors=tuple(floors),
    )


def _called(room: Room) -> str:
    return clean(" ".join(n for n in (room.number, room.name) if n)) or str(room.id)


# --- a bay's floor parted at its doorways -------------------------------------------------------


def floor_by_room(layout: BayLayout, plan: Plan) -> Mapping[RoomId, tuple[Polygon, ...]]:
    """The floor of a bay parted by its rooms, under the leaves of the doorways that it runs through;
    what lies in a doorway goes with the room on its side. Together the parts are the floor of the bay.

    Returns:
        Polygons in the plan frame by room, rooms in the order of the bay; rooms without floor are left
        out.
    """
    bay = layout.bay
    rooms = [plan.room(r) for r in bay.rooms]
    if len(rooms) == 1:
        return {rooms[0].id: (bay.floor,)}
    x, y = (float(round(v)) for v in bay.floor.bounds[:2])
    shapes = _moved([r.shape for r in rooms], (-x, -y))
    through = [d for d in plan.doorways if d.id in bay.through]
    cut = _parted(_moved([bay.floor], (-x, -y))[0], _leaf_lines(through, (x, y)))
    found: dict[int, list[Polygon]] = {}
    for part in cut:
        for k, piece in _shared_out(part, shapes):
            found.setdefault(k, []).append(piece)
    return {
        rooms[k].id: tuple(_moved(_in_order(found[k]), (x, y)))
        for k in range(len(rooms))
        if k in found
    }


def _moved(shapes: Sequence[Polygon], by: Point) -> list[Polygon]:
    return [shapely.transform(s, lambda xy: xy + by) for s in shapes]


def _leaf_lines(doorways: Sequence[Doorway], origin: Point) -> list[LineString]:
    """The lines under the leaves, a little longer at either end, about the origin."""
    lines = []
    for doorway in doorways:
        a, b = (np.subtract(p, origin) for p in doorway.leaf_line)
        length = hypot(*(b - a))
        if length > LENGTH_MM:
            beyond = (b - a) * (_BEYOND_MM / length)
            lines.append(LineString([a - beyond, b + beyond]))
    return lines


def _parted(floor: Polygon, lines: Sequence[LineString]) -> list[Polygon]:
    parts = [floor]
    for line in lines:
        parts = [p for part in parts for p in split(part, line).geoms if isinstance(p, Polygon)]
    return parts


def _shared_out(part: Polygon, rooms: Sequence[Polygon]) -> Iterator[tuple[int, Polygon]]:
    """A part of the floor by the rooms that it lies in, as a rule one. Where rooms touch without a line
    between them it is parted at their edge, and what lies in none goes to the nearest.
    """
    held = [part.intersection(room).area for room in rooms]
    sharing = [k for k, area in enumerate(held) if area > _A_SHARE * rooms[k].area]
    if len(sharing) < 2:
        near = min(range(len(rooms)), key=lambda k: (-held[k], part.distance(rooms[k]), k))
        yield near, part
        return
    rest = part.difference(shapely.union_all([rooms[k] for k in sharing]))
    own: dict[int, list[Polygon]] = {k: _polygons(part.intersection(rooms[k])) for k in sharing}
    for piece in _polygons(rest):
        own[min(sharing, key=lambda k: (piece.distance(rooms[k]), k))].append(piece)
    for k in sharing:
        for piece in _polygons(shapely.union_all(own[k])):
            yield k, piece


def _polygons(shape: shapely.Geometry) -> list[Polygon]:
    return [p for p in shapely.get_parts(shape) if isinstance(p, Polygon) and p.area > 0.0]


def _in_order(parts: Sequence[Polygon]) -> list[Polygon]:
    return sorted(shapely.orient_polygons(list(parts)), key=lambda p: (-p.area, p.bounds))
