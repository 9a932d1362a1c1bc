"""Building a model with ifcopenshell: a project with its storeys, and solids in their places.

Lengths are millimetres. Identifiers are made from what a thing is and when it was made, and there is
no clock and no name of a library's version in the file, so that it comes out the same every time.
"""

from __future__ import annotations

import uuid
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from math import cos, radians, sin
from typing import Any, Final

import ifcopenshell
import ifcopenshell.api.aggregate
import ifcopenshell.api.context
import ifcopenshell.api.feature
import ifcopenshell.api.group
import ifcopenshell.api.root
import ifcopenshell.api.spatial
import ifcopenshell.api.unit
import ifcopenshell.guid
from shapely import Polygon

from sample_plans.building import Point

Entity = Any
"""An instance of a model; its attributes are those of its class in the schema."""
Point3 = tuple[float, float, float]

DATE: Final = "2024-03-11T09:00:00"
_IDS: Final = uuid.UUID("5e700700-0000-5000-8000-000000000007")
"""Namespace of the identifiers."""


def number(value: float) -> float:
    """A coordinate as it is written: to a millionth, and never minus nought."""
    return round(float(value), 6) + 0.0


@contextmanager
def unplaced(things: Sequence[Entity]) -> Iterator[None]:
    """Relating things, the library places them anew; inside they have no place that it could change."""
    places = [thing.ObjectPlacement for thing in things]
    for thing in things:
        thing.ObjectPlacement = None
    yield
    for thing, place in zip(things, places, strict=True):
        thing.ObjectPlacement = place


