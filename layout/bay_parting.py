"""Joined rooms parted again where no row grid suits them all.

One row grid through all rooms of a flat keeps the rows running on through the doorways, but the walls
of a flat seldom suit one grid: what fits the living room leaves a strip of a few millimetres in the
bedroom. A joint under a door is the lesser harm (common practice, no source). One doorway is parted at a
time, or all those of one room where rooms meet in a ring; each time what saves most strips a joint, until
nothing saves any.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

from importer.plan import Doorway, DoorwayId, Plan, Point, RoomId
from layout.bay_edges import thin_strips
from layout.bay_error import LayoutError
from layout.bay_joins import called
from layout.bays import BayPlan, form_bays
from layout.floor import Bay, SettingOut
from layout.rules import RuleSet
from layout.setting_out import set_out

MOST_PARTED: Final = 6
"""Joints that are put into one floor for the sake of its strips."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Floor:
    """The rooms of one joined floor as a plan of its own, the doorways it runs through, and the
    direction of its rows in each room.
    """

    plan: Plan
    through: frozenset[DoorwayId]
    along: Mapping[RoomId, Point]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Parting:
    """Doorways parted in one floor and why; `strips` are left below the least width in its parts."""

    why: Mapping[DoorwayId, str]
    strips: int


def form_floors(plan: Plan, rules: RuleSet) -> BayPlan:
    """The bays of a plan, joined rooms parted under doors where that saves strips below the least row
    width; every part keeps the direction of the floor that it was part of.
    """
    formed = form_bays(plan, rules)
    if rules.doorways.misfit == "through":
        return formed
    why: dict[DoorwayId, str] = {}
    along: dict[RoomId, Point] = {}
    for bays in _floors(formed.bays):
        outs = [_setting_out(bay, plan, rules) for bay in bays]
        floor = _Floor(
            plan=_own_plan(bays, plan),
            through=frozenset(d for bay in bays for d in bay.through),
            along={r: o.frame.along for b, o in zip(bays, outs, strict=True) if o for r in b.rooms},
        )
        strips = sum(thin_strips(out, rules) for out in outs if out is not None)
        parted = _parted(floor, strips, rules) if floor.through and None not in outs else {}
        why.update(parted)
        if parted:
            along.update(floor.along)
    if not why:
        return formed
    parts = form_bays(plan, rules, parted=why)
    return replace(parts, bays=tuple(_in_direction(b, along) for b in parts.bays))


def _floors(bays: Sequence[Bay]) -> list[list[Bay]]:
    """Bays that share a room, cut at the run limit, belong to one floor; in the order of the bays."""
    floors: list[list[Bay]] = []
    for bay in bays:
        own = set(bay.rooms)
        touched = [f for f in floors if any(not own.isdisjoint(b.rooms) for b in f)]
        for floor in touched[1:]:
            floors.remove(floor)
            touched[0].extend(floor)
        (touched[0] if touched else _begun(floors)).append(bay)
    return floors


def _begun(floors: list[list[Bay]]) -> list[Bay]:
    floors.append([])
    return floors[-1]


def _parted(floor: _Floor, strips: int, rules: RuleSet) -> Mapping[DoorwayId, str]:
    """The doorways of one floor to part and why: the best step at a time, while it saves strips."""
    best = _Parting(why={}, strips=strips)
    while best.strips and len(best.why) < MOST_PARTED:
        better = [p for p in _tries(floor, best, rules) if p.strips < best.strips]
        if not better:
            break
        worth = [(best.strips - p.strips) / (len(p.why) - len(best.why)) for p in better]
        best = better[worth.index(max(worth))]
    return best.why


def _tries(floor: _Floor, so_far: _Parting, rules: RuleSet) -> Iterator[_Parting]:
    """The floor with a step more of its doorways parted, each step in turn."""
    for doorways in _steps(floor, so_far):
        why = {**so_far.why, **{d.id: _reason(d, floor.plan) for d in doorways}}
        bays = form_bays(floor.plan, rules, parted=why).bays
        strips = _strips([_in_direction(b, floor.along) for b in bays], floor.plan, rules)
        if strips is not None:
            yield _Parting(why=why, strips=strips)


def _steps(floor: _Floor, so_far: _Parting) -> Iterator[tuple[Doorway, ...]]:
    """One doorway that the floor still runs through; or all of those of a room."""
    still = [d for d in floor.plan.doorways if d.id in floor.through and d.id not in so_far.why]
    yield from ((d,) for d in still)
    for room in floor.plan.rooms:
        around = tuple(d for d in still if room.id in d.rooms)
        if len(around) > 1 and len(so_far.why) + len(around) <= MOST_PARTED:
            yield around


def _reason(doorway: Doorway, own: Plan) -> str:
    pair = " and ".join(called(r) for r in own.rooms if r.id in doorway.rooms)
    return f"No width of the first row suits both {pair} without a strip below the least width."


def _strips(bays: Sequence[Bay], plan: Plan, rules: RuleSet) -> int | None:
    """Strips below the least width in all of the bays; None where one cannot be set out."""
    total = 0
    for bay in bays:
        out = _setting_out(bay, plan, rules)
        if out is None:
            return None
        total += thin_strips(out, rules)
    return total


def _setting_out(bay: Bay, plan: Plan, rules: RuleSet) -> SettingOut | None:
    try:
        ways = set_out(bay, plan, rules)
    except LayoutError:
        return None
    return min(ways, key=lambda out: thin_strips(out, rules))


def _own_plan(bays: Sequence[Bay], plan: Plan) -> Plan:
    """The part of the plan that the floor of some bays depends on."""
    own = {room for bay in bays for room in bay.rooms}
    doorways = tuple(d for d in plan.doorways if not own.isdisjoint(d.rooms))
    beyond = own.union(r for d in doorways for r in d.rooms if r is not None)
    return replace(
        plan,
        rooms=tuple(r for r in plan.rooms if r.id in own),
        doorways=doorways,
        obstacles=tuple(o for o in plan.obstacles if o.room is None or o.room in beyond),
        findings=(),
    )


def _in_direction(bay: Bay, along: Mapping[RoomId, Point]) -> Bay:
    way = along.get(bay.rooms[0])
    return bay if way is None or bay.along is not None else replace(bay, along=way)
