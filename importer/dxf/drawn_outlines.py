"""Rooms that the architect drew as outlines: rings on room layers, or rings about a room label.

Rings on layers that say rooms (by hint, else by name) are believed. Any other ring is a room only
when a room label stands in it and nothing smaller that could be the room does: tables, text frames
and legend cells are too small, sheet frames and building outlines hold doors or other rooms.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import shapely
from shapely import MultiPolygon, Polygon, STRtree
from shapely.validation import explain_validity

from importer.dxf.arrays import point_array, polygon_array
from importer.dxf.drawing import Drawing, Ring
from importer.dxf.found import DoorSymbol, RoomShape
from importer.dxf.labels import RoomLabel
from importer.dxf.layer_words import is_flat_name, is_ignored_name, is_room_name
from importer.dxf.outline_nesting import Candidate, cut, settle
from importer.hints import Hints, matches_layer
from importer.plan import Finding, Severity
from importer.tolerance import area_slack

SMALLEST_ROOM_MM2: Final = 0.5e6
"""Half a square metre: a cupboard that somebody may floor; smaller rings are symbols."""

LARGEST_ROOM_MM2: Final = 5e9
"""5000 m2: larger rings are plots and sheet frames."""

NARROWEST_ROOM_MM: Final = 300.0
"""Width of the largest circle in a room; a ring nowhere wider is a wall or a strip."""

SURE_ROOM_MM2: Final = 4e6
"""A labelled ring from this size on can stand alone; a smaller one may be a table or a bed and
must have a room next to it."""

TEXT_LINES: Final = 3.0
"""A ring about a label that is lower than this many text heights is a frame or a table cell."""

DOOR_DEPTH_MM: Final = 400.0
"""A hinge deeper inside a ring than this hangs on a wall inside it: the ring is no single room."""

WALL_MM: Final = 600.0
"""Rooms further apart than the thickest wall are not neighbours."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Outlined:
    """Rooms drawn as outlines. `believed` when a layer says that rooms are drawn so; then the
    architect has drawn them all, and what walls enclose besides is a shaft or a void.
    """

    rooms: tuple[RoomShape, ...] = ()
    believed: bool = False
    findings: tuple[Finding, ...] = ()


def outlined_rooms(
    drawing_mm: Drawing,
    labels: Sequence[RoomLabel],
    symbols: Sequence[DoorSymbol],
    hints: Hints,
) -> Outlined:
    """Rooms drawn as closed outlines, and what had to be repaired or left out.

    Args:
        drawing_mm: the drawing in millimetres.
        labels: room labels; a ring on a layer that says nothing needs one.
        symbols: door symbols; a ring with doors deep inside is no single room.
        hints: room layers (then only these count) and layers to ignore.

    Returns:
        Rooms that do not overlap, in the order of the file, with findings.
    """
    found, findings = _candidates(drawing_mm, hints)
    found = _counted(found, labels)
    found = [c for c in found if c.believed or c.labelled]
    found = [c for c in found if inner_width(c.shape) >= NARROWEST_ROOM_MM]
    believed = [c for c in found if c.believed]
    rooms, more = settle(drawing_mm, believed)
    findings += more
    if not hints.room_layers:
        others = [c for c in found if not c.believed]
        rooms += _around_labels(others, rooms, labels, symbols)
    shapes = tuple(RoomShape(shape=c.shape, why=c.why, source=c.source) for c in rooms)
    return Outlined(rooms=shapes, believed=bool(believed), findings=tuple(findings))


# ---------------------------------------------------------------- candidates


def _candidates(drawing: Drawing, hints: Hints) -> tuple[list[Candidate], list[Finding]]:
    kept: list[Candidate] = []
    findings: list[Finding] = []
    for ring in drawing.rings:
        layer = drawing.layer_of(ring.source)
        why = _belief(layer, hints)
        if why is None or len(ring.points) < 3:
            continue
        shape = Polygon(ring.points)
        parts = [shape]
        if not shape.is_valid:
            parts = repaired(shape)
            if why and parts:
                findings.append(_crossing(drawing, ring, shape, parts))
        kept += [
            Candidate(
                shape=shapely.orient_polygons(part),
                source=ring.source,
                filled=ring.filled,
                believed=bool(why),
                why=why or "closed outline around a room label",
            )
            for part in parts
            if SMALLEST_ROOM_MM2 <= part.area <= LARGEST_ROOM_MM2
        ]
    return kept, findings


def _belief(layer: str, hints: Hints) -> str | None:
    """Why rings of the layer are rooms; empty when a label must tell, None when they never are."""
    if matches_layer(layer, hints.ignore_layers):
        return None
    if hints.room_layers:
        return "outline on a room layer named in the rules" if _hinted(layer, hints) else None
    if is_room_name(layer):
        return "outline on a layer named as room layer"
    if is_ignored_name(layer) or is_flat_name(layer):
        return None
    return ""


def _hinted(layer: str, hints: Hints) -> bool:
    return matches_layer(layer, hints.room_layers)


def inner_width(shape: Polygon | MultiPolygon) -> float:
    """Diameter of the largest circle that fits inside, mm, within 20 mm."""
    if shape.is_empty:
        return 0.0
    return 2.0 * float(shapely.maximum_inscribed_circle(shape, tolerance=10.0).length)


def repaired(shape: Polygon) -> list[Polygon]:
    """The areas of an outline that crosses itself, largest first, specks left out.

    The structural repair keeps every lobe and the ground that is gone round twice.
    """
    valid = shapely.make_valid(shape, method="structure", keep_collapsed=False)
    parts = [p for p in shapely.get_parts(valid) if isinstance(p, Polygon | MultiPolygon)]
    polygons = [q for p in parts for q in shapely.get_parts(p)]
    total = sum(p.area for p in polygons)
    kept = [p for p in polygons if p.area > max(0.01 * total, area_slack(total))]
    return sorted(kept, key=lambda p: (-p.area, p.bounds))


