"""Start corner, direction of laying, datum line with its dimensions and words: where the work begins.

Bay frame in, plan frame out, millimetres.

        START ------>        166 wall to datum          166 wall to datum
      []=========================================================
    1 |/860//////////|///////////////|//////////////|////472////|   row 1, ripped
      |-.-.-.-.-.-.-.-.-.-.-.-.-.-.-.-.-.-.-.-.-.-.-.-.-.-.-.-.-|   datum
    2 |480 |               |               |               | 865|
"""

from __future__ import annotations

from dataclasses import replace
from math import hypot

from shapely import Polygon

from importer.plan import Point
from layout.writers.dxf.lettering import text_width
from layout.writers.dxf.marks import (
    Dimension,
    Fill,
    Group,
    Stroke,
    lettered,
    oriented_box,
    read_along,
)
from layout.writers.dxf.scheme import Content
from layout.writers.dxf.sizes import PLAN
from layout.writers.dxf.sketch import CLEAR, FARTHEST, INSIDE, STEP, Sketch
from layout.writers.numbers import whole_mm

_SQUARE = PLAN.paper(2.4)
_ARROW = PLAN.paper(12.0)
_HEAD = PLAN.paper(2.5)
_HAIR = PLAN.paper(0.1)
_TICK = PLAN.paper(0.5)
_STEPS = int(FARTHEST / STEP)
_ROW_2 = 0.75 * PLAN.small
"""From the datum to the middle of a figure that stands in row 2."""
_MOST_TRIES = 60


def draw_start(sketch: Sketch) -> None:
    """A filled square on the wall at the start corner, the word, and an arrow in laying direction."""
    starter = min(sketch.runs, key=lambda r: (abs(r.row - 1), r.x0))
    gap, corner = sketch.layout.bay.gap_mm, starter.pieces[0].shape.bounds
    x, y = corner[0] - gap, corner[1] - gap
    low_x, low_y = x - _SQUARE, y - _SQUARE
    square = tuple(sketch.at(*p) for p in ((low_x, low_y), (x, low_y), (x, y), (low_x, y)))
    sketch.marks.append(Fill(content=Content.START, points=square))
    sketch.marks.append(Stroke(content=Content.START, points=square, closed=True))
    sketch.board.take([Polygon(square)])
    outside = (_start_words(sketch, x, low_y - k * STEP, PLAN.medium) for k in range(1, _STEPS))
    if sketch.keep(sketch.board.place_outside(outside)):
        return
    needed = text_width("START", PLAN.small) + _ARROW + 2 * INSIDE
    inside = (
        (hypot(at - x, middle - y), _start_words(sketch, at, middle, PLAN.small))
        for at, middle in sketch.strips(needed)
    )
    sketch.keep(sketch.board.place_nearest(inside))


def _start_words(sketch: Sketch, x: float, y: float, height: float) -> Group:
    word = read_along(Content.START, "START", sketch.at(x, y), sketch.forward, height)
    tail = x + word.width + PLAN.paper(1.5)
    tip, neck = tail + _ARROW, tail + _ARROW - _HEAD
    corners = ((tip, y), (neck, y + _HEAD / 4), (neck, y - _HEAD / 4))
    head = tuple(sketch.at(*p) for p in corners)
    ground = oriented_box(
        sketch.at(tail, y), sketch.forward, (0, -_HEAD / 2, _ARROW + CLEAR, _HEAD / 2)
    )
    return lettered(
        word,
        Stroke(content=Content.START, points=(sketch.at(tail, y), sketch.at(neck, y))),
        Fill(content=Content.START, points=head),
        Stroke(content=Content.START, points=head, closed=True),
        margin=CLEAR,
        more=(ground,),
    )


