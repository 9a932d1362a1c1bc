"""The space of a bay: rooms, plus the floor inside their doorways, less the obstacles; and the floors
that lie in it once it is cut at the limits and set back from the walls.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

import shapely
from shapely import Polygon
from shapely.geometry.base import BaseGeometry

from importer.plan import Doorway, Finding, Origin, Plan, Point, Room, Severity
from importer.tolerance import AREA_MM2, GRID_MM, SLIVER_WIDTH_MM, WALL_SNAP_MM, area_slack
from layout.bay_doorways import joint_line, tongue_into
from layout.bay_error import not_laid
from layout.bay_inset import MITRE_LIMIT, inset
from layout.bay_joins import called
from layout.bay_limits import LimitCut, cut_at_limits
from layout.bay_near import moved, moved_doorway, near_origin
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
    def base_id(self) -> str:
        """Id of the bay, from the id of its first room."""
        room = str(self.rooms[0].id)
        return f"B{room[1:] if room[:1] in 'Rr' else room}"

    @property
    def name(self) -> str:
        """What people call it: all rooms by name, of many the first."""
        names = [called(r) for r in self.rooms]
        more = len(names) - MOST_NAMED
        if more > 1:
            names[MOST_NAMED:] = [f"{more} more rooms"]
        return " + ".join(names)


@dataclass(frozen=True, slots=True, kw_only=True)
class Floor:
    """A floor and the outline it keeps the wall gap to; near the origin of its space."""

    outline: Polygon
    shape: Polygon


@dataclass(frozen=True, slots=True, kw_only=True)
class Floors:
    """Every floor of a space, the limit cuts between them, what was noticed."""

    floors: tuple[Floor, ...]
    cuts: tuple[LimitCut, ...]
    findings: tuple[Finding, ...]


def floors_in(space: Space) -> Floors:
    """Form the space, cut it where it is longer than the limits, keep the wall gap, leave out what is
    too small for a plank (with a finding).

    Raises:
        LayoutError: nothing is left, or an outline is no outline.
    """
    findings: list[Finding] = []
    along = directions_for(space.rooms, space.plan, space.rules)[0].along
    floors: list[Floor] = []
    cuts: list[LimitCut] = []
    for outline in _outlines(space, findings):
        cut = cut_at_limits(outline, along, space.rules.limits)
        cuts.extend(cut.cuts)
        for part in cut.parts:
            floors.extend(_set_back(part, space))
    kept = [f for f in floors if _can_be_laid(f.shape, space.rules)]
    if not kept:
        what = f"{space.name} is too small for a plank once the wall gap is kept."
        raise not_laid(
            "LAY-122", what, space.rooms[0].source, "Leave it out with a rule under 'rooms:'."
        )
    dropped = [f.shape for f in floors if not _can_be_laid(f.shape, space.rules)]
    findings.extend(_sliver_finding(space, p) for p in dropped if p.area > AREA_MM2)
    return Floors(floors=tuple(kept), cuts=tuple(cuts), findings=tuple(findings))


def _set_back(outline: Polygon, space: Space) -> list[Floor]:
    """The floors in an outline. Each keeps the share of it that a floor can reach: slits that the gap
    closes, such as behind a unit drawn a little off its wall, are left out.
    """
    gap = space.rules.gap.wall
    parts = inset(outline, gap, space.rooms[0].source)
    if len(parts) == 1:
        # A slit shows in the length of the outline, even one of no width.
        has_slits = outline.length - _grown(parts[0], gap).length > SLIVER_WIDTH_MM
        own = _around(outline, parts[0], gap) if has_slits else outline
        return [Floor(outline=own, shape=parts[0])]
    return [Floor(outline=_around(outline, part, gap), shape=part) for part in parts]


def _grown(floor: Polygon, gap: float) -> Polygon:
    grown = shapely.buffer(floor, gap, join_style="mitre", mitre_limit=MITRE_LIMIT)
    assert isinstance(grown, Polygon)
    return grown


def _around(outline: Polygon, floor: Polygon, gap: float) -> Polygon:
    """The share of an outline that a floor can reach."""
    share = shapely.intersection(_grown(floor, gap), outline, grid_size=GRID_MM)
    parts = [p for p in shapely.get_parts(share) if isinstance(p, Polygon)]
    return max(parts, key=lambda p: p.area)


def _outlines(space: Space, findings: list[Finding]) -> list[Polygon]:
    """Rooms and their shares of the doorways, less the obstacles; near the origin, largest first."""
    rooms = [_valid(moved(r.shape, space.origin), r) for r in space.rooms]
    tongues = [
        t for d in (*space.ends, *space.through) for t in _tongues(space, d, rooms, findings)
    ]
    stops = [moved(o, space.origin) for o in space.obstacles]
    whole = _whole(rooms, tongues, stops, space)
    parts = [p for p in shapely.get_parts(whole) if isinstance(p, Polygon) and p.area > AREA_MM2]
    return sorted(parts, key=lambda p: -round(p.area))


def _tongues(
    space: Space, doorway: Doorway, rooms: list[Polygon], findings: list[Finding]
) -> Iterator[Polygon]:
    """The floor inside a doorway, from each of the rooms up to the joint line. Where the floor is
    broken between two rooms of the space, a slit keeps its two sides apart.
    """
    near = moved_doorway(doorway, space.origin)
    line = joint_line(near, space.rules.doorways.leaf_cover)
    sides = [n for n, r in enumerate(space.rooms) if r.id in doorway.rooms]
    slit = SLIT_MM / 2 if len(sides) > 1 and doorway in space.ends else 0.0
    for n in sides:
        tongue = tongue_into(near, rooms[n], line, slit)
        if tongue is None:
            findings.append(_stands_off(space, doorway))
            continue
        if tongue.off_mm > WALL_SNAP_MM:
            findings.append(_bridged(space, doorway, tongue.off_mm, space.rooms[n]))
        yield tongue.shape


def _whole(
    rooms: list[Polygon], tongues: list[Polygon], stops: list[Polygon], space: Space
) -> BaseGeometry:
    """Rooms and tongues less what stands in them. Edges that nearly coincide, as of a unit against its
    wall, can make an overlay lose floor without a word unless it is done on a grid; so it is, and the
    areas are compared.
    """
    whole: BaseGeometry = shapely.MultiPolygon(rooms) if len(rooms) > 1 else rooms[0]
    if tongues or len(rooms) > 1:
        whole = shapely.union_all([*rooms, *tongues], grid_size=GRID_MM)
    if stops:
        taken = shapely.union_all(stops, grid_size=GRID_MM)
        whole = shapely.difference(whole, taken, grid_size=GRID_MM)
    most = sum(r.area for r in rooms)
    least = most - sum(s.area for s in stops)
    most += sum(t.area for t in tongues)
    if not least - area_slack(least) <= whole.area <= most + area_slack(most):
        what = f"The floor of {space.name} could not be put together from its outlines."
        remedy = "Redraw the room, its doorways and obstacles more simply."
        raise not_laid("LAY-121", what, space.rooms[0].source, remedy)
    return whole


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
