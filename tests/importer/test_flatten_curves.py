"""Curves, closed outlines and fills as strokes and rings.

Outside values: bulge formulas (Autodesk, group 42 = tangent of a quarter of the included angle) and
circle segment area A = r^2 (t - sin t) / 2, chord c = 2 r sin(t / 2) (CRC mathematics, "Circular
Segment"); the numbers were worked out from these by hand and are given to the digits shown.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import pytest
from ezdxf.document import Drawing as Document
from ezdxf.math import Vec3
from hypothesis import given, settings
from hypothesis import strategies as st

from importer.dxf.curves import SAGITTA_SHARE, STEP, bulged_points, chord_count, spline_points
from importer.dxf.drawing import Drawing, Floats
from importer.plan import Severity
from tests.importer.dxf_files import ROOM, area, codes, document, flat, ring_areas

FLATTENED = 1.5e-3
"""Share by which a segment's area may fall short: 1 - sin(step) / step over a half circle."""


def polyline(points: Sequence[tuple[float, ...]], flags: int = 1) -> Drawing:
    doc = document()
    entity = doc.modelspace().add_lwpolyline(points, format="xyb")
    entity.dxf.flags = flags
    return flat(doc)


def turns(points: Floats) -> Floats:
    step = np.diff(points, axis=0)
    heading = np.arctan2(step[:, 1], step[:, 0])
    return np.abs((np.diff(heading) + math.pi) % (2 * math.pi) - math.pi)


# --- bulges


@pytest.mark.parametrize(
    ("bulge", "square_metres"),
    [(1.0, 15.534292), (-1.0, 8.465708), (0.5, 13.572522), (0.0, 12.0)],
)
def test_a_bay_of_three_metres_adds_its_segment_to_the_room(
    bulge: float, square_metres: float
) -> None:
    drawing = polyline([(0, 0), (4000, 0, bulge), (4000, 3000), (0, 3000)])
    assert ring_areas(drawing)[0] / 1e6 == pytest.approx(square_metres, rel=FLATTENED)


@pytest.mark.parametrize(
    ("bulge", "chord", "segment", "arc"),
    [
        (1.0, 2.0, 1.570796, math.pi),
        (0.41421356, math.sqrt(2), 0.285398, math.pi / 2),
        (0.5, 1000.0, 174_724.6945, 1159.1190),
        (-1.0, 900.0, 318_086.2562, 1413.7167),
    ],
)
def test_segment_and_arc_of_a_bulge_are_those_of_the_published_formulas(
    bulge: float, chord: float, segment: float, arc: float
) -> None:
    drawing = polyline([(0, 0, bulge), (chord, 0)])
    radius, angle = chord * (1 + bulge**2) / (4 * abs(bulge)), 4 * math.atan(abs(bulge))
    # n chords fall short of the sector by r^2 (t - n sin(t / n)) / 2, about r^2 t step^2 / 12.
    short = segment - ring_areas(drawing)[0]
    assert 0 <= short <= radius**2 * angle * STEP**2 / 12
    (exact,) = drawing.arcs
    assert exact.radius * math.radians(exact.sweep_deg) == pytest.approx(arc, rel=1e-7)
    assert math.tan(math.radians(exact.sweep_deg) / 4) == pytest.approx(abs(bulge), rel=1e-7)


def test_two_half_circles_make_a_circle() -> None:
    drawing = polyline([(0, 0, 1), (1, 0, 1)])
    assert ring_areas(drawing)[0] == pytest.approx(math.pi / 4, rel=FLATTENED)


def test_a_bulge_bows_to_the_right_of_its_chord() -> None:
    ends = polyline([(0, 0, 0.5), (1000, 0)], flags=0).segments.ends
    assert ends[:, 1].min() == pytest.approx(-250, abs=1)  # h = |b| c / 2
    assert ends[:, 1].max() == pytest.approx(0, abs=1e-9)


