"""The parts of a drawing put together into a `Plan`: rooms, names, doorways, storeys, flats, things
in the way, in reading order and in the plan's frame.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from shapely import STRtree

from importer.dxf.chosen_rooms import choose_rooms
from importer.dxf.door_blocks import door_signs, kinds_by_blocks
from importer.dxf.doors import door_symbols
from importer.dxf.doorways import from_openings
from importer.dxf.doorways_at_leaves import from_symbols, unled_symbols
from importer.dxf.draft import DraftDoorway, DraftRoom, RoomFinder
from importer.dxf.drawing import Drawing
from importer.dxf.drawn_outlines import outlined_rooms
from importer.dxf.finished import Draft, finished_plan, merged
from importer.dxf.flats import find_flats
from importer.dxf.found import DoorSymbol, Opening, OpeningKind, Recovered
from importer.dxf.label_parting import parted_by_labels
from importer.dxf.labels import RoomLabel, room_labels
from importer.dxf.layer_words import is_wall_name
from importer.dxf.levels import by_level
from importer.dxf.naming import label_findings, name_rooms
from importer.dxf.obstacles import find_obstacles
from importer.dxf.passages import passages
from importer.dxf.stage_lines import stage_lines
from importer.dxf.storeys import find_storeys
from importer.dxf.walls_to_rooms import recover_rooms
from importer.hints import Hints, matches_layer
from importer.plan import Finding, Origin, Plan, PlanError, Severity, UnitReading
from importer.room_words import is_outdoor

NEAR_ROOMS_MM: Final = 1000.0
"""A door symbol further than this from every room belongs to something else on the sheet."""

USUAL_LETTERS_MM: Final = 150.0
"""Height of room labels where the drawing has none: 2.5 to 3.5 mm at 1:50 (ISO 3098)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Doors:
    """Doorways and what was noticed about them."""

    doorways: tuple[DraftDoorway, ...]
    findings: tuple[Finding, ...]


def assemble(drawing_mm: Drawing, units: UnitReading, hints: Hints) -> Plan:
    """A plan from a drawing in millimetres.

    Args:
        drawing_mm: the drawing, scaled by `units.to_mm`, with the findings made so far.
        units: the unit that was believed.
        hints: what the user knows better.

    Returns:
        The plan in drawing coordinates times `units.to_mm`.

    Raises:
        PlanError: no room was found; the message says what was seen and what to set.
    """
    drafts = [_draft(level.drawing, hints, level.elevation_mm) for level in by_level(drawing_mm)]
    draft = merged(drafts)
    if not draft.rooms:
        raise _no_rooms(drawing_mm, hints)
    told = replace(draft, findings=(*drawing_mm.findings, *draft.findings))
    plan = finished_plan(drawing_mm, units, told)
    return replace(plan, stage_lines=stage_lines(drawing_mm, units, hints))


def _draft(drawing: Drawing, hints: Hints, elevation: float | None) -> Draft:
    symbols = door_symbols(drawing, hints)
    labels = room_labels(drawing, hints)
    outlined = outlined_rooms(drawing, labels, symbols, hints)
    recovered = parted_by_labels(recover_rooms(drawing, symbols, hints), labels)
    chosen = choose_rooms(drawing, outlined, recovered, labels, hints)
    named = name_rooms(chosen.rooms, labels)
    shapes = [r.shape for r in named.rooms]
    doors = _doors(drawing, recovered, named.rooms, symbols, hints)
    storeys, storey_findings = find_storeys(drawing, shapes, _letters(labels))
    dwellings = find_flats(drawing, named.rooms, doors.doorways, named.flat_labels, hints)
    return Draft(
        rooms=named.rooms,
        doorways=doors.doorways,
        storeys=tuple(replace(s, elevation_mm=elevation) for s in storeys),
        dwellings=dwellings,
        obstacles=find_obstacles(drawing, shapes, hints),
        walls=recovered.walls,
        findings=(
            *chosen.findings,
            *doors.findings,
            *label_findings(drawing, named),
            *storey_findings,
            *dwellings.findings,
        ),
    )


def _letters(labels: Sequence[RoomLabel]) -> float:
    heights = [x.height for x in labels if x.known or x.measured]
    return float(np.median(heights)) if heights else USUAL_LETTERS_MM


# ---------------------------------------------------------------- doorways


def _doors(
    drawing: Drawing,
    recovered: Recovered,
    rooms: Sequence[DraftRoom],
    symbols: Sequence[DoorSymbol],
    hints: Hints,
) -> _Doors:
    finder = RoomFinder([r.shape for r in rooms])
    outdoors = {k for k, r in enumerate(rooms) if r.name and is_outdoor(r.name)}
    signs = door_signs(drawing, hints)
    doorways, left = from_openings(recovered.openings, finder, symbols, signs, outdoors)
    used = {k for d in doorways for k in d.symbols}
    more = from_symbols(symbols, used, finder)
    more += passages(finder, recovered)
    doorways += _elsewhere(more, doorways)
    doorways = kinds_by_blocks(drawing, hints, doorways, finder)
    findings = [
        _unled(drawing, symbols[k], rooms, finder)
        for k in unled_symbols(symbols, doorways)
        if finder.near_point(symbols[k].hinge, NEAR_ROOMS_MM)
    ]
    findings += _no_doors(drawing, left)
    return _Doors(doorways=tuple(doorways), findings=tuple(findings))


