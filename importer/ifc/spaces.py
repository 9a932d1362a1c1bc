"""Rooms from the spaces of a model: each floor once, with its name, on its storey."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

from importer.ifc.draft import RoomDraft
from importer.ifc.footprint import AGREE, STEP_MM, Footprint, Reading, footprint
from importer.ifc.grouping import Case, Kind, grouped
from importer.ifc.labels import SpaceLabel, label_of
from importer.ifc.meshes import mesh_products
from importer.ifc.model import Entity, IfcModel, told
from importer.ifc.overlaps import counted_once
from importer.ifc.storeys import Storeys
from importer.ifc.written_shapes import written_footprint
from importer.plan import Finding, Severity

STATED_AGREES: Final = 0.03
"""A stated area further from the outline than this part is told; plaster takes up to 3 % (common
practice, no source)."""
_ORDINARY: Final = 1e-6
"""Square metres in a square millimetre: stated areas are tried in both."""

_SHAPELESS: Final = Kind(
    code="IMP-350",
    severity=Severity.SETTLE,
    one="No floor could be taken from the shape of {it}. It is left out.",
    many="No floor could be taken from the shapes of {n} spaces: {it}. They are left out.",
    remedy="Have them bounded and the model exported again, or measure them on site.",
)
_WRITTEN: Final = Kind(
    code="IMP-351",
    severity=Severity.NOTE,
    one="No body could be worked out of a space; its floor was taken as written: {it}.",
    many="No bodies could be worked out of {n} spaces; their floors were taken as written: {it}.",
    remedy="Check their sizes.",
)
_NO_PLAIN_ROOM: Final = Kind(
    code="IMP-352",
    severity=Severity.SETTLE,
    one="The body of a space is no plain room; its floor was taken so: {it}.",
    many="The bodies of {n} spaces are no plain rooms; their floors were taken so: {it}.",
    remedy="Check their outlines in the picture.",
)
_STEPPED: Final = Kind(
    code="IMP-353",
    severity=Severity.SETTLE,
    one="The floor of a space has a step in it and was taken for one level: {it}.",
    many="The floors of {n} spaces have steps in them and were taken for one level each: {it}.",
    remedy="Have the rooms parted at the steps, or lay them by hand there.",
)
_IN_PARTS: Final = Kind(
    code="IMP-354",
    severity=Severity.NOTE,
    one="A space has a floor in several parts, each a room of its own: {it}.",
    many="{n} spaces have floors in several parts, each a room of its own: {it}.",
)
_AREAS_DIFFER: Final = Kind(
    code="IMP-355",
    severity=Severity.NOTE,
    one=f"The area stated differs from the floor by more than {100 * STATED_AGREES:.0f} %: {{it}}. "
    "The outline counts.",
    many=f"The areas stated differ from the floors by more than {100 * STATED_AGREES:.0f} % in {{n}} "
    "rooms: {it}. The outlines count.",
    remedy="Programs state areas to the middle of walls, less plaster, or by half under a slope; "
    "measure one room to be sure.",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class SpaceRooms:
    """Rooms of the spaces, in the order of the file, and what was noticed."""

    rooms: tuple[RoomDraft, ...]
    findings: tuple[Finding, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Space:
    """A space with its floor and what is written on it."""

    entity: Entity
    floor: Footprint
    label: SpaceLabel


def find_space_rooms(model: IfcModel, storeys: Storeys) -> SpaceRooms:
    """The rooms that the spaces of a model are. A floor in several parts becomes several rooms.

    Args:
        model: the opened model.
        storeys: its storeys.
    """
    entities = model.all_of("IfcSpace")
    meshes, _ = mesh_products(model, entities, cut_openings=False)
    spaces: list[_Space] = []
    shapeless: list[Entity] = []
    for entity in entities:
        floor = footprint(meshes[entity.id()]) if entity.id() in meshes else None
        floor = floor or written_footprint(model, entity)
        if floor is None:
            shapeless.append(entity)
        else:
            spaces.append(_Space(entity=entity, floor=floor, label=label_of(entity)))
    rooms = [room for space in spaces for room in _rooms_of(space, storeys)]
    once = counted_once(model, rooms)
    findings = [
        *_without_shape(model, shapeless),
        *_doubts(model, spaces),
        *once.findings,
        *_area_findings(model, spaces),
    ]
    return SpaceRooms(rooms=once.rooms, findings=tuple(findings))


def _rooms_of(space: _Space, storeys: Storeys) -> list[RoomDraft]:
    storey = storeys.of(space.entity, space.floor.low)
    label = space.label
    stated = stated_m2(space.label, space.floor.area)
    whole = RoomDraft(
        shape=space.floor.parts[0],
        storey=storey,
        low=space.floor.low,
        high=space.floor.high,
        space=space.entity,
        name=label.name,
        number=label.number,
        also_called=label.also_called,
        finish=label.finish,
        flat=label.flat,
        stated_m2=stated[0] if stated and len(space.floor.parts) == 1 else None,
    )
    return [replace(whole, shape=part) for part in space.floor.parts]


def stated_m2(label: SpaceLabel, area_mm2: float) -> tuple[float, ...]:
    """Stated areas in square metres. Some programs state square millimetres without saying so: whichever
    is nearer to the outline is taken.
    """
    measured = area_mm2 * _ORDINARY
    found = []
    for value in label.areas:
        small = value * _ORDINARY
        found.append(small if abs(small - measured) < abs(value - measured) else value)
    return tuple(found)


# --- what is told ---------------------------------------------------------------------------------


def _without_shape(model: IfcModel, spaces: Sequence[Entity]) -> list[Finding]:
    cases = []
    for space in spaces:
        areas = label_of(space).areas
        stated = f", which states an area of {areas[0]:g}" if areas else ""
        cases.append(Case(space, f"{told(space)}{stated}"))
    return grouped(model, _SHAPELESS, cases)


def _doubts(model: IfcModel, spaces: Sequence[_Space]) -> list[Finding]:
    """What makes floors less than certain, by kind."""
    written, odd, stepped, parted = [], [], [], []
    for space in spaces:
        floor, entity = space.floor, space.entity
        if floor.reading in {Reading.FOOTPRINT, Reading.PROFILE, Reading.BOUNDARIES}:
            written.append(Case(entity, f"{told(entity)} from its {floor.reading.value}"))
        elif floor.reading is Reading.OUTLINE or floor.differs > AGREE:
            seen = "it has no floor face" if floor.reading is Reading.OUTLINE else ""
            seen = seen or f"floor face and section differ by {100 * floor.differs:.0f} %"
            odd.append(Case(entity, f"{told(entity)} from the {floor.reading.value}, {seen}"))
        if floor.step > STEP_MM:
            stepped.append(Case(entity, f"{told(entity)} by {floor.step:.0f} mm"))
        if len(floor.parts) > 1:
            parted.append(Case(entity, f"{told(entity)} in {len(floor.parts)}"))
    return [
        *grouped(model, _WRITTEN, written),
        *grouped(model, _NO_PLAIN_ROOM, odd),
        *grouped(model, _STEPPED, stepped),
        *grouped(model, _IN_PARTS, parted),
    ]


def _area_findings(model: IfcModel, spaces: Sequence[_Space]) -> list[Finding]:
    """Spaces of which no stated area agrees with the outline."""
    odd = []
    for space in spaces:
        area = space.floor.area
        stated = stated_m2(space.label, area)
        off = [abs(s * 1e6 - area) / area for s in stated]
        if off and min(off) > STATED_AGREES:
            nearest = stated[off.index(min(off))]
            said = f"{told(space.entity)} {nearest:.2f} for {area / 1e6:.2f} m2"
            odd.append(Case(space.entity, said))
    return grouped(model, _AREAS_DIFFER, odd)
