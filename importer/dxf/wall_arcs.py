r"""Curved walls: pairs of arcs about one centre, as bodies and wall ends.

The two faces of a curved wall share their centre; its ends stand on radii.

    . ' - ' .
   / . - - . \
  | |   +   | |
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
from shapely import Polygon

from importer.dxf.arrays import Geometries
from importer.dxf.drawing import Arc, Floats
from importer.dxf.wall_body import WallEnds
from importer.dxf.wall_strips import THINNEST_MM, USUAL_MM

CONCENTRIC_MM: Final = 5.0
"""Centres this near are one: arcs fitted through three points miss a little."""

SMALLEST_RADIUS_MM: Final = 500.0
"""Arcs below are columns, basins and rounded corners."""

STEP_DEG: Final = 2.0
"""Chords of the body are no longer than this; the strokes of the arcs themselves are finer."""

LOOK_MM: Final = 1000.0
"""A doorway in a curved wall is about so wide: the ends look along its chord, not the tangent."""


def curved_walls(arcs: Sequence[Arc]) -> tuple[Geometries, WallEnds]:
    """Bodies of the walls between concentric arcs, and the ends of those walls."""
    bodies: list[Polygon] = []
    ends: list[tuple[Floats, Floats, Floats, float]] = []
    for inner, outer, start, sweep in _pairs(arcs):
        centre = (np.array(inner.centre) + outer.centre) / 2
        steps = max(2, int(np.ceil(sweep / STEP_DEG)) + 1)
        angles = np.radians(start + np.linspace(0.0, sweep, steps))
        rays = np.column_stack([np.cos(angles), np.sin(angles)])
        ring = np.vstack([centre + outer.radius * rays, centre + inner.radius * rays[::-1]])
        bodies.append(Polygon(ring))
        if sweep < 360.0:
            ends += [
                _end(centre, inner, outer, a, sign)
                for a, sign in ((angles[0], -1), (angles[-1], 1))
            ]
    return np.array(bodies, dtype=object), _wall_ends(ends)


def _pairs(arcs: Sequence[Arc]) -> list[tuple[Arc, Arc, float, float]]:
    """Neighbouring concentric arcs as far apart as wall faces, with the angles they share."""
    big = sorted(
        (a for a in arcs if a.radius >= SMALLEST_RADIUS_MM),
        key=lambda a: (a.centre, a.radius, a.start_deg, a.source),
    )
    found = []
    for k, inner in enumerate(big):
        for outer in big[k + 1 :]:
            if outer.centre[0] - inner.centre[0] > CONCENTRIC_MM:
                break
            if abs(outer.centre[1] - inner.centre[1]) > CONCENTRIC_MM:
                continue
            one, two = sorted((inner, outer), key=lambda a: a.radius)
            if not THINNEST_MM <= two.radius - one.radius <= USUAL_MM:
                continue
            shared = _shared(one, two)
            if shared is not None:
                found.append((one, two, *shared))
    return found


def _shared(one: Arc, two: Arc) -> tuple[float, float] | None:
    """Start and sweep, degrees, of the angles that both arcs cover; None when they share none."""
    if one.sweep_deg >= 360.0:
        return two.start_deg, two.sweep_deg
    if two.sweep_deg >= 360.0:
        return one.start_deg, one.sweep_deg
    offset = (two.start_deg - one.start_deg + 180.0) % 360.0 - 180.0
    low, high = max(0.0, offset), min(one.sweep_deg, offset + two.sweep_deg)
    if high - low <= 0.0:
        return None
    return one.start_deg + low, high - low


def _end(
    centre: Floats, inner: Arc, outer: Arc, angle: float, sign: int
) -> tuple[Floats, Floats, Floats, float]:
    """Right and left corner, outward direction and thickness of the end at an angle."""
    ray = np.array([np.cos(angle), np.sin(angle)])
    middle = (inner.radius + outer.radius) / 2
    bent = angle + sign * min(LOOK_MM / (2 * middle), np.pi / 4)
    out = sign * np.array([-np.sin(bent), np.cos(bent)])
    inside, outside = centre + inner.radius * ray, centre + outer.radius * ray
    right, left = (outside, inside) if sign > 0 else (inside, outside)
    return right, left, out, outer.radius - inner.radius


def _wall_ends(rows: Sequence[tuple[Floats, Floats, Floats, float]]) -> WallEnds:
    return WallEnds(
        right=np.array([r[0] for r in rows]).reshape(-1, 2),
        left=np.array([r[1] for r in rows]).reshape(-1, 2),
        out=np.array([r[2] for r in rows]).reshape(-1, 2),
        thickness=np.array([r[3] for r in rows]).reshape(-1),
        nibs=np.zeros(len(rows), dtype=np.int64),
    )
