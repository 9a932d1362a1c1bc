"""The plan of a bay: walls, pieces, datum, start corner, row numbers, lengths of sawn ends.

Order of the eye: start corner and direction, datum, ripped rows, first and last lengths, the rest. What
finds no place on the paper is left to the cut list, which says everything.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from itertools import product
from math import cos, hypot, pi, sin
from typing import Final

import numpy as np
import shapely

from importer.plan import Point
from layout.floor import CutKind, Piece
from layout.rules import RuleSet
from layout.writers.dxf.runs_seen import RunSeen, is_cross_cut, is_ripped, length_words, sawn_paths
from layout.writers.numbers import whole_mm
from layout.writers.sheets.ground import Ground
from layout.writers.sheets.letters import text_width
from layout.writers.sheets.marks import Align, Box, Group, Hatching, Lines, Sketch, Text
from layout.writers.sheets.scene import Scene
from layout.writers.sheets.style import (
    BLACK,
    BLUE,
    BOLD,
    DASH_DOT,
    EDGE,
    FINE,
    GREY,
    HAIR,
    HEAVY,
    LEAST_PITCH,
    MEDIUM,
    PALE,
    SMALL,
    TINT,
    VERMILION,
    WALL,
    WHITE,
    Colour,
)
from layout.writers.sheets.turned import Turned

INSIDE: Final = 0.8
"""Distance of a length from the end of its piece."""
SIDE: Final = 9.0
"""Beside the window, for row numbers."""
ABOVE: Final = 12.0
"""Over the window, for the start and the datum."""
_SHIFTS: Final = (0.0, 6.0, -6.0, 12.0, -12.0, 24.0, -24.0)
"""Where along the datum its distance is told, from the first choice."""
_START: Final = 3.2
_DISC: Final = 2.6


@dataclass(slots=True)
class PlanDrawing:
    """One window of a bay while it is drawn."""

    scene: Scene
    turned: Turned
    rules: RuleSet
    lengths: bool
    sketch: Sketch = field(default_factory=Sketch)
    ground: Ground = field(default_factory=Ground)

    @property
    def pitch(self) -> float:
        """A row on paper."""
        return self.rules.plank.width / self.turned.ratio


def draw_plan(
    scene: Scene, turned: Turned, rules: RuleSet, *, lengths: bool = True
) -> tuple[Sketch, Ground]:
    """All marks of one window, and what they cover. `lengths`: whether ends are lettered on the plan."""
    drawing = PlanDrawing(scene=scene, turned=turned, rules=rules, lengths=lengths)
    _guides(drawing)
    body = Sketch()
    _walls(drawing, body)
    _pieces(drawing, body)
    _edges(drawing, body)
    drawing.sketch.marks.append(Group(marks=tuple(body.marks), clip=turned.paper_box))
    _start(drawing)
    _datum(drawing)
    _discs(drawing)
    _breaches(drawing)
    _row_numbers(drawing)
    if lengths:
        _lengths(drawing)
    _room_names(drawing)
    _door_words(drawing)
    return drawing.sketch, drawing.ground


# --- lines --------------------------------------------------------------------------------------


def _walls(drawing: PlanDrawing, body: Sketch) -> None:
    chains = drawing.turned.rings(drawing.scene.walls)
    if chains:
        body.marks.append(Lines(chains=chains, fill=WALL, closed=True))


def _pieces(drawing: PlanDrawing, body: Sketch) -> None:
    """Whole planks quiet, sawn ones tinted, ripped ones hatched as well."""
    pieces = drawing.scene.layout.pieces
    turned = drawing.turned
    sawn = [p.shape for p in pieces if p.cuts]
    ripped = [p.shape for p in pieces if is_ripped(p)]
    floor = turned.rings([drawing.scene.outline])
    body.marks.append(Lines(chains=floor, fill=WHITE, closed=True))
    if sawn:
        body.marks.append(Lines(chains=turned.rings(sawn), fill=TINT, closed=True))
    if ripped:
        box = turned.box(shapely.total_bounds(ripped).tolist())
        body.marks.append(Hatching(chains=turned.rings(ripped), box=box, pen=HAIR, step=1.1))
    if pieces:
        chains = turned.rings([p.shape for p in pieces])
        body.marks.append(Lines(chains=chains, pen=HAIR, closed=True))
    notched = [p for p in pieces if any(c.kind is CutKind.NOTCH for c in p.cuts)]
    for piece in notched:
        for path, closed in sawn_paths(piece, drawing.rules):
            chain = turned.chain(path)
            body.marks.append(Lines(chains=(chain,), pen=EDGE, closed=closed))


def _edges(drawing: PlanDrawing, body: Sketch) -> None:
    scene, turned = drawing.scene, drawing.turned
    outline = turned.rings([scene.outline])
    body.marks.append(Lines(chains=outline, pen=EDGE, closed=True))
    for passage in scene.passages:
        body.draw(turned.chain(passage.line), pen=FINE, colour=GREY)
    for _, line in scene.joints:
        body.draw(turned.chain(line), pen=HEAVY)


def _guides(drawing: PlanDrawing) -> None:
    """Pale lines from the row numbers to their rows."""
    left, _, right, _ = drawing.turned.paper_box
    for _, y, x0, x1 in _rows(drawing):
        drawing.sketch.draw(
            ((left - 1.0, y), (x0, y)), ((x1, y), (right + 1.0, y)), pen=HAIR, colour=PALE
        )


def _rows(drawing: PlanDrawing) -> Iterator[tuple[int, float, float, float]]:
    """Rows that carry a number: number, middle on paper, left and right end of what is laid of it."""
    x0, y0, x1, y1 = drawing.turned.window
    rows: dict[int, list[RunSeen]] = {}
    for run in drawing.scene.runs:
        if run.x1 > x0 and run.x0 < x1 and y0 <= run.middle <= y1:
            rows.setdefault(run.row, []).append(run)
    every = 1 if drawing.pitch >= SMALL + 0.4 else 5
    for row, runs in sorted(rows.items()):
        if row % every:
            continue
        tallest = max(runs, key=lambda r: r.height)
        box = drawing.turned.box((min(r.x0 for r in runs), 0, max(r.x1 for r in runs), 1))
        yield row, drawing.turned.at(0, tallest.middle)[1], box[0], box[2]


# --- start and datum ----------------------------------------------------------------------------


def _start(drawing: PlanDrawing) -> None:
    layout, turned = drawing.scene.layout, drawing.turned
    if not layout.pieces:
        return
    corner = layout.setting_out.frame.point_to_bay(layout.start_corner)
    if not _inside(corner, turned.window):
        return
    x, y = turned.at(*corner)
    out = -1.0 if turned.forward else 1.0
    square = _sorted_box(x + out * 0.4, y + 0.4, x + out * (0.4 + _START), y + 0.4 + _START)
    drawing.sketch.rect(square, pen=BOLD, fill=VERMILION)
    drawing.ground.take(square)
    base = drawing.turned.paper_box[3] + 2.6
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
    if y + 0.4 < base - 1.0:
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
    drawing.ground.take(_sorted_box(foot[0] - 1.1, foot[1], tip[0] + 1.1, tip[1]))


def _datum(drawing: PlanDrawing) -> None:
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


# --- order, breaches ----------------------------------------------------------------------------


def _discs(drawing: PlanDrawing) -> None:
    """The stretches of the order of laying, numbered where they begin."""
    stretches = drawing.scene.layout.stretches
    if len(stretches) < 2:
        return
    by_order = {p.order: p for p in drawing.scene.layout.pieces}
    for stretch in stretches:
        piece = by_order.get(stretch.first)
        if piece is None:
            continue
        x0, y0, x1, y1 = piece.shape.bounds
        middle = ((x0 + x1) / 2, (y0 + y1) / 2)
        if not _inside(middle, drawing.turned.window):
            continue
        colour = VERMILION if stretch.is_reversed else BLACK
        x, y = drawing.turned.at(*middle)
        draw_disc(drawing.sketch, (x, y), str(stretch.number), colour)
        drawing.ground.take((x - _DISC, y - _DISC, x + _DISC, y + _DISC))


def draw_disc(sketch: Sketch, centre: Point, words: str, colour: Colour) -> None:
    """A filled disc with a figure in it."""
    x, y = centre
    ring = tuple((x + _DISC * cos(k * pi / 16), y + _DISC * sin(k * pi / 16)) for k in range(32))
    sketch.marks.append(Lines(chains=(ring,), pen=EDGE, colour=WHITE, fill=colour, closed=True))
    at = (x, y - SMALL / 2)
    sketch.write(Text(words=words, at=at, bold=True, colour=WHITE, align=Align.CENTRE))


def _breaches(drawing: PlanDrawing) -> None:
    """A numbered triangle at every rule not kept."""
    frame = drawing.scene.layout.setting_out.frame
    for number, breach in enumerate(drawing.scene.layout.breaches, start=1):
        place = frame.point_to_bay(breach.at)
        if not _inside(place, drawing.turned.window):
            continue
        x, y = drawing.turned.at(*place)
        ring = ((x - 2.0, y - 1.4), (x + 2.0, y - 1.4), (x, y + 2.2))
        text = Text(words=str(number), at=(x + 2.4, y - 1.2), bold=True, ground=WHITE)
        box = (x - 2.0, y - 1.4, text.box[2], y + 2.2)
        if not drawing.ground.is_free(box):
            continue
        drawing.ground.take(box)
        drawing.sketch.marks.append(Lines(chains=(ring,), pen=BOLD, fill=WHITE, closed=True))
        drawing.sketch.write(text)


# --- lettering ----------------------------------------------------------------------------------


def _row_numbers(drawing: PlanDrawing) -> None:
    """Beside the window on both sides; where a thin row leaves no room, a little off its line."""
    left, _, right, _ = drawing.turned.paper_box
    rows = list(_rows(drawing))
    if not rows:
        return
    middle = sum(r[1] for r in rows) / len(rows)
    # Rows of full width first, from the middle out: the thin ones at the walls give way outwards.
    for row, y, _, _ in sorted(rows, key=lambda r: (abs(r[1] - middle), r[0])):
        out = 1.0 if y > middle else -1.0
        for x, align in ((left - 1.5, Align.RIGHT), (right + 1.5, Align.LEFT)):
            for step in (0.0, 0.5, 1.0, 1.5):
                at = (x, y - SMALL / 2 + out * step)
                text = Text(words=str(row), at=at, align=align)
                if drawing.ground.place(text):
                    drawing.sketch.write(text)
                    break


def _lengths(drawing: PlanDrawing) -> None:
    """First and last length of every run high enough to carry lettering."""
    scene, ratio = drawing.scene, drawing.turned.ratio
    for run in scene.runs:
        if run.height / ratio < LEAST_PITCH or not run.pieces:
            continue
        first, last = run.pieces[0], run.pieces[-1]
        if is_cross_cut(first):
            words = length_words(first, scene.first_slant if len(run.pieces) > 1 else None)
            _length(drawing, run, first, words, at_start=True)
        if last is not first and is_cross_cut(last):
            _length(drawing, run, last, length_words(last, scene.last_slant), at_start=False)


def _length(
    drawing: PlanDrawing, run: RunSeen, piece: Piece, words: str, *, at_start: bool
) -> None:
    turned = drawing.turned
    x0, _, x1, _ = piece.shape.bounds
    end = x0 if at_start else x1
    if not _inside((end, run.middle), turned.window):
        return
    at_left = at_start == turned.forward
    x, y = turned.at(end, run.middle)
    text = Text(
        words=words,
        at=(x + (INSIDE if at_left else -INSIDE), y - SMALL / 2),
        bold=True,
        colour=BLUE,
        align=Align.LEFT if at_left else Align.RIGHT,
        ground=_ground_colour(piece, text_width(words, SMALL, bold=True), turned.ratio),
    )
    if drawing.ground.place(text):
        drawing.sketch.write(text)


def _ground_colour(piece: Piece, width: float, ratio: float) -> Colour | None:
    """What is painted under a length: nothing where it stands on the plain tint of its own piece."""
    x0, _, x1, _ = piece.shape.bounds
    if (x1 - x0) / ratio < width + 2 * INSIDE:
        return WHITE
    return TINT if is_ripped(piece) else None


def _room_names(drawing: PlanDrawing) -> None:
    """Each room's name on the whole plank nearest to its middle."""
    scene, turned = drawing.scene, drawing.turned
    if len(scene.rooms) < 2:
        return
    whole = [p.shape for p in scene.layout.pieces if not p.cuts]
    if not whole or drawing.pitch < LEAST_PITCH:
        return
    middles = shapely.centroid(np.asarray(whole, dtype=object))
    for name, room in scene.rooms:
        own = np.flatnonzero(shapely.contains(room, middles))
        distance = shapely.distance(middles[own], room.representative_point())
        for k in own[np.argsort(distance, kind="stable")][:12]:
            x, y = turned.at(middles[k].x, middles[k].y)
            text = Text(words=name, at=(x, y - SMALL / 2), align=Align.CENTRE)
            box = turned.box(whole[k].bounds)
            room_box = (box[0] + 0.5, box[1], box[2] - 0.5, box[3])
            if _inside((middles[k].x, middles[k].y), turned.window) and drawing.ground.place(
                text, room_box
            ):
                drawing.sketch.write(text)
                break


