"""The floor set back from its outline by the wall gap, with the library's answer checked.

An inset is where polygon libraries have failed most: a wing lost, an empty answer, a curve cut off.
So the answer is held against what an inset must be before it is believed:

    every part lies in the outline, at least d from its boundary;
    area >= A - P d - sum over inward corners of d^2 tan(turn / 2)   (strips along the edges, kites
    at the corners that point inwards: all that a mitred inset can take away);
    never empty while a circle of radius d fits.
"""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import MultiPolygon, Polygon

from importer.plan import Origin
from importer.tolerance import LENGTH_MM, SAME_POINT_MM, SLIVER_WIDTH_MM, area_slack
from layout.bay_error import not_laid

MITRE_LIMIT = 5.0
"""Wall ends sharper than about 23 degrees are cut off square at this many gaps from their tip."""


def inset(outline: Polygon, distance: float, where: Origin | None = None) -> tuple[Polygon, ...]:
    """The parts of `outline` (near the origin, mm) set back by `distance`, largest first.

    Raises:
        LayoutError: no way of computing it gave an answer that passes the checks.
    """
    for shape in (outline, shapely.set_precision(outline, SAME_POINT_MM)):
        if not isinstance(shape, Polygon) or shape.is_empty:
            continue
        for join in ("mitre", "round"):
            parts = _parts(
                shapely.buffer(shape, -distance, join_style=join, mitre_limit=MITRE_LIMIT)
            )
            if is_inset(parts, outline, distance):
                return parts
    what = f"The outline could not be set back by the wall gap of {distance:g} mm."
    remedy = "Redraw the outline of the room as one simple closed line."
    raise not_laid("LAY-123", what, where or Origin(), remedy)


def _parts(shape: Polygon | MultiPolygon) -> tuple[Polygon, ...]:
    parts = [p for p in shapely.get_parts(shape) if isinstance(p, Polygon) and p.area > 0]
    # Rounded, so that equal parts of a turned drawing stay in the library's order.
    return tuple(sorted(parts, key=lambda p: -round(p.area)))


def is_inset(parts: tuple[Polygon, ...], outline: Polygon, distance: float) -> bool:
    """Whether `parts` can be the inset of `outline`, by the checks named at the top."""
    if not parts:
        radius = shapely.maximum_inscribed_circle(outline, tolerance=SLIVER_WIDTH_MM).length
        return bool(radius <= distance + SLIVER_WIDTH_MM)
    shapes = np.asarray(parts, dtype=object)
    if not shapely.is_valid(shapes).all():
        return False
    clear = shapely.distance(shapes, outline.boundary)
    if (clear < distance - LENGTH_MM).any() or not shapely.covers(outline, shapes).all():
        return False
    least = outline.area - outline.length * distance - _corner_loss(outline, distance)
    return bool(sum(p.area for p in parts) >= least - area_slack(outline.area))


def _corner_loss(outline: Polygon, distance: float) -> float:
    """What mitred corners take beyond the strips along the edges, at corners that point inwards."""
    turns = _turns(outline)
    inward = np.minimum(np.tan(np.clip(-turns, 0.0, np.pi * 0.99) / 2), MITRE_LIMIT)
    return float(distance**2 * inward.sum())


def _turns(outline: Polygon) -> NDArray[np.float64]:
    """Turn at every corner, radians, left positive; the interior lies on the left."""
    found = []
    turned = shapely.orient_polygons(outline)
    for ring in (turned.exterior, *turned.interiors):
        sides = np.diff(shapely.get_coordinates(ring), axis=0)
        angle = np.arctan2(sides[:, 1], sides[:, 0])
        turn = np.roll(angle, -1) - angle
        found.append((turn + np.pi) % (2 * np.pi) - np.pi)
    return np.concatenate(found)
