"""Doorways: every door, and every gap that reaches the floor, with the rooms on its two sides.

The opening tells where; how deep the doorway is tell the rooms, because bodies of openings stick out of
their walls. Space boundaries are not needed: geometry finds the same pairs of rooms without them.

          room beyond (+v)
      ____|  .......... |____      faces of the rooms bound the doorway
     wall |  : probe  : | wall     probe: the middle 70 % of the width, from the
      ____|  :........: |____      middle of the opening outwards
          room behind (-v)
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon, STRtree

from importer.ifc.draft import DoorwayDraft, RoomDraft
from importer.ifc.grouping import Case, Kind, grouped
from importer.ifc.model import Entity, IfcModel, told
from importer.ifc.section_bodies import Bodies, Role
from importer.ifc.section_cut import cut_at
from importer.ifc.section_doors import LEAF_MM, operation_of
from importer.ifc.section_openings import Gap, Opening, clipped
from importer.plan import DoorwayKind, Finding, Severity

STANDS_MM: Final = 500.0
"""A doorway belongs to the rooms that are there at this height above its sill."""
PROBED: Final = 0.7
"""Part of the width that is looked through: jambs may be drawn into the next room."""
REACH_MM: Final = 700.0
"""How far from the middle of the opening a room is looked for; at least `BEYOND_MM` past its body."""
BEYOND_MM: Final = 300.0
AS_NEAR_MM: Final = 100.0
"""Rooms no further off than this more than the nearest are as near; the larger part decides."""
LEAST_SEEN_MM2: Final = 1000.0
SILL_MM: Final = 60.0
"""A gap without a door is a passage when its sill is no higher above the floor than this."""
PASSAGE_MM: Final = 1800.0
"""It has to be as high as this, too: a hatch is none."""
ZERO_DEPTH_MM: Final = 1.0
"""Half the depth that a passage between touching rooms is given, so that it has an area."""
USUAL_WALL_MM: Final = 200.0

_LEADS_NOWHERE: Final = Kind(
    code="IMP-450",
    severity=Severity.NOTE,
    one="A door leads to no room that was found: {it}.",
    many="{n} doors lead to no room that was found: {it}.",
    remedy="Nothing to do where no floor is laid on either side.",
)
_INSIDE_ONE: Final = Kind(
    code="IMP-451",
    severity=Severity.NOTE,
    one="A door stands inside one room; no doorway was made of it: {it}.",
    many="{n} doors stand inside one room; no doorways were made of them: {it}.",
    remedy="If they part rooms, have the spaces parted in the model.",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Doorways:
    """Doorways, in the order of the file, and what was noticed."""

    doorways: tuple[DoorwayDraft, ...]
    findings: tuple[Finding, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Side:
    """The room on one side of an opening and where its face begins, mm from the frame's origin line."""

    room: int
    face: float


@dataclass(frozen=True, slots=True, kw_only=True)
class _Rooms:
    """Rooms to look for."""

    drafts: Sequence[RoomDraft]
    shapes: NDArray[np.object_]
    tree: STRtree


def find_doorways(
    model: IfcModel, rooms: Sequence[RoomDraft], openings: Sequence[Opening], bodies: Bodies
) -> Doorways:
    """The doorways that openings and doors make between rooms.

    Args:
        model: for findings.
        rooms: all rooms of the model; storeys are told apart by height.
        openings: everything in walls (`find_openings`).
        bodies: the walls, for the depth of doorways that lead outside.
    """
    if not rooms:
        return Doorways(doorways=(), findings=())
    shapes = np.array([r.shape for r in rooms], dtype=object)
    known = _Rooms(drafts=rooms, shapes=shapes, tree=STRtree(shapes))
    found: list[tuple[DoorwayDraft, Opening]] = []
    nowhere: list[Case] = []
    inside: list[Case] = []
    for each in openings:
        if not _may_be_doorway(each):
            continue
        opening, plus, minus = _looked_through(each, known)
        door = opening.filling
        if door is None and not _is_passage(opening.gap, (plus, minus), rooms):
            continue
        if plus is None and minus is None:
            nowhere += [] if door is None else [Case(door, told(door))]
        elif plus is not None and minus is not None and plus.room == minus.room:
            title = rooms[plus.room].title
            inside += [] if door is None else [Case(door, f"{told(door)} in {title}")]
        else:
            if plus is None or minus is None:
                opening = _in_its_wall(opening, bodies)
            found.append((_doorway(opening, plus, minus), opening))
    findings = (*grouped(model, _LEADS_NOWHERE, nowhere), *grouped(model, _INSIDE_ONE, inside))
    return Doorways(doorways=tuple(_each_once(found)), findings=findings)


