from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import Polygon, box

from importer.tolerance import area_slack
from layout.bay_chords import chords_of
from layout.bay_error import LayoutError
from layout.bays import form_bays
from layout.floor import Frame, Run, SettingOut, Touch
from layout.runs import cut_runs, demand, end_voids, row_number
from layout.setting_out import floor_in, set_out
from tests.layout import build
from tests.layout.build import polygon, rules

PLAIN = rules()


def grid_at(phase: float) -> SettingOut:
    """A setting-out whose row lines lie at phase + k 180."""
    return SettingOut(
        frame=Frame(origin=(0, 0), along=(1, 0)),
        phase_mm=phase,
        first_row_mm=phase,
        last_row_mm=phase,
        slack_mm=0.0,
        reference=((0, 0), (1, 0)),
        datum=((0, 0), (1, 0)),
        datum_offset_mm=(0, 0),
    )


def cut(floor: Polygon, phase: float = 180.0) -> tuple[tuple[Run, ...], tuple[Touch, ...]]:
    return cut_runs(shapely.orient_polygons(floor), grid_at(phase), PLAIN)


def laid_out(shape: Polygon) -> tuple[Polygon, tuple[Run, ...], tuple[Touch, ...]]:
    """Floor, runs and touches of a room in its bay frame."""
    drawing = build.plan(shape)
    (bay,) = form_bays(drawing, PLAIN).bays
    out = set_out(bay, drawing, PLAIN)[0]
    floor = floor_in(bay, out.frame)
    return floor, *cut_runs(floor, out, PLAIN)


# --- rows and runs ------------------------------------------------------------------------------


def test_rectangle_gives_one_run_a_row() -> None:
    runs, touches = cut(box(0, 0, 5000, 450), 90)
    assert [(r.row, r.y0, r.y1, r.x0, r.x1) for r in runs] == [
        (1, 0, 90, 0, 5000),
        (2, 90, 270, 0, 5000),
        (3, 270, 450, 0, 5000),
    ]
    assert [(t.below, t.above, t.x0, t.x1) for t in touches] == [(0, 1, 0, 5000), (1, 2, 0, 5000)]
    assert [(r.touches_below, r.touches_above) for r in runs] == [
        (False, True),
        (True, True),
        (True, False),
    ]


def test_rows_behind_the_starter_row_count_backwards_and_there_is_no_row_0() -> None:
    assert [row_number(k) for k in (-3, -2, -1, 0, 1)] == [-2, -1, 1, 2, 3]
    runs, _ = cut(box(0, -400, 3000, 400), 180)
    assert [r.row for r in runs] == [-3, -2, -1, 1, 2, 3]
    assert next(r for r in runs if r.row == 1).y1 == 180


def test_hole_parts_its_rows_into_two_runs() -> None:
    floor = Polygon(box(0, 0, 4000, 900).exterior, [box(1500, 180, 2000, 540).exterior])
    runs, touches = cut(floor)
    assert [(r.row, r.x0, r.x1) for r in runs] == [
        (1, 0, 4000),
        (2, 0, 1500),
        (2, 2000, 4000),
        (3, 0, 1500),
        (3, 2000, 4000),
        (4, 0, 4000),
        (5, 0, 4000),
    ]
    assert [(t.below, t.above, t.x0, t.x1) for t in touches if t.below == 0] == [
        (0, 1, 0, 1500),
        (0, 2, 2000, 4000),
    ]


def test_face_on_a_row_line_leaves_no_neck_of_no_height() -> None:
    """Two parts meet only along the row line at 360: the wall stubs end exactly on it."""
    floor = polygon(
        (0, 0), (1000, 0), (1000, 360), (2000, 360), (2000, 0), (3000, 0), (3000, 720), (0, 720)
    )
    runs, touches = cut(floor)
    assert [(r.row, r.x0, r.x1) for r in runs if r.row <= 3] == [
        (1, 0, 1000),
        (1, 2000, 3000),
        (2, 0, 1000),
        (2, 2000, 3000),
        (3, 0, 3000),
    ]
    assert [(t.x0, t.x1) for t in touches if t.above == 4] == [(0, 1000), (2000, 3000)]


def test_two_runs_that_touch_twice_share_two_seams() -> None:
    """A notch from below, open to both rows, in the middle of the upper edge of row 1."""
    floor = Polygon(box(0, 0, 3000, 360).exterior, [box(1000, 150, 2000, 210).exterior])
    runs, touches = cut(floor)
    assert len(runs) == 2
    assert [(t.x0, t.x1) for t in touches] == [(0, 1000), (2000, 3000)]


def test_hair_beyond_a_row_line_makes_no_row() -> None:
    runs, _ = cut(box(0, -0.03, 3000, 360.04))
    assert [r.row for r in runs] == [1, 2]
    assert sum(r.shape.area for r in runs) == pytest.approx(3000 * 360.07)


