"""Block references cropped to a window (XCLIP): what lies outside of it is not drawn."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import Final

import numpy as np
import shapely
from ezdxf.entities.insert import Insert
from ezdxf.xclip import XClip
from shapely import Polygon

from importer.dxf.arrays import line_array
from importer.dxf.drawing import Bools, Floats, Ints
from importer.dxf.shapes import Shapes

_SAMPLES: Final = np.linspace(0.0, 1.0, 9)


class UnclearClipError(ValueError):
    """A window that is inverted (a hole) or no proper polygon."""


def window_of(reference: Insert) -> Polygon | None:
    """The window of a block reference in the coordinates of its block, None when it has none.

    Raises:
        UnclearClipError: it has one that cannot be applied.
    """
    if not reference.has_extension_dict:
        return None
    clip = XClip(reference)
    if not clip.has_clipping_path or not clip.is_clipping_enabled:
        return None
    path = clip.get_block_clipping_path()
    if path.is_inverted_clip or len(path.vertices) < 3:
        raise UnclearClipError
    window = Polygon([(vertex.x, vertex.y) for vertex in path.vertices])
    if not window.is_valid or window.area <= 0:
        raise UnclearClipError
    return window


def cropped(shapes: Shapes, window: Polygon) -> Shapes:
    """The part of the shapes inside the window.

    Strokes are cut at its edge. An outline that is cut is no ring any more, a fill stays one.
    Arcs stay exact only when they lie inside whole; texts when their middle does.
    """
    shapely.prepare(window)
    ends, kept = _cropped_strokes(shapes.ends, window)
    arcs = _arcs_inside(shapes.arcs, window)
    rings = list(_cropped_rings(shapes, window))
    sizes = np.array([len(points) for points, _ in rings], dtype=np.int32)
    index = np.array([ring for _, ring in rings], dtype=np.int32)
    return replace(
        shapes,
        ends=ends,
        ends_source=shapes.ends_source[kept],
        curved=shapes.curved[kept],
        arcs=shapes.arcs[arcs],
        arc_source=shapes.arc_source[arcs],
        ring_points=np.concatenate([points for points, _ in rings]) if rings else np.empty((0, 2)),
        ring_ends=np.cumsum(sizes).astype(np.int32),
        ring_source=shapes.ring_source[index],
        ring_filled=shapes.ring_filled[index],
        ring_bridged=shapes.ring_bridged[index],
        texts=tuple(text for text in shapes.texts if shapely.contains_xy(window, text.x, text.y)),
    )


def _cropped_strokes(ends: Floats, window: Polygon) -> tuple[Floats, Ints]:
    """Strokes inside, cut where they leave, and the index of the stroke that each comes from."""
    lines = line_array(ends)
    whole = shapely.covers(window, lines)
    cut = np.flatnonzero(~whole & shapely.intersects(window, lines))
    parts, owner = shapely.get_parts(shapely.intersection(lines[cut], window), return_index=True)
    is_line = (shapely.get_type_id(parts) == shapely.GeometryType.LINESTRING) & (
        shapely.length(parts) > 0
    )
    parts, owner = parts[is_line], owner[is_line]
    pieces = np.array([shapely.get_coordinates(part)[[0, -1]] for part in parts]).reshape(-1, 4)
    index = np.concatenate((np.flatnonzero(whole), cut[owner])).astype(np.int32)
    order = np.argsort(index, kind="stable")
    return np.concatenate((ends[whole], pieces))[order], index[order]


def _arcs_inside(rows: Floats, window: Polygon) -> Bools:
    if not len(rows):
        return np.zeros(0, dtype=np.bool_)
    angle = rows[:, 3:4] + rows[:, 4:5] * _SAMPLES
    x = rows[:, 0:1] + rows[:, 2:3] * np.cos(angle)
    y = rows[:, 1:2] + rows[:, 2:3] * np.sin(angle)
    return np.asarray(np.all(shapely.intersects_xy(window, x, y), axis=1), dtype=np.bool_)


def _cropped_rings(shapes: Shapes, window: Polygon) -> Iterator[tuple[Floats, int]]:
    start = 0
    for index, stop in enumerate(shapes.ring_ends.tolist()):
        points = shapes.ring_points[start:stop]
        start = stop
        ring = Polygon(points)
        if window.covers(ring):
            yield points, index
        elif shapes.ring_filled[index] and window.intersects(ring):
            inside = shapely.intersection(shapely.make_valid(ring), window)
            for part in shapely.get_parts(inside):
                if isinstance(part, Polygon) and part.area > 0:
                    yield shapely.get_coordinates(part.exterior)[:-1], index