def _may_be_doorway(opening: Opening) -> bool:
    """A door, or a gap with nothing in it; no window and no hatch in the floor."""
    filling = opening.filling
    if filling is None:
        return True
    return filling.is_a("IfcDoor") and getattr(filling, "PredefinedType", None) != "TRAPDOOR"


def _looked_through(opening: Opening, known: _Rooms) -> tuple[Opening, _Side | None, _Side | None]:
    """The rooms on the two sides. Where nothing tells which way a hole runs, its wall being a plain body
    placed at the origin, it is looked through both ways.
    """
    plus, minus = (_side(opening.gap, sign, known) for sign in (1, -1))
    if opening.filling is not None or (plus is not None and minus is not None):
        return opening, plus, minus
    turned = replace(opening, gap=_turned(opening.gap))
    across = [_side(turned.gap, sign, known) for sign in (1, -1)]
    if all(side is not None for side in across) and across[0].room != across[1].room:  # type: ignore[union-attr]
        return turned, across[0], across[1]
    return opening, plus, minus


def _turned(gap: Gap) -> Gap:
    """The same rectangle with its sides the other way."""
    ux, uy = gap.along
    return replace(gap, along=(-uy, ux), u0=gap.v0, u1=gap.v1, v0=-gap.u1, v1=-gap.u0)


def _in_its_wall(opening: Opening, bodies: Bodies) -> Opening:
    """The opening no deeper than its wall."""
    if opening.host is None:
        return opening
    height = opening.gap.low + STANDS_MM
    cuts = [
        cut_at(b.mesh, height)
        for b in bodies.of(Role.WALL)
        if b.whole == opening.host and b.low < height < b.high
    ]
    return clipped(opening, {opening.host: shapely.union_all(cuts)}) if cuts else opening


# --- what lies on a side --------------------------------------------------------------------------


def _side(gap: Gap, sign: int, known: _Rooms) -> _Side | None:
    """The room on the +v (sign 1) or -v (sign -1) side of a gap."""
    middle = (gap.v0 + gap.v1) / 2
    reach = max(REACH_MM, (gap.v1 - gap.v0) / 2 + BEYOND_MM)
    inset = (1 - PROBED) / 2 * gap.width
    far = middle + sign * reach
    probe = gap.box(gap.u0 + inset, min(middle, far), gap.u1 - inset, max(middle, far))
    height = gap.low + STANDS_MM
    near = [
        k
        for k in np.sort(known.tree.query(probe, predicate="intersects")).tolist()
        if known.drafts[k].low <= height <= known.drafts[k].high
    ]
    if not near:
        return None
    seen = shapely.intersection(known.shapes[near], probe)
    sides = []
    for k, part in zip(near, seen.tolist(), strict=True):
        if part.area < LEAST_SEEN_MM2:
            continue
        across = sign * (_across(gap, shapely.get_coordinates(part)) - middle)
        sides.append((float(across.min()), part.area, k))
    if not sides:
        return None
    nearest = min(s[0] for s in sides)
    off, _, room = max(
        (s for s in sides if s[0] <= nearest + AS_NEAR_MM), key=lambda s: (s[1], -s[2])
    )
    return _Side(room=room, face=middle + sign * max(off, 0.0))


def _across(gap: Gap, points: NDArray[np.float64]) -> NDArray[np.float64]:
    """V of points of the plan in the frame of a gap."""
    ux, uy = gap.along
    v: NDArray[np.float64] = (points - np.array(gap.origin)) @ np.array([-uy, ux])
    return v


def _is_passage(
    gap: Gap, sides: tuple[_Side | None, _Side | None], rooms: Sequence[RoomDraft]
) -> bool:
    """Whether one can walk through a gap without a door."""
    floors = [rooms[s.room].low for s in sides if s is not None]
    at_floor = any(gap.low <= floor + SILL_MM for floor in floors)
    return at_floor and gap.high - max(gap.low, *floors) >= PASSAGE_MM


# --- the doorway ----------------------------------------------------------------------------------


