"""Floors as statements: coverings with their bodies, quantities, properties and relations.

The same text for IFC2X3, IFC4 and IFC4X3 but for the places named here. In IFC2X3 the space of
`IfcRelCoversSpaces` is called RelatedSpace, later RelatingSpace; it stands at the same place.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from math import ceil, log10, radians
from typing import Final
from uuid import UUID, uuid5

import numpy as np
from numpy.typing import NDArray
from shapely import LinearRing, Polygon

from importer.plan import StoreyId
from layout.writers.ifc.floors import BayFloor, Floors, RoomFloor
from layout.writers.ifc.step import Ref, Statements, Typed, Value, Word

PROPERTIES: Final = "Setout_PlankFloor"
"""Name of our property set; by it coverings are known as ours."""
QUANTITIES: Final = "Qto_CoveringBaseQuantities"
_IDS: Final = UUID("5e700700-0000-5000-8000-0000000000f1")
"""Namespace of the GlobalIds."""
_MM_DIGITS: Final = 3
_EXACT_DIGITS: Final = 12

Matrix = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """Where coverings of a storey hang. `guid` names it, `structure` contains them (None: nothing can),
    `placement` is what they are placed against and `matrix` that in the model's coordinates, file unit.
    """

    guid: str
    structure: Ref | None
    placement: Ref | None
    matrix: Matrix = field(default_factory=lambda: np.eye(4))


@dataclass(frozen=True, slots=True, kw_only=True)
class Surroundings:
    """What of the model the coverings refer to, and its units: mm, mm2 and radians in one of each.
    `owner` is the owner history to name, None where the schema wants none.
    """

    project: str
    context: Ref
    owner: Ref | None
    places: Mapping[StoreyId, Place]
    spaces: Mapping[str, Ref]
    to_mm: float
    area_mm2: float
    angle_rad: float
    has_formulas: bool


def write_coverings(text: Statements, floors: Floors, about: Surroundings) -> int:
    """Add the statements of all floors.

    Args:
        text: where they are added.
        floors: what was laid.
        about: the model.

    Returns:
        How many coverings were written.
    """
    writer = _Writer(text, floors, about)
    for bay in floors.bays:
        writer.bay(bay)
    writer.relations()
    return writer.count


class _Writer:
    def __init__(self, text: Statements, floors: Floors, about: Surroundings) -> None:
        self._text = text
        self._floors = floors
        self._about = about
        self._digits = _MM_DIGITS + max(0, ceil(log10(about.to_mm)))
        self._origin = text.add("IFCCARTESIANPOINT", (0.0, 0.0, 0.0))
        self._upward = text.add("IFCDIRECTION", (0.0, 0.0, 1.0))
        self._axes = text.add("IFCAXIS2PLACEMENT3D", self._origin, None, None)
        self._names: Counter[str] = Counter()
        self._in_storey: dict[StoreyId, list[Ref]] = {}
        self._in_space: dict[str, list[Ref]] = {}
        self.count = 0

    def bay(self, bay: BayFloor) -> None:
        """The coverings of a bay, and what is said of all of them."""
        coverings = [self._covering(bay, floor) for floor in bay.floors]
        if not coverings:
            return
        name = f"{bay.bay} {self._key(bay.floors[0])}"
        properties = self._root("IFCPROPERTYSET", f"properties {name}", PROPERTIES, None)(
            tuple(self._properties(bay))
        )
        self._defines(f"says {name}", coverings, properties)

    def relations(self) -> None:
        """Coverings into their storeys, and onto the spaces that they cover."""
        for storey, coverings in self._in_storey.items():
            place = self._about.places[storey]
            contained = self._root(
                "IFCRELCONTAINEDINSPATIALSTRUCTURE", f"contains {place.guid}", None, None
            )
            contained(tuple(coverings), place.structure)
        for space, coverings in self._in_space.items():
            covers = self._root("IFCRELCOVERSSPACES", f"covers {space}", None, None)
            covers(self._about.spaces[space], tuple(coverings))

    def _key(self, floor: RoomFloor) -> str:
        """What a floor is known by from one run to the next: its space, or its storey and place."""
        if floor.space is not None:
            return floor.space
        x, y = floor.at
        return f"{self._about.places[floor.storey].guid} {x:.0f} {y:.0f}"

    def _root(self, kind: str, name: str, title: str | None, said: str | None) -> _Rest:
        """The beginning of a thing with a GlobalId made from what it is; names repeat in a model only
        where a room is parted, and are numbered then.
        """
        self._names[name] += 1
        named = f"{self._about.project}|{name}|{self._names[name]}"
        return _Rest(self._text, kind, (_guid(named), self._about.owner, title, said))

    def _covering(self, bay: BayFloor, floor: RoomFloor) -> Ref:
        self.count += 1
        place = self._about.places[floor.storey]
        bottom = np.array([*np.floor(_low(floor.parts)), floor.level or 0.0])
        covering = self._root("IFCCOVERING", f"covering {self._key(floor)}", floor.name, None)(
            "Plank floor",
            self._placed(place, bottom / self._about.to_mm),
            self._shape(floor.parts, bottom[:2]),
            bay.bay,
            Word("FLOORING"),
        )
        self._defines_quantities(floor, covering)
        if place.structure is not None:
            self._in_storey.setdefault(floor.storey, []).append(covering)
        if floor.space is not None and floor.space in self._about.spaces:
            self._in_space.setdefault(floor.space, []).append(covering)
        return covering

    # --- place and body -----------------------------------------------------------------------

    def _placed(self, place: Place, at: NDArray[np.float64]) -> Ref:
        """A placement against the storey's whose axes are the model's own."""
        inverse = np.linalg.inv(place.matrix)
        local = inverse @ np.array([*at, 1.0])
        turn = np.round(inverse[:3, :3], _EXACT_DIGITS) + 0.0
        point = self._point(local[:3], self._digits + _MM_DIGITS)
        axis = reference = None
        if not np.array_equal(turn, np.eye(3)):
            axis = self._text.add("IFCDIRECTION", _reals(turn[:, 2]))
            reference = self._text.add("IFCDIRECTION", _reals(turn[:, 0]))
        axes = self._text.add("IFCAXIS2PLACEMENT3D", point, axis, reference)
        return self._text.add("IFCLOCALPLACEMENT", place.placement, axes)

    def _shape(self, parts: Sequence[Polygon], corner: NDArray[np.float64]) -> Ref:
        """Every part of the floor drawn up by the thickness of the plank."""
        depth = self._length(self._floors.thickness)
        solids = tuple(
            self._text.add(
                "IFCEXTRUDEDAREASOLID", self._profile(p, corner), self._axes, self._upward, depth
            )
            for p in parts
        )
        body = self._text.add(
            "IFCSHAPEREPRESENTATION", self._about.context, "Body", "SweptSolid", solids
        )
        return self._text.add("IFCPRODUCTDEFINITIONSHAPE", None, None, (body,))

    def _profile(self, part: Polygon, corner: NDArray[np.float64]) -> Ref:
        outer = self._ring(part.exterior, corner)
        if not part.interiors:
            return self._text.add("IFCARBITRARYCLOSEDPROFILEDEF", Word("AREA"), None, outer)
        inner = tuple(self._ring(r, corner) for r in part.interiors)
        return self._text.add("IFCARBITRARYPROFILEDEFWITHVOIDS", Word("AREA"), None, outer, inner)

    def _ring(self, ring: LinearRing, corner: NDArray[np.float64]) -> Ref:
        local = (np.asarray(ring.coords)[:, :2] - corner) / self._about.to_mm
        points: list[Ref] = []
        last: tuple[float, ...] = ()
        for at in np.round(local[:-1], self._digits):
            if (now := _reals(at)) != last:
                points.append(self._text.add("IFCCARTESIANPOINT", now))
            last = now
        return self._text.add("IFCPOLYLINE", (*points, points[0]))

    def _point(self, at: NDArray[np.float64], digits: int) -> Ref:
        return self._text.add("IFCCARTESIANPOINT", _reals(np.round(at, digits)))

    def _length(self, mm: float) -> float:
        return round(mm / self._about.to_mm, self._digits)

    # --- what is said -------------------------------------------------------------------------

    def _defines_quantities(self, floor: RoomFloor, covering: Ref) -> None:
        """Base quantities: the gross area takes no account of what is cut out (IFC4.3 documentation,
        Qto_CoveringBaseQuantities).
        """
        formula: tuple[Value, ...] = (None,) if self._about.has_formulas else ()
        net = sum(p.area for p in floor.parts)
        gross = sum(Polygon(p.exterior).area for p in floor.parts)
        width = self._length(self._floors.thickness)
        parts = [
            self._text.add("IFCQUANTITYLENGTH", "Width", None, None, width, *formula),
            *(
                self._text.add("IFCQUANTITYAREA", name, None, None, self._area(area), *formula)
                for name, area in (("GrossArea", gross), ("NetArea", net))
            ),
        ]
        held = self._root("IFCELEMENTQUANTITY", f"quantities {self._key(floor)}", QUANTITIES, None)
        self._defines(f"counts {self._key(floor)}", [covering], held(None, tuple(parts)))

    def _area(self, mm2: float) -> float:
        """An area in the model's unit, to nine digits."""
        return float(f"{mm2 / self._about.area_mm2:.9g}")

    def _properties(self, bay: BayFloor) -> list[Ref]:
        """What a bay is laid by. Planks and packs are those of the whole bay, whose coverings share this
        set: they are not to be added up over coverings.
        """
        floors = self._floors
        turn = round(radians(bay.laying_deg) / self._about.angle_rad, 9)
        lengths = {
            "FirstRowWidth": bay.first_row_mm,
            "LastRowWidth": bay.last_row_mm,
            "WallGap": floors.wall_gap,
            "PlankLength": floors.plank_length,
            "PlankWidth": floors.plank_width,
        }
        values = {
            "Bay": Typed("IFCLABEL", bay.name or bay.bay),
            "BayPlanks": Typed("IFCINTEGER", bay.planks),
            "BayPacks": Typed("IFCINTEGER", bay.packs),
            "LayingDirection": Typed("IFCPLANEANGLEMEASURE", turn),
            **{k: Typed("IFCLENGTHMEASURE", self._length(v)) for k, v in lengths.items()},
            "RuleSet": Typed("IFCTEXT", floors.rules),
            "Note": Typed("IFCTEXT", floors.note),
        }
        return [
            self._text.add("IFCPROPERTYSINGLEVALUE", name, None, value, None)
            for name, value in values.items()
        ]

    def _defines(self, name: str, coverings: Sequence[Ref], definition: Ref) -> None:
        relation = self._root("IFCRELDEFINESBYPROPERTIES", name, None, None)
        relation(tuple(coverings), definition)


@dataclass(frozen=True, slots=True)
class _Rest:
    """A rooted thing begun, to be finished with the values of its own class."""

    text: Statements
    kind: str
    head: tuple[Value, ...]

    def __call__(self, *values: Value) -> Ref:
        return self.text.add(self.kind, *self.head, *values)


def _guid(name: str) -> str:
    from ifcopenshell.guid import compress

    return str(compress(uuid5(_IDS, name).hex))


def _low(parts: Sequence[Polygon]) -> NDArray[np.float64]:
    """Lower left corner of all parts."""
    low: NDArray[np.float64] = np.min([p.bounds[:2] for p in parts], axis=0)
    return low


def _reals(values: NDArray[np.float64]) -> tuple[float, ...]:
    return tuple(float(v) + 0.0 for v in values)
