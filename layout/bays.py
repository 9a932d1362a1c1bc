"""Rooms, doorways and rules -> bays and the movement joints between them.

A bay is the space of its rooms, plus the floor inside doorways up to their joint lines, less the
obstacles; set back by the wall gap it is the floor that planks lie on. Here a bay is one room: every
doorway carries a joint. `Space` takes any number of rooms and the doorways that join them, so that
rooms on one floor only need another grouping.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from fnmatch import fnmatchcase
from string import ascii_lowercase

import shapely
from shapely import LineString, Polygon

from importer.plan import Doorway, Finding, Plan, Point, Room, RoomId
from importer.tolerance import SAME_POINT_MM, SLIVER_WIDTH_MM
from layout.bay_doorways import joint_line
from layout.bay_error import LayoutError, told_as_finding
from layout.bay_limits import LimitCut
from layout.bay_near import moved_back
from layout.bay_space import Floor, Space, called, floors_in
from layout.floor import Bay, BayId, JointKind, MovementJoint, UnlaidRoom
from layout.rules import RoomRule, RuleSet


@dataclass(frozen=True, slots=True, kw_only=True)
class BayPlan:
    """The floors of a plan before they are laid."""

    bays: tuple[Bay, ...]
    joints: tuple[MovementJoint, ...]
    unlaid: tuple[UnlaidRoom, ...]
    findings: tuple[Finding, ...]


def form_bays(plan: Plan, rules: RuleSet) -> BayPlan:
    """All bays of a plan under the rules, in the order of their rooms, and every movement joint.

    A room that yields no floor is unlaid with the reason and a finding; it never stops the others.
    """
    left_out = {r.id: why for r in plan.rooms if (why := _left_out(r, rules)) is not None}
    unlaid = [UnlaidRoom(room=room, because=why) for room, why in left_out.items()]
    obstacles = _obstacles_by_room(plan)
    bays: list[Bay] = []
    joints: list[MovementJoint] = []
    findings: list[Finding] = []
    for room in plan.rooms:
        if room.id in left_out:
            continue
        space = Space(
            plan=plan,
            rules=rules,
            rooms=(room,),
            ends=plan.doorways_of(room.id),
            obstacles=obstacles.get(room.id, ()),
        )
        try:
            with told_as_finding(space.name, room.source):
                found = floors_in(space)
        except LayoutError as error:
            findings.append(error.finding)
            unlaid.append(UnlaidRoom(room=room.id, because=error.finding.what))
            continue
        own = _bays(space, found.floors)
        bays.extend(own)
        joints.extend(_bay_joints(space, found.cuts, own))
        findings.extend(found.findings)
    thresholds = _thresholds(plan, rules, bays, {u.room: u.because for u in unlaid})
    every = (*thresholds, *joints)
    return BayPlan(
        bays=tuple(_with_joints(b, every) for b in bays),
        joints=every,
        unlaid=tuple(sorted(unlaid, key=lambda u: _place_of(plan, u.room))),
        findings=tuple(findings),
    )


def _place_of(plan: Plan, room: RoomId) -> int:
    return next(i for i, r in enumerate(plan.rooms) if r.id == room)


# --- which rooms --------------------------------------------------------------------------------


def rule_of(room: Room, rules: RuleSet) -> RoomRule | None:
    """The first rule that names the room; patterns are matched against name and number."""
    names = [n.strip().casefold() for n in (room.name, room.number) if n]
    for rule in rules.rooms:
        patterns = [p.strip().casefold() for p in rule.match.split("|")]
        if any(fnmatchcase(name, pattern) for name in names for pattern in patterns):
            return rule
    return None


def _left_out(room: Room, rules: RuleSet) -> str | None:
    rule = rule_of(room, rules)
    if rule is None or rule.lay:
        return None
    return rule.because or f"Left out by the rule for '{rule.match}'."


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


def _bays(space: Space, floors: Sequence[Floor]) -> tuple[Bay, ...]:
    """One bay for each floor; lettered when there are several, from left to right."""
    room, several = space.rooms[0], len(floors) > 1
    bays = []
    for n, floor in enumerate(sorted(floors, key=lambda f: _reading_key(f.shape))):
        letter = _letter(n) if several else ""
        bays.append(
            Bay(
                id=BayId(space.base_id + letter),
                name=space.name + (f", part {letter}" if several else ""),
                rooms=tuple(r.id for r in space.rooms),
                storey=room.storey,
                flat=room.flat,
                outline=moved_back(floor.outline, space.origin),
                floor=moved_back(floor.shape, space.origin),
                gap_mm=space.rules.gap.wall,
            )
        )
    return tuple(bays)


def _reading_key(part: Polygon) -> tuple[int, int]:
    x0, y0, x1, y1 = part.bounds
    return round((x0 + x1) / 2), -round((y0 + y1) / 2)


def _letter(n: int) -> str:
    """a, b, ... z, aa, ab, ..."""
    head, tail = divmod(n, len(ascii_lowercase))
    return (_letter(head - 1) if head else "") + ascii_lowercase[tail]


# --- joints -------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class _Side:
    """One side of a doorway: the bays that reach it, or why there is none."""

    bays: tuple[BayId, ...] = ()
    because: str = "nothing was read beyond"


def _thresholds(
    plan: Plan, rules: RuleSet, bays: Sequence[Bay], unlaid: Mapping[RoomId, str]
) -> tuple[MovementJoint, ...]:
    """A joint in every doorway that a floor reaches, in plan order."""
    by_room: dict[RoomId, list[Bay]] = {}
    for bay in bays:
        for room in bay.rooms:
            by_room.setdefault(room, []).append(bay)
    joints = []
    for doorway in plan.doorways:
        line = joint_line(doorway, rules.doorways.leaf_cover)
        sides = [_side(plan, room, by_room, unlaid, line) for room in doorway.rooms]
        reached = tuple(dict.fromkeys(b for side in sides for b in side.bays))
        if reached:
            joints.append(
                MovementJoint(
                    id=f"J-{doorway.id}",
                    kind=JointKind.THRESHOLD,
                    line=line,
                    why=_why(doorway, rules, sides),
                    bays=reached,
                    doorway=doorway.id,
                )
            )
    return tuple(joints)


def _side(
    plan: Plan,
    room: RoomId | None,
    by_room: Mapping[RoomId, Sequence[Bay]],
    unlaid: Mapping[RoomId, str],
    line: tuple[Point, Point],
) -> _Side:
    if room is None:
        return _Side()
    if room in by_room:
        own = by_room[room]
        return _Side(bays=(min(own, key=lambda b: b.outline.distance(LineString(line))).id,))
    reason = unlaid.get(room, "not read").rstrip(".")
    name = next((called(r) for r in plan.rooms if r.id == room), str(room))
    return _Side(because=f"{name} is not laid ({reason})")


def _why(doorway: Doorway, rules: RuleSet, sides: Sequence[_Side]) -> str:
    if doorway.flat_entrance:
        return "The flat's floor ends under its entrance door."
    for side in sides:
        if not side.bays:
            return f"The floor ends here: {side.because}."
    if rules.doorways.default == "break" or doorway.kind.value in rules.doorways.break_at:
        return "Doorways like this break the floor by rule."
    return "Each room is laid as a floor of its own, parted under the door."


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
                    id=f"J-{space.base_id}.{len(joints) + 1}",
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
