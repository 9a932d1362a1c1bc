"""Start corner, direction of laying and datum on the plan of a bay."""

from __future__ import annotations

from itertools import product
from math import hypot
from typing import Final

from importer.plan import Point
from layout.writers.numbers import whole_mm
from layout.writers.sheets.marks import Align, Lines, Text
from layout.writers.sheets.plan_drawing import (
    ABOVE,
    SIDE,
    PlanDrawing,
    inside,
    sorted_box,
)
from layout.writers.sheets.style import (
    BOLD,
    DASH_DOT,
    EDGE,
    FINE,
    MEDIUM,
    SMALL,
    VERMILION,
    WHITE,
)

_SHIFTS: Final = (0.0, 6.0, -6.0, 12.0, -12.0, 24.0, -24.0)
"""Where along the datum its distance is told, from the first choice."""
_START: Final = 3.2
"""Side of the square on the start corner."""


def draw_start(drawing: PlanDrawing) -> None:
    """A square on the corner that the first plank is laid from, the word, arrows along and across."""
    layout, turned = drawing.scene.layout, drawing.turned
    if not layout.pieces:
        return
    corner = layout.setting_out.frame.point_to_bay(layout.start_corner)
    if not inside(corner, turned.window):
        return
    x, y = turned.at(*corner)
    out = -1.0 if turned.forward else 1.0
    square = sorted_box(x + out * 0.4, y + 0.4, x + out * (0.4 + _START), y + 0.4 + _START)
    drawing.sketch.rect(square, pen=BOLD, fill=VERMILION)
    drawing.ground.take(square)
    base = max(drawing.turned.paper_box[3] + 2.6, square[3] + 1.2)
    align = Align.LEFT if turned.forward else Align.RIGHT
    edge = square[0] if turned.forward else square[2]
    word = Text(
        words="START", at=(edge, base), height=MEDIUM, bold=True, colour=VERMILION, align=align
    )
    drawing.sketch.write(word)
    drawing.ground.take(word.box)
    tail = word.box[2] + 2.0 if turned.forward else word.box[0] - 2.0
    _arrow(drawing, (tail, base + MEDIUM / 2), (tail - out * 12.0, base + MEDIUM / 2))
    middle = (square[0] + square[2]) / 2
    if square[3] + 2.0 < base:
        drawing.sketch.draw(((middle, square[3]), (middle, base - 0.8)), pen=FINE, colour=VERMILION)
    _arrow(drawing, (middle, square[1]), (middle, square[1] - 9.0), halo=True)


def _arrow(drawing: PlanDrawing, foot: Point, tip: Point, *, halo: bool = False) -> None:
    length = hypot(tip[0] - foot[0], tip[1] - foot[1])
    u, v = (tip[0] - foot[0]) / length, (tip[1] - foot[1]) / length
    neck = (tip[0] - 3.0 * u, tip[1] - 3.0 * v)
    if halo:
        drawing.sketch.draw((foot, neck), pen=1.3, colour=WHITE)
    drawing.sketch.draw((foot, neck), pen=BOLD, colour=VERMILION)
    barbs = tuple((neck[0] + s * 1.1 * v, neck[1] - s * 1.1 * u) for s in (1, -1))
    head = Lines(
        chains=((tip, *barbs),),
        pen=EDGE if halo else None,
        colour=WHITE,
        fill=VERMILION,
        closed=True,
    )
    drawing.sketch.marks.append(head)
    drawing.ground.take(sorted_box(foot[0] - 1.1, foot[1], tip[0] + 1.1, tip[1]))


def draw_datum(drawing: PlanDrawing) -> None:
    """The line to snap, and its distance from the start wall in words at both ends."""
    out, turned = drawing.scene.layout.setting_out, drawing.turned
    start, end = (turned.at(*out.frame.point_to_bay(p)) for p in out.datum)
    left, _, right, top = turned.paper_box
    y0, y1 = sorted((start[0], end[0]))
    a, b = max(y0 - 4.0, left - 4.0), min(y1 + 4.0, right + 4.0)
    if b <= a or (
        not left - 4 <= start[0] <= right + 4
        and not left - 4 <= end[0] <= right + 4
        and not (y0 < left and y1 > right)
    ):
        return
    _datum_line(drawing, (a, start[1]), (b, start[1]))
    for part, offset in ((0.22, out.datum_offset_mm[0]), (0.78, out.datum_offset_mm[1])):
        x = start[0] + part * (end[0] - start[0])
        if left <= x <= right:
            _datum_words(drawing, (x, start[1]), offset, top)


def _datum_line(drawing: PlanDrawing, a: Point, b: Point) -> None:
    if not drawing.turned.paper_box[1] <= a[1] <= drawing.turned.paper_box[3]:
        return
    drawing.sketch.marks.append(Lines(chains=((a, b),), pen=BOLD, colour=VERMILION, dash=DASH_DOT))


def _datum_words(drawing: PlanDrawing, foot: Point, offset: float, top: float) -> None:
    """Over the plan, beside a leader to datum and wall; where no place is free the lists say it."""
    words = f"{whole_mm(offset)} wall to datum"
    wall = foot[1] + offset / drawing.turned.ratio
    left, _, right, _ = drawing.turned.paper_box
    inside = (left - SIDE, top, right + SIDE, top + ABOVE)
    for shift, level, align in product(_SHIFTS, (2.8, 7.2), (Align.LEFT, Align.RIGHT)):
        x = foot[0] + shift
        beside = 1.0 if align is Align.LEFT else -1.0
        at = (x + beside, top + level)
        text = Text(words=words, at=at, bold=True, colour=VERMILION, align=align)
        leader = (x - 0.3, top + 0.5, x + 0.3, top + level + SMALL)
        if not drawing.ground.is_free(leader) or not left <= x <= right:
            continue
        if drawing.ground.place(text, inside):
            drawing.ground.take(leader)
            sketch = drawing.sketch
            end = (x, top + level + SMALL)
            sketch.draw(((x, foot[1] - 1.0), end), pen=FINE, colour=VERMILION)
            ticks = [((x - 0.8, y - 0.8), (x + 0.8, y + 0.8)) for y in (foot[1], wall)]
            sketch.draw(*ticks, pen=EDGE, colour=VERMILION)
            sketch.write(text)
            return
