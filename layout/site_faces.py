"""The faces of a bay that a tape measure meets: which stand opposite each other, and the outline when
they stand elsewhere than drawn. Bay frame, millimetres.

Along the rows (axis 0) a face is a chain of edges that do not run with the rows, all with the floor on
the same side; across (axis 1) likewise with the sides exchanged. An edge at an angle belongs to one
face of each axis, so that every corner is held along both.

        +-----------+            axis 0:  A opens, B and C close
        |           | C          at this height:   A ......... C
        A     +-----+            and at this one:  A ... B
        |     B
        +-----+
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import radians, tan

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


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Face:
    """A chain of edges. `opens`: the floor lies on its side of greater coordinates (a row starts
    there). `corners` are places in the ring `ring`; `levels` the coordinates of its corners on the other
    axis, rising, and `places` those on its own.
    """

    index: int
    axis: int
    opens: bool
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
        for way, corners in _chains(points, axis):
            on = points[list(corners)]
            order = np.argsort(on[:, 1 - axis], kind="stable")
            found.append(
                Face(
                    index=len(found),
                    axis=axis,
                    opens=(way < 0) if axis == ALONG else (way > 0),
                    ring=number,
                    corners=corners,
                    levels=on[order, 1 - axis],
                    places=on[order, axis],
                )
            )
    return tuple(found)


def _chains(points: Floats, axis: int) -> Iterator[tuple[float, tuple[int, ...]]]:
    """Stretches of a ring that go one way on the other axis: the way, and the corners in ring order."""
    edges = np.roll(points, -1, axis=0) - points
    own, other = np.abs(edges[:, axis]), np.abs(edges[:, 1 - axis])
    way = np.where(other > tan(radians(PARALLEL_DEG)) * own, np.sign(edges[:, 1 - axis]), 0.0)
    breaks = np.flatnonzero(way != np.roll(way, 1)).tolist()
    for start, stop in pairwise([*breaks, *(b + len(way) for b in breaks[:1])]):
        if way[start] != 0.0:
            yield float(way[start]), tuple(k % len(way) for k in range(start, stop + 1))


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
    """The outline with faces moved, by their index; faces not named stay. The result may cross itself
    where a face was moved past another.
    """
    turned = shapely.orient_polygons(outline)
    rings = [shapely.get_coordinates(r)[:-1] for r in (turned.exterior, *turned.interiors)]
    moves = [np.zeros_like(points) for points in rings]
    for axis, shifts in ((ALONG, along), (ACROSS, across)):
        if any(s != (0.0, 0.0) for s in shifts.values()):
            _add_moves(moves, rings, faces_of(turned, axis), shifts)
    shell, *holes = (points + move for points, move in zip(rings, moves, strict=True))
    return Polygon(shell, holes)


def _add_moves(
    moves: Sequence[Floats],
    rings: Sequence[Floats],
    faces: Sequence[Face],
    shifts: Mapping[int, Shift],
) -> None:
    """Every corner goes with its face; one between two faces half with each; one of no face keeps its
    proportion between the nearest that have one.
    """
    for number, (points, move) in enumerate(zip(rings, moves, strict=True)):
        total, count = np.zeros(len(points)), np.zeros(len(points))
        for face in (f for f in faces if f.ring == number):
            corners = np.asarray(face.corners)
            level = points[corners, 1 - face.axis]
            low, high = shifts.get(face.index, (0.0, 0.0))
            total[corners] += np.interp(level, (face.low, face.high), (low, high))
            count[corners] += 1
        held = np.flatnonzero(count)
        if len(held) == 0:
            continue
        steps = np.hypot(*(np.roll(points, -1, axis=0) - points).T)
        place = np.concatenate([[0.0], np.cumsum(steps)])
        move[:, faces[0].axis] += np.interp(
            place[:-1], place[held], total[held] / count[held], period=place[-1]
        )