@given(
    bulge=st.one_of(st.floats(1e-5, 50), st.floats(-50, -1e-5)),
    chord=st.floats(1, 1e5),
    scale=st.sampled_from([1e-3, 1.0, 25.4, 1e4]),
)
@settings(max_examples=60, deadline=None)
def test_chords_turn_little_keep_their_ends_and_do_not_depend_on_the_unit(
    bulge: float, chord: float, scale: float
) -> None:
    points, curved, (arc,) = bulged_points(
        np.array([(0.0, 0.0), (chord, 0.0)]), np.array([bulge, 0.0]), closed=False
    )
    assert curved.all()
    assert tuple(points[0]) == (0, 0)
    assert tuple(points[-1]) == (chord, 0)
    if len(points) > 2:
        assert turns(points).max() <= math.radians(4) + 1e-6
    distance = np.hypot(*(points - arc[:2]).T)
    assert distance == pytest.approx(arc[2], rel=1e-6)
    scaled, _, _ = bulged_points(
        np.array([(0.0, 0.0), (chord * scale, 0.0)]), np.array([bulge, 0.0]), closed=False
    )
    assert scaled == pytest.approx(points * scale, rel=1e-6, abs=1e-6 * chord * scale)


@pytest.mark.parametrize("bulge", [1e-9, -1e-9, 0.0])
def test_next_to_no_bulge_is_a_straight_line(bulge: float) -> None:
    drawing = polyline([(0, 0, bulge), (4000, 0)], flags=0)
    assert len(drawing.segments) == 1
    assert not drawing.segments.curved.any()


@pytest.mark.parametrize("bulge", [1e3, 1e6, -1e9])
def test_an_extreme_bulge_is_nearly_a_whole_circle(bulge: float) -> None:
    drawing = polyline([(0, 0, bulge), (1, 0)], flags=0)
    (arc,) = drawing.arcs
    assert arc.sweep_deg == pytest.approx(360, abs=1)
    assert len(drawing.segments) >= 90


def test_a_bulge_that_is_no_number_costs_only_its_polyline() -> None:
    doc = document()
    doc.modelspace().add_lwpolyline([(0, 0, math.inf), (1, 0)], format="xyb")
    doc.modelspace().add_line((0, 0), (1, 0))
    drawing = flat(doc)
    assert len(drawing.segments) == 1
    assert codes(drawing) == ["IMP-115"]


# --- arcs, circles, ellipses


def test_number_of_chords_follows_the_published_bound() -> None:
    # segments = ceil(t / (2 acos(1 - e / r))), with e / r = 0.0006
    assert pytest.approx(2 * math.acos(1 - 0.0006)) == STEP
    assert SAGITTA_SHARE == 0.0006
    assert chord_count(np.radians([90.0, 360.0, 1e-9, -90.0])).tolist() == [23, 91, 1, 23]


def arc_drawing(start: float, end: float, radius: float = 900.0) -> Drawing:
    doc = document()
    doc.modelspace().add_arc((100, 200), radius, start, end)
    return flat(doc)


@pytest.mark.parametrize(
    ("start", "end", "first", "sweep"),
    [
        (0, 90, 0, 90),
        (350, 370, 350, 20),
        (350, 10, 350, 20),
        (-10, 10, 350, 20),
        (720, 810, 0, 90),
        (270, 0, 270, 90),
    ],
)
def test_arc_angles_are_brought_into_one_turn(
    start: float, end: float, first: float, sweep: float
) -> None:
    (arc,) = arc_drawing(start, end).arcs
    assert (arc.start_deg, arc.sweep_deg) == pytest.approx((first, sweep))
    assert arc.centre == (100, 200)


def test_an_arc_from_0_to_360_is_a_circle() -> None:
    drawing = arc_drawing(0, 360)
    assert drawing.arcs[0].sweep_deg == pytest.approx(360)
    assert ring_areas(drawing)[0] == pytest.approx(math.pi * 900**2, rel=FLATTENED)


def test_an_arc_that_ends_where_it_starts_is_told_and_left_out() -> None:
    drawing = arc_drawing(90, 90)
    assert (len(drawing.segments), len(drawing.arcs)) == (0, 0)
    assert codes(drawing) == ["IMP-115"]


@pytest.mark.parametrize("radius", [1e-6, 0.04, 1e7])
def test_arcs_of_any_size_are_flattened(radius: float) -> None:
    assert len(arc_drawing(0, 90, radius).segments) == 23


def test_arc_chords_join_the_lines_that_they_meet() -> None:
    doc = document()
    msp = doc.modelspace()
    msp.add_arc((0, 0), 900, 0, 90)
    msp.add_line((900, 0), (900, -50))
    msp.add_line((0, 900), (-50, 900))
    ends = flat(doc).segments.ends
    tips = {(round(x, 6), round(y, 6)) for x, y in ends.reshape(-1, 2)}
    assert {(900.0, 0.0), (0.0, 900.0)} <= tips
    assert np.abs(ends[2] - (900, 0, *ends[2, 2:])).max() <= 1e-6


