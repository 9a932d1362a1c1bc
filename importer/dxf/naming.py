"""Labels to rooms: which label stands in which room, and what the room is called by them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import shapely
from shapely import Polygon

from importer.dxf.arrays import point_array, polygon_array
from importer.dxf.draft import DraftRoom, RoomFinder
from importer.dxf.drawing import Drawing
from importer.dxf.found import RoomShape
from importer.dxf.labels import RoomLabel
from importer.plan import Finding, Origin, Severity
from importer.room_words import is_outdoor

AGREES: Final = (0.93, 1.07)
"""Recovered / printed area: finishes, plaster and rounding account for so much."""

SUITE_TIMES: Final = 1.15
"""A number with an area so much larger than its room is the label of a flat, not of the room."""

LONGEST_JOINED: Final = 6
"""So many names of one open room are joined; more say too little to be a name."""


NEAR_MM: Final = 500.0
"""A label so far outside the rooms may still be that of a room at the edge that was missed."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Named:
    """Rooms with their names, labels that name flats, labels that found no room."""

    rooms: tuple[DraftRoom, ...]
    flat_labels: tuple[tuple[int, RoomLabel], ...] = ()
    """(room index, label): the label stands in that room but speaks of the whole flat."""
    homeless: tuple[RoomLabel, ...] = ()


def name_rooms(shapes: Sequence[RoomShape], labels: Sequence[RoomLabel]) -> Named:
    """Put labels into rooms.

    Args:
        shapes: rooms that do not overlap, mm.
        labels: labels of the drawing.

    Returns:
        A draft room for each shape, in order. A room with several names is an open plan and gets
        all of them; a label in no room is given back.
    """
    finder = RoomFinder([s.shape for s in shapes])
    at = finder.rooms_at(np.array([x.at for x in labels]).reshape(-1, 2))
    inside: list[list[RoomLabel]] = [[] for _ in shapes]
    flats: list[tuple[int, RoomLabel]] = []
    homeless: list[RoomLabel] = []
    for label, room in zip(labels, at, strict=True):
        if room is None:
            homeless.append(label)
        elif label.of_flat or _speaks_of_more(label, shapes[room].shape):
            flats.append((room, label))
        else:
            inside[room].append(label)
    rooms = tuple(_named(s, tuple(own)) for s, own in zip(shapes, inside, strict=True))
    return Named(rooms=rooms, flat_labels=tuple(flats), homeless=tuple(homeless))


def _speaks_of_more(label: RoomLabel, room: Polygon) -> bool:
    """A bare number over an area that its room is far too small for (`A102`, 859 sq ft)."""
    if label.name is not None or label.area_m2 is None or not label.area_sure:
        return False
    return label.area_m2 > SUITE_TIMES * room.area / 1e6


def _named(shape: RoomShape, labels: tuple[RoomLabel, ...]) -> DraftRoom:
    room = DraftRoom(shape=shape.shape, why=shape.why, source=shape.source, labels=labels)
    best = _best(labels, shape.shape)
    if not best:
        return room
    names = [x.name for x in best if x.name]
    printed = [x.area_m2 for x in best if x.area_m2 is not None and x.area_sure]
    lone = [x for x in labels if x.area_m2 is not None and x.area_sure and not x.name]
    if not printed and len(best) == 1 and len(lone) == 1:
        printed = [lone[0].area_m2 or 0.0]
    number = next((x.number for x in (*best, *labels) if x.number), None)
    whole = len(printed) == len(best)
    return replace(
        room,
        name=" / ".join(dict.fromkeys(names)) if names else None,
        number=number,
        printed_area_m2=sum(printed) if printed and whole else None,
    )


def _best(labels: Sequence[RoomLabel], room: Polygon) -> list[RoomLabel]:
    """The labels that name the room, in reading order: all that are surely labels, else the one of
    the largest letters nearest to the middle.
    """
    named = [x for x in labels if x.name]
    sure = [x for x in named if x.known or x.measured]
    if 1 <= len(sure) <= LONGEST_JOINED:
        return sorted(sure, key=lambda x: (-round(x.at[1] / 500), x.at[0]))
    pool = sure or named or [x for x in labels if x.number]
    middle = room.representative_point()
    pool = sorted(
        pool,
        key=lambda x: (-x.height, np.hypot(x.at[0] - middle.x, x.at[1] - middle.y), x.texts),
    )
    return pool[:1]


# ---------------------------------------------------------------- what the labels tell


