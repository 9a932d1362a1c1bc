"""Lettering on the plan of a bay: row numbers, lengths of sawn ends, rooms, what lies behind doors."""

from __future__ import annotations

from itertools import product

import numpy as np
import shapely

from importer.plan import Point
from layout.floor import Piece
from layout.writers.dxf.piece_ends import clear_band, end_over
from layout.writers.dxf.runs_seen import RunSeen, is_cross_cut, is_ripped, length_words
from layout.writers.sheets.letters import text_width
from layout.writers.sheets.marks import Align, Box, Text
from layout.writers.sheets.plan_drawing import (
    INSIDE,
    PlanDrawing,
    inside,
    numbered_rows,
)
from layout.writers.sheets.style import (
    BLACK,
    BLUE,
    LEAST_PITCH,
    SMALL,
    TINT,
    WHITE,
    Colour,
)

_OFF_LINES = 0.7
"""Words outside the floor keep so far from lines."""


def write_row_numbers(drawing: PlanDrawing) -> None:
    """Beside the window on both sides; where a thin row leaves no room, a little off its line."""
    left, _, right, _ = drawing.turned.paper_box
    rows = list(numbered_rows(drawing))
    if not rows:
        return
    middle = sum(r[1] for r in rows) / len(rows)
    # Rows of full width first, from the middle out: the thin ones at the walls give way outwards.
    for row, y, _, _ in sorted(rows, key=lambda r: (abs(r[1] - middle), r[0])):
        out = 1.0 if y > middle else -1.0
        for edge, side, align in ((left, -1.0, Align.RIGHT), (right, 1.0, Align.LEFT)):
            for off, step in product((1.5, 4.8), (0.0, 0.5, 1.0, 1.5)):
                at = (edge + side * off, y - SMALL / 2 + out * step)
                text = Text(words=str(row), at=at, align=align)
                if drawing.ground.place(text):
                    drawing.sketch.write(text)
                    break


def write_lengths(drawing: PlanDrawing) -> None:
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
    wide = (text_width(words, SMALL, bold=True) + 2 * INSIDE) * turned.ratio
    if wide > run.x1 - run.x0:
        return  # it would stand on a wall
    x0, _, x1, _ = piece.shape.bounds
    band = clear_band(piece, (x0, x0 + wide) if at_start else (x1 - wide, x1))
    if band is None or (band[1] - band[0]) / turned.ratio < LEAST_PITCH:
        return
    middle = (band[0] + band[1]) / 2
    half = SMALL / 2 * turned.ratio
    end = end_over(piece, (middle - half, middle + half), starts=at_start)
    if not inside((end, middle), turned.window):
        return
    at_left = at_start == turned.forward
    x, y = turned.at(end, middle)
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


def write_room_names(drawing: PlanDrawing) -> None:
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
            if inside((middles[k].x, middles[k].y), turned.window) and drawing.ground.place(
                text, room_box
            ):
                drawing.sketch.write(text)
                break


def write_door_words(drawing: PlanDrawing) -> None:
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
    area = shapely.box(min(xs), min(ys), max(xs), max(ys)).buffer(_OFF_LINES * turned.ratio)
    if area.intersects(drawing.scene.outline):
        return False
    return not any(area.intersects(wall) for wall in drawing.scene.walls)