def test_circle_gives_exact_arc_strokes_and_ring() -> None:
    doc = document()
    doc.modelspace().add_circle((5, 6), 3)
    drawing = flat(doc)
    assert drawing.arcs[0].sweep_deg == 360
    assert len(drawing.segments) == len(drawing.rings[0].points) == 91
    assert drawing.segments.curved.all()
    assert not drawing.rings[0].filled


@pytest.mark.parametrize("ratio", [1.0, 0.5, 0.05])
@pytest.mark.parametrize("turn", [0.0, 33.0])
def test_ellipse_is_closed_turns_little_and_has_its_area(ratio: float, turn: float) -> None:
    doc = document()
    major = Vec3.from_deg_angle(turn, 2000)
    doc.modelspace().add_ellipse((1000, 0), major_axis=major, ratio=ratio)
    drawing = flat(doc)
    (ring,) = drawing.rings
    assert area(ring.points) == pytest.approx(math.pi * 2000**2 * ratio, rel=FLATTENED)
    assert turns(np.vstack((ring.points, ring.points[:2]))).max() <= math.radians(5)
    assert len(drawing.arcs) == (ratio == 1.0)


def test_part_of_an_ellipse_runs_between_its_parameters_and_stays_open() -> None:
    doc = document()
    doc.modelspace().add_ellipse((0, 0), (2000, 0), 0.5, 0, math.pi / 2)
    drawing = flat(doc)
    assert drawing.rings == ()
    assert tuple(drawing.segments.ends[0, :2]) == pytest.approx((2000, 0))
    assert tuple(drawing.segments.ends[-1, 2:]) == pytest.approx((0, 1000), abs=1e-6)


# --- splines


def test_spline_is_closed_when_its_ends_meet_not_by_its_flag() -> None:
    doc = document()
    msp = doc.modelspace()
    opened = msp.add_open_spline([(0, 0), (10, 0), (10, 10), (0, 10)], degree=2)
    opened.knots = [0, 0, 0, 0.5, 1, 1, 1]
    opened.dxf.flags = 1 | 8
    assert flat(doc).rings == ()
    doc = document()
    doc.modelspace().add_open_spline([(0, 0), (10, 0), (10, 10), (0, 10), (0, 0)])
    assert len(flat(doc).rings) == 1


def test_degenerate_splines_are_told_and_left_out() -> None:
    doc = document()
    msp = doc.modelspace()
    msp.add_open_spline([(1, 1), (1, 1)])
    msp.add_open_spline([(3, 3)] * 4)
    msp.add_spline([])
    msp.add_line((0, 0), (1, 0))
    drawing = flat(doc)
    assert len(drawing.segments) == 1
    assert all(f.severity is Severity.SETTLE for f in drawing.findings)
    assert "SPLINE" in drawing.findings[0].what


def test_spline_through_fit_points_passes_them() -> None:
    doc = document()
    doc.modelspace().add_spline([(0, 0), (1000, 500), (2000, 0), (3000, 500)])
    ends = flat(doc).segments.ends
    nearest = [np.hypot(*(ends[:, :2] - p).T).min() for p in ((0, 0), (1000, 500), (2000, 0))]
    assert max(nearest) < 20


def test_spline_chords_turn_little() -> None:
    doc = document()
    spline = doc.modelspace().add_open_spline([(0, 0), (0, 3000), (100, -3000), (4000, 4000)])
    points = spline_points(spline.construction_tool())
    assert np.degrees(turns(points)).max() < 4.5
    assert len(points) < 400


# --- closed outlines


@pytest.mark.parametrize(
    ("points", "flags"),
    [
        (ROOM, 1),
        (ROOM, 129),
        ([*ROOM, ROOM[0]], 128),
        ([*ROOM, ROOM[0]], 129),
        ([*ROOM, ROOM[0]], 0),
        ([*ROOM, (0.0, 0.4)], 0),
        ([ROOM[0], ROOM[0], *ROOM[1:], ROOM[3]], 1),
        ([*ROOM[::-1], ROOM[3]], 0),
        ([*ROOM, ROOM[0], ROOM[0]], 1),
    ],
)
@pytest.mark.parametrize("unit", [1.0, 0.001, 1 / 25.4])
def test_a_room_drawn_closed_in_any_way_has_its_area(
    points: list[tuple[float, float]], flags: int, unit: float
) -> None:
    drawing = polyline([(x * unit, y * unit) for x, y in points], flags)
    (ring,) = drawing.rings
    assert area(ring.points) / unit**2 / 1e6 == pytest.approx(12.0, rel=2e-4)
    assert len(ring.points) == 4
    assert len(drawing.segments) == 4


