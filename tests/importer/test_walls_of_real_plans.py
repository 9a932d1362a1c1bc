"""Rooms from the walls of real drawings, held against what was found in them by eye."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.bench.rooms_truth import judge, read_walls


@pytest.mark.parametrize(
    ("name", "rooms", "doors"),
    [
        ("house_librecad_wrongunit", 9, 12),
        ("apartment_librecad", 4, 4),
        ("house_imperial_xref", 16, 19),
        ("pavilion_qcad_r2013", 4, 4),
    ],
)
def test_rooms_and_doorways_of_real_plans(
    real_plans: Path, name: str, rooms: int, doors: int
) -> None:
    truth = json.loads((real_plans / "truth.json").read_text(encoding="utf-8"))[name]
    score = judge(read_walls(real_plans / "dxf" / f"{name}.dxf", truth), truth)
    assert (score.right, score.wrong, score.missed) == (rooms, 0, 0), score.misses
    assert score.doors_right >= doors, score.misses


@pytest.mark.parametrize(
    "name", ["door_wipeout_blocks", "elevation_r12_exploded", "plot_outline_solvespace"]
)
def test_drawings_without_a_plan_give_no_rooms(real_plans: Path, name: str) -> None:
    truth = json.loads((real_plans / "truth.json").read_text(encoding="utf-8"))[name]
    assert read_walls(real_plans / "dxf" / f"{name}.dxf", truth).rooms == []
