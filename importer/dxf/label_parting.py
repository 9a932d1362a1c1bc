"""Open rooms that carry several labels, parted at the passages between them.

living          What walls enclose runs on through a wide opening, and so two named rooms
####    ####      come out as one. Where two wall ends face each other (or one faces a wall),
kitchen         and each side has its own label, the opening between them parts the rooms.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import shapely
from shapely import Point as ShapelyPoint
from shapely import Polygon, STRtree

from importer.dxf.arrays import point_array
from importer.dxf.drawing import Floats
from importer.dxf.found import Opening, OpeningKind, Recovered, RoomShape
from importer.dxf.labels import RoomLabel
from importer.plan import Point

WALL_END_MM: Final = (40.0, 500.0)
"""Thickness of the walls whose ends are looked at."""

WIDEST_MM: Final = 2000.0
"""A wider opening leaves two labels in one room: it is open plan."""

WIDEST_PRINTED_MM: Final = 4000.0
"""Where areas are printed for both parts and the parts have them, an opening may be so wide."""

AGREES: Final = 0.06
"""A part has the area printed for it within this share."""

FACING_DEG: Final = 5.0
"""Wall ends face each other within this angle."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _End:
    """A wall end seen from the room: the edge between two corners that stick into it."""

    one: Floats
    two: Floats

    @property
    def along(self) -> Floats:
        run = self.two - self.one
        return np.asarray(run / np.hypot(*run))

    @property
    def thickness(self) -> float:
        return float(np.hypot(*(self.two - self.one)))


@dataclass(frozen=True, slots=True, kw_only=True)
class _Cut:
    """An opening that would part a room."""

    shape: Polygon
    jamb_line: tuple[Point, Point]
    width: float
    thickness: float


def parted_by_labels(recovered: Recovered, labels: Sequence[RoomLabel]) -> Recovered:
    """Rooms that hold several labels, parted where an opening lies between the labels.

    Args:
        recovered: rooms as the walls tell them.
        labels: room labels; only those with a known name or a printed measure count.

    Returns:
        The same with the parts in place of the room, and an opening for each cut.
    """
    sure = [x for x in labels if (x.known or x.measured) and not x.of_flat]
    held = _held([r.shape for r in recovered.rooms], sure)
    rooms: list[RoomShape] = []
    openings = list(recovered.openings)
    for room, own in zip(recovered.rooms, held, strict=True):
        parts, cuts = _parted(room.shape, own) if len(own) > 1 else ([room.shape], [])
        rooms += [replace(room, shape=part) for part in parts]
        openings += [_as_opening(c) for c in cuts]
    return replace(recovered, rooms=tuple(rooms), openings=tuple(openings))


def _held(rooms: Sequence[Polygon], labels: Sequence[RoomLabel]) -> list[list[RoomLabel]]:
    """For each room the labels in it."""
    held: list[list[RoomLabel]] = [[] for _ in rooms]
    if rooms and labels:
        at = point_array(np.array([x.at for x in labels]))
        label, room = STRtree(rooms).query(at, predicate="within")
        for x, r in sorted(zip(label.tolist(), room.tolist(), strict=True)):
            held[r].append(labels[x])
    return held


def _inside(room: Polygon, labels: Sequence[RoomLabel]) -> list[RoomLabel]:
    if not labels:
        return []
    held = shapely.contains(room, point_array(np.array([x.at for x in labels])))
    return [x for x, h in zip(labels, held, strict=True) if h]


def _parted(room: Polygon, labels: Sequence[RoomLabel]) -> tuple[list[Polygon], list[_Cut]]:
    """Cut again and again at the narrowest opening with labels on both sides."""
    for cut in sorted(_cuts(room), key=lambda c: c.width):
        rest = shapely.difference(room, cut.shape)
        parts = [p for p in shapely.get_parts(rest) if isinstance(p, Polygon) and p.area > 1e4]
        held = [_inside(p, labels) for p in parts]
        if len(parts) != 2 or not all(held) or not _may_part(cut, parts, held):
            continue
        done: list[Polygon] = []
        cuts = [cut]
        for part, own in zip(parts, held, strict=True):
            more, inner = _parted(part, own) if len(own) > 1 else ([part], [])
            done += more
            cuts += inner
        return done, cuts
    return [room], []


def _may_part(cut: _Cut, parts: Sequence[Polygon], held: Sequence[Sequence[RoomLabel]]) -> bool:
    if cut.width <= WIDEST_MM:
        return True
    for part, own in zip(parts, held, strict=True):
        printed = [x.area_m2 for x in own if x.area_m2 is not None and x.area_sure]
        if len(printed) != len(own) or abs(part.area / 1e6 / sum(printed) - 1) > AGREES:
            return False
    return True


