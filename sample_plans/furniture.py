"""Blocks of sanitary ware, fitted units and furniture, base point at the back left corner, the back
along x: an architect's library drawn once for a unit of length.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from math import cos, sin, tau
from typing import Final, Protocol

from ezdxf.document import Drawing
from ezdxf.layouts.blocklayout import BlockLayout

from sample_plans.building import Point

ON_ZERO = {"layer": "0"}


class Pen(Protocol):
    """What a thing of the library is drawn with; lengths in millimetres."""

    def rect(self, x0: float, y0: float, x1: float, y1: float) -> None:
        """Closed rectangle."""

    def line(self, a: Point, b: Point) -> None:
        """Straight line."""

    def circle(self, x: float, y: float, radius: float) -> None:
        """Circle."""

    def oval(self, x: float, y: float, half_x: float, half_y: float) -> None:
        """Ellipse with upright axes."""


class _BlockPen:
    """Draws into one block on layer 0, lengths scaled from millimetres."""

    def __init__(self, block: BlockLayout, unit: float) -> None:
        self._block = block
        self._k = unit
        # The oldest format knows neither light polylines nor ellipses.
        self._old = block.dxfversion <= "AC1009"

    def _closed(self, corners: list[Point]) -> None:
        if self._old:
            self._block.add_polyline2d(corners, close=True, dxfattribs=ON_ZERO)
        else:
            self._block.add_lwpolyline(corners, close=True, dxfattribs=ON_ZERO)

    def rect(self, x0: float, y0: float, x1: float, y1: float) -> None:
        """Closed rectangle."""
        k = self._k
        self._closed([(x0 * k, y0 * k), (x1 * k, y0 * k), (x1 * k, y1 * k), (x0 * k, y1 * k)])

    def line(self, a: Point, b: Point) -> None:
        """Straight line."""
        k = self._k
        self._block.add_line((a[0] * k, a[1] * k), (b[0] * k, b[1] * k), dxfattribs=ON_ZERO)

    def circle(self, x: float, y: float, radius: float) -> None:
        """Circle."""
        self._block.add_circle((x * self._k, y * self._k), radius * self._k, dxfattribs=ON_ZERO)

    def oval(self, x: float, y: float, half_x: float, half_y: float) -> None:
        """Ellipse with upright axes."""
        k = self._k
        if self._old:
            turns = [tau * i / 24 for i in range(24)]
            self._closed(
                [
                    (round((x + half_x * cos(t)) * k, 3), round((y + half_y * sin(t)) * k, 3))
                    for t in turns
                ]
            )
            return
        long_x = half_x >= half_y
        axis = (half_x * k, 0.0) if long_x else (0.0, half_y * k)
        ratio = half_y / half_x if long_x else half_x / half_y
        self._block.add_ellipse((x * k, y * k), major_axis=axis, ratio=ratio, dxfattribs=ON_ZERO)


def _bath(pen: Pen) -> None:
    pen.rect(0, 0, 1700, 750)
    pen.oval(850, 375, 760, 310)
    pen.circle(250, 375, 25)


def _shower(pen: Pen) -> None:
    pen.rect(0, 0, 900, 900)
    pen.line((0, 0), (900, 900))
    pen.line((0, 900), (900, 0))
    pen.circle(450, 450, 45)


def _wc(pen: Pen) -> None:
    pen.rect(0, 0, 400, 170)
    pen.oval(200, 400, 180, 230)


def _basin(pen: Pen) -> None:
    pen.rect(0, 0, 600, 460)
    pen.oval(300, 240, 240, 170)
    pen.circle(300, 90, 20)


def _sink(pen: Pen) -> None:
    pen.rect(0, 0, 1000, 600)
    pen.rect(60, 90, 480, 520)
    pen.line((540, 90), (540, 520))
    pen.line((640, 90), (640, 520))
    pen.line((740, 90), (740, 520))
    pen.circle(270, 300, 30)


def _hob(pen: Pen) -> None:
    pen.rect(0, 0, 600, 600)
    for x, y, r in ((170, 170, 85), (430, 170, 70), (170, 430, 70), (430, 430, 85)):
        pen.circle(x, y, r)


def _unit(pen: Pen) -> None:
    pen.rect(0, 0, 600, 600)


def _tall(pen: Pen) -> None:
    pen.rect(0, 0, 600, 600)
    pen.line((0, 0), (600, 600))


def _double_bed(pen: Pen) -> None:
    pen.rect(0, 0, 1600, 2050)
    pen.rect(80, 60, 760, 460)
    pen.rect(840, 60, 1520, 460)
    pen.line((0, 620), (1600, 620))


def _single_bed(pen: Pen) -> None:
    pen.rect(0, 0, 900, 2050)
    pen.rect(90, 60, 810, 420)
    pen.line((0, 620), (900, 620))


def _wardrobe(pen: Pen) -> None:
    pen.rect(0, 0, 1200, 600)
    pen.line((0, 300), (1200, 300))
    for x in range(150, 1200, 150):
        pen.line((x - 20, 120), (x + 20, 480))


def _sofa(pen: Pen) -> None:
    pen.rect(0, 0, 2100, 900)
    pen.rect(180, 220, 1050, 900)
    pen.rect(1050, 220, 1920, 900)


def _low_table(pen: Pen) -> None:
    pen.rect(0, 0, 1000, 550)


def _table(pen: Pen) -> None:
    pen.rect(0, 450, 1400, 1250)
    for x in (150, 800):
        pen.rect(x, 50, x + 450, 400)
        pen.rect(x, 1300, x + 450, 1650)


def _desk(pen: Pen) -> None:
    pen.rect(0, 0, 1200, 600)
    pen.rect(375, 650, 825, 1050)


LIBRARY: Final[Mapping[str, Callable[[Pen], None]]] = {
    "BATH": _bath,
    "SHOWER": _shower,
    "WC": _wc,
    "BASIN": _basin,
    "SINK": _sink,
    "HOB": _hob,
    "UNIT": _unit,
    "TALL": _tall,
    "BED-DOUBLE": _double_bed,
    "BED-SINGLE": _single_bed,
    "WARDROBE": _wardrobe,
    "SOFA": _sofa,
    "TABLE-LOW": _low_table,
    "TABLE-4": _table,
    "DESK": _desk,
}


def add_furniture(doc: Drawing, unit: float = 1.0) -> None:
    """All blocks of the library; `unit` is one millimetre in drawing units."""
    for name, draw in LIBRARY.items():
        draw(_BlockPen(doc.blocks.new(name), unit))
