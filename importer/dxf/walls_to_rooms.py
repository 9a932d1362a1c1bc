"""Rooms and openings recovered from wall linework: the steps in their order.

Strokes of the wall layers pair up as faces; pairs that can be walls are strips; strips, strokes and
filled outlines make the body of the walls. Free wall ends look across gaps, gaps are judged by what
is drawn in them and joined with the door symbols; closed, they part the free space into rooms.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import shapely
from shapely import Polygon, STRtree

from importer.dxf.arrays import Geometries, point_array
from importer.dxf.door_openings import openings_at_symbols
from importer.dxf.drawing import Bools, Drawing, Floats
from importer.dxf.found import DoorSymbol, Opening, OpeningKind, Recovered, RoomShape
from importer.dxf.layer_words import is_ignored_name
from importer.dxf.openings import (
    WIDEST_OUTER_GAP_MM,
    Candidate,
    distinct,
    openings_in_gaps,
    stacked,
)
from importer.dxf.wall_body import WallBody, free_ends, wall_body
from importer.dxf.wall_faces import faces_of, neighbours
from importer.dxf.wall_gaps import gaps_at, slits
from importer.dxf.wall_groups import WallChoice, on_layers, wall_choices
from importer.dxf.wall_strips import THICKEST_MM, Strips, strips_of
from importer.hints import Hints, matches_layer
from importer.outlines import Space, inscribed_diameter, spaces_between, thickened_bodies
from importer.plan import Finding, Severity

ROOM_MM2: Final = 1.2e6
ROOM_ACROSS_MM: Final = 600.0
"""The smallest room, a lavatory, and the narrowest, a passage one can walk through."""

CLOSET_MM2: Final = 0.25e6
CLOSET_ACROSS_MM: Final = 300.0
"""The smallest closet with a floor worth covering."""

HELD_MM2: Final = 2.5e6
"""A doubtful gap is closed to keep at least so much of a room from the outside."""

BESIDE_MM: Final = 90.0
"""Probes beside an opening are set this far off its faces."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Closed:
    """Walls, what was closed, and the spaces that came of it."""

    body: WallBody
    candidates: tuple[Candidate, ...]
    spaces: tuple[Space, ...]


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
) -> _Closed:
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
    rest = [k for k in range(len(symbols)) if k not in used]
    candidates = distinct((*candidates, *openings_at_symbols(symbols, rest, strips, body)))
    return _closed_spaces(body, stacked(candidates))


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
    """Straight strokes that may show a window, a threshold or a panel in a gap."""
    about = np.array(
        [
            not is_ignored_name(s.layer) and not matches_layer(s.layer, hints.ignore_layers)
            for s in drawing.sources
        ],
        dtype=bool,
    )
    seg = drawing.segments
    return np.asarray(~seg.curved & about[seg.source])


def _with_slits(body: WallBody, strips: Strips) -> WallBody:
    filled = slits(free_ends(strips, body), body)
    if not len(filled):
        return body
    barriers = np.concatenate([body.barriers, thickened_bodies(filled)])
    solid = shapely.union_all(np.concatenate([[body.solid], thickened_bodies(filled)]))
    shapely.prepare(solid)
    return WallBody(barriers=barriers, solid=solid)


# ---------------------------------------------------------------- closing


def _closed_spaces(body: WallBody, candidates: Sequence[Candidate]) -> _Closed:
    """Close firm openings, and of the doubtful ones those that keep a room from the outside."""
    firm = [c for c in candidates if c.firm]
    doubtful = [c for c in candidates if not c.firm and _may_close(c)]
    if doubtful:
        spaces = _spaces(body, [*firm, *doubtful])
        firm += [
            c for c, keeps in zip(doubtful, _keeps_room(doubtful, spaces), strict=True) if keeps
        ]
    return _Closed(body=body, candidates=tuple(firm), spaces=_spaces(body, firm))


def _may_close(candidate: Candidate) -> bool:
    opening = candidate.opening
    return opening.kind is not OpeningKind.GAP or opening.width_mm <= WIDEST_OUTER_GAP_MM


def _spaces(body: WallBody, closed: Sequence[Candidate]) -> tuple[Space, ...]:
    shapes = [c.opening.shape for c in closed if not c.overlay]
    extra = thickened_bodies(np.array(shapes, dtype=object))
    return spaces_between(np.concatenate([body.barriers, extra]))


def sides_of(opening: Opening) -> Floats:
    """Probe points, (2, 3, 2): three on either side of an opening, `BESIDE_MM` off its faces."""
    (a, b) = np.array(opening.jamb_line)
    run = (b - a) / np.hypot(*(b - a))
    off = np.array([-run[1], run[0]]) * (opening.thickness_mm / 2 + BESIDE_MM)
    middle = [a + (b - a) * share for share in (0.5, 0.3, 0.7)]
    return np.array([[p + off for p in middle], [p - off for p in middle]])


def _keeps_room(candidates: Sequence[Candidate], spaces: Sequence[Space]) -> list[bool]:
    sides = spaces_beside([c.opening for c in candidates], spaces)
    keeps = []
    for pair in sides:
        outside = [s is None or spaces[s].outside for s in pair]
        inner = [spaces[s].shape.area for s in pair if s is not None and not spaces[s].outside]
        keeps.append(outside.count(True) == 1 and inner[0] > HELD_MM2)
    return keeps


def spaces_beside(
    openings: Sequence[Opening], spaces: Sequence[Space]
) -> list[tuple[int | None, int | None]]:
    """Index of the space on either side of each opening; None where there is none."""
    if not openings or not spaces:
        return [(None, None)] * len(openings)
    probes = np.array([sides_of(o) for o in openings])
    points = point_array(probes.reshape(-1, 2))
    tree = STRtree(np.array([s.shape for s in spaces], dtype=object))
    probe, space = tree.query(points, predicate="within")
    found = np.full(len(points), -1)
    found[probe[::-1]] = space[::-1]
    table = found.reshape(-1, 2, 3)
    result: list[tuple[int | None, int | None]] = []
    for row in table:
        one, two = (next((int(s) for s in side if s >= 0), None) for side in row)
        result.append((one, two))
    return result


# ---------------------------------------------------------------- what the spaces are


def _recovered(drawing: Drawing, closed: _Closed, choice: WallChoice) -> Recovered:
    openings = [c.opening for c in closed.candidates]
    beside = spaces_beside(openings, closed.spaces)
    entered = {s for pair in beside for s in pair if s is not None}
    rooms = [
        RoomShape(shape=space.shape, why=f"walls: {choice.why}")
        for k, space in enumerate(closed.spaces)
        if not space.outside and _is_room(space.shape, entered=k in entered)
    ]
    if not rooms:
        return Recovered()
    solid = shapely.get_parts(closed.body.solid)
    walls = tuple(p for p in solid.tolist() if isinstance(p, Polygon))
    findings = _gap_findings(drawing, openings)
    return Recovered(rooms=tuple(rooms), openings=tuple(openings), walls=walls, findings=findings)


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
