"""Stairs in plan: treads as seen from above below the plane of the section, what is above dashed."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Final, NamedTuple

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LineString, MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from importer.ifc.meshes import Mesh
from importer.ifc.section_cut import joined_triangles, polygons_of, together
from importer.plan import DrawnKind

Floats = NDArray[np.float64]

LEVEL_NORMAL: Final = 0.9
"""A face whose upward unit normal has at least this z is trodden on; ramps are flatter than that."""
SAME_TREAD_MM: Final = 20.0
"""Faces nearer in height than this are one tread: no riser is so low."""
LEAST_TREAD_MM2: Final = 4e4
"""A tread is larger: 200 by 200 mm."""
DOWN_MM: Final = 3500.0
"""How far down one looks into a stairwell."""
NARROWEST_MM: Final = 30.0
"""What is left of a tread under another and is narrower is its nosing."""


class Tread(NamedTuple):
    """A level face of a stair: its height and its area in plan."""

    height: float
    shape: BaseGeometry


def _treads(mesh: Mesh) -> list[Tread]:
    """Level faces of a stair by their height, from the lowest."""
    corners = mesh.vertices[mesh.faces]
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    length = np.linalg.norm(normal, axis=1)
    level = normal[:, 2] > LEVEL_NORMAL * np.maximum(length, 1e-9)
    corners = corners[level]
    if not len(corners):
        return []
    heights = corners[:, :, 2].mean(axis=1)
    order = np.argsort(heights, kind="stable")
    groups = np.cumsum(np.diff(heights[order], prepend=heights[order[0]]) > SAME_TREAD_MM)
    found = []
    for label in range(int(groups[-1]) + 1):
        mine = order[groups == label]
        shape = joined_triangles(corners[mine][:, :, :2])
        if shape.area >= LEAST_TREAD_MM2:
            found.append(Tread(float(heights[mine].max()), shape))
    return found


def all_treads(meshes: Iterable[Mesh]) -> tuple[Tread, ...]:
    """The treads of all stairs, from the highest down."""
    found = [tread for mesh in meshes for tread in _treads(mesh)]
    return tuple(sorted(found, key=lambda t: (-t.height, t.shape.bounds)))


def stair_lines(
    steps: Sequence[Tread], slabs: BaseGeometry, floor: float, plane: float
) -> list[tuple[DrawnKind, Polygon | LineString]]:
    """Treads of all stairs as one sees them on a storey.

    Args:
        steps: the treads of flights and landings (`all_treads`).
        slabs: the floor of the storey, which hides what lies below it.
        floor: height of the floor.
        plane: height of the section; treads above it are overhead.

    Returns:
        A polygon a tread, visible parts only; overhead ones as lines.
    """
    seen: list[tuple[DrawnKind, Polygon | LineString]] = []
    above = [shape for z, shape in steps if plane < z < floor + DOWN_MM]
    cover: BaseGeometry = MultiPolygon()
    for z, shape in steps:
        if z > plane:
            continue
        if z < floor - DOWN_MM:
            break
        hidden = cover if z > floor - SAME_TREAD_MM else together([cover, slabs])
        visible = shapely.difference(shape, hidden)
        seen += [(DrawnKind.STAIR, p) for p in _wide(visible)]
        cover = together([cover, shape])
    if seen:  # a stair that starts above the plane is another storey's
        dashed = [_uncovered(shape, cover) for shape in above]
        seen += [
            (DrawnKind.OVERHEAD, line)
            for line in shapely.get_parts(dashed).tolist()
            if isinstance(line, LineString) and line.length > NARROWEST_MM
        ]
    return seen


def _uncovered(shape: BaseGeometry, cover: BaseGeometry) -> BaseGeometry:
    """The outline of a tread above, where no tread below is drawn."""
    edges = shapely.difference(shape.boundary, shapely.buffer(cover, 1.0))
    return shapely.line_merge(edges)


def _wide(shape: BaseGeometry) -> list[Polygon]:
    """Parts that are more than a nosing."""
    return [p for p in polygons_of(shape) if not shapely.buffer(p, -NARROWEST_MM / 2).is_empty]
