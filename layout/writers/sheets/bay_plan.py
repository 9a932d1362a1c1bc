"""The plan of a bay: walls, pieces, datum, start corner, row numbers, lengths of sawn ends.

Order of the eye: start corner and direction, datum, ripped rows, first and last lengths, the rest. What
finds no place on the paper is left to the cut list, which says everything.
"""

from __future__ import annotations

from typing import Final

import shapely

from layout.floor import CutKind
from layout.rules import RuleSet
from layout.writers.dxf.runs_seen import is_ripped, sawn_paths
from layout.writers.sheets.ground import Ground
from layout.writers.sheets.marks import Group, Hatching, Lines, Sketch, Text
from layout.writers.sheets.plan_drawing import (
    PlanDrawing,
    inside,
    numbered_rows,
)
from layout.writers.sheets.plan_order import (
    draw_borders,
    draw_discs,
    frame_reversed,
    write_borders,
)
from layout.writers.sheets.plan_start import draw_datum, draw_start
from layout.writers.sheets.plan_words import (
    write_door_words,
    write_lengths,
    write_room_names,
    write_row_numbers,
)
from layout.writers.sheets.scene import Scene
from layout.writers.sheets.style import (
    BOLD,
    EDGE,
    FINE,
    GREY,
    HAIR,
    HEAVY,
    PALE,
    TINT,
    WALL,
    WHITE,
)
from layout.writers.sheets.turned import Turned

_DISC: Final = 2.6


def draw_plan(
    scene: Scene, turned: Turned, rules: RuleSet, *, lengths: bool = True
) -> tuple[Sketch, Ground]:
    """All marks of one window, and what they cover. `lengths`: whether ends are lettered on the plan."""
    drawing = PlanDrawing(scene=scene, turned=turned, rules=rules, lengths=lengths)
    _guides(drawing)
    body = Sketch()
    _walls(drawing, body)
    _pieces(drawing, body)
    frame_reversed(drawing, body)
    _edges(drawing, body)
    draw_borders(drawing, body)
    drawing.sketch.marks.append(Group(marks=tuple(body.marks), clip=turned.paper_box))
    draw_start(drawing)
    draw_datum(drawing)
    draw_discs(drawing)
    _breaches(drawing)
    write_row_numbers(drawing)
    if lengths:
        write_lengths(drawing)
    write_borders(drawing)
    write_room_names(drawing)
    write_door_words(drawing)
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
    for _, y, x0, x1 in numbered_rows(drawing):
        chains = [((left - 1.0, y), (x0, y)), ((x1, y), (right + 1.0, y))]
        there = [c for c in chains if c[1][0] > c[0][0]]
        if there:
            drawing.sketch.draw(*there, pen=HAIR, colour=PALE)


# --- breaches ---------------------------------------------------------------------------------


def _breaches(drawing: PlanDrawing) -> None:
    """A numbered triangle at every rule not kept."""
    frame = drawing.scene.layout.setting_out.frame
    for number, breach in enumerate(drawing.scene.layout.breaches, start=1):
        place = frame.point_to_bay(breach.at)
        if not inside(place, drawing.turned.window):
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