def test_wall_ends_that_make_no_seam_are_no_touch() -> None:
    """A step of half a millimetre is nothing to lock into."""
    floor = polygon(
        (0, 0),
        (2000, 0),
        (2000, 180),
        (1000.5, 180),
        (1000.5, 360),
        (1000, 360),
        (1000, 180),
        (0, 180),
    )
    runs, touches = cut(floor)
    assert [r.row for r in runs] == [1]
    assert touches == ()


def test_floor_that_is_lost_is_noticed(monkeypatch: pytest.MonkeyPatch) -> None:
    real = shapely.clip_by_rect

    def loses_the_last(shape: Polygon, *bounds: float) -> object:
        return Polygon() if bounds[1] > 300 else real(shape, *bounds)

    monkeypatch.setattr(shapely, "clip_by_rect", loses_the_last)
    with pytest.raises(LayoutError, match="LAY-128"):
        cut(box(0, 0, 5000, 540))


# --- ends ---------------------------------------------------------------------------------------


def test_slanting_end_falls_short_by_half_its_run() -> None:
    """W 180, wall at 45 degrees: blank 390, short edge 210, mean length 300, area 54,000 mm2."""
    runs, _ = cut(polygon((0, 0), (3000, 0), (3000, 180), (180, 180)))
    (run,) = runs
    assert run.void_start_mm == pytest.approx(90, abs=0.2)
    assert run.void_end_mm == 0.0
    piece = chords_of(polygon((0, 0), (390, 0), (390, 180), (180, 180)))
    assert piece.area == pytest.approx(54_000)
    assert piece.area / piece.widest == pytest.approx(300)
    assert 390 - run.void_start_mm == pytest.approx(300, abs=0.2)


def test_notched_end_counts_by_its_area() -> None:
    """300 x 180 less a corner of 100 x 60: mean 266.7."""
    runs, _ = cut(polygon((100, 0), (3000, 0), (3000, 180), (0, 180), (0, 60), (100, 60)))
    assert runs[0].void_start_mm == pytest.approx(100 * 60 / 180, abs=0.01)
    assert 300 - runs[0].void_start_mm == pytest.approx(266.7, abs=0.05)


def test_tail_does_not_make_an_end_long() -> None:
    """A strip of 20 mm runs on for 500 mm beside a wall step."""
    runs, _ = cut(polygon((500, 0), (4000, 0), (4000, 180), (0, 180), (0, 160), (500, 160)))
    assert runs[0].void_start_mm == pytest.approx(500 * 160 / 180, abs=0.01)


def test_square_ends_have_no_void() -> None:
    assert all(
        r.void_start_mm == r.void_end_mm == 0.0 for r in laid_out(build.KINDS["rectangle"])[1]
    )


def test_column_in_the_middle_does_not_shorten_the_ends() -> None:
    floor = Polygon(box(0, 0, 4000, 180).exterior, [box(1900, 50, 2100, 130).exterior])
    (run,), _ = cut(floor)
    assert (run.void_start_mm, run.void_end_mm) == (0.0, 0.0)


# --- chords -------------------------------------------------------------------------------------


@given(data=st.data())
@settings(max_examples=30, deadline=None)
def test_heights_are_those_of_vertical_lines(data: st.DataObject) -> None:
    shape = build.moved(build.KINDS[data.draw(st.sampled_from(sorted(build.KINDS)))], 17)
    chords = chords_of(shape)
    assert chords.area == pytest.approx(shape.area, rel=1e-9)
    low, high = float(chords.x[0]), float(chords.x[-1])
    place = data.draw(st.floats(low + 1, high - 1))
    line = shapely.LineString([(place, -20_000), (place, 20_000)])
    if np.abs(chords.x - place).min() > 0.1:
        assert chords.at(place) == pytest.approx(shape.intersection(line).length, abs=1e-3)
    part = chords.part(low, place)
    clipped = shapely.clip_by_rect(shape, low - 1, -20_000, place, 20_000)
    assert part.area == pytest.approx(clipped.area, rel=1e-6, abs=1.0)


