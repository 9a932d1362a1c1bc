"""Signs on the plan: doorways with their widths, hatched obstacles, numbered findings, tints."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from math import atan2, cos, degrees, hypot, pi, sin, tau
from typing import Final

import numpy as np
import shapely
from shapely import LineString, MultiLineString, Polygon
from shapely.geometry.base import BaseGeometry

from importer.picture_labels import INK, Taken, rectangle
from importer.picture_panels import Panel
from importer.picture_scene import Anchor, Area, Disc, Mark, Point, Ring, Strokes, Words
from importer.picture_text import text_width
from importer.picture_words import length_text
from importer.plan import Doorway, DoorwayKind, Obstacle, Plan, Room, RoomId, Severity

WALL: Final = "#3d3d3d"
BACKDROP: Final = "#b4b4b4"
JOINERY: Final = "#7d8791"
DOOR: Final = "#003d7a"
HATCH: Final = "#6b6b6b"
COMMUNAL: Final = "#e6e6e6"
TINTS: Final = ("#bcdcf7", "#fbe9a6", "#c4e6bd", "#f7cbe4", "#e2cfa8")
"""Pale tints that differ for any colour vision (the test simulates its three deficiencies) and still
carry dark lettering; never the only sign: flats are named on the plan as well."""
GRAVE: Final = {
    Severity.REFUSED: ("#b8330a", "#ffffff"),
    Severity.SETTLE: ("#ffc61a", "#1a1a1a"),
    Severity.NOTE: ("#ffffff", "#1a1a1a"),
}
"""Fill and lettering of a finding's sign."""
SIGN: Final = 2.4
"""Half the size of a finding's sign."""
_DOOR_CAP: Final = 1.8
_HATCH_PITCH: Final = 1.1
_NEIGHBOURS_MM: Final = 1000.0


# --- tints -----------------------------------------------------------------------------------


def tints(plan: Plan) -> dict[RoomId, str]:
    """A tint a room: that of its flat, grey for communal space; neighbouring flats differ."""
    of_flat = _flat_tints(plan)
    return {
        r.id: COMMUNAL if r.communal else of_flat.get(r.flat or "", TINTS[0]) for r in plan.rooms
    }


def _flat_tints(plan: Plan) -> dict[str, str]:
    shapes = {
        str(f.id): shapely.union_all([r.shape for r in plan.rooms if r.flat == f.id])
        for f in plan.flats
    }
    names, geoms = list(shapes), np.array(list(shapes.values()), dtype=object)
    found: dict[str, str] = {}
    for i, name in enumerate(names):
        near = np.flatnonzero(shapely.dwithin(geoms[:i], geoms[i], _NEIGHBOURS_MM))
        used = {found[names[j]] for j in near}
        # In turn where there is a choice, so that flats far apart differ too.
        ordered = [*TINTS[i % len(TINTS) :], *TINTS[: i % len(TINTS)]]
        found[name] = next((t for t in ordered if t not in used), ordered[0])
    return found


# --- shapes ----------------------------------------------------------------------------------


def rings_of(shape: BaseGeometry) -> tuple[Ring, ...]:
    """All rings of the polygons in a geometry."""
    polygons = [p for p in shapely.get_parts(shape) if isinstance(p, Polygon) and not p.is_empty]
    return tuple(
        tuple((float(x), float(y)) for x, y in ring.coords[:-1])
        for p in polygons
        for ring in (p.exterior, *p.interiors)
    )


def lines_of(shape: BaseGeometry) -> tuple[Ring, ...]:
    """All lines in a geometry."""
    lines = [g for g in shapely.get_parts(shape) if isinstance(g, LineString) and not g.is_empty]
    return tuple(tuple((float(x), float(y)) for x, y in line.coords) for line in lines)


def hatched(shape: BaseGeometry) -> tuple[Mark, ...]:
    """An obstacle on paper: white, outlined, hatched at 45 degrees."""
    if shape.is_empty:
        return ()
    x0, y0, x1, y1 = shape.bounds
    high = y1 - y0
    # Counted from the paper's corner, so that the hatch of neighbours runs on.
    first = np.ceil((x0 - high + y0) / _HATCH_PITCH) * _HATCH_PITCH
    sums = np.arange(first, x1 + y1, _HATCH_PITCH)
    strokes = MultiLineString([((t - y0, y0), (t - y1, y1)) for t in sums])
    rings = rings_of(shape)
    return (
        Area(rings=rings, fill="#ffffff"),
        Strokes(lines=lines_of(strokes.intersection(shape)), stroke=HATCH, width=0.13),
        Area(rings=rings, stroke=INK, width=0.25),
    )


def obstacle_marks(panel: Panel, obstacles: Sequence[Obstacle]) -> Iterator[Mark]:
    """Every obstacle of a panel."""
    for obstacle in obstacles:
        yield from hatched(panel.shape_to_paper(obstacle.shape))


# --- doorways --------------------------------------------------------------------------------


def doorway_marks(panel: Panel, doorway: Doorway) -> Iterator[Mark]:
    """The floor in the opening, and the line under the leaf: heavy at a flat's entrance, dashed
    where nothing hangs.
    """
    rings = rings_of(panel.shape_to_paper(doorway.shape))
    if rings:
        yield Area(rings=rings, fill="#ffffff")
    a, b = (panel.to_paper(p) for p in doorway.leaf_line)
    yield Strokes(
        lines=((a, b),),
        stroke=DOOR,
        width=0.9 if doorway.flat_entrance else 0.5,
        dashed=doorway.kind is DoorwayKind.OPENING,
    )


