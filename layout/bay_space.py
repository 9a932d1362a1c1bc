"""The space of a bay: rooms, plus the floor inside their doorways, less the obstacles; and the floors
that lie in it once it is cut at the limits and set back from the walls.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

import shapely
from shapely import Polygon
from shapely.geometry.base import BaseGeometry

from importer.plan import Doorway, DoorwayId, Finding, Origin, Plan, Point, Room, Severity
from importer.tolerance import AREA_MM2, GRID_MM, SLIVER_WIDTH_MM, WALL_SNAP_MM, area_slack
from layout.bay_cells import LimitCut, Lot, Share, Side, is_within, share_out
from layout.bay_doorways import joint_line, tongue_into
from layout.bay_error import not_laid
from layout.bay_inset import MITRE_LIMIT, inset
from layout.bay_joins import called
from layout.bay_near import moved, moved_doorway, near_origin
from layout.bay_slots import without_slots
from layout.directions import directions_for
from layout.rules import RuleSet

MOST_NAMED: Final = 3
"""Rooms of a bay that are named before the rest are counted."""
SLIT_MM: Final = 0.02
"""Breadth of a joint between two rooms of one bay in its outline: there, yet nothing on any scale."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Space:
    """What a bay is made from: rooms, the doorways where it ends at a joint, those that it runs on
    through, what stands in it.
    """

    plan: Plan
    rules: RuleSet
    rooms: tuple[Room, ...]
    ends: tuple[Doorway, ...]
    through: tuple[Doorway, ...]
    obstacles: tuple[Polygon, ...]

    @property
    def origin(self) -> Point:
        """The point that its geometry is moved by."""
        return near_origin([r.shape for r in self.rooms])

    @property
    def name(self) -> str:
        """What people call it."""
        return name_of(self.rooms)


def base_id(room: Room) -> str:
    """Id of a bay, from the id of its first room."""
    name = str(room.id)
    return f"B{name[1:] if name[:1] in 'Rr' else name}"


def name_of(rooms: Sequence[Room]) -> str:
    """What people call a floor: its rooms by name, of many the first."""
    names = [called(r) for r in rooms]
    more = len(names) - MOST_NAMED
    if more > 1:
        names[MOST_NAMED:] = [f"{more} more rooms"]
    return " + ".join(names)


