"""Flats by zones, properties and numbers; the flooring and the use that a model names."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from importer.plan import Plan
from tests.importer.ifc.models import Building, codes, said


def stack(schema: str = "IFC4") -> tuple[Building, dict[str, Any]]:
    """Two flats of two rooms each on either side of a corridor, all joined by doors."""
    house = Building(schema)
    storey = house.storey()
    spaces: dict[str, Any] = {
        "corridor": house.space(storey, (4200, 0, 6000, 6200), "Corridor", Name="0.1")
    }
    for flat, x in (("1", 0.0), ("2", 6200.0)):
        spaces[f"kitchen {flat}"] = house.space(
            storey, (x, 0, x + 4000, 3000), "Kitchen", Name=f"{flat}.1"
        )
        spaces[f"bath {flat}"] = house.space(
            storey, (x, 3200, x + 4000, 6200), "Bath", Name=f"{flat}.2"
        )
        inner = house.wall(storey, (x, 3000, x + 4000, 3200))
        gap = (x + 1500, 3000.0, x + 2400, 3200.0)
        house.door(storey, gap, fills=house.opening(inner, gap))
    for x in (4000.0, 6000.0):
        wall = house.wall(storey, (x, 0, x + 200, 6200))
        house.opening(wall, (x, 1000.0, x + 200, 1900.0))
    return house, spaces


def of_flats(plan: Plan) -> dict[str, set[str]]:
    name = {f.id: f.name for f in plan.flats}
    found: dict[str, set[str]] = {f.name: set() for f in plan.flats}
    for room in plan.rooms:
        if room.flat is not None:
            found[name[room.flat]].add(room.number or "")
    return found


BOTH = {"Flat 1": {"1.1", "1.2"}, "Flat 2": {"2.1", "2.2"}}


@pytest.mark.parametrize("kind", ["IfcZone", "IfcSpatialZone"])
def test_zones_that_are_called_flats_are_flats(tmp_path: Path, kind: str) -> None:
    house, spaces = stack()
    for flat in ("1", "2"):
        zone = house.root(kind, Name=f"Flat {flat}")
        members = [spaces[f"kitchen {flat}"], spaces[f"bath {flat}"]]
        if kind == "IfcZone":
            house.join("IfcRelAssignsToGroup", RelatedObjects=members, RelatingGroup=zone)
        else:
            house.join(
                "IfcRelReferencedInSpatialStructure",
                RelatedElements=members,
                RelatingStructure=zone,
            )
    plan = house.read(tmp_path)
    assert of_flats(plan) == BOTH
    assert [r.communal for r in plan.rooms if r.name == "Corridor"] == [True]
    assert "zones" in said(plan, "IMP-560")


def test_zones_across_the_flats_are_none(tmp_path: Path) -> None:
    house, spaces = stack()
    for use in ("kitchen", "bath"):
        zone = house.root("IfcZone", Name=f"Heating {use}")
        members = [spaces[f"{use} 1"], spaces[f"{use} 2"]]
        house.join("IfcRelAssignsToGroup", RelatedObjects=members, RelatingGroup=zone)
    plan = house.read(tmp_path)
    assert not any("Heating" in f.name for f in plan.flats)


def test_property_of_the_spaces_tells_the_flat(tmp_path: Path) -> None:
    house, spaces = stack()
    for key, space in spaces.items():
        if key == "corridor":
            continue
        value = house.file.create_entity("IfcLabel", f"Flat {key[-1]}")
        single = house.file.create_entity("IfcPropertySingleValue", "Apartment", None, value, None)
        own = house.root("IfcPropertySet", Name="Rooms", HasProperties=[single])
        house.join(
            "IfcRelDefinesByProperties", RelatedObjects=[space], RelatingPropertyDefinition=own
        )
    assert of_flats(house.read(tmp_path)) == BOTH


def test_house_without_any_of_these_has_no_flats(tmp_path: Path) -> None:
    house = Building()
    storey = house.storey()
    house.space(storey, (0, 0, 4000, 3000), "Kitchen")
    plan = house.read(tmp_path)
    assert plan.flats == ()
    assert not any(r.communal for r in plan.rooms)


def test_flooring_and_use_that_a_model_names_go_with_the_room(tmp_path: Path) -> None:
    house = Building()
    storey = house.storey()
    space = house.space(storey, (0, 0, 4000, 3000), "Bath", Name="101", ObjectType="Wet room")
    other = house.space(storey, (0, 3200, 4000, 6200), "Hall", Name="102")
    tiles = house.root("IfcCovering", Name="Tiles 300 x 300", PredefinedType="FLOORING")
    oak = house.root("IfcCovering", Name="Oak planks", PredefinedType="FLOORING")
    for where, what in ((space, tiles), (other, oak)):
        house.join("IfcRelCoversSpaces", RelatingSpace=where, RelatedCoverings=[what])
    reference = house.file.create_entity("IfcClassificationReference", None, "SL_35_80_08", "Baths")
    house.join(
        "IfcRelAssociatesClassification", RelatedObjects=[space], RelatingClassification=reference
    )
    plan = house.read(tmp_path)
    bath = next(r for r in plan.rooms if r.name == "Bath")
    assert bath.finish_hint == "Tiles 300 x 300"
    assert {"Wet room", "SL_35_80_08", "Baths"} <= set(bath.also_called)
    assert "Tiles 300 x 300 in 101 Bath" in said(plan, "IMP-362")
    assert "Oak planks in 102 Hall" in said(plan, "IMP-363")


@pytest.mark.parametrize("value", ["FloorCovering", "floor finish", ""])
def test_name_of_an_unfilled_field_is_no_flooring(tmp_path: Path, value: str) -> None:
    house = Building()
    storey = house.storey()
    space = house.space(storey, (0, 0, 4000, 3000), "Hall")
    label = house.file.create_entity("IfcLabel", value)
    single = house.file.create_entity("IfcPropertySingleValue", "FloorCovering", None, label, None)
    own = house.root(
        "IfcPropertySet", Name="Pset_SpaceCoveringRequirements", HasProperties=[single]
    )
    house.join("IfcRelDefinesByProperties", RelatedObjects=[space], RelatingPropertyDefinition=own)
    plan = house.read(tmp_path)
    assert plan.rooms[0].finish_hint is None
    assert "IMP-362" not in codes(plan)
