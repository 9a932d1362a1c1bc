"""Where the name of a room stands on a plan: clear of doors, fittings and columns, near the middle."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import shapely
from shapely import Polygon
from shapely.geometry.base import BaseGeometry

from importer.plan import Drawn, DrawnKind, Obstacle, Point, Room
from layout.writers.dxf.lettering import from_drawing, text_width
from layout.writers.dxf.sizes import PLAN
from layout.writers.numbers import m2

NAME_MM: Final = PLAN.medium
FIGURE_MM: Final = PLAN.small
_SMALLER: Final = 0.72
"""Lettering of rooms too small for the usual: one step down (2.5 and 1.8 mm, ISO 3098)."""
_LEAD: Final = 0.7
"""Clear height between lines, as a share of the lower line's capitals."""
_AROUND_MM: Final = 60.0
_PLACES: Final = 24
"""Places tried along and across a room."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LabelLine:
    """One line of text, its middle at `at`, mm; `height` is that of its capitals."""

    text: str
    at: Point
    height: float


def room_label(
    room: Room, drawn: Sequence[Drawn], obstacles: Sequence[Obstacle]
) -> tuple[LabelLine, ...]:
    """Name, number and area of a room in the best free place.

    Args:
        room: the room; one without name and number gets only its area.
        drawn: what the storey shows.
        obstacles: what stands in the room.

    Returns:
        Lines from the top down; smaller where the usual size finds no place. Where nothing fits they
        stand in the middle, small.
    """
    doors = {DrawnKind.DOOR_LEAF, DrawnKind.DOOR_SWING, DrawnKind.STAIR, DrawnKind.OVERHEAD}
    near = [d for d in drawn if d.shape.intersects(room.shape) and d.kind is not DrawnKind.WALL]
    firm: list[BaseGeometry] = [_covered(d) for d in near if d.kind in doors]
    firm += [o.shape for o in obstacles]
    soft = [_covered(d) for d in near if d.kind not in doors]
    usual = _lines(room)
    small = [(text, _SMALLER * height) for text, height in usual]
    for lines, taken in (
        (usual, [*firm, *soft]),
        (usual, firm),
        (small, [*firm, *soft]),
        (small, firm),
        (usual, []),
        (small, []),
    ):
        spot = _free_spot(room.shape, taken, _size(lines))
        if spot is not None:
            return tuple(_set(lines, spot))
    return tuple(_set(small, _middle(room.shape)))


def _covered(drawn: Drawn) -> BaseGeometry:
    """The area that a thing takes up: a swing the whole of its sector."""
    return drawn.shape.convex_hull if drawn.kind is DrawnKind.DOOR_SWING else drawn.shape


def _lines(room: Room) -> list[tuple[str, float]]:
    name = from_drawing(room.name or room.number or "")
    number = from_drawing(room.number or "") if room.name else ""
    area = f"{m2(room.shape.area):.2f} m2"
    lines = [(name, NAME_MM), (number, FIGURE_MM), (area, FIGURE_MM)]
    return [(text, height) for text, height in lines if text]


def _size(lines: Sequence[tuple[str, float]]) -> tuple[float, float]:
    width = max(text_width(text, height) for text, height in lines)
    height = sum(h * (1 + _LEAD) for _, h in lines) - _LEAD * lines[0][1]
    return width + 2 * _AROUND_MM, height + 2 * _AROUND_MM


def _free_spot(
    shape: Polygon, taken: Sequence[BaseGeometry], size: tuple[float, float]
) -> Point | None:
    """Middle of the free place nearest the room's middle; None where the label does not fit."""
    free = shapely.difference(shape, shapely.union_all(list(taken))) if taken else shape
    x0, y0, x1, y1 = shape.bounds
    x = np.tile(np.linspace(x0, x1, _PLACES), _PLACES)
    y = np.repeat(np.linspace(y0, y1, _PLACES), _PLACES)
    w, h = size[0] / 2, size[1] / 2
    shapely.prepare(free)
    fits = np.flatnonzero(shapely.covers(free, shapely.box(x - w, y - h, x + w, y + h)))
    if not len(fits):
        return None
    mx, my = _middle(shape)
    # Rounded, so that of two places equally far the same one is taken on every machine.
    best = fits[np.argmin(np.round(np.hypot(x[fits] - mx, y[fits] - my)))]
    return float(x[best]), float(y[best])


def _middle(shape: Polygon) -> Point:
    """The centroid where it lies in the room, else the middle of the widest place."""
    centre = shape.centroid
    if not shape.contains(centre):
        centre = shapely.get_point(shapely.maximum_inscribed_circle(shape, tolerance=20.0), 0)
    return centre.x, centre.y


def _set(lines: Sequence[tuple[str, float]], middle: Point) -> Iterator[LabelLine]:
    high = _size(lines)[1] - 2 * _AROUND_MM
    y = middle[1] + high / 2
    for n, (text, height) in enumerate(lines):
        y -= height / 2 if n == 0 else height * (0.5 + _LEAD)
        yield LabelLine(text=text, at=(middle[0], y), height=height)
        y -= height / 2
