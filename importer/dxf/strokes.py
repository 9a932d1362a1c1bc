"""One DXF entity to strokes, arcs, rings and texts on a sheet, kind by kind.

Entities that CAD stores in their own plane (OCS: arcs, circles, 2D polylines, solids, texts) are
brought to world coordinates by the map of `plane_of`; a mirrored plane (extrusion 0, 0, -1) keeps
arcs exact, a tilted one is projected down and its arcs become plain chords.

Attributes are read from the entity's own dictionary: the checked access of ezdxf costs more than
all the geometry here.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from typing import Any, Final

import numpy as np
from ezdxf.entities.dxfentity import DXFEntity
from ezdxf.math import OCS, Vec3

from importer.dxf.curves import (
    CLOSE_SHARE,
    TURN,
    arc_chords,
    bulged_points,
    circle_points,
    ellipse_points,
    spline_points,
)
from importer.dxf.drawing import Bools, Floats
from importer.dxf.hatches import boundary_loops
from importer.dxf.shapes import FARTHEST, Affine, Sheet

SAME_SHARE: Final = 1e-9
"""Vertices nearer than this share of the extent are one vertex (about the noise of a double)."""

_Z: Final = Vec3(0, 0, 1)
_MIRROR: Final = Affine(-1.0, 0.0, 0.0, 1.0, 0.0, 0.0, -1.0, 0.0)

Attributes = Mapping[str, Any]
Draw = Callable[[Sheet, DXFEntity, Attributes, int], None]


class DamagedError(ValueError):
    """An entity that holds no usable geometry; the text says why, in words that follow a comma."""


def plane_of(values: Attributes, elevation: float = 0.0) -> Affine | None:
    """Map from the entity's own plane to world x, y; None when they are the same."""
    normal = values.get("extrusion")
    if normal is None or normal == _Z:
        return None
    if normal.x == 0 and normal.y == 0 and normal.z < 0:
        return _MIRROR
    if not (math.isfinite(normal.magnitude) and normal.magnitude > 0):
        raise DamagedError("its plane is not defined")
    ocs = OCS(normal)
    across, along, up = ocs.ux, ocs.uy, ocs.uz
    return Affine(
        across.x,
        across.y,
        along.x,
        along.y,
        up.x * elevation,
        up.y * elevation,
        up.z,
        0.0,
    )


def check_numbers(*numbers: float) -> None:
    """Refuse what is not a number or further away than any drawing goes.

    Raises:
        DamagedError: one of them is.
    """
    for number in numbers:
        if not abs(number) < FARTHEST:
            raise DamagedError("its coordinates are damaged")


def check_points(points: Floats) -> None:
    """As `check_numbers` for an array."""
    if len(points) and not np.abs(points).max() < FARTHEST:
        raise DamagedError("its coordinates are damaged")


# --- lines, arcs -------------------------------------------------------------------------------


def draw_line(sheet: Sheet, _: DXFEntity, values: Attributes, source: int) -> None:
    """LINE, in world coordinates whatever its extrusion says."""
    start, end = values["start"], values["end"]
    ends = (start.x, start.y, end.x, end.y)
    check_numbers(*ends)
    sheet.line(ends, source)


def draw_arc(sheet: Sheet, _: DXFEntity, values: Attributes, source: int) -> None:
    """ARC. Equal angles are nothing drawn, a whole turn between them is a circle."""
    first, last = float(values.get("start_angle", 0.0)), float(values.get("end_angle", 360.0))
    check_numbers(first, last)
    sweep = (last - first) % 360.0
    if sweep == 0.0:
        if first == last:
            raise DamagedError("it starts where it ends")
        _draw_circle(sheet, values, source)
        return
    centre, radius = values["center"], float(values["radius"])
    row = _arc_row(centre, radius, math.radians(first % 360.0), math.radians(sweep))
    _add_arc(sheet, row, plane_of(values, centre.z), source)


def draw_circle(sheet: Sheet, _: DXFEntity, values: Attributes, source: int) -> None:
    """CIRCLE: an arc of a whole turn, and a ring."""
    _draw_circle(sheet, values, source)


