"""Triangles cut by a level plane, and seen from above: the two ways a body gets into a plan.

All lengths are millimetres, z upwards. Every shell of a body is cut by itself, so that two shells that
overlap are one area and a shell within its own outer shell is a hole.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import GEOSException, MultiLineString, MultiPoint, MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from importer.ifc.meshes import Mesh
from importer.tolerance import GRID_MM

Floats = NDArray[np.float64]

SNAP_MM: Final = 0.1
"""Grid on which the triangles of a shell that is not closed are made to meet."""

MOST_TRIANGLES: Final = 6000
"""A body of more is seen from above by its convex hull: nobody counts the leaves of a plant."""

SPECK_MM2: Final = 25.0
"""An area below this is noise of the cut."""


def height_range(mesh: Mesh) -> tuple[float, float]:
    """Lowest and highest z."""
    z = mesh.vertices[:, 2]
    return float(z.min()), float(z.max())


def cut_at(mesh: Mesh, height: float) -> BaseGeometry:
    """The area in which a body meets the level plane at `height`; empty where it does not."""
    above = mesh.vertices[mesh.faces, 2] >= height
    crossing = np.flatnonzero(above.any(axis=1) & ~above.all(axis=1))
    if not len(crossing):
        return Polygon()
    shell = _shells(mesh)[crossing]
    ends = _segments(mesh.vertices, mesh.faces[crossing], above[crossing], height)
    areas, open_ends = [], []
    for label in np.unique(shell).tolist():
        mine = ends[shell == label]
        area = _area(mine)
        areas.append(area)
        open_ends += [mine] if area.is_empty else []
    if open_ends:
        areas.append(_snapped_area(np.concatenate(open_ends)))
    return areas[0] if len(areas) == 1 else shapely.union_all(areas)


def _shells(mesh: Mesh) -> NDArray[np.int64]:
    """For each triangle the number of the shell it belongs to: the least vertex number in it."""
    label = np.arange(len(mesh.vertices))
    while True:
        least = label[mesh.faces].min(axis=1)
        lower = label.copy()
        np.minimum.at(lower, mesh.faces, least[:, None])
        lower = lower[lower]  # a label's own label: as far as it is known, in one step
        if np.array_equal(lower, label):
            return label[mesh.faces[:, 0]]
        label = lower


def _segments(
    vertices: Floats, faces: NDArray[np.int32], above: NDArray[np.bool_], height: float
) -> Floats:
    """Where each crossing triangle meets the plane, (n, 2, 2). An edge is always cut from its lower
    vertex number, so that the triangles on its two sides get the very same point.
    """
    # The vertex that stands alone on its side of the plane is where the two cut edges meet.
    lone_above = above.sum(axis=1) == 1
    lone = np.argmax(np.where(lone_above[:, None], above, ~above), axis=1)
    rows = np.arange(len(faces))
    tip = faces[rows, lone]
    ends = [_on_edge(vertices, tip, faces[rows, (lone + k) % 3], height) for k in (1, 2)]
    return np.stack(ends, axis=1)


def _on_edge(
    vertices: Floats, one: NDArray[np.int32], other: NDArray[np.int32], height: float
) -> Floats:
    a, b = vertices[np.minimum(one, other)], vertices[np.maximum(one, other)]
    share = (height - a[:, 2]) / (b[:, 2] - a[:, 2])
    points: Floats = a[:, :2] + share[:, None] * (b[:, :2] - a[:, :2])
    return points


def _area(segments: Floats) -> BaseGeometry:
    """The area within segments whose ends are the very same points, by the even-odd rule."""
    moved = np.hypot(*(segments[:, 1] - segments[:, 0]).T) > 0.0
    return _within(_lines(segments[moved]))


def _snapped_area(segments: Floats) -> BaseGeometry:
    """The area within segments that meet only nearly: shells torn at their seams."""
    snapped = shapely.set_precision(_lines(segments), SNAP_MM)
    return _within(shapely.union_all(shapely.get_parts(snapped)))


def _lines(segments: Floats) -> MultiLineString:
    """Segments, (n, 2, 2), as one geometry."""
    lines = shapely.multilinestrings(np.atleast_1d(np.asarray(shapely.linestrings(segments))))
    assert isinstance(lines, MultiLineString)
    return lines


def _within(lines: BaseGeometry) -> BaseGeometry:
    area = shapely.build_area(lines)
    assert isinstance(area, BaseGeometry)
    return area


def seen_from_above(mesh: Mesh) -> BaseGeometry:
    """The outline of a body on the floor."""
    flat = mesh.vertices[:, :2]
    if len(mesh.faces) > MOST_TRIANGLES:
        return MultiPoint(flat).convex_hull
    return joined_triangles(flat[mesh.faces])


def joined_triangles(corners: Floats) -> BaseGeometry:
    """The area that triangles, (n, 3, 2), cover together."""
    u, v = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
    upright = np.abs(u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0]) <= 2 * GRID_MM
    if upright.all():
        return Polygon()
    # Top and bottom of a body lie on each other: each triangle is joined once.
    snapped = np.rint(corners[~upright] / SNAP_MM).astype(np.int64)
    order = np.lexsort((snapped[:, :, 1], snapped[:, :, 0]), axis=1)
    alike = np.take_along_axis(snapped, order[:, :, None], axis=1)
    _, once = np.unique(alike.reshape(-1, 6), axis=0, return_index=True)
    return _snapped_union(np.asarray(shapely.polygons(corners[~upright][np.sort(once)])))


def polygons_of(shape: BaseGeometry, least: float = SPECK_MM2) -> list[Polygon]:
    """The polygons of a shape larger than `least`, mm2."""
    parts = shapely.get_parts(shapely.get_parts(shape))
    return [p for p in parts.tolist() if isinstance(p, Polygon) and p.area > least]


def together(shapes: Sequence[BaseGeometry] | NDArray[Any]) -> MultiPolygon:
    """Areas as one; neighbours that meet but for float noise are joined."""
    if not len(shapes):
        return MultiPolygon()
    whole = _snapped_union(np.asarray(shapes, dtype=object))
    return MultiPolygon(polygons_of(whole))


def _snapped_union(shapes: NDArray[Any]) -> BaseGeometry:
    """Areas joined on a grid; where snapping tears one, each is put on the grid by itself first."""
    try:
        return shapely.union_all(shapes, grid_size=SNAP_MM)
    except GEOSException:
        return shapely.union_all(shapely.make_valid(shapely.set_precision(shapes, SNAP_MM)))
