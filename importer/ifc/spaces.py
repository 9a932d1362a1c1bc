"""Rooms from the spaces of a model: each floor once, with its name, on its storey."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

from importer.ifc.draft import RoomDraft
from importer.ifc.footprint import AGREE, STEP_MM, Footprint, Reading, footprint
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
        *(f for space in spaces for f in _doubts(model, space)),
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
    findings = []
    for space in spaces:
        areas = label_of(space).areas
        stated = f"; it states an area of {areas[0]:g}" if areas else ""
        findings.append(
            model.finding(
                "IMP-350",
                Severity.SETTLE,
                f"{told(space)} has no shape that a floor could be taken from{stated}. It is left out.",
                about=space,
                remedy="Have the room bounded and the model exported again, or measure it on site.",
            )
        )
    return findings


def _doubts(model: IfcModel, space: _Space) -> list[Finding]:
    """What makes a floor less than certain."""
    floor, findings = space.floor, []
    if floor.reading in {Reading.FOOTPRINT, Reading.PROFILE, Reading.BOUNDARIES}:
        findings.append(
            model.finding(
                "IMP-351",
                Severity.NOTE,
                f"The body of {told(space.entity)} could not be worked out; its floor was taken from "
                f"its {floor.reading.value}.",
                about=space.entity,
                remedy="Check its size.",
            )
        )
    elif floor.reading is Reading.OUTLINE or floor.differs > AGREE:
        seen = "it has no floor face" if floor.reading is Reading.OUTLINE else ""
        seen = seen or f"floor face and section differ by {100 * floor.differs:.0f} %"
        findings.append(
            model.finding(
                "IMP-352",
                Severity.SETTLE,
                f"The body of {told(space.entity)} is no plain room: {seen}. Its floor was taken from "
                f"the {floor.reading.value}.",
                about=space.entity,
                remedy="Check its outline in the picture.",
            )
        )
    if floor.step > STEP_MM:
        findings.append(
            model.finding(
                "IMP-353",
                Severity.SETTLE,
                f"The floor of {told(space.entity)} lies on levels {floor.step:.0f} mm apart; it was "
                "taken for one level.",
                about=space.entity,
                remedy="Have the room parted at the step, or lay it by hand there.",
            )
        )
    if len(floor.parts) > 1:
        findings.append(
            model.finding(
                "IMP-354",
                Severity.NOTE,
                f"{told(space.entity)} has a floor in {len(floor.parts)} parts; each is a room of its "
                "own.",
                about=space.entity,
            )
        )
    return findings


def _area_findings(model: IfcModel, spaces: Sequence[_Space]) -> list[Finding]:
    """Spaces of which no stated area agrees with the outline, in one finding."""
    odd = []
    for space in spaces:
        area = space.floor.area
        stated = stated_m2(space.label, area)
        off = [abs(s * 1e6 - area) / area for s in stated]
        if off and min(off) > STATED_AGREES:
            nearest = stated[off.index(min(off))]
            odd.append(f"{told(space.entity)} {nearest:.2f} for {area / 1e6:.2f} m2")
    if not odd:
        return []
    more = f" and {len(odd) - 6} more" if len(odd) > 6 else ""
    return [
        model.finding(
            "IMP-355",
            Severity.NOTE,
            f"The area stated differs from the floor by more than {100 * STATED_AGREES:.0f} % in "
            f"{len(odd)} of {len(spaces)} rooms: {'; '.join(odd[:6])}{more}. The outline counts.",
            remedy="Programs state areas to the middle of walls, less plaster, or by half under a "
            "slope; measure one room to be sure.",
        )
    ]
