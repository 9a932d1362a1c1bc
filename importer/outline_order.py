"""One order and one spelling for the shapes of a plan, whatever file they come from.

A drawing and a model of one storey give the same shapes: here they get the same order and their corners
the same first one, so that nothing that is decided later by "the first of several as good" comes out
otherwise for the one than for the other.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import Final, cast

import numpy as np
import shapely
from shapely import Polygon
from shapely.geometry.base import BaseGeometry

from importer.plan import Point

LINE_MM: Final = 500.0
"""Shapes whose tops lie within this below the highest of them stand in one line of the sheet."""
_NOISE_DIGITS: Final = 1
"""Places are compared to a tenth of a millimetre: two readers differ by less."""
_DIGITS: Final = 6
"""Coordinates are kept to a millionth of a millimetre, so that what is equal on paper is equal here."""


def reading_order(shapes: Sequence[BaseGeometry], parts: Sequence[int] | None = None) -> list[int]:
    """Indices from the top of the sheet down, line by line, each from left to right.

    Args:
        shapes: what is to be put in order.
        parts: for each the part of the sheet that it belongs to, such as its storey; parts are put in
            order of their numbers, and each is read by itself.

    >>> from shapely import box
    >>> reading_order([box(9, 0, 10, 4000), box(0, 0, 1, 3800), box(0, 0, 1, 900)])
    [1, 0, 2]
    >>> reading_order([box(9, 0, 10, 4000), box(0, 0, 1, 3800), box(0, 0, 1, 900)], [0, 1, 0])
    [0, 2, 1]
    """
    members: dict[int, list[int]] = {}
    for k in range(len(shapes)):
        members.setdefault(0 if parts is None else parts[k], []).append(k)
    return [
        own[k] for _, own in sorted(members.items()) for k in _in_lines([shapes[n] for n in own])
    ]


def _in_lines(shapes: Sequence[BaseGeometry]) -> list[int]:
    boxes = np.round(shapely.bounds(np.asarray(shapes, dtype=object)), _NOISE_DIGITS)
    areas = np.round(shapely.area(np.asarray(shapes, dtype=object)))
    left, low, right, top = boxes.T
    down = np.argsort(-top, kind="stable")
    line = np.zeros(len(shapes), dtype=np.int64)
    head = float(top[down[0]])
    for before, k in pairwise(down):
        starts = top[k] < head - LINE_MM
        line[k] = line[before] + int(starts)
        head = float(top[k]) if starts else head
    order = np.lexsort((areas, right, low, -top, left, line))
    return [int(k) for k in order]


def spelled(shape: Polygon) -> Polygon:
    """The polygon counter-clockwise, every ring from its lowest corner of those furthest left, holes in
    order of these, coordinates freed of noise.
    """
    rounded = shapely.transform(shape, lambda xy: np.round(xy, _DIGITS) + 0.0)
    return cast("Polygon", shapely.orient_polygons(rounded.normalize()))


def spelled_line(a: Point, b: Point) -> tuple[Point, Point]:
    """The two ends of a line, the left one first, of two above each other the lower."""
    ends = [(round(x, _DIGITS) + 0.0, round(y, _DIGITS) + 0.0) for x, y in (a, b)]
    one, two = sorted(ends, key=lambda p: (round(p[0], _NOISE_DIGITS), p[1]))
    return one, two


def freed(length: float) -> float:
    """A length without the noise of the arithmetic that made it."""
    return round(length, _DIGITS) + 0.0
