"""Where the walls really stand: the plan of a bay carried over to what was measured on site.

The start wall, and the face that the joints are set out from, stay; what is not measured is as drawn.
Between those, the places of all faces are the smallest move in the sum of squares that makes every
measured distance right, faces at which rows start moving less readily than those at which they end.
Doorways go with the walls they stand in.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon

from importer.plan import Doorway, Plan, Point
from importer.tolerance import LENGTH_MM, WALL_SNAP_MM
from layout.floor import BayLayout
from layout.site_dimensions import Tie, origin_face
from layout.site_faces import ACROSS, ALONG, Face, Shift, displaced, faces_of

Floats = NDArray[np.float64]

EXACT: Final = 1e7
"""Weight of a measured distance against the wish to move nothing."""
STARTS: Final = 30.0
"""How much less readily a face moves at which rows start than one at which they end: of a distance that
is off, the far face takes all but a thousandth, as the windows have it."""
ORIGIN: Final = 1e3
"""The same for the face that everything is set out from."""
TILT: Final = 100.0
"""How much less readily a face tilts than moves as a whole: a wall measured at one end only stays
parallel to where it was drawn."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Moved:
    """A bay's outline as drawn and as measured, both in the bay frame, corner by corner. `rest_mm` is
    the most that a measured distance is still off: more than 0 where measures contradict each other.
    """

    layout: BayLayout
    drawn: Polygon
    real: Polygon
    rest_mm: float

    def shift_at(self, places: Floats) -> Floats:
        """How far places (n, 2) of the plan frame move with the nearest wall, plan frame."""
        frame = self.layout.setting_out.frame
        near = np.array([frame.point_to_bay((float(x), float(y))) for x, y in places])
        move = _edge_moves(self.drawn, self.real, near)
        ux, vx = np.asarray(frame.along), np.asarray(frame.across)
        shift: Floats = move[:, :1] * ux + move[:, 1:] * vx
        return shift


def moved(layout: BayLayout, ties: Sequence[Tie], measured: Mapping[str, float]) -> Moved:
    """The outline of a bay with its measured dimensions, by id, mm."""
    outline = shapely.orient_polygons(layout.setting_out.frame.to_bay(layout.bay.outline))
    shifts: list[Mapping[int, Shift]] = []
    rest = 0.0
    for axis in (ALONG, ACROSS):
        own = [t for t in ties if t.axis == axis and t.dimension.id in measured]
        faces = faces_of(outline, axis)
        found, off = _shifts(faces, own, measured)
        shifts.append(found)
        rest = max(rest, off)
    return Moved(
        layout=layout,
        drawn=outline,
        real=displaced(outline, shifts[ALONG], shifts[ACROSS]),
        rest_mm=rest,
    )


def _shifts(
    faces: Sequence[Face], ties: Sequence[Tie], measured: Mapping[str, float]
) -> tuple[Mapping[int, Shift], float]:
    """The move of every face at its two ends, and the most that a measure is missed by."""
    if not ties:
        return {}, 0.0
    origin = origin_face([f for f in faces if f.holds])
    rows: list[Floats] = []
    goals: list[float] = []
    for face in faces:
        weight = ORIGIN if face is origin else STARTS if face.opens else 1.0
        for shares, stiff in (((0.5, 0.5), weight), ((-1.0, 1.0), weight * TILT)):
            row = np.zeros(2 * len(faces))
            row[2 * face.index : 2 * face.index + 2] = np.asarray(shares) * stiff
            rows.append(row)
            goals.append(0.0)
    exact: list[Floats] = []
    for tie in ties:
        row = np.zeros(2 * len(faces))
        for index, level, sign in ((tie.far, tie.levels[1], 1.0), (tie.near, tie.levels[0], -1.0)):
            row[2 * index : 2 * index + 2] += sign * _shares(faces[index], level)
        exact.append(row)
    wanted = np.array([measured[t.dimension.id] - t.dimension.drawn_mm for t in ties])
    matrix = np.vstack([*rows, *(EXACT * r for r in exact)])
    moves = np.linalg.lstsq(matrix, np.concatenate([goals, EXACT * wanted]), rcond=None)[0]
    moves = np.round(moves, 3) + 0.0
    off = float(np.abs(np.vstack(exact) @ moves - wanted).max())
    pairs = moves.reshape(-1, 2).tolist()
    return {f.index: (low, high) for f, (low, high) in zip(faces, pairs, strict=True)}, off


def _shares(face: Face, level: float) -> Floats:
    """How much the moves of a face's two ends count at a level of it."""
    span = face.high - face.low
    share = min(max((level - face.low) / span, 0.0), 1.0) if span > 0 else 0.5
    return np.array([1.0 - share, share])


def _edge_moves(drawn: Polygon, real: Polygon, places: Floats) -> Floats:
    """How far places move with the nearest stretch of the boundary."""
    starts, ends, start_moves, end_moves = [], [], [], []
    for before, after in zip(_rings(drawn), _rings(real), strict=True):
        starts.append(before[:-1])
        ends.append(before[1:])
        start_moves.append(after[:-1] - before[:-1])
        end_moves.append(after[1:] - before[1:])
    a, b = np.vstack(starts), np.vstack(ends)
    u, v = np.vstack(start_moves), np.vstack(end_moves)
    along = b - a
    length = np.maximum((along**2).sum(axis=1), 1e-12)
    share = ((places[:, None] - a) * along).sum(axis=2) / length
    share = np.clip(share, 0.0, 1.0)
    foot = a + share[..., None] * along
    off = np.hypot(*np.moveaxis(foot - places[:, None], 2, 0))
    nearest = np.round(off, 3).argmin(axis=1)
    rows = np.arange(len(places))
    part = share[rows, nearest][:, None]
    moves: Floats = u[nearest] + part * (v[nearest] - u[nearest])
    return moves


