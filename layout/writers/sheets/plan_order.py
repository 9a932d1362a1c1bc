"""The order of laying on the plan of a bay: stretches numbered where they begin with the way their rows
go on, what is laid in reverse framed, and the line where a stage ends.
"""

from __future__ import annotations

from itertools import pairwise
from math import cos, pi, sin
from typing import Final

import shapely
from shapely import Polygon

from importer.plan import Point
from layout.floor import Stretch
from layout.writers.sheets.marks import Align, Lines, Sketch, Text
from layout.writers.sheets.plan_drawing import PlanDrawing, inside
from layout.writers.sheets.style import (
    BLACK,
    BOLD,
    DASH,
    EDGE,
    HEAVY,
    SMALL,
    VERMILION,
    WHITE,
    Colour,
)

_DISC: Final = 2.6
_ARROW: Final = 4.2
"""How far the arrow stands out of its disc."""
_INSET_MM: Final = 30.0
"""A stretch laid in reverse is framed so far inside its edge."""


def frame_reversed(drawing: PlanDrawing, body: Sketch) -> None:
    """A frame inside the edge of what is laid in reverse."""
    for stretch in drawing.scene.layout.stretches:
        if not stretch.is_reversed:
            continue
        shapes = [
            p.shape for p in drawing.scene.layout.pieces if stretch.first <= p.order <= stretch.last
        ]
        joined = shapely.union_all(shapes, grid_size=1.0).buffer(-_INSET_MM, join_style="mitre")
        parts = [p for p in shapely.get_parts(joined) if isinstance(p, Polygon)]
        if parts:
            chains = drawing.turned.rings(parts)
            body.marks.append(
                Lines(chains=chains, pen=EDGE, colour=VERMILION, closed=True, dash=DASH)
            )


def draw_borders(drawing: PlanDrawing, body: Sketch) -> None:
    """The line along which a stage ends."""
    frame = drawing.scene.layout.setting_out.frame
    for border in drawing.scene.layout.stage_borders:
        if border.path:
            chain = drawing.turned.chain([frame.point_to_bay(p) for p in border.path])
            body.marks.append(Lines(chains=(chain,), pen=1.3, colour=WHITE))
            body.marks.append(Lines(chains=(chain,), pen=HEAVY, dash=DASH))


def write_borders(drawing: PlanDrawing) -> None:
    """`end of stage 1` beside each such line, where there is room."""
    frame = drawing.scene.layout.setting_out.frame
    left, low, right, top = drawing.turned.paper_box
    for border in drawing.scene.layout.stage_borders:
        places = [drawing.turned.at(*frame.point_to_bay(p)) for p in border.path]
        shares = [
            ((a[0] * (1 - s) + b[0] * s), (a[1] * (1 - s) + b[1] * s))
            for a, b in pairwise(places)
            for s in (0.5, 0.25, 0.75, 0.1, 0.9)
        ]
        for x, y in shares:
            at = (x, y - SMALL / 2)
            words = f"end of stage {border.stage}"
            text = Text(words=words, at=at, bold=True, align=Align.CENTRE, ground=WHITE)
            on_plan = left <= text.box[0] and text.box[2] <= right and low <= y <= top
            if on_plan and drawing.ground.place(text):
                drawing.sketch.write(text)
                break


def draw_discs(drawing: PlanDrawing) -> None:
    """The stretches of the order of laying, numbered where they begin."""
    stretches = drawing.scene.layout.stretches
    if len(stretches) < 2:
        return
    by_order = {p.order: p for p in drawing.scene.layout.pieces}
    for stretch in stretches:
        piece = by_order.get(stretch.first)
        if piece is None:
            continue
        inner = piece.shape.representative_point()
        if inside((inner.x, inner.y), drawing.turned.window):
            _disc(drawing, stretch, drawing.turned.at(inner.x, inner.y))


def _disc(drawing: PlanDrawing, stretch: Stretch, at: Point) -> None:
    """A disc with an arrow the way that rows go on: down the sheet, or back up it in reverse."""
    x, y = at
    colour = VERMILION if stretch.is_reversed else BLACK
    way = 1.0 if stretch.is_reversed else -1.0
    tip = y + way * (_DISC + _ARROW)
    foot = (x, y + way * _DISC)
    neck = (x, tip - way * 2.2)
    drawing.sketch.draw((foot, neck), pen=1.5, colour=WHITE)
    drawing.sketch.draw((foot, neck), pen=BOLD, colour=colour)
    head = ((x, tip), (x - 1.1, neck[1]), (x + 1.1, neck[1]))
    drawing.sketch.marks.append(
        Lines(chains=(head,), pen=EDGE, colour=WHITE, fill=colour, closed=True)
    )
    draw_disc(drawing.sketch, (x, y), str(stretch.number), colour)
    low, high = sorted((y - way * _DISC, tip))
    drawing.ground.take((x - _DISC, low, x + _DISC, high))


def draw_disc(sketch: Sketch, centre: Point, words: str, colour: Colour) -> None:
    """A filled disc with a figure in it."""
    x, y = centre
    ring = tuple((x + _DISC * cos(k * pi / 16), y + _DISC * sin(k * pi / 16)) for k in range(32))
    sketch.marks.append(Lines(chains=(ring,), pen=EDGE, colour=WHITE, fill=colour, closed=True))
    at = (x, y - SMALL / 2)
    sketch.write(Text(words=words, at=at, bold=True, colour=WHITE, align=Align.CENTRE))