def _draw_circle(sheet: Sheet, values: Attributes, source: int) -> None:
    centre, radius = values["center"], float(values["radius"])
    row = _arc_row(centre, radius, 0.0, TURN)
    plane = plane_of(values, centre.z)
    _add_arc(sheet, row, plane, source)
    points = circle_points(row[0], row[1], row[2])
    sheet.ring(points if plane is None else plane.points(points), source, filled=False)


def _arc_row(
    centre: Vec3, radius: float, start: float, sweep: float
) -> tuple[float, float, float, float, float]:
    check_numbers(centre.x, centre.y, radius)
    if radius == 0:
        raise DamagedError("its radius is zero")
    return centre.x, centre.y, abs(radius), start, sweep


def _add_arc(
    sheet: Sheet,
    row: tuple[float, float, float, float, float],
    plane: Affine | None,
    source: int,
) -> None:
    if plane is None:
        sheet.arc(row, source)
        return
    rows = np.array([row])
    if plane.is_similar:
        moved = plane.arcs(rows)[0]
        sheet.arc((moved[0], moved[1], moved[2], moved[3], moved[4]), source)
        return
    chords, _ = arc_chords(rows)
    points = plane.points(np.vstack((chords[:, :2], chords[-1:, 2:])))
    sheet.path(points, np.ones(len(chords), dtype=np.bool_), source)


def draw_ellipse(sheet: Sheet, _: DXFEntity, values: Attributes, source: int) -> None:
    """ELLIPSE, in world coordinates; one with equal axes stays an exact arc too."""
    centre, major = values["center"], values["major_axis"]
    ratio = float(values.get("ratio", 1.0))
    start, stop = float(values.get("start_param", 0.0)), float(values.get("end_param", TURN))
    check_numbers(centre.x, centre.y, major.x, major.y, major.z, ratio, start, stop)
    minor = values.get("extrusion", _Z).cross(major).normalize(major.magnitude * abs(ratio))
    sweep = (stop - start) % TURN
    # A whole turn comes out as nothing or nearly a turn, by the digits that the file keeps of pi.
    if min(sweep, TURN - sweep) < 1e-6:
        if start == stop:
            raise DamagedError("it starts where it ends")
        start, sweep = 0.0, TURN
    middle = np.array((centre.x, centre.y))
    axes = np.array(((major.x, major.y), (minor.x, minor.y)))
    frame = Affine(major.x, major.y, minor.x, minor.y, centre.x, centre.y)
    points = ellipse_points(middle, axes[0], axes[1], (start, sweep))
    if frame.is_similar:
        sheet.exact_arcs(frame.arcs(np.array([(0.0, 0.0, 1.0, start, sweep)])), source)
    _add_curve(sheet, points, source, closed=sweep == TURN)


def draw_spline(sheet: Sheet, entity: DXFEntity, _: Attributes, source: int) -> None:
    """SPLINE or HELIX; closed when its ends meet, since the flag only speaks of its knots."""
    points = spline_points(entity.construction_tool())  # type: ignore[attr-defined]
    check_points(points)
    gap, extent = _gap_and_extent(points)
    if extent == 0:
        raise DamagedError("all its points are one")
    _add_curve(sheet, points, source, closed=gap <= CLOSE_SHARE * extent)


def _add_curve(sheet: Sheet, points: Floats, source: int, *, closed: bool) -> None:
    sheet.path(points, np.ones(len(points) - 1, dtype=np.bool_), source)
    if closed and len(points) > 3:
        sheet.ring(points[:-1], source, filled=False)


def _gap_and_extent(points: Floats) -> tuple[float, float]:
    gap = float(np.hypot(*(points[-1] - points[0])))
    return gap, float(np.hypot(*np.ptp(points, axis=0)))


# --- polylines ---------------------------------------------------------------------------------


