"""Storeys: titles, clusters side by side, levels over each other."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from shapely import Polygon, box

from importer.dxf.assemble import assemble
from importer.dxf.levels import by_level
from importer.dxf.storeys import find_storeys, level_of, storey_titles
from importer.hints import Hints
from importer.plan import UnitReading
from tests.importer.build import Sketch


@pytest.mark.parametrize(
    ("text", "level"),
    [
        ("FIRST FLOOR PLAN", 1),
        ("Grundriss Erdgeschoss", 0),
        ("2. OG", 2),
        ("2. UG", -2),
        ("EG", 0),
        ("R+1", 1),
        ("Plan du rez-de-chaussée", 0),
        ("Planta baja", 0),
        ("Piano primo", 1),
        ("Begane grond", 0),
        ("1e verdieping", 1),
        ("Rzut parteru", 0),
        ("План 1 этажа", 1),
        ("Level 3", 3),
        ("BASEMENT", -1),
        ("KITCHEN", None),
        ("First aid", None),
        ("FLOOR PLAN", None),
        ("2 CAR GARAGE", None),
    ],
)
def test_level_is_read_from_a_title(text: str, level: int | None) -> None:
    assert level_of(text) == level


def house(x: float, y: float = 0.0) -> list[Polygon]:
    return [box(x, y, x + 4000, y + 5000), box(x + 4100, y, x + 9000, y + 5000)]


def test_titled_clusters_are_storeys_from_the_lowest_up() -> None:
    sketch = Sketch()
    sketch.text("First floor", (4000, -1500), 500)
    sketch.text("Ground floor", (24_000, -1500), 500)
    storeys, findings = find_storeys(sketch.build(), house(0) + house(20_000), 200)
    assert [(s.name, s.rooms) for s in storeys] == [
        ("Ground floor", (2, 3)),
        ("First floor", (0, 1)),
    ]
    assert [f.code for f in findings] == ["IMP-520"]


def test_clusters_of_one_shape_are_storeys_without_titles_too_but_to_be_settled() -> None:
    storeys, findings = find_storeys(Sketch().build(), house(0) + house(20_000), 200)
    assert [s.rooms for s in storeys] == [(0, 1), (2, 3)]
    assert findings[0].severity.value == "settle"


def test_house_and_its_garage_are_one_storey() -> None:
    garage = box(20_000, 0, 23_000, 6000)
    storeys, findings = find_storeys(Sketch().build(), [*house(0), garage], 200)
    assert [s.rooms for s in storeys] == [(0, 1, 2)]
    assert findings == []


def test_levels_written_up_a_section_are_no_titles() -> None:
    sketch = Sketch()
    for k, name in enumerate(("MAIN FLOOR", "SECOND FLOOR", "THIRD FLOOR")):
        sketch.text(name, (30_000, 2750.0 * k), 300)
    assert storey_titles(sketch.build(), 200) == []


def test_title_far_from_the_rooms_names_nothing() -> None:
    sketch = Sketch()
    sketch.text("Second floor", (60_000, 0), 500)
    storeys, _ = find_storeys(sketch.build(), house(0), 200)
    assert [s.name for s in storeys] == [None]


def stacked_sketch() -> Sketch:
    sketch = Sketch()
    for _ in range(2):
        sketch.box(0, 0, 4000, 3000, "A-AREA")
        sketch.box(4100, 0, 8000, 3000, "A-AREA")
    return sketch


def test_storeys_over_each_other_are_told_by_their_height() -> None:
    drawing = stacked_sketch().build()
    drawing = replace(drawing, levels=np.array([0.0, 0.0, 2900.0, 2900.0]))
    plan = assemble(drawing, UnitReading(name="mm", to_mm=1.0, because="test"), Hints())
    assert [s.elevation_mm for s in plan.storeys] == [0.0, 2900.0]
    assert [r.storey for r in plan.rooms] == ["S1", "S1", "S2", "S2"]


def test_heights_less_than_a_storey_apart_are_one_storey() -> None:
    drawing = replace(stacked_sketch().build(), levels=np.array([0.0, 0.0, 900.0, 900.0]))
    assert [level.elevation_mm for level in by_level(drawing)] == [None]


def test_flat_drawing_is_not_taken_apart() -> None:
    drawing = stacked_sketch().build()
    assert by_level(drawing)[0].drawing is drawing
