"""Openings in plan: the rectangle along the wall, clipped to the thickness of the wall it is in.

Frame of an opening: u along the wall, v across it, towards the side that the leaf opens to where a
door hangs in it (IFC: a door opens towards +y of its placement). All lengths are millimetres.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import MultiPoint, Polygon
from shapely.geometry.base import BaseGeometry

from importer.ifc.meshes import Mesh, mesh_products
from importer.ifc.model import Entity, IfcModel
from importer.ifc.section_cut import polygons_of
from importer.plan import Point

Floats = NDArray[np.float64]

BESIDE_MM: Final = 300.0
"""Where a wall has its opening cut out of its body already, its thickness is looked for this far beside
the opening."""

BOXED: Final = 0.98
"""A body that fills its box in plan by this part is a box."""

LEAST_SIDE_MM: Final = 10.0
"""A wall is no thinner, an opening no narrower."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Gap:
    """A rectangle in plan. `origin` and `along` (unit vector) are its frame; the corners of the
    rectangle are `u0`, `u1`, `v0`, `v1` in it; it reaches from `low` to `high`.
    """

    origin: Point
    along: Point
    u0: float
    u1: float
    v0: float
    v1: float
    low: float
    high: float

    @property
    def width(self) -> float:
        """Jamb to jamb."""
        return self.u1 - self.u0

    def at(self, u: float, v: float) -> Point:
        """A point of the frame in the plan."""
        (x, y), (ux, uy) = self.origin, self.along
        return x + u * ux - v * uy, y + u * uy + v * ux

    def box(self, u0: float, v0: float, u1: float, v1: float) -> Polygon:
        """A rectangle of the frame in the plan."""
        return Polygon([self.at(u0, v0), self.at(u1, v0), self.at(u1, v1), self.at(u0, v1)])

    @property
    def shape(self) -> Polygon:
        """The rectangle in the plan."""
        return self.box(self.u0, self.v0, self.u1, self.v1)


@dataclass(frozen=True, slots=True, kw_only=True)
class Opening:
    """A gap in a wall and what fills it: a door, a window or nothing. `host` is the step id of the wall;
    `entity` is the opening, or the filling itself where it stands in no opening.
    """

    gap: Gap
    entity: Entity
    host: int | None = None
    filling: Entity | None = None


def find_openings(model: IfcModel) -> tuple[Opening, ...]:
    """Openings in walls, then doors and windows that stand in none, in the order of the file. Openings
    in slabs and furniture are no business of a plan's walls.
    """
    found = [o for o in map(_in_wall, model.all_of("IfcOpeningElement")) if o is not None]
    meshes, _ = mesh_products(model, [o.entity for o in found], cut_openings=False)
    openings = [
        Opening(
            gap=_gap(meshes[o.entity.id()], _frame(o.filling or o.entity), is_hole=True),
            entity=o.entity,
            host=o.host,
            filling=o.filling,
        )
        for o in found
        if o.entity.id() in meshes
    ]
    # A door whose opening is lost or in no wall is there all the same.
    shown = {o.filling.id() for o in openings if o.filling is not None}
    free = [f for f in model.all_of("IfcDoor", "IfcWindow") if f.id() not in shown]
    meshes, _ = mesh_products(model, free, cut_openings=False)
    for filling in free:
        mesh = meshes.get(filling.id())
        if mesh is not None:
            gap = _less_casing(_gap(mesh, _frame(filling)), filling, model.to_mm)
            openings.append(Opening(gap=gap, entity=filling, filling=filling))
    return tuple(openings)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Hole:
    """An opening before its body is known."""

    entity: Entity
    host: int
    filling: Entity | None


def _in_wall(opening: Entity) -> _Hole | None:
    """An opening of a wall, or of whatever else a door or window fills it in."""
    fillings = [r.RelatedBuildingElement for r in opening.HasFillings or ()]
    # A gap filled twice is drawn once: by its door when it has one.
    known = [f for f in fillings if f is not None]
    filling = min(known, key=lambda f: (not f.is_a("IfcDoor"), f.id()), default=None)
    for relation in opening.VoidsElements or ():
        host = relation.RelatingBuildingElement
        if host is not None and (host.is_a("IfcWall") or (filling and not host.is_a("IfcSlab"))):
            return _Hole(entity=opening, host=host.id(), filling=filling)
    return None


