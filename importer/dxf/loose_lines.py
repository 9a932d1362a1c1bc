r"""Spaces parted by strokes that belong to no wall, put together again.

Where furniture, fittings, windows and walls share a layer, a stroke alone tells nothing. All strokes
are barriers at first, so that the line of a window keeps a room from the outside; then what only such
strokes part is one space again:

     _____wall______________
    |            |  |       |      the sofa and the stripe are parts of the room, the box before
    |  room      |so|       |      the window is not: loose strokes part it from the outside too
    |            |fa| stripe|
    |____========|__|_______|
         | box |
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Final

import numpy as np
import shapely
from shapely import Polygon, STRtree

from importer.dxf.arrays import polygon_array
from importer.dxf.closing import Closed, close_openings, spaces_beside
from importer.dxf.connected import connected_parts
from importer.dxf.drawing import Floats
from importer.dxf.found import OpeningKind
from importer.dxf.openings import Candidate
from importer.dxf.wall_body import WallBody
from importer.outlines import SEAL_MM, Space, thickened_strokes

TOUCHING_MM: Final = 2.0
"""Outlines lie on the strokes themselves, so that spaces parted by one stroke touch; across a wall
they keep its thickness."""

PANE_MM: Final = 400.0
"""Strokes shorter than this keep no room from the outside: no window is narrower."""

MOST_LINES: Final = 4000
"""A drawing with more loose strokes than this is not tried: details, not furniture."""

OPEN_SHARE: Final = 0.15
"""A space with more than this share of its outline at the outside is before the house, or in the depth
of its outer wall."""


def closed_with_loose_lines(
    body: WallBody, candidates: Sequence[Candidate], loose: Floats
) -> Closed:
    """Openings closed with loose strokes, (n, 4), as barriers, and the spaces they part rejoined."""
    loose = _panes(loose)
    barriers = np.concatenate([body.barriers, thickened_strokes(loose)])
    lined = replace(body, barriers=barriers, union=shapely.disjoint_subset_union_all(barriers))
    closed = close_openings(lined, candidates)
    spaces = _rejoined(closed.spaces)
    beside = spaces_beside([c.opening for c in closed.candidates], spaces)
    kept = [
        k
        for k, (one, two) in enumerate(beside)
        if one != two or closed.candidates[k].opening.kind is OpeningKind.DOOR
    ]
    return Closed(
        body=body,
        candidates=tuple(closed.candidates[k] for k in kept),
        spaces=spaces,
        beside=tuple(beside[k] for k in kept),
    )


def _panes(loose: Floats) -> Floats:
    length = np.hypot(*(loose[:, 2:] - loose[:, :2]).T)
    rows = np.flatnonzero(length >= PANE_MM)
    panes: Floats = loose[rows if len(rows) <= MOST_LINES else rows[:0]]
    return panes


def _rejoined(spaces: Sequence[Space]) -> tuple[Space, ...]:
    inner = [s.shape for s in spaces if not s.outside]
    outer = [s.shape for s in spaces if s.outside]
    if not inner:
        return tuple(spaces)
    kept = [s for s, open_ in zip(inner, _before_the_house(inner, outer), strict=True) if not open_]
    if not kept:
        return tuple(s for s in spaces if s.outside)
    one, two = STRtree(kept).query(kept, predicate="dwithin", distance=TOUCHING_MM)
    part = connected_parts(len(kept), one, two)
    groups: dict[int, list[Polygon]] = {}
    for shape, number in zip(kept, part.tolist(), strict=True):
        groups.setdefault(number, []).append(shape)
    joined = [Space(shape=_one(group), outside=False) for group in groups.values()]
    return (*joined, *(s for s in spaces if s.outside))


def _before_the_house(inner: Sequence[Polygon], outer: Sequence[Polygon]) -> list[bool]:
    """Which spaces only loose strokes part from the outside; the shape of the outside keeps the seal's
    distance from everything.
    """
    near = shapely.buffer(shapely.union_all(outer), SEAL_MM + TOUCHING_MM)
    edges = shapely.boundary(polygon_array(inner))
    at_outside = shapely.length(shapely.intersection(edges, near))
    return [bool(b) for b in at_outside > OPEN_SHARE * shapely.length(edges)]


def _one(group: Sequence[Polygon]) -> Polygon:
    """The union of shapes that touch along strokes: closed over what lies between them, the largest
    part where they meet in a point only.
    """
    if len(group) == 1:
        return group[0]
    closed = shapely.buffer(
        shapely.union_all(shapely.buffer(group, TOUCHING_MM, join_style="mitre")),
        -TOUCHING_MM,
        join_style="mitre",
    )
    parts = [p for p in shapely.get_parts(closed).tolist() if isinstance(p, Polygon)]
    return max(parts, key=lambda p: p.area)