def _rings(shape: Polygon) -> list[Floats]:
    return [shapely.get_coordinates(r) for r in (shape.exterior, *shape.interiors)]


# --- the plan -----------------------------------------------------------------------------------


def plan_as_measured(plan: Plan, bays: Sequence[Moved]) -> Plan:
    """The plan with rooms, doorways and obstacles where the walls really stand. A room that no measured
    bay holds stays as drawn.
    """
    by_room = {room: m for m in bays for room in m.layout.bay.rooms}
    rooms = tuple(
        replace(r, shape=_carried(r.shape, by_room[r.id])) if r.id in by_room else r
        for r in plan.rooms
    )
    obstacles = tuple(
        replace(o, shape=_carried(o.shape, own)) if (own := _around(o.shape, bays)) else o
        for o in plan.obstacles
    )
    doorways = tuple(
        _doorway(d, [by_room.get(r) if r is not None else None for r in d.rooms])
        for d in plan.doorways
    )
    return replace(plan, rooms=rooms, obstacles=obstacles, doorways=doorways)


def _carried(shape: Polygon, by: Moved) -> Polygon:
    return shapely.transform(_with_corners(shape, by), lambda c: c + by.shift_at(c))


def _with_corners(shape: Polygon, by: Moved) -> Polygon:
    """The shape with a corner wherever the bay has one on its boundary: at a jamb a straight wall of a
    room is two faces of the bay, which may move apart.
    """
    corners = shapely.get_coordinates(by.layout.bay.outline)
    rings = []
    for ring in (shape.exterior, *shape.interiors):
        points = shapely.get_coordinates(ring)
        off = shapely.distance(ring, shapely.points(corners))
        free = shapely.distance(shapely.MultiPoint(points), shapely.points(corners))
        new = corners[(off <= LENGTH_MM) & (free > LENGTH_MM)]
        places = shapely.line_locate_point(ring, shapely.points(new))
        all_places = np.append(shapely.line_locate_point(ring, shapely.points(points[:-1])), places)
        order = np.argsort(all_places, kind="stable")
        rings.append(np.vstack([points[:-1], new])[order])
    return Polygon(rings[0], rings[1:])


def _around(shape: Polygon, bays: Sequence[Moved]) -> Moved | None:
    """The bay that an obstacle stands in or at."""
    for bay in bays:
        if bay.layout.bay.outline.distance(shape) <= WALL_SNAP_MM:
            return bay
    return None


def _doorway(doorway: Doorway, sides: Sequence[Moved | None]) -> Doorway:
    """A doorway with its walls: corners at a measured room go with its face; at a room that was not
    measured, only along the wall, so that the jambs stay square to it.
    """
    known = [s for s in sides if s is not None]
    if not known:
        return doorway
    corners = shapely.get_coordinates(doorway.shape)
    shift = np.zeros_like(corners)
    distances = np.array([_distance(corners, s) for s in sides])
    nearest = distances.argmin(axis=0)
    (x0, y0), (x1, y1) = doorway.leaf_line
    wall = np.array([x1 - x0, y1 - y0]) / max(float(np.hypot(x1 - x0, y1 - y0)), 1e-9)
    for n, place in enumerate(corners):
        own = sides[int(nearest[n])]
        at = own if own is not None and distances[nearest[n], n] <= 2 * WALL_SNAP_MM else None
        move = (at or known[0]).shift_at(place[None, :])[0]
        shift[n] = move if at is not None else wall * float(move @ wall)
    leaf = [_with_jamb(p, corners, shift) for p in doorway.leaf_line]
    width = float(np.hypot(leaf[1][0] - leaf[0][0], leaf[1][1] - leaf[0][1]))
    return replace(
        doorway,
        shape=shapely.transform(doorway.shape, lambda c: c + shift),
        leaf_line=(leaf[0], leaf[1]),
        width_mm=doorway.width_mm + width - float(np.hypot(x1 - x0, y1 - y0)),
    )


def _distance(corners: Floats, side: Moved | None) -> Floats:
    """Of corners to the wall faces of a side's rooms; far where that side is not measured."""
    if side is None:
        return np.full(len(corners), 4 * WALL_SNAP_MM)
    boundary = side.layout.bay.outline.boundary
    found: Floats = np.asarray(shapely.distance(shapely.points(corners), boundary))
    return found


def _with_jamb(place: Point, corners: Floats, shift: Floats) -> Point:
    """A place of the leaf line moved with the two corners of its jamb."""
    off = np.hypot(*(corners[:-1] - place).T)
    jamb = np.argsort(np.round(off, 3), kind="stable")[:2]
    dx, dy = shift[:-1][jamb].mean(axis=0)
    return place[0] + float(dx), place[1] + float(dy)