def draw_lwpolyline(sheet: Sheet, entity: DXFEntity, values: Attributes, source: int) -> None:
    """LWPOLYLINE; rows of its vertices are x, y, start width, end width, bulge."""
    rows = np.asarray(entity.lwpoints.values, dtype=np.float64).reshape(-1, 5)  # type: ignore[attr-defined]
    check_points(rows)
    closed = bool(values.get("flags", 0) & 1)
    plane = plane_of(values, float(values.get("elevation", 0.0)))
    add_polyline(sheet, rows[:, :2], rows[:, 4], plane, source, closed=closed)


_FRAME_VERTEX: Final = 16
_SPLINE_FITTED: Final = 4
_SPATIAL: Final = 8
_MESH: Final = 16 | 64


def draw_polyline(sheet: Sheet, entity: DXFEntity, values: Attributes, source: int) -> None:
    """Old POLYLINE in the plane or in space. A spline-fitted one keeps the frame it was fitted to
    between its real vertices: those are dropped.
    """
    flags = int(values.get("flags", 0))
    if flags & _MESH:
        raise DamagedError("a mesh has no plan outline")
    vertices = [vertex.dxf.__dict__ for vertex in entity.vertices]  # type: ignore[attr-defined]
    if flags & _SPLINE_FITTED:
        vertices = [v for v in vertices if not v.get("flags", 0) & _FRAME_VERTEX]
    places = [v["location"] for v in vertices]
    points = np.array([(p.x, p.y) for p in places], dtype=np.float64).reshape(-1, 2)
    bulge = np.array([v.get("bulge", 0.0) for v in vertices], dtype=np.float64)
    check_points(points)
    check_points(bulge)
    plane = None
    if flags & _SPATIAL:
        bulge[:] = 0.0
    else:
        elevation = values.get("elevation")
        plane = plane_of(values, elevation.z if elevation is not None else 0.0)
    add_polyline(sheet, points, bulge, plane, source, closed=bool(flags & 1))


def add_polyline(
    sheet: Sheet,
    points: Floats,
    bulge: Floats,
    plane: Affine | None,
    source: int,
    *,
    closed: bool,
) -> None:
    """Strokes of a polyline, and its ring when it is closed by flag or because its ends meet.

    Raises:
        DamagedError: fewer than two different points.
    """
    points, bulge, closed, bridged = tidied(points, bulge, closed=closed)
    bent = bool(bulge.any())
    if len(points) < 2:
        raise DamagedError("its points are all one")
    if len(points) == 2 and not bent:
        closed = False
    curved: Bools = np.zeros(len(points) - (not closed), dtype=np.bool_)
    if bent:
        if plane is not None and plane.is_similar and plane.is_mirrored:
            points, bulge, plane = plane.points(points), -bulge, None
        points, curved, arcs = bulged_points(points, bulge, closed=closed)
        check_points(points)
        if plane is None and len(arcs):
            sheet.exact_arcs(arcs, source)
    if plane is not None:
        points = plane.points(points)
    if closed:
        sheet.ring(points, source, filled=False, bridged=bridged)
        points = np.vstack((points, points[:1]))
    sheet.path(points, curved, source)


def tidied(points: Floats, bulge: Floats, *, closed: bool) -> tuple[Floats, Floats, bool, float]:
    """Points without repetitions, their bulges, whether they close, and the gap that was closed."""
    if len(points) < 2:
        return points, bulge, False, 0.0
    wide, tall = (points.max(axis=0) - points.min(axis=0)).tolist()
    extent = math.hypot(wide, tall)
    same = SAME_SHARE * extent
    step = np.abs(points[1:] - points[:-1]).max(axis=1)
    if step.min() <= same:
        # Of two equal vertices the later one is kept: its bulge is that of the stroke that follows.
        kept = np.append(step > same, True)
        points, bulge = points[kept], bulge[kept]
    if len(points) < 3:
        return points, bulge, closed, 0.0
    (first_x, first_y), (last_x, last_y) = points[0].tolist(), points[-1].tolist()
    gap = math.hypot(last_x - first_x, last_y - first_y)
    if gap <= same or (not closed and gap <= CLOSE_SHARE * extent and len(points) > 3):
        return points[:-1], bulge[:-1], True, 0.0 if closed or gap <= same else gap
    return points, bulge, closed, 0.0


