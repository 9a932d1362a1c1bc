"""Small models for tests: one room as text, to be damaged line by line, and a builder for buildings."""

from __future__ import annotations

import uuid
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, cast

import ifcopenshell
import ifcopenshell.guid

from importer.hints import Hints
from importer.ifc.model import Watch
from importer.ifc.reading import read_model
from importer.plan import Plan

ONE_ROOM = {
    1: "IFCPROJECT('0ZZZZZZZZZZZZZZZZZZZZ0',$,'P',$,$,$,$,(#6),#4)",
    4: "IFCUNITASSIGNMENT((#5))",
    5: "IFCSIUNIT(*,.LENGTHUNIT.,.MILLI.,.METRE.)",
    6: "IFCGEOMETRICREPRESENTATIONCONTEXT($,'Model',3,1.E-05,#7,$)",
    7: "IFCAXIS2PLACEMENT3D(#10,$,$)",
    10: "IFCCARTESIANPOINT((0.,0.,0.))",
    20: "IFCBUILDING('0ZZZZZZZZZZZZZZZZZZZZ1',$,'B',$,$,#23,$,$,.ELEMENT.,$,$,$)",
    21: "IFCBUILDINGSTOREY('0ZZZZZZZZZZZZZZZZZZZZ2',$,'L1',$,$,#24,$,$,.ELEMENT.,3000.)",
    22: "IFCRELAGGREGATES('0ZZZZZZZZZZZZZZZZZZZZ3',$,$,$,#1,(#20))",
    23: "IFCLOCALPLACEMENT($,#7)",
    24: "IFCLOCALPLACEMENT(#23,#25)",
    25: "IFCAXIS2PLACEMENT3D(#26,$,$)",
    26: "IFCCARTESIANPOINT((0.,0.,3000.))",
    27: "IFCRELAGGREGATES('0ZZZZZZZZZZZZZZZZZZZZ5',$,$,$,#20,(#21))",
    28: "IFCRELAGGREGATES('0ZZZZZZZZZZZZZZZZZZZZ6',$,$,$,#21,(#30))",
    30: "IFCSPACE('0ZZZZZZZZZZZZZZZZZZZZ4',$,'101',$,$,#31,#40,'Kitchen',.ELEMENT.,.INTERNAL.,$)",
    31: "IFCLOCALPLACEMENT(#24,#32)",
    32: "IFCAXIS2PLACEMENT3D(#33,$,$)",
    33: "IFCCARTESIANPOINT((0.,0.,0.))",
    40: "IFCPRODUCTDEFINITIONSHAPE($,$,(#41))",
    41: "IFCSHAPEREPRESENTATION(#6,'Body','SweptSolid',(#42))",
    42: "IFCEXTRUDEDAREASOLID(#44,#43,#45,2500.)",
    43: "IFCAXIS2PLACEMENT3D(#10,$,$)",
    44: "IFCRECTANGLEPROFILEDEF(.AREA.,$,$,4000.,3000.)",
    45: "IFCDIRECTION((0.,0.,1.))",
}
"""One room of 4 x 3 m on a storey at 3 m, by statement number."""

FOUR_BY_THREE = "((0.,0.),(4000.,0.),(4000.,3000.),(0.,3000.),(0.,0.))"


def step_text(
    changes: Mapping[int, str | None] | None = None, *, schema: str = "IFC4", tail: str = ""
) -> str:
    """The one room with statements changed, added, or taken out (None)."""
    statements = {**ONE_ROOM, **(changes or {})}
    lines = [f"#{k}={s};" for k, s in statements.items() if s is not None]
    return "\n".join(
        [
            "ISO-10303-21;",
            "HEADER;FILE_DESCRIPTION((''),'2;1');",
            "FILE_NAME('t.ifc','2026-01-01T00:00:00',(''),(''),'','','');",
            f"FILE_SCHEMA(('{schema}'));ENDSEC;",
            "DATA;",
            *lines,
            tail,
            "ENDSEC;",
            "END-ISO-10303-21;",
            "",
        ]
    )


