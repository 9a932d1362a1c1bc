"""Door symbols: what makes an arc a door, and which of its ends is the closed one."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from importer.dxf.doors import door_inserts, door_symbols
from importer.dxf.found import DoorSymbol
from importer.hints import Hints
from importer.plan import Point
from tests.importer.build import Sketch

NO_HINTS = Hints()


def near(a: Point, b: Point, within: float = 1.0) -> bool:
    return math.dist(a, b) <= within


def only(sketch: Sketch, hints: Hints = NO_HINTS) -> DoorSymbol:
    (symbol,) = door_symbols(sketch.build(), hints)
    return symbol


@pytest.mark.parametrize("leaf", [0.0, 40.0, 80.0])
@pytest.mark.parametrize("opens", [90.0, -90.0, 84.0, -60.0])
def test_arc_with_its_leaf_is_a_door_with_the_leaf_at_its_open_end(
    leaf: float, opens: float
) -> None:
    sketch = Sketch()
    sketch.door((1000, 2000), (1900, 2000), opens=opens, leaf=leaf)
    symbol = only(sketch)
    assert near(symbol.hinge, (1000, 2000))
    assert near(symbol.closed_end, (1900, 2000))
    tip = (1000 + 900 * math.cos(math.radians(opens)), 2000 + 900 * math.sin(math.radians(opens)))
    assert near(symbol.open_end, tip)
    assert symbol.radius_mm == pytest.approx(900)
    assert symbol.has_leaf
    assert symbol.insert is None


def test_arc_without_a_leaf_is_no_door() -> None:
    sketch = Sketch()
    sketch.arc((0, 0), 914, 0, 90, "WALL")
    assert door_symbols(sketch.build(), NO_HINTS) == ()


def test_fillet_between_two_walls_is_no_door() -> None:
    """The walls end at the arc's ends and run across the rays from its centre."""
    sketch = Sketch()
    sketch.arc((0, 0), 900, 0, 90)
    sketch.line((900, 0), (900, -850))
    sketch.line((0, 900), (-850, 900))
    assert door_symbols(sketch.build(), NO_HINTS) == ()


def test_wall_running_on_through_hinge_and_closed_end_is_no_leaf() -> None:
    """Walls drawn uninterrupted through the door are longer than any leaf."""
    sketch = Sketch()
    sketch.door((1000, 0), (1900, 0))
    sketch.line((-3000, 0), (6000, 0), "WALL")
    assert near(only(sketch).closed_end, (1900, 0))


def test_threshold_stroke_does_not_take_the_place_of_the_leaf() -> None:
    """Strokes to both ends: the closed end is where the walls are drawn."""
    for opens in (90.0, -90.0):
        sketch = Sketch()
        sketch.door((1000, 0), (1900, 0), opens=opens)
        sketch.line((1000, 0), (1900, 0), "THRESHOLD")
        for x0, x1 in ((-2000, 1000), (1900, 4000)):
            sketch.box(x0, -100, x1, 0, "WALL")
        assert near(only(sketch).closed_end, (1900, 0))


@pytest.mark.parametrize(("radius", "sweep"), [(300, 90), (1600, 90), (900, 40), (900, 180)])
def test_arcs_that_no_leaf_makes_are_left_out(radius: float, sweep: float) -> None:
    sketch = Sketch()
    sketch.door((0, 0), (radius, 0), opens=sweep)
    assert door_symbols(sketch.build(), NO_HINTS) == ()


def test_stretched_block_gives_a_quarter_ellipse_that_is_still_a_door() -> None:
    sketch = Sketch()
    steps = [math.radians(k * 10) for k in range(10)]
    sketch.curve([(800 * math.cos(a), 950 * math.sin(a)) for a in steps])
    sketch.line((0, 0), (0, 950))
    symbol = only(sketch)
    assert near(symbol.hinge, (0, 0))
    assert near(symbol.closed_end, (800, 0))
    assert symbol.radius_mm == pytest.approx(800, abs=1)


