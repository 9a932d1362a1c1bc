"""Where words fit: a rectangle of text placed inside a free shape, nothing overlapping.

Everything is on paper, in millimetres. A place is sought by trying a grid of centres for the whole
rectangle at once; the one nearest to the middle of the shape wins, so the same plan always gives the
same picture.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from math import cos, radians, sin
from typing import Final

import numpy as np
import shapely
from shapely import Polygon
from shapely.geometry.base import BaseGeometry

from importer.picture_scene import Anchor, Point, Words
from importer.picture_text import text_width, wrap

INK: Final = "#1a1a1a"
SECOND: Final = "#3c3c3c"
NAME_CAPS: Final = (3.5, 2.5, 1.8)
"""Heights of capitals that a room's name is tried in (ISO 3098 series)."""
_PITCH: Final = 1.65
"""Line pitch as a multiple of the capitals' height."""
_AIR: Final = 1.0
"""Clear paper about a block of words."""
_MOST_LINES: Final = 4
_PLUMP: Final = 0.9
"""A shape that fills less of its convex hull has arms; its centroid may lie in a corner."""
_GRID: Final = 17
"""Centres tried along each side of a shape's extent."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One line of a block of words."""

    text: str
    cap: float
    bold: bool = False
    colour: str = INK

    @property
    def width(self) -> float:
        """Width on paper."""
        return text_width(self.text, self.cap, bold=self.bold)


@dataclass(frozen=True, slots=True, kw_only=True)
class Block:
    """Centred lines, laid level or turned a quarter left, with `air` clear about them."""

    lines: tuple[Line, ...]
    turned: bool = False
    air: float = _AIR

    @property
    def size(self) -> tuple[float, float]:
        """Width and height on paper with some air about."""
        along = max(line.width for line in self.lines) + 2 * self.air
        across = sum(line.cap * _PITCH for line in self.lines) + self.air
        return (across, along) if self.turned else (along, across)

    def words(self, centre: Point) -> tuple[Words, ...]:
        """The lines set about a centre."""
        across = sum(line.cap * _PITCH for line in self.lines)
        found, reach = [], -across / 2
        for line in self.lines:
            step = reach + line.cap * _PITCH / 2
            at = (centre[0] + step, centre[1]) if self.turned else (centre[0], centre[1] + step)
            found.append(
                Words(
                    text=line.text,
                    at=at,
                    cap=line.cap,
                    bold=line.bold,
                    colour=line.colour,
                    anchor=Anchor.MIDDLE,
                    turn_deg=90.0 if self.turned else 0.0,
                )
            )
            reach += line.cap * _PITCH
        return tuple(found)


@dataclass(frozen=True, slots=True, kw_only=True)
class Label:
    """What is to be said in a room. A room without a name goes by its id, which is set lighter."""

    title: str
    number: str
    area: str
    is_named: bool = True

    def blocks(self, width: float) -> Iterator[Block]:
        """Ways to write it, best first: on one line, in several, turned, and each smaller. `width`
        is the room's extent, parts of which long names are broken at.
        """
        large, medium, small = NAME_CAPS
        yield from self._one_line(large)
        yield from self._one_line(medium)
        yield from self._broken(large, width)
        yield from self._broken(medium, width)
        yield from self._one_line(medium, turned=True)
        yield from self._one_line(small)
        yield from self._broken(small, width)
        yield from self._one_line(small, turned=True)

    def _below(self, cap: float) -> Iterator[tuple[Line, ...]]:
        """Number and area, then the area alone, set smaller than the name."""
        small = max(NAME_CAPS[-1], cap * 0.72)
        area = Line(text=self.area, cap=small, colour=SECOND)
        if self.number:
            yield Line(text=self.number, cap=small, colour=SECOND), area
        yield (area,)

    def _one_line(self, cap: float, *, turned: bool = False) -> Iterator[Block]:
        for below in self._below(cap):
            name = Line(text=self.title, cap=cap, bold=self.is_named)
            yield Block(lines=(name, *below), turned=turned)

    def _broken(self, cap: float, width: float) -> Iterator[Block]:
        ways = [wrap(self.title, s * width, cap, bold=self.is_named) for s in (0.8, 0.55, 0.4)]
        for lines in dict.fromkeys(ways):
            is_whole = " ".join(lines) == self.title or cap == NAME_CAPS[-1]
            if not 1 < len(lines) <= _MOST_LINES or not is_whole:
                continue
            name = tuple(Line(text=t, cap=cap, bold=self.is_named) for t in lines)
            for below in self._below(cap):
                yield Block(lines=(*name, *below))


