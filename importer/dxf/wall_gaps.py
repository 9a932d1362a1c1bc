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
from scipy.spatial import cKDTree
from shapely import STRtree

from importer.dxf.arrays import Geometries, line_array
from importer.dxf.drawing import Bools, Floats
from importer.dxf.wall_body import Sight, WallBody, WallEnds, sight_from_ends
from importer.dxf.wall_faces import Index
from importer.dxf.wall_strips import THINNEST_MM

WIDEST_MM: Final = 6500.0
"""Widest opening that is looked across: a double garage door or a shop front."""

NARROWEST_MM: Final = 250.0
"""Narrower gaps are no openings but walls drawn with a slit; they are filled."""

FACING_MM: Final = 30.0
FACING_SHARE: Final = 0.3
"""Two wall ends face each other when their middles are out of line by no more than this (or this
share of the thickness)."""

PARALLEL_COS: Final = 0.9962
"""Cosine of 5 degrees: strokes within it run along the wall."""

SPAN_SHARE: Final = 0.4
"""A stroke counts as drawn in the gap when it covers this share of the width."""

RUN_ON_MM: Final = 200.0
"""A stroke that runs on past both jambs by more than this passes through, as gridlines do."""

SINGLE_MM: Final = 150.0
"""Windows are drawn this far to either side of a wall that is a single line."""

ON_FACE_MM: Final = 12.0
"""A stroke this near the line of a wall face lies on it."""


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
    inside: Index
    on_faces: Index

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
    inside, on_faces = _drawn(ends, width, strokes)
    return Gaps(
        corners=corners,
        out=ends.out,
        width=width,
        thickness=ends.thickness,
        nibs=ends.nibs,
        mutual=mutual,
        inside=inside,
        on_faces=on_faces,
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
    allowed = np.maximum(FACING_MM, FACING_SHARE * ends.thickness)
    hits = cKDTree(middle).query_ball_point(far, allowed)
    for k, others in enumerate(hits):
        facing = [j for j in others if float(ends.out[k] @ ends.out[j]) < -PARALLEL_COS]
        if facing:
            partner[k] = min(facing, key=lambda j: (float(np.hypot(*(middle[j] - far[k]))), j))
    return partner


def _drawn(ends: WallEnds, width: Floats, strokes: Floats) -> tuple[Index, Index]:
    """Distinct strokes along the wall in each gap: strictly between the faces, and on them."""
    counts = np.zeros((2, len(ends)), dtype=np.int64)
    if not len(ends) or not len(strokes):
        return counts[0], counts[1]
    middle = ends.middle()
    axes = line_array(np.hstack([middle, middle + ends.out * width[:, None]]))
    half = np.where(ends.thickness < THINNEST_MM, SINGLE_MM, ends.thickness / 2)
    boxes = shapely.buffer(axes, half + ON_FACE_MM, cap_style="flat")
    gap, stroke = STRtree(line_array(strokes)).query(boxes, predicate="intersects")
    out, start, end = ends.out[gap], strokes[stroke, :2], strokes[stroke, 2:]
    run = end - start
    along = np.abs((run * out).sum(1)) >= PARALLEL_COS * np.hypot(run[:, 0], run[:, 1])
    a, b = ((start - middle[gap]) * out).sum(1), ((end - middle[gap]) * out).sum(1)
    low, high = np.minimum(a, b), np.maximum(a, b)
    covered = np.minimum(high, width[gap]) - np.maximum(low, 0.0)
    runs_on = (low < -RUN_ON_MM) & (high > width[gap] + RUN_ON_MM)
    centre = (start + end) / 2 - middle[gap]
    across = np.abs(out[:, 0] * centre[:, 1] - out[:, 1] * centre[:, 0])
    half = half[gap]
    counted = along & (covered >= SPAN_SHARE * width[gap]) & ~runs_on
    on_face = np.abs(across - half) <= np.minimum(ON_FACE_MM, half / 4)
    between = ~on_face & (across < half)
    np.add.at(counts[0], gap[counted & between], 1)
    np.add.at(counts[1], gap[counted & on_face], 1)
    return counts[0], counts[1]


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
