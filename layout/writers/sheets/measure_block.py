"""What to measure before the first cut: a key plan with letters, and a table to write into."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

import shapely

from importer.plan import Point
from layout.floor import BayLayout
from layout.writers.numbers import whole_mm, whole_range
from layout.writers.sheets.blocks import Block, Strip, heading, paragraph
from layout.writers.sheets.ground import Ground
from layout.writers.sheets.letters import text_width
from layout.writers.sheets.marks import Align, Group, Lines, Mark, Sketch, Text
from layout.writers.sheets.scene import Scene
from layout.writers.sheets.style import BLUE, EDGE, FINE, GREY, SMALL, THIN, WALL, WHITE
from layout.writers.sheets.turned import Turned

_KEY_HEIGHT: Final = 42.0
_LINE: Final = 4.4
_BOX: Final = (12.0, 3.5)
_BETWEEN: Final = 2.4
_HEADS: Final = ("drawn", "holds for", "measured")
_TICK: Final = 1.0
_PARTS: Final = (0.5, 0.42, 0.58, 0.34, 0.66, 0.26, 0.74, 0.18, 0.82, 0.1, 0.9)
_ASIDE: Final = (0.0, 2.4, -2.4, 4.8, -4.8)
_TITLE: Final = "Measure first, mm"


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
    head = (heading(_TITLE), _key_plan(scene, measures, width))
    return Block(strips=(*head, *_table(measures, width)))


def measure_table(scene: Scene, width: float) -> Block:
    """The table alone, for a sheet that shows the measures at the scale of its plan."""
    measures = measures_of(scene.layout)
    head = (heading(_TITLE), _table_head(measures))
    return Block(head=head, strips=tuple(_table(measures, width)[1:]), whole=False)


def _table(measures: Sequence[Measure], width: float) -> list[Strip]:
    places = _places(measures)
    strips = [_table_head(measures), *(_table_line(m, places) for m in measures)]
    return strips + paragraph("Outside this range: stop, set out again.", width)


def draw_measures(scene: Scene, turned: Turned) -> Sketch:
    """The bay's outline with its walls, and every distance to measure with its name."""
    sketch = Sketch()
    walls = turned.rings(scene.walls)
    if walls:
        sketch.marks.append(Lines(chains=walls, fill=WALL, closed=True))
    outline = turned.rings([scene.outline])
    sketch.marks.append(Lines(chains=outline, pen=EDGE, fill=WHITE, closed=True))
    measures = [m for m in measures_of(scene.layout) if _is_seen(m, turned)]
    _dimensions(sketch, turned, measures)
    return Sketch(marks=[Group(marks=tuple(sketch.marks), clip=turned.paper_box)])


def _is_seen(measure: Measure, turned: Turned) -> bool:
    (ax, ay), (bx, by) = measure.line
    x0, y0, x1, y1 = turned.window
    return x0 <= (ax + bx) / 2 <= x1 and y0 <= (ay + by) / 2 <= y1


def _key_plan(scene: Scene, measures: tuple[Measure, ...], width: float) -> Strip:
    x0, y0, x1, y1 = scene.outline.bounds
    ratio = max((x1 - x0) / (width - 12.0), (y1 - y0) / (_KEY_HEIGHT - 6.0), 1.0)
    height = (y1 - y0) / ratio + 6.0
    turned = Turned(
        window=(x0, y0, x1, y1), corner=(3.0, -2.0), ratio=ratio, forward=scene.left_to_right
    )
    sketch = Sketch()
    sketch.marks.append(Lines(chains=turned.rings([scene.outline]), pen=EDGE, closed=True))
    _dimensions(sketch, turned, measures)
    return Strip(height=height, marks=tuple(sketch.marks))


