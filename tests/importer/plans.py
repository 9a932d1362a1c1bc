"""Plans made by hand, for tests of what shows a plan."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import shapely
from shapely import Polygon

from importer.plan import (
    Doorway,
    DoorwayId,
    DoorwayKind,
    Finding,
    Flat,
    FlatId,
    Obstacle,
    ObstacleId,
    ObstacleKind,
    Origin,
    Plan,
    Room,
    RoomId,
    Severity,
    Storey,
    StoreyId,
    UnitReading,
)
from sample_plans.scenario import SAMPLES, Sample, truth

STOREY = StoreyId("storey-1")


def sample_plan(file: str) -> Plan:
    """The plan of a sample drawing as a faultless reader would deliver it."""
    sample = next(s for s in SAMPLES if s.file == file)
    facts: dict[str, Any] = truth()[file]
    names = list(dict.fromkeys(r["flat"] for r in facts["rooms"] if r["flat"]))
    rooms = tuple(_room(r, i) for i, r in enumerate(facts["rooms"], 1))
    ids = {r["key"]: room.id for r, room in zip(facts["rooms"], rooms, strict=True)}
    doorways = tuple(
        _doorway(d, i, ids) for i, d in enumerate(facts["doorways"], 1) if d["rooms"][0] in ids
    )
    return Plan(
        file=file,
        format="DXF",
        units=UnitReading(
            name=facts["units"]["name"],
            to_mm=facts["units"]["to_mm"],
            because="the header says so, and doors are 800 to 1010 wide",
        ),
        storeys=(Storey(id=STOREY, name="Second storey"),),
        flats=tuple(Flat(id=FlatId(n), name=n, storey=STOREY) for n in names),
        rooms=rooms,
        doorways=doorways,
        obstacles=_columns(facts, rooms),
        findings=_findings(file),
        walls=_walls(sample),
    )


def _walls(sample: Sample) -> tuple[Polygon, ...]:
    k = sample.to_mm
    return tuple(shapely.transform(w, lambda c: c * k) for w in sample.building().walls())


def _room(fact: dict[str, Any], number: int) -> Room:
    return Room(
        id=RoomId(f"room-{number}"),
        shape=Polygon(fact["outline_mm"]),
        storey=STOREY,
        name=fact["name"],
        number=fact["number"],
        flat=FlatId(fact["flat"]) if fact["flat"] else None,
        printed_area_m2=round(fact["area_m2"], 2),
        communal=fact["communal"],
        source=Origin(layer="A-AREA", handle=f"{number:X}"),
    )


def _doorway(fact: dict[str, Any], number: int, ids: dict[str, RoomId]) -> Doorway:
    beyond = fact["rooms"][1]
    leaf = fact["leaf_mm"]
    return Doorway(
        id=DoorwayId(f"doorway-{number}"),
        rooms=(ids[fact["rooms"][0]], None if beyond is None else ids[beyond]),
        storey=STOREY,
        shape=Polygon(fact["shape_mm"]),
        leaf_line=((leaf[0][0], leaf[0][1]), (leaf[1][0], leaf[1][1])),
        width_mm=fact["width_mm"],
        wall_thickness_mm=fact["thickness_mm"],
        kind=DoorwayKind(fact["kind"]),
        flat_entrance=fact["flat_entrance"],
    )


def _columns(facts: dict[str, Any], rooms: tuple[Room, ...]) -> tuple[Obstacle, ...]:
    shapes = [Polygon(c["outline_mm"]) for c in facts["columns"]]
    return tuple(
        Obstacle(
            id=ObstacleId(f"obstacle-{i}"),
            kind=ObstacleKind.COLUMN,
            shape=s,
            storey=STOREY,
            room=next((r.id for r in rooms if r.shape.contains(s)), None),
        )
        for i, s in enumerate(shapes, 1)
    )


def _findings(file: str) -> tuple[Finding, ...]:
    return (
        Finding(
            code="IMP-201",
            severity=Severity.NOTE,
            what="The drawing unit is believed to be the header's.",
            where=Origin(file=file),
        ),
        Finding(
            code="IMP-401",
            severity=Severity.SETTLE,
            what="A door leaf is drawn here, but the wall has no opening.",
            where=Origin(file=file, layer="A-DOOR", handle="2F3", at=(2600.0, 1200.0)),
            remedy="Name the door's layer under drawing.layers.doors, or mend the drawing.",
        ),
    )


def tiny_plan(**changes: Any) -> Plan:
    """One square room of 3 m, nothing else, with the given fields of `Plan` changed."""
    room = Room(
        id=RoomId("room-1"),
        shape=Polygon([(0, 0), (3000, 0), (3000, 3000), (0, 3000)]),
        storey=STOREY,
    )
    fields: dict[str, Any] = {
        "file": "tiny.dxf",
        "format": "DXF",
        "units": UnitReading(name="mm", to_mm=1.0, because="said so"),
        "storeys": (Storey(id=STOREY, name="Storey 1"),),
        "flats": (),
        "rooms": (room,),
        "doorways": (),
    }
    return Plan(**{**fields, **changes})


def read_bytes(folder: Path) -> dict[str, bytes]:
    """Every file in a folder by name."""
    return {p.name: p.read_bytes() for p in sorted(folder.iterdir())}