def test_double_door_is_two_leaves_whose_closed_ends_meet() -> None:
    sketch = Sketch()
    sketch.door((0, 0), (700, 0))
    sketch.door((1400, 0), (700, 0), opens=-90)
    one, two = door_symbols(sketch.build(), NO_HINTS)
    assert near(one.closed_end, two.closed_end)


def test_leaf_drawn_with_two_arcs_is_one_door() -> None:
    sketch = Sketch()
    sketch.door((0, 0), (900, 0), leaf=40)
    sketch.arc((0, 0), 860, 0, 90, "DOORS")
    assert only(sketch).radius_mm == pytest.approx(900)


def test_door_of_a_block_names_the_block_it_came_from() -> None:
    sketch = Sketch()
    sketch.insert("PLAN", (0, 0, 20_000, 15_000))
    door = sketch.insert("D90", (0, 0, 900, 900))
    src = sketch.source("ARC", "0", insert=door, block="D90")
    sketch.arc((0, 0), 900, 0, 90, source=src)
    sketch.line((0, 0), (0, 900), source=src)
    assert only(sketch).insert == door


def test_door_in_a_block_that_holds_the_whole_plan_has_no_door_block() -> None:
    sketch = Sketch()
    plan = sketch.insert("PLAN", (0, 0, 20_000, 15_000))
    src = sketch.source("ARC", "0", insert=plan, block="PLAN")
    sketch.arc((0, 0), 900, 0, 90, source=src)
    sketch.line((0, 0), (0, 900), source=src)
    assert only(sketch).insert is None


def test_arc_on_a_door_layer_counts_without_its_leaf_but_says_so() -> None:
    sketch = Sketch()
    sketch.arc((0, 0), 900, 0, 90, "A-DOOR")
    assert not only(sketch).has_leaf
    hinted = Sketch()
    hinted.arc((0, 0), 900, 0, 90, "X17")
    assert not only(hinted, Hints(door_layers=("x17",))).has_leaf


def test_ignored_layers_hold_no_doors() -> None:
    sketch = Sketch()
    sketch.door((0, 0), (900, 0), layer="plan$0$DOORS")
    assert door_symbols(sketch.build(), Hints(ignore_layers=("doors",))) == ()


def test_quarter_round_shower_tray_is_no_door() -> None:
    sketch = Sketch()
    sketch.arc((0, 0), 900, 0, 90, "SANITARY")
    sketch.line((0, 0), (900, 0), "SANITARY")
    sketch.line((0, 0), (0, 900), "SANITARY")
    assert door_symbols(sketch.build(), NO_HINTS) == ()


def test_door_of_a_shower_symbol_parts_no_rooms() -> None:
    sketch = Sketch()
    tray = sketch.insert("SHWR3030", (0, 0, 900, 900), "FURNITURE")
    src = sketch.source("ARC", "FURNITURE", insert=tray, block="SHWR3030")
    sketch.arc((0, 0), 610, 0, 90, source=src)
    sketch.line((0, 0), (0, 610), source=src)
    assert door_symbols(sketch.build(), NO_HINTS) == ()


def test_blocks_named_as_doors_are_found_without_an_arc() -> None:
    sketch = Sketch()
    sketch.insert("Schiebetür 90", (0, 0, 900, 120))
    sketch.insert("CHAIR", (0, 0, 500, 500))
    sketch.insert("PORTE_PLAN", (0, 0, 40_000, 30_000))
    assert [i.block for i in door_inserts(sketch.build(), NO_HINTS)] == ["Schiebetür 90"]


@given(
    width=st.floats(500, 1300),
    turn=st.floats(0, 360),
    opens=st.sampled_from([90.0, -90.0, 75.0, -60.0]),
    x=st.floats(-5e4, 5e4),
    y=st.floats(-5e4, 5e4),
)
def test_door_is_found_wherever_and_however_it_is_turned(
    width: float, turn: float, opens: float, x: float, y: float
) -> None:
    sketch = Sketch()
    a = math.radians(turn)
    closed = (x + width * math.cos(a), y + width * math.sin(a))
    sketch.door((x, y), closed, opens=opens, leaf=40)
    symbol = only(sketch)
    assert near(symbol.hinge, (x, y))
    assert near(symbol.closed_end, closed)
