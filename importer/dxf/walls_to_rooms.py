"""Rooms and openings recovered from wall linework: the steps in their order.

Strokes of the wall layers pair up as faces; pairs that can be walls are strips; strips, strokes and
filled outlines make the body of the walls. Free wall ends look across gaps, gaps are judged by what
is drawn in them and joined with the door symbols; closed, they part the free space into rooms.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from shapely import Polygon

from importer.dxf.closing import Closed, body_polygons
from importer.dxf.drawing import Drawing
from importer.dxf.found import DoorSymbol, Opening, OpeningKind, Recovered, RoomShape
from importer.dxf.wall_groups import WallChoice, on_layers, wall_choices
from importer.dxf.wall_linework import wall_linework
from importer.dxf.wall_reading import read_walls
from importer.hints import Hints
from importer.outlines import inscribed_diameter
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
        linework = wall_linework(drawing_mm, on_layers(drawing_mm, choice.layers), symbols)
        closed = read_walls(drawing_mm, symbols, hints, linework)
        recovered = _recovered(drawing_mm, closed, choice)
        if recovered.rooms:
            return recovered
    return Recovered()


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
