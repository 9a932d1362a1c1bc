"""Rooms from walls: whole plans, drawn and damaged as real ones are."""

from __future__ import annotations

import itertools
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.errors import GEOSException

from importer.dxf.drawing import Drawing
from importer.dxf.found import OpeningKind
from importer.hints import Hints
from tests.importer.build import Sketch
from tests.importer.floorplans import (
    Cells,
    grid_plan,
    recovered,
    room_areas,
    with_ends_moved,
    with_jitter,
    with_lines_dropped,
)
from tests.importer.wall_sketches import (
    HOUSE,
    NO_PLANS,
    WALLS_AS_DRAWN,
    Drawn,
    round_corner_with_a_doorway,
)

LAYER = "A-WALL"


@pytest.mark.parametrize("turn", [0.0, 17.0, 45.0, 90.0, 133.7])
def test_rooms_have_the_clear_sizes_between_the_walls_however_the_house_is_turned(
    turn: float,
) -> None:
    found = recovered(grid_plan(HOUSE, turn_deg=turn, shift=(50_000, -20_000)))
    assert room_areas(found) == pytest.approx(HOUSE.areas(), rel=1e-6)


@given(
    widths=st.lists(st.integers(1400, 6000), min_size=1, max_size=3),
    heights=st.lists(st.integers(1400, 6000), min_size=1, max_size=3),
    inner=st.integers(60, 400),
    outer=st.integers(80, 450),
    turn=st.floats(0, 90),
)
@settings(max_examples=25, deadline=None)
def test_any_grid_of_rooms_comes_out_as_drawn(
    widths: list[int], heights: list[int], inner: int, outer: int, turn: float
) -> None:
    cells = Cells(
        widths=tuple(map(float, widths)),
        heights=tuple(map(float, heights)),
        inner=float(inner),
        outer=float(outer),
    )
    found = recovered(grid_plan(cells, turn_deg=turn))
    assert room_areas(found) == pytest.approx(cells.areas(), rel=1e-3)


@pytest.mark.parametrize("drawn", WALLS_AS_DRAWN, ids=lambda f: f.__name__)
def test_rooms_are_found_however_their_walls_are_drawn(drawn: Callable[[], Drawn]) -> None:
    sketch, areas = drawn()
    assert room_areas(recovered(sketch)) == pytest.approx(areas, rel=1e-3)


def test_gap_in_a_curved_wall_is_closed_along_its_chord() -> None:
    sketch, areas = round_corner_with_a_doorway()
    found = recovered(sketch)
    # The chord cuts the two rooms otherwise than the arc would, by its sagitta.
    assert room_areas(found) == pytest.approx(areas, abs=900 * 40)
    (opening,) = found.openings
    assert opening.width_mm == pytest.approx(2 * 3060 * np.sin(900 / 3060 / 2), abs=5)


@pytest.mark.parametrize("drawn", NO_PLANS, ids=lambda f: f.__name__)
def test_what_is_no_plan_gives_no_rooms(drawn: Callable[[], Sketch]) -> None:
    assert recovered(drawn()).rooms == ()


def test_empty_drawing_gives_nothing() -> None:
    assert recovered(Sketch()).rooms == ()


def test_two_houses_in_one_drawing_are_both_found() -> None:
    one = grid_plan(HOUSE).build()
    two = grid_plan(HOUSE, turn_deg=30, shift=(40_000, 3_000)).build()
    assert room_areas(recovered(_both(one, two))) == pytest.approx(
        sorted(HOUSE.areas() * 2), rel=1e-6
    )


def _both(one: Drawing, two: Drawing) -> Drawing:
    shift = len(one.sources)
    return replace(
        one,
        sources=one.sources + two.sources,
        segments=replace(
            one.segments,
            ends=np.vstack([one.segments.ends, two.segments.ends]),
            source=np.concatenate([one.segments.source, two.segments.source + shift]),
            curved=np.concatenate([one.segments.curved, two.segments.curved]),
        ),
        arcs=one.arcs + tuple(replace(a, source=a.source + shift) for a in two.arcs),
    )


def test_outlines_run_on_the_drawn_faces() -> None:
    drawing = grid_plan(HOUSE, turn_deg=31).build()
    lines = shapely.union_all(shapely.linestrings(drawing.segments.ends.reshape(-1, 2, 2)))
    for room in recovered(drawing).rooms:
        corners = shapely.points(np.asarray(room.shape.exterior.coords))
        assert shapely.distance(lines, corners).max() < 0.01


def test_openings_and_rooms_do_not_overlap_and_touch() -> None:
    found = recovered(grid_plan(HOUSE))
    for opening in found.openings:
        beside = [r for r in found.rooms if r.shape.distance(opening.shape) < 0.1]
        assert len(beside) == 2
        assert all(r.shape.intersection(opening.shape).area < 100 for r in beside)


def test_result_does_not_depend_on_the_order_of_strokes() -> None:
    drawing = grid_plan(HOUSE).build()
    order = np.random.default_rng(3).permutation(len(drawing.segments))
    seg = drawing.segments
    shuffled = replace(
        drawing,
        segments=replace(
            seg, ends=seg.ends[order], source=seg.source[order], curved=seg.curved[order]
        ),
    )
    one, two = recovered(drawing), recovered(shuffled)
    assert [r.shape.wkt for r in one.rooms] == [r.shape.wkt for r in two.rooms]
    assert [o.shape.wkt for o in one.openings] == [o.shape.wkt for o in two.openings]


# ---------------------------------------------------------------- which layers


def test_hint_decides_over_names() -> None:
    sketch = grid_plan(HOUSE, layer="rubbish")
    sketch.box(20_000, 0, 24_000, 3_000, layer="A-WALL")
    found = recovered(sketch, Hints(wall_layers=("rubbish",)))
    assert room_areas(found) == pytest.approx(HOUSE.areas(), rel=1e-6)


