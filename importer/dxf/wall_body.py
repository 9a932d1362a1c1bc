"""The body of the walls: strips, filled outlines and strokes together, and its free ends."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import shapely
from shapely import STRtree
from shapely.geometry.base import BaseGeometry

from importer.dxf.arrays import Geometries, line_array
from importer.dxf.drawing import Bools, Floats
from importer.dxf.wall_faces import Index
from importer.dxf.wall_strips import USUAL_MM, Strips
from importer.outlines import (
    BARRIER_MM,
    filled_thin_holes,
    thickened_bodies,
    thickened_strokes,
)
from importer.tolerance import SAME_POINT_MM

PROBE_MM: Final = 15.0
"""How far beyond a wall's end, and inside it, is looked for more wall: more than strokes are apart
that are meant to meet, less than any opening is wide."""

NIB_MM: Final = 25.0
NIB_SHARE: Final = 0.3
"""A nib or a crossing wall is looked for this far off a face (or this share of the thickness)."""

ALONG_SHARE: Final = 0.8
"""A stroke is part of a wall when so much of it lies along strips; corners are covered by none."""

RAY_INSET: Final = 0.15
"""Rays leave a wall's end at this share of the thickness from either face, and in the middle."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class WallBody:
    """`barriers` are the thickened pieces the body is made of, `union` their union, and `solid` that
    with the insides of walls filled.
    """

    barriers: Geometries
    union: BaseGeometry
    solid: BaseGeometry

    def holds(self, points: Floats) -> Bools:
        """Which of the points, (n, 2), lie in the body."""
        return np.asarray(shapely.contains_xy(self.solid, points[:, 0], points[:, 1]), dtype=bool)


def wall_body(strokes: Floats, solids: Geometries, strips: Strips) -> WallBody:
    """Body of the walls from their strokes (n, 4), filled outlines and strips."""
    strip_shapes = strips.shapes()
    barriers = np.concatenate(
        [thickened_strokes(strokes), thickened_bodies(solids), thickened_bodies(strip_shapes)]
    )
    thickest = float(strips.thickness.max()) if len(strips) else 0.0
    union = shapely.disjoint_subset_union_all(barriers)
    solid = filled_thin_holes(union, max(thickest * 1.1, USUAL_MM / 2))
    shapely.prepare(solid)
    return WallBody(barriers=barriers, union=union, solid=solid)


def strokes_along(strokes: Floats, strips: Strips) -> Floats:
    """Those of the strokes, (n, 4), that lie along or within strips for most of their length: faces
    and jambs of walls, but nothing that crosses a room.
    """
    if not len(strips):
        return strokes[:0]
    lines = line_array(strokes)
    about = shapely.buffer(strips.shapes(), NIB_MM, join_style="mitre")
    line, strip = STRtree(about).query(lines, predicate="intersects")
    covered = np.zeros(len(strokes))
    np.add.at(covered, line, shapely.length(shapely.intersection(lines[line], about[strip])))
    return strokes[covered >= ALONG_SHARE * shapely.length(lines)]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class WallEnds:
    """Ends of wall strips as arrays. Looking out of the wall along `out`, `right` and `left` are the
    corners of the end; `nibs` counts the faces off which a wall turns away right at the end.
    """

    right: Floats
    left: Floats
    out: Floats
    thickness: Floats
    nibs: Index

    def __len__(self) -> int:
        return len(self.out)

    def middle(self) -> Floats:
        """Middle of each end, (n, 2)."""
        return np.asarray((self.right + self.left) / 2)

    def take(self, rows: Index) -> WallEnds:
        """The rows given, in that order."""
        return WallEnds(
            right=self.right[rows],
            left=self.left[rows],
            out=self.out[rows],
            thickness=self.thickness[rows],
            nibs=self.nibs[rows],
        )


