"""Walls drawn as single lines: strokes of the wall layers that are no face of any strip."""

from __future__ import annotations

from typing import Final

import numpy as np
import shapely
from shapely import STRtree

from importer.dxf.arrays import line_array, point_array
from importer.dxf.drawing import Bools, Floats
from importer.dxf.wall_body import PROBE_MM, WallEnds, ends_of_strips
from importer.dxf.wall_faces import Faces, Index
from importer.dxf.wall_strips import Strips
from importer.outlines import BARRIER_MM

SINGLE_SHARE: Final = 0.5
"""A drawing has single-line walls when more than this share of its wall strokes is in no strip."""

SHORTEST_MM: Final = 200.0
"""Shorter single strokes are ticks and frames."""


def single_lines(faces: Faces, strips: Strips) -> Strips:
    """Single-line walls as strips of no more than the thickness of a barrier; none where most walls of
    the drawing are drawn by their two faces.
    """
    rows = np.arange(len(faces))
    lines = np.hstack([faces.point(rows, faces.start), faces.point(rows, faces.end)])
    length = faces.length()
    bare = ~_in_strips(lines, length, strips) & (length >= SHORTEST_MM)
    if length[bare].sum() <= SINGLE_SHARE * length.sum():
        bare[:] = False
    start, end, along = lines[bare, :2], lines[bare, 2:], faces.along[bare]
    off = np.column_stack([-along[:, 1], along[:, 0]]) * BARRIER_MM
    corners = np.stack([start - off, end - off, end + off, start + off], axis=1)
    return Strips(corners=corners, along=along, thickness=np.full(len(along), 2 * BARRIER_MM))


def _in_strips(lines: Floats, length: Floats, strips: Strips) -> Bools:
    """Which lines run along strips for more than half their length."""
    if not len(strips):
        return np.zeros(len(lines), dtype=bool)
    about = shapely.buffer(strips.shapes(), BARRIER_MM, join_style="mitre")
    strokes = line_array(lines)
    line, strip = STRtree(about).query(strokes, predicate="intersects")
    covered = np.zeros(len(lines))
    np.add.at(covered, line, shapely.length(shapely.intersection(strokes[line], about[strip])))
    return np.asarray(covered > length / 2)


def ends_of_lines(lines: Strips, strokes: Floats) -> WallEnds:
    """The ends of single-line walls that meet no other stroke of the walls."""
    ends = ends_of_strips(lines)
    if not len(ends):
        return ends
    tree = STRtree(line_array(strokes))
    middle = point_array(ends.middle())
    end, stroke = tree.query(middle, predicate="dwithin", distance=PROBE_MM)
    crossing = _crosses(ends, end, strokes[stroke])
    met: Index = np.bincount(end[crossing], minlength=len(ends))
    return ends.take(np.flatnonzero(met == 0))


def _crosses(ends: WallEnds, end: Index, strokes: Floats) -> Bools:
    """Whether a stroke near an end is another wall: not along it, or carrying on beyond it."""
    run = strokes[:, 2:] - strokes[:, :2]
    length = np.maximum(np.hypot(run[:, 0], run[:, 1]), BARRIER_MM)
    out = ends.out[end]
    middle = ends.middle()[end]
    reach = np.maximum(
        ((strokes[:, :2] - middle) * out).sum(axis=1), ((strokes[:, 2:] - middle) * out).sum(axis=1)
    )
    along = np.abs((run * out).sum(axis=1)) >= 0.9 * length
    return np.asarray(~along | (reach > PROBE_MM))
