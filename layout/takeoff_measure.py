"""One plan measured for what goes with its planks: strips, profiles, skirting, collars, frames."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Final

import numpy as np
import shapely
from shapely import Polygon

from importer.plan import Doorway, DoorwayKind, Obstacle, ObstacleKind, Plan, Point, Room, RoomId
from layout.bay_joins import called, is_named
from layout.floor import BayLayout, JointKind, MovementJoint
from layout.floor_order import Accessories, Collars, FrameCut, ProfilePlace, WallStretch
from layout.rules import RuleSet
from layout.takeoff_sheets import strips_of
from layout.takeoff_walls import pieces_of, walls_of

FIRE_DOOR_NOTE: Final = (
    "Entrance of a flat: it may be a fire door, whose leaf and frame are never planed or cut. Local "
    "codes come first."
)
OUTSIDE_NOTE: Final = "Door to outside: its frame is not cut; the planks end beside it."
_PIPES: Final = frozenset({ObstacleKind.COLUMN, ObstacleKind.SHAFT, ObstacleKind.OTHER})
"""What may be a pipe if it is small."""


def measured(
    bays: Sequence[BayLayout], joints: Sequence[MovementJoint], plan: Plan | None, rules: RuleSet
) -> Accessories:
    """Everything beside planks that these bays take.

    Args:
        bays: Laid bays of one plan.
        joints: All joints of the plan.
        plan: The plan, where it is known: without it there are no rooms, doorways and obstacles to
            name, only outlines and joints.
        rules: What is ordered, and its sizes.
    """
    return Accessories(
        underlay=tuple(strips_of(b, rules.underlay) for b in bays if rules.underlay.lay),
        membrane=tuple(
            strips_of(b, rules.membrane, rules.membrane.upturn) for b in bays if rules.membrane.lay
        ),
        profiles=tuple(_profiles(bays, joints, plan)),
        skirting=tuple(_skirting(bays, joints, plan, rules)),
        collars=tuple(_collars(bays, plan, rules)),
        frames=tuple(_frames(bays, plan)) if rules.frames.undercut else (),
    )


def _rooms(plan: Plan | None) -> Mapping[RoomId, Room]:
    return {r.id: r for r in plan.rooms} if plan is not None else {}


# --- profiles -----------------------------------------------------------------------------------


def _profiles(
    bays: Sequence[BayLayout], joints: Sequence[MovementJoint], plan: Plan | None
) -> Iterator[ProfilePlace]:
    """A profile for each joint that one of the bays ends at. It goes with the bay that belongs to a
    flat: a flat's entrance threshold goes with the flat, not with the corridor outside it.
    """
    own = {str(b.bay.id): b for b in bays}
    rooms = _rooms(plan)
    doorways = {d.id: d for d in plan.doorways} if plan is not None else {}
    for joint in joints:
        sides = [own[str(b)] for b in joint.bays if str(b) in own]
        if not sides:
            continue
        first = next((s for s in sides if s.bay.flat is not None), sides[0])
        doorway = doorways.get(joint.doorway) if joint.doorway is not None else None
        if doorway is not None and first.bay.flat is None and _goes_elsewhere(doorway, rooms):
            continue
        yield ProfilePlace(
            joint=joint.id,
            bay=str(first.bay.id),
            doorway=joint.doorway,
            length_mm=joint.length_mm,
            where=_between(joint, doorway, sides, rooms),
            note=FIRE_DOOR_NOTE if doorway is not None and doorway.flat_entrance else "",
        )


def _goes_elsewhere(doorway: Doorway, rooms: Mapping[RoomId, Room]) -> bool:
    """Whether a flat beyond the doorway, which another part of the job lays, takes its profile."""
    beyond = [rooms[r] for r in doorway.rooms if r is not None and r in rooms]
    return any(r.elsewhere and r.flat is not None for r in beyond)


def _between(
    joint: MovementJoint,
    doorway: Doorway | None,
    sides: Sequence[BayLayout],
    rooms: Mapping[RoomId, Room],
) -> str:
    """`doorway D7, Hall | Bath`, or `across Living`."""
    if doorway is not None:
        return f"doorway {doorway.id}, {_sides(doorway, rooms)}"
    if joint.kind is JointKind.THRESHOLD:
        return " | ".join(s.bay.name for s in sides)
    at = shapely.LineString(joint.line).interpolate(0.5, normalized=True)
    near = [rooms[r] for r in dict.fromkeys(r for s in sides for r in s.bay.rooms) if r in rooms]
    if not near:
        return f"across {sides[0].bay.name}"
    distances = shapely.distance(np.asarray([r.shape for r in near], dtype=object), at)
    return f"across {called(near[int(np.argmin(distances))])}"


def _sides(doorway: Doorway, rooms: Mapping[RoomId, Room]) -> str:
    names = [called(rooms[r]) if r in rooms else "outside" for r in doorway.rooms if r is not None]
    return " | ".join([*names, *(["outside"] if doorway.rooms[1] is None else [])])


# --- skirting and pipes -------------------------------------------------------------------------


def _skirting(
    bays: Sequence[BayLayout],
    joints: Sequence[MovementJoint],
    plan: Plan | None,
    rules: RuleSet,
) -> Iterator[WallStretch]:
    if not rules.skirting.lay:
        return
    rooms = _rooms(plan)
    pipes = [p.shape for p in _pipes(plan, rules)]
    for layout in bays:
        own = [rooms[r] for r in layout.bay.rooms if r in rooms]
        shapes = np.asarray([r.shape.boundary for r in own], dtype=object)
        for wall in walls_of(layout.bay, plan, joints, pipes):
            where = layout.bay.name
            if own:
                away = shapely.distance(shapes, shapely.Point(wall.middle))
                where = called(own[int(np.argmin(away))])
            yield WallStretch(
                bay=str(layout.bay.id),
                where=where,
                length_mm=wall.length_mm,
                pieces_mm=pieces_of(wall, rules.skirting),
            )


def _pipes(plan: Plan | None, rules: RuleSet) -> list[Obstacle]:
    """Obstacles small enough both ways to be pipes."""
    if plan is None:
        return []
    return [o for o in plan.obstacles if o.kind in _PIPES and _across(o.shape) <= rules.pipes.up_to]


def _across(shape: Polygon) -> float:
    x0, y0, x1, y1 = shape.bounds
    return max(x1 - x0, y1 - y0)


def _collars(bays: Sequence[BayLayout], plan: Plan | None, rules: RuleSet) -> Iterator[Collars]:
    """Drawn pipes by the bay they stand in, then those that the rules give for its rooms."""
    rooms = _rooms(plan)
    pipes = _pipes(plan, rules)
    for layout in bays:
        own = [rooms[r] for r in layout.bay.rooms if r in rooms]
        for pipe in pipes:
            room = _room_at(pipe, own, str(layout.bay.storey))
            if room is not None:
                middle: Point = (pipe.shape.centroid.x, pipe.shape.centroid.y)
                yield Collars(
                    bay=str(layout.bay.id),
                    where=called(room),
                    count=1,
                    at=middle,
                    across_mm=_across(pipe.shape),
                )
        for room in own:
            rule = next((r for r in rules.pipes.in_rooms if is_named(room, r.match)), None)
            if rule is not None and rule.count:
                yield Collars(bay=str(layout.bay.id), where=called(room), count=rule.count)


def _room_at(pipe: Obstacle, rooms: Sequence[Room], storey: str) -> Room | None:
    if str(pipe.storey) != storey:
        return None
    return next((r for r in rooms if r.shape.intersects(pipe.shape)), None)


# --- frames -------------------------------------------------------------------------------------


def _frames(bays: Sequence[BayLayout], plan: Plan | None) -> Iterator[FrameCut]:
    """Doors by a laid room: two jambs each; entrances of flats and doors to outside are left alone."""
    if plan is None:
        return
    rooms = _rooms(plan)
    of_room = {r: b for b in reversed(bays) for r in b.bay.rooms}
    for doorway in plan.doorways:
        sides = [of_room[r] for r in doorway.rooms if r in of_room]
        if not sides or doorway.kind is DoorwayKind.OPENING:
            continue
        first = next((s for s in sides if s.bay.flat is not None), sides[0])
        note = ""
        if doorway.flat_entrance:
            note = FIRE_DOOR_NOTE
        elif doorway.rooms[1] is None:
            note = OUTSIDE_NOTE
        yield FrameCut(
            bay=str(first.bay.id),
            doorway=doorway.id,
            where=_sides(doorway, rooms),
            jambs=0 if note else 2,
            note=note,
        )
