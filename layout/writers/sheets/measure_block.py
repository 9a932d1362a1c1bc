"""What to measure before the first cut: a key plan with letters, and a table to write into."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from importer.plan import Point
from layout.floor import BayLayout
from layout.writers.numbers import whole_mm
from layout.writers.sheets.blocks import Block, Strip, heading, paragraph
from layout.writers.sheets.ground import Ground
from layout.writers.sheets.marks import Align, Lines, Mark, Sketch, Text
from layout.writers.sheets.scene import Scene
from layout.writers.sheets.style import EDGE, FINE, GREY, SMALL, THIN, WHITE
from layout.writers.sheets.turned import Turned

_KEY_HEIGHT: Final = 42.0
_LINE: Final = 4.6
_BOX: Final = (15.0, 3.5)
_TICK: Final = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Measure:
    """A distance to measure: its name, its ends in the bay frame, as drawn and the range that holds."""

    name: str
    line: tuple[Point, Point]
    drawn: float
    least: float
    most: float


def measures_of(layout: BayLayout) -> tuple[Measure, ...]:
    """The dimensions of the bay in their order."""
    frame = layout.setting_out.frame
    return tuple(
        Measure(
            name=d.id,
            line=(frame.point_to_bay(d.line[0]), frame.point_to_bay(d.line[1])),
            drawn=d.drawn_mm,
            least=d.least_mm,
            most=d.most_mm,
        )
        for d in layout.dimensions
    )


def measure_block(scene: Scene, width: float) -> Block | None:
    """Key plan and table; None where nothing is to be measured."""
    measures = measures_of(scene.layout)
    if not measures:
        return None
    head = (heading("Measure first, mm"), _key_plan(scene, measures, width))
    strips = [_table_head(width), *(_table_line(m, width) for m in measures)]
    strips += paragraph("Outside this range: stop, set out again.", width)
    return Block(head=(), strips=(*head, *strips), whole=len(measures) < 12)


def _key_plan(scene: Scene, measures: tuple[Measure, ...], width: float) -> Strip:
    x0, y0, x1, y1 = scene.outline.bounds
    ratio = max((x1 - x0) / (width - 12.0), (y1 - y0) / (_KEY_HEIGHT - 6.0), 1.0)
    height = (y1 - y0) / ratio + 6.0
    turned = Turned(
        window=(x0, y0, x1, y1), corner=(3.0, -2.0), ratio=ratio, forward=scene.left_to_right
    )
    sketch, ground = Sketch(), Ground()
    sketch.marks.append(Lines(chains=turned.rings([scene.outline]), pen=EDGE, closed=True))
    for measure in measures:
        _dimension(sketch, ground, turned, measure)
    return Strip(height=height, marks=tuple(sketch.marks))


def _dimension(sketch: Sketch, ground: Ground, turned: Turned, measure: Measure) -> None:
    a, b = (turned.at(*p) for p in measure.line)
    sketch.draw((a, b), pen=THIN)
    for x, y in (a, b):
        sketch.draw(((x - _TICK, y - _TICK), (x + _TICK, y + _TICK)), pen=FINE)
    for part in (0.5, 0.4, 0.6, 0.3, 0.7, 0.2, 0.8):
        x, y = a[0] + part * (b[0] - a[0]), a[1] + part * (b[1] - a[1])
        at = (x, y - SMALL / 2)
        text = Text(words=measure.name, at=at, bold=True, align=Align.CENTRE, ground=WHITE)
        if ground.place(text):
            sketch.write(text)
            return
    # In a crowded key plan the name stands where it can be told, if only just.
    sketch.write(Text(words=measure.name, at=(a[0] + 1.0, a[1] - 3.5), bold=True, ground=WHITE))


def _places(width: float) -> tuple[float, float, float]:
    """Right edges of the two figures, left edge of the box to write into."""
    return 22.0, 48.0, min(width - _BOX[0], 58.0)


def _table_head(width: float) -> Strip:
    drawn, holds, box = _places(width)
    marks: tuple[Mark, ...] = (
        Text(words="drawn", at=(drawn, -SMALL), align=Align.RIGHT, colour=GREY),
        Text(words="holds for", at=(holds, -SMALL), align=Align.RIGHT, colour=GREY),
        Text(words="measured", at=(box, -SMALL), colour=GREY),
    )
    return Strip(height=_LINE, marks=marks)


def _table_line(measure: Measure, width: float) -> Strip:
    drawn, holds, box = _places(width)
    base = -SMALL - 0.6
    # Rounded inwards: a range in whole millimetres that lies in the true one.
    low, high = -int(-measure.least // 1), int(measure.most // 1)
    if low > high:
        low = high = whole_mm(measure.drawn)
    right = box + _BOX[0]
    ring = ((box, -0.2), (right, -0.2), (right, -0.2 - _BOX[1]), (box, -0.2 - _BOX[1]))
    marks: tuple[Mark, ...] = (
        Text(words=measure.name, at=(0.0, base), bold=True),
        Text(words=str(whole_mm(measure.drawn)), at=(drawn, base), align=Align.RIGHT),
        Text(words=f"{low} to {high}", at=(holds, base), align=Align.RIGHT),
        Lines(chains=(ring,), pen=FINE, closed=True),
    )
    return Strip(height=_LINE, marks=marks)
