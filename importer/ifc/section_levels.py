"""Storeys by the height of their floors, and the slabs that carry these."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import shapely
from shapely import MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from importer.ifc.section_bodies import Bodies, Role
from importer.ifc.section_cut import cut_at, polygons_of, together
from importer.plan import StoreyId

FLOOR_MM: Final = 250.0
"""A slab whose top is no further from the floor than this carries it: the rest is screed and finish."""
LEAST_HOLE_MM2: Final = 4e4
"""Smaller holes in a slab are for pipes."""
NARROW_MM: Final = 150.0
"""Strips along the edge of a slab narrower than this are screed, not a hole."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Level:
    """A storey and the height of its floor, mm, model coordinates. `doors` counts the doors that stand
    on this floor, where that was asked for.
    """

    storey: StoreyId
    floor: float
    doors: int = 0


def floor_of(bodies: Bodies, height: float) -> MultiPolygon:
    """The slabs whose tops lie at a floor, from above, less their openings."""
    near = [b for b in bodies.of(Role.SLAB) if abs(b.high - height) <= FLOOR_MM]
    return together([cut_at(b.mesh, max(b.low, b.high - 1.0)) for b in near])


def bare_of(shape: Polygon, floor: BaseGeometry) -> MultiPolygon:
    """Where no slab lies under a room, strips along its edges left out."""
    bare = shape.difference(floor)
    opened = shapely.buffer(bare, -NARROW_MM / 2, join_style="mitre")
    grown = shapely.buffer(opened, NARROW_MM / 2, join_style="mitre")
    return MultiPolygon(polygons_of(grown.intersection(bare), LEAST_HOLE_MM2))


def holes_in(floor: MultiPolygon) -> list[Polygon]:
    """Holes in a floor large enough to fall into."""
    rings = [Polygon(ring) for part in polygons_of(floor) for ring in part.interiors]
    return [hole for hole in rings if hole.area >= LEAST_HOLE_MM2]
