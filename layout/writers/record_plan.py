"""What a record says of the plan that was laid, so that the ids in it can be followed to the drawing or
the model: storeys, flats, rooms and doorways with their layer and handle, or their GlobalId.

Outlines of rooms are not in it: `setout read --json` gives those.
"""

from __future__ import annotations

from typing import Any

from importer.plan import Doorway, Origin, Plan, Room
from importer.plan_json import groups_json, length_or_none, units_json
from layout.writers.numbers import m2, mm

Json = dict[str, Any]


def plan_json(plan: Plan | None) -> Json | None:
    """The plan as plain data, every list in the plan's order; None for a plan that could not be read."""
    if plan is None:
        return None
    return {
        "format": plan.format,
        "units": units_json(plan),
        **groups_json(plan),
        "rooms": [_room(r) for r in plan.rooms],
        "doorways": [_doorway(d) for d in plan.doorways],
    }


def _room(room: Room) -> Json:
    return {
        "id": room.id,
        "name": room.name,
        "number": room.number,
        "storey": room.storey,
        "flat": room.flat,
        "communal": room.communal,
        "elsewhere": room.elsewhere,
        "area_m2": m2(room.shape.area),
        "floor_mm": length_or_none(room.floor_mm),
        "source": _source(room.source),
    }


def _doorway(doorway: Doorway) -> Json:
    return {
        "id": doorway.id,
        "rooms": list(doorway.rooms),
        "storey": doorway.storey,
        "kind": doorway.kind.value,
        "width_mm": mm(doorway.width_mm),
        "at_mm": [mm(v) for v in doorway.at],
        "flat_entrance": doorway.flat_entrance,
        "source": _source(doorway.source),
    }


def _source(origin: Origin) -> Json:
    """Layer and handle in a drawing, GlobalId in a model."""
    if origin.guid is not None:
        return {"guid": origin.guid}
    return {"layer": origin.layer, "handle": origin.handle}
