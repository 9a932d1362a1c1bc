"""A plan as JSON that other programs read. Its shape is `importer/schemas/plan.schema.json`.

Coordinates are millimetres in drawing coordinates (the numbers in the file times `to_mm`), rounded
to 0.001; rings run counter-clockwise and do not repeat their first point.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from importlib import resources
from itertools import pairwise
from math import log10
from typing import Any, Final

from shapely import LinearRing

from importer.plan import Doorway, Finding, Obstacle, Origin, Plan, Point, Room
from importer.tolerance import GRID_MM

Json = dict[str, Any]

SCHEMA_VERSION: Final = 1
_DECIMALS: Final = round(-log10(GRID_MM))


def plan_to_json(plan: Plan) -> Json:
    """The plan as plain data, every list in the plan's order."""
    return {
        "schema": SCHEMA_VERSION,
        "plan": {
            "file": plan.file,
            "format": plan.format,
            "units": units_json(plan),
        },
        **groups_json(plan),
        "rooms": [_room(r) for r in plan.rooms],
        "doorways": [_doorway(d) for d in plan.doorways],
        "obstacles": [_obstacle(o) for o in plan.obstacles],
        "findings": [_finding(f, plan.units.to_mm) for f in plan.findings],
    }


def units_json(plan: Plan) -> Json:
    """The unit of the drawing and why it is believed."""
    units = plan.units
    return {"name": units.name, "to_mm": units.to_mm, "because": units.because}


def groups_json(plan: Plan) -> Json:
    """The storeys and flats that rooms belong to."""
    return {
        "storeys": [
            {"id": s.id, "name": s.name, "elevation_mm": length_or_none(s.elevation_mm)}
            for s in plan.storeys
        ],
        "flats": [{"id": f.id, "name": f.name, "storey": f.storey} for f in plan.flats],
    }


def plan_json_bytes(plan: Plan) -> bytes:
    """The plan as a JSON file: UTF-8, one trailing newline, the same bytes for the same plan."""
    text = json.dumps(plan_to_json(plan), ensure_ascii=False, allow_nan=False, indent=1)
    # A lone surrogate can come out of a damaged drawing's text; it has no UTF-8.
    return (text + "\n").encode("utf-8", "replace")


def plan_schema() -> Json:
    """The published JSON Schema of `plan_to_json`."""
    source = resources.files("importer").joinpath("schemas/plan.schema.json")
    schema: Json = json.loads(source.read_text(encoding="utf-8"))
    return schema


def _room(room: Room) -> Json:
    return {
        "id": room.id,
        "name": room.name,
        "number": room.number,
        "storey": room.storey,
        "flat": room.flat,
        "communal": room.communal,
        "also_called": list(room.also_called),
        "finish_hint": room.finish_hint,
        "area_m2": round(room.shape.area / 1e6, 6),
        "printed_area_m2": room.printed_area_m2,
        "perimeter_mm": mm(room.shape.exterior.length),
        "outline_mm": ring_mm(room.shape.exterior),
        "holes_mm": [ring_mm(r) for r in room.shape.interiors],
        "source": _source(room.source),
    }


def _doorway(doorway: Doorway) -> Json:
    return {
        "id": doorway.id,
        "rooms": list(doorway.rooms),
        "storey": doorway.storey,
        "width_mm": mm(doorway.width_mm),
        "thickness_mm": mm(doorway.wall_thickness_mm),
        "at_mm": _point(doorway.at),
        "kind": doorway.kind.value,
        "swings_into": doorway.swings_into,
        "flat_entrance": doorway.flat_entrance,
        "leaf_line_mm": [_point(p) for p in doorway.leaf_line],
        "shape_mm": ring_mm(doorway.shape.exterior),
        "source": _source(doorway.source),
    }


def _obstacle(obstacle: Obstacle) -> Json:
    return {
        "id": obstacle.id,
        "kind": obstacle.kind.value,
        "storey": obstacle.storey,
        "room": obstacle.room,
        "outline_mm": ring_mm(obstacle.shape.exterior),
        "source": _source(obstacle.source),
    }


def _finding(finding: Finding, to_mm: float) -> Json:
    at = finding.where.at
    return {
        "code": finding.code,
        "severity": finding.severity.value,
        "what": finding.what,
        "where": str(finding.where),
        "at_mm": None if at is None else _point((at[0] * to_mm, at[1] * to_mm)),
        "remedy": finding.remedy,
    }


def _source(origin: Origin) -> Json:
    """Layer and handle from a DXF, GUID from an IFC."""
    if origin.guid is not None:
        return {"guid": origin.guid}
    return {"layer": origin.layer, "handle": origin.handle}


def mm(value: float) -> float:
    """A length or coordinate on the finished grid, no negative zero."""
    return round(value, _DECIMALS) + 0.0


def length_or_none(value: float | None) -> float | None:
    """The same for what may be missing."""
    return None if value is None else mm(value)


def _point(p: Point | Sequence[float]) -> list[float]:
    return [mm(p[0]), mm(p[1])]


def ring_mm(ring: LinearRing) -> list[list[float]]:
    """Corners of a ring, counter-clockwise, first not repeated, none twice after rounding."""
    coords: Iterable[Sequence[float]] = ring.coords if ring.is_ccw else reversed(ring.coords)
    points = [_point(p) for p in coords]
    kept = [b for a, b in pairwise(points) if a != b]
    return kept if len(kept) >= 3 else points[:-1]
