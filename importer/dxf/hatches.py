"""Boundaries of hatches: loops of straight and curved edges in the plane of the hatch."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Final

import numpy as np
from ezdxf.entities.boundary_paths import (
    ArcEdge,
    EdgePath,
    EllipseEdge,
    LineEdge,
    PolylinePath,
    SplineEdge,
)
from ezdxf.entities.dxfentity import DXFEntity
from ezdxf.math import Vec2

from importer.dxf.curves import CLOSE_SHARE, TURN, arc_chords, ellipse_points, spline_points
from importer.dxf.drawing import Floats

_TEXT_BOX: Final = 8
"""Boundary flag of the frame that keeps a hatch off a text: nothing drawn."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Loop:
    """A closed boundary: points (n, 2), and the bulge of the stroke after each."""

    points: Floats
    bulge: Floats


def boundary_loops(hatch: DXFEntity) -> Iterator[Loop]:
    """The boundaries of a HATCH or MPOLYGON, curves of edge paths flattened."""
    for path in hatch.paths:  # type: ignore[attr-defined]
        if path.path_type_flags & _TEXT_BOX:
            continue
        if isinstance(path, PolylinePath):
            rows = np.array(path.vertices, dtype=np.float64).reshape(-1, 3)
            yield Loop(points=rows[:, :2], bulge=rows[:, 2])
        elif isinstance(path, EdgePath):
            yield from _chained(_edge_points(edge) for edge in path.edges)


def _chained(edges: Iterable[Floats]) -> Iterator[Loop]:
    """Edges in the stored order, each turned round when its far end is the nearer one. A loop that
    has come back to its start is done: some writers put several loops in one path.
    """
    loop: list[Floats] = []
    waiting = [points for points in edges if len(points) >= 2]
    for index, points in enumerate(waiting):
        if loop and _has_closed(loop) and _nearest(points, loop[-1][-1]) > _gap_allowed(loop):
            yield _loop(loop)
            loop = []
        if loop:
            last = loop[-1][-1]
            backwards = _distance(points[-1], last) < _distance(points[0], last)
        else:
            backwards = index + 1 < len(waiting) and _starts_nearer(points, waiting[index + 1])
        loop.append(points[::-1] if backwards else points)
    if loop:
        yield _loop(loop)


def _loop(parts: list[Floats]) -> Loop:
    joined = np.concatenate(parts)
    return Loop(points=joined, bulge=np.zeros(len(joined)))


def _gap_allowed(loop: list[Floats]) -> float:
    return CLOSE_SHARE * float(np.hypot(*np.ptp(np.concatenate(loop), axis=0)))


def _has_closed(loop: list[Floats]) -> bool:
    return _distance(loop[0][0], loop[-1][-1]) <= _gap_allowed(loop)


def _nearest(points: Floats, place: Floats) -> float:
    return min(_distance(points[0], place), _distance(points[-1], place))


def _starts_nearer(first: Floats, second: Floats) -> bool:
    to_start = min(_distance(first[0], second[0]), _distance(first[0], second[-1]))
    to_end = min(_distance(first[-1], second[0]), _distance(first[-1], second[-1]))
    return to_start < to_end


def _distance(a: Floats, b: Floats) -> float:
    return math.hypot(a[0] - b[0], a[1] - b[1])


def _edge_points(edge: object) -> Floats:
    if isinstance(edge, LineEdge):
        return _array(edge.start, edge.end)
    if isinstance(edge, ArcEdge):
        return _arc(edge)
    if isinstance(edge, EllipseEdge):
        return _ellipse(edge)
    if isinstance(edge, SplineEdge):
        return spline_points(edge.construction_tool())
    return np.empty((0, 2))


def _array(*points: Vec2) -> Floats:
    return np.array([(p.x, p.y) for p in points], dtype=np.float64)


def _arc(edge: ArcEdge) -> Floats:
    start, sweep = _span(math.radians(edge.start_angle), math.radians(edge.end_angle))
    row = (edge.center.x, edge.center.y, edge.radius, start, sweep)
    chords, _ = arc_chords(np.array([row], dtype=np.float64))
    points = np.vstack((chords[:, :2], chords[-1:, 2:]))
    return points if edge.ccw else points[::-1]


def _ellipse(edge: EllipseEdge) -> Floats:
    start, sweep = _span(edge.start_param, edge.end_param)
    major = np.array((edge.major_axis.x, edge.major_axis.y))
    minor = np.array((-major[1], major[0])) * edge.ratio
    points = ellipse_points(_array(edge.center)[0], major, minor, (start, sweep))
    return points if edge.ccw else points[::-1]


def _span(start: float, end: float) -> tuple[float, float]:
    sweep = (end - start) % TURN
    return start, sweep if sweep > 1e-9 else TURN
