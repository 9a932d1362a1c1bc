"""block.ifc: the block as a model of three storeys, millimetres. Every storey is that of
block_storey.dxf: the same rooms, doors, windows, columns, fitted units. Each flat is a zone.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import atan2, cos, degrees, sin, tau
from typing import Final

import shapely
from shapely import Polygon, affinity

from sample_plans import block_storey
from sample_plans.building import Building, Leaf, Opening, Point, Space, Thing, polygons_of, tidy
from sample_plans.furniture import LIBRARY
from sample_plans.ifc_kit import Entity, Model
from sample_plans.wall_parts import single_walls

STOREYS: Final = 3
RISE: Final = 2900.0
SLAB: Final = 300.0
CLEAR: Final = RISE - SLAB
DOOR: Final = 2100.0
SILL: Final = 900.0
PANE: Final = 80.0
LEAF: Final = 40.0
GOING: Final = 260.0
FLIGHTS: Final = ((-3000.0, False), (-1600.0, True))
"""West edge of each flight, and whether it comes back."""
FLIGHT_FOOT: Final = 3500.0
FLIGHT_WIDE: Final = 1200.0
STEPS: Final = 8
FLATS_A_STOREY: Final = 4

_OPERATIONS: Final[Mapping[Leaf, str]] = {
    Leaf.DOUBLE: "DOUBLE_DOOR_SINGLE_SWING",
    Leaf.SLIDING: "SLIDING_TO_RIGHT",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class _Ware:
    """A thing of the furniture library as a product: class, kind, name, height."""

    ifc: str
    kind: str
    name: str
    height: float
    casework: bool = False


_WARES: Final[Mapping[str, _Ware]] = {
    "BATH": _Ware(ifc="IfcSanitaryTerminal", kind="BATH", name="Bath", height=560),
    "WC": _Ware(ifc="IfcSanitaryTerminal", kind="TOILETPAN", name="WC", height=400),
    "BASIN": _Ware(ifc="IfcSanitaryTerminal", kind="WASHHANDBASIN", name="Basin", height=850),
    "HOB": _Ware(ifc="IfcFurniture", kind="", name="Hob unit", height=900, casework=True),
    "UNIT": _Ware(ifc="IfcFurniture", kind="", name="Base unit", height=900, casework=True),
    "SINK": _Ware(ifc="IfcFurniture", kind="", name="Sink unit", height=900, casework=True),
    "TALL": _Ware(ifc="IfcFurniture", kind="", name="Tall unit", height=2100, casework=True),
    "WARDROBE": _Ware(ifc="IfcFurniture", kind="", name="Wardrobe", height=2300, casework=True),
    "SOFA": _Ware(ifc="IfcFurniture", kind="SOFA", name="Sofa", height=800),
    "TABLE-LOW": _Ware(ifc="IfcFurniture", kind="TABLE", name="Low table", height=420),
    "TABLE-4": _Ware(ifc="IfcFurniture", kind="TABLE", name="Table for four", height=740),
    "BED-DOUBLE": _Ware(ifc="IfcFurniture", kind="BED", name="Double bed", height=500),
    "BED-SINGLE": _Ware(ifc="IfcFurniture", kind="BED", name="Single bed", height=500),
    "DESK": _Ware(ifc="IfcFurniture", kind="DESK", name="Desk", height=740),
}

Moulds = Mapping[tuple[str, int], Entity]
"""Shared bodies by block and hand."""


def draw() -> str:
    """The model as text."""
    model = Model("Plan house 7")
    moulds = {
        (name, hand): _mould(model, name, hand) for name in sorted(_WARES) for hand in (1, -1)
    }
    plan = block_storey.building()
    for level in range(STOREYS):
        _storey(model, plan, level, moulds)
    return model.text()


def _storey(model: Model, plan: Building, level: int, moulds: Moulds) -> None:
    storey = model.storey(f"Storey {level}", level * RISE)
    things = [_slab(model, plan, storey, level)]
    things += _walls(model, plan, storey)
    for place, ring in enumerate(plan.columns, 1):
        things.append(_solid(model, "IfcColumn", f"Column {place}", storey, Polygon(ring)))
    if level < STOREYS - 1:
        things.append(_stair(model, storey))
    things += [_thing(model, thing, storey, moulds) for thing in plan.things]
    model.held(storey, things)
    _spaces(model, plan, storey, level)


# --- the shell -------------------------------------------------------------------------------


def _solid(
    model: Model, kind: str, name: str, storey: Entity, plan: Polygon, height: float = CLEAR
) -> Entity:
    """A plan drawn up from the floor."""
    thing = model.made(kind, name)
    thing.ObjectPlacement = model.placed(storey)
    model.shaped(thing, [model.prism(plan, height)])
    return thing


def _slab(model: Model, plan: Building, storey: Entity, level: int) -> Entity:
    """The floor: open at the shafts, and above the ground at the flights."""
    voids = [Polygon(ring) for ring in plan.shafts]
    if level:
        foot, head = FLIGHT_FOOT, FLIGHT_FOOT + STEPS * GOING
        voids.append(Polygon([(-3000, foot), (-400, foot), (-400, head), (-3000, head)]))
    (shape,) = polygons_of(plan.footprint.difference(shapely.union_all(voids)))
    slab = model.made("IfcSlab", "Floor", PredefinedType="FLOOR")
    slab.ObjectPlacement = model.placed(storey)
    model.shaped(slab, [model.prism(tidy(shape), SLAB, base=-SLAB)])
    return slab


def _walls(model: Model, plan: Building, storey: Entity) -> list[Entity]:
    """The walls, and the doors and windows that hang in them."""
    parts = single_walls(plan)
    walls = [_solid(model, "IfcWall", f"Wall {w.thickness:.0f}", storey, w.shape) for w in parts]
    shapes = shapely.STRtree([w.shape for w in parts])
    fillings = []
    for doors, openings in ((True, plan.doors), (False, plan.windows)):
        for opening in openings:
            middle = ((opening.a[0] + opening.b[0]) / 2, (opening.a[1] + opening.b[1]) / 2)
            (host,) = shapes.query(shapely.Point(middle), predicate="within").tolist()
            filling = _opening(model, walls[host], storey, opening, is_door=doors)
            fillings += [filling] if filling is not None else []
    return walls + fillings


def _opening(
    model: Model, wall: Entity, storey: Entity, opening: Opening, *, is_door: bool
) -> Entity | None:
    """The gap in the wall, its x along the wall and its y to the side that the leaf opens to."""
    a, b = (opening.a, opening.b) if opening.side > 0 else (opening.b, opening.a)
    turn = degrees(atan2(b[1] - a[1], b[0] - a[0]))
    half, sill = opening.thickness / 2, 0.0 if is_door else SILL
    gap = model.made("IfcOpeningElement", "Opening", PredefinedType="OPENING")
    gap.ObjectPlacement = model.placed(storey, (*a, sill), turn)
    height = DOOR if is_door else CLEAR - SILL - 400.0
    model.shaped(gap, [model.prism(_box(0.0, -half, opening.width, half), height)])
    filling = None
    if not is_door:
        filling = model.made("IfcWindow", f"Window {opening.width:.0f}")
        body = _box(0.0, -PANE / 2, opening.width, PANE / 2)
    elif opening.leaf is not Leaf.OPENING:
        hand = "SINGLE_SWING_LEFT" if opening.side > 0 else "SINGLE_SWING_RIGHT"
        filling = model.made("IfcDoor", f"Door {opening.width:.0f}", PredefinedType="DOOR")
        filling.OperationType = _OPERATIONS.get(opening.leaf, hand)
        face = LEAF / 2 if opening.leaf is Leaf.SLIDING else half
        body = _box(0.0, face - LEAF, opening.width, face)
    if filling is not None:
        filling.ObjectPlacement = model.placed(gap)
        filling.OverallWidth, filling.OverallHeight = opening.width, height
        model.shaped(filling, [model.prism(body, height)])
    model.void(wall, gap, filling)
    return filling


def _box(x0: float, y0: float, x1: float, y1: float) -> Polygon:
    return Polygon([(x0, y0), (x1, y0), (x1, y1), (x0, y1)])


def _stair(model: Model, storey: Entity) -> Entity:
    """Two flights of eight goings and a landing between them."""
    stair = model.made("IfcStair", "Stair", PredefinedType="HALF_TURN_STAIR")
    stair.ObjectPlacement = model.placed(storey)
    riser = RISE / 2 / (STEPS + 1)
    parts = []
    for west, back in FLIGHTS:
        profile: list[Point] = [(0.0, 0.0)]
        for k in range(STEPS):
            profile += [(GOING * k, riser * (k + 1)), (GOING * (k + 1), riser * (k + 1))]
        run = STEPS * GOING
        profile += [(run, riser * STEPS - 200.0), (250.0, 0.0)]
        if back:
            profile = [(run - y, z + RISE / 2) for y, z in profile[::-1]]
        flight = model.made("IfcStairFlight", "Flight", PredefinedType="STRAIGHT")
        flight.ObjectPlacement = model.placed(stair)
        model.shaped(flight, [model.upright(profile, FLIGHT_WIDE, (west, FLIGHT_FOOT, 0.0))])
        parts.append(flight)
    landing = model.made("IfcSlab", "Landing", PredefinedType="LANDING")
    landing.ObjectPlacement = model.placed(stair)
    shape = _box(-3000.0, FLIGHT_FOOT + STEPS * GOING, -400.0, 6800.0)
    model.shaped(landing, [model.prism(shape, 200.0, base=RISE / 2 - 200.0)])
    model.parts(stair, [*parts, landing])
    return stair


# --- rooms and what stands in them -----------------------------------------------------------


def _spaces(model: Model, plan: Building, storey: Entity, level: int) -> None:
    """Rooms of the storey, and a zone for each flat."""
    columns = shapely.union_all([Polygon(ring) for ring in plan.columns])
    flats: dict[str, list[Entity]] = {}
    spaces = []
    for room in plan.spaces:
        space = model.made("IfcSpace", _number(room, level), LongName=room.name)
        space.CompositionType, space.PredefinedType = "ELEMENT", "INTERNAL"
        space.ObjectPlacement = model.placed(storey)
        model.shaped(space, [model.prism(tidy(room.shape), CLEAR)])
        gross = room.shape.area
        areas = {
            "GrossFloorArea": gross / 1e6,
            "NetFloorArea": (gross - room.shape.intersection(columns).area) / 1e6,
        }
        model.quantities(space, "Qto_SpaceBaseQuantities", areas, Height=CLEAR)
        spaces.append(space)
        if room.flat:
            flats.setdefault(_flat(room.flat, level), []).append(space)
    model.parts(storey, spaces)
    for name in sorted(flats):
        zone = model.made("IfcZone", name, ObjectType="Flat")
        model.group(zone, flats[name])


def _flat(name: str, level: int) -> str:
    """`Flat 3` of the drawn storey is `Flat 7` one storey up."""
    return f"Flat {int(name.rsplit(maxsplit=1)[-1]) + FLATS_A_STOREY * level}"


def _number(room: Space, level: int) -> str:
    """Room number: the flat's or the storey's, then the room's own."""
    head, _, tail = room.number.partition(".")
    return f"{int(head) + FLATS_A_STOREY * level if room.flat else level}.{tail}"


