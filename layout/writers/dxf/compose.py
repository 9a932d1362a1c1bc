"""The whole mark-up of a plan as plain marks: what stands where, before any CAD entity is made."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import accumulate

import numpy as np
import shapely
from shapely import Polygon

from importer.plan import Point
from layout.floor import BayLayout, PlanResult
from layout.rules import RuleSet
from layout.writers.dxf.joint_marks import draw_breaches, joint_marks
from layout.writers.dxf.marks import Dimension, Fill, Letter, Lines, Mark, Stroke
from layout.writers.dxf.panels import Block, set_panels
from layout.writers.dxf.pieces import bay_strokes, rip_strokes
from layout.writers.dxf.placing import Board
from layout.writers.dxf.row_marks import draw_lengths, draw_row_numbers, draw_title
from layout.writers.dxf.setting_out_marks import draw_datum, draw_start
from layout.writers.dxf.sizes import Scale, table_scale
from layout.writers.dxf.sketch import Sketch, sketch_of
from layout.writers.dxf.tables import Told, panels_of, plain_room_names, room_names
from layout.writers.dxf.underlay import Bounds, Underlay

_MARGIN_MM = 20.0
"""Distance on paper between the architect's drawing and our tables."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Composition:
    """All marks in drawing order. `bounds` encloses them and the architect's drawing about them, `view`
    is what should be seen when the drawing is opened. Plan frame, mm.
    """

    marks: tuple[Mark, ...]
    bounds: Bounds
    view: Bounds
    told: tuple[Told, ...] = ()


def compose(
    result: PlanResult,
    rules: RuleSet,
    underlay: Underlay,
    remarks: Sequence[str] = (),
    *,
    default_rules: bool = False,
) -> Composition:
    """Draw every bay, then the tables in free ground to the right of the drawing."""
    board = Board(
        texts=underlay.texts,
        strokes=underlay.strokes,
        solid=underlay.hatched,
        floors=[b.bay.floor for b in result.bays],
    )
    sketches = [sketch_of(layout, board) for layout in result.bays]
    joints = tuple(joint_marks(result.joints, board))
    told = _letter(result, sketches)
    lettering = [m for s in sketches for m in s.marks] + list(joints)
    clear_of = [
        m.text.box() if isinstance(m, Dimension) else m.box()
        for m in lettering
        if isinstance(m, (Letter, Dimension))
    ]
    keep_clear = shapely.STRtree([*clear_of, *underlay.texts])
    strokes: list[Mark] = []
    for layout in result.bays:
        strokes.extend(bay_strokes(layout, rules))
        near = keep_clear.query(layout.bay.floor, predicate="intersects")
        strokes.extend(rip_strokes(layout, [keep_clear.geometries[i] for i in sorted(near)]))
    panels = panels_of(result, rules, told, remarks, default_rules=default_rules)
    rooms = _rooms_bounds(result)
    drawn = bounds_of(lettering)
    around = _union([underlay.extent_about(rooms), *([drawn] if drawn else [])])
    scale = table_scale(rooms[2] - rooms[0], rooms[3] - rooms[1])
    tables, view = _tables(
        set_panels(panels, scale, around[3] - around[1]), around, underlay, scale
    )
    marks = (*strokes, *lettering, *tables)
    seen = [b for b in (underlay.bounds(), bounds_of(marks)) if b is not None]
    return Composition(marks=marks, bounds=_union(seen), view=view, told=tuple(told))


def _letter(result: PlanResult, sketches: Sequence[Sketch]) -> list[Told]:
    """Each kind of mark over all bays before the next kind, so that the eye's order holds throughout."""
    laid = [s for s in sketches if s.runs]
    for sketch in laid:
        draw_start(sketch)
    for sketch in laid:
        draw_datum(sketch)
    firsts = list(accumulate((len(s.layout.breaches) for s in sketches), initial=1))
    for sketch, number in zip(sketches, firsts, strict=False):
        draw_breaches(sketch, number)
    for sketch in laid:
        draw_row_numbers(sketch)
    apart = {id(s): tuple(draw_lengths(s)) for s in laid}
    for sketch in laid:
        draw_title(sketch)
    names, plain = room_names(result), plain_room_names(result)
    return [
        Told(
            layout=s.layout,
            rooms=", ".join(names.get(r, str(r)) for r in s.layout.bay.rooms),
            rooms_mm2=_rooms_area(s.layout, result),
            sketch=s,
            apart=apart.get(id(s), ()),
            plain_rooms=", ".join(plain.get(r, str(r)) for r in s.layout.bay.rooms),
            first_breach=number,
        )
        for s, number in zip(sketches, firsts, strict=False)
    ]