class Taken:
    """Rectangles of paper that words stand on already, and walls. Belongs to one picture being made."""

    def __init__(self, walls: BaseGeometry | None = None) -> None:
        self._boxes: list[Polygon] = []
        parts = [] if walls is None else [p for p in shapely.get_parts(walls) if not p.is_empty]
        self._walls = shapely.STRtree(parts)

    def add(self, box: Polygon) -> None:
        """Keep later words off this rectangle."""
        self._boxes.append(box)

    def free(self, shape: BaseGeometry) -> BaseGeometry:
        """The shape less what is taken in it."""
        boxes = np.array(self._boxes, dtype=object)
        near = boxes[shapely.intersects(boxes, shape)] if self._boxes else boxes
        return shape.difference(shapely.union_all(near)) if len(near) else shape

    def is_free(self, box: Polygon, *, off_walls: bool = False) -> bool:
        """Whether no words stand on the rectangle yet, nor, where asked, a wall."""
        if off_walls and len(self._walls.query(box, predicate="intersects")):
            return False
        return not bool(shapely.intersects(box, np.array(self._boxes, dtype=object)).any())


def rectangle(centre: Point, size: tuple[float, float], turn_deg: float = 0.0) -> Polygon:
    """A rectangle about its centre, turned counter-clockwise as seen on paper."""
    c, s = cos(radians(-turn_deg)), sin(radians(-turn_deg))
    half_w, half_h = size[0] / 2, size[1] / 2
    corners = ((-half_w, -half_h), (half_w, -half_h), (half_w, half_h), (-half_w, half_h))
    return Polygon([(centre[0] + x * c - y * s, centre[1] + x * s + y * c) for x, y in corners])


def place_for(size: tuple[float, float], free: BaseGeometry, middle: Point) -> Point | None:
    """The centre nearest to `middle` for a rectangle that lies wholly in the free shape, or None."""
    x0, y0, x1, y1 = free.bounds
    w, h = size
    if free.is_empty or x1 - x0 < w or y1 - y0 < h:
        return None
    xs = np.append(np.linspace(x0 + w / 2, x1 - w / 2, _GRID), middle[0])
    ys = np.append(np.linspace(y0 + h / 2, y1 - h / 2, _GRID), middle[1])
    centres = np.stack(np.meshgrid(xs, ys), axis=-1).reshape(-1, 2)
    boxes = shapely.box(
        centres[:, 0] - w / 2, centres[:, 1] - h / 2, centres[:, 0] + w / 2, centres[:, 1] + h / 2
    )
    shapely.prepare(free)
    inside = np.flatnonzero(shapely.covers(free, boxes))
    if len(inside) == 0:
        return None
    apart = np.hypot(*(centres[inside] - np.array(middle)).T)
    best = centres[inside[int(np.argmin(np.round(apart, 6)))]]
    return float(best[0]), float(best[1])


def middle_of(shape: BaseGeometry) -> Point:
    """The eye's middle of a room: its centroid, or where it is widest when it is L-shaped or the
    like.
    """
    centre = shape.centroid
    polygons = [p for p in shapely.get_parts(shape) if isinstance(p, Polygon)]
    if polygons and (shape.area < _PLUMP * shape.convex_hull.area or not shape.contains(centre)):
        largest = max(polygons, key=lambda p: p.area)
        centre = shapely.Point(shapely.maximum_inscribed_circle(largest).coords[0])
    return float(centre.x), float(centre.y)
