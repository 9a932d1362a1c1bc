r"""Wall strips: the stretches where two neighbouring faces bound a wall.

        upper face ============+            corners of a strip, in this order:
          3 +-----------------+ 2
            |      wall       |             0 start of lower   1 end of lower
          0 +-----------------+ 1           3 start of upper   2 end of upper
        lower face ==================

Not every pair of neighbouring faces is a wall: a shaft, a closet or a duct between two walls is as
narrow as a thick wall. What tells them apart is that each face of a wall has a room on its other
side, while the faces of a closet have a wall there.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import numpy as np
import shapely
from shapely import STRtree

from importer.dxf.arrays import Geometries
from importer.dxf.connected import connected_parts
from importer.dxf.drawing import Bools, Floats
from importer.dxf.wall_faces import Faces, Index, Neighbours

THINNEST_MM: Final = 50.0
"""Thinnest wall that is built (a stud wall with one board a side, a glass or block partition)."""

USUAL_MM: Final = 450.0
"""Walls up to this are usual; a thicker one is believed only where neither face has a wall behind."""

THICKEST_MM: Final = 800.0
"""Thickest wall that is looked for: masonry of old houses, gable and cellar walls."""

SHORTEST_MM: Final = 40.0
"""Shortest stretch of wall: the nib beside a door frame."""

DOUBTFUL_MM: Final = 260.0
"""A strip thicker than this with a wall behind one face must be of a usual thickness of the drawing:
it may as well be the duct or the cupboard beside that wall."""

BIN_MM: Final = 10.0
RARE_SHARE: Final = 0.012
"""Share of all strip length below which a thickness is rare: it takes a long strip to be a wall."""

USUAL_SHARE: Final = 0.1
"""Share of all strip length from which a thickness is one of the drawing's own."""

LONG_RATIO: Final = 6.0

CROSSWISE_SHARE: Final = 0.5
"""A strip covered to more than this by strips that lie across it is no wall of its own."""


OWN_SHARE: Final = 0.04
"""Share of all strip length from which a thickness is believed among strokes of all sorts."""

LINING_MM: Final = 150.0
"""A second strip along a wall, among strokes of all sorts, is a lining up to this thickness."""

TOUCH_MM: Final = 30.0
CARRIES_ON_MM: Final = 2600.0
"""Strips are of one building when they touch, or lie between the same lines across an opening."""

