"""What is drawn: rooms by their inner faces, openings in the walls, and the walls that are left.

Walls are never drawn by hand: they are the footprint less rooms, shafts and openings, so that faces,
jambs and corners are exact. All lengths are in the drawing's unit (mm, or inches in one sample).
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from enum import Enum
from math import atan2, degrees, hypot

import shapely
from shapely import Polygon
from shapely.geometry import box

Point = tuple[float, float]
DIGITS = 3
"""Decimals of drawn coordinates."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """Where a flat type stands: local u, v to drawing x, y, mirrored where asked."""

    x: float = 0.0
    y: float = 0.0
    mirror_x: bool = False
    mirror_y: bool = False

    @property
    def hand(self) -> int:
        """-1 when the placement turns left into right."""
        return -1 if self.mirror_x != self.mirror_y else 1

    def point(self, p: Point) -> Point:
        """Local to drawing coordinates."""
        u, v = p
        return (self.x + (-u if self.mirror_x else u), self.y + (-v if self.mirror_y else v))

    def turn(self, angle_deg: float, along: Point) -> float:
        """Angle, degrees, that the local direction `along` has in the drawing."""
        (x0, y0), (x1, y1) = self.point((0.0, 0.0)), self.point(along)
        return degrees(atan2(y1 - y0, x1 - x0)) + angle_deg


HERE = Place()


class Leaf(Enum):
    """What hangs in a door opening."""

    HINGED = "hinged"
    DOUBLE = "double"
    SLIDING = "sliding"
    OPENING = "opening"


@dataclass(frozen=True, slots=True, kw_only=True)
class Opening:
    """A gap in a wall from jamb `a` to jamb `b`, both in the middle of the wall.

    `side` is where the leaf swings: 1 left of a-b, -1 right of it; the hinge is at `a`. `rooms` are
    room keys (None: outside). A window has no rooms.
    """

    a: Point
    b: Point
    thickness: float
    rooms: tuple[str, str | None] | None = None
    leaf: Leaf = Leaf.OPENING
    side: int = 1
    flat_entrance: bool = False

    @property
    def width(self) -> float:
        """Jamb to jamb."""
        return hypot(self.b[0] - self.a[0], self.b[1] - self.a[1])

    @property
    def along(self) -> Point:
        """Unit vector from jamb a to jamb b."""
        return ((self.b[0] - self.a[0]) / self.width, (self.b[1] - self.a[1]) / self.width)

    def across(self, p: Point, distance: float) -> Point:
        """The point moved square to the wall, positive to the left of a-b."""
        ux, uy = self.along
        return (p[0] - uy * distance, p[1] + ux * distance)

    def shape(self, more: float = 0.0) -> Polygon:
        """The opening in plan, `more` thicker than the wall on both faces."""
        half = self.thickness / 2 + more
        return Polygon(
            [
                self.across(self.a, -half),
                self.across(self.b, -half),
                self.across(self.b, half),
                self.across(self.a, half),
            ]
        )

    @property
    def hinge(self) -> Point:
        """Hinge point: on the wall face of the swing side."""
        return self.across(self.a, self.side * self.thickness / 2)

    @property
    def closed_end(self) -> Point:
        """Where the leaf's free edge meets the other jamb."""
        return self.across(self.b, self.side * self.thickness / 2)

    def placed(self, place: Place, prefix: str) -> Opening:
        """The same in another place, its rooms named with the prefix."""
        rooms = self.rooms
        if rooms is not None:
            rooms = (_key(prefix, rooms[0]), None if rooms[1] is None else _key(prefix, rooms[1]))
        return replace(
            self,
            a=place.point(self.a),
            b=place.point(self.b),
            side=self.side * place.hand,
            rooms=rooms,
        )