def test_the_gap_that_was_closed_is_told() -> None:
    ring = polyline([*ROOM, (0.0, 0.4)], 0).rings[0]
    assert ring.bridged == pytest.approx(0.4)
    assert polyline([*ROOM, ROOM[0]], 0).rings[0].bridged == 0


@pytest.mark.parametrize("end", [(0.0, 300.0), (0.0, 10.0), (2000.0, 3000.0)])
def test_an_outline_with_a_real_gap_stays_open(end: tuple[float, float]) -> None:
    drawing = polyline([*ROOM, end], 0)
    assert drawing.rings == ()
    assert len(drawing.segments) == 4


@pytest.mark.parametrize("points", [[(5, 5)], [(5, 5)] * 3, []])
def test_a_point_is_no_outline(points: list[tuple[float, float]]) -> None:
    drawing = polyline(points)
    assert (len(drawing.segments), drawing.rings) == (0, ())
    assert codes(drawing) == ["IMP-115"]


def test_two_points_closed_are_one_stroke() -> None:
    drawing = polyline([(0, 0), (1000, 0)])
    assert (len(drawing.segments), drawing.rings) == (1, ())


def old_polyline(flags: int, vertices: Sequence[tuple[tuple[float, ...], int]]) -> Document:
    doc = document()
    entity = doc.modelspace().add_polyline2d([place for place, _ in vertices])
    entity.dxf.flags = flags
    for vertex, (_, vertex_flags) in zip(entity.vertices, vertices, strict=True):
        vertex.dxf.flags = vertex_flags
    return doc


def test_frame_vertices_of_a_fitted_polyline_are_dropped() -> None:
    curve = [(point, 8) for point in ROOM]
    drawing = flat(old_polyline(4 | 1, [*curve[:2], ((2000.0, 9000.0), 16), *curve[2:]]))
    assert ring_areas(drawing) == pytest.approx([12e6])


def test_without_the_fitted_flag_every_vertex_counts() -> None:
    drawing = flat(old_polyline(1, [(point, 16) for point in ROOM]))
    assert ring_areas(drawing) == pytest.approx([12e6])


def test_old_polyline_keeps_bulges_and_height() -> None:
    doc = document()
    doc.modelspace().add_polyline2d([(0, 0, 1.0), (1000, 0, 0.0)], format="xyb", close=True)
    drawing = flat(doc)
    assert ring_areas(drawing)[0] == pytest.approx(math.pi * 500**2 / 2, rel=FLATTENED)


def test_polyline_in_space_is_seen_from_above() -> None:
    doc = document()
    points = [(0, 0, 2800), (4000, 0, 2900), (4000, 3000, 2800), (0, 3000, 2700)]
    doc.modelspace().add_polyline3d(points, close=True)
    assert ring_areas(flat(doc)) == pytest.approx([12e6])


# --- fills


def test_hatch_gives_filled_rings_of_one_source_and_no_strokes() -> None:
    doc = document()
    hatch = doc.modelspace().add_hatch()
    hatch.paths.add_polyline_path(ROOM, is_closed=True)
    hatch.paths.add_polyline_path([(1000, 1000), (1400, 1000), (1400, 1400), (1000, 1400)])
    drawing = flat(doc)
    assert len(drawing.segments) == 0
    assert [ring.filled for ring in drawing.rings] == [True, True]
    assert len({ring.source for ring in drawing.rings}) == 1
    assert ring_areas(drawing) == pytest.approx([12e6, 0.16e6])


def test_a_dense_pattern_costs_nothing() -> None:
    doc = document()
    hatch = doc.modelspace().add_hatch()
    hatch.set_pattern_fill("ANSI31", scale=0.001)
    hatch.paths.add_polyline_path([(0, 0), (10_000, 0), (10_000, 10_000), (0, 10_000)])
    drawing = flat(doc)
    assert (len(drawing.segments), len(drawing.rings)) == (0, 1)


