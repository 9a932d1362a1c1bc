"""The rigid map between plan frame and bay frame."""

from __future__ import annotations

from dataclasses import dataclass
from math import atan2, degrees
from typing import TypeVar

import shapely
from shapely.affinity import affine_transform
from shapely.geometry.base import BaseGeometry

from importer.plan import Point

G = TypeVar("G", bound=BaseGeometry)


@dataclass(frozen=True, slots=True, kw_only=True)
class Frame:
    """Rigid map between plan frame and bay frame. `along` is the unit vector of the bay's x axis in
    the plan frame; y is `along` turned a quarter left, or right when `mirrored`.

    >>> frame = Frame(origin=(10.0, 20.0), along=(0.0, 1.0), mirrored=True)
    >>> frame.point_to_plan((5.0, 2.0))
    (12.0, 25.0)
    >>> frame.point_to_bay((12.0, 25.0))
    (5.0, 2.0)
    """

    origin: Point
    along: Point
    mirrored: bool = False

    @property
    def across(self) -> Point:
        """Unit vector of the bay's y axis in the plan frame."""
        ux, uy = self.along
        return (uy, -ux) if self.mirrored else (-uy, ux)

    @property
    def along_deg(self) -> float:
        """Direction of laying in the plan frame, degrees counter-clockwise from plan x, [0, 360)."""
        return degrees(atan2(self.along[1], self.along[0])) % 360.0

    def point_to_plan(self, p: Point) -> Point:
        """Map one point from the bay frame."""
        (ux, uy), (vx, vy) = self.along, self.across
        return (self.origin[0] + p[0] * ux + p[1] * vx, self.origin[1] + p[0] * uy + p[1] * vy)

    def point_to_bay(self, p: Point) -> Point:
        """Map one point from the plan frame."""
        (ux, uy), (vx, vy) = self.along, self.across
        dx, dy = p[0] - self.origin[0], p[1] - self.origin[1]
        return dx * ux + dy * uy, dx * vx + dy * vy

    def to_plan(self, shape: G) -> G:
        """Map a geometry from the bay frame to the plan frame; polygons keep a CCW shell."""
        (ux, uy), (vx, vy) = self.along, self.across
        moved: G = affine_transform(shape, [ux, vx, uy, vy, *self.origin])
        return _counter_clockwise(moved) if self.mirrored else moved

    def to_bay(self, shape: G) -> G:
        """Map a geometry from the plan frame to the bay frame; polygons keep a CCW shell.

        Subtracts the origin before turning, so national-grid coordinates lose nothing.
        """
        (ux, uy), (vx, vy) = self.along, self.across
        near: G = affine_transform(shape, [1, 0, 0, 1, -self.origin[0], -self.origin[1]])
        moved: G = affine_transform(near, [ux, uy, vx, vy, 0, 0])
        return _counter_clockwise(moved) if self.mirrored else moved


def _counter_clockwise(shape: G) -> G:
    turned: G = shapely.orient_polygons(shape)
    return turned