def width_words(
    panel: Panel,
    doorway: Doorway,
    rooms: dict[RoomId, BaseGeometry],
    taken: Taken,
    *,
    imperial: bool,
) -> Words | None:
    """The doorway's width beside its opening, on the first side where it stands free; None when the
    opening is too small on paper or both sides are full.
    """
    text = length_text(doorway.width_mm, imperial=imperial)
    a, b = (panel.to_paper(p) for p in doorway.leaf_line)
    long = text_width(text, _DOOR_CAP)
    if hypot(b[0] - a[0], b[1] - a[1]) < 0.6 * long:
        return None
    angle = _readable(degrees(atan2(-(b[1] - a[1]), b[0] - a[0])))
    for centre in _beside(panel, doorway, rooms):
        box = rectangle(centre, (long + 0.6, _DOOR_CAP + 0.8), angle)
        if taken.is_free(box, off_walls=True):
            taken.add(box)
            return Words(
                text=text,
                at=centre,
                cap=_DOOR_CAP,
                colour=DOOR,
                anchor=Anchor.MIDDLE,
                turn_deg=angle,
            )
    return None


def _readable(angle: float) -> float:
    """The same direction read from below or from the right."""
    turned = (angle + 90.0) % 180.0 - 90.0
    return 90.0 if turned <= -89.5 else round(turned, 3) + 0.0


def _beside(panel: Panel, doorway: Doorway, rooms: dict[RoomId, BaseGeometry]) -> Iterator[Point]:
    """Places for the width just beyond either wall face: away from the leaf first, then the larger
    room's side; outside last. Last of all the middle of the opening.
    """
    centre = panel.shape_to_paper(doorway.shape).centroid
    a, b = (panel.to_paper(p) for p in doorway.leaf_line)
    long = hypot(b[0] - a[0], b[1] - a[1]) or 1.0
    nx, ny = -(b[1] - a[1]) / long, (b[0] - a[0]) / long
    reach = doorway.wall_thickness_mm / panel.scale / 2 + _DOOR_CAP / 2 + 0.7
    sides = [(centre.x + s * nx * reach, centre.y + s * ny * reach) for s in (1.0, -1.0)]
    areas = [_room_area(p, doorway, rooms) for p in sides]
    for i in sorted((0, 1), key=lambda i: -areas[i]):
        yield sides[i]
    yield centre.x, centre.y


def _room_area(p: Point, doorway: Doorway, rooms: dict[RoomId, BaseGeometry]) -> float:
    """Area of the doorway's room that the place lies in; the leaf's room counts last, outside 0."""
    for room_id in doorway.rooms:
        shape = rooms.get(room_id) if room_id else None
        if shape is not None and shape.contains(shapely.Point(p)):
            return float(shape.area) * (1e-6 if room_id == doorway.swings_into else 1.0)
    return 0.0


# --- findings --------------------------------------------------------------------------------


def finding_sign(number: int, severity: Severity, at: Point) -> tuple[Mark, ...]:
    """A numbered sign: a disc for a note, a square for what to check, a lozenge for what was not
    used; the form tells as much as the colour.
    """
    fill, ink = GRAVE[severity]
    if severity is Severity.NOTE:
        body: Mark = Disc(centre=at, radius=SIGN, fill=fill, stroke=INK, width=0.25)
    else:
        turn = pi / 4 if severity is Severity.SETTLE else 0.0
        reach = SIGN * (1.25 if severity is Severity.SETTLE else 1.45)
        corners = [turn + tau * i / 4 for i in range(4)]
        ring = tuple((at[0] + reach * cos(t), at[1] + reach * sin(t)) for t in corners)
        body = Area(rings=(ring,), fill=fill, stroke=INK, width=0.25)
    cap = 1.8 if number < 100 else 1.3
    text = Words(text=str(number), at=at, cap=cap, colour=ink, bold=True, anchor=Anchor.MIDDLE)
    return body, text


def finding_marks(number: int, severity: Severity, spot: Point, taken: Taken) -> tuple[Mark, ...]:
    """The sign at its place, or near it with a leader where another stands there."""
    size = (2.9 * SIGN, 2.9 * SIGN)
    at = next((p for p in _around(spot) if taken.is_free(rectangle(p, size))), spot)
    taken.add(rectangle(at, size))
    leader: tuple[Mark, ...] = ()
    if at != spot:
        line = Strokes(lines=((spot, at),), stroke=INK, width=0.18)
        leader = (line, Disc(centre=spot, radius=0.5, fill=INK, stroke=INK, width=0.1))
    return (*leader, *finding_sign(number, severity, at))


def _around(spot: Point) -> Iterator[Point]:
    yield spot
    for ring in range(1, 7):
        for step in range(8):
            t = tau * step / 8
            yield spot[0] + 3.2 * SIGN * ring * cos(t), spot[1] - 3.2 * SIGN * ring * sin(t)


def room_outline(shape: BaseGeometry, tint: str) -> Mark:
    """A room's floor in its tint with a fine edge."""
    return Area(rings=rings_of(shape), fill=tint, stroke="#8a8a8a", width=0.13)


def rooms_on(panel: Panel, plan: Plan) -> tuple[Room, ...]:
    """The rooms that a panel shows, in plan order."""
    return tuple(r for r in plan.rooms if panel.storey is None or r.storey == panel.storey)


def ring_of_tag(box: Polygon) -> Mark:
    """The frame about a flat's name."""
    return Area(rings=rings_of(box), fill="#ffffff", stroke=INK, width=0.25)
