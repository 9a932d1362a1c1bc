"""A bay with what stands about it, in the bay frame, ready to be drawn: mm, x along the rows."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Final

import shapely
from shapely import LineString, Polygon
from shapely.geometry.base import BaseGeometry

from importer.plan import Doorway, Point, Room, RoomId, StoreyId
from layout.floor import Bay, BayLayout, MovementJoint, PlanResult
from layout.writers.dxf.runs_seen import EndSlant, RunSeen, end_slant, runs_seen
from layout.writers.names import clean, room_names
from layout.writers.offcuts import Offcuts, offcuts_of

WALL_SHOWN_MM: Final = 300.0
"""How far walls are drawn beyond the bay; what lies further off belongs to other sheets."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Passage:
    """A doorway of the bay: the line of its leaf, and what lies beyond. `through`: the floor runs on."""

    line: tuple[Point, Point]
    words: str
    through: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Scene:
    """What is to be drawn of a bay. Shapes in the bay frame, names cleaned."""

    layout: BayLayout
    runs: tuple[RunSeen, ...]
    outline: Polygon
    walls: tuple[Polygon, ...]
    passages: tuple[Passage, ...]
    joints: tuple[tuple[MovementJoint, tuple[Point, Point]], ...]
    rooms: tuple[tuple[str, Polygon], ...]
    name: str
    storey: str
    flat: str
    offcuts: Offcuts
    first_slant: EndSlant | None
    last_slant: EndSlant | None

    @property
    def left_to_right(self) -> bool:
        """Whether rows run to the right when the start wall is at the top of the sheet."""
        return self.layout.setting_out.frame.mirrored


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanContext:
    """What all bays of a plan share; `walls` by storey, which in a model lie on top of each other."""

    result: PlanResult
    offcuts: Offcuts
    names: Mapping[str, str]
    walls: Mapping[StoreyId, shapely.STRtree]
    rooms: Mapping[str, Room]


def context_of(result: PlanResult) -> PlanContext:
    """Look-ups made once a plan."""
    plan = result.plan
    return PlanContext(
        result=result,
        offcuts=offcuts_of(result.bays),
        names={str(k): v for k, v in room_names(plan).items()},
        walls={s.id: shapely.STRtree(list(plan.walls_of(s.id))) for s in plan.storeys}
        if plan is not None
        else {},
        rooms={str(r.id): r for r in plan.rooms} if plan is not None else {},
    )


def scene_of(layout: BayLayout, context: PlanContext, storey: str, flat: str) -> Scene:
    """The bay turned into its frame."""
    frame, bay = layout.setting_out.frame, layout.bay
    rooms = [context.rooms[r] for r in bay.rooms if r in context.rooms]
    runs = runs_seen(layout)
    joints = [j for j in context.result.joints if bay.id in j.bays]
    return Scene(
        layout=layout,
        runs=runs,
        outline=frame.to_bay(bay.outline),
        walls=tuple(frame.to_bay(w) for w in _walls_about(bay, context)),
        passages=tuple(_passages(layout, context)),
        joints=tuple(
            (j, (frame.point_to_bay(j.line[0]), frame.point_to_bay(j.line[1]))) for j in joints
        ),
        rooms=tuple((context.names[r.id], frame.to_bay(r.shape)) for r in rooms),
        name=", ".join(dict.fromkeys(context.names.get(r, str(r)) for r in bay.rooms))
        or clean(bay.name),
        storey=storey,
        flat=flat,
        offcuts=context.offcuts,
        first_slant=end_slant([r.pieces[0] for r in runs]),
        last_slant=end_slant([r.pieces[-1] for r in runs if len(r.pieces) > 1]),
    )


def _walls_about(bay: Bay, context: PlanContext) -> list[Polygon]:
    """Parts of the walls of its storey near the bay."""
    walls, outline = context.walls.get(bay.storey), bay.outline
    if walls is None:
        return []
    reach = outline.buffer(WALL_SHOWN_MM, join_style="mitre", mitre_limit=2.0).difference(outline)
    near = walls.query(reach, predicate="intersects")
    parts = shapely.intersection([walls.geometries[i] for i in sorted(near)], reach)
    return [p for p in _polygons(parts.tolist()) if p.area > 1.0]


def _polygons(shapes: Iterable[BaseGeometry]) -> list[Polygon]:
    return [p for p in shapely.get_parts(shapely.get_parts(list(shapes))) if isinstance(p, Polygon)]


def _passages(layout: BayLayout, context: PlanContext) -> list[Passage]:
    """The doorways of the bay's rooms that its floor reaches, in plan order."""
    plan, bay, frame = context.result.plan, layout.bay, layout.setting_out.frame
    own = set(bay.rooms)
    found = []
    for door in plan.doorways if plan is not None else ():
        if door.storey != bay.storey or not own.intersection(door.rooms):
            continue
        if LineString(door.leaf_line).distance(bay.outline) > door.wall_thickness_mm:
            continue
        a, b = (frame.point_to_bay(p) for p in door.leaf_line)
        words = _beyond(door, own, context)
        found.append(Passage(line=(a, b), words=words, through=door.id in bay.through))
    return found


def _beyond(door: Doorway, own: set[RoomId], context: PlanContext) -> str:
    others = [r for r in door.rooms if r is not None and r not in own]
    if others:
        return f"to {context.names.get(others[0], others[0])}"
    return "outside" if None in door.rooms else ""
