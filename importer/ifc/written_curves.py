"""Plane curves and profiles of a model read by hand, where the kernel makes nothing of them.

Points come in the file's unit in the plane of the curve; circles are broken into chords. What is not
known here gives None, never a guess.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from math import acos, ceil, cos, hypot, isfinite, pi, radians, sin
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray
from shapely import Polygon

from importer.ifc.model import Entity

Floats = NDArray[np.float64]
Points = list[tuple[float, float]]

SAGITTA: Final = 5e-4
"""Greatest distance of a chord from its circle, as a part of the radius; 0.5 mm at 1 m."""
_MOST_DEPTH: Final = 8


def ring_of(curve: Entity | None, depth: int = 0) -> Points | None:
    """The corners of a closed curve, first not repeated, in the file's unit; None where it is none."""
    points = _points(curve, depth)
    if points is None or len(points) < 3:
        return None
    if hypot(points[0][0] - points[-1][0], points[0][1] - points[-1][1]) < 1e-9:
        points = points[:-1]
    return points if len(points) >= 3 else None


def _points(curve: Entity | None, depth: int) -> Points | None:
    if curve is None or depth > _MOST_DEPTH:
        return None
    readers: dict[str, Callable[[Entity], Points | None]] = {
        "IfcPolyline": lambda c: _coordinates([p.Coordinates for p in c.Points or () if p]),
        "IfcIndexedPolyCurve": _indexed,
        "IfcCompositeCurve": lambda c: _composite(c, depth),
        "IfcTrimmedCurve": _trimmed,
        "IfcCircle": lambda c: _circle(c, 0.0, 2 * pi),
    }
    read = readers.get(curve.is_a())
    return None if read is None else read(curve)


def _coordinates(rows: Sequence[Sequence[float]]) -> Points | None:
    points = [(float(r[0]), float(r[1])) for r in rows if r is not None and len(r) >= 2]
    return points if all(isfinite(x) and isfinite(y) for x, y in points) else None


def _indexed(curve: Entity) -> Points | None:
    points = _coordinates(curve.Points.CoordList or ())
    if points is None or not curve.Segments:
        return points
    found: Points = []
    for segment in curve.Segments:
        index = segment.wrappedValue
        if not all(1 <= i <= len(points) for i in index):
            return None
        corners = [points[i - 1] for i in index]
        if segment.is_a("IfcArcIndex") and len(corners) == 3:
            corners = _arc_through(*corners)
        found += corners if not found else corners[1:]
    return found


def _composite(curve: Entity, depth: int) -> Points | None:
    found: Points = []
    for segment in curve.Segments or ():
        points = _points(getattr(segment, "ParentCurve", None), depth + 1)
        if points is None:
            return None
        if segment.SameSense is False:
            points = points[::-1]
        found += points if not found else points[1:]
    return found


def _trimmed(curve: Entity) -> Points | None:
    """An arc of a circle between two angles or points; a straight piece between two points."""
    basis = curve.BasisCurve
    ends = [_trim(curve.Trim1, basis), _trim(curve.Trim2, basis)]
    if any(e is None for e in ends):
        return None
    (one, first), (two, second) = ends[0], ends[1]  # type: ignore[misc]  # neither is None
    if basis.is_a("IfcLine"):
        return [one, two] if one is not None and two is not None else None
    if not basis.is_a("IfcCircle") or first is None or second is None:
        return None
    if curve.SenseAgreement is False:
        first, second = second, first
    if second <= first:
        second += 2 * pi
    points = _circle(basis, first, second)
    return points[::-1] if curve.SenseAgreement is False else points


def _trim(
    trims: Sequence[Any], basis: Entity
) -> tuple[tuple[float, float] | None, float | None] | None:
    """A trim as a point and, on a circle, as an angle in radians."""
    point = next((t.Coordinates[:2] for t in trims if t.is_a("IfcCartesianPoint")), None)
    if basis.is_a("IfcCircle"):
        frame = axis_2d(basis.Position)
        if point is not None:
            x, y = np.linalg.inv(frame)[:2, :2] @ (np.array(point) - frame[:2, 2])
            return (float(point[0]), float(point[1])), float(np.arctan2(y, x))
        value = next((t.wrappedValue for t in trims if t.is_a("IfcParameterValue")), None)
        # Degrees where they cannot be radians: the unit of angles is one of the two.
        angle = None if value is None else value if abs(value) <= 2 * pi else radians(value)
        return None if angle is None else (None, float(angle))
    return None if point is None else ((float(point[0]), float(point[1])), None)


