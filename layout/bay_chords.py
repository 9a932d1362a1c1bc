"""Heights of a polygon across the rows, as a function of the place along them.

    height(x) = total length of the vertical line at x inside the polygon: piecewise linear between
    the corners, with jumps where an edge stands upright. Areas, mean lengths, necks follow from it.

Any frame, millimetres; the polygon is near the origin.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon

from importer.tolerance import GRID_MM

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Chords:
    """Heights between consecutive abscissae: over [x[i], x[i + 1]] the height goes in a straight line
    from `start[i]` to `end[i]`.
    """

    x: Floats
    start: Floats
    end: Floats

    @property
    def widest(self) -> float:
        """The greatest height anywhere."""
        return float(max(self.start.max(), self.end.max())) if len(self.start) else 0.0

    @property
    def area(self) -> float:
        """Area under the heights, which is the polygon's."""
        return float(np.sum(np.diff(self.x) * (self.start + self.end)) / 2)

    def at(self, place: float) -> float:
        """The lesser of the heights just left and just right of `place`, inside [x[0], x[-1]]."""
        left = int(np.clip(np.searchsorted(self.x, place, side="left") - 1, 0, len(self.start) - 1))
        right = int(np.clip(np.searchsorted(self.x, place, side="right") - 1, 0, len(self.end) - 1))
        return min(self._between(left, place), self._between(right, place))

    def _between(self, i: int, place: float) -> float:
        width = self.x[i + 1] - self.x[i]
        share = (place - self.x[i]) / width
        return float(self.start[i] + share * (self.end[i] - self.start[i]))

    def part(self, low: float, high: float) -> Chords:
        """The same over [low, high] only, which lies within [x[0], x[-1]]."""
        inside = self.x[(self.x > low + GRID_MM) & (self.x < high - GRID_MM)]
        x = np.concatenate([[low], inside, [high]])
        i = np.clip(np.searchsorted(self.x, (x[:-1] + x[1:]) / 2) - 1, 0, len(self.start) - 1)
        slope = (self.end[i] - self.start[i]) / (self.x[i + 1] - self.x[i])
        return Chords(
            x=x,
            start=self.start[i] + (x[:-1] - self.x[i]) * slope,
            end=self.start[i] + (x[1:] - self.x[i]) * slope,
        )


def chords_of(shape: Polygon) -> Chords:
    """The heights of a polygon. Signed sum over its edges, by the trapezium rule of the shoelace
    formula restricted to one abscissa.
    """
    ends = edge_ends(shape)
    ends = ends[np.abs(ends[:, 2] - ends[:, 0]) > 0]
    x = np.unique(ends[:, [0, 2]])
    x = x[np.concatenate([[True], np.diff(x) > GRID_MM])]
    x_low, x_high = np.minimum(ends[:, 0], ends[:, 2]), np.maximum(ends[:, 0], ends[:, 2])
    middle = ((x[:-1] + x[1:]) / 2)[:, None]
    # Interior on the left: an edge that runs towards -x is the upper side of the polygon.
    sign = np.where((x_low < middle) & (middle < x_high), np.sign(ends[:, 0] - ends[:, 2]), 0.0)
    slope = (ends[:, 3] - ends[:, 1]) / (ends[:, 2] - ends[:, 0])

    def heights(places: Floats) -> Floats:
        y = ends[:, 1] + (places[:, None] - ends[:, 0]) * slope
        total: Floats = np.sum(sign * y, axis=1)
        return np.maximum(total, 0.0)

    return Chords(x=x, start=heights(x[:-1]), end=heights(x[1:]))


def edge_ends(shape: Polygon) -> Floats:
    """(n, 4) x0 y0 x1 y1 of every edge, interior on the left."""
    turned = shapely.orient_polygons(shape)
    rings = [shapely.get_coordinates(r) for r in (turned.exterior, *turned.interiors)]
    return np.vstack([np.hstack([r[:-1], r[1:]]) for r in rings])