def _no_doors(drawing: Drawing, left: Sequence[Opening]) -> list[Finding]:
    """Openings to the outside that show neither a door nor a window."""
    bare = [o for o in left if o.kind is not OpeningKind.WINDOW]
    if not bare:
        return []
    at = bare[0].shape.centroid
    widths = sorted(o.width_mm for o in bare)
    return [
        Finding(
            code="IMP-403",
            severity=Severity.NOTE,
            what=f"{len(bare)} opening(s) of {widths[0]:.0f} to {widths[-1]:.0f} mm in outer walls show "
            "no door and were taken for windows: the floor ends at the wall there.",
            where=drawing.where((at.x, at.y)),
            remedy="Draw a door symbol, or write 'door' beside the opening, where one can walk out.",
        )
    ]


def _elsewhere(more: Sequence[DraftDoorway], known: Sequence[DraftDoorway]) -> list[DraftDoorway]:
    """Those that stand on other floor than the known ones and than each other."""
    kept: list[DraftDoorway] = []
    every = [*known, *more]
    if not more:
        return kept
    tree = STRtree([d.shape for d in every])
    dropped: set[int] = set()
    for k in range(len(known), len(every)):
        near = tree.query(every[k].shape, predicate="intersects").tolist()
        if any(i < k and i not in dropped and _same_place(every[k], every[i]) for i in near):
            dropped.add(k)
        else:
            kept.append(every[k])
    return kept


def _same_place(one: DraftDoorway, two: DraftDoorway) -> bool:
    """Two doorways on the same floor: most of the smaller lies in the other."""
    shared = one.shape.intersection(two.shape).area
    return bool(shared > 0.3 * min(one.shape.area, two.shape.area))


def _unled(
    drawing: Drawing, symbol: DoorSymbol, rooms: Sequence[DraftRoom], finder: RoomFinder
) -> Finding:
    middle = (
        (symbol.hinge[0] + symbol.closed_end[0]) / 2,
        (symbol.hinge[1] + symbol.closed_end[1]) / 2,
    )
    near = finder.near_point(middle, NEAR_ROOMS_MM / 2)
    where = drawing.where(middle, symbol.source)
    if len(near) == 1:
        name = rooms[near[0]].name
        return Finding(
            code="IMP-402",
            severity=Severity.NOTE,
            what=f"A door of {symbol.radius_mm:.0f} mm stands inside one room"
            + (f" ({name})." if name else ".")
            + " No doorway was made of it.",
            where=where,
            remedy="If it parts two rooms, draw their outlines on a layer and name that in "
            "drawing.layers.rooms.",
        )
    return Finding(
        code="IMP-401",
        severity=Severity.SETTLE,
        what=f"A door of {symbol.radius_mm:.0f} mm leads to no two rooms that were found.",
        where=where,
        remedy="Check the walls about it; name their layers in drawing.layers.walls.",
    )


# ---------------------------------------------------------------- nothing found


def _no_rooms(drawing: Drawing, hints: Hints) -> PlanError:
    symbols, labels = door_symbols(drawing, hints), room_labels(drawing, hints)
    layers = sorted({s.layer for s in drawing.sources})
    if hints.wall_layers:
        walls = [x for x in layers if matches_layer(x, hints.wall_layers)]
    else:
        walls = [x for x in layers if is_wall_name(x)]
    seen = [
        f"{len(drawing.segments)} strokes on {len(layers)} layers",
        f"{len(drawing.rings)} closed outlines",
        f"{sum(1 for s in symbols if s.has_leaf)} door leaves",
        f"{sum(1 for x in labels if x.known or x.measured)} room labels",
        f"wall layers {_listed(walls)}" if walls else "no layer named for walls",
    ]
    return PlanError(
        Finding(
            code="IMP-300",
            severity=Severity.REFUSED,
            what=f"No room was found. Seen: {'; '.join(seen)}.",
            where=Origin(file=drawing.file),
            remedy="If this is a floor plan, name the layers of the walls in drawing.layers.walls, or "
            f"of the room outlines in drawing.layers.rooms. Layers in use: {_listed(layers)}.",
        )
    )


def _listed(names: Sequence[str], most: int = 12) -> str:
    shown = ", ".join(f"'{n}'" for n in names[:most])
    return shown + (f" and {len(names) - most} more" if len(names) > most else "")