def _circle(circle: Entity, first: float, second: float) -> Points:
    radius, frame = float(circle.Radius), axis_2d(circle.Position)
    chord = 2 * acos(1 - SAGITTA)
    count = max(2, ceil((second - first) / chord))
    found = []
    for k in range(count + 1):
        turn = first + (second - first) * k / count
        x, y, _ = frame @ (radius * cos(turn), radius * sin(turn), 1.0)
        found.append((float(x), float(y)))
    return found


def _arc_through(a: tuple[float, float], b: tuple[float, float], c: tuple[float, float]) -> Points:
    """Chords of the arc from a through b to c; straight where the three lie on a line."""
    (ax, ay), (bx, by), (cx, cy) = a, b, c
    d = 2 * (ax * (by - cy) + bx * (cy - ay) + cx * (ay - by))
    if abs(d) < 1e-12:
        return [a, b, c]
    a2, b2, c2 = ax * ax + ay * ay, bx * bx + by * by, cx * cx + cy * cy
    ux = (a2 * (by - cy) + b2 * (cy - ay) + c2 * (ay - by)) / d
    uy = (a2 * (cx - bx) + b2 * (ax - cx) + c2 * (bx - ax)) / d
    radius = hypot(ax - ux, ay - uy)
    start, mid, end = (np.arctan2(y - uy, x - ux) for x, y in (a, b, c))
    forward = (mid - start) % (2 * pi) < (end - start) % (2 * pi)
    sweep = (end - start) % (2 * pi) if forward else -((start - end) % (2 * pi))
    count = max(2, ceil(abs(sweep) / (2 * acos(1 - SAGITTA))))
    turns = [start + sweep * k / count for k in range(1, count)]
    return [a, *((ux + radius * cos(t), uy + radius * sin(t)) for t in turns), c]


def axis_2d(position: Entity | None) -> Floats:
    """A placement in the plane as a 3 x 3 matrix; the identity where there is none."""
    matrix = np.eye(3)
    if position is None:
        return matrix
    if position.Location is not None:
        matrix[:2, 2] = position.Location.Coordinates[:2]
    direction = getattr(position, "RefDirection", None)
    if direction is not None:
        x, y = (float(r) for r in direction.DirectionRatios[:2])
        length = hypot(x, y)
        if length > 0:
            matrix[:2, 0], matrix[:2, 1] = (x / length, y / length), (-y / length, x / length)
    return matrix


def profile_area(profile: Entity | None) -> Polygon | None:
    """A profile as a polygon in its plane, in the file's unit; None for kinds not known here."""
    if profile is None:
        return None
    kind = profile.is_a()
    if kind == "IfcRectangleProfileDef":
        x, y = float(profile.XDim) / 2, float(profile.YDim) / 2
        shell: Points | None = [(-x, -y), (x, -y), (x, y), (-x, y)]
    elif kind == "IfcCircleProfileDef":
        count = ceil(pi / acos(1 - SAGITTA))
        radius = float(profile.Radius)
        shell = [
            (radius * cos(2 * pi * k / count), radius * sin(2 * pi * k / count))
            for k in range(count)
        ]
    elif kind in {"IfcArbitraryClosedProfileDef", "IfcArbitraryProfileDefWithVoids"}:
        shell = ring_of(profile.OuterCurve)
    else:
        return None
    if shell is None:
        return None
    holes = [ring_of(curve) for curve in getattr(profile, "InnerCurves", None) or ()]
    area = Polygon(shell, [h for h in holes if h is not None])
    frame = axis_2d(getattr(profile, "Position", None))
    moved = [
        np.column_stack([np.asarray(r.coords)[:, :2], np.ones(len(r.coords))]) @ frame.T
        for r in (area.exterior, *area.interiors)
    ]
    placed = Polygon(moved[0][:, :2], [m[:, :2] for m in moved[1:]])
    return placed if placed.is_valid and placed.area > 0 else None
