"""Openings: what a gap in a wall is, by what is drawn in it."""

from __future__ import annotations

import math

import pytest

from importer.dxf.found import Opening, OpeningKind
from importer.plan import DoorwayKind
from tests.importer.build import Sketch
from tests.importer.floorplans import Cells, grid_plan, recovered, room_areas
from tests.importer.wall_sketches import HOUSE, windows_with_sills


def two_rooms(width: float = 900, wall: float = 100) -> Sketch:
    """Two rooms 4 x 4 m one above the other, a gap in the wall between, from x = 2000 on."""
    sketch = Sketch()
    sketch.box(-300, -300, 4300, 8300 + wall, "A-WALL")
    for y in (0, 4000 + wall):
        sketch.line((0, y), (0, y + 4000), "A-WALL")
        sketch.line((4000, y), (4000, y + 4000), "A-WALL")
    sketch.line((0, 0), (4000, 0), "A-WALL")
    sketch.line((0, 8000 + wall), (4000, 8000 + wall), "A-WALL")
    for y in (4000, 4000 + wall):
        sketch.line((0, y), (2000, y), "A-WALL")
        sketch.line((2000 + width, y), (4000, y), "A-WALL")
    for x in (2000, 2000 + width):
        sketch.line((x, 4000), (x, 4000 + wall), "A-WALL")
    return sketch


def only(sketch: Sketch) -> Opening:
    (opening,) = recovered(sketch).openings
    return opening


def test_every_doorway_is_found_with_its_leaf_width_and_thickness() -> None:
    found = recovered(grid_plan(HOUSE, door=880))
    doors = [o for o in found.openings if o.kind is OpeningKind.DOOR]
    assert len(doors) == 7
    assert [o.width_mm for o in doors] == pytest.approx([880] * 7, abs=0.5)
    assert [o.thickness_mm for o in doors] == pytest.approx([100] * 7, abs=0.5)
    assert [len(o.symbols) for o in doors] == [1] * 7


def test_gap_with_nothing_in_it_is_a_gap() -> None:
    opening = only(two_rooms())
    assert (opening.kind, opening.door_kind) == (OpeningKind.GAP, DoorwayKind.OPENING)
    assert opening.shape.area == pytest.approx(900 * 100, rel=1e-3)
    assert sorted(opening.jamb_line) == [
        pytest.approx((2000, 4050), abs=0.1),
        pytest.approx((2900, 4050), abs=0.1),
    ]


def test_wide_gap_leaves_one_open_room() -> None:
    found = recovered(two_rooms(width=1700))
    assert found.openings == ()
    assert room_areas(found) == pytest.approx([2 * 16e6 + 1700 * 100], rel=1e-6)


def test_threshold_on_the_faces_is_a_line() -> None:
    sketch = two_rooms()
    sketch.line((2000, 4000), (2900, 4000), "THRESHOLD")
    assert only(sketch).kind is OpeningKind.LINE


def test_panels_along_the_wall_part_even_wide_gaps() -> None:
    sketch = two_rooms(width=1700)
    sketch.line((2000, 4030), (2900, 4030), "X")
    sketch.line((2800, 4070), (3700, 4070), "X")
    assert only(sketch).kind is OpeningKind.WINDOW


def test_gridline_running_through_is_no_window() -> None:
    sketch = two_rooms(width=1700)
    sketch.line((-5000, 4050), (9000, 4050), "X")
    assert recovered(sketch).openings == ()


def test_double_door_is_one_opening_with_two_leaves() -> None:
    sketch = two_rooms(width=1600)
    sketch.door((2000, 4000), (2800, 4000), opens=-90)
    sketch.door((3600, 4000), (2800, 4000), opens=90)
    opening = only(sketch)
    assert opening.door_kind is DoorwayKind.DOUBLE
    assert opening.width_mm == pytest.approx(1600, abs=0.5)
    assert len(opening.symbols) == 2


def test_door_with_a_side_light_closes_the_whole_gap() -> None:
    sketch = two_rooms(width=1250)
    sketch.door((2000, 4000), (2900, 4000), opens=-90)
    opening = only(sketch)
    assert opening.kind is OpeningKind.DOOR
    assert opening.width_mm == pytest.approx(1250, abs=0.5)


def test_folding_panels_are_a_folding_door() -> None:
    sketch = two_rooms(width=1700)
    for x, way in ((2000, 1), (3700, -1)):
        peak, end = (x + way * 200, 4400), (x + way * 400, 4060)
        sketch.line((x, 4060), peak, "X")
        sketch.line(peak, end, "X")
    opening = only(sketch)
    assert (opening.kind, opening.door_kind) == (OpeningKind.DOOR, DoorwayKind.FOLDING)


