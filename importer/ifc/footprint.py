"""The floor of a space out of its body.

Three readings, the first that holds: the near-level faces at the bottom; the section a hand's breadth
above the bottom, which is right where the bottom is sunk, sloped or missing; the outline seen from
above. Real spaces are prisms near the floor and all three agree; where they do not, that is told.

        |                    |       section at +100 -> right with a raised sill or a sunk bottom
        |____________________|
      __|                            faces up to +300 -> right with galleries and leaning walls above
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from importer.ifc.meshes import Mesh
from importer.ifc.section_cut import cut_at, joined_triangles, polygons_of
from importer.outlines import clean_outline
from importer.tolerance import GRID_MM

Floats = NDArray[np.float64]

LEVEL: Final = 0.9
"""Vertical part of the normal above which a face is near-level: a slope of 26 degrees."""
BOTTOM_MM: Final = 300.0
"""Faces up to this above the lowest point are floor: two steps, no bench."""
CUT_MM: Final = 100.0
"""Height of the section: above thresholds and skirtings' foot, below every sill."""
FACES_HOLD: Final = 0.97
"""Floor faces smaller than this part of the section are incomplete, and the section counts."""
AGREE: Final = 0.01
"""Readings that differ by more than this part are told."""
STEP_MM: Final = 20.0
"""Floor faces further apart in height than this are a step in the room, not unevenness."""
SAME_AREA: Final = 1e-4
CLOSE_MM: Final = 0.3
SMOOTH_MM: Final = 0.5
"""Corners nearer the line of their neighbours are none: facets of a curve."""
LEAST_MM2: Final = 5e4
"""A part of a space below this is no floor anybody lays."""


class Reading(Enum):
    """What a footprint was taken from."""

    FACES = "floor faces"
    SECTION = "section"
    OUTLINE = "outline from above"
    FOOTPRINT = "footprint curve"
    PROFILE = "profile"
    BOUNDARIES = "space boundaries"


@dataclass(frozen=True, slots=True, kw_only=True)
class Footprint:
    """The floor of a space: its parts, mm, largest first; `low` and `high` its z range; `differs` by how
    much the readings contradict each other, as a part of the area; `step` the height of a step in it.
    """

    parts: tuple[Polygon, ...]
    low: float
    high: float
    reading: Reading
    differs: float = 0.0
    step: float = 0.0

    @property
    def area(self) -> float:
        """All parts together, mm2."""
        return sum(p.area for p in self.parts)


def footprint(mesh: Mesh) -> Footprint | None:
    """The floor of a body; None where it covers none.

    Args:
        mesh: the body of a space, mm.
    """
    low, high = float(mesh.vertices[:, 2].min()), float(mesh.vertices[:, 2].max())
    corners = mesh.vertices[mesh.faces]
    floor = _floor_faces(corners, low)
    faces = _faces_area(mesh, floor)
    section = cut_at(mesh, low + CUT_MM) if high > low + CUT_MM else Polygon()
    shape, reading = faces, Reading.FACES
    if faces.area < FACES_HOLD * section.area:
        shape, reading = section, Reading.SECTION
    if shape.is_empty:
        shape, reading = joined_triangles(corners[:, :, :2]), Reading.OUTLINE
    parts = tidy_parts(shape)
    if not parts:
        return None
    levels = corners[floor][:, :, 2]
    return Footprint(
        parts=parts,
        low=low,
        high=high,
        reading=reading,
        differs=_difference(faces, section),
        step=float(levels.max() - levels.min()) if reading is Reading.FACES else 0.0,
    )


def tidy_parts(shape: BaseGeometry) -> tuple[Polygon, ...]:
    """The parts of a floor, largest first, without needless corners and specks, counter-clockwise."""
    smooth = shapely.simplify(shape, SMOOTH_MM)
    if not smooth.is_valid:
        smooth = shapely.make_valid(smooth)
    cleaned = [clean_outline(p) for p in polygons_of(smooth, LEAST_MM2)]
    kept = [p for p in cleaned if p is not None and p.area >= LEAST_MM2]
    return tuple(sorted(kept, key=lambda p: (-p.area, p.bounds)))


def _floor_faces(corners: Floats, low: float) -> NDArray[np.bool_]:
    """Which triangles, (n, 3, 3), are floor."""
    normals = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    length = np.linalg.norm(normals, axis=1)
    level = np.abs(normals[:, 2]) > LEVEL * np.maximum(length, GRID_MM**2)
    at_bottom = corners[:, :, 2].max(axis=1) <= low + BOTTOM_MM
    found: NDArray[np.bool_] = level & at_bottom
    return found


def _faces_area(mesh: Mesh, floor: NDArray[np.bool_]) -> BaseGeometry:
    """The area of some faces by the edges that only one of them has: no sliver is lost and no corner
    added, which a union on a grid does. Where faces overlap the union is taken after all.
    """
    faces = mesh.faces[floor]
    if not len(faces):
        return Polygon()
    edges = np.sort(faces[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2), axis=1)
    unique, count = np.unique(edges, axis=0, return_counts=True)
    flat = mesh.vertices[:, :2]
    corners = flat[faces]
    rim = shapely.linestrings(flat[unique[count == 1]])
    area = shapely.build_area(shapely.multilinestrings(rim))
    u, v = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
    total = float(np.abs(u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0]).sum()) / 2
    if abs(area.area - total) <= SAME_AREA * total:
        assert isinstance(area, BaseGeometry)
        return area
    joined = shapely.buffer(joined_triangles(corners), CLOSE_MM, join_style="mitre")
    closed = shapely.buffer(joined, -CLOSE_MM, join_style="mitre")
    return closed if isinstance(closed, BaseGeometry) else MultiPolygon()


def _difference(one: BaseGeometry, two: BaseGeometry) -> float:
    """By which part of the larger two readings differ; 0 where one is missing."""
    if one.is_empty or two.is_empty:
        return 0.0
    return abs(one.area - two.area) / max(one.area, two.area)
