"""Straight lines across a floor along which it may be parted: at necks, else where equal parts, the
limits or the steps of the walls put them. Seen from the rows: x runs along them.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import ceil
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon

from importer.plan import Point
from importer.tolerance import (
    AREA_MM2,
    GRID_MM,
    LENGTH_MM,
    SAME_POINT_MM,
    SLIVER_WIDTH_MM,
)
from layout.bay_chords import Chords, chords_of, edge_ends

Floats = NDArray[np.float64]
Box = tuple[float, float, float, float]

NECK_SHARE: Final = 0.75
"""A place narrower than this share of the floor's mean width is a neck (own judgement)."""
OFF_STEP_MM: Final = 300.0
"""A joint keeps this far off a step of the wall, or lies on it: no narrow stub beside it."""
OFF_DOOR_MM: Final = 100.0
"""A joint across a room keeps this far off a doorway: one walks in beside it, not on it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """The line x = `at` (axis 0) or y = `at` (axis 1), and whether the floor has a neck there."""

    axis: int
    at: float
    is_neck: bool

    def point(self, place: float) -> Point:
        """The point of the line at that ordinate (axis 0) or abscissa (axis 1)."""
        return (self.at, place) if self.axis == 0 else (place, self.at)


def lines_across(
    shapes: Sequence[Polygon],
    doors: Sequence[tuple[Point, Point]],
    others: Sequence[Box],
    limits: tuple[float, float],
) -> tuple[Line, ...]:
    """Lines along which the floor of a room may be parted, so close that no part need be too long.

    Args:
        shapes: The floor of the room.
        doors: Joint lines of its doorways, which the lines keep off.
        others: Boxes of the rooms it may be joined to: how far a part may reach depends on them.
        limits: Greatest extents along and across.
    """
    box = shapely.MultiPolygon(list(shapes)).bounds
    extents = (box[2] - box[0], box[3] - box[1])
    too_long = [e > limit + LENGTH_MM for e, limit in zip(extents, limits, strict=True)]
    around = shapely.total_bounds(np.array([shapely.box(*b) for b in (box, *others)], dtype=object))
    reach = (around[2] - around[0], around[3] - around[1])
    lines: list[Line] = []
    for axis in (0, 1):
        turned = [s if axis == 0 else swapped(s) for s in shapes]
        if too_long[axis] or (reach[axis] > limits[axis] + LENGTH_MM and not any(too_long)):
            spans = [tuple(sorted((a[axis], b[axis]))) for a, b in doors]
            ranges = [(b[axis], b[axis + 2]) for b in others]
            chords = _all_chords(turned)
            found = (
                _equal_places(chords, limits[axis])
                if all(too_long)
                else _places(chords, limits[axis], spans, ranges)
            )
            lines += [Line(axis=axis, at=at, is_neck=neck) for at, neck in found]
    return tuple(lines)


def swapped(shape: Polygon) -> Polygon:
    """The shape with x and y exchanged."""
    other: Polygon = shapely.transform(shape, lambda c: c[:, ::-1])
    return shapely.orient_polygons(other)


def _all_chords(shapes: Sequence[Polygon]) -> Chords:
    """Heights of all shapes of a room taken together; the largest stands for parts beside it."""
    return chords_of(max(shapes, key=lambda s: s.area))


def _equal_places(chords: Chords, limit: float) -> list[tuple[float, bool]]:
    """The fewest lines, in equal parts or on a step nearby: for a hall too long in both directions,
    where every line is needed as it is.
    """
    steps = _steps(chords)
    found = []
    for place in _equal(chords, limit):
        step = min(steps, key=lambda s: abs(s - place), default=np.inf)
        found.append((step if abs(step - place) < OFF_STEP_MM else place, False))
    return found


def _equal(chords: Chords, limit: float) -> list[float]:
    """Where the fewest equal parts meet."""
    start, end = float(chords.x[0]), float(chords.x[-1])
    parts = max(1, ceil((end - start - LENGTH_MM) / limit))
    return [start + k * (end - start) / parts for k in range(1, parts)]


def _places(
    chords: Chords,
    limit: float,
    doors: Sequence[tuple[float, ...]],
    others: Sequence[tuple[float, float]],
) -> list[tuple[float, bool]]:
    """Abscissae of the lines, ascending, and whether each lies at a neck."""
    start, end = float(chords.x[0]), float(chords.x[-1])
    necks = _necks(chords)
    wanted = [*_equal(chords, limit), *_bounds(start, end, limit, others)]
    aside = [v for low, high in doors for v in (low - OFF_DOOR_MM, high + OFF_DOOR_MM)]
    at_necks = [p for n in necks for p in _in_neck(n, [*wanted, *aside, (start + end) / 2])]
    if _reach(start, end, at_necks) <= limit + LENGTH_MM:
        return [(p, True) for p in _apart(at_necks)]
    steps = _steps(chords)
    free = [
        p
        for p in (*wanted, *aside)
        if all(abs(p - s) >= OFF_STEP_MM for s in steps) and _is_off(p, doors)
    ]
    free += [s for s in steps if _is_off(s, doors)]
    found = _apart([p for p in (*free, *at_necks) if start + OFF_STEP_MM < p < end - OFF_STEP_MM])
    if _reach(start, end, found) > limit + LENGTH_MM:
        found = _apart([*found, *wanted])
    return [(p, any(n[0] <= p <= n[1] for n in necks)) for p in found]


def _bounds(
    start: float, end: float, limit: float, others: Sequence[tuple[float, float]]
) -> list[float]:
    """Where a part would be exactly as long as the limit, counted from here or from another room."""
    found = []
    for low, high in ((start, end), *others):
        for k in range(1, ceil((end - start) / limit) + 1):
            found += [low + k * limit, high - k * limit]
    return [p for p in found if start + OFF_STEP_MM < p < end - OFF_STEP_MM]


def _reach(start: float, end: float, places: Sequence[float]) -> float:
    """Greatest length between neighbouring places."""
    return max(b - a for a, b in pairwise([start, *sorted(places), end]))


def _apart(places: Iterable[float]) -> list[float]:
    """The places in order, without those that fall together."""
    found: list[float] = []
    for p in sorted(places):
        if not found or p - found[-1] > SLIVER_WIDTH_MM:
            found.append(p)
    return found


def _is_off(place: float, doors: Sequence[tuple[float, ...]]) -> bool:
    return all(place <= d[0] - OFF_DOOR_MM or place >= d[-1] + OFF_DOOR_MM for d in doors)


def _necks(chords: Chords) -> list[tuple[float, float]]:
    """Stretches where the floor is much narrower than on the whole, less a margin at their ends."""
    height = np.maximum(chords.start, chords.end)
    long = chords.x[-1] - chords.x[0]
    narrow = (height <= NECK_SHARE * chords.area / long) & (np.diff(chords.x) > 2 * SLIVER_WIDTH_MM)
    necks: list[tuple[float, float]] = []
    for i in np.flatnonzero(narrow).tolist():
        low, high = float(chords.x[i]), float(chords.x[i + 1])
        margin = min(OFF_STEP_MM, (high - low) / 2)
        necks.append((low + margin, high - margin))
    return necks


def _in_neck(neck: tuple[float, float], wanted: Sequence[float]) -> list[float]:
    """The places in a neck: those wanted, as near as it lets them, and its two ends."""
    low, high = neck
    return [low, high, *(min(max(p, low), high) for p in wanted)]


def _steps(chords: Chords) -> list[float]:
    """Where the walls step."""
    jumps = np.abs(chords.end[:-1] - chords.start[1:]) > SLIVER_WIDTH_MM
    return [float(x) for x in chords.x[1:-1][jumps]]


# --- parting ------------------------------------------------------------------------------------


def parted(shape: Polygon, lines: Sequence[Line]) -> list[Polygon]:
    """The parts of a shape between the lines, in the order of their places; all of it without a line."""
    if not lines:
        return [shape]
    parts = [shape]
    for axis in (0, 1):
        places = [line.at for line in lines if line.axis == axis]
        if places:
            parts = [p for part in parts for p in _bands(part, places, axis)]
    return parts


def _bands(shape: Polygon, places: Sequence[float], axis: int) -> Iterator[Polygon]:
    x0, y0, x1, y1 = shape.bounds
    low, high = ((x0, x1), (y0, y1))[axis]
    inside = [p for p in places if low + SAME_POINT_MM < p < high - SAME_POINT_MM]
    for a, b in pairwise([low - 1.0, *inside, high + 1.0]):
        box = (
            shapely.box(a, y0 - 1.0, b, y1 + 1.0)
            if axis == 0
            else shapely.box(x0 - 1.0, a, x1 + 1.0, b)
        )
        band = shapely.intersection(shape, box, grid_size=GRID_MM)
        found = [p for p in shapely.get_parts(band) if isinstance(p, Polygon) and p.area > AREA_MM2]
        yield from sorted(found, key=lambda p: (round(p.bounds[0]), round(p.bounds[1])))


def shared_sides(
    shapes: Sequence[Polygon], line: Line
) -> Iterator[tuple[int, int, list[tuple[float, float]]]]:
    """Every two shapes that meet along the line, with the stretches that they share. On a step of the
    wall only the stretch with floor on both sides counts.
    """
    sides = [_sides_at(s, line) for s in shapes]
    middle = [(s.bounds[line.axis] + s.bounds[line.axis + 2]) / 2 < line.at for s in shapes]
    for a, own in enumerate(sides):
        if not own or not middle[a]:
            continue
        for b, other in enumerate(sides):
            if other and not middle[b]:
                stretches = list(_common(own, other))
                if stretches:
                    yield a, b, stretches


def _sides_at(shape: Polygon, line: Line) -> list[tuple[float, float]]:
    """Stretches of a shape's boundary on the line, ascending."""
    ends = edge_ends(shape)
    across, along = (ends[:, [0, 2]], ends[:, [1, 3]])
    if line.axis == 1:
        across, along = along, across
    on = (np.abs(across - line.at) <= SAME_POINT_MM).all(axis=1)
    return joined_stretches(map(tuple, np.sort(along[on], axis=1).tolist()))


def joined_stretches(stretches: Iterable[tuple[float, float]]) -> list[tuple[float, float]]:
    """Stretches that meet or overlap as one, ascending."""
    joined: list[tuple[float, float]] = []
    for low, high in sorted(stretches):
        if joined and low <= joined[-1][1] + SAME_POINT_MM:
            joined[-1] = (joined[-1][0], max(joined[-1][1], high))
        else:
            joined.append((low, high))
    return joined


def _common(
    one: Sequence[tuple[float, float]], other: Sequence[tuple[float, float]]
) -> Iterator[tuple[float, float]]:
    """Stretches in both lists, none shorter than a sliver."""
    for a, b in one:
        for c, d in other:
            low, high = max(a, c), min(b, d)
            if high - low > SLIVER_WIDTH_MM:
                yield low, high