def draw_datum(sketch: Sketch) -> None:
    """The line, and at both of its ends the distance from the wall, dimensioned and in words."""
    setting_out = sketch.layout.setting_out
    sketch.marks.append(Stroke(content=Content.DATUM, points=setting_out.datum))
    (x0, y0), (x1, y1) = (setting_out.frame.point_to_bay(p) for p in setting_out.datum)
    near, far = setting_out.datum_offset_mm
    _datum_words(sketch, (x0 + 0.2 * (x1 - x0), y0), near)
    _datum_words(sketch, (x0 + 0.8 * (x1 - x0), y1), far)
    _datum_dimension(sketch, (x0, y0), -1, near)
    _datum_dimension(sketch, (x1, y1), 1, far)


def _datum_words(sketch: Sketch, at: Point, offset: float) -> None:
    (x, y), words = at, f"{whole_mm(offset)} wall to datum"
    wall = y - offset
    outside = (
        _pointed(sketch, words, (x + shift, wall - k * STEP), (x + shift, y))
        for shift in (0.0, -6 * STEP, 6 * STEP)
        for k in range(1, _STEPS)
    )
    if sketch.keep(sketch.board.place_outside(outside)):
        return
    half = text_width(words, PLAN.small) / 2
    inside = (
        (hypot(start + half - x, middle - y), _pointed(sketch, words, (start, middle), (start, y)))
        for start, middle in sketch.strips(2 * half + INSIDE)
    )
    sketch.keep(sketch.board.place_nearest(inside))


def _pointed(sketch: Sketch, words: str, at: Point, to: Point) -> Group:
    """Words that stand beside a leader to the datum."""
    word = read_along(
        Content.START, words, sketch.at(at[0] + INSIDE, at[1]), sketch.forward, PLAN.small
    )
    top, half = at[1] - to[1], PLAN.small / 2
    end = top + (half if top > 0 else -half)
    foot = sketch.at(*to)
    leader = Stroke(content=Content.START, points=(sketch.at(at[0], to[1] + end), foot))
    low, high = sorted((0.0, -end if sketch.layout.setting_out.frame.mirrored else end))
    ground = oriented_box(foot, sketch.forward, (-_HAIR, low, _HAIR, high))
    return replace(lettered(word, leader, margin=CLEAR), leaders=(ground,))


def _datum_dimension(sketch: Sketch, at: Point, sign: int, offset: float) -> None:
    """Beyond the end of the datum where there is room, else inside, past the lengths."""
    outside = (
        _dimension(sketch, at, at[0] + sign * (PLAN.paper(2) + k * STEP), offset, sign)
        for k in range(_STEPS)
    )
    if sketch.keep(sketch.board.place_outside(outside)):
        return
    reach = 2 * text_width("0000", PLAN.small) + 3 * INSIDE
    inside = (
        (
            k * STEP,
            _dimension(sketch, at, at[0] - sign * (reach + k * STEP), offset, -sign, in_row_2=True),
        )
        for k in range(_MOST_TRIES)
    )
    sketch.keep(sketch.board.place_nearest(inside))


def _dimension(
    sketch: Sketch, at: Point, line: float, offset: float, sign: int, *, in_row_2: bool = False
) -> Group:
    """`line` is the place of the dimension line along the rows, `sign` on which side its figure is.
    Inside the floor the figure stands in row 2: between wall and datum it might be too high.
    """
    x, y = at
    middle = y - offset / 2
    figure = read_along(
        Content.DIM,
        str(whole_mm(offset)),
        sketch.at(line + sign * PLAN.paper(1.2), y + _ROW_2 if in_row_2 else middle),
        sketch.forward if sign > 0 else sketch.backward,
        PLAN.small,
    )
    dimension = Dimension(
        content=Content.DIM,
        start=sketch.at(x, y - offset),
        end=sketch.at(x, y),
        line_at=sketch.at(line, y),
        text=figure,
    )
    half = offset / 2 + _TICK
    ground = oriented_box(sketch.at(line, middle), sketch.forward, (-_TICK, -half, _TICK, half))
    return lettered(dimension, margin=CLEAR, more=(ground,))