class Model:
    """An IFC4 model in millimetres with one building."""

    def __init__(self, name: str) -> None:
        self.file = ifcopenshell.file(schema="IFC4")
        self.project = self.made("IfcProject", name)
        units = [
            ifcopenshell.api.unit.add_si_unit(self.file, unit_type=kind, prefix=prefix)
            for kind, prefix in (
                ("LENGTHUNIT", "MILLI"),
                ("AREAUNIT", None),
                ("PLANEANGLEUNIT", None),
            )
        ]
        ifcopenshell.api.unit.assign_unit(self.file, units=units)
        whole = ifcopenshell.api.context.add_context(self.file, context_type="Model")
        self.body = ifcopenshell.api.context.add_context(
            self.file,
            context_type="Model",
            context_identifier="Body",
            target_view="MODEL_VIEW",
            parent=whole,
        )
        self.site = self.made("IfcSite", "Site")
        self.building = self.made("IfcBuilding", name)
        for part, above in ((self.site, self.project), (self.building, self.site)):
            ifcopenshell.api.aggregate.assign_object(self.file, [part], above)
        self.site.ObjectPlacement = self.placed(None)
        self.building.ObjectPlacement = self.placed(self.site)

    def made(self, kind: str, name: str, **more: object) -> Entity:
        """A named thing of an IFC class."""
        thing = ifcopenshell.api.root.create_entity(self.file, ifc_class=kind, name=name)
        for key, value in more.items():
            setattr(thing, key, value)
        return thing

    def storey(self, name: str, elevation: float) -> Entity:
        """A storey at its elevation."""
        storey = self.made("IfcBuildingStorey", name, Elevation=number(elevation))
        ifcopenshell.api.aggregate.assign_object(self.file, [storey], self.building)
        storey.ObjectPlacement = self.placed(self.building, (0.0, 0.0, elevation))
        return storey

    # --- places and shapes -------------------------------------------------------------------

    def placed(
        self, above: Entity | None, at: Point3 = (0.0, 0.0, 0.0), turn: float = 0.0
    ) -> Entity:
        """A place against that of another thing, turned by degrees about the vertical."""
        f = self.file
        along = None
        if turn:
            along = self._direction((cos(radians(turn)), sin(radians(turn)), 0.0))
        axes = f.createIfcAxis2Placement3D(
            self._point(at), self._direction((0.0, 0.0, 1.0)) if along else None, along
        )
        return f.createIfcLocalPlacement(above.ObjectPlacement if above else None, axes)

    def _point(self, at: Sequence[float]) -> Entity:
        return self.file.createIfcCartesianPoint([number(v) for v in at])

    def _direction(self, towards: Sequence[float]) -> Entity:
        return self.file.createIfcDirection([number(v) for v in towards])

    def _line(self, ring: Sequence[tuple[float, ...]]) -> Entity:
        points = [self._point(p) for p in ring]
        return self.file.createIfcPolyline([*points, points[0]])

    def prism(self, plan: Polygon, height: float, base: float = 0.0) -> Entity:
        """A plan with its holes drawn up from `base`."""
        f = self.file
        outer = self._line(list(plan.exterior.coords)[:-1])
        if plan.interiors:
            inner = [self._line(list(r.coords)[:-1]) for r in plan.interiors]
            profile = f.createIfcArbitraryProfileDefWithVoids("AREA", None, outer, inner)
        else:
            profile = f.createIfcArbitraryClosedProfileDef("AREA", None, outer)
        axes = f.createIfcAxis2Placement3D(self._point((0.0, 0.0, base)), None, None)
        up = self._direction((0.0, 0.0, 1.0))
        return f.createIfcExtrudedAreaSolid(profile, axes, up, number(height))

    def upright(self, profile: Sequence[Point], width: float, at: Point3) -> Entity:
        """A profile in y and z, drawn `width` along x from `at`."""
        f = self.file
        plane = f.createIfcArbitraryClosedProfileDef("AREA", None, self._line(profile))
        axes = f.createIfcAxis2Placement3D(
            self._point(at), self._direction((1.0, 0.0, 0.0)), self._direction((0.0, 1.0, 0.0))
        )
        up = self._direction((0.0, 0.0, 1.0))
        return f.createIfcExtrudedAreaSolid(plane, axes, up, number(width))

    def shaped(self, thing: Entity, solids: Sequence[Entity]) -> None:
        """Give a thing its body."""
        thing.Representation = self.file.createIfcProductDefinitionShape(
            None, None, [self._representation(solids, "SweptSolid")]
        )

    def mould(self, solids: Sequence[Entity]) -> Entity:
        """A body that many things share."""
        f = self.file
        origin = f.createIfcAxis2Placement3D(self._point((0.0, 0.0, 0.0)), None, None)
        return f.createIfcRepresentationMap(origin, self._representation(solids, "SweptSolid"))

    def cast(self, thing: Entity, mould: Entity) -> None:
        """Give a thing a shared body."""
        f = self.file
        target = f.createIfcCartesianTransformationOperator3D(
            None, None, self._point((0.0, 0.0, 0.0)), None, None
        )
        item = f.createIfcMappedItem(mould, target)
        thing.Representation = f.createIfcProductDefinitionShape(
            None, None, [self._representation([item], "MappedRepresentation")]
        )

    def _representation(self, items: Sequence[Entity], kind: str) -> Entity:
        return self.file.createIfcShapeRepresentation(self.body, "Body", kind, list(items))

    # --- relations and figures ---------------------------------------------------------------

    def void(self, wall: Entity, opening: Entity, filling: Entity | None) -> None:
        """Cut an opening into a wall, and hang a door or window in it."""
        with unplaced([opening] if filling is None else [opening, filling]):
            ifcopenshell.api.feature.add_feature(self.file, opening, wall)
            if filling is not None:
                ifcopenshell.api.feature.add_filling(self.file, opening, filling)

    def held(self, storey: Entity, things: Sequence[Entity]) -> None:
        """Put things into a storey."""
        with unplaced(things):
            ifcopenshell.api.spatial.assign_container(self.file, list(things), storey)

    def parts(self, whole: Entity, parts: Sequence[Entity]) -> None:
        """Make parts of a whole, a storey's rooms or a stair's flights."""
        with unplaced(parts):
            ifcopenshell.api.aggregate.assign_object(self.file, list(parts), whole)

    def group(self, group: Entity, things: Sequence[Entity]) -> None:
        """Put things into a group such as a zone."""
        ifcopenshell.api.group.assign_group(self.file, list(things), group)

    def quantities(
        self, thing: Entity, name: str, areas: dict[str, float], **lengths: float
    ) -> None:
        """A set of base quantities: areas in m2, lengths in mm."""
        f = self.file
        parts = [f.createIfcQuantityLength(k, None, None, number(v)) for k, v in lengths.items()]
        parts += [f.createIfcQuantityArea(k, None, None, number(v)) for k, v in areas.items()]
        held = self.made("IfcElementQuantity", name, Quantities=parts)
        self.made(
            "IfcRelDefinesByProperties", "", RelatedObjects=[thing]
        ).RelatingPropertyDefinition = held

    # --- the file ----------------------------------------------------------------------------

    def text(self) -> str:
        """The model as it is written."""
        for place, thing in enumerate(self.file.by_type("IfcRoot")):
            own = uuid.uuid5(_IDS, f"{place} {thing.is_a()}")
            thing.GlobalId = ifcopenshell.guid.compress(own.hex)
            if thing.is_a("IfcRelationship"):
                thing.Name = None
                _put_in_order(thing, "RelatedObjects", "RelatedElements")
        for units in self.file.by_type("IfcUnitAssignment"):
            _put_in_order(units, "Units")
        header: Any = self.file.header
        header.file_description.description = ("ViewDefinition [ReferenceView_V1.2]",)
        name = header.file_name
        name.name, name.time_stamp = "block.ifc", DATE
        name.author, name.organization = ("",), ("",)
        name.preprocessor_version = name.originating_system = "setout sample plans"
        name.authorization = ""
        return str(self.file.to_string())


def _put_in_order(thing: Entity, *names: str) -> None:
    """The library collects what it relates in sets: write it in the order it was made."""
    for name in names:
        related = getattr(thing, name, None)
        if isinstance(related, tuple):
            setattr(thing, name, sorted(related, key=lambda e: e.id()))