@dataclass(frozen=True, slots=True, kw_only=True)
class Floor:
    """A floor and the outline it keeps the wall gap to, near the origin of its space, and the slots
    beside it that stay bare; its rooms and the doorways that it runs on through.
    """

    outline: Polygon
    shape: Polygon
    bare: tuple[Polygon, ...]
    rooms: tuple[Room, ...]
    through: tuple[DoorwayId, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Floors:
    """Every floor of a space; the joints that the limits put across rooms; why each doorway is broken
    that the floor would else run on through; the direction of the rows that the limits were kept for,
    where they broke the floor; what was noticed.
    """

    floors: tuple[Floor, ...]
    cuts: tuple[LimitCut, ...]
    broken: tuple[tuple[DoorwayId, str], ...]
    along: Point | None
    findings: tuple[Finding, ...]


def floors_in(space: Space) -> Floors:
    """Form the space, break it where it is longer than the limits, keep the wall gap, leave out what is
    too small for a plank (with a finding).

    Raises:
        LayoutError: nothing is left, or an outline is no outline.
    """
    findings: list[Finding] = []
    lots = _lots(space, findings)
    shapes = [s for lot in lots for s in lot.shapes]
    ways = [d.along for d in directions_for(space.rooms, space.plan, space.rules)]
    along = next((w for w in ways if is_within(shapes, w, space.rules.limits)), ways[0])
    shared = share_out(lots, along, space.rules.limits)
    floors = [f for share in shared.shares for f in _floors_of(share, space)]
    kept = [f for f in floors if _can_be_laid(f.shape, space.rules)]
    if not kept:
        what = f"{space.name} is too small for a plank once the wall gap is kept."
        raise not_laid(
            "LAY-122", what, space.rooms[0].source, "Leave it out with a rule under 'rooms:'."
        )
    dropped = [f.shape for f in floors if not _can_be_laid(f.shape, space.rules)]
    dropped += [slot for f in kept for slot in f.bare]
    findings.extend(_sliver_finding(space, p) for p in dropped if p.area > AREA_MM2)
    return Floors(
        floors=tuple(kept),
        cuts=shared.cuts,
        broken=shared.broken,
        along=along if len(shared.shares) > 1 else None,
        findings=tuple(findings),
    )


def _floors_of(share: Share, space: Space) -> Iterator[Floor]:
    """The floors in a part of the space."""
    whole: BaseGeometry = share.shapes[0]
    if len(share.shapes) > 1:
        whole = shapely.union_all(share.shapes, grid_size=GRID_MM)
        given = sum(s.area for s in share.shapes)
        _check_area(whole, given, given, space)
    outlines = [p for p in shapely.get_parts(whole) if isinstance(p, Polygon) and p.area > AREA_MM2]
    for outline in sorted(outlines, key=lambda p: -round(p.area)):
        for around, shape, bare in _set_back(outline, space):
            rooms = tuple(space.rooms[n] for n in share.lots)
            if len(rooms) > 1:
                rooms = tuple(r for r in rooms if _is_in(r, shape, space))
            ids = {r.id for r in rooms}
            through = tuple(d for d in space.through if d.id in share.through)
            yield Floor(
                outline=around,
                shape=shape,
                bare=bare,
                rooms=rooms,
                through=tuple(d.id for d in through if ids.issuperset(d.rooms)),
            )


def _is_in(room: Room, floor: Polygon, space: Space) -> bool:
    """Whether a floor lies in a room, if only in part."""
    return bool(moved(room.shape, space.origin).intersection(floor).area > AREA_MM2)


def _set_back(
    outline: Polygon, space: Space
) -> Iterator[tuple[Polygon, Polygon, tuple[Polygon, ...]]]:
    """The floors in an outline: the outline that each keeps the gap to, the floor, the slots beside it.
    The first is the share of the whole that a floor can reach: slits that the gap closes, such as
    behind a unit drawn a little off its wall, are left out like slots too thin for a plank.
    """
    gap = space.rules.gap.wall
    parts = inset(outline, gap, space.rooms[0].source)
    for part in parts:
        opened = without_slots(part, space.rules.rows.min_width)
        if len(parts) == 1 and not opened.slots:
            # A slit shows in the length of the outline, even one of no width.
            has_slits = outline.length - _grown(part, gap).length > SLIVER_WIDTH_MM
            yield (_around(outline, part, gap) if has_slits else outline), part, ()
            continue
        for n, floor in enumerate(opened.parts):
            bare = opened.slots if n == 0 else ()
            yield _around(outline, floor, gap), floor, bare


def _grown(floor: Polygon, gap: float) -> Polygon:
    grown = shapely.buffer(floor, gap, join_style="mitre", mitre_limit=MITRE_LIMIT)
    assert isinstance(grown, Polygon)
    return grown


def _around(outline: Polygon, floor: Polygon, gap: float) -> Polygon:
    """The share of an outline that a floor can reach."""
    share = shapely.intersection(_grown(floor, gap), outline, grid_size=GRID_MM)
    parts = [p for p in shapely.get_parts(share) if isinstance(p, Polygon)]
    return max(parts, key=lambda p: p.area)


def _lots(space: Space, findings: list[Finding]) -> list[Lot]:
    """Each room with its share of the doorways, less what stands in it; near the origin."""
    rooms = [_valid(moved(r.shape, space.origin), r) for r in space.rooms]
    stops = [moved(o, space.origin) for o in space.obstacles]
    tongues: list[list[Polygon]] = [[] for _ in rooms]
    sides: list[list[Side]] = [[] for _ in rooms]
    for doorway in (*space.ends, *space.through):
        near = moved_doorway(doorway, space.origin)
        line = joint_line(near, space.rules.doorways.leaf_cover)
        own = [n for n, r in enumerate(space.rooms) if r.id in doorway.rooms]
        # Where the floor is broken between two rooms of the space, a slit keeps its sides apart.
        slit = SLIT_MM / 2 if len(own) > 1 and doorway in space.ends else 0.0
        for n in own:
            tongue = tongue_into(near, rooms[n], line, slit)
            if tongue is None:
                findings.append(_stands_off(space, doorway))
                continue
            if tongue.off_mm > WALL_SNAP_MM:
                findings.append(_bridged(space, doorway, tongue.off_mm, space.rooms[n]))
            tongues[n].append(tongue.shape)
            if doorway in space.through:
                sides[n].append(Side(doorway=near, line=line))
    return [
        Lot(shapes=_less(room, own, stops, space), sides=tuple(joined))
        for room, own, joined in zip(rooms, tongues, sides, strict=True)
    ]


def _less(
    room: Polygon, tongues: list[Polygon], stops: list[Polygon], space: Space
) -> tuple[Polygon, ...]:
    """A room and its tongues less what stands in it, largest part first. Edges that nearly coincide,
    as of a unit against its wall, can make an overlay lose floor without a word unless it is done on a
    grid; so it is, and the areas are compared.
    """
    whole: BaseGeometry = room
    if tongues:
        whole = shapely.union_all([room, *tongues], grid_size=GRID_MM)
    if stops:
        taken = shapely.union_all(stops, grid_size=GRID_MM)
        whole = shapely.difference(whole, taken, grid_size=GRID_MM)
    least = room.area - sum(s.area for s in stops)
    _check_area(whole, least, room.area + sum(t.area for t in tongues), space)
    parts = [p for p in shapely.get_parts(whole) if isinstance(p, Polygon) and p.area > AREA_MM2]
    return tuple(sorted(parts, key=lambda p: -round(p.area)))


def _check_area(whole: BaseGeometry, least: float, most: float, space: Space) -> None:
    """Refuse an overlay that lost floor or made some up."""
    if not least - area_slack(least) <= whole.area <= most + area_slack(most):
        what = f"The floor of {space.name} could not be put together from its outlines."
        remedy = "Redraw the room, its doorways and obstacles more simply."
        raise not_laid("LAY-121", what, space.rooms[0].source, remedy)


def _valid(shape: Polygon, room: Room) -> Polygon:
    if shape.is_valid and shape.area > AREA_MM2:
        return shape
    what = f"The outline of {called(room)} is not a simple closed line."
    raise not_laid("LAY-121", what, room.source, "Redraw it without crossings.")


def _can_be_laid(part: Polygon, rules: RuleSet) -> bool:
    """Whether a floor part is wide enough for the least row, and larger than the least end piece."""
    roomy = part.area >= rules.rows.min_width * max(rules.never_below_mm, rules.rows.min_width)
    return roomy and not part.buffer(-rules.rows.min_width / 2 + SLIVER_WIDTH_MM).is_empty


# --- findings -----------------------------------------------------------------------------------


def _at(space: Space, doorway: Doorway) -> Origin:
    return doorway.source if str(doorway.source) else space.rooms[0].source


def _stands_off(space: Space, doorway: Doorway) -> Finding:
    return Finding(
        code="LAY-124",
        severity=Severity.SETTLE,
        what=f"Doorway {doorway.id} stands off the walls of {space.name}; the floor ends at the wall.",
        where=_at(space, doorway),
        remedy="Draw the doorway between the two wall faces.",
    )


def _bridged(space: Space, doorway: Doorway, off: float, room: Room) -> Finding:
    return Finding(
        code="LAY-125",
        severity=Severity.NOTE,
        what=f"Doorway {doorway.id} is drawn {off:.0f} mm off {called(room)}; the floor runs on to it.",
        where=_at(space, doorway),
        remedy="Nothing to do if there is no step in the wall there.",
    )


def _sliver_finding(space: Space, part: Polygon) -> Finding:
    inside = part.representative_point()
    x, y = inside.x + space.origin[0], inside.y + space.origin[1]
    return Finding(
        code="LAY-126",
        severity=Severity.NOTE,
        what=f"{part.area / 1e6:.3f} m2 of {space.name} near ({x:.0f}, {y:.0f}) mm stay bare: too "
        "narrow for a plank once the wall gap is kept.",
        where=space.rooms[0].source,
        remedy="Cover it with a wider bead, or set 'gap: wall' smaller.",
    )