def saved(folder: Path, text: str | bytes, name: str = "t.ifc") -> Path:
    """The text as a file."""
    path = folder / name
    path.write_bytes(text.encode("utf-8") if isinstance(text, str) else text)
    return path


def read_here(path: Path, hints: Hints | None = None) -> Plan:
    """Read a model that kills nobody, in this process: the child costs half a second each time."""
    return read_model(path, hints or Hints(), Watch(), ())


def read_text(folder: Path, changes: Mapping[int, str | None] | None = None, **how: Any) -> Plan:
    """The plan of the one room with changes."""
    return read_here(saved(folder, step_text(changes, **how)))


Box = tuple[float, float, float, float]
"""x0, y0, x1, y1 in mm."""


class Building:
    """A building of boxes, in millimetres, made entity by entity."""

    def __init__(self, schema: str = "IFC4") -> None:
        self.file = ifcopenshell.file(schema=schema)
        self._guids = 0
        make = self.file.create_entity
        self._origin = make("IfcCartesianPoint", (0.0, 0.0, 0.0))
        self._up = make("IfcDirection", (0.0, 0.0, 1.0))
        frame = make("IfcAxis2Placement3D", self._origin)
        self._context = make("IfcGeometricRepresentationContext", None, "Model", 3, 1e-5, frame)
        unit = make("IfcSIUnit", UnitType="LENGTHUNIT", Prefix="MILLI", Name="METRE")
        self.owner = self._owner() if schema == "IFC2X3" else None
        self.project = self.root(
            "IfcProject",
            RepresentationContexts=[self._context],
            UnitsInContext=make("IfcUnitAssignment", [unit]),
        )
        self.building = self.root("IfcBuilding", CompositionType="ELEMENT")
        self.join("IfcRelAggregates", RelatingObject=self.project, RelatedObjects=[self.building])

    def _owner(self) -> Any:
        make = self.file.create_entity
        person = make(
            "IfcPersonAndOrganization", make("IfcPerson"), make("IfcOrganization", Name="o")
        )
        program = make("IfcApplication", person.TheOrganization, "1", "a", "a")
        return make("IfcOwnerHistory", person, program, None, "ADDED", None, None, None, 0)

    def root(self, name: str, **values: Any) -> Any:
        """An entity with a GlobalId of its own."""
        self._guids += 1
        guid = ifcopenshell.guid.compress(uuid.UUID(int=self._guids).hex)
        return self.file.create_entity(name, GlobalId=guid, OwnerHistory=self.owner, **values)

    def join(self, name: str, **values: Any) -> Any:
        """A relation."""
        return self.root(name, **values)

    def storey(self, name: str = "L1", z: float = 0.0) -> Any:
        storey = self.root(
            "IfcBuildingStorey",
            Name=name,
            CompositionType="ELEMENT",
            ObjectPlacement=self.placement((0.0, 0.0, z)),
            Elevation=z,
        )
        self.join("IfcRelAggregates", RelatingObject=self.building, RelatedObjects=[storey])
        return storey

    def placement(
        self, at: tuple[float, float, float], x: tuple[float, float, float] = (1.0, 0.0, 0.0)
    ) -> Any:
        make = self.file.create_entity
        point = make("IfcCartesianPoint", at)
        axis = make("IfcAxis2Placement3D", point, self._up, make("IfcDirection", x))
        return make("IfcLocalPlacement", None, axis)

    def body(self, ring: Sequence[tuple[float, float]], height: float) -> Any:
        """A shape drawn straight up from the placement."""
        make = self.file.create_entity
        points = [make("IfcCartesianPoint", p) for p in (*ring, ring[0])]
        profile = make("IfcArbitraryClosedProfileDef", "AREA", None, make("IfcPolyline", points))
        frame = make("IfcAxis2Placement3D", self._origin)
        solid = make("IfcExtrudedAreaSolid", profile, frame, self._up, height)
        return self.shape("Body", "SweptSolid", [solid])

    def shape(self, identifier: str, kind: str, items: Sequence[Any]) -> Any:
        make = self.file.create_entity
        shown = make("IfcShapeRepresentation", self._context, identifier, kind, items)
        return make("IfcProductDefinitionShape", None, None, [shown])

    def product(
        self,
        name: str,
        box: Box | Sequence[tuple[float, float]],
        z: float,
        height: float,
        **values: Any,
    ) -> Any:
        """A box, or what stands over a ring, placed at its first corner."""
        ring = ring_of(box)
        x, y = ring[0]
        local = [(a - x, b - y) for a, b in ring]
        return self.root(
            name,
            ObjectPlacement=self.placement((x, y, z)),
            Representation=self.body(local, height),
            **values,
        )

    def space(
        self,
        storey: Any,
        box: Box | Sequence[tuple[float, float]],
        name: str,
        *,
        z: float = 0.0,
        height: float = 2500.0,
        **values: Any,
    ) -> Any:
        given = {"CompositionType": "ELEMENT", "LongName": name, **values}
        space = self.product("IfcSpace", box, z, height, **given)
        self.join("IfcRelAggregates", RelatingObject=storey, RelatedObjects=[space])
        return space

    def put(self, storey: Any, *products: Any) -> None:
        """Products contained in a storey."""
        self.join(
            "IfcRelContainedInSpatialStructure",
            RelatingStructure=storey,
            RelatedElements=list(products),
        )

    def wall(self, storey: Any, box: Box, *, z: float = 0.0, height: float = 2700.0) -> Any:
        wall = self.product("IfcWall", box, z, height)
        self.put(storey, wall)
        return wall

    def opening(self, wall: Any, box: Box, *, z: float = 0.0, height: float = 2100.0) -> Any:
        opening = self.product("IfcOpeningElement", box, z, height)
        self.join("IfcRelVoidsElement", RelatingBuildingElement=wall, RelatedOpeningElement=opening)
        return opening

    def door(
        self,
        storey: Any,
        box: Box,
        *,
        fills: Any = None,
        z: float = 0.0,
        name: str = "IfcDoor",
        **values: Any,
    ) -> Any:
        """A door, its width along x, in an opening or in none."""
        given = {"OverallWidth": box[2] - box[0], "OverallHeight": 2100.0, **values}
        if name != "IfcDoor":
            given = values
        door = self.product(name, box, z, 2100.0, **given)
        self.put(storey, door)
        if fills is not None:
            self.join(
                "IfcRelFillsElement", RelatingOpeningElement=fills, RelatedBuildingElement=door
            )
        return door

    def save(self, folder: Path, name: str = "t.ifc") -> Path:
        path = folder / name
        self.file.write(str(path))
        return path

    def read(self, folder: Path) -> Plan:
        """The plan of it."""
        return read_here(self.save(folder))


def ring_of(box: Box | Sequence[tuple[float, float]]) -> list[tuple[float, float]]:
    """Corners of a box, counter-clockwise; a ring as it is."""
    if isinstance(box[0], int | float):
        x0, y0, x1, y1 = cast("Box", box)
        return [(x0, y0), (x1, y0), (x1, y1), (x0, y1)]
    ring = cast("Sequence[tuple[float, float]]", box)
    return [(float(x), float(y)) for x, y in ring]


def two_rooms(schema: str = "IFC4") -> tuple[Building, Any, Any]:
    """Two rooms of 4 x 3 m one above the other on the sheet, a wall of 200 between; storey and wall."""
    house = Building(schema)
    storey = house.storey()
    house.space(storey, (0, 0, 4000, 3000), "South")
    house.space(storey, (0, 3200, 4000, 6200), "North")
    wall = house.wall(storey, (0, 3000, 4000, 3200))
    return house, storey, wall


def codes(plan: Plan) -> list[str]:
    """Codes of the findings."""
    return [f.code for f in plan.findings]


def said(plan: Plan, code: str) -> str:
    """What the findings with a code say, together."""
    return " | ".join(str(f) for f in plan.findings if f.code == code)
