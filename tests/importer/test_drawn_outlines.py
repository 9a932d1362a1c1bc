"""Rooms drawn as outlines: which rings are rooms, and what happens to imperfect ones."""

from __future__ import annotations

import numpy as np
import pytest
from shapely import Polygon, box

from importer.dxf.doors import door_symbols
from importer.dxf.drawn_outlines import Outlined, inner_width, outlined_rooms, repaired
from importer.dxf.labels import room_labels
from importer.hints import Hints
from tests.importer.build import Sketch

NO_HINTS = Hints()


def outlined(sketch: Sketch, hints: Hints = NO_HINTS) -> Outlined:
    drawing = sketch.build()
    return outlined_rooms(drawing, room_labels(drawing, hints), door_symbols(drawing, hints), hints)


def areas(found: Outlined) -> list[float]:
    return [round(r.shape.area / 1e6, 3) for r in found.rooms]


def codes(found: Outlined) -> list[str]:
    return [f.code for f in found.findings]


@pytest.mark.parametrize("layer", ["A-AREA", "plan$0$A-AREA", "Raumpolygone", "ROOMS", "Pièces"])
def test_ring_on_a_room_layer_is_a_room(layer: str) -> None:
    sketch = Sketch()
    sketch.box(0, 0, 4000, 3000, layer)
    assert areas(outlined(sketch)) == [12.0]


def test_hinted_room_layers_alone_count() -> None:
    sketch = Sketch()
    sketch.box(0, 0, 4000, 3000, "X1")
    sketch.box(5000, 0, 9000, 3500, "A-AREA")
    assert areas(outlined(sketch, Hints(room_layers=("x*",)))) == [12.0]


def test_ring_about_a_label_is_a_room_on_any_layer() -> None:
    sketch = Sketch()
    sketch.box(0, 0, 4000, 3000, "LAYER7")
    sketch.box(4100, 0, 5100, 1500, "LAYER7")
    sketch.box(9000, 0, 12000, 3000, "LAYER7")
    sketch.text("Kitchen", (2000, 1500))
    sketch.text("WC", (4600, 750))
    assert areas(outlined(sketch)) == [12.0, 1.5]


def test_table_under_the_label_is_not_the_room() -> None:
    sketch = Sketch()
    sketch.box(0, 0, 4000, 3500)
    sketch.box(1000, 1200, 2600, 2200)
    sketch.text("Dining", (1800, 1700))
    assert areas(outlined(sketch)) == [14.0]


def test_frame_around_a_text_is_not_a_room() -> None:
    sketch = Sketch()
    sketch.box(-1500, -250, 1500, 250)
    sketch.box(-2000, -1000, 3000, 2000)
    sketch.text("Kitchen", (0, 0))
    assert areas(outlined(sketch)) == [15.0]


def test_printed_area_speaks_against_the_wrong_ring() -> None:
    sketch = Sketch()
    sketch.box(0, 0, 10_000, 8000)
    sketch.text("Kitchen", (2000, 1500))
    sketch.text("12,0 m²", (2000, 1150))
    assert areas(outlined(sketch)) == []


def test_building_outline_with_doors_inside_is_no_room() -> None:
    sketch = Sketch()
    sketch.box(0, 0, 10_000, 8000, "OUTLINE")
    sketch.door((4000, 3000), (4900, 3000))
    sketch.text("Kitchen", (2000, 1500))
    assert areas(outlined(sketch)) == []


def test_outline_of_a_flat_that_holds_rooms_is_left_out_and_said() -> None:
    sketch = Sketch()
    sketch.box(0, 0, 8200, 3000, "A-AREA")
    sketch.box(100, 100, 4000, 2900, "A-AREA")
    sketch.box(4100, 100, 8100, 2900, "A-AREA")
    found = outlined(sketch)
    assert areas(found) == [10.92, 11.2]
    assert codes(found) == ["IMP-313"]


def test_small_unlabelled_ring_in_a_room_is_a_hole_and_a_labelled_one_a_room() -> None:
    sketch = Sketch()
    sketch.box(0, 0, 6000, 5000, "A-AREA")
    sketch.box(1000, 1000, 2000, 2000, "A-AREA")
    sketch.box(4000, 3000, 6000, 5000, "A-AREA")
    sketch.text("Living", (3000, 2500))
    sketch.text("Bath", (5000, 4000))
    found = outlined(sketch)
    assert areas(found) == [25.0, 4.0]
    assert len(found.rooms[0].shape.interiors) == 1


def test_outline_drawn_twice_is_used_once() -> None:
    sketch = Sketch()
    sketch.box(0, 0, 4000, 3000, "ROOM")
    sketch.box(5, 5, 3995, 2995, "ROOM")
    found = outlined(sketch)
    assert areas(found) == [12.0]
    assert codes(found) == ["IMP-311"]


def test_overlap_goes_to_the_smaller_room_and_is_said() -> None:
    sketch = Sketch()
    sketch.box(0, 0, 4000, 3000, "ROOM")
    sketch.box(3500, 0, 6000, 3000, "ROOM")
    found = outlined(sketch)
    assert areas(found) == [10.5, 7.5]
    assert codes(found) == ["IMP-312"]


@pytest.mark.parametrize(
    ("points", "area"),
    [
        ([(0, 0), (4000, 3000), (4000, 0), (0, 3000)], 6.0),
        ([(0, 0), (6000, 0), (6000, 3000), (2000, 3000), (2000, -500), (0, -500)], 13.0),
    ],
)
def test_outline_crossing_itself_is_repaired_without_losing_a_lobe_and_said(
    points: list[tuple[float, float]], area: float
) -> None:
    sketch = Sketch()
    sketch.polyline(points, "A-AREA", closed=True)
    found = outlined(sketch)
    assert sum(areas(found)) == pytest.approx(area)
    (finding,) = found.findings
    assert finding.code == "IMP-310"
    assert finding.where.at is not None
    assert finding.where.handle


def test_place_of_the_crossing_is_named() -> None:
    sketch = Sketch()
    sketch.polyline([(0, 0), (4000, 3000), (4000, 0), (0, 3000)], "A-AREA", closed=True)
    (finding,) = outlined(sketch).findings
    assert finding.where.at == pytest.approx((2000, 1500))


@pytest.mark.parametrize("layer", ["FURNITURE", "A-ANNO-TTLB", "TITLEBLOCK", "A-FLOR-PATT"])
def test_rings_of_symbols_and_sheets_are_no_rooms(layer: str) -> None:
    sketch = Sketch()
    sketch.box(0, 0, 4000, 3000, layer)
    sketch.text("Kitchen", (2000, 1500))
    assert areas(outlined(sketch)) == []


def test_wall_body_drawn_closed_on_a_room_layer_is_too_narrow_to_be_a_room() -> None:
    sketch = Sketch()
    sketch.box(0, 0, 9000, 200, "A-AREA")
    assert areas(outlined(sketch)) == []


def test_inner_width_is_that_of_the_largest_circle() -> None:
    assert inner_width(box(0, 0, 5000, 1200)) == pytest.approx(1200, abs=40)


def test_repair_leaves_valid_polygons_only() -> None:
    angle = np.linspace(0, 4 * np.pi, 11)[:-1]
    star = Polygon(np.column_stack([np.cos(angle), np.sin(angle)]) * 3000)
    parts = repaired(star)
    assert parts
    assert all(p.is_valid for p in parts)
