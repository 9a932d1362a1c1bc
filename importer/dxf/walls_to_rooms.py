"""Rooms and openings recovered from wall linework: the steps in their order.

Strokes of the wall layers pair up as faces; pairs that can be walls are strips; strips, strokes and
filled outlines make the body of the walls. Free wall ends look across gaps, gaps are judged by what
is drawn in them and joined with the door symbols; closed, they part the free space into rooms.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
import shapely
from shapely import Polygon

from importer.dxf.arrays import Geometries
from importer.dxf.closing import Closed, body_polygons, close_openings
from importer.dxf.door_openings import openings_at_symbols
from importer.dxf.drawing import Bools, Drawing, Floats
from importer.dxf.found import DoorSymbol, Opening, OpeningKind, Recovered, RoomShape
from importer.dxf.glazing import glass_walls
from importer.dxf.layer_words import About, says
from importer.dxf.openings import distinct, openings_in_gaps, stacked
from importer.dxf.wall_body import WallBody, free_ends, wall_body
from importer.dxf.wall_faces import faces_of, neighbours
from importer.dxf.wall_gaps import gaps_at, slits
from importer.dxf.wall_groups import WallChoice, on_layers, wall_choices
from importer.dxf.wall_strips import THICKEST_MM, Strips, strips_of
from importer.hints import Hints, matches_layer
from importer.outlines import inscribed_diameter, thickened_bodies, thickened_strokes
from importer.plan import Finding, Severity

ROOM_MM2: Final = 1.2e6
ROOM_ACROSS_MM: Final = 600.0
"""The smallest room, a lavatory, and the narrowest, a passage one can walk through."""

CLOSET_MM2: Final = 0.25e6
CLOSET_ACROSS_MM: Final = 300.0
"""The smallest closet with a floor worth covering."""


def recover_rooms(drawing_mm: Drawing, symbols: Sequence[DoorSymbol], hints: Hints) -> Recovered:
    """Rooms and openings told from the wall linework of a drawing.

    Args:
        drawing_mm: the drawing in millimetres about its origin.
        symbols: the door symbols found in it.
        hints: layers given by the user.

    Returns:
        Rooms with outlines on the drawn wall faces, in reading order, the openings between them, the
        wall bodies, and findings for what was closed without anything being drawn there. Empty when
        the drawing shows no walls around rooms.
    """
    for choice in wall_choices(drawing_mm, hints):
        closed = _close(drawing_mm, symbols, hints, choice)
        recovered = _recovered(drawing_mm, closed, choice)
        if recovered.rooms:
            return recovered
    return Recovered()


def _close(
    drawing: Drawing, symbols: Sequence[DoorSymbol], hints: Hints, choice: WallChoice
) -> Closed:
    seg = drawing.segments
    on_walls = on_layers(drawing, choice.layers)
    strokes = seg.ends[on_walls[seg.source] & ~_drawn_as_door(drawing, symbols)]
    straight = seg.ends[on_walls[seg.source] & ~seg.curved & ~_drawn_as_door(drawing, symbols)]
    strips = _strips(straight)
    solids = _solid_walls(drawing, on_walls)
    body = wall_body(strokes, solids, strips)
    body = _with_slits(body, strips)
    ends = free_ends(strips, body)
    gaps = gaps_at(ends, body, seg.ends[_evidence(drawing, hints)])
    candidates, used = openings_in_gaps(gaps, symbols)
    windows = [c.opening.shape for c in candidates if c.opening.kind is OpeningKind.WINDOW]
    body = _with_strokes(body, glass_walls(drawing, hints, strips, windows))
    rest = [k for k in range(len(symbols)) if k not in used]
    candidates = distinct((*candidates, *openings_at_symbols(symbols, rest, strips, body)))
    return close_openings(body, stacked(candidates))


def _strips(straight: Floats) -> Strips:
    faces, _ = faces_of(straight)
    return strips_of(faces, neighbours(faces, THICKEST_MM))


def _drawn_as_door(drawing: Drawing, symbols: Sequence[DoorSymbol]) -> Bools:
    """Strokes of the door symbols themselves: a swing is no wall."""
    seg = drawing.segments
    sources = np.array(sorted({s.source for s in symbols}), dtype=np.int64)
    return np.isin(seg.source, sources) & seg.curved


def _solid_walls(drawing: Drawing, on_walls: Bools) -> Geometries:
    """Filled outlines on the wall layers that are as thin as walls."""
    shapes = [
        shapely.make_valid(Polygon(ring.points))
        for ring in drawing.rings
        if ring.filled and on_walls[ring.source]
    ]
    found = [s for s in shapes if s.area > 0 and 2 * s.area <= THICKEST_MM * s.length]
    return np.array(found, dtype=object)


def _evidence(drawing: Drawing, hints: Hints) -> Bools:
    """Straight strokes that may show a window, a threshold or a panel in a gap: on any layer, since
    windows are drawn on the layers of furniture and details too, but no dimensions or texts.
    """
    seen = np.array(
        [
            About.ANNOTATION not in says(s.layer)
            and not matches_layer(s.layer, hints.ignore_layers)
            for s in drawing.sources
        ],
        dtype=bool,
    )
    seg = drawing.segments
    return np.asarray(~seg.curved & seen[seg.source])


def _with_slits(body: WallBody, strips: Strips) -> WallBody:
    return _with(body, thickened_bodies(slits(free_ends(strips, body), body)))


def _with_strokes(body: WallBody, strokes: Floats) -> WallBody:
    return _with(body, thickened_strokes(strokes))


def _with(body: WallBody, more: Geometries) -> WallBody:
    if not len(more):
        return body
    barriers = np.concatenate([body.barriers, more])
    solid = shapely.union_all(np.concatenate([[body.solid], more]))
    shapely.prepare(solid)
    return WallBody(barriers=barriers, solid=solid)


# ---------------------------------------------------------------- what the spaces are


def _recovered(drawing: Drawing, closed: Closed, choice: WallChoice) -> Recovered:
    entered = {s for pair in closed.beside for s in pair if s is not None}
    rooms = [
        RoomShape(shape=space.shape, why=f"walls: {choice.why}")
        for k, space in enumerate(closed.spaces)
        if not space.outside and _is_room(space.shape, entered=k in entered)
    ]
    if not rooms:
        return Recovered()
    openings = tuple(c.opening for c in closed.candidates)
    return Recovered(
        rooms=tuple(rooms),
        openings=openings,
        walls=body_polygons(closed.body),
        findings=_gap_findings(drawing, openings),
    )


def _is_room(shape: Polygon, *, entered: bool) -> bool:
    area = shape.area
    if area < CLOSET_MM2 or 2 * area < CLOSET_ACROSS_MM / 2 * shape.length / 2:
        return False
    across = inscribed_diameter(shape)
    if area >= ROOM_MM2 and across >= ROOM_ACROSS_MM:
        return True
    return entered and across >= CLOSET_ACROSS_MM


def _gap_findings(drawing: Drawing, openings: Sequence[Opening]) -> tuple[Finding, ...]:
    findings = []
    for opening in openings:
        if opening.kind is not OpeningKind.GAP:
            continue
        point = opening.shape.centroid
        findings.append(
            Finding(
                code="IMP-320",
                severity=Severity.NOTE,
                what=f"gap of {opening.width_mm:.0f} mm in a wall, nothing drawn in it: taken as an "
                "opening between two rooms",
                where=drawing.where((point.x, point.y)),
                remedy="If it is a wall, draw it through; if the rooms are one, widen the gap.",
            )
        )
    return tuple(findings)