def ends_of_strips(strips: Strips) -> WallEnds:
    """Both ends of every strip."""
    c, along = strips.corners, strips.along
    return WallEnds(
        right=np.concatenate([c[:, 3], c[:, 1]]),
        left=np.concatenate([c[:, 0], c[:, 2]]),
        out=np.concatenate([-along, along]),
        thickness=np.tile(strips.thickness, 2),
        nibs=np.zeros(2 * len(strips), dtype=np.int64),
    )


def joined_ends(*parts: WallEnds) -> WallEnds:
    """Several sets of wall ends as one."""
    return WallEnds(
        right=np.concatenate([p.right for p in parts]),
        left=np.concatenate([p.left for p in parts]),
        out=np.concatenate([p.out for p in parts]),
        thickness=np.concatenate([p.thickness for p in parts]),
        nibs=np.concatenate([p.nibs for p in parts]),
    )


def free_ends(ends: WallEnds, body: WallBody) -> WallEnds:
    """The ends beyond which there is no wall, their nibs counted."""
    beyond = ends.middle() + ends.out * PROBE_MM
    ends = ends.take(np.flatnonzero(~body.holds(beyond)))
    across = ends.left - ends.right
    across = across / np.maximum(np.hypot(across[:, 0], across[:, 1]), SAME_POINT_MM)[:, None]
    off = np.maximum(NIB_MM, NIB_SHARE * ends.thickness)[:, None]
    inside = -ends.out * PROBE_MM
    nibs = body.holds(ends.left + inside + across * off).astype(np.int64)
    nibs += body.holds(ends.right + inside - across * off)
    return replace(ends, nibs=nibs)


def body_with(body: WallBody, more: Geometries) -> WallBody:
    """The body with more thickened pieces."""
    if not len(more):
        return body
    added = shapely.union_all(more)
    solid = shapely.union(body.solid, added)
    shapely.prepare(solid)
    return WallBody(
        barriers=np.concatenate([body.barriers, more]),
        union=shapely.union(body.union, added),
        solid=solid,
    )


class Sight:
    """What is seen of a solid from a point in a direction."""

    def __init__(self, solid: BaseGeometry) -> None:
        rings = shapely.get_parts(shapely.boundary(shapely.get_parts(solid)))
        points, ring = shapely.get_coordinates(rings, return_index=True)
        same = ring[1:] == ring[:-1]
        self._edges = np.hstack([points[:-1], points[1:]])[same]
        self._tree = STRtree(line_array(self._edges))

    def distance(self, start: Floats, direction: Floats, reach: float) -> Floats:
        """Distance from each start, (n, 2), along its unit direction to the first edge, mm; infinite
        where nothing is met within reach. The thickening of the barriers is taken off.
        """
        rays = line_array(np.hstack([start, start + direction * reach]))
        ray, edge = self._tree.query(rays, predicate="intersects")
        a, b = self._edges[edge, :2], self._edges[edge, 2:]
        side = b - a
        towards = direction[ray]
        cross = towards[:, 0] * side[:, 1] - towards[:, 1] * side[:, 0]
        rel = a - start[ray]
        with np.errstate(divide="ignore", invalid="ignore"):
            far = (rel[:, 0] * side[:, 1] - rel[:, 1] * side[:, 0]) / cross
        ends_far = np.minimum((rel * towards).sum(axis=1), ((b - start[ray]) * towards).sum(axis=1))
        far = np.where(np.abs(cross) > 1e-9, far, ends_far)
        found = np.full(len(start), np.inf)
        np.minimum.at(found, ray, np.maximum(far, 0.0))
        return found + BARRIER_MM


def sight_from_ends(ends: WallEnds, sight: Sight, reach: float) -> Floats:
    """Distances, (n, 3), to what the ends face: by the right face, in the middle, by the left face."""
    inset = RAY_INSET
    shares = np.array([inset, 0.5, 1 - inset])
    skipped = 2 * BARRIER_MM
    ahead = ends.out * skipped
    starts = [ends.right + (ends.left - ends.right) * s + ahead for s in shares]
    return np.column_stack([sight.distance(s, ends.out, reach) + skipped for s in starts])
