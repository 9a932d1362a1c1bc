r"""Gaps in walls: what a free wall end looks at across an opening, and what is drawn in between.

   wall end      gap          next wall
==============|        |==============      `out` runs to the right
              | -----> |                    the gap is as wide as the wall is thick
==============|        |==============      and reaches from jamb to jamb
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import shapely
from shapely import Point

from importer.dxf.arrays import Geometries
from importer.dxf.drawing import Bools, Floats
from importer.dxf.gap_drawing import PARALLEL_COS, Drawn, drawn_in_gaps
from importer.dxf.wall_body import Sight, WallBody, WallEnds, sight_from_ends
from importer.dxf.wall_faces import Index

WIDEST_MM: Final = 6500.0
"""Widest opening that is looked across: a double garage door or a shop front."""

NARROWEST_MM: Final = 250.0
"""Narrower gaps are no openings but walls drawn with a slit; they are filled."""

FACING_MM: Final = 30.0
FACING_SHARE: Final = 0.3
"""Two wall ends face each other when their middles are out of line by no more than this (or this
share of the thickness)."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Gaps:
    """Gaps as arrays. `corners` (n, 4, 2): right and left of the end it was seen from, then left and
    right at the far side. `mutual` when a wall end looks back. `inside` and `on_faces` count the
    strokes drawn along the wall within the gap and on the lines of its faces.
    """

    corners: Floats
    out: Floats
    width: Floats
    thickness: Floats
    nibs: Index
    mutual: Bools
    drawn: Drawn

    def __len__(self) -> int:
        return len(self.width)

    def shapes(self) -> Geometries:
        """The gaps as polygons."""
        return np.asarray(shapely.polygons(self.corners), dtype=object).reshape(-1)

    def middle(self) -> Floats:
        """Middle of the near side of each gap, (n, 2)."""
        return np.asarray((self.corners[:, 0] + self.corners[:, 1]) / 2)


def gaps_at(ends: WallEnds, body: WallBody, strokes: Floats) -> Gaps:
    """What every wall end faces within `WIDEST_MM`.

    Args:
        ends: free wall ends.
        body: the walls.
        strokes: other straight strokes, (n, 4), that may show a window, a threshold or a header.
    """
    seen = sight_from_ends(ends, Sight(body.solid), WIDEST_MM)
    width = np.sort(seen, axis=1)[:, 1]
    rows = np.flatnonzero(width <= WIDEST_MM)
    ends, seen, width = ends.take(rows), seen[rows], width[rows]
    reach = _reach(seen, width, ends.thickness)[:, None]
    far_left, far_right = ends.left + ends.out * reach, ends.right + ends.out * reach
    partner = _looked_back_at(ends, width)
    mutual = partner >= 0
    alike = mutual & (np.abs(ends.thickness[partner] - ends.thickness) <= FACING_MM)
    far_left[alike] = ends.right[partner[alike]]
    far_right[alike] = ends.left[partner[alike]]
    corners = np.stack([ends.right, ends.left, far_left, far_right], axis=1)
    return Gaps(
        corners=corners,
        out=ends.out,
        width=width,
        thickness=ends.thickness,
        nibs=ends.nibs,
        mutual=mutual,
        drawn=drawn_in_gaps(ends, width, strokes),
    )


def _reach(seen: Floats, width: Floats, thickness: Floats) -> Floats:
    """How far the gap reaches at its longest side, for walls that are met at an angle."""
    near = np.abs(seen - width[:, None]) <= thickness[:, None]
    return np.asarray(np.where(near, seen, width[:, None]).max(axis=1))


def _looked_back_at(ends: WallEnds, width: Floats) -> Index:
    """The wall end that stands at the far side of each gap and looks back; -1 where there is none."""
    partner = np.full(len(ends), -1, dtype=np.int64)
    if not len(ends):
        return partner
    middle = ends.middle()
    far = middle + ends.out * width[:, None]
    seers = np.flatnonzero(np.isfinite(far).all(axis=1))
    allowed = np.maximum(FACING_MM, FACING_SHARE * ends.thickness)[seers]
    near, seen = shapely.STRtree([Point(*xy) for xy in middle.tolist()]).query(
        shapely.points(far[seers]), predicate="dwithin", distance=allowed
    )
    near = seers[near]
    facing = np.einsum("ij,ij->i", ends.out[near], ends.out[seen]) < -PARALLEL_COS
    near, seen = near[facing], seen[facing]
    off = np.hypot(*(middle[seen] - far[near]).T)
    nearest_last = np.lexsort((-seen, -off, near))
    partner[near[nearest_last]] = seen[nearest_last]
    return partner


def slits(ends: WallEnds, body: WallBody) -> tuple[Geometries, WallEnds]:
    """Slits narrower than `NARROWEST_MM` beyond wall ends, as polygons to fill, and the same ends with
    those at a slit moved across it: a jamb drawn a little beyond the faces is where a wall ends.
    """
    seen = sight_from_ends(ends, Sight(body.solid), NARROWEST_MM)
    width = np.sort(seen, axis=1)[:, 1]
    rows = np.flatnonzero(width < NARROWEST_MM)
    across = ends.out[rows] * width[rows, None]
    right, left = ends.right.copy(), ends.left.copy()
    right[rows] += across
    left[rows] += across
    corners = np.stack([ends.right[rows], ends.left[rows], left[rows], right[rows]], axis=1)
    shapes = np.asarray(shapely.polygons(corners), dtype=object).reshape(-1)
    return shapes, replace(ends, right=right, left=left)