def test_hint_that_matches_nothing_gives_no_rooms() -> None:
    assert recovered(grid_plan(HOUSE), Hints(wall_layers=("nothing",))).rooms == ()


@pytest.mark.parametrize("layer", ["x$0$A-WALL", "WAND-TRAGEND", "Muri", "PAREDES", "стены"])
def test_names_of_walls_are_known_in_several_languages(layer: str) -> None:
    sketch = grid_plan(HOUSE, layer=layer)
    for x in (600, 5000):
        sketch.box(x, 800, x + 300, 2800, layer="MOBILIAR")
    assert room_areas(recovered(sketch)) == pytest.approx(HOUSE.areas(), rel=1e-6)


def test_footings_beside_unnamed_walls_are_not_taken_for_them() -> None:
    sketch = grid_plan(HOUSE, layer="L1")
    width, height = HOUSE.size()
    for off in (150, -450):
        sketch.box(-off, -off, width + off, height + off, layer="L2")
    assert room_areas(recovered(sketch)) == pytest.approx(HOUSE.areas(), rel=1e-6)


def test_colours_part_what_lies_on_one_layer() -> None:
    sketch = grid_plan(HOUSE, layer="0", door_layer="0")
    walls = len(sketch._sources)
    for k in range(30):
        x, y = 400 + k % 6 * 1500, 400 + k // 6 * 1200
        sketch.box(x, y, x + 300, y + 700, layer="0")
    sources = [replace(s, colour=7 if k < walls else 3) for k, s in enumerate(sketch._sources)]
    drawing = replace(sketch.build(), sources=tuple(sources))
    assert room_areas(recovered(drawing)) == pytest.approx(HOUSE.areas(), rel=1e-6)


# ---------------------------------------------------------------- damage

BIG = Cells(widths=(2600, 3400, 4200, 3000), heights=(3000, 3800, 2600))


def kept(drawing: Drawing) -> int:
    """Rooms of the big house that come out with 85 % of overlap or more."""
    whole = [r.shape for r in recovered(grid_plan(BIG)).rooms]
    found = [r.shape for r in recovered(drawing).rooms]
    return sum(any(a.intersection(b).area > 0.85 * a.union(b).area for b in found) for a in whole)


@pytest.mark.parametrize("short", [10, 30, 80])
def test_ends_drawn_short_do_not_join_rooms(short: float) -> None:
    assert kept(with_ends_moved(grid_plan(BIG).build(), -short, 0, 1, LAYER)) == 12


@pytest.mark.parametrize("over", [20, 50, 120])
def test_ends_drawn_over_do_not_part_rooms(over: float) -> None:
    assert kept(with_ends_moved(grid_plan(BIG).build(), 0, over, 1, LAYER)) >= 11


@pytest.mark.parametrize(("size", "least"), [(0.5, 12), (2, 12), (5, 10)])
def test_jitter_of_the_ends_does_not_join_rooms(size: float, least: int) -> None:
    assert kept(with_jitter(grid_plan(BIG).build(), size, 1, LAYER)) >= least


def test_a_few_strokes_dropped_cost_a_few_rooms() -> None:
    assert kept(with_lines_dropped(grid_plan(BIG).build(), 0.03, 1, LAYER)) >= 10


def test_plain_gaps_are_told_and_doors_are_not() -> None:
    told = recovered(grid_plan(HOUSE, leaves=False)).findings
    assert [f.code for f in told] == ["IMP-320"] * 7
    assert all("900 mm" in f.what and f.remedy and f.where.at for f in told)
    assert recovered(grid_plan(HOUSE)).findings == ()


def test_doorways_without_a_leaf_part_rooms_too() -> None:
    found = recovered(grid_plan(HOUSE, leaves=False))
    assert room_areas(found) == pytest.approx(HOUSE.areas(), rel=1e-6)
    assert [o.kind for o in found.openings] == [OpeningKind.GAP] * 7


# ---------------------------------------------------------------- anything at all

COORDINATES = st.one_of(
    st.integers(-30, 30).map(lambda k: k * 100.0),
    st.floats(-4000, 4000, allow_nan=False),
    st.sampled_from([0.0, 1e7, -1e7, 0.001]),
)


@given(
    strokes=st.lists(
        st.tuples(COORDINATES, COORDINATES, COORDINATES, COORDINATES), min_size=1, max_size=40
    ),
    layer=st.sampled_from(["A-WALL", "0"]),
    door=st.booleans(),
)
@settings(max_examples=60, deadline=None)
def test_any_strokes_give_valid_rooms_or_none(
    strokes: list[tuple[float, float, float, float]], layer: str, door: bool
) -> None:
    sketch = Sketch()
    for x0, y0, x1, y1 in strokes:
        sketch.line((x0, y0), (x1, y1), layer)
    if door:
        sketch.door((0, 0), (900, 0), layer=layer)
    found = recovered(sketch)
    for room in found.rooms:
        assert room.shape.is_valid
        assert room.shape.area > 0
        assert room.shape.exterior.is_ccw
    for one, two in itertools.combinations(found.rooms, 2):
        assert one.shape.intersection(two.shape).area < 3000
    for opening in found.openings:
        assert opening.width_mm > 0
        assert opening.shape.area > 0


def test_geometry_that_cannot_be_resolved_is_told_and_not_raised(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def fail(*_: object, **__: object) -> None:
        raise GEOSException("TopologyException")

    monkeypatch.setattr("importer.dxf.walls_to_rooms.read_walls", fail)
    found = recovered(grid_plan(HOUSE))
    assert found.rooms == ()
    assert [f.code for f in found.findings] == ["IMP-321"]