def test_leaf_drawn_open_without_its_swing_is_a_hinged_door() -> None:
    sketch = two_rooms()
    a = math.radians(45)
    sketch.line((2000, 4100), (2000 + 880 * math.cos(a), 4100 + 880 * math.sin(a)), "X")
    opening = only(sketch)
    assert (opening.kind, opening.door_kind) == (OpeningKind.DOOR, DoorwayKind.HINGED)


def test_leaf_whose_threshold_looks_like_a_second_leaf_finds_its_gap() -> None:
    sketch = two_rooms()
    sketch.door((2000, 4000), (2900, 4000), opens=-90)
    sketch.line((2000, 4000), (2900, 4000), "DOORS")
    opening = only(sketch)
    assert opening.kind is OpeningKind.DOOR
    assert len(opening.symbols) == 1


def test_window_spans_the_thickness_of_its_wall() -> None:
    sketch, _ = windows_with_sills()
    found = recovered(sketch)
    windows = [o for o in found.openings if o.kind is OpeningKind.WINDOW]
    assert sorted(round(o.width_mm) for o in windows) == [1800, 2000]
    assert {round(o.thickness_mm) for o in windows} == {300}


def test_openings_through_lining_and_structure_are_one() -> None:
    sketch = Sketch()
    for x0, x1 in ((0, 2000), (2900, 6000)):
        for y in (0, 100, 400):
            sketch.line((x0, y), (x1, y), "A-WALL")
    for x in (2000, 2900):
        sketch.line((x, 0), (x, 400), "A-WALL")
    for y in (-4000, 4400):
        sketch.line((0, y), (6000, y), "A-WALL")
        sketch.line((0, y + 300), (6000, y + 300), "A-WALL")
    for x in (0, 6000):
        sketch.line((x, -4000), (x, 4700), "A-WALL")
    sketch.door((2000, 0), (2900, 0), opens=-90)
    opening = only(sketch)
    assert opening.thickness_mm == pytest.approx(400, abs=1)
    assert opening.kind is OpeningKind.DOOR


def test_door_on_a_wall_drawn_through_lies_in_that_wall() -> None:
    sketch = Sketch()
    sketch.box(0, 0, 8000, 4000, "A-WALL")
    for x in (4000, 4120):
        sketch.line((x, 0), (x, 4000), "A-WALL")
    sketch.door((4000, 1000), (4000, 1900))
    opening = only(sketch)
    assert opening.shape.bounds == pytest.approx((4000, 1000, 4120, 1900), abs=1)


def test_door_in_a_single_line_wall_has_the_width_of_its_gap() -> None:
    sketch = Sketch()
    sketch.box(0, 0, 8000, 4000, "A-WALL")
    sketch.line((4000, 0), (4000, 1000), "A-WALL")
    sketch.line((4000, 1900), (4000, 4000), "A-WALL")
    sketch.door((4000, 1000), (4000, 1900))
    opening = only(sketch)
    assert opening.width_mm == pytest.approx(900, abs=0.5)
    assert opening.thickness_mm < 10


def test_door_between_two_walls_without_nibs_is_closed_by_its_leaf() -> None:
    """A passage as wide as its door: no wall end looks across."""
    sketch = Sketch()
    for y in (0, 100, 1100, 1200):
        sketch.line((0, y), (9000, y), "A-WALL")
    for x in (0, 9000):
        sketch.line((x, 0), (x, 1200), "A-WALL")
    sketch.door((4000, 100), (4000, 1100), opens=90)
    found = recovered(sketch)
    assert len(found.rooms) == 2
    assert found.openings[0].width_mm == pytest.approx(1000, abs=1)


def test_passage_too_small_for_a_room_stays_with_the_room_it_is_open_to() -> None:
    cells = Cells(widths=(4000, 900, 4000), heights=(900, 3000), inner=100, outer=200)
    sketch = grid_plan(cells, leaves=False, door=850)
    small = [a for a in room_areas(recovered(sketch)) if a < 1.2e6]
    assert small == []


def test_closet_needs_no_more_than_a_door() -> None:
    cells = Cells(widths=(4000, 800), heights=(3000,), inner=100, outer=200)
    areas = room_areas(recovered(grid_plan(cells, door=700)))
    assert areas == pytest.approx([800 * 3000, 4000 * 3000])
