"""Pure geometry: spaces between barriers, with outlines exactly on the strokes."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from hypothesis import assume, given
from hypothesis import strategies as st
from shapely import Polygon, box

from importer.outlines import (
    SEAL_MM,
    clean_outline,
    filled_thin_holes,
    inscribed_diameter,
    spaces_between,
    thickened_bodies,
    thickened_strokes,
)


def strokes(*rows: tuple[float, float, float, float]) -> np.ndarray:
    return np.array(rows, dtype=float)


def rectangle(x0: float, y0: float, x1: float, y1: float) -> np.ndarray:
    return strokes((x0, y0, x1, y0), (x1, y0, x1, y1), (x1, y1, x0, y1), (x0, y1, x0, y0))


def inner(barriers: np.ndarray) -> list[Polygon]:
    return [s.shape for s in spaces_between(barriers) if not s.outside]


def test_outline_runs_on_the_strokes_themselves() -> None:
    (room,) = inner(thickened_strokes(rectangle(0, 0, 4000, 3000)))
    assert room.equals_exact(shapely.normalize(box(0, 0, 4000, 3000)), 1e-6) or room.equals(
        box(0, 0, 4000, 3000)
    )
    assert room.area == pytest.approx(12e6, abs=0.01)


def test_outline_runs_on_the_faces_of_bodies_and_columns_stay_out() -> None:
    walls = box(-300, -300, 4300, 3300).difference(box(0, 0, 4000, 3000))
    column = box(1000, 1000, 1300, 1400)
    (room,) = inner(thickened_bodies([walls, column]))
    assert room.area == pytest.approx(12e6 - 300 * 400, abs=0.1)
    assert len(room.interiors) == 1


@given(
    corners=st.lists(
        st.tuples(st.integers(0, 12), st.integers(0, 12)), min_size=3, max_size=3, unique=True
    ),
    turn=st.floats(0, 360),
    shift=st.tuples(st.floats(-5e5, 5e5), st.floats(-5e5, 5e5)),
)
def test_any_triangle_comes_out_as_drawn(
    corners: list[tuple[int, int]], turn: float, shift: tuple[float, float]
) -> None:
    drawn = Polygon([(x * 1000, y * 1000) for x, y in corners])
    assume(drawn.area >= 1e6)
    assume(_sharpest_deg(np.asarray(drawn.exterior.coords)[:-1]) > 5)
    drawn = shapely.affinity.translate(shapely.affinity.rotate(drawn, turn), *shift)
    ring = np.asarray(drawn.exterior.coords)
    spaces = inner(thickened_strokes(np.hstack([ring[:-1], ring[1:]])))
    assert len(spaces) == 1
    assert spaces[0].area == pytest.approx(drawn.area, rel=1e-3)
    assert spaces[0].exterior.hausdorff_distance(drawn.exterior) < 1.0


def _sharpest_deg(ring: np.ndarray) -> float:
    before, after = np.roll(ring, 1, axis=0) - ring, np.roll(ring, -1, axis=0) - ring
    cosine = (before * after).sum(1) / np.hypot(*before.T) / np.hypot(*after.T)
    return float(np.degrees(np.arccos(np.clip(cosine, -1, 1))).min())


@pytest.mark.parametrize("leak", [1.0, 40.0, 2 * SEAL_MM - 10])
def test_leak_narrower_than_the_seal_parts_two_spaces(leak: float) -> None:
    wall = strokes((4000, 0, 4000, 1500 - leak / 2), (4000, 1500 + leak / 2, 4000, 3000))
    rooms = inner(thickened_strokes(np.vstack([rectangle(0, 0, 8000, 3000), wall])))
    assert [r.area for r in rooms] == pytest.approx([12e6, 12e6], rel=1e-3)


def test_passage_wider_than_the_seal_joins() -> None:
    wall = strokes((4000, 0, 4000, 1400), (4000, 1600, 4000, 3000))
    rooms = inner(thickened_strokes(np.vstack([rectangle(0, 0, 8000, 3000), wall])))
    assert [r.area for r in rooms] == pytest.approx([24e6], rel=1e-6)


def test_dangling_stroke_leaves_no_slit() -> None:
    (room,) = inner(
        thickened_strokes(np.vstack([rectangle(0, 0, 4000, 3000), strokes((0, 1000, 1500, 1000))]))
    )
    assert room.area == pytest.approx(12e6, abs=1)
    assert room.is_valid
    assert len(room.exterior.coords) == 5


def test_unnoded_crossings_and_collinear_overlaps_do_not_matter() -> None:
    rows = np.vstack(
        [
            rectangle(0, 0, 8000, 3000),
            strokes((4000, -100, 4000, 3100), (0, 0, 4000, 0), (1000, 0, 5000, 0)),
        ]
    )
    assert [r.area for r in inner(thickened_strokes(rows))] == pytest.approx([12e6, 12e6])


def test_outside_is_told_from_inside_and_order_is_reading_order() -> None:
    rows = np.vstack([rectangle(0, 0, 2000, 2000), rectangle(5000, 6000, 7000, 8000)])
    spaces = spaces_between(thickened_strokes(rows))
    assert [s.outside for s in spaces].count(True) == 1
    assert [s.shape.bounds[0] for s in spaces if not s.outside] == pytest.approx([5000, 0])


def test_no_barriers_give_no_spaces() -> None:
    assert spaces_between(np.empty(0, dtype=object)) == ()


def test_clean_outline_drops_corners_on_straight_sides_and_is_counter_clockwise() -> None:
    shape = Polygon([(0, 0), (0, 3000), (2000, 3000.001), (4000, 3000), (4000, 0), (1000, 0)])
    cleaned = clean_outline(shape)
    assert cleaned is not None
    assert len(cleaned.exterior.coords) == 5
    assert cleaned.exterior.is_ccw


def test_clean_outline_keeps_the_many_corners_of_a_curve() -> None:
    circle = shapely.Point(0, 0).buffer(2000, quad_segs=32)
    cleaned = clean_outline(circle)
    assert cleaned is not None
    assert cleaned.area == pytest.approx(circle.area, rel=1e-4)


def test_clean_outline_of_nothing_is_none() -> None:
    assert clean_outline(Polygon()) is None
    assert clean_outline(Polygon([(0, 0), (1000, 0), (2000, 0)])) is None


def test_thin_holes_are_filled_and_wide_ones_stay() -> None:
    solid = box(0, 0, 5000, 1000).difference(box(100, 100, 900, 300))
    solid = solid.difference(box(1500, 100, 2400, 900))
    filled = filled_thin_holes(solid, 260)
    assert filled.area == pytest.approx(5000 * 1000 - 900 * 800)


def test_inscribed_diameter_of_an_l_is_that_of_its_corner() -> None:
    shape = box(0, 0, 6000, 800).union(box(0, 0, 800, 6000))
    assert inscribed_diameter(shape) == pytest.approx(2 * 800 * 2**0.5 / (1 + 2**0.5), abs=10)
