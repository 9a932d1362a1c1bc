"""Joined rooms parted again where no row grid suits them all.

One row grid through all rooms of a flat keeps the rows running on through the doorways, but the walls
of a flat seldom suit one grid: what fits the living room leaves a strip of a few millimetres in the
bedroom. A joint under a door is the lesser harm (common practice, no source). One doorway is parted at a
time, or all those of one room where rooms meet in a ring; each time what saves most strips for a joint,
until nothing saves any.

What a step would save is reckoned from the edges of the whole floor, shared out to its rooms; the floor
is formed and set out anew only for the steps that are taken, and they stand only if that bears them out.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import shapely

from importer.plan import Doorway, DoorwayId, Plan, Point, RoomId
from importer.tolerance import LENGTH_MM
from layout.bay_edges import site_slack, thin_strips
from layout.bay_error import LayoutError
from layout.bay_joins import called
from layout.bays import BayPlan, form_bays
from layout.floor import Bay, SettingOut
from layout.row_grid import GridEdge, best_grid, strip_width
from layout.rules import RuleSet
from layout.setting_out import edges_in, set_out

MOST_PARTED: Final = 6
"""Joints that are put into one floor for the sake of its strips."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Part:
    """The edges of one bay that run with its rows, each with the room that it lies in."""

    edges: tuple[GridEdge, ...]
    rooms: tuple[RoomId, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Floor:
    """The rooms of one joined floor as a plan of its own, the doorways it runs through, the direction
    of its rows in each room, its bays' edges, and how many strips are below the least width.
    """

    plan: Plan
    through: frozenset[DoorwayId]
    along: Mapping[RoomId, Point]
    parts: tuple[_Part, ...]
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
        floor = _seen(bays, plan, rules) if any(b.through for b in bays) else None
        parted = _parted(floor, rules) if floor else ()
        if floor and parted:
            why.update((d.id, _reason(d, floor.plan)) for d in parted)
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
        if touched:
            touched[0].append(bay)
        else:
            floors.append([bay])
    return floors


def _seen(bays: Sequence[Bay], plan: Plan, rules: RuleSet) -> _Floor | None:
    """The floor of some bays; None where one of them cannot be set out."""
    outs = [_setting_out(bay, plan, rules) for bay in bays]
    known = [(bay, out) for bay, out in zip(bays, outs, strict=True) if out is not None]
    if len(known) < len(bays):
        return None
    return _Floor(
        plan=_own_plan(bays, plan),
        through=frozenset(d for bay in bays for d in bay.through),
        along={room: out.frame.along for bay, out in known for room in bay.rooms},
        parts=tuple(_part(bay, out, plan, rules) for bay, out in known),
        strips=sum(thin_strips(out, rules) for _, out in known),
    )


def _part(bay: Bay, out: SettingOut, plan: Plan, rules: RuleSet) -> _Part:
    edges = edges_in(bay, plan, out.frame, rules)
    rooms = [r for r in plan.rooms if r.id in bay.rooms]
    middles = [out.frame.point_to_plan(((e.x0 + e.x1) / 2, (e.low + e.high) / 2)) for e in edges]
    shapes = np.array([r.shape for r in rooms], dtype=object)
    apart = shapely.distance(shapely.points(middles).reshape(-1, 1), shapes)
    return _Part(edges=edges, rooms=tuple(rooms[int(i)].id for i in apart.argmin(axis=1)))


# --- which doorways -----------------------------------------------------------------------------


def _parted(floor: _Floor, rules: RuleSet) -> tuple[Doorway, ...]:
    """The doorways of one floor to part."""
    steps: list[tuple[Doorway, ...]] = [()]
    strips = _reckoned(floor, (), rules)
    while strips and len(steps[-1]) < MOST_PARTED:
        tried = [(s, _reckoned(floor, s, rules)) for s in _steps(floor, steps[-1])]
        worth = [(strips - left) / (len(s) - len(steps[-1])) for s, left in tried]
        if not tried or max(worth) <= 0:
            break
        step, strips = tried[worth.index(max(worth))]
        steps.append(step)
    # A joint must save a strip or more: with equal sums the strip is the greater harm.
    borne_out = [(_strips(floor, step, rules), step) for step in steps[1:]]
    sums = [(left + len(step), left, step) for left, step in borne_out if left is not None]
    best = min(sums, key=lambda s: s[:2], default=(floor.strips + 1, 0, ()))
    return best[2] if best[0] <= floor.strips else ()


def _steps(floor: _Floor, so_far: tuple[Doorway, ...]) -> Iterator[tuple[Doorway, ...]]:
    """One doorway more that the floor still runs through; or all of those of a room."""
    gone = {d.id for d in so_far}
    still = [d for d in floor.plan.doorways if d.id in floor.through and d.id not in gone]
    yield from ((*so_far, d) for d in still)
    for room in floor.plan.rooms:
        around = tuple(d for d in still if room.id in d.rooms)
        if len(around) > 1 and len(so_far) + len(around) <= MOST_PARTED:
            yield (*so_far, *around)


def _reckoned(floor: _Floor, parted: Sequence[Doorway], rules: RuleSet) -> int:
    """Thin strips of the floor with these doorways parted, each part with the best row grid for its
    own edges.
    """
    group = _groups(floor, parted)
    total = 0
    for part in floor.parts:
        for number in sorted({group[r] for r in part.rooms}):
            edges = [e for e, r in zip(part.edges, part.rooms, strict=True) if group[r] == number]
            total += _thin(edges, rules)
    return total


def _thin(edges: Sequence[GridEdge], rules: RuleSet) -> int:
    """Strips below the least width that the best row grid leaves at these edges."""
    grid = best_grid(
        edges,
        width=rules.plank.width,
        slack=site_slack(rules),
        extent=(min(e.low for e in edges), max(e.high for e in edges)),
    )
    widths = (strip_width(e, grid.phase_mm, rules.plank.width) for e in edges)
    return sum(w < e.least_mm - LENGTH_MM for w, e in zip(widths, edges, strict=True))


def _groups(floor: _Floor, parted: Sequence[Doorway]) -> dict[RoomId, int]:
    """For each room the number of the part that it belongs to once these doorways are parted."""
    gone = {d.id for d in parted}
    group = {room.id: n for n, room in enumerate(floor.plan.rooms)}
    for doorway in floor.plan.doorways:
        a, b = doorway.rooms
        if doorway.id in gone or doorway.id not in floor.through or b is None:
            continue
        old, new = group[b], group[a]
        group = {r: new if n == old else n for r, n in group.items()}
    return group


# --- borne out ----------------------------------------------------------------------------------


def _strips(floor: _Floor, parted: Sequence[Doorway], rules: RuleSet) -> int | None:
    """Thin strips once the floor is formed anew with these doorways parted; None where a part cannot be
    set out.
    """
    why = {d.id: _reason(d, floor.plan) for d in parted}
    bays = form_bays(floor.plan, rules, parted=why).bays
    outs = [_setting_out(_in_direction(b, floor.along), floor.plan, rules) for b in bays]
    known = [out for out in outs if out is not None]
    return sum(thin_strips(out, rules) for out in known) if len(known) == len(outs) else None


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


def _reason(doorway: Doorway, own: Plan) -> str:
    pair = " and ".join(called(r) for r in own.rooms if r.id in doorway.rooms)
    return f"No width of the first row suits both {pair} without a strip below the least width."