def label_findings(drawing: Drawing, named: Named) -> list[Finding]:
    """Printed areas and sizes that the rooms do not have; labels without a room; rooms without a
    label; several names in one room.
    """
    findings = []
    for room in named.rooms:
        findings += _area_finding(drawing, room)
        findings += _size_finding(drawing, room)
        findings += _open_plan(drawing, room)
    findings += _homeless(drawing, named)
    nameless = [r for r in named.rooms if not r.name and not r.number]
    if nameless and len(nameless) < len(named.rooms):
        at = nameless[0].shape.representative_point()
        findings.append(
            Finding(
                code="IMP-505",
                severity=Severity.NOTE,
                what=f"{len(nameless)} of {len(named.rooms)} rooms bear no name.",
                where=drawing.where((at.x, at.y)),
                remedy="They go by their number in the table of rooms.",
            )
        )
    return findings


def _area_finding(drawing: Drawing, room: DraftRoom) -> list[Finding]:
    if not room.printed_area_m2:
        return []
    ratio = room.shape.area / 1e6 / room.printed_area_m2
    if AGREES[0] <= ratio <= AGREES[1]:
        return []
    return [
        Finding(
            code="IMP-501",
            severity=Severity.SETTLE,
            what=f"{_called(room)} measures {room.shape.area / 1e6:.2f} m2 in the drawing, but "
            f"{room.printed_area_m2:.2f} m2 is printed in it (ratio {ratio:.2f}). "
            "The drawn size was used.",
            where=_label_place(drawing, room),
            remedy="Measure the room on site; if many rooms differ alike, set drawing.units.",
        )
    ]


def _size_finding(drawing: Drawing, room: DraftRoom) -> list[Finding]:
    sizes = [x.size_mm for x in room.labels if x.size_mm and x.name]
    if len(sizes) != 1 or sum(1 for x in room.labels if x.known) > 1:
        return []
    printed = sizes[0][0] * sizes[0][1]
    ratio = room.shape.area / printed if printed else 1.0
    if 0.85 <= ratio <= 1.15:
        return []
    w, d = (v / 1000 for v in sizes[0])
    return [
        Finding(
            code="IMP-502",
            severity=Severity.NOTE,
            what=f"{_called(room)} measures {room.shape.area / 1e6:.2f} m2; the printed size "
            f"{w:.2f} x {d:.2f} m would make {printed / 1e6:.2f} m2. The drawn shape was used.",
            where=_label_place(drawing, room),
            remedy="No matter when the room has recesses; else measure it on site.",
        )
    ]


def _open_plan(drawing: Drawing, room: DraftRoom) -> list[Finding]:
    names = dict.fromkeys(x.name for x in room.labels if x.name and x.known)
    if len(names) < 2:
        return []
    listed = ", ".join(str(n) for n in names)
    return [
        Finding(
            code="IMP-503",
            severity=Severity.NOTE,
            what=f"{len(names)} labels stand in one room with no wall between: {listed}.",
            where=_label_place(drawing, room),
            remedy="Draw their outlines on a layer and name it in drawing.layers.rooms to part them.",
        )
    ]


def _homeless(drawing: Drawing, named: Named) -> list[Finding]:
    """Labels near the rooms but in none of them, one by one; those away from them in one finding.
    Balconies and gardens are expected to have no walls.
    """
    lost = [x for x in named.homeless if x.known and not is_outdoor(x.text)]
    if not lost or not named.rooms:
        return []
    shapes = polygon_array([r.shape for r in named.rooms])
    hull = shapely.convex_hull(shapely.union_all(shapes))
    inside = shapely.dwithin(hull, point_array(np.array([x.at for x in lost])), NEAR_MM)
    near = [x for x, close in zip(lost, inside, strict=True) if close]
    away = [x for x, close in zip(lost, inside, strict=True) if not close]
    findings = [
        Finding(
            code="IMP-504",
            severity=Severity.SETTLE,
            what=f"The label '{x.text}' stands in no room that was found.",
            where=drawing.where(x.at, drawing.texts[x.texts[0]].source),
            remedy="Check the walls about it, or draw its outline on a layer and name that in "
            "drawing.layers.rooms.",
        )
        for x in near
    ]
    if away:
        listed = ", ".join(f"'{t}'" for t in list(dict.fromkeys(x.text for x in away))[:6])
        findings.append(
            Finding(
                code="IMP-506",
                severity=Severity.NOTE,
                what=f"{len(away)} room labels ({listed}) stand away from the plan: a section, a "
                "table, or a part that was not read.",
                where=drawing.where(away[0].at, drawing.texts[away[0].texts[0]].source),
                remedy="If they belong to a plan, name the layers of its walls in drawing.layers.walls.",
            )
        )
    return findings


def _label_place(drawing: Drawing, room: DraftRoom) -> Origin:
    label = room.labels[0]
    return drawing.where(label.at, drawing.texts[label.texts[0]].source)


def _called(room: DraftRoom) -> str:
    names = [n for n in (room.number, room.name) if n]
    return " ".join(names) if names else "A room"
