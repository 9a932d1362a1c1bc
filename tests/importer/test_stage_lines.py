"""Lines on a layer that the user names: read as lines, and no part of the building."""

from __future__ import annotations

from dataclasses import replace

from importer.dxf.assemble import assemble
from importer.dxf.stage_lines import stage_lines
from importer.hints import Hints
from importer.plan import Plan, UnitReading
from tests.importer.build import Sketch

UNITS = UnitReading(name="mm", to_mm=1.0, because="test")


def room(*, drawn: bool) -> Sketch:
    """A room 5 x 4 m as an outline, with a line across it on layer STOP."""
    sketch = Sketch()
    sketch.box(0, 0, 5000, 4000, "A-AREA")
    sketch.text("LIVING", (2000, 1000))
    if drawn:
        sketch.line((0, 2500), (5000, 2500), "STOP")
    return sketch


def plan(sketch: Sketch, layer: str) -> Plan:
    hints = Hints(stage_layers=(layer,), ignore_layers=(layer,)) if layer else Hints()
    return assemble(sketch.build(), UNITS, hints)


def test_line_on_the_layer_is_read_and_leaves_the_room_whole() -> None:
    read = plan(room(drawn=True), "stop")
    (line,) = read.stage_lines
    assert list(line.coords) == [(0, 2500), (5000, 2500)]
    assert [r.shape.area for r in read.rooms] == [
        r.shape.area for r in plan(room(drawn=False), "").rooms
    ]
    assert plan(room(drawn=False), "stop").stage_lines == ()


def test_line_stands_where_the_drawing_has_it_however_far_out_that_is() -> None:
    sketch = Sketch()
    sketch.polyline([(10, 0), (10, 3000), (20, 3000)], "STOP")
    far = replace(sketch.build(), origin=(400_000.0, 5_000_000.0))
    metres = UnitReading(name="m", to_mm=1000.0, because="test")
    (line,) = stage_lines(far, metres, Hints(stage_layers=("ST*",)))
    assert next(iter(line.coords)) == (400_000_010.0, 5_000_000_000.0)
    assert len(line.coords) == 3


def test_no_layer_no_lines() -> None:
    sketch = Sketch()
    sketch.line((0, 0), (1000, 0), "STOP")
    assert stage_lines(sketch.build(), UNITS, Hints()) == ()