class _Outlines:
    """The outer outlines that a thing of the furniture library is drawn with."""

    def __init__(self) -> None:
        self.shapes: list[Polygon] = []

    def rect(self, x0: float, y0: float, x1: float, y1: float) -> None:
        """A box."""
        self._add(_box(x0, y0, x1, y1))

    def line(self, a: Point, b: Point) -> None:
        """A line has no body."""

    def circle(self, x: float, y: float, radius: float) -> None:
        """A drum."""
        self.oval(x, y, radius, radius)

    def oval(self, x: float, y: float, half_x: float, half_y: float) -> None:
        """An oval drum of 24 sides."""
        turns = [tau * k / 24 for k in range(24)]
        self._add(Polygon([(x + half_x * cos(t), y + half_y * sin(t)) for t in turns]))

    def _add(self, shape: Polygon) -> None:
        if not any(s.buffer(1.0).contains(shape) for s in self.shapes):
            self.shapes.append(shape)


def _mould(model: Model, name: str, hand: int) -> Entity:
    """The body of a thing, mirrored about its back when it is of the other hand."""
    outlines = _Outlines()
    LIBRARY[name](outlines)
    shapes = [tidy(affinity.scale(s, 1.0, hand, origin=(0.0, 0.0))) for s in outlines.shapes]
    return model.mould([model.prism(s, _WARES[name].height) for s in shapes])


def _thing(model: Model, thing: Thing, storey: Entity, moulds: Moulds) -> Entity:
    ware = _WARES[thing.block]
    product = model.made(ware.ifc, ware.name)
    product.PredefinedType = ware.kind or "USERDEFINED"
    if ware.casework:
        product.ObjectType = "Casework"
    hand = thing.place.hand
    turn = thing.place.turn(hand * thing.angle, (1.0, 0.0))
    product.ObjectPlacement = model.placed(storey, (*thing.place.point(thing.at), 0.0), turn)
    model.cast(product, moulds[thing.block, hand])
    return product


def rooms_of(level: int) -> Sequence[tuple[str, Space]]:
    """Number in the model of every room of a storey."""
    return [(_number(s, level), s) for s in block_storey.building().spaces]
