"""The child's side of reading a model: all its parts in order, put together into a `Plan`."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Final

from importer.hints import Hints
from importer.ifc.advice import advice
from importer.ifc.child import Lost
from importer.ifc.doorways import find_doorways
from importer.ifc.draft import RoomDraft
from importer.ifc.finished import Draft, finished_plan, in_reading_order, storey_id
from importer.ifc.fixed_units import find_fixed_units
from importer.ifc.flats import find_flats
from importer.ifc.free_levels import door_sills, levels_to_search
from importer.ifc.free_rooms import free_rooms
from importer.ifc.grouping import Case, Kind, grouped
from importer.ifc.in_the_way import find_in_the_way
from importer.ifc.meshes import near_origin
from importer.ifc.model import IfcModel, Watch, told
from importer.ifc.opening import open_model
from importer.ifc.passages import find_passages
from importer.ifc.section_bodies import Bodies, find_bodies
from importer.ifc.section_levels import Level
from importer.ifc.section_openings import Opening, find_openings
from importer.ifc.sections import storey_linework
from importer.ifc.spaces import find_space_rooms
from importer.ifc.storeys import Storeys, far_from_storey, find_storeys, floor_levels
from importer.plan import Finding, Origin, Plan, PlanError, Severity

FREE_HEIGHT_MM: Final = 2400.0
"""Height that a room found between walls is given (common practice, no source)."""

_KILLED: Final = Kind(
    code="IMP-161",
    severity=Severity.SETTLE,
    one="The geometry kernel failed over a product, which was left out: {it}.",
    many="The geometry kernel failed over {n} products, which were left out: {it}.",
    remedy="Have these products modelled anew; the rest of the model was read.",
)
_BODILESS: Final = Kind(
    code="IMP-162",
    severity=Severity.NOTE,
    one="No body could be made of a product: {it}.",
    many="No body could be made of {n} products: {it}.",
    remedy="Where walls or columns are among them, check the rooms about them.",
)


def read_model(path: Path, hints: Hints, watch: Watch, lost: Sequence[Lost]) -> Plan:
    """The plan of a model. Runs in the child process.

    Args:
        path: an .ifc or .ifczip.
        hints: what the user knows better.
        watch: whom to tell what is being done.
        lost: products that earlier attempts died of, with what happened.

    Raises:
        PlanError: the model cannot be read, or holds no rooms.
    """
    model = near_origin(open_model(path, hints, watch))
    storeys = find_storeys(model)
    spaces = find_space_rooms(model, storeys)
    bodies = find_bodies(model)
    openings = find_openings(model)
    watch.tell("rooms", 0)
    levels = _levels(spaces.rooms, storeys, openings)
    free, free_findings = _free_rooms(model, spaces.rooms, storeys, levels, (bodies, openings))
    rooms = in_reading_order([*spaces.rooms, *free])
    if not rooms:
        raise _no_rooms(model, bodies, openings)
    doors = find_doorways(model, rooms, openings, bodies)
    doorways = (*doors.doorways, *find_passages(model, rooms, bodies, doors.doorways))
    in_the_way = find_in_the_way(model, rooms, bodies)
    dwellings = find_flats(model, rooms, doorways)
    watch.tell("drawing", 0)
    used = sorted({r.storey for r in rooms})
    sheet = [Level(storey=storey_id(k), floor=levels[k]) for k in used]
    findings = (
        *model.findings,
        *_lost(model, lost),
        *storeys.findings,
        *spaces.findings,
        *free_findings,
        *_bodiless(model, bodies),
        *_empty_storeys(model, storeys, used),
        *far_from_storey(model, storeys.storeys, [(r.storey, r.low) for r in rooms]),
        *doors.findings,
        *in_the_way.findings,
        *dwellings.findings,
        *advice(model, rooms, doorways, in_the_way.obstacles),
    )
    return finished_plan(
        model,
        Draft(
            storeys=storeys.storeys,
            levels=levels,
            rooms=rooms,
            doorways=doorways,
            obstacles=sorted(
                (*in_the_way.obstacles, *find_fixed_units(rooms, bodies)), key=lambda o: o.room
            ),
            dwellings=dwellings,
            linework=storey_linework(model, sheet, bodies, openings),
            findings=findings,
        ),
    )


def _levels(
    rooms: Sequence[RoomDraft], storeys: Storeys, openings: Sequence[Opening]
) -> Mapping[int, float]:
    """Height of every storey's floor: where its rooms lie, else where its doors stand, else where it is
    placed. Storeys are often placed at the bare slab, or at a datum of their own.
    """
    with_rooms = {r.storey for r in rooms}
    floors = [(r.storey, r.low, r.shape.area) for r in rooms]
    for storey, sills in door_sills(openings, storeys).items():
        if storey not in with_rooms:
            floors += [(storey, sill, 1.0) for sill in sills]
    found = dict(floor_levels(floors, storeys.storeys))
    for k in range(len(storeys.storeys)):
        found.setdefault(k, 0.0)
    return found


def _free_rooms(
    model: IfcModel,
    spaces: Sequence[RoomDraft],
    storeys: Storeys,
    levels: Mapping[int, float],
    found: tuple[Bodies, Sequence[Opening]],
) -> tuple[list[RoomDraft], list[Finding]]:
    """Rooms between walls: on every storey when the model has no spaces, else on the storeys that have
    doors and no space.
    """
    bodies, openings = found
    with_spaces = {r.storey for r in spaces}
    sills = door_sills(openings, storeys)
    index = {
        storey_id(k): k
        for k in range(len(storeys.storeys))
        if not spaces or (k in sills and k not in with_spaces)
    }
    sheets = levels_to_search({k: storey for storey, k in index.items()}, levels, sills)
    rooms = [
        RoomDraft(
            shape=room.shape,
            storey=index[room.storey],
            low=room.floor,
            high=room.floor + FREE_HEIGHT_MM,
        )
        for room in (free_rooms(sheets, bodies, openings) if sheets else ())
    ]
    if not rooms:
        return [], []
    where = f"{len(rooms)} room(s) were found between the walls"
    names = ", ".join(
        storeys.storeys[k].name or f"storey {k + 1}" for k in sorted({r.storey for r in rooms})
    )
    finding = model.finding(
        "IMP-360",
        Severity.SETTLE,
        f"The model has no spaces (IfcSpace) on {names}; {where} there.",
        remedy="Check the outlines in the picture; have spaces placed in the model for names and sizes.",
    )
    return rooms, [finding]


def _bodiless(model: IfcModel, bodies: Bodies) -> list[Finding]:
    """Things with a shape that the kernel made nothing of."""
    missing = [p for p in bodies.missing if p.id() not in model.watch.skip]
    return grouped(model, _BODILESS, [Case(p, told(p)) for p in missing])


def _empty_storeys(model: IfcModel, storeys: Storeys, used: Sequence[int]) -> list[Finding]:
    names = [s.name or f"storey {k + 1}" for k, s in enumerate(storeys.storeys) if k not in used]
    if not names:
        return []
    return [
        model.finding(
            "IMP-552",
            Severity.NOTE,
            f"No room lies on {len(names)} storey(s): {', '.join(names[:8])}"
            f"{' and more' if len(names) > 8 else ''}. They get no layout.",
            remedy="Where rooms are meant to be there, have spaces placed on them.",
        )
    ]


def _lost(model: IfcModel, lost: Sequence[Lost]) -> list[Finding]:
    """Products that the kernel died of."""
    cases = []
    for product, why in lost:
        try:
            entity = model.file.by_id(product)
        except RuntimeError:  # the number is of no statement
            entity = None
        named = told(entity) if entity is not None else f"#{product}"
        cases.append(Case(entity, f"{named}, over which it {why.rstrip(',')}"))
    return grouped(model, _KILLED, cases)


def _no_rooms(model: IfcModel, bodies: Bodies, openings: Sequence[Opening]) -> PlanError:
    seen = ", ".join(
        f"{len(model.all_of(name))} {word}"
        for name, word in (
            ("IfcBuildingStorey", "storeys"),
            ("IfcSpace", "spaces"),
            ("IfcWall", "walls"),
            ("IfcSlab", "slabs"),
            ("IfcDoor", "doors"),
        )
    )
    return PlanError(
        Finding(
            code="IMP-359",
            severity=Severity.REFUSED,
            what=f"No room was found. Seen: {seen}; {len(bodies.bodies)} bodies and {len(openings)} "
            "openings could be worked out.",
            where=Origin(file=model.name),
            remedy="Have spaces (IfcSpace) placed in the model, or close the walls around the rooms.",
        )
    )
