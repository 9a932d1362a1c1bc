"""The map from the bay frame to paper: start wall at the top, rows level, never mirrored."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from importer.plan import Point
from layout.writers.sheets.marks import Box


@dataclass(frozen=True, slots=True, kw_only=True)
class Turned:
    """A window of a bay on paper at 1 : `ratio`. `window` (bay frame) has its upper left corner at
    `corner` (paper). x runs to the right when `forward`, else to the left, y always down: facing the
    start wall, that is how the floor lies.
    """

    window: Box
    corner: Point
    ratio: float
    forward: bool

    def at(self, x: float, y: float) -> Point:
        """A point of the bay on paper."""
        x0, y0, x1, _ = self.window
        across = x - x0 if self.forward else x1 - x
        return self.corner[0] + across / self.ratio, self.corner[1] - (y - y0) / self.ratio

    def chain(self, points: Sequence[Point]) -> tuple[Point, ...]:
        """Several points."""
        return tuple(self.at(x, y) for x, y in points)

    def box(self, bounds: Sequence[float]) -> Box:
        """Bounds in the bay frame as a box on paper."""
        x0, y0, x1, y1 = bounds
        (ax, ay), (bx, by) = self.at(x0, y1), self.at(x1, y0)
        return min(ax, bx), ay, max(ax, bx), by

    def rings(self, shapes: Sequence[BaseGeometry]) -> tuple[tuple[Point, ...], ...]:
        """All rings of polygons, the closing point left out, in one vectorised step."""
        lines = shapely.get_rings(list(shapes))
        if len(lines) == 0:
            return ()
        coords, index = shapely.get_coordinates(lines, return_index=True)
        x0, y0, x1, _ = self.window
        across = coords[:, 0] - x0 if self.forward else x1 - coords[:, 0]
        paper = np.column_stack(
            [
                self.corner[0] + across / self.ratio,
                self.corner[1] - (coords[:, 1] - y0) / self.ratio,
            ]
        ).round(3)
        parts = np.split(paper, np.flatnonzero(np.diff(index)) + 1)
        return tuple(tuple(map(tuple, part[:-1].tolist())) for part in parts)

    @property
    def size(self) -> tuple[float, float]:
        """Width and height of the window on paper."""
        x0, y0, x1, y1 = self.window
        return (x1 - x0) / self.ratio, (y1 - y0) / self.ratio

    @property
    def paper_box(self) -> Box:
        """The window on paper."""
        width, height = self.size
        left, top = self.corner
        return left, top - height, left + width, top
