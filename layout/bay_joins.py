"""Which rooms make one floor: at every doorway the floor runs on or is broken, by rule, and why.

A flat's entrance, a change of finish, another flat and a room that is not laid always break it. Then a
doorway that the rule set names, by its id or by the two rooms; then the kind of doorway; then the
default.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fnmatch import fnmatchcase
from types import MappingProxyType

from importer.plan import Doorway, DoorwayId, Plan, Room, RoomId
from layout.bay_doorways import joint_line, tongue_into
from layout.bay_near import moved, moved_doorway, near_origin
from layout.rules import ROOM_TO_ROOM, RoomRule, RuleSet


@dataclass(frozen=True, slots=True, kw_only=True)
class Joins:
    """The rooms that hang together, group by group in plan order; the doorways that the floor runs on
    through; and for each other doorway of a laid room why it does not, as a sentence.
    """

    groups: tuple[tuple[Room, ...], ...]
    through: frozenset[DoorwayId]
    why_broken: Mapping[DoorwayId, str]


def called(room: Room) -> str:
    """Number and name, as far as the drawing gives them, else the id."""
    return " ".join(part for part in (room.number, room.name) if part) or str(room.id)


def rule_of(room: Room, rules: RuleSet) -> RoomRule | None:
    """The first rule that names the room; patterns are matched against name and number."""
    return next((rule for rule in rules.rooms if is_named(room, rule.match)), None)


def is_named(room: Room, match: str) -> bool:
    """Whether patterns with | between them name the room, by its name or number, in any case. A room
    that has neither is named by its id, written out: that is what outputs call it.
    """
    called = (room.name, room.number, *room.also_called)
    names = [n.strip().casefold() for n in called if n]
    patterns = [p.strip().casefold() for p in match.split("|")]
    if not names:
        return room.id.casefold() in patterns
    return any(fnmatchcase(name, pattern) for name in names for pattern in patterns)


def join_rooms(
    plan: Plan,
    rules: RuleSet,
    unlaid: Mapping[RoomId, str],
    parted: Mapping[DoorwayId, str] = MappingProxyType({}),
) -> Joins:
    """Group the laid rooms. `unlaid` says of the others why they are not laid, `parted` of doorways
    that would let the floor through why they do not.
    """
    rooms = {r.id: r for r in plan.rooms}
    through: set[DoorwayId] = set()
    why: dict[DoorwayId, str] = {}
    links: list[tuple[RoomId, RoomId]] = []
    for doorway in plan.doorways:
        a, b = doorway.rooms
        reason = _why_broken(doorway, rooms, rules, unlaid) or parted.get(doorway.id, "")
        if reason:
            why[doorway.id] = reason
        elif b is not None:
            through.add(doorway.id)
            links.append((a, b))
    laid = [r for r in plan.rooms if r.id not in unlaid]
    return Joins(groups=_groups(laid, links), through=frozenset(through), why_broken=why)


def _why_broken(
    doorway: Doorway, rooms: Mapping[RoomId, Room], rules: RuleSet, unlaid: Mapping[RoomId, str]
) -> str:
    """Why the floor is broken in the doorway; empty where it runs on."""
    if doorway.flat_entrance:
        return "The flat's floor ends under its entrance door."
    for side in doorway.rooms:
        if side is None or side not in rooms:
            return "The floor ends here: nothing was read beyond."
        if side in unlaid:
            reason = unlaid[side].rstrip(".")
            return f"The floor ends here: {called(rooms[side])} is not laid ({reason})."
    pair = tuple(rooms[side] for side in doorway.rooms if side is not None)
    return (
        _two_floors(pair, rules)
        or _by_rule(doorway, pair, rules)
        or ("" if _meets(doorway, pair) else _STANDS_OFF)
    )


_STANDS_OFF = "The doorway stands off the walls of its rooms, so that no floor joins them."


def _two_floors(pair: Sequence[Room], rules: RuleSet) -> str:
    """What makes two rooms two floors whatever their doorway."""
    first, second = pair
    if first.flat != second.flat and first.flat is not None and second.flat is not None:
        return "Two flats meet here, each with a floor of its own."
    finishes = [rule.finish if (rule := rule_of(r, rules)) else "" for r in pair]
    if finishes[0].casefold() != finishes[1].casefold():
        named = [f or "the floor of the rule set" for f in finishes]
        return f"The finish changes here, from {named[0]} to {named[1]}."
    return ""


def _by_rule(doorway: Doorway, pair: Sequence[Room], rules: RuleSet) -> str:
    """What the rule set says of the doorway: empty where the floor runs on."""
    words = rules.doorways
    if any(_is_listed(entry, doorway, pair) for entry in words.break_doors):
        return "The rule set lists this doorway as one that breaks the floor."
    if any(_is_listed(entry, doorway, pair) for entry in words.through_doors):
        return ""
    if words.default == "break" or doorway.kind.value in words.break_at:
        return "Doorways like this break the floor by rule."
    return ""


def _is_listed(entry: str, doorway: Doorway, pair: Sequence[Room]) -> bool:
    """Whether an entry such as `D7` or `hall -> bath*` names the doorway."""
    if ROOM_TO_ROOM not in entry:
        return entry.strip().casefold() == str(doorway.id).casefold()
    one, other = (part.strip() for part in entry.split(ROOM_TO_ROOM, 1))
    a, b = pair
    return (is_named(a, one) and is_named(b, other)) or (is_named(b, one) and is_named(a, other))


def _meets(doorway: Doorway, pair: Sequence[Room]) -> bool:
    """Whether floor can run from both rooms to the joint line."""
    origin = near_origin([r.shape for r in pair])
    near = moved_doorway(doorway, origin)
    line = joint_line(near, "centre")
    return all(tongue_into(near, moved(r.shape, origin), line) is not None for r in pair)


def _groups(
    rooms: Sequence[Room], links: Sequence[tuple[RoomId, RoomId]]
) -> tuple[tuple[Room, ...], ...]:
    """Rooms that hang together by links, each group and the groups in the order of `rooms`."""
    head = {r.id: r.id for r in rooms}

    def find(room: RoomId) -> RoomId:
        while head[room] != room:
            head[room] = room = head[head[room]]
        return room

    for a, b in links:
        head[find(a)] = find(b)
    groups: dict[RoomId, list[Room]] = {}
    for room in rooms:
        groups.setdefault(find(room.id), []).append(room)
    return tuple(tuple(g) for g in groups.values())
