"""Glass walls: glazing that stands free of the masonry, as barriers of their own."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
import shapely
from shapely import STRtree
from shapely.geometry.base import BaseGeometry

from importer.dxf.arrays import Geometries, line_array
from importer.dxf.drawing import Drawing, Floats
from importer.dxf.gap_drawing import PARALLEL_COS
from importer.dxf.layer_words import is_door_name, is_window_name
from importer.dxf.wall_strips import Strips
from importer.hints import Hints, matches_layer

SILL_MM: Final = 300.0
"""Sills, boards and outer blinds of a window reach this far off the wall; they are no barriers."""

SHORTEST_MM: Final = 10.0
"""Shorter remains of glazing strokes are cuttings; the sides of mullions are longer."""


def glass_walls(
    drawing: Drawing, hints: Hints, strips: Strips, windows: Sequence[BaseGeometry]
) -> Floats:
    """Strokes of glazing that bound rooms where no wall does.

    Args:
        drawing: the drawing, mm.
        hints: layers to ignore.
        strips: the wall strips; glazing along them belongs to their windows.
        windows: shapes of the windows found between wall ends; glazing about them is theirs.

    Returns:
        Strokes, (n, 4), mm.
    """
    seg = drawing.segments
    glass = np.array([_is_glass(s.layer, hints) for s in drawing.sources], dtype=bool)
    strokes = seg.ends[glass[seg.source] & ~seg.curved]
    if not len(strokes):
        return strokes
    lines = line_array(strokes)
    run = strokes[:, 2:] - strokes[:, :2]
    run = run / np.maximum(np.hypot(run[:, 0], run[:, 1]), 1e-9)[:, None]
    lines = _without(lines, shapely.buffer(np.array(windows, dtype=object), SILL_MM))
    lines = _without(lines, _beside(strips), (run, strips.along))
    return _pieces(lines)


def _beside(strips: Strips) -> Geometries:
    """The strips widened across by `SILL_MM`, but not lengthened."""
    off = np.column_stack([-strips.along[:, 1], strips.along[:, 0]]) * SILL_MM
    corners = strips.corners + np.stack([-off, -off, off, off], axis=1)
    return np.asarray(shapely.polygons(corners), dtype=object).reshape(-1)


def _is_glass(layer: str, hints: Hints) -> bool:
    named = is_window_name(layer) and not is_door_name(layer)
    return named and not matches_layer(layer, hints.ignore_layers)


def _without(
    lines: Geometries, areas: Geometries, along: tuple[Floats, Floats] | None = None
) -> Geometries:
    """The lines less the areas; given the directions of both, only less those they run along."""
    if not len(areas):
        return lines
    line, area = STRtree(areas).query(lines, predicate="intersects")
    if along is not None:
        parallel = np.abs((along[0][line] * along[1][area]).sum(axis=1)) >= PARALLEL_COS
        line, area = line[parallel], area[parallel]
    left = lines.copy()
    order = np.lexsort((area, line))
    line, area = line[order], area[order]
    for part in np.split(np.arange(len(line)), np.flatnonzero(np.diff(line)) + 1):
        if len(part):
            k = line[part[0]]
            left[k] = shapely.difference(lines[k], shapely.union_all(areas[area[part]]))
    return left


def _pieces(lines: Geometries) -> Floats:
    parts = shapely.get_parts(shapely.get_parts(lines))
    parts = parts[(shapely.get_num_points(parts) == 2) & (shapely.length(parts) >= SHORTEST_MM)]
    return np.asarray(shapely.get_coordinates(parts).reshape(-1, 4))
