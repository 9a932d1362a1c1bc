"""Fitted units, columns and stairs in rooms that come from spaces."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from shapely import box

from importer.plan import ObstacleKind, Plan
from tests.importer.ifc.models import Building


def kitchen() -> tuple[Building, Any]:
    house = Building()
    storey = house.storey()
    house.space(storey, (0, 0, 4000, 3000), "Kitchen")
    house.space(storey, (0, 3200, 4000, 6200), "Hall")
    return house, storey


def of_kind(plan: Plan, kind: ObstacleKind) -> list[Any]:
    return [o for o in plan.obstacles if o.kind is kind]


def unit(
    house: Building,
    storey: Any,
    at: tuple[float, float, float, float],
    z: float = 0.0,
    **words: Any,
) -> Any:
    made = house.product("IfcFurnishingElement", at, z, 900.0, **words)
    house.put(storey, made)
    return made


@pytest.mark.parametrize(
    "words",
    [
        {"Name": "Base cabinet 600"},
        {"Name": "12345", "ObjectType": "Kitchen unit"},
        {"Name": "Küchenschrank"},
    ],
)
def test_fitted_unit_is_in_the_way(tmp_path: Path, words: dict[str, str]) -> None:
    house, storey = kitchen()
    made = unit(house, storey, (0, 0, 3000, 600), **words)
    plan = house.read(tmp_path)
    (found,) = of_kind(plan, ObstacleKind.FIXED_UNIT)
    assert found.shape.symmetric_difference(box(0, 0, 3000, 600)).area < 1000.0
    assert found.source.guid == made.GlobalId
    assert found.room == next(r.id for r in plan.rooms if r.name == "Kitchen")


def test_words_of_the_type_tell_too(tmp_path: Path) -> None:
    house, storey = kitchen()
    made = unit(house, storey, (0, 0, 3000, 600), Name="0815")
    kind = house.root("IfcFurnitureType", Name="Base cabinet", AssemblyPlace="FACTORY")
    house.join("IfcRelDefinesByType", RelatingType=kind, RelatedObjects=[made])
    assert len(of_kind(house.read(tmp_path), ObstacleKind.FIXED_UNIT)) == 1


def test_unit_that_reaches_into_the_wall_is_cut_to_its_room(tmp_path: Path) -> None:
    house, storey = kitchen()
    unit(house, storey, (-50, -50, 3000, 600), Name="Base cabinet")
    (found,) = of_kind(house.read(tmp_path), ObstacleKind.FIXED_UNIT)
    assert found.shape.symmetric_difference(box(0, 0, 3000, 600)).area < 1000.0


@pytest.mark.parametrize(
    ("at", "z", "name"),
    [
        ((1000.0, 1000.0, 1500.0, 1500.0), 0.0, "Chair"),
        ((0.0, 0.0, 3000.0, 350.0), 1400.0, "Wall cabinet"),
        ((0.0, 0.0, 250.0, 250.0), 0.0, "Base cabinet"),
        ((0.0, 2900.0, 3000.0, 3500.0), 0.0, "Base cabinet"),
        ((0.0, 0.0, 3000.0, 600.0), 3000.0, "Base cabinet"),
    ],
    ids=["loose", "hung", "let in", "mostly elsewhere", "upstairs"],
)
def test_what_is_loose_hung_or_elsewhere_is_not(
    tmp_path: Path, at: tuple[float, float, float, float], z: float, name: str
) -> None:
    house, storey = kitchen()
    unit(house, storey, at, z, Name=name)
    plan = house.read(tmp_path)
    room = next(r.id for r in plan.rooms if r.name == "Kitchen")
    assert [o for o in plan.obstacles if o.room == room] == []


def test_column_in_a_space_is_in_the_way(tmp_path: Path) -> None:
    house, storey = kitchen()
    made = house.product("IfcColumn", (1000, 1000, 1300, 1300), 0.0, 2700.0)
    house.put(storey, made)
    (found,) = of_kind(house.read(tmp_path), ObstacleKind.COLUMN)
    assert found.shape.area == pytest.approx(9e4)
    assert found.source.guid == made.GlobalId