@pytest.mark.parametrize("backwards", [False, True])
def test_hatch_of_edges_is_one_ring_whatever_way_its_edges_run(backwards: bool) -> None:
    doc = document()
    path = doc.modelspace().add_hatch().paths.add_edge_path()
    edges = [((0, 0), (4000, 0)), ((0, 3000), (0, 0)), ((4000, 3000), (0, 3000))]
    path.add_line(*edges[0])
    path.add_arc((4000, 1500), 1500, -90, 90, ccw=not backwards)
    for start, end in (edges[2], edges[1]):
        path.add_line(*((end, start) if backwards else (start, end)))
    expected = 12e6 + math.pi * 1500**2 / 2
    assert ring_areas(flat(doc)) == pytest.approx([expected], rel=FLATTENED)


def test_separate_loops_in_one_edge_path_are_separate_rings() -> None:
    doc = document()
    path = doc.modelspace().add_hatch().paths.add_edge_path()
    for x in (0, 10_000):
        corners = [(x, 0), (x + 1000, 0), (x + 1000, 1000), (x, 1000)]
        for start, end in zip(corners, corners[1:] + corners[:1], strict=True):
            path.add_line(start, end)
    assert ring_areas(flat(doc)) == pytest.approx([1e6, 1e6])


def test_hatch_with_ellipse_and_spline_edges() -> None:
    doc = document()
    hatch = doc.modelspace().add_hatch()
    hatch.paths.add_edge_path().add_ellipse((0, 0), (2000, 0), 0.5, 0, 360)
    spline = hatch.paths.add_edge_path()
    spline.add_spline(
        control_points=[(0, 0), (10, 0), (10, 10), (0, 10), (0, 0)],
        degree=3,
        knot_values=[0, 0, 0, 0, 1, 2, 2, 2, 2],
    )
    areas = ring_areas(flat(doc))
    assert areas[0] == pytest.approx(math.pi * 2000 * 1000, rel=FLATTENED)
    assert len(areas) == 2


def test_text_frames_of_a_hatch_are_no_boundaries() -> None:
    doc = document()
    hatch = doc.modelspace().add_hatch()
    hatch.paths.add_polyline_path(ROOM)
    hatch.paths.add_polyline_path([(1, 1), (9, 1), (9, 9), (1, 9)], flags=8)
    assert len(flat(doc).rings) == 1


def test_solid_has_its_corners_crosswise_and_mirrors_with_its_plane() -> None:
    doc = document()
    corners = [(0, 0), (400, 0), (0, 300), (400, 300)]
    doc.modelspace().add_solid(corners)
    doc.modelspace().add_solid(corners, dxfattribs={"extrusion": (0, 0, -1)})
    doc.modelspace().add_trace([(0, 0), (400, 0), (400, 300)])
    drawing = flat(doc)
    assert ring_areas(drawing) == pytest.approx([120_000, 120_000, 60_000])
    assert drawing.rings[1].points[:, 0].min() == -400
    assert all(ring.filled for ring in drawing.rings)


def test_face_gives_its_visible_edges() -> None:
    doc = document()
    face = doc.modelspace().add_3dface([(0, 0), (4000, 0), (4000, 3000), (0, 3000)])
    face.set_edge_visibility(1, False)
    drawing = flat(doc)
    assert len(drawing.segments) == 3
    assert not drawing.segments.curved.any()


# --- multilines


@pytest.mark.parametrize(
    ("justification", "low", "high"), [(0, -200, 4200), (1, -100, 4100), (2, 0, 4000)]
)
def test_multiline_is_expanded_by_scale_and_justification(
    justification: int, low: float, high: float
) -> None:
    doc = document()
    doc.modelspace().add_mline(
        ROOM,
        close=True,
        dxfattribs={"scale_factor": 200, "justification": justification, "layer": "A-WALL"},
    )
    drawing = flat(doc)
    x = np.unique(np.round(drawing.segments.ends[:, [0, 2]], 6))
    # Standard style: two lines, one scale factor apart. "Top" draws the upper one, left of the
    # direction, on the given points: round a room that runs counter-clockwise the rest lies outside.
    assert (x[0], x[-1]) == (low, high)
    assert (x[1], x[-2]) == (low + 200, high - 200)
    source = drawing.sources[drawing.segments.source[0]]
    assert (source.kind, source.layer) == ("MLINE", "A-WALL")