def _door_words(drawing: PlanDrawing) -> None:
    """What lies beyond the doors where the floor ends, and that a joint is there."""
    scene = drawing.scene
    for passage in scene.passages:
        if not passage.through and passage.words:
            _beyond(drawing, passage.line, passage.words)


def _beyond(drawing: PlanDrawing, line: tuple[Point, Point], words: str) -> None:
    """Words outside the bay, over, under or beside the middle of a door."""
    (ax, ay), (bx, by) = (drawing.turned.at(*p) for p in line)
    x, y = (ax + bx) / 2, (ay + by) / 2
    half = text_width(words, SMALL) / 2
    level = abs(bx - ax) > abs(by - ay)
    for step in (3.0, 5.0, 7.0, 9.0):
        for sign in (1.0, -1.0):
            at = (
                (x, y + sign * step - SMALL / 2)
                if level
                else (x + sign * (step + half), y - SMALL / 2)
            )
            text = Text(words=words, at=at, align=Align.CENTRE, colour=BLACK)
            if _is_outside(drawing, text.box) and drawing.ground.place(text):
                drawing.sketch.write(text)
                return


def _is_outside(drawing: PlanDrawing, box: Box) -> bool:
    """Whether a box on paper is clear of floor and walls."""
    left, low, right, top = drawing.turned.paper_box
    if box[0] < left - 1 or box[2] > right + 1 or box[1] < low - 8.0 or box[3] > top:
        return False
    turned, (x0, y0, x1, _) = drawing.turned, drawing.turned.window
    across = [(b - turned.corner[0]) * turned.ratio for b in (box[0], box[2])]
    xs = [x0 + a if turned.forward else x1 - a for a in across]
    ys = [y0 + (turned.corner[1] - b) * turned.ratio for b in (box[1], box[3])]
    area = shapely.box(min(xs), min(ys), max(xs), max(ys))
    if area.intersects(drawing.scene.outline):
        return False
    return not any(area.intersects(wall) for wall in drawing.scene.walls)


def _inside(point: Point, window: Sequence[float]) -> bool:
    x0, y0, x1, y1 = window
    return x0 - 0.5 <= point[0] <= x1 + 0.5 and y0 - 0.5 <= point[1] <= y1 + 0.5


def _sorted_box(x0: float, y0: float, x1: float, y1: float) -> Box:
    return min(x0, x1), min(y0, y1), max(x0, x1), max(y0, y1)
