"""Damaged references: what leads nowhere sensible is taken out, and what is sound is left alone."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import ifcopenshell
import pytest

from importer.hints import Hints
from importer.ifc.model import Watch
from importer.ifc.reading import read_model
from importer.ifc.thorough import drop_wrong_references
from importer.plan import Plan
from tests.importer.ifc.models import ONE_ROOM, Building, said, saved, step_text, two_rooms
from tests.importer.ifc.sample_model import BLOCK


def read_thoroughly(folder: Path, changes: Mapping[int, str | None]) -> Plan:
    path = saved(folder, step_text(changes))
    return read_model(path, Hints(), Watch(thorough=True), ())


WRONG: tuple[dict[int, str | None], ...] = (
    # a second space whose shape is a storey, whose placement is a point, whose name is a number
    {28: ONE_ROOM[28].replace("(#30)", "(#30,#70)"), 70: ONE_ROOM[30].replace("#40", "#21")},
    {28: ONE_ROOM[28].replace("(#30)", "(#30,#70)"), 70: ONE_ROOM[30].replace("#31", "#33")},
    {28: ONE_ROOM[28].replace("(#30)", "(#30,#45)")},
    {40: ONE_ROOM[40].replace("(#41)", "(#41,#24)")},
    {41: ONE_ROOM[41].replace("(#42)", "(#42,#21)")},
    {22: ONE_ROOM[22].replace("#1,", "#6,")},
    {27: ONE_ROOM[27].replace("#20,", "$,")},
    {30: ONE_ROOM[30].replace("'101'", "5.")},
)


@pytest.mark.parametrize("number", range(len(WRONG)))
def test_room_is_read_although_references_beside_it_are_wrong(tmp_path: Path, number: int) -> None:
    plan = read_thoroughly(tmp_path, WRONG[number])
    assert any(r.shape.area == pytest.approx(12e6) for r in plan.rooms)
    assert "damaged" in said(plan, "IMP-149")


@pytest.mark.parametrize("schema", ["IFC2X3", "IFC4", "IFC4X3"])
def test_sound_model_is_left_as_it_is(schema: str) -> None:
    house, storey, wall = two_rooms(schema)
    gap = (1500.0, 3000.0, 2400.0, 3200.0)
    house.door(storey, gap, fills=house.opening(wall, gap))
    before = house.file.to_string()
    dropped = drop_wrong_references(house.file)
    assert (dropped.holders, dropped.relations) == ((), 0)
    assert house.file.to_string() == before


def test_sample_model_has_nothing_to_drop() -> None:
    dropped = drop_wrong_references(ifcopenshell.open(str(BLOCK)))
    assert (dropped.holders, dropped.relations) == ((), 0)


def test_product_of_no_size_that_a_building_has_is_left_out(tmp_path: Path) -> None:
    house = Building()
    storey = house.storey()
    house.space(storey, (0, 0, 4000, 3000), "Kitchen")
    house.wall(storey, (0, -200, 4e11, 0))
    plan = house.read(tmp_path)
    assert [r.name for r in plan.rooms] == ["Kitchen"]
    assert plan.walls == ()
    assert "IfcWall" in said(plan, "IMP-162")
