"""Drawings sit at map coordinates; arithmetic is done near the origin."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TypeVar

import numpy as np
import shapely
from shapely import Polygon
from shapely.geometry.base import BaseGeometry

from importer.plan import Doorway, Point

G = TypeVar("G", bound=BaseGeometry)


def near_origin(shapes: Sequence[Polygon]) -> Point:
    """A whole-millimetre point by the shapes. Subtracting it loses no digit of the coordinates and
    keeps the rest of the arithmetic at room size, however far out the drawing sits.
    """
    x, y = shapely.total_bounds(np.asarray(shapes, dtype=object))[:2]
    return float(np.floor(x)), float(np.floor(y))


def moved(shape: G, origin: Point) -> G:
    """The shape with `origin` taken off its coordinates."""
    near: G = shapely.transform(shape, lambda c: c - np.asarray(origin))
    return near


def moved_back(shape: G, origin: Point) -> G:
    """Undoes `moved`."""
    return moved(shape, (-origin[0], -origin[1]))


def moved_doorway(doorway: Doorway, origin: Point) -> Doorway:
    """The doorway with `origin` taken off its coordinates."""
    (x0, y0), (x1, y1) = doorway.leaf_line
    return replace(
        doorway,
        shape=moved(doorway.shape, origin),
        leaf_line=((x0 - origin[0], y0 - origin[1]), (x1 - origin[0], y1 - origin[1])),
    )
