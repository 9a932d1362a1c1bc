"""The floor of a space as it is written down, where no body can be made of it: its footprint curve, the
profile that its body is drawn up from, the boundaries to its floor. A bounding box is never a room.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, Final

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon
from shapely.geometry.base import BaseGeometry

from importer.ifc.footprint import Footprint, Reading, tidy_parts
from importer.ifc.model import Entity, IfcModel
from importer.ifc.storeys import placement_of
from importer.ifc.written_curves import profile_area, ring_of

Floats = NDArray[np.float64]

UPRIGHT: Final = 0.999
"""Vertical part of an axis above which it is upright."""
USUAL_HEIGHT_MM: Final = 2500.0
"""Height that a space is given where only its floor is written down (common practice, no source)."""
LEVEL_MM: Final = 50.0
"""Boundaries within this of the lowest one belong to the floor."""


def written_footprint(model: IfcModel, space: Entity) -> Footprint | None:
    """The floor of a space by what is written of it; None where nothing usable is.

    Args:
        model: the opened model.
        space: an `IfcSpace` without a body.
    """
    readings = (
        (Reading.FOOTPRINT, _by_footprint),
        (Reading.PROFILE, _by_profile),
        (Reading.BOUNDARIES, _by_boundaries),
    )
    for reading, read in readings:
        try:
            found = read(model, space)
        except (AttributeError, TypeError, ValueError, IndexError, np.linalg.LinAlgError):
            continue  # an attribute that the schema asks for is missing
        if found is None:
            continue
        shape, low, height = found
        parts = tidy_parts(shape)
        if parts:
            return Footprint(parts=parts, low=low, high=low + height, reading=reading)
    return None


_Found = tuple[BaseGeometry, float, float] | None
"""Area in the plan, foot and height: mm, near the model's origin."""


def _frame(model: IfcModel, space: Entity) -> Floats:
    """Placement of a space with lengths in mm, near the model's origin."""
    matrix = placement_of(space)
    frame = np.eye(4) if matrix is None else np.array(matrix)
    frame[:3, 3] *= model.to_mm
    frame[:2, 3] -= model.origin
    return frame


def _representations(space: Entity) -> Iterator[Entity]:
    shape = getattr(space, "Representation", None)
    for representation in () if shape is None else shape.Representations or ():
        if representation is not None:
            yield representation


def _by_footprint(model: IfcModel, space: Entity) -> _Found:
    """Curves of a representation called FootPrint, in the plane of the space's placement."""
    rings = []
    for representation in _representations(space):
        if (representation.RepresentationIdentifier or "").lower() != "footprint":
            continue
        for item in representation.Items or ():
            curves = item.Elements or () if item.is_a("IfcGeometricSet") else (item,)
            rings += [r for r in map(ring_of, curves) if r is not None]
    if not rings:
        return None
    frame = _frame(model, space)
    if abs(frame[2, 2]) < UPRIGHT:
        return None
    areas = [_placed(Polygon(r), frame, model.to_mm) for r in rings]
    # The largest ring is the room, the others are holes in it.
    areas.sort(key=lambda a: -a.area)
    shape = shapely.difference(areas[0], shapely.union_all(areas[1:])) if areas[1:] else areas[0]
    return shape, float(frame[2, 3]), USUAL_HEIGHT_MM


def _by_profile(model: IfcModel, space: Entity) -> _Found:
    """The profile of a body that is drawn straight up."""
    for representation in _representations(space):
        for item in representation.Items or ():
            if not item.is_a("IfcExtrudedAreaSolid"):
                continue
            area = profile_area(item.SweptArea)
            frame = _frame(model, space) @ _axis_3d(item.Position, model.to_mm)
            direction = np.asarray(item.ExtrudedDirection.DirectionRatios, dtype=np.float64)
            direction = frame[:3, :3] @ (direction / np.linalg.norm(direction))
            if area is None or abs(direction[2]) < UPRIGHT or abs(frame[2, 2]) < UPRIGHT:
                continue
            depth = float(item.Depth) * model.to_mm
            low = min(float(frame[2, 3]), float(frame[2, 3] + direction[2] * depth))
            return _placed(area, frame, model.to_mm), low, abs(depth)
    return None


def _by_boundaries(model: IfcModel, space: Entity) -> _Found:
    """The lowest level planes among the boundaries of a space."""
    frame = _frame(model, space)
    planes = []
    for relation in getattr(space, "BoundedBy", ()) or ():
        geometry = getattr(relation, "ConnectionGeometry", None)
        surface = getattr(geometry, "SurfaceOnRelatingElement", None)
        plane = None if surface is None else _level_plane(surface, frame, model.to_mm)
        if plane is not None:
            planes.append(plane)
    if not planes:
        return None
    low = min(z for _, z in planes)
    floor = [area for area, z in planes if z <= low + LEVEL_MM]
    ceiling = max(z for _, z in planes)
    height = ceiling - low if ceiling - low > LEVEL_MM else USUAL_HEIGHT_MM
    return shapely.union_all(floor), low, height


def _level_plane(surface: Entity, frame: Floats, to_mm: float) -> tuple[Polygon, float] | None:
    """A bounded plane that lies level, as an area in the plan and its height."""
    if surface.is_a("IfcCurveBoundedPlane"):
        basis, ring = surface.BasisSurface, ring_of(surface.OuterBoundary)
    else:
        return None
    placed = frame @ _axis_3d(basis.Position, to_mm)
    if ring is None or abs(placed[2, 2]) < UPRIGHT:
        return None
    return _placed(Polygon(ring), placed, to_mm), float(placed[2, 3])


def _placed(area: Polygon, frame: Floats, to_mm: float) -> Polygon:
    """A polygon of a plane, file unit, in the plan, mm."""

    def moved(points: Any) -> Any:
        mm = np.column_stack([points * to_mm, np.zeros(len(points)), np.ones(len(points))])
        return (mm @ frame.T)[:, :2]

    return shapely.transform(area, moved)


def _axis_3d(position: Entity | None, to_mm: float) -> Floats:
    """A placement in space as a 4 x 4 matrix, lengths in mm."""
    from ifcopenshell.util.placement import get_axis2placement

    if position is None:
        return np.eye(4)
    matrix = np.asarray(get_axis2placement(position), dtype=np.float64)
    matrix[:3, 3] *= to_mm
    return matrix
