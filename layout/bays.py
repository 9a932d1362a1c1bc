"""Rooms, doorways and rules -> bays and the movement joints between them.

A bay is the space of its rooms, plus the floor inside doorways (all of it where the floor runs on, else
up to the joint line), less the obstacles; set back by the wall gap it is the floor that planks lie on.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from string import ascii_lowercase

import shapely
from shapely import LineString, Polygon

from importer.plan import DoorwayId, Finding, Plan, Point, Room, RoomId
from importer.tolerance import AREA_MM2, SAME_POINT_MM, SLIVER_WIDTH_MM
from layout.bay_cells import LimitCut
from layout.bay_doorways import joint_line
from layout.bay_error import LayoutError, not_laid, told_as_finding
from layout.bay_joins import called, join_rooms, rule_of
from layout.bay_near import moved_back
from layout.bay_space import Floor, Floors, Space, base_id, floors_in, name_of
from layout.floor import Bay, BayId, JointKind, MovementJoint, UnlaidRoom
from layout.rules import RuleSet


@dataclass(frozen=True, slots=True, kw_only=True)
class BayPlan:
    """The floors of a plan before they are laid."""

    bays: tuple[Bay, ...]
    joints: tuple[MovementJoint, ...]
    unlaid: tuple[UnlaidRoom, ...]
    findings: tuple[Finding, ...]


@dataclass(slots=True)
class _Formed:
    """What the floors of a plan come to while they are formed. `why` says of every doorway with a joint
    why it has one.
    """

    why: dict[DoorwayId, str]
    unlaid: dict[RoomId, str]
    findings: list[Finding] = field(default_factory=list)
    bays: list[Bay] = field(default_factory=list)
    joints: list[MovementJoint] = field(default_factory=list)


def form_bays(
    plan: Plan, rules: RuleSet, *, parted: Mapping[DoorwayId, str] | None = None
) -> BayPlan:
    """All bays of a plan under the rules, in the order of their rooms, and every movement joint.

    A room that yields no floor is unlaid with the reason and a finding; it never stops the others.
    `parted` says of further doorways why the floor is broken there.
    """
    formed = _Formed(why={}, unlaid={})
    for room in plan.rooms:
        _leave_out(room, rules, formed)
    joins = join_rooms(plan, rules, formed.unlaid, parted or {})
    formed.why.update(joins.why_broken)
    obstacles = _obstacles_by_room(plan)
    for rooms in joins.groups:
        _form(_space(plan, rules, rooms, joins.through, obstacles), obstacles, formed)
    joints = (*_thresholds(plan, rules, formed), *formed.joints)
    return BayPlan(
        bays=tuple(_with_joints(b, joints) for b in formed.bays),
        joints=joints,
        unlaid=tuple(
            UnlaidRoom(room=r.id, because=formed.unlaid[r.id])
            for r in plan.rooms
            if r.id in formed.unlaid
        ),
        findings=tuple(formed.findings),
    )


def _leave_out(room: Room, rules: RuleSet, formed: _Formed) -> None:
    """Note a room that the rules leave out, or whose outline is none."""
    rule = rule_of(room, rules)
    if room.left_out:
        formed.unlaid[room.id] = room.left_out
    elif rule is not None and not rule.lay:
        formed.unlaid[room.id] = rule.because or f"Left out by the rule for '{rule.match}'."
    elif not (room.shape.is_valid and room.shape.area > AREA_MM2):
        what = f"The outline of {called(room)} is not a simple closed line."
        error = not_laid("LAY-121", what, room.source, "Redraw it without crossings.")
        formed.findings.append(error.finding)
        formed.unlaid[room.id] = what


def _space(
    plan: Plan,
    rules: RuleSet,
    rooms: Sequence[Room],
    through: frozenset[DoorwayId],
    obstacles: Mapping[RoomId, tuple[Polygon, ...]],
) -> Space:
    """Those rooms as one space; `through` are the doorways that the floor may run on through."""
    own = {r.id for r in rooms}
    doorways = [d for d in plan.doorways if not own.isdisjoint(d.rooms)]
    runs_on = [d.id in through and own.issuperset(d.rooms) for d in doorways]
    return Space(
        plan=plan,
        rules=rules,
        rooms=tuple(rooms),
        ends=tuple(d for d, on in zip(doorways, runs_on, strict=True) if not on),
        through=tuple(d for d, on in zip(doorways, runs_on, strict=True) if on),
        obstacles=tuple(o for r in rooms for o in obstacles.get(r.id, ())),
    )


def _form(space: Space, obstacles: Mapping[RoomId, tuple[Polygon, ...]], formed: _Formed) -> None:
    """Add the bays of a space. Rooms that make no floor together are tried one by one."""
    try:
        with told_as_finding(space.name, space.rooms[0].source):
            found = floors_in(space)
    except LayoutError as error:
        if len(space.rooms) == 1:
            formed.findings.append(error.finding)
            formed.unlaid[space.rooms[0].id] = error.finding.what
            return
        for doorway in space.through:
            formed.why[doorway.id] = "Its rooms could not be put together as one floor."
        for room in space.rooms:
            alone = _space(space.plan, space.rules, (room,), frozenset(), obstacles)
            _form(alone, obstacles, formed)
        return
    own = _bays(space, found)
    formed.why.update(found.broken)
    formed.bays.extend(own)
    formed.joints.extend(_bay_joints(space, found.cuts, own))
    formed.findings.extend(found.findings)


def _obstacles_by_room(plan: Plan) -> Mapping[RoomId, tuple[Polygon, ...]]:
    """Obstacles that stand in each room, by where they are: what a drawing says of an obstacle's room
    may be missing.
    """
    if not plan.obstacles or not plan.rooms:
        return {}
    tree = shapely.STRtree([o.shape for o in plan.obstacles])
    rooms, stands = tree.query([r.shape for r in plan.rooms], predicate="intersects")
    found: dict[RoomId, list[Polygon]] = {}
    for i, k in sorted(zip(rooms.tolist(), stands.tolist(), strict=True)):
        if plan.obstacles[k].storey == plan.rooms[i].storey:
            found.setdefault(plan.rooms[i].id, []).append(plan.obstacles[k].shape)
    return {room: tuple(shapes) for room, shapes in found.items()}


# --- bays and their names ----------------------------------------------------------------------


def _bays(space: Space, found: Floors) -> tuple[Bay, ...]:
    """One bay for each floor, in the order of their rooms; lettered from left to right where several
    have the same first room.
    """
    by_room: dict[RoomId, list[Floor]] = {}
    for floor in found.floors:
        by_room.setdefault(floor.rooms[0].id, []).append(floor)
    bays = []
    for room in (r.id for r in space.rooms if r.id in by_room):
        floors = sorted(by_room[room], key=lambda f: _reading_key(f.shape))
        for n, floor in enumerate(floors):
            letter = _letter(n) if len(floors) > 1 else ""
            bays.append(_bay(space, found, floor, letter))
    return tuple(bays)


def _bay(space: Space, found: Floors, floor: Floor, letter: str) -> Bay:
    first = floor.rooms[0]
    return Bay(
        id=BayId(base_id(first) + letter),
        name=name_of(floor.rooms) + (f", part {letter}" if letter else ""),
        rooms=tuple(r.id for r in floor.rooms),
        storey=first.storey,
        flat=next((r.flat for r in floor.rooms if r.flat is not None), None),
        outline=moved_back(floor.outline, space.origin),
        floor=moved_back(floor.shape, space.origin),
        gap_mm=space.rules.gap.wall,
        through=floor.through,
        bare=tuple(moved_back(slot, space.origin) for slot in floor.bare),
        along=found.along,
    )


def _reading_key(part: Polygon) -> tuple[int, int]:
    x0, y0, x1, y1 = part.bounds
    return round((x0 + x1) / 2), -round((y0 + y1) / 2)


def _letter(n: int) -> str:
    """a, b, ... z, aa, ab, ..."""
    head, tail = divmod(n, len(ascii_lowercase))
    return (_letter(head - 1) if head else "") + ascii_lowercase[tail]


# --- joints -------------------------------------------------------------------------------------


def _thresholds(plan: Plan, rules: RuleSet, formed: _Formed) -> tuple[MovementJoint, ...]:
    """A joint in every doorway that a floor reaches and does not run on through, in plan order."""
    by_room: dict[RoomId, list[Bay]] = {}
    for bay in formed.bays:
        for room in bay.rooms:
            by_room.setdefault(room, []).append(bay)
    joints = []
    for doorway in plan.doorways:
        if doorway.id not in formed.why:
            continue
        line = joint_line(doorway, rules.doorways.leaf_cover)
        sides = [_nearest(by_room.get(room, ()), line) for room in doorway.rooms if room]
        reached = tuple(dict.fromkeys(b for b in sides if b is not None))
        if reached:
            joints.append(
                MovementJoint(
                    id=f"J-{doorway.id}",
                    kind=JointKind.THRESHOLD,
                    line=line,
                    why=formed.why[doorway.id],
                    bays=reached,
                    doorway=doorway.id,
                )
            )
    return tuple(joints)


def _nearest(bays: Sequence[Bay], line: tuple[Point, Point]) -> BayId | None:
    """Of the bays of a room the one by the joint line."""
    stretch = LineString(line)
    return min(bays, key=lambda b: b.outline.distance(stretch)).id if bays else None


def _bay_joints(
    space: Space, cuts: Sequence[LimitCut], bays: Sequence[Bay]
) -> tuple[MovementJoint, ...]:
    """The joints that the run limit put across the floor, with the bays on their two sides."""
    joints: list[MovementJoint] = []
    for cut in cuts:
        (x0, y0), (x1, y1) = cut.line
        dx, dy = space.origin
        line = ((x0 + dx, y0 + dy), (x1 + dx, y1 + dy))
        beside = [b.id for b in bays if _lies_along(b.outline, line)]
        if beside:
            joints.append(
                MovementJoint(
                    id=f"J-{base_id(space.rooms[0])}.{len(joints) + 1}",
                    kind=JointKind.BAY_JOINT,
                    line=line,
                    why=cut.why,
                    bays=tuple(beside),
                )
            )
    return tuple(joints)


def _lies_along(outline: Polygon, line: tuple[Point, Point]) -> bool:
    stretch = LineString(line)
    touching = stretch.intersection(outline.buffer(SAME_POINT_MM))
    return bool(touching.length > SLIVER_WIDTH_MM)


def _with_joints(bay: Bay, joints: Sequence[MovementJoint]) -> Bay:
    return replace(bay, joints=tuple(j.id for j in joints if bay.id in j.bays))
