"""The faces of a bay that a tape measure meets: which stand opposite each other, and the outline when
they stand elsewhere than drawn. Bay frame, millimetres.

Along the rows (axis 0) a face is a chain of edges that do not run with the rows, all with the floor on
the same side; across (axis 1) a chain of edges that do. A wall at an angle is a face along the rows,
which end on it; across them it only stops the view (`holds` is False).

        +-----------+            axis 0:  A opens, B and C close
        |           | C          at this height:   A ......... C
        A     +-----+            and at this one:  A ... B
        |     B
        +-----+
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import radians, tan
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon

from importer.tolerance import LENGTH_MM, PARALLEL_DEG, SLIVER_WIDTH_MM

Floats = NDArray[np.float64]
Shift = tuple[float, float]
"""How far a face stands off its drawn place at its low and at its high end, mm, in between in
proportion; positive towards greater coordinates."""

ALONG, ACROSS = 0, 1
TURN: Final = 0.17
"""Sine of the angle (10 degrees) below which two edges are one bend: where they meet is ill defined."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Face:
    """A chain of edges. `opens`: the floor lies on its side of greater coordinates (a row starts
    there). `holds`: its place counts on this axis. `corners` are places in the ring `ring`; `levels` the
    coordinates of its corners on the other axis, rising, and `places` those on its own.
    """

    index: int
    axis: int
    opens: bool
    holds: bool
    ring: int
    corners: tuple[int, ...]
    levels: Floats
    places: Floats

    @property
    def low(self) -> float:
        """Where it begins on the other axis."""
        return float(self.levels[0])

    @property
    def high(self) -> float:
        """Where it ends on the other axis."""
        return float(self.levels[-1])

    def at(self, level: float) -> float:
        """Its place where the line at `level` crosses it."""
        return float(np.interp(level, self.levels, self.places))


@dataclass(frozen=True, slots=True, kw_only=True)
class Facing:
    """Two faces with floor between them, and the stretches of the other axis where they do."""

    near: int
    far: int
    stretches: tuple[tuple[float, float], ...]

    @property
    def seen(self) -> float:
        """Length of wall that faces."""
        return sum(b - a for a, b in self.stretches)


def faces_of(outline: Polygon, axis: int) -> tuple[Face, ...]:
    """The faces of an outline (bay frame), ring by ring."""
    turned = shapely.orient_polygons(outline)
    found: list[Face] = []
    for number, ring in enumerate((turned.exterior, *turned.interiors)):
        points = shapely.get_coordinates(ring)[:-1]
        for way, holds, corners in _chains(points, axis):
            on = points[list(corners)]
            order = np.argsort(on[:, 1 - axis], kind="stable")
            found.append(
                Face(
                    index=len(found),
                    axis=axis,
                    opens=(way < 0) if axis == ALONG else (way > 0),
                    holds=holds,
                    ring=number,
                    corners=corners,
                    levels=on[order, 1 - axis],
                    places=on[order, axis],
                )
            )
    return tuple(found)


def _chains(points: Floats, axis: int) -> Iterator[tuple[float, bool, tuple[int, ...]]]:
    """Stretches of a ring that go one way on the other axis: the way, whether they hold on this axis,
    and the corners in ring order.
    """
    edges = np.roll(points, -1, axis=0) - points
    slope = tan(radians(PARALLEL_DEG))
    level = np.abs(edges[:, 1]) <= slope * np.abs(edges[:, 0])
    upright = np.abs(edges[:, 0]) <= slope * np.abs(edges[:, 1])
    way = np.sign(edges[:, 1 - axis]) * np.where(level if axis == ALONG else upright, 0.0, 1.0)
    kind = way if axis == ALONG else way * np.where(level, 2.0, 1.0)
    breaks = np.flatnonzero(kind != np.roll(kind, 1)).tolist()
    for start, stop in pairwise([*breaks, *(b + len(kind) for b in breaks[:1])]):
        if kind[start] != 0.0:
            holds = axis == ALONG or abs(kind[start]) > 1.0
            corners = tuple(k % len(kind) for k in range(start, stop + 1))
            yield float(way[start]), holds, corners


