"""The last step: drafts in reading order, numbered, in the frame of the plan."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TypeVar

import shapely
from shapely import LineString, Polygon

from importer.ifc.draft import DoorwayDraft, ObstacleDraft, RoomDraft
from importer.ifc.flats import Dwellings
from importer.ifc.model import Entity, IfcModel
from importer.ifc.sections import Linework
from importer.ifc.storeys import IfcStorey
from importer.outline_order import freed, reading_order, spelled, spelled_line
from importer.plan import (
    Doorway,
    DoorwayId,
    Finding,
    Flat,
    FlatId,
    Obstacle,
    ObstacleId,
    Origin,
    Plan,
    Point,
    Room,
    RoomId,
    Storey,
    StoreyId,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Draft:
    """Everything found, by index. Rooms are in their final order already (`in_reading_order`)."""

    storeys: Sequence[IfcStorey]
    levels: Mapping[int, float]
    rooms: Sequence[RoomDraft]
    doorways: Sequence[DoorwayDraft]
    obstacles: Sequence[ObstacleDraft]
    dwellings: Dwellings
    linework: Linework
    findings: Sequence[Finding]


def storey_id(index: int) -> StoreyId:
    """Id of a storey by its index from the lowest up."""
    return StoreyId(f"S{index + 1}")


def in_reading_order(rooms: Sequence[RoomDraft]) -> list[RoomDraft]:
    """By storey, then from the top of the sheet down, then from left to right."""
    order = reading_order([r.shape for r in rooms], [r.storey for r in rooms])
    return [rooms[k] for k in order]


def finished_plan(model: IfcModel, draft: Draft) -> Plan:
    """The plan of a draft, every doorway and obstacle in the order of its first room."""
    return Plan(
        file=model.name,
        format=model.schema,
        units=model.units,
        storeys=_storeys(draft),
        flats=_flats(draft),
        rooms=tuple(_room(model, draft, k) for k in range(len(draft.rooms))),
        doorways=_doorways(model, draft),
        obstacles=_obstacles(model, draft),
        findings=tuple(draft.findings),
        walls=tuple(_placed(model, w) for w in draft.linework.walls),
        drawn=tuple(replace(d, shape=_placed(model, d.shape)) for d in draft.linework.drawn),
    )


def _storeys(draft: Draft) -> tuple[Storey, ...]:
    """Storeys with rooms; their numbers are kept, so that ids tell the level in the model."""
    used = sorted({r.storey for r in draft.rooms})
    return tuple(
        Storey(
            id=storey_id(k),
            name=draft.storeys[k].name or f"Storey {k + 1}",
            elevation_mm=draft.levels.get(k),
        )
        for k in used
    )


def _room_id(k: int) -> RoomId:
    return RoomId(f"R{k + 1}")


def _flat_of(draft: Draft) -> dict[int, FlatId]:
    return {
        room: FlatId(f"F{n}")
        for n, flat in enumerate(draft.dwellings.flats, start=1)
        for room in flat.rooms
    }


def _flats(draft: Draft) -> tuple[Flat, ...]:
    return tuple(
        Flat(
            id=FlatId(f"F{n}"), name=flat.name, storey=storey_id(draft.rooms[flat.rooms[0]].storey)
        )
        for n, flat in enumerate(draft.dwellings.flats, start=1)
    )


def _room(model: IfcModel, draft: Draft, k: int) -> Room:
    room = draft.rooms[k]
    return Room(
        id=_room_id(k),
        shape=_placed(model, room.shape),
        storey=storey_id(room.storey),
        name=room.name,
        number=room.number,
        flat=_flat_of(draft).get(k),
        printed_area_m2=room.stated_m2,
        communal=k in draft.dwellings.communal,
        also_called=room.also_called,
        finish_hint=room.finish,
        floor_mm=room.low,
        source=_origin(model, room.space, room.shape),
    )


def _doorways(model: IfcModel, draft: Draft) -> tuple[Doorway, ...]:
    flats = _flat_of(draft)
    order = reading_order(
        [d.shape for d in draft.doorways], [draft.rooms[d.rooms[0]].storey for d in draft.doorways]
    )
    found = []
    for n, k in enumerate(order, start=1):
        doorway = draft.doorways[k]
        one, two = doorway.rooms
        if two is not None and two < one:
            one, two = two, one
        ends = (one, two)
        in_flats = [None if r is None else flats.get(r) for r in ends]
        found.append(
            Doorway(
                id=DoorwayId(f"D{n}"),
                rooms=(_room_id(one), None if two is None else _room_id(two)),
                storey=storey_id(draft.rooms[one].storey),
                shape=_placed(model, doorway.shape),
                leaf_line=spelled_line(*(_at(model, p) for p in doorway.leaf_line)),
                width_mm=freed(doorway.width_mm),
                wall_thickness_mm=freed(doorway.thickness_mm),
                kind=doorway.kind,
                swings_into=None if doorway.swings_into is None else _room_id(doorway.swings_into),
                flat_entrance=in_flats[0] != in_flats[1],
                source=_origin(model, doorway.entity, doorway.shape),
            )
        )
    return tuple(found)


def _obstacles(model: IfcModel, draft: Draft) -> tuple[Obstacle, ...]:
    """By room, each from the top down."""
    order = reading_order([o.shape for o in draft.obstacles], [o.room for o in draft.obstacles])
    return tuple(
        Obstacle(
            id=ObstacleId(f"O{n}"),
            kind=o.kind,
            shape=_placed(model, o.shape),
            storey=storey_id(draft.rooms[o.room].storey),
            room=_room_id(o.room),
            source=_origin(model, o.entity, o.shape),
        )
        for n, o in enumerate((draft.obstacles[k] for k in order), start=1)
    )


def _origin(model: IfcModel, entity: Entity | None, shape: Polygon) -> Origin:
    """Where a thing comes from; the point in the unit of the file, as a viewer shows it."""
    inside = shape.representative_point()
    x, y = _at(model, (inside.x, inside.y))
    where = model.where(entity)
    return Origin(file=where.file, guid=where.guid, at=(x / model.to_mm, y / model.to_mm))


Placed = TypeVar("Placed", Polygon, LineString, Polygon | LineString)


def _placed(model: IfcModel, shape: Placed) -> Placed:
    """A shape in the frame of the plan, areas spelled as in every plan."""
    moved = shape
    if model.origin != (0.0, 0.0):
        moved = shapely.transform(shape, lambda xy: xy + model.origin)
    return spelled(moved) if isinstance(moved, Polygon) else moved


def _at(model: IfcModel, point: Point) -> Point:
    """A point in the frame of the plan."""
    return point[0] + model.origin[0], point[1] + model.origin[1]