def _crossing(drawing: Drawing, ring: Ring, drawn: Polygon, parts: list[Polygon]) -> Finding:
    reason = explain_validity(drawn)
    place = _place(reason) or tuple(map(float, ring.points[0]))
    area = sum(p.area for p in parts) / 1e6
    return Finding(
        code="IMP-310",
        severity=Severity.SETTLE,
        what=f"Room outline crosses itself; read as {len(parts)} part(s) of {area:.2f} m2 in all.",
        where=drawing.where((place[0], place[1]), ring.source),
        remedy="Redraw the outline without the crossing.",
    )


def _place(reason: str) -> tuple[float, float] | None:
    """The coordinates in a reason such as `Self-intersection[2000 1500]`."""
    inside = reason.partition("[")[2].rstrip("]").split()
    return (float(inside[0]), float(inside[1])) if len(inside) >= 2 else None


def _counted(found: list[Candidate], labels: Sequence[RoomLabel]) -> list[Candidate]:
    """The candidates with the number of labels in each."""
    if not found or not labels:
        return found
    tree = STRtree([c.shape for c in found])
    _, ring = tree.query(point_array(np.array([x.at for x in labels])), predicate="within")
    count = np.bincount(ring, minlength=len(found))
    return [replace(c, labelled=int(n)) for c, n in zip(found, count, strict=True)]


# ---------------------------------------------------------------- rings around labels


def _around_labels(
    found: list[Candidate],
    rooms: list[Candidate],
    labels: Sequence[RoomLabel],
    symbols: Sequence[DoorSymbol],
) -> list[Candidate]:
    """For each label that no room holds yet, the smallest ring about it that can be its room."""
    free = [x for x in labels if x.known or x.measured]
    inside = _holding([c.shape for c in rooms], free)
    free = [x for x, held in zip(free, inside, strict=True) if not held]
    usable = _usable(found, free, symbols)
    picked: dict[int, Candidate] = {}
    for label, holding in zip(free, _holding([c.shape for c in usable], free), strict=True):
        k = _smallest_room(usable, label, holding)
        if k is not None:
            picked[k] = usable[k]
    return _alone_or_beside(picked, rooms)


def _holding(shapes: Sequence[Polygon], labels: Sequence[RoomLabel]) -> list[list[int]]:
    """For each label the shapes that it stands in, ascending."""
    held: list[list[int]] = [[] for _ in labels]
    if shapes and labels:
        at = point_array(np.array([x.at for x in labels]))
        label, shape = STRtree(shapes).query(at, predicate="intersects")
        for x, k in sorted(zip(label.tolist(), shape.tolist(), strict=True)):
            held[x].append(k)
    return held


def _smallest_room(usable: list[Candidate], label: RoomLabel, about: Sequence[int]) -> int | None:
    """The smallest of the rings about a label that can be its room. A ring of a table's size gives
    way to a larger one that holds the same labels.
    """
    holding = [
        k
        for k in about
        if inner_width(usable[k].shape) >= TEXT_LINES * label.height
        and _plausible(usable[k].shape, label)
    ]
    holding.sort(key=lambda k: (usable[k].shape.area, usable[k].filled, k))
    picked: int | None = None
    for k in holding:
        if picked is not None and usable[k].labelled > usable[picked].labelled:
            break
        picked = k
        if usable[k].shape.area >= SURE_ROOM_MM2:
            break
    return picked


def _usable(
    found: list[Candidate], labels: Sequence[RoomLabel], symbols: Sequence[DoorSymbol]
) -> list[Candidate]:
    """Labelled rings with no door hung on a wall inside them."""
    if not found:
        return []
    shapes = [c.shape for c in found]
    held: set[int] = set()
    if labels:
        at = point_array(np.array([x.at for x in labels]))
        held = set(STRtree(at).query(shapes, predicate="contains")[0].tolist())
    doored: set[int] = set()
    if symbols:
        hinges = point_array(np.array([s.hinge for s in symbols]))
        inner = polygon_array(shapely.buffer(shapes, -DOOR_DEPTH_MM, join_style="mitre"))
        doored = set(STRtree(hinges).query(inner, predicate="contains")[0].tolist())
    return [c for k, c in enumerate(found) if k in held and k not in doored]


def _plausible(shape: Polygon, label: RoomLabel) -> bool:
    """A printed area that is far from the ring's speaks against it (a table, a building)."""
    if label.area_m2 is None or not label.area_sure:
        return True
    return 0.5 <= shape.area / 1e6 / label.area_m2 <= 1.6


def _alone_or_beside(picked: dict[int, Candidate], rooms: list[Candidate]) -> list[Candidate]:
    """Drop rings that hold another picked ring, and small ones that stand beside no room."""
    chosen = [picked[k] for k in sorted(picked)]
    if not chosen:
        return []
    shapes = [c.shape for c in chosen]
    around = [*shapes, *(r.shape for r in rooms)]
    tree = STRtree(around)
    kept = []
    for k, c in enumerate(chosen):
        near = [i for i in tree.query(c.shape, predicate="dwithin", distance=WALL_MM) if i != k]
        inner = [shapes[i] for i in sorted(near) if i < len(shapes) and c.shape.contains(shapes[i])]
        if sum(s.area for s in inner) > 0.3 * c.shape.area:
            continue
        beside = any(not around[i].contains(c.shape) for i in near)
        if c.shape.area >= SURE_ROOM_MM2 or beside:
            kept.append(replace(c, shape=cut(c.shape, inner)))
    return kept