def _key(prefix: str, name: str) -> str:
    """Room key; a name that starts with `/` is communal and belongs to no flat."""
    return name if name.startswith("/") or not prefix else f"{prefix}/{name}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Space:
    """A room by its inner faces; `label_at` is the middle of its printed name."""

    name: str
    ring: tuple[Point, ...]
    label_at: Point
    number: str = ""
    flat: str = ""
    communal: bool = False

    @property
    def key(self) -> str:
        """Unique name in its file."""
        return f"/{self.name}" if self.communal else _key(self.flat, self.name)

    @property
    def shape(self) -> Polygon:
        """The floor, wall face to wall face."""
        return shapely.orient_polygons(Polygon(self.ring))

    def placed(self, place: Place, flat: str, numbers: str) -> Space:
        """The same in another place, in the named flat, numbered `numbers` + own number."""
        return replace(
            self,
            ring=tuple(place.point(p) for p in self.ring),
            label_at=place.point(self.label_at),
            flat=flat,
            number=f"{numbers}{self.number}",
        )


def rectangle(x0: float, y0: float, x1: float, y1: float) -> tuple[Point, ...]:
    """Corners of an upright rectangle, counter-clockwise."""
    return ((x0, y0), (x1, y0), (x1, y1), (x0, y1))


@dataclass(frozen=True, slots=True, kw_only=True)
class Thing:
    """A block reference: sanitary ware, units, furniture. `angle` and `at` are local."""

    block: str
    at: Point
    angle: float = 0.0
    layer: str = "A-FURN"
    scale: Point = (1.0, 1.0)
    place: Place = HERE


@dataclass(frozen=True, slots=True, kw_only=True)
class Building:
    """One storey as drawn. `shafts` are closed voids, `columns` stand free in rooms."""

    footprint: Polygon
    spaces: tuple[Space, ...]
    doors: tuple[Opening, ...]
    windows: tuple[Opening, ...] = ()
    shafts: tuple[tuple[Point, ...], ...] = ()
    columns: tuple[tuple[Point, ...], ...] = ()
    things: tuple[Thing, ...] = field(default=())

    @property
    def openings(self) -> tuple[Opening, ...]:
        """Every gap in the walls."""
        return self.doors + self.windows

    def walls(self) -> tuple[Polygon, ...]:
        """Wall bodies, coordinates rounded, from the lower left upwards."""
        holes = [s.shape for s in self.spaces] + [Polygon(s) for s in self.shafts]
        # One unit thicker than the wall: slanted jambs then leave no slivers on the faces.
        gaps = [o.shape(more=1.0) for o in self.openings]
        solid = self.footprint.difference(shapely.union_all(holes + gaps))
        parts = [tidy(p) for p in polygons_of(solid)]
        return tuple(sorted(parts, key=lambda p: (p.bounds[0], p.bounds[1], p.area)))


def polygons_of(shape: shapely.Geometry) -> list[Polygon]:
    """Polygons of any geometry."""
    return [p for p in shapely.get_parts(shape) if isinstance(p, Polygon) and p.area > 0]


def tidy(shape: Polygon) -> Polygon:
    """Coordinates rounded, rings turned and started alike whatever the geometry library did."""
    rings = [_tidy_ring(r.coords) for r in (shape.exterior, *shape.interiors)]
    return shapely.orient_polygons(Polygon(rings[0], sorted(rings[1:])))


def _tidy_ring(coords: Iterable[Sequence[float]]) -> list[Point]:
    points = [(round(p[0], DIGITS) + 0.0, round(p[1], DIGITS) + 0.0) for p in coords][:-1]
    turns = zip(points[-1:] + points[:-1], points, points[1:] + points[:1], strict=True)
    kept = [p for before, p, after in turns if not _in_line(before, p, after)]
    first = kept.index(min(kept))
    return kept[first:] + kept[:first]


def _in_line(a: Point, b: Point, c: Point) -> bool:
    twice_area = (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])
    return abs(twice_area) <= 0.002 * hypot(c[0] - a[0], c[1] - a[1])


def envelope(ring: Sequence[Point], thickness: float, *more: Polygon) -> Polygon:
    """Footprint: the inner faces of the outer walls set out by the wall's thickness, mitred."""
    inner = shapely.union_all([Polygon(ring), *more])
    (outer,) = polygons_of(inner.buffer(thickness, join_style="mitre", mitre_limit=10.0))
    return tidy(outer)


def upright(rect: tuple[float, float, float, float]) -> Polygon:
    """An upright rectangle as a polygon."""
    return box(*rect)