COMPANY_MM: Final = 4000.0
"""Strips that do not add up to this length are a piece of furniture or a lone pier."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Strips:
    """Wall strips as arrays: `corners` (n, 4, 2) as in the sketch above, `along` the unit vector from
    start to end, `thickness` in the middle.
    """

    corners: Floats
    along: Floats
    thickness: Floats

    def __len__(self) -> int:
        return len(self.corners)

    def length(self) -> Floats:
        """Length of each strip along its axis, mm."""
        axis = self.corners[:, [1, 2]].mean(axis=1) - self.corners[:, [0, 3]].mean(axis=1)
        return np.asarray(np.hypot(axis[:, 0], axis[:, 1]))

    def shapes(self) -> Geometries:
        """The strips as polygons."""
        return np.asarray(shapely.polygons(self.corners), dtype=object).reshape(-1)

    def take(self, rows: Index) -> Strips:
        """The rows given, in that order."""
        return Strips(
            corners=self.corners[rows], along=self.along[rows], thickness=self.thickness[rows]
        )


def joined_strips(one: Strips, two: Strips) -> Strips:
    """Two sets of strips as one."""
    return Strips(
        corners=np.concatenate([one.corners, two.corners]),
        along=np.concatenate([one.along, two.along]),
        thickness=np.concatenate([one.thickness, two.thickness]),
    )


def strips_of(faces: Faces, pairs: Neighbours, *, mixed: bool = False) -> Strips:
    """Strips of wall among neighbouring faces.

    Args:
        faces: faces of the wall linework.
        pairs: what `neighbours` found among them, looked for up to `THICKEST_MM`.
        mixed: whether furniture and fittings are among the faces: only pairs of a thickness that the
            drawing's walls have are believed then, and no piece that stands alone.
    """
    length = pairs.end - pairs.start
    wall_like = (pairs.gap >= THINNEST_MM) & (pairs.gap <= THICKEST_MM) & (length >= SHORTEST_MM)
    pairs = pairs.take(np.flatnonzero(wall_like))
    share = _usualness(pairs)
    full = _fullness(faces, pairs)
    rank = -np.round(full, 1) if mixed else share < USUAL_SHARE
    order = np.lexsort((pairs.start, pairs.lower, np.round(pairs.gap, 1), rank))
    test = _is_wall_among_others if mixed else _is_wall
    chosen = np.sort(order[_accept(faces, pairs.take(order), share[order], test)])
    pairs = pairs.take(chosen)
    direction = faces.group[pairs.lower]
    strips, kept = _without_crosswise(_strips(faces, pairs), direction, (share * full)[chosen])
    if mixed:
        strips = strips.take(_in_company(strips, direction[kept]))
    return strips


def _without_crosswise(strips: Strips, direction: Index, worth: Floats) -> tuple[Strips, Index]:
    """Drop strips that are mostly the insides of other walls: the end of a wall paired with the far
    face of the wall it stands on. Of two that lie across each other the one worth more stays: the
    usual thickness, and faces that run together all the way.
    """
    if not len(strips):
        return strips, np.empty(0, dtype=np.int64)
    shapes = strips.shapes()
    one, two = STRtree(shapes).query(shapes, predicate="intersects")
    rival = (direction[one] != direction[two]) & (worth[two] > worth[one])
    one, two = one[rival], two[rival]
    covered = np.zeros(len(strips))
    np.add.at(covered, one, shapely.area(shapely.intersection(shapes[one], shapes[two])))
    kept = np.flatnonzero(covered <= CROSSWISE_SHARE * shapely.area(shapes))
    return strips.take(kept), kept


def _in_company(strips: Strips, direction: Index) -> Index:
    """Strips that belong to a building: they touch others, or carry on a wall beyond an opening."""
    if not len(strips):
        return np.empty(0, dtype=np.int64)
    shapes = strips.shapes()
    one, two = STRtree(shapes).query(shapes, predicate="dwithin", distance=TOUCH_MM)
    carried = _carried_on(strips, direction)
    part = connected_parts(
        len(strips),
        np.concatenate([one, carried[:, 0]]),
        np.concatenate([two, carried[:, 1]]),
    )
    extent = np.bincount(part, weights=strips.length())
    return np.flatnonzero(extent[part] >= COMPANY_MM)


def _carried_on(strips: Strips, direction: Index) -> Index:
    """Pairs of strips between the same two lines with an opening between them, (n, 2)."""
    across = np.column_stack([-strips.along[:, 1], strips.along[:, 0]])
    low = (strips.corners[:, 0] * across).sum(axis=1)
    start = (strips.corners[:, 0] * strips.along).sum(axis=1)
    end = start + strips.length()
    key = np.column_stack(
        [direction, np.round(low / TOUCH_MM), np.round(strips.thickness / TOUCH_MM)]
    )
    order = np.lexsort((start, key[:, 2], key[:, 1], key[:, 0]))
    same = (key[order][1:] == key[order][:-1]).all(axis=1)
    near = start[order][1:] - end[order][:-1] <= CARRIES_ON_MM
    rows = np.flatnonzero(same & near)
    return np.column_stack([order[rows], order[rows + 1]])


def _usualness(pairs: Neighbours) -> Floats:
    """Share of all strip length that has about the thickness of each pair."""
    if not len(pairs):
        return np.empty(0)
    number = (pairs.gap / BIN_MM).astype(np.int64)
    weight = np.bincount(number + 1, weights=pairs.end - pairs.start, minlength=number.max() + 3)
    near = weight[number] + weight[number + 1] + weight[number + 2]
    return np.asarray(near / weight.sum())


def _fullness(faces: Faces, pairs: Neighbours) -> Floats:
    """Share of its faces that each pair and its like (same faces, same thickness) run along, the lesser
    of both: faces of a wall run together all the way, a shelf along a part of the wall.
    """
    length = pairs.end - pairs.start
    fullness = np.ones(len(pairs))
    for face in (pairs.lower, pairs.upper):
        key = np.column_stack([face, np.round(pairs.gap / BIN_MM).astype(np.int64)])
        _, like = np.unique(key, axis=0, return_inverse=True)
        run = np.bincount(like.reshape(-1), weights=length)[like.reshape(-1)]
        fullness = np.minimum(fullness, run / np.maximum(faces.length()[face], 1.0))
    return fullness


def _accept(
    faces: Faces,
    pairs: Neighbours,
    share: Floats,
    test: Callable[[float, float, float, int], bool],
) -> Bools:
    """Which pairs are walls, decided in the order given: a pair is judged by the walls behind it."""
    walls: tuple[list[list[tuple[float, float]]], ...] = (
        [[] for _ in range(len(faces))],
        [[] for _ in range(len(faces))],
    )
    above, below = walls
    accepted = np.zeros(len(pairs), dtype=bool)
    rows = zip(
        pairs.lower.tolist(),
        pairs.upper.tolist(),
        pairs.start.tolist(),
        pairs.end.tolist(),
        pairs.gap.tolist(),
        share.tolist(),
        strict=True,
    )
    for k, (lower, upper, start, end, gap, usual) in enumerate(rows):
        backed = _covered(below[lower], start, end) + _covered(above[upper], start, end)
        if test(end - start, gap, usual, backed):
            accepted[k] = True
            above[lower].append((start, end))
            below[upper].append((start, end))
    return accepted


def _is_wall(length: float, gap: float, usual: float, backed: int) -> bool:
    if backed == 2:
        return False
    if usual < RARE_SHARE and length <= LONG_RATIO * gap:
        return False
    if gap > USUAL_MM:
        return backed == 0 and usual >= USUAL_SHARE
    return backed == 0 or gap <= DOUBTFUL_MM or usual >= USUAL_SHARE


def _is_wall_among_others(length: float, gap: float, usual: float, backed: int) -> bool:
    """Stricter: shelves and worktops before a wall look like a second wall."""
    if usual < OWN_SHARE and length <= LONG_RATIO * gap:
        return False
    if backed and gap > LINING_MM:
        return False
    return _is_wall(length, gap, usual, backed)


def _covered(taken: list[tuple[float, float]], start: float, end: float) -> bool:
    """Whether walls stand behind more than half of a stretch of a face."""
    over = sum(max(0.0, min(end, b) - max(start, a)) for a, b in taken)
    return over > (end - start) / 2


def _strips(faces: Faces, pairs: Neighbours) -> Strips:
    corners = np.stack(
        [
            faces.point(pairs.lower, pairs.start),
            faces.point(pairs.lower, pairs.end),
            faces.point(pairs.upper, pairs.end),
            faces.point(pairs.upper, pairs.start),
        ],
        axis=1,
    )
    return Strips(corners=corners, along=faces.along[pairs.lower], thickness=pairs.gap)