def _frame(product: Entity) -> tuple[Point, Point]:
    """Origin in the file's unit and direction of x of a placement, level; (0, 0) and x where it has
    none or stands on its head.
    """
    from ifcopenshell.util.placement import get_local_placement

    if product.ObjectPlacement is None:
        return (0.0, 0.0), (1.0, 0.0)
    matrix = get_local_placement(product.ObjectPlacement)
    x, y = float(matrix[0, 0]), float(matrix[1, 0])
    length = float(np.hypot(x, y))
    if not np.isfinite(matrix).all() or length < 0.1:
        return (0.0, 0.0), (1.0, 0.0)
    return (float(matrix[0, 3]), float(matrix[1, 3])), (x / length, y / length)


def _gap(mesh: Mesh, frame: tuple[Point, Point], *, is_hole: bool = False) -> Gap:
    """The extent of a body in its frame. The frame's origin is moved to the body: placements and bodies
    can be far apart. The body of a hole is a box; where it stands askew in the frame, its own sides
    count.
    """
    _, along = frame
    centre = mesh.vertices.mean(axis=0)
    flat = mesh.vertices[:, :2] - centre[:2]
    if is_hole:
        along = _along_sides(flat, along)
    u = flat @ np.array(along)
    v = flat @ np.array([-along[1], along[0]])
    z = mesh.vertices[:, 2]
    return Gap(
        origin=(float(centre[0]), float(centre[1])),
        along=along,
        u0=float(u.min()),
        u1=float(u.max()),
        v0=float(v.min()),
        v1=float(v.max()),
        low=float(z.min()),
        high=float(z.max()),
    )


def _along_sides(flat: Floats, along: Point) -> Point:
    """The direction of the sides of a box in plan that is nearest to `along`; `along` itself where that
    fits the box, or where it is no box.
    """
    hull = MultiPoint(flat).convex_hull
    way = np.array(along)
    u, v = flat @ way, flat @ np.array([-way[1], way[0]])
    if hull.area >= BOXED * (np.ptp(u) * np.ptp(v)):
        return along
    box = shapely.oriented_envelope(hull)
    if not isinstance(box, Polygon) or hull.area < BOXED * box.area:
        return along
    side = np.diff(np.asarray(box.exterior.coords)[:3], axis=0)
    ways = side / np.hypot(side[:, 0], side[:, 1])[:, None]
    best = ways[int(np.argmax(np.abs(ways @ way)))]
    best = best if best @ way >= 0 else -best
    return float(best[0]), float(best[1])


def _less_casing(gap: Gap, filling: Entity, to_mm: float) -> Gap:
    """The body of a door that stands in no opening has casings: cut to its stated width about the
    middle.
    """
    stated = float(getattr(filling, "OverallWidth", None) or 0.0) * to_mm
    if not LEAST_SIDE_MM < stated < gap.width:
        return gap
    middle = (gap.u0 + gap.u1) / 2
    return replace(gap, u0=middle - stated / 2, u1=middle + stated / 2)


def clipped(opening: Opening, sections: Mapping[int, BaseGeometry]) -> Opening:
    """The opening no deeper than its wall: bodies of openings stick out on either side.

    Args:
        opening: as found.
        sections: sections of the walls by step id, openings not cut out.
    """
    wall = sections.get(opening.host) if opening.host is not None else None
    if wall is None or wall.is_empty:
        return opening
    gap = opening.gap
    inside = gap.box(gap.u0 + 1.0, gap.v0, gap.u1 - 1.0, gap.v1).intersection(wall)
    if not polygons_of(inside):
        u0, u1 = gap.u0 - BESIDE_MM, gap.u1 + BESIDE_MM
        inside = gap.box(u0, gap.v0, u1, gap.v1).intersection(wall)
    if not polygons_of(inside):
        return opening
    (x, y), (ux, uy) = gap.origin, gap.along
    across = (shapely.get_coordinates(inside) - (x, y)) @ np.array([-uy, ux])
    v0, v1 = max(gap.v0, float(across.min())), min(gap.v1, float(across.max()))
    if v1 - v0 < LEAST_SIDE_MM:
        return opening
    return replace(opening, gap=replace(gap, v0=v0, v1=v1))


def less_openings(wall: BaseGeometry, gaps: Sequence[Gap]) -> BaseGeometry:
    """A section of a wall with its own openings cut out; a little deeper than the wall, so that nothing
    is left standing on its faces.
    """
    if not gaps:
        return wall
    boxes = [g.box(g.u0, g.v0 - 1.0, g.u1, g.v1 + 1.0) for g in gaps]
    return shapely.difference(wall, shapely.union_all(boxes))
