"""What a mark-up consists of, as plain values: the drawing is composed from these before any CAD
entity is made, so it can be tested, compared as text and checked for overlaps without a CAD library.

Plan frame, millimetres. Directions are unit vectors.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum
from math import degrees
from struct import Struct
from typing import Final, cast

import numpy as np
import shapely
from shapely import Polygon

from importer.plan import Point
from layout.writers.dxf.lettering import text_width
from layout.writers.dxf.scheme import Content
from layout.writers.dxf.xdata import Kind


class Align(Enum):
    """Which point of a text's middle line is given. The value is the share of the width before it."""

    LEFT = 0.0
    CENTRE = 0.5
    RIGHT = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Letter:
    """A line of text. `at` lies on its middle line (half the capital height), `along` is the reading
    direction, `height` the height of capitals.
    """

    content: Content
    text: str
    at: Point
    height: float
    along: Point = (1.0, 0.0)
    align: Align = Align.LEFT

    @property
    def width(self) -> float:
        """Estimated width."""
        return text_width(self.text, self.height)

    @property
    def angle_deg(self) -> float:
        """Reading direction, degrees counter-clockwise from x."""
        return degrees(np.arctan2(self.along[1], self.along[0]))

    def box(self, margin: float = 0.0) -> Polygon:
        """The rectangle that the text takes up, grown by `margin`."""
        start = -self.align.value * self.width - margin
        end = start + self.width + 2 * margin
        half = self.height / 2 + margin
        return oriented_box(self.at, self.along, (start, -half, end, half))


@dataclass(frozen=True, slots=True, kw_only=True)
class Lines:
    """Several lines of text, one below the other, never turned. `at` is where the top of the capitals of
    the first line meets the flush side; `pitch` is the distance from line to line.
    """

    content: Content
    lines: tuple[str, ...]
    at: Point
    height: float
    pitch: float
    align: Align = Align.LEFT

    @property
    def width(self) -> float:
        """Estimated width."""
        return max(text_width(line, self.height) for line in self.lines)

    def box(self) -> Polygon:
        """The rectangle that the text takes up."""
        start = -self.align.value * self.width
        deep = self.height + (len(self.lines) - 1) * self.pitch
        return oriented_box(self.at, (1.0, 0.0), (start, -deep, start + self.width, 0.0))


@dataclass(frozen=True, slots=True, kw_only=True)
class Stroke:
    """A line, or a closed outline. `kind`, `data` and `frame` (origin, directions of x and y) are what
    is written on the entity so that it can be read back.
    """

    content: Content
    points: tuple[Point, ...]
    closed: bool = False
    kind: Kind = Kind.MARK
    data: str = ""
    frame: tuple[Point, Point, Point] | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Fill:
    """A filled triangle or quadrilateral, corners in order around it."""

    content: Content
    points: tuple[Point, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Dimension:
    """A dimension between two points that lie in its own direction; `line_at` is a point on the
    dimension line and `text` where its figure stands.
    """

    content: Content
    start: Point
    end: Point
    line_at: Point
    text: Letter


Mark = Letter | Lines | Stroke | Fill | Dimension


@dataclass(frozen=True, slots=True, kw_only=True)
class Group:
    """Marks that stand or fall together when a place is sought. `boxes` is the ground they need;
    `leaders` is ground that must be free too, but may cross floors and lines.
    """

    marks: tuple[Mark, ...]
    boxes: tuple[Polygon, ...] = ()
    leaders: tuple[Polygon, ...] = ()

    @property
    def ground(self) -> tuple[Polygon, ...]:
        """Everything that must be free."""
        return self.boxes + self.leaders


def lettered(*marks: Mark, margin: float, more: tuple[Polygon, ...] = ()) -> Group:
    """A group that needs the boxes of its texts, and `more`."""
    letters = [m.text if isinstance(m, Dimension) else m for m in marks]
    boxes = tuple(m.box(margin) for m in letters if isinstance(m, Letter))
    return Group(marks=tuple(marks), boxes=boxes + more)


_BOX_WKB: Final = Struct("<BIII10d")
"""Well-known binary of a polygon with one ring of five points: byte order, kind, rings, points."""


def oriented_box(at: Point, along: Point, extent: tuple[float, float, float, float]) -> Polygon:
    """Rectangle (x0, y0, x1, y1) about `at` with its x axis along a direction."""
    (ux, uy), (x0, y0, x1, y1) = along, extent
    corners = [
        value
        for x, y in ((x0, y0), (x1, y0), (x1, y1), (x0, y1), (x0, y0))
        for value in (at[0] + x * ux - y * uy, at[1] + x * uy + y * ux)
    ]
    # A drawing has tens of thousands of these; through WKB each takes a quarter of the time.
    return cast("Polygon", shapely.from_wkb(_BOX_WKB.pack(1, 3, 1, 5, *corners)))


def upright(along: Point) -> bool:
    """True when text along that direction reads from below or from the right of the sheet."""
    x, y = along
    return x > 1e-9 or (abs(x) <= 1e-9 and y > 0)


def read_along(content: Content, text: str, at: Point, direction: Point, height: float) -> Letter:
    """A text that starts at a point and extends in a direction, turned so that it is never upside
    down: where it would be, it is anchored at its right end instead.
    """
    if upright(direction):
        return Letter(content=content, text=text, at=at, height=height, along=direction)
    back = (-direction[0], -direction[1])
    return Letter(content=content, text=text, at=at, height=height, along=back, align=Align.RIGHT)