def _dimensions(sketch: Sketch, turned: Turned, measures: Sequence[Measure]) -> None:
    """All lines first, so that no line runs over a name. A name stands on its line where it meets the
    fewest others, beside it only where no place on it is left.
    """
    lines = [(turned.at(*m.line[0]), turned.at(*m.line[1])) for m in measures]
    for a, b in lines:
        sketch.draw((a, b), pen=THIN, colour=BLUE)
        for x, y in (a, b):
            sketch.draw(((x - _TICK, y - _TICK), (x + _TICK, y + _TICK)), pen=FINE, colour=BLUE)
    ground = Ground()
    tapes = [shapely.LineString(line) for line in lines]
    tree = shapely.STRtree(tapes)
    # The shortest have the least choice.
    for n in sorted(range(len(lines)), key=lambda k: (tapes[k].length, k)):
        for aside in _ASIDE:
            texts = [t for t in _names(measures[n].name, lines[n], aside) if ground.is_free(t.box)]
            if texts:
                crossed = [
                    len(tree.query(shapely.box(*t.box), predicate="intersects")) for t in texts
                ]
                best = texts[crossed.index(min(crossed))]
                ground.take(best.box)
                sketch.write(best)
                break


def _names(name: str, line: tuple[Point, Point], aside: float) -> Iterator[Text]:
    """Where the name of a measure may stand along its line, from the middle out, so far beside it."""
    (ax, ay), (bx, by) = line
    is_level = abs(bx - ax) > abs(by - ay)
    for part in _PARTS:
        x, y = ax + part * (bx - ax), ay + part * (by - ay)
        at = (x, y + aside) if is_level else (x + 1.4 * aside, y)
        yield Text(
            words=name,
            at=(at[0], at[1] - SMALL / 2),
            bold=True,
            colour=BLUE,
            align=Align.CENTRE,
            ground=WHITE,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Places:
    """Right edges of the two figures, left edge of the box to write into."""

    drawn: float
    holds: float
    box: float


def _places(measures: Sequence[Measure]) -> _Places:
    name = max(text_width(m.name, SMALL, bold=True) for m in measures)
    figures = [str(whole_mm(m.drawn)) for m in measures]
    drawn = name + _BETWEEN + _widest([*figures, _HEADS[0]])
    holds = drawn + _BETWEEN + _widest([*(_range(m) for m in measures), _HEADS[1]])
    return _Places(drawn=drawn, holds=holds, box=holds + _BETWEEN)


def _widest(words: Sequence[str]) -> float:
    return max(text_width(w, SMALL) for w in words)


def table_width(scene: Scene) -> float:
    """The width that the table needs."""
    return _places(measures_of(scene.layout)).box + _BOX[0]


def _table_head(measures: Sequence[Measure]) -> Strip:
    places = _places(measures)
    marks: tuple[Mark, ...] = (
        Text(words=_HEADS[0], at=(places.drawn, -SMALL), align=Align.RIGHT, colour=GREY),
        Text(words=_HEADS[1], at=(places.holds, -SMALL), align=Align.RIGHT, colour=GREY),
        Text(words=_HEADS[2], at=(places.box, -SMALL), colour=GREY),
    )
    return Strip(height=_LINE, marks=marks)


def _range(measure: Measure) -> str:
    low, high = whole_range(measure.least, measure.most, measure.drawn)
    return f"{low} to {high}"


def _table_line(measure: Measure, places: _Places) -> Strip:
    base = -SMALL - 0.6
    box, right = places.box, places.box + _BOX[0]
    ring = ((box, -0.2), (right, -0.2), (right, -0.2 - _BOX[1]), (box, -0.2 - _BOX[1]))
    figure = str(whole_mm(measure.drawn))
    marks: tuple[Mark, ...] = (
        Text(words=measure.name, at=(0.0, base), bold=True),
        Text(words=figure, at=(places.drawn, base), align=Align.RIGHT),
        Text(words=_range(measure), at=(places.holds, base), align=Align.RIGHT),
        Lines(chains=(ring,), pen=FINE, closed=True),
    )
    return Strip(height=_LINE, marks=marks)