# --- faces and fills ---------------------------------------------------------------------------


def _corners(values: Attributes) -> list[Vec3]:
    corners = [values[f"vtx{i}"] for i in range(4) if f"vtx{i}" in values]
    for corner in corners:
        check_numbers(corner.x, corner.y, corner.z)
    if len(corners) < 3:
        raise DamagedError("it has fewer than three corners")
    return corners


def draw_solid(sheet: Sheet, _: DXFEntity, values: Attributes, source: int) -> None:
    """SOLID or TRACE: a filled ring. The third and fourth corner are stored crosswise."""
    corners = _corners(values)
    if len(corners) == 4:
        corners[2], corners[3] = corners[3], corners[2]
    points = np.array([(p.x, p.y) for p in corners])
    plane = plane_of(values, corners[0].z)
    _add_fill(sheet, points if plane is None else plane.points(points), source)


def draw_face(sheet: Sheet, _: DXFEntity, values: Attributes, source: int) -> None:
    """3DFACE, in world coordinates: its visible edges seen from above."""
    corners = _corners(values)
    hidden = int(values.get("invisible_edges", 0))
    for i, (start, end) in enumerate(zip(corners, corners[1:] + corners[:1], strict=True)):
        if not hidden & (1 << i):
            sheet.line((start.x, start.y, end.x, end.y), source)


def draw_hatch(sheet: Sheet, entity: DXFEntity, values: Attributes, source: int) -> None:
    """HATCH or MPOLYGON: its boundaries as filled rings, never its pattern. Which of the rings are
    islands follows from the even-odd rule over all rings of one source.
    """
    elevation = values.get("elevation")
    plane = plane_of(values, elevation.z if elevation is not None else 0.0)
    for loop in boundary_loops(entity):
        check_points(loop.points)
        points, bulge, _, _ = tidied(loop.points, loop.bulge, closed=True)
        if len(points) < 2:
            continue
        if bulge.any():
            points, _, _ = bulged_points(points, bulge, closed=True)
            check_points(points)
        _add_fill(sheet, points if plane is None else plane.points(points), source)


def _add_fill(sheet: Sheet, points: Floats, source: int) -> None:
    points, _, _, _ = tidied(points, np.zeros(len(points)), closed=True)
    if len(points) >= 3:
        sheet.ring(points, source, filled=True)


DRAW: Final[Mapping[str, Draw]] = {
    "LINE": draw_line,
    "ARC": draw_arc,
    "CIRCLE": draw_circle,
    "ELLIPSE": draw_ellipse,
    "SPLINE": draw_spline,
    "HELIX": draw_spline,
    "LWPOLYLINE": draw_lwpolyline,
    "POLYLINE": draw_polyline,
    "SOLID": draw_solid,
    "TRACE": draw_solid,
    "3DFACE": draw_face,
    "HATCH": draw_hatch,
    "MPOLYGON": draw_hatch,
}
"""How each kind is drawn. Blocks, multilines, texts and proxies are dealt with by the walk."""

_LEVEL_KEY: Final = {
    "LINE": "start",
    "SPLINE": "",
    "SOLID": "vtx0",
    "TRACE": "vtx0",
    "3DFACE": "vtx0",
    "ARC": "center",
    "CIRCLE": "center",
    "ELLIPSE": "center",
    "LWPOLYLINE": "elevation",
    "POLYLINE": "elevation",
    "HATCH": "elevation",
    "MLINE": "start_location",
}


def level_of(kind: str, values: Attributes) -> float:
    """Height of an entity above z = 0, from its first point; 0 where that cannot be told."""
    place = values.get(_LEVEL_KEY.get(kind, "insert"), 0.0)
    height = place if isinstance(place, float) else getattr(place, "z", 0.0)
    normal = values.get("extrusion")
    if height and normal is not None and normal.z < 0 and kind not in {"LINE", "ELLIPSE", "3DFACE"}:
        height = -height
    return height if abs(height) < FARTHEST else 0.0