def _rooms_area(layout: BayLayout, result: PlanResult) -> float:
    """Area of the bay's rooms; of a room that is shared between bays, the part in this one."""
    shapes = {r.id: r.shape for r in result.plan.rooms} if result.plan is not None else {}
    shared = Counter(r for b in result.bays for r in b.bay.rooms)
    area = 0.0
    for room in layout.bay.rooms:
        shape = shapes.get(room, Polygon())
        part = shape if shared[room] == 1 else shape.intersection(layout.bay.outline)
        area += part.area
    return area


def _tables(
    block: Block, around: Bounds, underlay: Underlay, scale: Scale
) -> tuple[list[Mark], Bounds]:
    """The tables in their place, and what should be seen of it all."""
    corner = _free_corner(block, around, underlay, scale)
    marks = [_moved(m, corner) for m in block.marks]
    box = (corner[0], corner[1] - block.height, corner[0] + block.width, corner[1])
    margin = scale.paper(_MARGIN_MM)
    x0, y0, x1, y1 = _union([around, box])
    return marks, (x0 - margin, y0 - margin, x1 + margin, y1 + margin)


def _rooms_bounds(result: PlanResult) -> Bounds:
    shapes = [r.shape for r in result.plan.rooms] if result.plan is not None else []
    shapes += [b.bay.outline for b in result.bays]
    if not shapes:
        return (0.0, 0.0, 0.0, 0.0)
    x0, y0, x1, y1 = (float(v) for v in shapely.total_bounds(shapes))
    return x0, y0, x1, y1


def _free_corner(block: Block, around: Bounds, underlay: Underlay, scale: Scale) -> Point:
    """Upper left corner for the tables: right of the drawing, pushed on past whatever is in the way."""
    margin = scale.paper(_MARGIN_MM)
    parts = np.concatenate([underlay.strokes, np.asarray(underlay.texts, dtype=object)])
    bounds = shapely.bounds(parts) if len(parts) else np.empty((0, 4))
    x, top = around[2] + margin, around[3]
    while True:
        hit = (
            (bounds[:, 0] < x + block.width + margin)
            & (bounds[:, 2] > x - margin / 2)
            & (bounds[:, 1] < top + margin)
            & (bounds[:, 3] > top - block.height - margin)
        )
        if not hit.any():
            return x, top
        x = float(bounds[hit][:, 2].max()) + margin


def _moved(mark: Mark, by: Point) -> Mark:
    def shift(p: Point) -> Point:
        return p[0] + by[0], p[1] + by[1]

    if isinstance(mark, (Letter, Lines)):
        return replace(mark, at=shift(mark.at))
    if isinstance(mark, (Stroke, Fill)):
        return replace(mark, points=tuple(shift(p) for p in mark.points))
    return mark


def bounds_of(marks: Sequence[Mark]) -> Bounds | None:
    """Bounds of what is drawn, lettering included; None when nothing is."""
    points: list[Point] = []
    for mark in marks:
        if isinstance(mark, (Letter, Lines)):
            points.extend((float(x), float(y)) for x, y in mark.box().exterior.coords)
        elif isinstance(mark, Dimension):
            points += (mark.start, mark.end, mark.line_at)
            points.extend((float(x), float(y)) for x, y in mark.text.box().exterior.coords)
        else:
            points.extend(mark.points)
    if not points:
        return None
    x, y = np.array(points).T
    return float(x.min()), float(y.min()), float(x.max()), float(y.max())


def _union(
    boxes: Sequence[Bounds],
) -> Bounds:
    b = np.array(boxes)
    x0, y0 = b[:, :2].min(axis=0)
    x1, y1 = b[:, 2:].max(axis=0)
    return float(x0), float(y0), float(x1), float(y1)
