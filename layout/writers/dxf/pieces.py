"""The strokes of a bay: every piece, its sawn edges, the hatching of ripped pieces, the laid edge and
the outline that an audit needs. Bay frame in, plan frame out, millimetres.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from math import ceil, floor, sqrt

import numpy as np
import shapely
from shapely import LineString, Polygon
from shapely.affinity import affine_transform
from shapely.geometry.base import BaseGeometry

from importer.plan import Point
from importer.tolerance import SLIVER_WIDTH_MM
from layout.floor import BayLayout, Frame
from layout.rules import RuleSet
from layout.writers.dxf.marks import Stroke
from layout.writers.dxf.runs_seen import is_ripped, rings, sawn_paths
from layout.writers.dxf.scheme import Content
from layout.writers.dxf.sizes import PLAN
from layout.writers.dxf.xdata import Kind, RingNote, ascii_json, bay_note, piece_note

HATCH_PITCH_MM = 1.8
"""Distance of the lines that mark a ripped piece, on paper."""
HATCH_CLEAR_MM = 0.3
"""Hatching keeps this far from lettering, on paper."""


def bay_strokes(layout: BayLayout, rules: RuleSet) -> Iterator[Stroke]:
    """Outline, laid edge, pieces in the order of laying, sawn edges."""
    yield from _outline(layout)
    yield from _laid_edge(layout)
    frame = layout.setting_out.frame
    for piece in layout.pieces:
        shell, *holes = (_to_plan(frame, ring) for ring in rings(piece.shape))
        yield Stroke(
            content=Content.PLANK,
            points=shell,
            closed=True,
            kind=Kind.PIECE,
            data=piece_note(piece),
        )
        note = ascii_json(RingNote(of=piece.id))
        for hole in holes:
            yield Stroke(
                content=Content.PLANK, points=hole, closed=True, kind=Kind.PIECE_HOLE, data=note
            )
    for piece in layout.pieces:
        for points, closed in sawn_paths(piece, rules):
            yield Stroke(content=Content.CUT, points=_to_plan(frame, points), closed=closed)


def _outline(layout: BayLayout) -> Iterator[Stroke]:
    shell, *holes = rings(layout.bay.outline)
    frame = layout.setting_out.frame
    yield Stroke(
        content=Content.VIEW,
        points=shell,
        closed=True,
        kind=Kind.BAY,
        data=bay_note(layout),
        frame=(frame.origin, frame.along, frame.across),
    )
    note = ascii_json(RingNote(of=layout.bay.id))
    for hole in holes:
        yield Stroke(content=Content.VIEW, points=hole, closed=True, kind=Kind.BAY_HOLE, data=note)


def _laid_edge(layout: BayLayout) -> Iterator[Stroke]:
    note = ascii_json(RingNote(of=layout.bay.id))
    for n, ring in enumerate(rings(layout.bay.floor)):
        kind = Kind.FLOOR_HOLE if n else Kind.FLOOR
        yield Stroke(content=Content.EDGE, points=ring, closed=True, kind=kind, data=note)


def _to_plan(frame: Frame, points: Sequence[Point]) -> tuple[Point, ...]:
    return tuple(frame.point_to_plan(p) for p in points)


def rip_strokes(layout: BayLayout, clear_of: Sequence[Polygon]) -> Iterator[Stroke]:
    """Lines at 45 degrees over the ripped pieces, clipped around lettering (boxes in the plan frame)."""
    ripped = [p.shape for p in layout.pieces if is_ripped(p)]
    if not ripped:
        return
    frame = layout.setting_out.frame
    margin = PLAN.paper(HATCH_CLEAR_MM)
    hatched = shapely.union_all(ripped)
    near = [frame.to_bay(b) for b in clear_of]
    over = [b.buffer(margin, join_style="mitre") for b in near if b.intersects(hatched)]
    hatched = hatched.difference(shapely.union_all(over)) if over else hatched
    for part in _polygons(hatched):
        for line in _hatching(part, rising=not frame.mirrored):
            yield Stroke(content=Content.RIP, points=_to_plan(frame, line))


def _hatching(part: Polygon, *, rising: bool) -> Iterator[tuple[Point, Point]]:
    """Chords of x - y = c (rising) or x + y = c for c on one grid over the whole bay, so that the lines
    run on from piece to piece. In a mirrored frame falling lines are drawn, which rise on the sheet.
    """
    x0, y0, x1, y1 = part.bounds
    if not rising:
        part = affine_transform(part, [1, 0, 0, -1, 0, 0])
        for (ax, ay), (bx, by) in _hatching(part, rising=True):
            yield (ax, -ay), (bx, -by)
        return
    pitch = PLAN.paper(HATCH_PITCH_MM) * sqrt(2)
    first, last = ceil((x0 - y1) / pitch), floor((x1 - y0) / pitch)
    if last < first:
        return
    c = np.arange(first, last + 1) * pitch
    ends = np.stack([np.column_stack([y0 + c, np.full_like(c, y0)])] * 2, axis=1)
    ends[:, 1] += y1 - y0
    chords = shapely.intersection(shapely.linestrings(ends), part)
    for chord in shapely.get_parts(chords):
        if isinstance(chord, LineString) and chord.length > SLIVER_WIDTH_MM:
            (ax, ay), (bx, by) = chord.coords[0], chord.coords[-1]
            yield (float(ax), float(ay)), (float(bx), float(by))


def _polygons(shape: BaseGeometry) -> list[Polygon]:
    return [p for p in shapely.get_parts(shape) if isinstance(p, Polygon) and not p.is_empty]