def crossed(faces: Sequence[Face], level: float) -> tuple[tuple[Face, Face], ...]:
    """The pairs of faces between which the line at `level` runs over the floor, in its direction."""
    met = [f for f in faces if f.low - LENGTH_MM <= level <= f.high + LENGTH_MM]
    met.sort(key=lambda f: (f.at(level), f.opens, f.index))
    return tuple((a, b) for a, b in pairwise(met) if a.opens and not b.opens)


def facings(faces: Sequence[Face]) -> tuple[Facing, ...]:
    """Every pair of faces that stand opposite each other, in the order of the faces."""
    levels = sorted({round(v, 3) for f in faces for v in (f.low, f.high)})
    seen: dict[tuple[int, int], list[tuple[float, float]]] = defaultdict(list)
    for a, b in pairwise(levels):
        if b - a <= SLIVER_WIDTH_MM:
            continue
        for near, far in crossed(faces, (a + b) / 2):
            stretches = seen[near.index, far.index]
            if stretches and a - stretches[-1][1] <= SLIVER_WIDTH_MM:
                stretches[-1] = (stretches[-1][0], b)
            else:
                stretches.append((a, b))
    return tuple(
        Facing(near=near, far=far, stretches=tuple(stretches))
        for (near, far), stretches in sorted(seen.items())
    )


def displaced(outline: Polygon, along: Mapping[int, Shift], across: Mapping[int, Shift]) -> Polygon:
    """The outline with faces moved, by their index; faces not named stay. Corners lie where the moved
    edges meet, so that a slanting wall keeps its line when the wall beside it moves. The result may
    cross itself where a face was moved past another.
    """
    turned = shapely.orient_polygons(outline)
    along_faces = faces_of(turned, ALONG) if along else ()
    across_faces = faces_of(turned, ACROSS) if across else ()
    return carried(
        turned,
        [
            *((f, along[f.index]) for f in along_faces if f.index in along),
            *((f, across[f.index]) for f in across_faces if f.index in across),
        ],
    )


def carried(turned: Polygon, moves: Iterable[tuple[Face, Shift]]) -> Polygon:
    """The same for faces at hand, of an outline with its rings turned the standard way."""
    rings = [shapely.get_coordinates(r)[:-1] for r in (turned.exterior, *turned.interiors)]
    starts = [points.copy() for points in rings]
    ends = [np.roll(points, -1, axis=0) for points in rings]
    for face, shift in moves:
        if face.holds:
            _carry(face, shift, (starts[face.ring], ends[face.ring]))
    shell, *holes = (
        _corners(points, start, end) for points, start, end in zip(rings, starts, ends, strict=True)
    )
    return Polygon(shell, holes)


def _carry(face: Face, shift: Shift, edges: tuple[Floats, Floats]) -> None:
    """Move the edges of a face; each runs from `edges[0]` to `edges[1]`."""
    own = np.asarray(face.corners[:-1])
    for side in edges:
        level = side[own, 1 - face.axis]
        side[own, face.axis] += np.interp(level, (face.low, face.high), shift)


def _corners(points: Floats, start: Floats, end: Floats) -> Floats:
    """Where each carried edge meets the one before it; where they hardly turn, midway between their
    ends.
    """
    before_a, before_b = np.roll(start, 1, axis=0), np.roll(end, 1, axis=0)
    u, v = before_b - before_a, end - start
    turn = u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0]
    sharp = np.abs(turn) > TURN * np.hypot(*u.T) * np.hypot(*v.T)
    gap = start - before_a
    share = np.divide(
        gap[:, 0] * v[:, 1] - gap[:, 1] * v[:, 0], turn, out=np.zeros(len(turn)), where=sharp
    )
    met = before_a + share[:, None] * u
    corners: Floats = np.where(sharp[:, None], met, (before_b + start) / 2)
    still = (np.abs(before_b - points) + np.abs(start - points)).sum(axis=1) == 0.0
    corners[still] = points[still]
    return corners
