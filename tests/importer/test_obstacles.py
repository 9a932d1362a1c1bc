"""What stands in a room: columns, shafts, stairs, fixed units; and what does not."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from shapely import box

from importer.dxf.drawing import Ring
from importer.dxf.obstacles import find_obstacles
from importer.hints import Hints
from importer.plan import ObstacleKind
from tests.importer.build import Sketch

ROOM = box(0, 0, 6000, 5000)


def kinds(sketch: Sketch, hints: Hints | None = None) -> list[tuple[str, float]]:
    found = find_obstacles(sketch.build(), [ROOM], hints or Hints())
    return [(o.kind.value, round(o.shape.area / 1e6, 3)) for o in found]


@pytest.mark.parametrize(
    ("layer", "kind"),
    [
        ("A-COLS", "column"),
        ("Stützen", "column"),
        ("SHAFT", "shaft"),
        ("Schacht", "shaft"),
        ("A-FLOR-EVTR", "shaft"),
        ("A-FLOR-CASE", "fixed unit"),
        ("Küche", "fixed unit"),
        ("A-FLOR-STRS", "stair"),
    ],
)
def test_outline_on_a_layer_named_for_it_is_an_obstacle(layer: str, kind: str) -> None:
    sketch = Sketch()
    sketch.box(1000, 1000, 2000, 2000, layer)
    assert kinds(sketch) == [(kind, 1.0)]


@pytest.mark.parametrize("layer", ["A-FURN", "MOEBEL", "A-FLOR-FIXT", "0", "A-ANNO-NOTE"])
def test_furniture_and_marks_are_none(layer: str) -> None:
    sketch = Sketch()
    sketch.box(1000, 1000, 2000, 2000, layer)
    assert kinds(sketch) == []


def test_small_filled_outline_in_a_room_is_a_column_on_any_layer() -> None:
    drawing = Sketch()
    source = drawing.source("HATCH", "X")
    built = drawing.build()
    corners = np.array([(2000, 2000), (2300, 2000), (2300, 2300), (2000, 2300)], dtype=float)

    built = replace(built, rings=(Ring(points=corners, source=source, filled=True),))
    (column,) = find_obstacles(built, [ROOM], Hints())
    assert column.kind is ObstacleKind.COLUMN
    assert column.shape.area == pytest.approx(90_000)


def test_filled_mark_on_a_writing_layer_is_no_column() -> None:
    drawing = Sketch()
    source = drawing.source("HATCH", "A-ANNO-NOTE")
    corners = np.array([(2000, 2000), (2300, 2000), (2300, 2300), (2000, 2300)], dtype=float)
    ring = Ring(points=corners, source=source, filled=True)
    assert find_obstacles(replace(drawing.build(), rings=(ring,)), [ROOM], Hints()) == ()


@pytest.mark.parametrize(("size", "layer"), [(250, "CASEWORK"), (150, "SHAFT"), (500, "STAIRS")])
def test_marks_smaller_than_the_thing_are_none(size: float, layer: str) -> None:
    sketch = Sketch()
    sketch.box(1000, 1000, 1000 + size, 1000 + size, layer)
    assert kinds(sketch) == []


def test_unit_against_the_wall_is_cut_to_the_room() -> None:
    sketch = Sketch()
    sketch.box(-50, 1000, 600, 3000, "CASEWORK")
    assert kinds(sketch) == [("fixed unit", 1.2)]


def test_outline_mostly_outside_the_room_is_not_in_it() -> None:
    sketch = Sketch()
    sketch.box(-900, 1000, 100, 2000, "SHAFT")
    assert kinds(sketch) == []


def test_stair_drawn_as_treads_covers_its_flight() -> None:
    sketch = Sketch()
    for k in range(11):
        sketch.line((1000 + 270 * k, 0), (1000 + 270 * k, 1000), "STAIRS")
    ((kind, area),) = kinds(sketch)
    assert kind == "stair"
    assert area == pytest.approx(2.7, rel=0.1)


def test_outline_within_another_of_the_room_counts_once() -> None:
    sketch = Sketch()
    sketch.box(1000, 1000, 2000, 2000, "SHAFT")
    sketch.box(1100, 1100, 1900, 1900, "SHAFT")
    assert kinds(sketch) == [("shaft", 1.0)]


def test_ignored_layer_holds_no_obstacles() -> None:
    sketch = Sketch()
    sketch.box(1000, 1000, 2000, 2000, "SHAFT")
    assert kinds(sketch, Hints(ignore_layers=("shaft",))) == []