# ---------------------------------------------------------------- where it may be cut


def _cuts(room: Polygon) -> list[_Cut]:
    corners = _corners(room)
    ends = _wall_ends(corners)
    if not ends:
        return []
    middles = point_array(np.array([(e.one + e.two) / 2 for e in ends]))
    one, two = STRtree(middles).query(middles, predicate="dwithin", distance=WIDEST_PRINTED_MM)
    found = [
        _between(ends[i], ends[j])
        for i, j in sorted(zip(one.tolist(), two.tolist(), strict=True))
        if i < j
    ]
    found += [_to_wall(end, room) for end in ends]
    return [c for c in found if c is not None and _is_free(c, room)]


def _corners(room: Polygon) -> list[Floats]:
    """Rings of the room, shell counter-clockwise and holes clockwise, without needless corners."""
    plain = shapely.orient_polygons(shapely.simplify(room, 1.0))
    rings = [plain.exterior, *plain.interiors]
    return [np.asarray(r.coords)[:-1] for r in rings]


def _wall_ends(rings: Sequence[Floats]) -> list[_End]:
    """Edges of a wall's thickness between two reflex corners: the room lies on the edge's left, so
    the wall behind it turns right at both.
    """
    ends = []
    for ring in rings:
        run = np.roll(ring, -1, axis=0) - ring
        back = np.roll(run, 1, axis=0)
        turn = back[:, 0] * run[:, 1] - back[:, 1] * run[:, 0]
        reflex = turn < 0
        size = np.hypot(*run.T)
        thin = (size >= WALL_END_MM[0]) & (size <= WALL_END_MM[1])
        after = np.roll(ring, -1, axis=0)
        picked = np.flatnonzero(reflex & np.roll(reflex, -1) & thin)
        ends += [_End(one=ring[k], two=after[k]) for k in picked]
    return ends


def _between(a: _End, b: _End) -> _Cut | None:
    """The opening between two wall ends that face each other, as wide as their common part."""
    if float(np.dot(a.along, b.along)) > -np.cos(np.radians(FACING_DEG)):
        return None
    out = np.array([-a.along[1], a.along[0]])
    spans = sorted(float(np.dot(p - a.one, a.along)) for p in (b.one, b.two))
    low, high = max(0.0, spans[0]), min(a.thickness, spans[1])
    width = float(np.dot((b.one + b.two) / 2 - a.one, out))
    if high - low < 0.5 * min(a.thickness, b.thickness) or width <= 0:
        return None
    return _quad(a, low, high, width, out)


def _to_wall(end: _End, room: Polygon) -> _Cut | None:
    """The opening from a wall end straight on to the wall across."""
    out = np.array([-end.along[1], end.along[0]])
    middle = (end.one + end.two) / 2
    ray = shapely.LineString([middle + out * 1.0, middle + out * WIDEST_PRINTED_MM])
    hit = shapely.intersection(ray, room.boundary)
    if hit.is_empty:
        return None
    width = float(ShapelyPoint(middle).distance(hit))
    return _quad(end, 0.0, end.thickness, width, out)


def _quad(end: _End, low: float, high: float, width: float, out: Floats) -> _Cut | None:
    if not 0 < width <= WIDEST_PRINTED_MM:
        return None
    a, b = end.one + low * end.along, end.one + high * end.along
    reach = out * (width + 1.0)
    back = out * 1.0
    middle = (a + b) / 2
    far = middle + out * width
    return _Cut(
        shape=Polygon([a - back, b - back, b + reach, a + reach]),
        jamb_line=((float(middle[0]), float(middle[1])), (float(far[0]), float(far[1]))),
        width=width,
        thickness=high - low,
    )


def _is_free(cut: _Cut, room: Polygon) -> bool:
    """Floor all the way: no wall stands in the opening."""
    return bool(cut.shape.intersection(room).area >= 0.97 * cut.width * cut.thickness)


def _as_opening(cut: _Cut) -> Opening:
    (x0, y0), (x1, y1) = cut.jamb_line
    run = np.array([x1 - x0, y1 - y0]) / cut.width
    side = np.array([-run[1], run[0]]) * cut.thickness / 2
    start, end = np.array([x0, y0]), np.array([x1, y1])
    return Opening(
        shape=shapely.orient_polygons(
            Polygon([start - side, end - side, end + side, start + side])
        ),
        jamb_line=cut.jamb_line,
        width_mm=cut.width,
        thickness_mm=cut.thickness,
        kind=OpeningKind.GAP,
        why="an opening with a label on either side",
    )
