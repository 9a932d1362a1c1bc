"""The walls of a storey as single straight walls, the way a modelling program builds them.

The body of all walls is cut into strips between facing edges; strips in one line are one wall, which
runs through junctions with thinner walls. Together the walls are exactly the body.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from itertools import combinations
from math import atan2, cos, degrees, hypot, radians, sin

import shapely
from shapely import Polygon

from sample_plans.building import DIGITS, Building, Point, polygons_of, tidy

Overlay = Callable[..., shapely.Geometry]
GRID = 10.0**-DIGITS
THICKEST = 400.0
SLIVER_MM2 = 300.0
"""No more than a rounded corner of a slanted wall leaves along its whole length."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Wall:
    """One straight wall: its plan, and how thick it is."""

    shape: Polygon
    thickness: float


@dataclass(frozen=True, slots=True, kw_only=True)
class _Strip:
    """Part of a wall between two facing edges: all lengths along and square to `turn` degrees."""

    turn: float
    middle: float
    thickness: float
    start: float
    end: float

    def shape(self, more: float = 0.0) -> Polygon:
        ux, uy = cos(radians(self.turn)), sin(radians(self.turn))
        low, high = self.middle - self.thickness / 2, self.middle + self.thickness / 2
        corners = [(u, v) for v in (low, high) for u in (self.start - more, self.end + more)]
        a, b, d, c = [(u * ux - v * uy, u * uy + v * ux) for u, v in corners]
        return Polygon([a, b, c, d])


def wall_body(building: Building) -> list[Polygon]:
    """Footprint less rooms and shafts; openings are not cut out."""
    holes = [s.shape for s in building.spaces] + [Polygon(s) for s in building.shafts]
    return polygons_of(building.footprint.difference(shapely.union_all(holes)))


def single_walls(building: Building) -> tuple[Wall, ...]:
    """The walls, the thickest first, the slanted before the square, the longest first."""
    body = shapely.MultiPolygon(wall_body(building))
    strips = sorted(
        _in_line(list(_strips(body)), body),
        # Slanted walls keep their corners: their windows reach into them.
        key=lambda s: (
            -round(s.thickness),
            s.turn % 90.0 == 0.0,
            round(s.start - s.end),
            s.turn,
            s.middle,
        ),
    )
    walls: list[tuple[Polygon, float]] = []
    rest = body
    for strip in strips:
        reach, core = strip.shape(more=THICKEST), strip.shape()
        # A line that a thicker wall has cut in two is two walls.
        parts = sorted(polygons_of(_cut(shapely.intersection, rest, reach)), key=lambda p: p.bounds)
        mine = [p for p in parts if p.intersection(core).area > SLIVER_MM2]
        walls += [(p, strip.thickness) for p in mine]
        rest = _cut(shapely.difference, rest, shapely.MultiPolygon(mine))
    for piece in sorted(polygons_of(rest), key=lambda p: p.bounds):
        _join(walls, piece)
    return tuple(Wall(shape=tidy(shape), thickness=thickness) for shape, thickness in walls)


def _cut(how: Overlay, one: shapely.Geometry, other: shapely.Geometry) -> shapely.MultiPolygon:
    """An overlay on the grid of drawn coordinates: no corner is left double."""
    return shapely.MultiPolygon(polygons_of(how(one, other, grid_size=GRID)))


def _join(walls: list[tuple[Polygon, float]], piece: Polygon) -> None:
    """Give a left corner to the wall it shares most of its outline with."""
    if piece.area <= SLIVER_MM2:
        return
    shared = [w.buffer(0.1).intersection(piece.exterior).length for w, _ in walls]
    best = shared.index(max(shared))
    (both,) = polygons_of(shapely.union_all([walls[best][0], piece], grid_size=GRID))
    walls[best] = both, walls[best][1]


def _strips(body: shapely.MultiPolygon) -> Iterator[_Strip]:
    edges = [
        (a, b)
        for part in shapely.orient_polygons(body).geoms
        for ring in (part.exterior, *part.interiors)
        for a, b in zip(ring.coords[:-1], ring.coords[1:], strict=True)
    ]
    for (a, b), (c, d) in combinations(edges, 2):
        strip = _between(a, b, c, d)
        if strip is not None and strip.shape().difference(body).area <= SLIVER_MM2:
            yield strip


def _between(a: Point, b: Point, c: Point, d: Point) -> _Strip | None:
    """The strip between two edges that face each other, the body to the left of both."""
    length, other = hypot(b[0] - a[0], b[1] - a[1]), hypot(d[0] - c[0], d[1] - c[1])
    ux, uy = (b[0] - a[0]) / length, (b[1] - a[1]) / length
    if (d[0] - c[0]) * ux + (d[1] - c[1]) * uy > -0.999999 * other:
        return None
    thickness = (c[1] - a[1]) * ux - (c[0] - a[0]) * uy
    if not 1.0 < thickness <= THICKEST:
        return None
    along = [p[0] * ux + p[1] * uy for p in (a, b, d, c)]
    start, end = max(along[0], along[2]), min(along[1], along[3])
    if end - start < 1.0:
        return None
    middle = a[1] * ux - a[0] * uy + thickness / 2
    turn = round(degrees(atan2(uy, ux)), 6)
    if -90.0 < turn <= 90.0:
        return _Strip(turn=turn, middle=middle, thickness=thickness, start=start, end=end)
    turn += 180.0 if turn <= -90.0 else -180.0
    return _Strip(turn=turn, middle=-middle, thickness=thickness, start=-end, end=-start)


def _in_line(strips: list[_Strip], body: shapely.MultiPolygon) -> Iterator[_Strip]:
    """Strips of one line and thickness put together over the junctions between them."""
    lines: dict[tuple[int, int, int], list[_Strip]] = {}
    for s in strips:
        key = (round(s.turn * 100), round(s.middle * 10), round(s.thickness * 10))
        lines.setdefault(key, []).append(s)
    for key in sorted(lines):
        line = sorted(lines[key], key=lambda s: s.start)
        whole = line[0]
        for s in line[1:]:
            both = _Strip(
                turn=whole.turn,
                middle=whole.middle,
                thickness=whole.thickness,
                start=whole.start,
                end=max(whole.end, s.end),
            )
            if both.shape().difference(body).area <= SLIVER_MM2:
                whole = both
            else:
                yield whole
                whole = s
        yield whole