def _doorway(opening: Opening, plus: _Side | None, minus: _Side | None) -> DoorwayDraft:
    gap, door = opening.gap, opening.filling
    operation = "" if door is None else operation_of(door)
    low, high = _faces(opening, plus, minus)
    thickness = high - low
    leaf = _leaf_v(door, operation, low, high)
    rooms = [s.room for s in (minus, plus) if s is not None]
    swings = _swings_into(operation, plus)
    return DoorwayDraft(
        rooms=(rooms[0], rooms[1] if len(rooms) == 2 else None),
        shape=gap.box(gap.u0, low, gap.u1, high),
        leaf_line=(gap.at(gap.u0, leaf), gap.at(gap.u1, leaf)),
        width_mm=gap.width,
        thickness_mm=0.0 if thickness <= 2 * ZERO_DEPTH_MM else thickness,
        kind=kind_of(operation, has_door=door is not None),
        swings_into=swings,
        entity=door if door is not None else opening.entity,
    )


def _faces(opening: Opening, plus: _Side | None, minus: _Side | None) -> tuple[float, float]:
    """The two faces of the wall, v: where the rooms begin; outside, where the wall ends, or a usual wall
    would where no wall is known.
    """
    gap = opening.gap
    if plus is None or minus is None:
        depth = gap.v1 - gap.v0
        if opening.host is None:
            depth = min(depth, USUAL_WALL_MM)
        low = minus.face if minus is not None else gap.v0
        high = plus.face if plus is not None else gap.v1
        if high - low < depth / 2:  # the body of the opening does not reach out
            low, high = (low, low + depth) if plus is None else (high - depth, high)
    else:
        low, high = minus.face, plus.face
    if high - low < 2 * ZERO_DEPTH_MM:
        middle = (low + high) / 2
        return middle - ZERO_DEPTH_MM, middle + ZERO_DEPTH_MM
    return low, high


def _leaf_v(door: Entity | None, operation: str, low: float, high: float) -> float:
    """The middle of the closed leaf across the wall: leaves that swing one way are flush with the face
    that they open to; others stand in the middle of the wall.
    """
    middle = (low + high) / 2
    one_way = operation.startswith("SINGLE_SWING") or operation == "DOUBLE_DOOR_SINGLE_SWING"
    return max(middle, high - LEAF_MM / 2) if door is not None and one_way else middle


def kind_of(operation: str, *, has_door: bool) -> DoorwayKind:
    """What hangs in a doorway by how the door is said to open."""
    if not has_door:
        return DoorwayKind.OPENING
    if "SLIDING" in operation:
        return DoorwayKind.SLIDING
    if "FOLDING" in operation:
        return DoorwayKind.FOLDING
    if operation.startswith("DOUBLE_DOOR"):
        return DoorwayKind.DOUBLE
    return DoorwayKind.HINGED


def _swings_into(operation: str, plus: _Side | None) -> int | None:
    """The room a leaf swings into: a door opens towards +y of its placement (IFC, IfcDoor)."""
    one_way = operation in {
        "SINGLE_SWING_LEFT",
        "SINGLE_SWING_RIGHT",
        "DOUBLE_DOOR_SINGLE_SWING",
    }
    return plus.room if one_way and plus is not None else None


def _each_once(found: Sequence[tuple[DoorwayDraft, Opening]]) -> list[DoorwayDraft]:
    """One doorway for each gap: a door that fills no opening and the opening it stands in are one."""
    kept: list[DoorwayDraft] = []
    doors_first = sorted(
        range(len(found)), key=lambda k: (found[k][1].filling is None, found[k][1].host is None, k)
    )
    order: list[int] = []
    shapes: list[Polygon] = []
    for k in doors_first:
        draft, opening = found[k]
        pair = frozenset(draft.rooms)
        same = next(
            (
                n
                for n, other in enumerate(kept)
                if frozenset(other.rooms) == pair
                and shapes[n].intersection(draft.shape).area
                > 0.3 * min(shapes[n].area, draft.shape.area)
            ),
            None,
        )
        if same is None:
            kept.append(draft)
            shapes.append(draft.shape)
            order.append(k)
        elif opening.host is not None and found[order[same]][1].host is None:
            # The hole in the wall is what the floor runs through; the door tells what hangs in it.
            kept[same] = replace(
                kept[same],
                shape=draft.shape,
                width_mm=draft.width_mm,
                leaf_line=draft.leaf_line,
                thickness_mm=draft.thickness_mm,
            )
    return [kept[n] for n in sorted(range(len(kept)), key=lambda n: order[n])]
