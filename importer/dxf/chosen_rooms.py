"""Outlines that were drawn against rooms that walls enclose: which of the two is the floor.

Drawn outlines come first, but not blindly: one that runs inside the walls (on their centre lines,
or on outer faces) would put floor under the walls, and one that holds several walled rooms is a sum.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import shapely
from shapely import Polygon, STRtree

from importer.dxf.arrays import Geometries, point_array, polygon_array
from importer.dxf.drawing import Drawing
from importer.dxf.drawn_outlines import Outlined
from importer.dxf.found import Recovered, RoomShape
from importer.dxf.labels import RoomLabel
from importer.hints import Hints
from importer.plan import Finding, Severity

INSET_MM: Final = (20.0, 260.0)
"""Half a wall: how far inside an outline on centre lines the wall faces run."""

LIES_IN: Final = 0.97
"""A walled room lies in an outline when so much of it does."""

CUPBOARD_MM2: Final = 2.5e6
"""Smaller walled spaces in a room are cupboards and boxed-in shafts."""

MOSTLY: Final = 0.6
"""Walled rooms fill more than this of the outline around them."""

CLEAR: Final = 0.1
"""A walled room stands apart from the outlines when they cover no more of it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ChosenRooms:
    """The rooms of the plan, and what was decided."""

    rooms: tuple[RoomShape, ...]
    findings: tuple[Finding, ...] = ()


def choose_rooms(
    drawing_mm: Drawing,
    outlined: Outlined,
    recovered: Recovered,
    labels: Sequence[RoomLabel],
    hints: Hints,
) -> ChosenRooms:
    """Outlines where they are drawn, walled rooms elsewhere.

    Args:
        drawing_mm: the drawing, for places in findings.
        outlined: rooms drawn as outlines.
        recovered: rooms that walls enclose.
        labels: room labels. Where a layer says that rooms are drawn as outlines, a walled room
            beside them counts only with a label in it.
        hints: with `room_layers` given, nothing but those outlines counts.

    Returns:
        Rooms that do not overlap; outlines first.
    """
    if not outlined.rooms:
        return ChosenRooms(rooms=recovered.rooms, findings=recovered.findings)
    walled = polygon_array([r.shape for r in recovered.rooms])
    rooms, findings = _held_against_walls(drawing_mm, outlined, walled, hints)
    if not hints.room_layers:
        told = outlined.believed and bool(rooms)
        rooms += _beside(rooms, recovered, walled, labels if told else None)
    return ChosenRooms(rooms=tuple(rooms), findings=(*outlined.findings, *findings))


def _held_against_walls(
    drawing: Drawing, outlined: Outlined, walled: Geometries, hints: Hints
) -> tuple[list[RoomShape], list[Finding]]:
    """The outlines, moved onto wall faces where they run inside walls, without those that hold
    several walled rooms (unless the user names their layer).
    """
    if not len(walled):
        return list(outlined.rooms), []
    tree = STRtree(walled)
    rooms: list[RoomShape] = []
    inset: list[tuple[RoomShape, float]] = []
    findings: list[Finding] = []
    for room in outlined.rooms:
        near = np.sort(tree.query(room.shape, predicate="intersects"))
        share = shapely.area(shapely.intersection(walled[near], room.shape))
        inside = walled[near][share >= LIES_IN * shapely.area(walled[near])]
        depth = _depth(room.shape, inside)
        if depth is not None:
            inset.append((room, depth))
            rooms.append(replace(room, shape=inside[0], why=f"{room.why}, moved to the wall faces"))
        elif hints.room_layers or not _is_sum(room.shape, inside):
            rooms.append(room)
        else:
            findings.append(_holds_several(drawing, room, len(inside)))
    if inset and outlined.believed:
        findings.append(_on_centre_lines(drawing, inset))
    return rooms, findings


def _is_sum(outline: Polygon, inside: Geometries) -> bool:
    """At least two walled rooms, not counting cupboards, make up most of the outline."""
    areas = shapely.area(inside)
    return bool((areas >= CUPBOARD_MM2).sum() > 1 and areas.sum() >= MOSTLY * outline.area)


def _holds_several(drawing: Drawing, room: RoomShape, count: int) -> Finding:
    at = room.shape.representative_point()
    return Finding(
        code="IMP-316",
        severity=Severity.NOTE,
        what=f"Outline of {room.shape.area / 1e6:.1f} m2 runs around {count} rooms with walls between "
        "them; it was taken for a flat or a storey, and the walls for the rooms.",
        where=drawing.where((at.x, at.y), room.source),
        remedy="Name its layer in drawing.layers.rooms if it is one room.",
    )


def _depth(outline: Polygon, inside: Geometries) -> float | None:
    """How far inside the outline the one walled room in it runs, mm, when it does so all around."""
    if len(inside) != 1:
        return None
    walls: Polygon = inside[0]
    depth = float((outline.area - Polygon(walls.exterior).area) / outline.length)
    if not INSET_MM[0] <= depth <= INSET_MM[1]:
        return None
    core = shapely.buffer(outline, -0.5 * depth, join_style="mitre")
    around = walls.difference(core).area <= 0.01 * walls.area
    return depth if around else None


def _on_centre_lines(drawing: Drawing, inset: Sequence[tuple[RoomShape, float]]) -> Finding:
    depths = [d for _, d in inset]
    at = inset[0][0].shape.representative_point()
    return Finding(
        code="IMP-315",
        severity=Severity.NOTE,
        what=f"{len(inset)} room outline(s) run inside the walls, {min(depths):.0f} to "
        f"{max(depths):.0f} mm behind their faces; the wall faces were used.",
        where=drawing.where((at.x, at.y), inset[0][0].source),
        remedy="Name the outlines' layer in drawing.layers.rooms and the walls' in "
        "drawing.layers.ignore to use the outlines as drawn.",
    )


def _beside(
    rooms: Sequence[RoomShape],
    recovered: Recovered,
    walled: Geometries,
    labels: Sequence[RoomLabel] | None,
) -> list[RoomShape]:
    """Walled rooms that no outline covers; only those with a label where `labels` is given."""
    if not len(walled):
        return []
    taken = shapely.union_all([r.shape for r in rooms])
    covered = shapely.area(shapely.intersection(walled, taken)) / shapely.area(walled)
    keep = covered <= CLEAR
    if labels is not None:
        sure = [x.at for x in labels if x.known or x.measured]
        held = np.zeros(len(walled), dtype=bool)
        if sure:
            tree = STRtree(point_array(np.array(sure)))
            held[np.unique(tree.query(walled, predicate="contains")[0])] = True
        keep &= held
    return [
        replace(recovered.rooms[k], shape=_free_of(recovered.rooms[k].shape, taken))
        for k in np.flatnonzero(keep)
    ]


def _free_of(shape: Polygon, taken: shapely.Geometry) -> Polygon:
    parts = [
        p for p in shapely.get_parts(shapely.difference(shape, taken)) if isinstance(p, Polygon)
    ]
    return max(parts, key=lambda p: p.area) if parts else shape
