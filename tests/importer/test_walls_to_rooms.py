"""Rooms from walls: whole plans, drawn and damaged as real ones are."""

from __future__ import annotations

import pytest

from importer.dxf.found import OpeningKind
from tests.importer.floorplans import Cells, grid_plan, recovered, room_areas

HOUSE = Cells(widths=(3000, 4200, 2500), heights=(3600, 2800))


@pytest.mark.parametrize("turn", [0.0, 17.0, 45.0, 90.0, 133.7])
def test_rooms_have_the_clear_sizes_between_the_walls_however_the_house_is_turned(
    turn: float,
) -> None:
    found = recovered(grid_plan(HOUSE, turn_deg=turn, shift=(50_000, -20_000)))
    assert room_areas(found) == pytest.approx(HOUSE.areas(), rel=1e-6)


def test_every_doorway_is_found_with_its_leaf_width_and_thickness() -> None:
    found = recovered(grid_plan(HOUSE, door=880))
    doors = [o for o in found.openings if o.kind is OpeningKind.DOOR]
    assert len(doors) == 7
    assert [o.width_mm for o in doors] == pytest.approx([880] * 7, abs=0.5)
    assert [o.thickness_mm for o in doors] == pytest.approx([100] * 7, abs=0.5)
    assert [len(o.symbols) for o in doors] == [1] * 7


def test_doorways_without_a_leaf_part_rooms_too() -> None:
    found = recovered(grid_plan(HOUSE, leaves=False))
    assert room_areas(found) == pytest.approx(HOUSE.areas(), rel=1e-6)
    assert [o.kind for o in found.openings] == [OpeningKind.GAP] * 7
