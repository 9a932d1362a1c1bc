"""What the audit sees of a finished floor: straight edges, end joints and seams, from shapes alone.

Shares no code with the solver and reads no role, row or joint list: two pieces have a joint because
an end of one lies against an end of the other, and a seam because a long edge lies on a long edge.
Bay frame, millimetres.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon

from importer.tolerance import LENGTH_MM, SLIVER_WIDTH_MM

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Contact:
    """An edge of `low` against an edge of `high`, where low < high along the edge's normal (left and
    right piece of a joint, lower and upper piece of a seam). `at` is the common abscissa (joint) or
    ordinate (seam), [start, end] the shared stretch.
    """

    low: int
    high: int
    at: float
    start: float
    end: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Edges:
    """Edges of many polygons: (n, 4) x0 y0 x1 y1, interior on the left; `owner` is the polygon."""

    ends: Floats
    owner: NDArray[np.int64]


def edges_of(shapes: Sequence[Polygon]) -> Edges:
    """All edges, shells counter-clockwise and holes clockwise, so that the interior is on the left."""
    rings, owners = [], []
    for i, shape in enumerate(shapely.orient_polygons(np.asarray(shapes, dtype=object))):
        for ring in (shape.exterior, *shape.interiors):
            points = shapely.get_coordinates(ring)
            rings.append(np.hstack([points[:-1], points[1:]]))
            owners.append(np.full(len(points) - 1, i, dtype=np.int64))
    if not rings:
        return Edges(ends=np.empty((0, 4)), owner=np.empty(0, dtype=np.int64))
    return Edges(ends=np.vstack(rings), owner=np.concatenate(owners))


def joints_of(edges: Edges) -> tuple[Contact, ...]:
    """End joints: an end facing +x against an end facing -x, sharing more than a sliver of height."""
    upright = np.abs(edges.ends[:, 2] - edges.ends[:, 0]) <= LENGTH_MM
    ends, owner = edges.ends[upright], edges.owner[upright]
    rising = ends[:, 3] > ends[:, 1]  # interior on the left of a rising edge: a right-hand end
    return _contacts(
        _faces(ends[rising][:, [0, 1, 3]], owner[rising]),
        _faces(ends[~rising][:, [0, 3, 1]], owner[~rising]),
    )


def seams_of(edges: Edges) -> tuple[Contact, ...]:
    """Seams: the upper long edge of one piece on the lower long edge of another."""
    level = np.abs(edges.ends[:, 3] - edges.ends[:, 1]) <= LENGTH_MM
    ends, owner = edges.ends[level], edges.owner[level]
    rightward = ends[:, 2] > ends[:, 0]  # interior above: a lower edge
    return _contacts(
        _faces(ends[~rightward][:, [1, 2, 0]], owner[~rightward]),
        _faces(ends[rightward][:, [1, 0, 2]], owner[rightward]),
    )


def _faces(spans: Floats, owner: NDArray[np.int64]) -> list[tuple[float, float, float, int]]:
    """(place, start, end, owner) sorted by place."""
    rows = zip(spans[:, 0], spans[:, 1], spans[:, 2], owner, strict=True)
    return sorted((float(p), float(a), float(b), int(o)) for p, a, b, o in rows)


def _contacts(
    lows: list[tuple[float, float, float, int]], highs: list[tuple[float, float, float, int]]
) -> tuple[Contact, ...]:
    places = np.array([h[0] for h in highs])
    found = []
    for place, start, end, owner in lows:
        first = int(np.searchsorted(places, place - LENGTH_MM))
        last = int(np.searchsorted(places, place + LENGTH_MM, side="right"))
        for _, other_start, other_end, other in highs[first:last]:
            lo, hi = max(start, other_start), min(end, other_end)
            if other != owner and hi - lo > SLIVER_WIDTH_MM:
                found.append(Contact(low=owner, high=other, at=place, start=lo, end=hi))
    return tuple(sorted(found, key=lambda c: (c.at, c.start, c.low, c.high)))


def merged(spans: Sequence[tuple[float, float]]) -> tuple[tuple[float, float], ...]:
    """Union of intervals; those that meet within `LENGTH_MM` are one."""
    joined: list[tuple[float, float]] = []
    for start, end in sorted(spans):
        if joined and start <= joined[-1][1] + LENGTH_MM:
            joined[-1] = (joined[-1][0], max(joined[-1][1], end))
        else:
            joined.append((start, end))
    return tuple(joined)


def chord_heights(shape: Polygon, xs: Floats) -> Floats:
    """Total height of the polygon on each vertical line x = xs[i], mm."""
    low, high = shape.bounds[1] - 1.0, shape.bounds[3] + 1.0
    lines = shapely.linestrings(
        np.stack([np.column_stack([xs, np.full_like(xs, y)]) for y in (low, high)], axis=1)
    )
    return np.asarray(shapely.length(shapely.intersection(lines, shape)), dtype=np.float64)


def widest_chord(shape: Polygon) -> float:
    """Greatest height of the polygon across the rows: at, or just beside, one of its corners."""
    x = np.unique(np.round(shapely.get_coordinates(shape)[:, 0], 3))
    beside = np.concatenate([x - LENGTH_MM, x + LENGTH_MM])
    inside = beside[(beside > x[0]) & (beside < x[-1])]
    return float(chord_heights(shape, inside).max()) if len(inside) else 0.0
