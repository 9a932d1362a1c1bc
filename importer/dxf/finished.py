"""The last step: drafts sorted into reading order, numbered, and moved to the plan's frame."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import shapely
from shapely import LineString, Polygon

from importer.dxf.arrays import polygon_array, sources_where
from importer.dxf.draft import DraftDoorway, DraftRoom
from importer.dxf.drawing import Drawing
from importer.dxf.drawn_outlines import repaired
from importer.dxf.flats import Dwellings
from importer.dxf.layer_words import is_ignored_name
from importer.dxf.obstacles import ObstacleDraft
from importer.dxf.storeys import StoreyDraft
from importer.outline_order import freed, reading_order, spelled, spelled_line
from importer.plan import (
    Doorway,
    DoorwayId,
    Finding,
    Flat,
    FlatId,
    Obstacle,
    ObstacleId,
    Plan,
    Point,
    Room,
    RoomId,
    Storey,
    StoreyId,
    UnitReading,
)

ABOUT_MM: Final = 2500.0
"""Linework this far around the rooms is shown behind a picture."""

MOST_STROKES: Final = 20_000
"""A picture needs no more; denser drawings show walls and doors only."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Draft:
    """Everything found, by index, in millimetres about the drawing's origin."""

    rooms: tuple[DraftRoom, ...]
    doorways: tuple[DraftDoorway, ...]
    storeys: tuple[StoreyDraft, ...]
    dwellings: Dwellings
    obstacles: tuple[ObstacleDraft, ...] = ()
    walls: tuple[Polygon, ...] = ()
    findings: tuple[Finding, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class _Numbering:
    """Ids by draft index, and the shift to the plan's frame."""

    order: tuple[int, ...]
    rank: dict[int, int]
    room: dict[int, RoomId]
    storey: dict[int, StoreyId]
    storey_rank: dict[int, int]
    flat: dict[int, FlatId]
    shift: tuple[float, float]

    def moved(self, shape: Polygon) -> Polygon:
        """The shape in the plan's frame, spelled as in every plan and valid there too: far from
        the origin corners a hair apart may come to lie on each other.
        """
        far = spelled(shapely.transform(shape, lambda xy: xy + self.shift))
        return far if far.is_valid else spelled(repaired(far)[0])

    def point(self, at: Point) -> Point:
        return float(at[0] + self.shift[0]), float(at[1] + self.shift[1])


def finished_plan(drawing_mm: Drawing, units: UnitReading, draft: Draft) -> Plan:
    """The plan of a draft.

    Args:
        drawing_mm: the drawing, for its name, origin and sources.
        units: the unit that was believed; `drawing_mm.origin` is in it.
        draft: rooms, doorways and all that was found.
    """
    numbering = _numbering(drawing_mm, units, draft)
    return Plan(
        file=drawing_mm.file,
        format=f"DXF {drawing_mm.version}",
        units=units,
        storeys=_storeys(draft),
        flats=_flats(draft, numbering),
        rooms=tuple(_room(drawing_mm, draft, numbering, k) for k in numbering.order),
        doorways=_doorways(drawing_mm, draft, numbering),
        obstacles=_obstacles(drawing_mm, draft, numbering),
        findings=draft.findings,
        walls=tuple(numbering.moved(w) for w in draft.walls),
        backdrop=_backdrop(drawing_mm, draft, numbering),
    )


def merged(drafts: Sequence[Draft]) -> Draft:
    """Drafts of several levels as one: the rooms one after the other, all indices moved along."""
    whole = Draft(rooms=(), doorways=(), storeys=(), dwellings=Dwellings())
    for draft in drafts:
        whole = _joined(whole, draft, len(whole.rooms))
    return whole


def _joined(one: Draft, two: Draft, by: int) -> Draft:
    def moved(rooms: tuple[int, ...]) -> tuple[int, ...]:
        return tuple(r + by for r in rooms)

    doorways = tuple(
        replace(
            d,
            rooms=(d.rooms[0] + by, None if d.rooms[1] is None else d.rooms[1] + by),
            swings_into=None if d.swings_into is None else d.swings_into + by,
        )
        for d in two.doorways
    )
    flats = tuple(replace(f, rooms=moved(f.rooms)) for f in two.dwellings.flats)
    return Draft(
        rooms=one.rooms + two.rooms,
        doorways=one.doorways + doorways,
        storeys=one.storeys + tuple(replace(s, rooms=moved(s.rooms)) for s in two.storeys),
        dwellings=Dwellings(
            flats=one.dwellings.flats + flats,
            communal=one.dwellings.communal + moved(two.dwellings.communal),
        ),
        obstacles=one.obstacles + tuple(replace(o, room=o.room + by) for o in two.obstacles),
        walls=one.walls + two.walls,
        findings=one.findings + two.findings,
    )


def _numbering(drawing: Drawing, units: UnitReading, draft: Draft) -> _Numbering:
    storey_at = {r: i for i, s in enumerate(draft.storeys) for r in s.rooms}
    storeys = [storey_at.get(k, 0) for k in range(len(draft.rooms))]
    order = reading_order([r.shape for r in draft.rooms], storeys)
    rank = {k: n for n, k in enumerate(order)}
    flats = sorted(
        (f for f in draft.dwellings.flats if f.rooms),
        key=lambda f: min(rank[r] for r in f.rooms),
    )
    return _Numbering(
        order=tuple(order),
        rank=rank,
        room={k: RoomId(f"R{n}") for n, k in enumerate(order, start=1)},
        storey={k: StoreyId(f"S{storey_at.get(k, 0) + 1}") for k in order},
        storey_rank={k: storey_at.get(k, 0) for k in order},
        flat={r: FlatId(f"F{n}") for n, f in enumerate(flats, start=1) for r in f.rooms},
        shift=(drawing.origin[0] * units.to_mm, drawing.origin[1] * units.to_mm),
    )


def _storeys(draft: Draft) -> tuple[Storey, ...]:
    return tuple(
        Storey(id=StoreyId(f"S{n}"), name=s.name or f"Storey {n}", elevation_mm=s.elevation_mm)
        for n, s in enumerate(draft.storeys, start=1)
    )


def _flats(draft: Draft, numbering: _Numbering) -> tuple[Flat, ...]:
    flats = []
    for flat in draft.dwellings.flats:
        if flat.rooms:
            first = flat.rooms[0]
            number = numbering.flat[first]
            flats.append(
                Flat(
                    id=number,
                    name=flat.name or f"Flat {number[1:]}",
                    storey=numbering.storey[first],
                )
            )
    return tuple(sorted(flats, key=lambda f: int(f.id[1:])))


def _room(drawing: Drawing, draft: Draft, numbering: _Numbering, k: int) -> Room:
    room = draft.rooms[k]
    inside = room.shape.representative_point()
    return Room(
        id=numbering.room[k],
        shape=numbering.moved(room.shape),
        storey=numbering.storey[k],
        name=room.name,
        number=room.number,
        flat=numbering.flat.get(k),
        printed_area_m2=room.printed_area_m2,
        communal=k in draft.dwellings.communal,
        source=drawing.where((inside.x, inside.y), room.source),
    )


def _doorways(drawing: Drawing, draft: Draft, numbering: _Numbering) -> tuple[Doorway, ...]:
    order = reading_order(
        [d.shape for d in draft.doorways],
        [numbering.storey_rank[d.rooms[0]] for d in draft.doorways],
    )
    return tuple(
        _doorway(drawing, draft, numbering, draft.doorways[k], n)
        for n, k in enumerate(order, start=1)
    )


def _doorway(
    drawing: Drawing, draft: Draft, numbering: _Numbering, d: DraftDoorway, number: int
) -> Doorway:
    one, two = d.rooms
    if two is not None and numbering.rank[two] < numbering.rank[one]:
        one, two = two, one
    start, end = d.leaf_line
    middle = ((start[0] + end[0]) / 2, (start[1] + end[1]) / 2)
    return Doorway(
        id=DoorwayId(f"D{number}"),
        rooms=(numbering.room[one], numbering.room[two] if two is not None else None),
        storey=numbering.storey[one],
        shape=numbering.moved(d.shape),
        leaf_line=spelled_line(numbering.point(start), numbering.point(end)),
        width_mm=freed(d.width_mm),
        wall_thickness_mm=freed(d.thickness_mm),
        kind=d.kind,
        swings_into=numbering.room[d.swings_into] if d.swings_into is not None else None,
        flat_entrance=_is_entrance(draft, numbering, one, two),
        source=drawing.where(middle, d.source),
    )


def _is_entrance(draft: Draft, numbering: _Numbering, one: int, two: int | None) -> bool:
    """Between a flat and communal space, or between two flats."""
    if two is None:
        return False
    flats = numbering.flat.get(one), numbering.flat.get(two)
    if flats[0] is not None and flats[1] is not None:
        return flats[0] != flats[1]
    shared = one in draft.dwellings.communal or two in draft.dwellings.communal
    return shared and flats != (None, None)


def _obstacles(drawing: Drawing, draft: Draft, numbering: _Numbering) -> tuple[Obstacle, ...]:
    order = reading_order(
        [o.shape for o in draft.obstacles], [numbering.rank[o.room] for o in draft.obstacles]
    )
    obstacles = []
    for number, o in enumerate((draft.obstacles[k] for k in order), start=1):
        inside = o.shape.representative_point()
        obstacles.append(
            Obstacle(
                id=ObstacleId(f"O{number}"),
                kind=o.kind,
                shape=numbering.moved(o.shape),
                storey=numbering.storey[o.room],
                room=numbering.room[o.room],
                source=drawing.where((inside.x, inside.y), o.source),
            )
        )
    return tuple(obstacles)


# ---------------------------------------------------------------- behind the picture


def _backdrop(drawing: Drawing, draft: Draft, numbering: _Numbering) -> tuple[LineString, ...]:
    """Strokes about the rooms, those of one entity joined, without writing and furniture."""
    seg = drawing.segments
    silent = sources_where(drawing, is_ignored_name)
    x0, y0, x1, y1 = shapely.total_bounds(polygon_array([r.shape for r in draft.rooms]))
    low = np.minimum(seg.ends[:, :2], seg.ends[:, 2:])
    high = np.maximum(seg.ends[:, :2], seg.ends[:, 2:])
    near = (
        (high[:, 0] >= x0 - ABOUT_MM)
        & (low[:, 0] <= x1 + ABOUT_MM)
        & (high[:, 1] >= y0 - ABOUT_MM)
        & (low[:, 1] <= y1 + ABOUT_MM)
    )
    picked = np.flatnonzero(near & ~silent[seg.source])
    if len(picked) > MOST_STROKES:
        doors = {d.source for d in draft.doorways if d.source is not None}
        picked = picked[np.isin(seg.source[picked], sorted(doors))]
    ends = seg.ends[picked] + np.tile(numbering.shift, 2)
    return tuple(_polylines(ends, seg.source[picked]))


def _polylines(
    ends: np.ndarray[tuple[int, ...], np.dtype[np.float64]],
    source: np.ndarray[tuple[int, ...], np.dtype[np.int32]],
) -> Iterable[LineString]:
    """Runs of strokes of one entity that go on where the last one ended."""
    if not len(ends):
        return
    breaks = (np.abs(ends[1:, :2] - ends[:-1, 2:]).max(axis=1) > 0.5) | (source[1:] != source[:-1])
    for run in np.split(np.arange(len(ends)), np.flatnonzero(breaks) + 1):
        points = np.vstack([ends[run[:1], :2], ends[run, 2:]])
        if float(np.abs(np.diff(points, axis=0)).max()) > 0.0:
            yield LineString(points)