@pytest.mark.parametrize("turn", [False, True])
@pytest.mark.parametrize(
    ("end", "void"),
    [
        ([(0, 0), (5000, 0), (5000, 180), (0, 180)], 0.0),
        ([(0, 0), (5000, 0), (5000, 180), (180, 180)], 90.0),
        # A nib of full width, then a strip of 90 beside a doorway, then full again: after the nib's 84
        # the strip gains half as fast, (84 + 452) in length for 310 in worth.
        (
            [
                (0, 0),
                (5000, 0),
                (5000, 180),
                (1300, 180),
                (1300, 90),
                (84, 90),
                (84, 180),
                (0, 180),
            ],
            226.0,
        ),
        # A tail 20 wide is worth nothing once the piece goes on past it.
        ([(500, 0), (5000, 0), (5000, 180), (0, 180), (0, 160), (500, 160)], 444.4),
        # Never worth it within a plank of 1220: a strip that is thin but for its last 20 mm.
        (
            [(0, 0), (5000, 0), (5000, 180), (1200, 180), (1200, 10), (0, 10)],
            1220 - (1200 * 10 + 20 * 180) / 180,
        ),
    ],
)
def test_void_is_what_an_end_needs_beyond_the_least_length(
    end: list[tuple[float, float]], void: float, turn: bool
) -> None:
    shape = build.moved(polygon(*end), 0.0, (5000.0, 0.0), mirrored=True) if turn else polygon(*end)
    voids = end_voids(chords_of(shape), 1220.0, 310.0)
    assert voids[turn] == pytest.approx(void, abs=0.1)


@given(data=st.data())
@settings(max_examples=40, deadline=None)
def test_end_that_allows_for_its_void_is_worth_the_least_length(data: st.DataObject) -> None:
    _, runs, _ = laid_out(build.KINDS[data.draw(st.sampled_from(sorted(build.KINDS)))])
    run = data.draw(st.sampled_from([r for r in runs if r.length_mm > 1220] or list(runs)))
    least = PLAIN.ends.min_length
    length = (
        data.draw(st.floats(least + run.void_start_mm, 1220)) if run.void_start_mm < 900 else 1220
    )
    if length > run.length_mm:
        return
    piece = shapely.clip_by_rect(run.shape, run.x0, run.y0 - 1, run.x0 + length, run.y1 + 1)
    assert isinstance(piece, Polygon)
    worth = piece.area / chords_of(piece).widest
    assert worth >= least - 0.01 or run.void_start_mm > 900


# --- laws ---------------------------------------------------------------------------------------


@given(
    kind=st.sampled_from(sorted(build.KINDS)),
    degrees=st.floats(0, 360),
    mirrored=st.booleans(),
    far=st.booleans(),
)
@settings(max_examples=60, deadline=None)
def test_runs_tile_the_floor_of_any_room_anywhere(
    kind: str, degrees: float, mirrored: bool, far: bool
) -> None:
    at = build.FAR if far else (0.0, 0.0)
    floor, runs, touches = laid_out(build.moved(build.KINDS[kind], degrees, at, mirrored=mirrored))
    shapes = np.asarray([r.shape for r in runs], dtype=object)
    assert shapely.is_valid(shapes).all()
    assert sum(r.shape.area for r in runs) == pytest.approx(floor.area, abs=area_slack(floor.area))
    assert shapely.union_all(shapes).area == pytest.approx(
        floor.area, abs=2 * area_slack(floor.area)
    )
    for r in runs:
        assert r.y1 - r.y0 <= 180.05
        assert floor.buffer(0.05).covers(r.shape)
    for t in touches:
        below, above = runs[t.below], runs[t.above]
        assert below.y1 == above.y0
        seam = shapely.LineString([(t.x0, below.y1), (t.x1, below.y1)])
        assert below.shape.buffer(0.01).covers(seam)
        assert above.shape.buffer(0.01).covers(seam)
    for a, b in pairwise(runs):
        assert (a.row, a.x0) <= (b.row, b.x0)


def test_every_pair_of_runs_with_a_common_edge_touches() -> None:
    for name, shape in build.KINDS.items():
        _, runs, touches = laid_out(shape)
        listed = {(t.below, t.above) for t in touches}
        for a in runs:
            for b in runs:
                if b.y0 == a.y1 and a.index != b.index:
                    shared = a.shape.boundary.intersection(b.shape.boundary).length
                    assert ((a.index, b.index) in listed) is (shared > 1.0), name


def test_demand_says_what_the_solver_must_keep() -> None:
    floor = polygon((0, 0), (4000, 0), (4000, 400), (180, 400))
    runs, touches = cut(floor, 100)
    asked = demand(runs, touches, rules(site={"tolerance": 7}, ends={"min_length": 250}))
    assert [(r.index, r.row, r.width_mm, r.keeps_near, r.keeps_far) for r in asked.runs] == [
        (0, 1, 100, False, True),
        (1, 2, 180, True, True),
        (2, 3, 120, True, False),
    ]
    assert asked.runs[1].void_start_mm == runs[1].void_start_mm > 0
    assert asked.touches == touches
    assert (asked.stock.plank_length, asked.stock.kerf, asked.stock.tolerance) == (1220, 2, 7)
    assert (asked.min_length, asked.never_below, asked.min_offset) == (250, 180, 300)
